"""The size command: its JSON, its report, its refusals."""

import json
import math

import pytest

from offgrid_sim.cli.main import run_cli

TRIP = """
name = "three nights"
season = "winter"
[weather]
years = 8
[van.battery]
capacity_ah = 100
[[van.solar]]
panel_w = 200
[[route.stops]]
place = "A"
latitude_deg = 42.7
longitude_deg = -0.5
nights = 3
"""

CANDIDATE_KEYS = {
    "panel_w", "battery_ah", "p_blackout", "p_blackout_low", "p_blackout_high", "p_thaw", "p_dry",
    "blackout_hours_mean", "unserved_wh_mean", "cost", "mass_kg", "roof_m2",
}  # fmt: skip


@pytest.fixture
def trip(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path / "cache"))
    (tmp_path / "trip.toml").write_text(TRIP, encoding="utf-8")
    return "trip.toml"


def test_json_has_the_promised_keys_and_nothing_else_is_on_stdout(trip, capsys):
    words = ["size", trip, "--panel-w", "100,300", "--battery-ah", "40:80:40", "--years", "8",
             "--no-sensitivity", "--json"]  # fmt: skip
    assert run_cli(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"candidates", "recommended", "weather_years", "simulated_hours", "seconds"} <= set(
        found
    )
    assert len(found["candidates"]) == 4
    for row in found["candidates"]:
        assert set(row) >= CANDIDATE_KEYS
        assert 0 <= row["p_blackout_low"] <= row["p_blackout"] <= row["p_blackout_high"] <= 1
    assert found["recommended"] is None or found["recommended"] in found["candidates"]
    assert found["weather_years"] == 8
    lived = sum(row["years"] for row in found["candidates"])
    assert math.isclose(found["simulated_hours"], lived * 72)
    assert found["seconds"] > 0


def test_the_report_appears_whole_and_needs_no_network(trip, tmp_path, capsys):
    words = ["size", trip, "--panel-w", "100,300", "--years", "4", "--most-years", "4",
             "--no-sensitivity"]  # fmt: skip
    assert run_cli(words) == 0
    page = (tmp_path / "reports" / "trip_size.html").read_text(encoding="utf-8")
    assert page.endswith("</html>\n")
    assert "of 4 winters" in capsys.readouterr().out
    assert "src=" not in page
    assert list((tmp_path / "reports").iterdir()) == [tmp_path / "reports" / "trip_size.html"]


def test_fridges_and_any_key_can_be_varied(trip, tmp_path, capsys):
    for shape in ("upright", "chest"):
        (tmp_path / f"{shape}.toml").write_text(f'shape = "{shape}"\n', encoding="utf-8")
    words = ["size", trip, "--fridge", "upright.toml,chest.toml", "--fresh-l", "20,60",
             "--vary", "van.battery.place=cabin,outside", "--years", "2", "--most-years", "2",
             "--no-sensitivity", "--no-report", "--json"]  # fmt: skip
    assert run_cli(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["candidates"]) == 8
    assert {row["fridge"] for row in found["candidates"]} == {"upright", "chest"}
    assert {row["van.battery.place"] for row in found["candidates"]} == {"cabin", "outside"}
    assert found["judge"] == ["blackout", "dry"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--accept", "5"], "write 5% or 0.05"),
        (["--panel-w", "many"], "100:800:100"),
        (["--panel-w", "-100,100"], "van.solar.0.panel_w"),
        (["--judge", "boredom"], "blackout,thaw,dry,grey_full"),
        (["--vary", "van.battery.colour=1,2"], "van.battery.colour"),
        (["--fridge", "missing.toml"], "missing.toml"),
        (["--vary", "weather.seed=1,2"], "--seed"),
        (["--tilt", "0,30", "--vary", "van.solar.0.tilt_deg=1,2"], "Give it once"),
    ],
)
def test_wrong_words_get_a_sentence_and_code_2(trip, tmp_path, capsys, words, told):
    assert run_cli(["size", trip, "--years", "2", *words]) == 2
    error = capsys.readouterr().err
    assert told in error
    assert "Traceback" not in error
    assert not (tmp_path / "reports").exists()


def test_accept_is_read_as_per_cent_or_share(trip, capsys):
    usual = ["size", trip, "--panel-w", "300", "--years", "2", "--most-years", "2",
             "--no-sensitivity", "--no-report", "--json"]  # fmt: skip
    for words, share in ((["--accept", "2.5%"], 0.025), (["--accept", "0.3"], 0.3)):
        assert run_cli([*usual, *words]) == 0
        assert json.loads(capsys.readouterr().out)["accept"] == pytest.approx(share)


def test_places_are_hidden_on_request(trip, tmp_path):
    (tmp_path / trip).write_text(TRIP.replace('"A"', '"Secret Bay"'), encoding="utf-8")
    words = ["size", trip, "--panel-w", "300", "--years", "2", "--most-years", "2",
             "--no-sensitivity", "--coarse-places"]  # fmt: skip
    assert run_cli(words) == 0
    page = (tmp_path / "reports" / "trip_size.html").read_text(encoding="utf-8")
    assert "Secret Bay" not in page
    assert "42.7" not in page
