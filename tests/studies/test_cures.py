"""Cures: hours saved are differences of plain runs; order by value; what does not help is said."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.errors import PlanError
from offgrid_sim.plan.load import load_trip
from offgrid_sim.report.why_sections import cures_section
from offgrid_sim.studies.changes import read_changes
from offgrid_sim.studies.cures import Cure, Cures, Tried, cure_variant, find_cures, usual_cures
from offgrid_sim.studies.cures_words import cure_words, cures_numbers, cures_sentence
from offgrid_sim.studies.run import simulate

TRIP = Path(__file__).parents[2] / "configs" / "trips" / "pyrenees_winter.toml"
WEAK = (
    "route.stops=none", "route.stops.0.place=Jaca", "route.stops.0.latitude_deg=42.57",
    "route.stops.0.longitude_deg=-0.55", "route.stops.0.altitude_m=820", "route.stops.0.nights=12",
    "route.stops.0.fresh_water=true", "route.stops.0.grey_dump=true",
    "route.stops.0.sky=some_trees", "weather.years=8", "van.solar.0.panel_w=120",
    "van.battery.capacity_ah=120", "van.inverter.left_on=true",
)  # fmt: skip
STRONG = ("van.solar.0.panel_w=3000", "van.battery.capacity_ah=900")


@cache
def weak():
    return load_trip(TRIP, WEAK)


@cache
def usual():
    return find_cures(weak(), usual_cures())


def by_name(found, name):
    return next(one for one in found.tried if one.names == (name,))


def trouble_h(sets):
    totals = simulate(load_trip(TRIP, (*WEAK, *sets))).totals
    names = ("blackout_hours", "thaw_hours", "fridge_cutout_hours", "dry_hours")
    return sum(totals[name] for name in names).mean()


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("100 W more panel", "van.solar.0.panel_w=220"),
        ("50 Ah more battery", "van.battery.capacity_ah=170"),
        ("inverter off while unused", "van.inverter.left_on=false"),
    ],
)
def test_saved_hours_are_the_difference_of_two_runs(name, change):
    expected = trouble_h(()) - trouble_h((change,))
    assert by_name(usual(), name).saved_h == pytest.approx(expected)
    assert expected > 0


def test_order_is_by_value_and_free_help_comes_first():
    helping = usual().helping
    assert helping == tuple(sorted(helping, key=lambda one: (-one.per_100, -one.saved_h)))
    assert helping[0].price == 0
    flags = [one.helps for one in usual().tried]
    assert flags == sorted(flags, reverse=True)


def test_the_pair_is_the_rerun_with_both():
    found = find_cures(weak(), [
        Cure(name="a", add={"van.solar.0.panel_w": 60.0}, price=80.0, mass_kg=4.0),
        Cure(name="b", add={"van.solar.0.panel_w": 40.0}, price=60.0, mass_kg=3.0),
    ])  # fmt: skip
    pair = found.best_pair
    assert pair is not None
    assert (pair.names, pair.price, pair.mass_kg) == (("a", "b"), 140.0, 7.0)
    assert pair.saved_h == pytest.approx(trouble_h(()) - trouble_h(("van.solar.0.panel_w=220",)))
    assert pair.changes == ("van.solar.0.panel_w = 220.0",)


def test_what_does_not_help_is_said():
    found = find_cures(weak(), [
        Cure(name="deep tray", at_least={"van.fridge.tray_l": 8.0}, price=10.0),
        Cure(name="less panel", scale={"van.solar.0.panel_w": 0.5}),
        Cure(name="same inverter", set={"van.inverter.left_on": True}),
    ])  # fmt: skip
    assert cure_words(by_name(found, "deep tray")) == "does not help"
    assert cure_words(by_name(found, "less panel")).startswith("makes it ")
    assert found.skipped == ("same inverter",)
    assert cures_sentence(found) == ("None of the changes tried helps; look for the cause first.")
    section = cures_section(found)
    assert section is not None
    assert "no help here: deep tray" in section.body or "deep tray" in section.body


def test_a_van_that_holds_needs_no_cure():
    sound = load_trip(TRIP, (*WEAK, *STRONG))
    found = find_cures(sound, usual_cures())
    assert found == Cures(8, 0.0, 0, (), None, None, ())
    assert cures_section(found) is None


def test_a_refill_stop_cures_a_dry_tank():
    dry = load_trip(
        TRIP, (*WEAK, *STRONG, "van.water.fresh_l=60", "route.stops.0.fresh_water=false")
    )
    found = find_cures(dry, [one for one in usual_cures() if one.refill_stop])
    assert found.tried[0].dry_saved_h > 0
    assert found.tried[0].changes[0] == "route.stops.0.fresh_water = True"


def test_more_driving_charges_more():
    drive = by_name(usual(), "one more hour of driving a day")
    assert drive.saved_h > 0
    assert drive.per_kg == np.inf


@pytest.mark.parametrize(("latitude", "azimuth"), [(42.57, 180.0), (-42.57, 0.0)])
def test_the_noon_sun_stands_in_the_south_or_in_the_north(latitude, azimuth):
    loaded = load_trip(
        TRIP, (*WEAK, "van.solar.0.azimuth_deg=90", f"route.stops.0.latitude_deg={latitude}")
    )
    tilt = next(one for one in usual_cures() if one.face_noon_sun)
    variant = cure_variant(tilt, loaded)
    assert variant is not None
    assert variant.sets["van.solar.0.azimuth_deg"] == azimuth


def test_numbers_are_plain_and_the_page_names_the_assumption():
    told = cures_numbers(usual())
    assert told["tried"][0]["helps"] is True
    assert told["usual_failing_years"] > 0
    section = cures_section(usual())
    assert section is not None
    assert "assumed" in section.body


def test_prices_and_masses_of_the_list_are_marked_as_assumed():
    text = (Path(__file__).parents[2] / "offgrid_sim" / "data" / "cures.toml").read_text("utf-8")
    assert "are assumed" in text
    assert len(usual_cures()) >= 12


def test_own_list_is_checked_whole(tmp_path):
    file = tmp_path / "cures.toml"
    file.write_text('[[cures]]\nname = "x"\nprize = 3\nmass_kg = "two"\n', encoding="utf-8")
    with pytest.raises(PlanError) as refused:
        read_changes(file, "cures", Cure)
    assert "Write price instead" in str(refused.value)
    assert "mass_kg" in str(refused.value)


def test_per_cost_and_per_kilo():
    """21 h saved for 130 and 7 kg: 16.15 h per 100 and 3 h per kilo (arithmetic)."""
    one = by_name(usual(), "100 W more panel")
    made = Tried(**{**one.__dict__, "saved_h": 21.0})
    assert made.per_100 == pytest.approx(21 / 1.3)
    assert made.per_kg == pytest.approx(3.0)
