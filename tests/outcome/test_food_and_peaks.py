"""Food clocks against the rules they quote, and the compressor's start against Ohm's law."""

from __future__ import annotations

import numpy as np
import pytest

from offgrid_sim.engine.flat import FLOW
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.outcome.food import food_clocks
from offgrid_sim.outcome.peaks import start_peak
from offgrid_sim.plan.van import Battery, Fridge, Van

STEP_H = 0.25


def warm(*hours_at: tuple[float, float]) -> np.ndarray:
    """Food temperature: ``(hours, C)`` after ``(hours, C)``."""
    return np.concatenate([np.full(round(h / STEP_H), c) for h, c in hours_at])


@pytest.mark.parametrize(
    ("hours", "fsanz", "us", "uk"),
    [
        # FSANZ 3.2.2: < 2 h chill again, 2-4 h use now, > 4 h discard; US 2 h above 40 F;
        # UK one spell of up to 4 h above 8 C (all from secondary copies)
        (1.5, "fine", "fine", "use now"),
        (3.0, "use now", "discard", "use now"),
        (5.0, "discard", "discard", "discard"),
    ],
)
def test_one_spell_at_ten_degrees(hours: float, fsanz: str, us: str, uk: str) -> None:
    clocks = food_clocks(warm((10, 3), (hours, 10), (10, 3)), STEP_H, 4.0)
    assert [clock.state for clock in clocks] == [fsanz, us, uk]
    assert clocks[0].counted_h == pytest.approx(hours)


def test_short_spells_add_up_for_fsanz_only() -> None:
    """Cumulative in FSANZ 3.2.2; per spell in the others."""
    fsanz, us, uk = food_clocks(warm(*[(1.5, 9), (3, 3)] * 3), STEP_H, 4.0)
    assert fsanz.counted_h == pytest.approx(4.5)
    assert (fsanz.state, us.state, uk.state) == ("discard", "fine", "use now")


def test_spells_weeks_apart_do_not_add_up() -> None:
    """Food is taken to be eaten within four days (common practice, no source)."""
    fsanz = food_clocks(warm((3, 9), (14 * 24, 3), (3, 9)), STEP_H, 4.0)[0]
    assert fsanz.counted_h == pytest.approx(3.0)


def test_a_set_point_above_the_rule_is_said_and_not_counted_as_spoiled() -> None:
    us = food_clocks(warm((100, 4.7)), STEP_H, 5.0)[1]
    assert us.state == "set too warm"


def test_start_peak_is_ohms_law() -> None:
    """12.8 V, 20 mOhm battery, no other load: 120 W / 12.8 V through all three resistances."""
    van = van_numbers(
        Van(battery=Battery(capacity_ah=100, resistance_mohm=20), fridge=Fridge(start_w=120))
    )
    trace = np.zeros(2, FLOW)
    trace["volts"], trace["running_share"] = 12.8, [0.0, 1e-9]
    found = start_peak(van, trace)
    assert found is not None
    ohm = 0.020 + van["cable_ohm"][0] + van["main_ohm"][0]
    assert found.lowest_v == pytest.approx(12.8 - 120 / 12.8 * ohm, abs=1e-6)
    assert found.below_cutout_share == 0.0


def test_start_peak_counts_starts_below_the_cutout() -> None:
    van = van_numbers(Van(battery=Battery(capacity_ah=100), fridge=Fridge(cutout_v=11.5)))
    trace = np.zeros(4, FLOW)
    trace["volts"], trace["running_share"] = [13.0, 13.0, 11.6, 13.0], [1, 1, 1, 0]
    found = start_peak(van, trace)
    assert found is not None
    assert found.below_cutout_share == pytest.approx(1 / 3)
    trace["running_share"] = 0
    assert start_peak(van, trace) is None
