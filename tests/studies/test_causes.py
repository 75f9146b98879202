"""Causes on made-up vans whose one fault is known, and on one that does not fail.

The truth of each case is made, not looked up: a van that holds is given a single fault.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.causes import Interaction, find_causes
from offgrid_sim.studies.causes_influences import average_sun, influences
from offgrid_sim.studies.causes_words import causes_numbers, interaction_words, why_words
from offgrid_sim.studies.run import simulate
from offgrid_sim.weather.sources import providers

TRIP = str(Path(__file__).parents[2] / "configs" / "trips" / "greensboro_june.toml")
SOUND = ("van.fridge.cable_length_m=2", "van.solar.0.panel_w=600")

FAULTS = {
    "cable": ("van.fridge.cable_length_m=50", "van.fridge.cable_mm2=1.5",
              "van.fridge.cutout_v=11.5", "van.fridge.restart_v=12.6"),
    "main_cable": ("van.battery.cable_length_m=50", "van.battery.cable_mm2=1.5",
                   "van.fridge.cutout_v=11.5", "van.fridge.restart_v=12.6"),
    "cold_lockout": ("van.battery.charge_min_temp_c=29.9", "van.battery.place=outside",
                     "van.alternator.current_a=0"),
    "inverter": ("van.inverter.left_on=true", "van.inverter.idle_w=70"),
    "camp_shade": ("route.stops.0.beam_share=0", "route.stops.0.diffuse_share=0.1"),
    "panel_shade": ("van.solar.0.shaded_groups=3", "van.solar.0.panel_w=300"),
    "habits": ("van.loads.2.power_w=250",),
    "old_battery": ("van.battery.health_share=0.2", "van.battery.capacity_ah=150"),
}  # fmt: skip


@cache
def causes_of(*sets):
    loaded = load_trip(TRIP, (*SOUND, *sets))
    return find_causes(loaded, simulate(loaded))


def test_a_van_that_does_not_fail_gets_no_causes():
    found = causes_of()
    assert (found.whys, found.whole_year) == ((), ())


@pytest.mark.parametrize("fault", list(FAULTS))
def test_the_one_fault_is_named_first(fault):
    found = causes_of(*FAULTS[fault])
    assert found.whys, "the case must fail for its fault to be found"
    assert found.whole_year[0].key == fault
    assert found.whole_year[0].held
    for why in found.whys:
        assert why.effects[0].key == fault
        assert "would have held" in why_words(why)


def test_the_cable_stops_the_fridge_while_the_battery_holds():
    kinds = {why.episode.kind for why in causes_of(*FAULTS["cable"]).whys}
    assert "fridge_cutout" in kinds
    assert "blackout" not in kinds


def test_hours_saved_are_those_of_the_rerun_without_the_fault():
    """The whole-year figure is the difference of two plain runs."""
    faulty = simulate(load_trip(TRIP, (*SOUND, *FAULTS["inverter"]))).summary
    cured = simulate(load_trip(TRIP, SOUND)).summary
    keys = ("blackout_hours", "thaw_hours", "fridge_cutout_hours")
    expected = sum(faulty[key] - cured[key] for key in keys)
    assert causes_of(*FAULTS["inverter"]).whole_year[0].saved_h == pytest.approx(expected)


def test_two_faults_that_need_each_other_are_said_to_interact():
    found = causes_of("van.inverter.left_on=true", "van.inverter.idle_w=130",
                      "route.stops.0.beam_share=0", "route.stops.0.diffuse_share=0.05")  # fmt: skip
    pairs = {frozenset(one.keys) for why in found.whys for one in why.interactions if one.held}
    assert frozenset(("inverter", "camp_shade")) in pairs
    assert any("together" in why_words(why) for why in found.whys)


def test_interaction_words_say_more_or_less():
    apart = Interaction(("a", "b"), ("x", "y"), (5.0, 3.0), 20.0, (False, False), False)
    assert interaction_words(apart) == "x and y together save 20 h, more than the 8 h of both apart"
    harmful = Interaction(("a", "b"), ("x", "y"), (-8.0, 2.0), 12.0, (False, False), False)
    assert interaction_words(harmful) == "x and y together save 12 h, apart they save nothing"


def test_average_sun_keeps_the_sum_and_the_air():
    """A mean taken group by group leaves the total where it was (arithmetic)."""
    loaded = load_trip(TRIP, SOUND)
    ready = prepare(loaded.trip, providers(loaded), 1)
    mean = average_sun(ready, ready.skies)
    assert mean["roof_w_m2"].sum() == pytest.approx(ready.skies["roof_w_m2"].sum())
    np.testing.assert_array_equal(mean["temp_air_c"], ready.skies["temp_air_c"])
    under_trees = mean["roof_w_m2"][0].reshape(-1, 24)[11:19]
    assert np.ptp(under_trees, axis=0).max() == pytest.approx(0, abs=1e-6)


def test_only_what_a_trip_has_is_taken_out():
    bare = load_trip(TRIP, ("van.fridge=none", "van.solar=none", "van.battery.chemistry=agm"))
    assert {one.key for one in influences(bare.trip)} == {"main_cable", "standby", "habits"}


def test_numbers_carry_the_words():
    told = causes_numbers(causes_of(*FAULTS["cable"]))
    assert told["episodes"][0]["causes"][0]["key"] == "cable"
    assert "1.5 mm²" in told["episodes"][0]["words"]
