"""Loading: merging, origins, overrides, and the copy that is embedded in reports."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path

import pytest

from offgrid_sim.errors import PlanError
from offgrid_sim.plan.load import load_fragment, load_part, load_trip, load_trip_document, load_van
from offgrid_sim.plan.van import Fridge

VAN = '[battery]\ncapacity_ah = 100\n[[solar]]\npanel_w = 300\n[fridge]\nshape = "chest"\n'
STOP = "latitude_deg = 42.5\nlongitude_deg = 0.5\nnights = 3\n"
ROUTE = f'[[stops]]\nplace = "A"\n{STOP}[[stops]]\nplace = "B"\n{STOP}'
TRIP = 'van = "vans/v.toml"\nroute = "r.toml"\nseason = "winter"\n'


@pytest.fixture
def trip_file(tmp_path: Path) -> Path:
    (tmp_path / "vans").mkdir()
    (tmp_path / "vans" / "v.toml").write_text(VAN, encoding="utf-8")
    (tmp_path / "r.toml").write_text(ROUTE, encoding="utf-8")
    (tmp_path / "trip.toml").write_text(TRIP, encoding="utf-8")
    return tmp_path / "trip.toml"


def origin(loaded, key: str) -> str:
    return str(loaded.origins[key])


def test_files_are_found_from_the_trip_file_and_named_without_folder(trip_file):
    loaded = load_trip(trip_file)
    assert loaded.trip.van.battery.capacity_ah == 100
    assert loaded.trip.nights == 6
    assert loaded.files == ("trip.toml", "v.toml", "r.toml")


def test_each_value_says_who_gave_it(trip_file):
    loaded = load_trip(trip_file, ["van.battery.capacity_ah=200"])
    assert origin(loaded, "van.battery.capacity_ah") == "yours"
    assert origin(loaded, "van.fridge.shape") == "file: v.toml"
    assert origin(loaded, "season") == "file: trip.toml"
    assert origin(loaded, "van.fridge.foam_w_m_k") == "assumed: aged polyurethane, from memory"
    assert loaded.origins["people"].value == 2
    assert loaded.origins["people"].description == "people aboard"


def test_every_value_of_the_trip_has_an_origin(trip_file):
    loaded = load_trip(trip_file)
    plan = {k: v for k, v in loaded.document.items() if k not in ("origins", "files")}

    def leaves(node, path):
        if isinstance(node, dict):
            for k, v in node.items():
                yield from leaves(v, (*path, k))
        elif isinstance(node, list) and node and isinstance(node[0], dict):
            for i, v in enumerate(node):
                yield from leaves(v, (*path, str(i)))
        else:
            yield ".".join(path), node

    assert dict(leaves(plan, ())) == {k: o.value for k, o in loaded.origins.items()}


@pytest.mark.parametrize(
    ("words", "key", "value"),
    [
        ("van.solar.0.panel_w=400", "van.solar.0.panel_w", 400.0),
        ("van.solar.roof panels.panel_w=400", "van.solar.0.panel_w", 400.0),
        ("route.stops.B.nights=9", "route.stops.1.nights", 9),
        ('van.loads."lights".power_w=7', "van.loads.0.power_w", 7.0),
        ("van.loads.0.hours=[[1, 2], [22, 6]]", "van.loads.0.hours", [[1, 2], [22, 6]]),
        ("van.battery.chemistry=agm", "van.battery.chemistry", "agm"),
        ("van.battery.chemistry='agm'", "van.battery.chemistry", "agm"),
        ("van.inverter.left_on=true", "van.inverter.left_on", True),
        ("van.name=4x4 with = sign", "van.name", "4x4 with = sign"),
        ("van.name=12", "van.name", "12"),
        ("van.fridge=none", "van.fridge", None),
        ("van.solar=none", "van.solar", []),
        ("van.battery.disconnect_v=none", "van.battery.disconnect_v", None),
        ("start=2026-12-24", "start", "2026-12-24"),
    ],
)
def test_set_changes_one_value(trip_file, words, key, value):
    loaded = load_trip(trip_file, [words])
    assert loaded.origins[key].value == value
    assert origin(loaded, key) == "yours"


def test_set_on_a_list_of_defaults_leaves_its_neighbours_assumed(trip_file):
    loaded = load_trip(trip_file, ["van.loads.0.power_w=7"])
    assert origin(loaded, "van.loads.0.power_w") == "yours"
    assert loaded.origins["van.loads.0.name"].kind == "assumed"
    assert loaded.trip.van.loads[1].power_w == 2


def test_set_may_add_one_to_a_list(trip_file):
    loaded = load_trip(trip_file, ["van.solar.1.panel_w=120", "van.solar.1.name=ground"])
    assert [s.panel_w for s in loaded.trip.van.solar] == [300, 120]


def test_later_sets_win(trip_file):
    sets = ["van.fridge=none", "van.fridge.volume_l=80"]
    assert load_trip(trip_file, sets).trip.van.fridge == Fridge(volume_l=80)


def test_season_replaces_start_and_the_reverse(trip_file):
    assert load_trip(trip_file, start=dt.date(2026, 2, 3)).trip.first_day == dt.date(2026, 2, 3)
    assert load_trip(trip_file, season="summer").trip.first_day.month == 6


def test_seasons_know_the_hemisphere(trip_file):
    south = load_trip(trip_file, ["route.stops.0.latitude_deg=-42"])
    assert south.trip.first_day.month == 6  # austral winter starts on 1 June


def test_options_replace_files(trip_file):
    other = trip_file.parent / "other.toml"
    other.write_text("[van]\n[van.battery]\ncapacity_ah = 50\n", encoding="utf-8")
    loaded = load_trip(trip_file, van=other)
    assert loaded.trip.van.battery.capacity_ah == 50
    assert loaded.trip.van.solar == ()
    assert "v.toml" not in loaded.files
    assert load_trip(trip_file, [f"van={other}"]).trip == loaded.trip


def test_a_table_from_its_own_file(trip_file):
    part = trip_file.parent / "tall.toml"
    part.write_text('[fridge]\nshape = "upright"\nvolume_l = 90\n', encoding="utf-8")
    loaded = load_trip(trip_file, parts={"van.fridge": part})
    assert loaded.trip.van.fridge == load_fragment(part, "van.fridge") == Fridge(volume_l=90)
    assert origin(loaded, "van.fridge.volume_l") == "file: tall.toml"
    assert origin(loaded, "van.battery.capacity_ah") == "file: v.toml"


def test_a_trip_with_everything_inline(tmp_path):
    stop = '{place = "A", latitude_deg = 40, longitude_deg = 1, nights = 2}'
    text = f'season = "spring"\nroute = {{stops = [{stop}]}}\n[van.battery]\ncapacity_ah = 80\n'
    file = tmp_path / "t.toml"
    file.write_text(text, encoding="utf-8")
    loaded = load_trip(file)
    assert loaded.trip.nights == 2
    assert origin(loaded, "van.battery.capacity_ah") == "file: t.toml"


def test_a_byte_order_mark_is_tolerated(trip_file):
    trip_file.write_bytes(b"\xef\xbb\xbf" + trip_file.read_bytes())
    assert load_trip(trip_file).trip.nights == 6


def test_weather_files_keep_their_folder_out_of_the_document(trip_file):
    with trip_file.open("a", encoding="utf-8") as out:
        out.write('[weather]\nfile = "my weather/x.epw"\n')
    loaded = load_trip(trip_file)
    assert loaded.trip.weather.source == "file"
    assert loaded.weather_path() == trip_file.parent / "my weather/x.epw"
    assert loaded.document["weather"]["file"] == "x.epw"
    assert loaded.origins["weather.file"].value == "x.epw"
    assert str(trip_file.parent) not in json.dumps(loaded.document)


def test_a_change_to_the_document_finds_the_weather_file_of_a_named_folder(trip_file):
    with trip_file.open("a", encoding="utf-8") as out:
        out.write('[weather]\nfile = "my weather/x.epw"\n')
    loaded = load_trip(trip_file, ["route.stops.0.weather=far/away/y.csv"])
    changed = replace(load_trip_document(loaded.document, ["people=3"]), folders=loaded.folders)
    assert changed.weather_path() == trip_file.parent / "my weather/x.epw"
    assert changed.weather_path("route.stops.0.weather") == Path("far/away/y.csv")


def test_weather_given_on_the_command_line(trip_file):
    loaded = load_trip(trip_file, weather={"file": "here.epw", "years": 3, "seed": None})
    assert loaded.trip.weather.source == "file"
    assert loaded.trip.weather.years == 3
    assert loaded.weather_path() == Path("here.epw")
    assert load_trip(trip_file, weather={"file": "station:miami"}).weather_path() is None


def test_the_document_loads_back_with_its_origins(trip_file):
    loaded = load_trip(trip_file, ["van.fridge=none", "people=3"])
    back = load_trip_document(json.loads(json.dumps(loaded.document)))
    assert back.trip == loaded.trip
    assert back.origins == loaded.origins
    assert back.document == loaded.document
    assert load_trip_document(loaded.document, ["people=4"]).trip.people == 4


def test_a_van_alone(trip_file):
    loaded = load_van(trip_file.parent / "vans" / "v.toml", ["van.battery.capacity_ah=1e3"])
    assert loaded.plan.battery.capacity_ah == 1000
    assert origin(loaded, "van.battery.capacity_ah") == "yours"
    assert origin(loaded, "van.solar.0.panel_w") == "file: v.toml"


def test_a_part_refuses_keys_of_other_parts(trip_file):
    with pytest.raises(PlanError, match="only van keys can be set here"):
        load_part(trip_file.parent / "vans" / "v.toml", "van", ["route.name=x"])
