"""Paired differences against published tables and scipy; a plan with itself is exactly zero."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from offgrid_sim.errors import PlanError
from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.compare import changed_values, compare
from offgrid_sim.studies.compare_paired import (
    chance_difference,
    mean_difference,
    newcombe_interval,
)
from offgrid_sim.studies.compare_words import compare_numbers, compare_sentence

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
SHORT = ("route.stops=none", "route.stops.0.place=Jaca", "route.stops.0.latitude_deg=42.57",
         "route.stops.0.longitude_deg=-0.55", "route.stops.0.nights=12",
         "weather.years=8")  # fmt: skip
SMALL = ("van.solar.0.panel_w=60", "van.battery.capacity_ah=80")


@cache
def plan(*sets):
    return load_trip(TRIPS / "pyrenees_winter.toml", (*SHORT, *sets))


def test_newcombe_against_the_published_table():
    """Cavo et al. 2012 as table (59, 6, 16, 80): -0.0621 (-0.1186 to -0.0046).

    Fagerland, Lydersen & Laake, Statistical Analysis of Contingency Tables, ch. 8, as printed by
    the tests of its companion R package contingencytables.
    """
    low, high = newcombe_interval(59, 6, 16, 80)
    assert low == pytest.approx(-0.1186, abs=5e-5)
    assert high == pytest.approx(-0.0046, abs=5e-5)


def test_mcnemar_is_the_binomial_test_of_discordant_years():
    """16 against 6 discordant pairs: exact two-sided binomial p (scipy)."""
    one = np.repeat([True, True, False, False], [59, 6, 16, 80])
    other = np.repeat([True, False, True, False], [59, 6, 16, 80])
    found = chance_difference(one, other)
    assert (found.both, found.only_one, found.only_other, found.neither) == (59, 6, 16, 80)
    assert found.p_value == pytest.approx(2 * stats.binom.cdf(6, 22, 0.5))
    assert found.difference.value == pytest.approx(10 / 161)
    assert found.difference.low == pytest.approx(0.0046, abs=5e-5)


def test_bootstrap_against_scipy():
    """Percentile interval of scipy.stats.bootstrap on the same gaps; both are random draws."""
    rng = np.random.default_rng(3)
    one = rng.gamma(2.0, 10.0, 40)
    other = one + rng.normal(4.0, 6.0, 40)
    found = mean_difference(one, other)
    theirs = stats.bootstrap(
        (other - one,),
        np.mean,
        method="percentile",
        n_resamples=20000,
        rng=np.random.default_rng(7),
    ).confidence_interval
    spread = (other - one).std() / np.sqrt(40)
    assert found.value == pytest.approx((other - one).mean())
    assert found.low == pytest.approx(theirs.low, abs=0.15 * spread)
    assert found.high == pytest.approx(theirs.high, abs=0.15 * spread)


def test_few_years_get_no_interval():
    found = mean_difference(np.zeros(4), np.ones(4))
    assert (found.value, found.low, found.high, found.clear) == (1.0, None, None, False)


def test_a_plan_with_itself_is_exactly_zero():
    found = compare([("one", plan(*SMALL)), ("same", plan(*SMALL))])
    assert found.changed == ()
    for row in found.rows:
        assert row.means[0] == row.means[1]
        assert (row.differences[0].value, row.differences[0].low, row.differences[0].high) == (
            0.0, 0.0, 0.0,
        )  # fmt: skip
    for chance in found.chances:
        gap = chance.differences[0].difference
        assert (gap.value, gap.low, gap.high) == (0.0, 0.0, 0.0)
    assert compare_sentence(found).startswith("The plans are the same")


def test_more_panel_and_battery_do_better_and_are_named():
    found = compare([("small", plan(*SMALL)), ("large", plan())])
    assert found.sides[found.best].name == "large"
    assert {one.key for one in found.changed} == {
        "van.solar.0.panel_w",
        "van.battery.capacity_ah",
    }
    dark = next(row for row in found.rows if row.measure.field == "blackout_hours")
    assert dark.differences[0].value < 0
    assert dark.differences[0].clear
    totals = [side.totals["blackout_hours"] for side in found.sides]
    assert dark.differences[0].value == pytest.approx((totals[1] - totals[0]).mean())
    assert compare_sentence(found).startswith("large does better: dark in ")
    assert compare_numbers(found)["best"] == "large"


def test_the_first_plans_weather_counts_for_all():
    found = compare([("one", plan()), ("two", plan("weather.years=3", "weather.seed=9"))])
    assert len(found.years) == 8
    assert any("[weather]" in note for note in found.notes)
    assert all(row.differences[0].value == 0 for row in found.rows)


def test_another_route_is_said():
    found = compare([("one", plan()), ("two", plan("people=1", "route.stops.0.nights=10"))])
    assert any("route, people" in note for note in found.notes)
    assert any("10 nights instead of 12" in note for note in found.notes)


def test_a_missing_table_counts_as_a_difference():
    keys = {one.key for one in changed_values([plan(), plan("van.fridge=none")])}
    assert "van.fridge.shape" in keys


def test_one_plan_is_refused():
    with pytest.raises(PlanError, match="second"):
        compare([("one", plan())])
