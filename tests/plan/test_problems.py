"""What is wrong is said wholly, in plain words, with file, key, value and next step."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.keys import known_keys
from offgrid_sim.plan.load import load_trip, load_trip_document, load_van

JARGON = ("Input should", "Field required", "Extra inputs", "Value error", "pydantic", "validation")


def problems_of(load, *args, **options) -> dict[str, Problem]:
    with pytest.raises(PlanError) as caught:
        load(*args, **options)
    for problem in caught.value.problems:
        assert not any(word in str(problem) for word in JARGON)
        assert problem.hint.endswith(".")
        assert "\n" not in str(problem)
    return {p.key: p for p in caught.value.problems}


def van(tmp_path: Path, text: str, sets: tuple[str, ...] = ()) -> dict[str, Problem]:
    file = tmp_path / "v.toml"
    file.write_text(text, encoding="utf-8")
    return problems_of(load_van, file, sets)


def one_line(tmp_path: Path, line: str) -> Problem:
    """The only problem of a van whose battery table holds one more line."""
    (problem,) = van(tmp_path, f"[battery]\ncapacity_ah = 100\n{line}\n").values()
    return problem


def test_all_problems_of_all_files_come_together(tmp_path):
    (tmp_path / "v.toml").write_text("[batery]\ncapacity_ah = 1\n", encoding="utf-8")
    (tmp_path / "r.toml").write_text('[[stops]]\nplace = "A"\nnights = 0\n', encoding="utf-8")
    (tmp_path / "h.toml").write_text("wake_hour = 25\nsleep = [\n", encoding="utf-8")
    trip = tmp_path / "t.toml"
    trip.write_text(
        'van = "v.toml"\nroute = "r.toml"\nhabits = "h.toml"\npeople = 99\n', encoding="utf-8"
    )
    found = problems_of(load_trip, trip, ["van.solra=3", "nonsense"])
    files = {key: problem.file for key, problem in found.items()}
    assert files == {
        "--set": "command line",
        "line 2": "h.toml",
        "van.solra": "command line",
        "people": str(trip),
        "van.battery": "v.toml",
        "van.batery": "v.toml",
        "route.stops.0.latitude_deg": "r.toml",
        "route.stops.0.longitude_deg": "r.toml",
        "route.stops.0.nights": "r.toml",
    }


def test_trip_rules_are_checked_even_when_the_van_is_broken(tmp_path):
    trip = tmp_path / "t.toml"
    trip.write_text('van = "gone.toml"\nroute = "gone.toml"\n', encoding="utf-8")
    found = problems_of(load_trip, trip)
    assert "give season = 'winter' or start = 2026-12-01" in found["trip"].allowed
    trip.write_text('season = "winter"\nstart = 2026-01-01\nvan = 3\n', encoding="utf-8")
    found = problems_of(load_trip, trip)
    assert set(found) == {"trip", "van", "route"}
    assert "path of a van file" in found["van"].allowed


@pytest.mark.parametrize(
    ("line", "allowed", "hint"),
    [
        ("health_share = 3", "must be a number from 0.2 to 1", "Choose one in that range."),
        ('initial_soc = "0.5"', "must be a number from 0 to 1", "Write the number without quotes."),
        ("initial_soc = true", "must be a number from 0 to 1", "Correct the value."),
        ("initial_soc = nan", "must be a number from 0 to 1", "Choose one in that range."),
        ("initial_soc = inf", "must be a number from 0 to 1", "Choose one in that range."),
        ("pad_heater_w = 1" + "0" * 400, "must be a number from 0 to 500", "Choose one in"),
        ('chemistry = "lpf"', "must be one of 'lfp', 'agm'", "Write lfp."),
        ("chemistry = 7", "must be one of 'lfp', 'agm'", "Choose one of these."),
        ("capacity_hA = 7", "there is no such key", "Write capacity_ah instead."),
        ("volume_l = 7", "there is no such key", "Move it to van.fridge, where volume_l belongs."),
        ("disconnect_v = 12.5\nreconnect_v = 12", "reconnect_v must be above disconnect_v", "C"),
    ],
)
def test_a_wrong_value_says_what_is_allowed(tmp_path, line, allowed, hint):
    problem = one_line(tmp_path, line)
    assert problem.allowed == allowed
    assert problem.hint.startswith(hint)
    assert problem.key.startswith("van.battery")
    assert problem.file == str(tmp_path / "v.toml")


@pytest.mark.parametrize(
    ("text", "key", "allowed"),
    [
        ('fridge = "cold"', "van.fridge", 'must be a table of keys or "none"'),
        ("[fridge]\nrestart_v = 10", "van.fridge", "restart_v must be above cutout_v"),
        ("[solar]\npanel_w = 3", "van.solar", "must be a list of at most 4 tables"),
        ("solar = [3]", "van.solar.0", "must be a table headed [[solar]]"),
        ("solar = [{}]", "van.solar.0.panel_w", "is missing, nameplate power"),
        ("solar = [{panel_w=1},{panel_w=1},{panel_w=1},{panel_w=1},{panel_w=1}]", "van.solar", ""),
        ("loads = [{name='a', power_w=1, hours=[1,2]}]", "van.loads.0.hours", "must be a list of"),
        ("loads = [{name='a', power_w=1, hours=[[1,25]]}]", "van.loads.0.hours.0", "hours must"),
        ("loads = [{name='a', power_w=1, hours=[[3,3]]}]", "van.loads.0.hours.0", "the two hours"),
        ("loads = [{name='a', power_w=1, mains='yes'}]", "van.loads.0.mains", "must be true or"),
        ("loads = [{name='a', power_w=1, priority=9}]", "van.loads.0.priority", "must be one of 1"),
        (
            "solar = [{panel_w=1, bypass_groups=3.0}]",
            "van.solar.0.bypass_groups",
            "must be a whole",
        ),
        ("name = 3", "van.name", "must be text in quotes"),
        ("battrey = 3", "van.battrey", "there is no such key"),
    ],
)
def test_wrong_tables(tmp_path, text, key, allowed):
    head, _, tail = text.partition("\n") if text.startswith("[") else (text, "", "")
    body = f"{head}\n{tail}\n[battery]\ncapacity_ah = 9\n"
    found = van(tmp_path, body)
    assert set(found) == {key}
    assert found[key].allowed.startswith(allowed)


@pytest.mark.parametrize(
    ("words", "key", "hint"),
    [
        ("vna.battery.capacity_ah=1", "vna.battery.capacity_ah", "Write van"),
        ("van.battery.capacity=1", "van.battery.capacity", "Write capacity_ah instead."),
        ("battery.capacity_ah=1", "battery.capacity_ah", "Write van.battery.capacity_ah instead."),
        ("van.solar.5.panel_w=1", "van.solar.5", "Use 1 to add one, giving all that it needs."),
        ("van.solar.front.panel_w=1", "van.solar.front", "Use one of 0 (roof panels)."),
        ("van.name.x=1", "van.name.x", "Set van.name as a whole."),
        ("van.battery.capacity_ah", "--set", "Write it as --set van.battery.capacity_ah=200."),
        ("=3", "--set", "Write it as --set van.battery.capacity_ah=200."),
        ("van.battery=none", "van.battery", "Correct the value."),
        ("van.alternator=none", "van.alternator", "Correct the value."),
    ],
)
def test_wrong_sets(words, key, hint):
    stop = {"place": "A", "latitude_deg": 1, "longitude_deg": 2, "nights": 1}
    plan = {
        "van": {"battery": {"capacity_ah": 1}, "solar": [{"panel_w": 1}]},
        "route": {"stops": [stop]},
        "season": "winter",
    }
    found = problems_of(load_trip_document, plan, [words])
    assert set(found) == {key}
    assert found[key].hint.startswith(hint)
    assert found[key].file == "command line"


@pytest.mark.parametrize(
    ("raw", "key", "allowed"),
    [
        (b"", "file", "the file is empty"),
        (b"  \n# only words\n", "file", "the file is empty"),
        (b"name = 'a'\n\nx = = 3\n", "line 3", "this is not TOML, invalid value"),
        (b"a = 1\na = 2\n", "line 2", "this is not TOML, cannot overwrite a value"),
        (b"a = [1,\n", "line 1", "this is not TOML"),
        (b"name = 'M\xe9dano'\n", "line 1", "a character is not UTF-8"),
        (b"\xff\xfen\x00", "file", "the file is UTF-16"),
        (b"a = " + b"[" * 20_000, "file", "too many brackets inside each other"),
        (b"a = " + b"9" * 5_000, "file", "a number has too many digits"),
        (b"# " + b"x" * 2_000_001, "file", "too large for a plan"),
    ],
)
def test_unreadable_files(tmp_path, raw, key, allowed):
    file = tmp_path / "v.toml"
    file.write_bytes(raw)
    found = problems_of(load_van, file)
    assert set(found) == {key}
    assert found[key].allowed.startswith(allowed)


def test_missing_files_get_the_nearest_name(tmp_path):
    (tmp_path / "winter_van.toml").write_text("x = 1", encoding="utf-8")
    (near,) = problems_of(load_van, tmp_path / "winter_vam.toml").values()
    assert near.hint == "Use winter_van.toml, which lies in that folder."
    (far,) = problems_of(load_van, tmp_path / "nowhere" / "v.toml").values()
    assert "folder nowhere does not exist" in far.hint
    (folder,) = problems_of(load_van, tmp_path).values()
    assert folder.allowed == "this is a folder, not a file"
    assert "winter_van.toml" in folder.hint
    (inside,) = problems_of(load_van, tmp_path / "winter_van.toml" / "x.toml").values()
    assert inside.allowed == "there is no such file"


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    file = tmp_path / "v.toml"
    file.write_text("x = 1", encoding="utf-8")

    def refuse(self):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (problem,) = problems_of(load_van, file).values()
    assert problem.allowed == "the file may not be read"


PLAN = {
    "van": {"battery": {"capacity_ah": 1}, "solar": [{"panel_w": 1}], "loads": []},
    "route": {"stops": [{"place": "A", "latitude_deg": 1, "longitude_deg": 2, "nights": 1}]},
    "habits": {"uses": [{"name": "u", "hour": 1, "litres": 1}]},
    "weather": {"source": "climate"},
    "season": "winter",
}
WORDS = st.one_of(st.sampled_from(["none", "[]", "{}", "[{}]", "[[1, 2]]", "-1", "1e999", "x"]))
ANY_VALUE = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=5), inner, max_size=2)
    ),
    max_leaves=5,
)


def what_is_said(plan, sets) -> str:
    """The words of the refusal, empty when the plan is taken; anything else is a crash."""
    try:
        load_trip_document(plan, sets)
    except PlanError as error:
        return "\n".join(str(p) for p in error.problems)
    return ""


def numbered(path) -> str:
    lists = {"solar", "loads", "uses", "stops"}
    return ".".join(f"{p}.0" if p in lists and p != path[-1] else str(p) for p in path)


@settings(deadline=None, database=None, derandomize=True, max_examples=150)
@given(st.sampled_from(list(known_keys())), st.one_of(WORDS, ANY_VALUE.map(json.dumps)))
def test_any_value_at_any_key_is_taken_or_refused_in_words(path, text):
    told = what_is_said(PLAN, [f"{numbered(path)}={text}"])
    assert not any(word in told for word in JARGON)


@settings(deadline=None, database=None, derandomize=True, max_examples=150)
@given(st.dictionaries(st.sampled_from([*PLAN, "people", "start", "x.y", ""]), ANY_VALUE))
def test_any_document_is_taken_or_refused_in_words(changes):
    told = what_is_said({**PLAN, **changes}, ["van.solar.0.panel_w=3"])
    assert not any(word in told for word in JARGON)
