"""The exported schema, the starter files, the ready-made configs and the glossary."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from offgrid_sim.errors import OutputError
from offgrid_sim.plan import starter
from offgrid_sim.plan.keys import known_keys
from offgrid_sim.plan.kinds import KINDS, kind_of_file
from offgrid_sim.plan.load import load_part, load_trip
from offgrid_sim.plan.schema import plan_schema
from offgrid_sim.plan.starter import STARTER_FILES, write_starter

ROOT = Path(__file__).parents[2]
CONFIGS = sorted((ROOT / "configs").rglob("*.toml"))


@pytest.mark.parametrize("file", CONFIGS, ids=lambda p: p.stem)
def test_ready_made_files_load_and_say_that_they_are_invented(file):
    kind = kind_of_file(file)
    assert file.parent.name == f"{kind}s"
    loaded = load_trip(file).trip if kind == "trip" else load_part(file, kind).plan
    assert "invented" in loaded.name


def test_the_demo_lasts_a_winter():
    trip = load_trip(ROOT / "configs" / "trips" / "pyrenees_winter.toml").trip
    assert trip.nights == 90
    assert all(35 < s.latitude_deg < 44 and -10 < s.longitude_deg < 4 for s in trip.route.stops)


@pytest.mark.parametrize("kind", KINDS)
def test_schema_describes_every_number_and_knows_no_null(kind):
    schema = plan_schema(kind)
    assert schema["additionalProperties"] is False
    assert '{"type": "null"}' not in str(schema).replace("'", '"')
    models = [schema, *schema.get("$defs", {}).values()]
    numbers = [
        (name, p)
        for m in models
        for name, p in m.get("properties", {}).items()
        if p.get("type") in ("number", "integer") and "enum" not in p
    ]
    assert numbers or kind == "route"
    for name, number in numbers:
        assert {"description", "minimum", "maximum", "origin"} <= set(number), name


@pytest.mark.parametrize("file", CONFIGS, ids=lambda p: p.stem)
def test_schema_accepts_the_ready_made_files(file):
    """Checked by the reference validator for Python, where it is installed."""
    jsonschema = pytest.importorskip("jsonschema")
    plan = tomllib.loads(file.read_text(encoding="utf-8"))
    plan = {k: str(v) if k == "start" else v for k, v in plan.items()}
    schema = plan_schema(kind_of_file(file))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(plan, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**plan, "nmae": 1}, schema)


def test_starter_runs_as_it_is(tmp_path):
    paths = write_starter(tmp_path / "a" / "b")
    assert [p.name for p in paths] == list(STARTER_FILES)
    assert sorted(p.name for p in (tmp_path / "a").rglob("*")) == ["b", *sorted(STARTER_FILES)]
    loaded = load_trip(paths[-1])
    assert set(loaded.files) == set(STARTER_FILES)
    assert loaded.trip.weather.file == "station:greensboro"
    for path, kind in zip(paths, ("van", "route", "habits", "trip"), strict=True):
        assert kind_of_file(path) == kind
        assert path.read_text(encoding="utf-8").startswith("#")


def test_starter_leaves_neighbours_alone(tmp_path):
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    write_starter(tmp_path)
    names = {p.name for p in tmp_path.iterdir()}
    assert names == {"notes.txt", *STARTER_FILES}


def test_starter_never_overwrites(tmp_path):
    (tmp_path / "trip.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=r"already holds trip.toml.*name another folder\.$"):
        write_starter(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["trip.toml"]
    assert (tmp_path / "trip.toml").read_text(encoding="utf-8") == "mine"
    with pytest.raises(OutputError, match="is a file"):
        write_starter(tmp_path / "trip.toml")


@pytest.mark.parametrize("existed", [True, False])
def test_starter_is_written_whole_or_not_at_all(tmp_path, monkeypatch, existed):
    target = tmp_path / "t"
    if existed:
        target.mkdir()
    real = starter.os.replace

    def full(source, destination):
        if Path(source).name == "habits.toml":
            raise OSError(28, "No space left on device")
        real(source, destination)

    def template(name):
        if name == "habits.toml" and not existed:
            raise OSError(28, "No space left on device")
        return b"x = 1"

    monkeypatch.setattr(starter.os, "replace", full)
    monkeypatch.setattr(starter, "_template", template)
    with pytest.raises(OSError, match="No space"):
        write_starter(target)
    assert list(tmp_path.rglob("*")) == ([target] if existed else [])


def test_glossary_names_every_key_once():
    text = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    section = text.split("## Keys of the plan files")[1].split("\n## ")[0]
    rows = re.findall(r"^\| `(\w+)` \| (.+?) \|", section, flags=re.MULTILINE)
    tables: dict[str, set[str]] = {}
    for path in known_keys():
        where = ".".join(str(p) for p in path[:-1]) or "trip"
        tables.setdefault(str(path[-1]), set()).add(where)
    assert {name: set(re.findall(r"`([\w.]+)`", where)) for name, where in rows} == tables
    assert len(rows) == len(tables)
