"""The weather commands from the outside: what they print, where, and with which exit code."""

import json

import numpy as np
import pandas as pd
import pytest

import offgrid_sim.compiled  # noqa: F401 - machine code stays in the user's cache, not in a test's
from offgrid_sim.cli.main import run_cli
from offgrid_sim.weather.climate import ClimateWeather, climate_summary
from offgrid_sim.weather.files import open_weather_file
from offgrid_sim.weather.table import COLUMNS, Place

TRIP = """
name = "Two stops (invented)"
start = 2025-06-03
people = 2

[[route.stops]]
place = "Torla"
latitude_deg = 42.63
longitude_deg = -0.11
altitude_m = 1030
nights = 2

[[route.stops]]
place = "Own file"
latitude_deg = 36.1
longitude_deg = -79.95
nights = 1
weather = "station:greensboro"
"""


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("OFFGRID_SIM_PVGIS_URL", raising=False)


@pytest.fixture
def trip(tmp_path):
    from offgrid_sim.plan.starter import write_starter

    write_starter(tmp_path / "mine")
    van = tmp_path / "mine" / "van.toml"
    path = tmp_path / "trip.toml"
    path.write_text(f'van = "{van.as_posix()}"\n{TRIP}', encoding="utf-8")
    return path


@pytest.fixture
def run(capsys):
    def called(*args):
        code = run_cli([str(arg) for arg in args])
        out, err = capsys.readouterr()
        return code, out, err

    return called


# ---------------------------------------------------------------- show


def test_show_takes_negative_coordinates_and_prints_one_object(run):
    code, out, err = run("weather", "show", "--at", "-33.4,-70.8", "--altitude", "520", "--json")
    assert (code, err) == (0, "")
    shown = json.loads(out)
    summary = climate_summary(Place("here", -33.4, -70.8, 520.0))
    assert (shown["latitude_deg"], shown["longitude_deg"]) == (-33.4, -70.8)
    assert shown["ghi_kwh_m2_d"] == pytest.approx(summary.ghi_kwh_m2_d, abs=1e-4)
    assert shown["temp_air_c"] == pytest.approx(summary.temp_air_c, abs=1e-4)
    assert shown["nearest_cell_km"] == pytest.approx(summary.nearest_cell_km, abs=1e-3)
    assert np.argmax(shown["ghi_kwh_m2_d"]) in (11, 0)  # summer in the south
    assert 0 < shown["dull_runs_3_days_share"] < 1


def test_show_in_words(run):
    code, out, _ = run("weather", "show", "--at=42.63,-0.11", "--altitude", "1030")
    assert code == 0
    assert "at 1030 m" in out
    assert "kWh/m²/day" in out
    assert "km away" in out
    assert "Dull days" in out


def test_show_far_from_land_is_exit_3(run):
    code, out, err = run("weather", "show", "--at", "20,-155", "--json")
    assert (code, out) == (3, "")
    assert "350 km" in err
    assert len(err.strip().splitlines()) == 1


@pytest.mark.parametrize("at", ["42.6", "north,south", "95,10", "10,181", "", "nan,nan"])
def test_show_refuses_what_is_not_a_place(run, at):
    code, out, err = run("weather", "show", "--at", at)
    assert (code, out) == (2, "")
    assert len(err.strip().splitlines()) == 1


# ---------------------------------------------------------------- export


@pytest.mark.parametrize(("lat", "lon"), [(42.63, -0.11), (-41.1, 146.1), (69.6, 19.0)])
def test_export_can_be_read_back(run, tmp_path, lat, lon):
    out = tmp_path / "weather.csv"
    code, _, _ = run("weather", "export", "--at", f"{lat},{lon}", "--altitude", 100,
                     "--years", 2, "--seed", 3, "--out", out)  # fmt: skip
    assert code == 0
    table = pd.read_csv(out)
    assert list(table.columns) == ["year", "time", *COLUMNS]
    assert len(table) == 2 * 8760
    assert sorted(set(table["year"])) == [1, 2]
    place = Place("here", lat, lon, 100.0)
    times = pd.date_range("2025-05-01", periods=40 * 24, freq="h", tz="UTC")
    block = open_weather_file(out).block(place, times, (1, 2))
    made = ClimateWeather(2, 3).block(place, times, (1, 2))
    for name in COLUMNS:
        if name != "dni_w_m2":  # the reader counts the beam below 3° of sun as diffuse
            off = np.abs(getattr(block, name) - getattr(made, name))
            assert np.quantile(off, 0.9) < 0.011


def test_export_that_fails_leaves_the_old_file(run, tmp_path):
    out = tmp_path / "weather.csv"
    out.write_text("precious", encoding="utf-8")
    code, _, err = run("weather", "export", "--at", "20,-155", "--out", out)
    assert code == 3
    assert "350 km" in err
    assert out.read_text(encoding="utf-8") == "precious"
    code, _, err = run("weather", "export", "--at", "42,0", "--out", tmp_path)
    assert code == 2
    assert "folder" in err


# ---------------------------------------------------------------- fetch, list, run


def test_fetch_then_run_with_the_server_gone(run, trip, archive_server):
    before, _, said = run("run", trip, "--weather", "archive", "--no-report", "--json")
    assert before == 3
    assert "not fetched yet; run offgrid-sim weather fetch TRIP" in said
    code, out, err = run("weather", "fetch", trip, "--years", "2014:2015",
                         "--base-url", archive_server.url)  # fmt: skip
    assert code == 0, err
    assert "2 of 2 place-years are here: 2 fetched now, 0 before." in out
    asked = [query["lat"] for _, query in archive_server.asked]
    assert asked == ["42.63", "42.63"]  # the stop with its own file is not asked for
    archive_server.stop()
    code, out, err = run("run", trip, "--weather", "archive", "--no-report", "--json")
    assert code == 0, err
    weather = json.loads(out)["weather"]
    assert [stop["kind"] for stop in weather] == ["archive", "file"]
    assert weather[0]["years"] == "2014–2015"


def test_fetch_is_resumed_and_listed(run, trip, archive_server, monkeypatch):
    monkeypatch.setenv("OFFGRID_SIM_POWER_URL", archive_server.url)
    archive_server.faults = [None, lambda handler: handler.reply(403, "")]
    command = ("weather", "fetch", trip, "--years", "2014:2015", "--source", "power", "--json")
    code, out, err = run(*command)
    assert code == 3
    assert "Torla 2015 could not be had" in err
    assert "1 of 2 are here and stay" in err
    assert json.loads(out)["fetched"] == 1
    code, out, err = run(*command)
    assert (code, err) == (0, "")
    assert (json.loads(out)["already"], json.loads(out)["fetched"]) == (1, 1)
    code, out, _ = run("weather", "list", "--json")
    listed = json.loads(out)
    assert listed["places"] == [
        {"archive": "power-hourly", "latitude_deg": 42.63, "longitude_deg": -0.11,
         "years": [2014, 2015]}
    ]  # fmt: skip
    assert 0 < listed["size_mb"] < listed["limit_mb"]
    code, out, _ = run("weather", "list")
    assert "2014–2015" in out
    assert "2 place-years" in out


def test_a_winter_trip_asks_for_the_year_after(run, trip, archive_server):
    archive_server.always = lambda handler: handler.reply(400, '{"message": "No data."}')
    code, out, err = run("weather", "fetch", trip, "--years", "2014:2015", "--start", "2025-12-31",
                         "--base-url", archive_server.url, "--json")  # fmt: skip
    assert code == 3
    assert [query["startyear"] for _, query in archive_server.asked] == ["2014", "2015", "2016"]
    assert "No data" in err
    assert len(err.strip().splitlines()) == 1
    assert json.loads(out)["here"] == 0


@pytest.mark.parametrize("years", ["2020:2012", "12", "2012-2020", "1812:1815", "2012:2999", ""])
def test_fetch_refuses_other_years(run, trip, years):
    code, _, err = run("weather", "fetch", trip, "--years", years)
    assert code == 2
    assert "--years" in err


def test_fetch_refuses_what_is_no_server(run, trip):
    code, _, err = run("weather", "fetch", trip, "--years", "2015", "--base-url", "mirror.example")
    assert code == 2
    assert "not the address of a server" in err


# ---------------------------------------------------------------- horizon


@pytest.fixture
def hilly(trip):
    text = trip.read_text(encoding="utf-8")
    trip.write_text(text.replace("nights = 2", 'nights = 2\nhorizon = "archive"'), encoding="utf-8")
    return trip


def test_a_horizon_is_fetched_alone_and_used_with_the_server_gone(run, hilly, archive_server):
    code, _, err = run("run", hilly, "--no-report", "--years", "1")
    assert code == 3
    assert "Torla (42.63, -0.11): its horizon was not fetched yet" in err
    assert 'run offgrid-sim weather fetch TRIP once while online, or write horizon = "flat"' in err
    code, out, err = run("weather", "fetch", hilly, "--base-url", archive_server.url)
    assert (code, err) == (0, "")
    assert "1 of 1 horizons are here: 1 fetched now, 0 before." in out
    assert archive_server.asked == [
        ("/api/v5_3/printhorizon", {"lat": "42.63", "lon": "-0.11", "outputformat": "json"})
    ]
    archive_server.stop()
    code, out, err = run("run", hilly, "--no-report", "--json", "--years", "1")
    assert code == 0, err
    behind = json.loads(out)
    assert any("PVGIS horizon profile" in note for note in behind["weather"][0]["notes"])
    code, out, _ = run("run", hilly, "--no-report", "--json", "--years", "1",
                       "--set", "route.stops.0.horizon=flat")  # fmt: skip
    assert json.loads(out)["summary"]["hours"] == behind["summary"]["hours"]
    code, out, _ = run("weather", "list", "--json")
    assert json.loads(out)["places"] == []
    assert json.loads(out)["horizons"] == [
        {"archive": "pvgis-v5-3-horizon", "latitude_deg": 42.63, "longitude_deg": -0.11}
    ]
    code, out, _ = run("weather", "list")
    assert "pvgis-v5-3-horizon" in out


def test_years_and_horizons_come_together_and_faults_name_the_horizon(run, hilly, archive_server):
    archive_server.faults = [None, lambda handler: handler.reply(400, '{"message": "Sea."}')]
    command = ("weather", "fetch", hilly, "--years", "2015", "--base-url", archive_server.url)
    code, out, err = run(*command)
    assert code == 3
    assert "Torla horizon could not be had" in err
    assert "Sea" in err
    assert "1 of 2 place-years and horizons are here" in out
    code, out, err = run(*command)
    assert (code, err) == (0, "")
    assert "2 of 2 place-years and horizons are here: 1 fetched now, 1 before." in out


def test_fetch_without_years_or_horizons_says_what_to_give(run, trip):
    code, _, err = run("weather", "fetch", trip)
    assert code == 2
    assert "give --years 2012:2020" in err
