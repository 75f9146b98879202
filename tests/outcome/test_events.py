"""Events, balances, intervals and the hourly trace: by hand, by published values, by sums."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_one
from offgrid_sim.outcome.events import KINDS, find_events, spells
from offgrid_sim.outcome.risk import chance, risk
from offgrid_sim.outcome.trace import FLAGS, MEANS, STATES, SUMS
from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.run import simulate

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
H = 1 / STEPS_PER_HOUR


@cache
def dark_december():
    """A run with blackouts, thaw and a dry tank, its trace and its totals."""
    outcome = simulate(
        load_trip(
            TRIPS / "sandpoint_december.toml",
            ["van.solar.0.panel_w=100", "route.stops.0.fresh_water=false"],
        )
    )
    ready = outcome.ready
    trace, totals = run_one(ready.van, ready.clock, ready.skies[0], ready.ask)
    return outcome, trace, totals[0]


# ---- spells --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("flags", "bridged", "expected"),
    [
        ([], 0, []),
        ([0, 0], 0, []),
        ([1, 1], 0, [(0, 2)]),
        ([0, 1, 1, 0, 1], 0, [(1, 3), (4, 5)]),
        ([0, 1, 1, 0, 1], 1, [(1, 5)]),
        ([1, 0, 0, 1, 0, 1, 0], 1, [(0, 1), (3, 6)]),
        ([1, 0, 0, 1], 1.5, [(0, 1), (3, 4)]),
    ],
)
def test_spells_and_the_gaps_they_bridge(flags, bridged, expected):
    assert spells(np.array(flags, float) > 0.5, bridged) == expected


# ---- events --------------------------------------------------------------------------------


def test_blackouts_are_those_of_the_totals():
    outcome, _, totals = dark_december()
    dark = [event for event in outcome.events if event.kind == "blackout"]
    assert len(dark) == totals["blackout_events"] == outcome.summary["blackout_events"]
    assert sum(event.duration_h for event in dark) == pytest.approx(totals["blackout_hours"])
    assert max(event.duration_h for event in dark) == pytest.approx(totals["longest_blackout_h"])
    assert dark[0].start_hour == pytest.approx(totals["first_blackout_h"])


def test_events_are_told_in_local_time_with_their_place():
    outcome, _, _ = dark_december()
    dark = next(event for event in outcome.events if event.kind == "blackout")
    begin = pd.Timestamp(outcome.ready.trip.first_day)
    assert dark.start == begin + pd.Timedelta(hours=dark.start_hour)
    assert dark.end - dark.start == pd.Timedelta(hours=dark.duration_h)
    assert dark.place == "Sand Point"


def test_depth_is_energy_extreme_or_litres():
    outcome, trace, totals = dark_december()
    by_kind = {}
    for event in outcome.events:
        by_kind.setdefault(event.kind, []).append(event)
    first = by_kind["blackout"][0]
    steps = slice(round(first.start_hour / H), round((first.start_hour + first.duration_h) / H))
    assert first.depth == pytest.approx(trace["unserved_w"][steps].sum() * H)
    thaw = by_kind["thaw"][0]
    steps = slice(round(thaw.start_hour / H), round((thaw.start_hour + thaw.duration_h) / H))
    assert thaw.depth == pytest.approx(trace["ice_share"][steps].min())
    dry_l = sum(event.depth for event in by_kind["dry"])
    assert dry_l == pytest.approx(trace["unmet_l"][trace["dry"] > 0].sum())
    assert dry_l <= totals["unmet_l"] + 1e-9


def test_an_event_that_lasts_to_the_end_says_so():
    outcome, trace, _ = dark_december()
    trace = trace.copy()
    trace["blackout"] = 0.0
    trace["blackout"][-STEPS_PER_HOUR:] = 1.0
    dark = [e for e in find_events(outcome.ready, trace) if e.kind == "blackout"]
    assert len(dark) == 1
    assert dark[0].ends_with_trip
    assert dark[0].duration_h == pytest.approx(1.0)


def test_every_kind_of_event_can_be_found():
    outcome, trace, _ = dark_december()
    for kind in KINDS:
        forced = trace.copy()
        forced[kind.flag] = 0.0
        forced[kind.flag][8:12] = 1.0
        found = [e for e in find_events(outcome.ready, forced) if e.kind == kind.name]
        assert [(e.start_hour, e.duration_h) for e in found] == [(8 * H, 4 * H)], kind.name


# ---- hourly trace and balances -------------------------------------------------------------


def test_hourly_energy_sums_to_the_totals():
    outcome, _, totals = dark_december()
    for column, total in (
        ("solar_w", "solar_wh"), ("load_w", "load_wh"), ("fridge_w", "fridge_wh"),
        ("curtailed_w", "curtailed_wh"), ("unserved_w", "unserved_wh"),
        ("alternator_w", "alternator_wh"), ("heater_heat_w", "heat_wh"),
        ("drawn_l", "fresh_used_l"), ("to_grey_l", "grey_l"), ("unmet_l", "unmet_l"),
        ("cable_loss_w", "cable_loss_wh"),
        ("blackout_share", "blackout_hours"), ("thaw_share", "thaw_hours"),
        ("dry_share", "dry_hours"), ("cold_lockout_share", "cold_lockout_hours"),
    ):  # fmt: skip
        assert outcome.hourly[column].sum() == pytest.approx(totals[total], rel=1e-9), column


def test_hourly_states_are_those_at_the_end_of_the_hour():
    outcome, trace, _ = dark_december()
    ends = trace[STEPS_PER_HOUR - 1 :: STEPS_PER_HOUR]
    np.testing.assert_array_equal(outcome.hourly["soc"], ends["soc"])
    np.testing.assert_array_equal(outcome.hourly["temp_cabin_c"], ends["cabin_c"])
    assert set(STATES.values()) <= set(outcome.hourly)
    assert set((MEANS | SUMS | FLAGS).values()) <= set(outcome.hourly)


def test_the_energy_balance_adds_up():
    energy = dark_december()[0].energy
    lost_wh = energy.battery_loss_wh + energy.cable_loss_wh
    spent = energy.used_wh + lost_wh + energy.stored_change_wh
    assert energy.cable_loss_wh > 0
    assert energy.in_wh == pytest.approx(spent, abs=1e-6 * energy.in_wh)
    assert energy.residual_wh == pytest.approx(0.0, abs=1e-6 * energy.in_wh)
    assert energy.other_load_wh > 0


def test_the_water_balance_adds_up():
    water = dark_december()[0].water
    assert water.fresh_residual_l == pytest.approx(0.0, abs=1e-9)
    assert water.grey_residual_l == pytest.approx(0.0, abs=1e-9)
    assert water.consumed_l >= 0
    assert water.used_l == pytest.approx(water.consumed_l + water.to_grey_l + water.over_brim_l)


# ---- risk ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("happened", "years", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
     (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_wilson_interval_of_newcombe_1998(happened, years, low, high):
    # Newcombe 1998, Statistics in Medicine 17:857, table I, method 3 (score); from memory
    found = chance(np.arange(years) < happened)
    assert found.share == happened / years
    assert (found.low, found.high) == (
        pytest.approx(low, abs=5e-5),
        pytest.approx(high, abs=5e-5),
    )


def test_worst_year_has_most_blackout_then_thaw_then_unserved():
    _, _, totals = dark_december()
    rows = np.repeat(np.array([totals]), 4)
    rows["blackout_hours"] = [0, 5, 5, 0]
    rows["thaw_hours"] = [0, 1, 2, 0]
    rows["unserved_wh"] = [3, 1, 1, 9]
    found = risk((2001, 2002, 2003, 2004), rows)
    assert found.worst_first == (2, 1, 3, 0)
    assert (found.blackout.happened, found.blackout.years) == (2, 4)


def test_wilson_interval_is_scipys() -> None:
    """Every count of 1 to 40 years against scipy.stats.binomtest."""
    from scipy.stats import binomtest

    from offgrid_sim.outcome.risk import wilson

    for years in range(1, 41):
        for count in range(years + 1):
            exact = binomtest(count, years).proportion_ci(0.95, method="wilson")
            assert np.allclose(wilson(count, years), (exact.low, exact.high), atol=1e-12)
