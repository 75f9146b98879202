"""Hard cases: monotonic in their hardness, timed rightly on a made trace, read from TOML."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.engine.flat import FLOW
from offgrid_sim.errors import PlanError
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.van import Battery, Fridge
from offgrid_sim.studies.changes import Change, laid_over, plan_sets, read_changes, variant_of
from offgrid_sim.studies.stress import AS_PLANNED, Pair, stress, usual_cases
from offgrid_sim.studies.stress_times import NEVER, times_of
from offgrid_sim.studies.stress_words import stress_numbers, stress_sentence

TRIP = Path(__file__).parents[2] / "configs" / "trips" / "greensboro_june.toml"
SMALL = ("van.battery.capacity_ah=100", "van.solar.0.panel_w=200")


@cache
def trip(*sets):
    return load_trip(TRIP, sets)


def played(sets, *cases):
    return stress(trip(*sets), cases)


def case(name, **keys):
    return Change(name=name, **keys)


def test_longer_darkness_never_delays_blackout():
    """The spells share their beginning, so a longer one can only add to what is lacking."""
    nights = [case(f"{days} days", for_days=float(days), sun_share=0.0) for days in range(1, 9)]
    found = stress(trip(*SMALL), nights)
    hours = [one.end_h("blackout") for one in found.results[1:]]
    assert hours == sorted(hours, reverse=True)
    assert hours[-1] < NEVER
    soc = [one.lowest_soc for one in found.results[1:]]
    assert soc == sorted(soc, reverse=True)


@settings(deadline=None, database=None, derandomize=True, max_examples=12)
@given(
    shares=st.tuples(st.floats(0, 1), st.floats(0, 1)),
    ah=st.sampled_from([60.0, 100.0, 160.0]),
    kind=st.sampled_from(["lfp", "agm"]),
)
def test_less_light_never_delays_blackout(shares, ah, kind):
    pair = Pair("own", f"{kind} {ah}", None, Battery(chemistry=kind, capacity_ah=ah))
    dim, bright = sorted(shares)
    cases = [case(name, for_days=10.0, sun_share=share)
             for name, share in (("dim", dim), ("bright", bright))]  # fmt: skip
    found = stress(trip(*SMALL), [one for one in cases if one.sun_share != 1.0], [pair])
    hours = {one.case: one.end_h("blackout") for one in found.results}
    planned = hours.pop(AS_PLANNED)
    # within a long step: the compressor's phase may shift the moment the voltage is crossed
    assert hours.get("dim", planned) <= hours.get("bright", planned) + 0.5
    assert hours.get("bright", planned) <= planned + 0.5


def test_more_battery_lasts_longer():
    dark = case("dark", for_days=12.0, sun_share=0.0)
    pairs = [Pair("own", f"{ah}", None, Battery(capacity_ah=ah)) for ah in (50, 100, 200)]
    found = stress(trip(*SMALL), [dark], pairs)
    hours = [one.end_h("blackout") for one in found.results if one.case == "dark"]
    assert hours == sorted(hours)
    assert hours[0] < hours[1]


def test_times_of_a_made_trace():
    """Six steps an hour; begins at step 6, ends at step 18; all by hand."""
    trace = np.zeros(48, FLOW)
    trace["soc"] = 0.9
    trace["soc"][12:30] = 0.3
    trace["blackout"][15:20] = 1
    trace["thaw"][18:24] = 1
    trace["floor_water_l"][20:] = 0.4
    found = times_of(trace, 6, 18, 1 / 6, np.full(48, 0.92))
    assert found.ends_h["blackout"] == pytest.approx(1.5)
    assert found.ends_h["fridge_stop"] == pytest.approx(1.5)
    assert found.ends_h["thaw"] == pytest.approx(2.0)
    assert found.ends_h["dry"] == NEVER
    assert (found.first, found.floor_l, found.lowest_soc) == ("blackout", 0.4, 0.3)
    assert found.recover_h == pytest.approx(2.0)


def test_the_usual_cases_are_the_fourteen_and_apply():
    found = stress(trip("van.rationing.comfort_below_soc=0.5"), usual_cases())
    assert len(found.cases) == 14
    assert found.skipped == ()
    told = stress_numbers(found)
    assert len(told["results"]) == 15
    assert told["results"][0]["case"] == AS_PLANNED
    monitor = next(one for one in told["results"] if one["case"].startswith("monitor"))
    assert "van.rationing.comfort_below_soc = 0.35" in monitor["changes"]
    assert stress_sentence(found) == told["sentence"]


def test_a_case_that_changes_nothing_is_left_out():
    found = played((), case("mains", set={"van.inverter.left_on": False}))
    assert (found.cases, found.skipped) == ((), ("mains",))


def test_a_heat_wave_makes_the_fridge_work_and_the_cold_does_not():
    hot = case("hot", warmer_k=12.0)
    cold = case("cold", warmer_k=-12.0)
    found = played(SMALL, hot, cold)
    soc = {one.case: one.lowest_soc for one in found.results}
    assert soc["hot"] < soc[AS_PLANNED] < soc["cold"]


def test_ambient_is_the_mean_of_the_days_looked_at():
    found = stress(trip(*SMALL), [case("mild", warmer_k=0.001)], ambients_c=[5.0, 40.0])
    soc = {one.ambient_c: one.lowest_soc for one in found.results if one.case == AS_PLANNED}
    assert soc[40.0] < soc[5.0]


def test_driving_charges_and_staying_does_not():
    found = played(
        ("van.solar=none", "van.battery.capacity_ah=1000"),
        case("stay", no_driving=True),
        case("drive", extra_driving_h_per_day=1.0),
    )
    soc = {one.case: one.lowest_soc for one in found.results}
    assert soc["stay"] < soc[AS_PLANNED] < soc["drive"]


def test_no_tap_no_dump():
    ready_sets = ("van.water.fresh_l=40", "van.water.grey_l=35")
    found = played(
        ready_sets,
        case("no tap", no_tap=True, for_days=10.0),
        case("no dump", no_dump=True, for_days=10.0),
    )
    by = {one.case: one for one in found.results}
    assert by["no tap"].end_h("dry") < NEVER
    assert by["no dump"].end_h("grey_full") < by[AS_PLANNED].end_h("grey_full")


def test_wildcards_limits_and_absent_keys():
    loaded = trip()
    shade = case("shade", set={"route.stops.*.beam_share": 0.1})
    assert len(plan_sets(shade, loaded)) == len(loaded.trip.route.stops)
    low = case("low", add={"van.battery.initial_soc": -3.0})
    assert plan_sets(low, loaded) == {"van.battery.initial_soc": 0.0}
    bare = load_trip(TRIP, ("van.fridge=none",))
    assert plan_sets(case("x", set={"van.fridge.set_fridge_c": 8}), bare) == {}
    assert variant_of(case("x", set={"van.fridge.set_fridge_c": 8}), bare) is None


def test_quick_change_equals_a_new_load():
    sets = {
        "van.battery.capacity_ah": 123.0,
        "route.stops.1.sky": "forest",
        "van.shore.current_a": 3,
    }
    words = [f"{key}={value}" for key, value in sets.items()]
    assert laid_over(trip(), sets).trip == load_trip(TRIP, words).trip
    with pytest.raises(PlanError, match=r"van\.battery\.health_share"):
        laid_over(trip(), {"van.battery.health_share": 7.0})


def test_all_problems_of_a_case_file_are_told_together(tmp_path):
    file = tmp_path / "cases.toml"
    file.write_text(
        '[[cases]]\nname = "a"\nsunshare = 0.5\n'
        '[[cases]]\nname = "a"\nset = { "van.batery.capacity_ah" = 5 }\n'
        '[[cases]]\nfor_days = "two"\n'
        "[extra]\nx = 1\n",
        encoding="utf-8",
    )
    with pytest.raises(PlanError) as refused:
        read_changes(file, "cases", Change)
    text = str(refused.value)
    for said in ("Write sun_share", "van.battery.capacity_ah", "cases.2.name", "for_days", "extra"):
        assert said in text
    assert len(refused.value.problems) == 5


def test_fridge_of_the_pair_is_the_one_that_is_tried():
    dark = case("dark", for_days=6.0, sun_share=0.0)
    thin = Fridge(shape="upright", volume_l=60, wall_mm=15)
    thick = Fridge(shape="chest", volume_l=60, wall_mm=80)
    pairs = [Pair("thin", "own", thin), Pair("thick", "own", thick)]
    found = stress(trip(*SMALL), [dark], pairs)
    hours = [one.end_h("blackout") for one in found.results if one.case == "dark"]
    assert hours[0] < hours[1]
