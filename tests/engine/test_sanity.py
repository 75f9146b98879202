"""What a van owner would try first; measured hours of the packaged stations, no network."""

from pathlib import Path

import pytest

from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.run import simulate

CONFIGS = Path(__file__).parents[2] / "configs"


def summary(trip, *sets, **parts):
    return simulate(load_trip(CONFIGS / "trips" / trip, list(sets), **parts)).summary


def test_100_w_at_sand_point_in_december_goes_dark_within_days():
    outcome = simulate(
        load_trip(CONFIGS / "trips/sandpoint_december.toml", ["van.solar.0.panel_w=100"])
    )
    first = next(event for event in outcome.events if event.kind == "blackout")
    assert first.start_hour < 7 * 24
    assert outcome.summary["blackout_hours"] > 14 * 24


def test_2000_w_with_600_ah_at_greensboro_in_june_does_not_go_dark():
    found = summary(
        "greensboro_june.toml", "van.solar.0.panel_w=2000", "van.battery.capacity_ah=600"
    )
    assert found["blackout_hours"] == 0
    assert found["unserved_wh"] == 0
    assert found["min_soc"] > 0.8


def test_an_upright_uses_more_than_a_chest():
    same = ("van.fridge.volume_l=60", "van.fridge.freezer_share=0.12")
    upright = summary("greensboro_june.toml", *same)
    chest = summary("greensboro_june.toml", *same, van=CONFIGS / "vans" / "winter_chest.toml")
    # the sheet's table of this model: upright about 1.15 times a chest with a freezer part
    assert 1.05 < upright["fridge_wh"] / chest["fridge_wh"] < 1.5


def test_a_hot_dark_van_costs_more_fridge_energy_than_a_white_one():
    white = summary("greensboro_june.toml", "van.cabin.roof_colour='white'")
    dark = summary("greensboro_june.toml", "van.cabin.roof_colour='dark'")
    assert dark["fridge_wh"] > 1.01 * white["fridge_wh"]


HABITS = """
name = "much drunk and cooked, little washed (invented)"
[[uses]]
name = "drink"
hour = 9
minutes = 600
litres = 3.5
[[uses]]
name = "cook and hot drinks"
hour = 18
minutes = 60
litres = 3.0
grey_share = 0.1
[[uses]]
name = "dishes"
hour = 20
litres = 3.0
grey_share = 0.95
[[uses]]
name = "wash"
hour = 8
litres = 3.0
grey_share = 0.95
"""


def test_where_much_is_drunk_and_cooked_grey_needs_about_half_of_fresh(tmp_path):
    # common practice, no source: the grey tank about half the fresh one
    (tmp_path / "habits.toml").write_text(HABITS, encoding="utf-8")
    found = summary(
        "greensboro_june.toml", "van.water.fresh_l=500", "van.water.grey_l=500",
        parts={"habits": tmp_path / "habits.toml"},
    )  # fmt: skip
    assert found["dry_hours"] == found["grey_full_hours"] == 0
    assert found["fresh_used_l"] == pytest.approx(30 * 2 * 12.5, rel=0.02)
    assert 0.4 < found["grey_l"] / found["fresh_used_l"] < 0.6


def test_such_habits_with_a_grey_tank_of_half_run_dry_before_they_overflow(tmp_path):
    (tmp_path / "habits.toml").write_text(HABITS, encoding="utf-8")
    route = tmp_path / "route.toml"
    route.write_text(
        '[[stops]]\nplace = "no services"\nlatitude_deg = 36.1\nlongitude_deg = -79.95\n'
        "nights = 6\n",
        encoding="utf-8",
    )
    outcome = simulate(
        load_trip(
            CONFIGS / "trips/greensboro_june.toml",
            ["van.water.fresh_l=100", "van.water.grey_l=52"],
            route=route, parts={"habits": tmp_path / "habits.toml"},
        )
    )  # fmt: skip
    kinds = [event.kind for event in outcome.events]
    assert "dry" in kinds
    assert "grey_full" not in kinds
