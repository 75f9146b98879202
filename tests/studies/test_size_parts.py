"""The parts of a sizing study that need no simulation: grid, intervals, bills, worksheet."""

import math

import numpy as np
import pytest
from scipy.stats import binom

from offgrid_sim.errors import PlanError
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.plan.van import Van
from offgrid_sim.studies import size_worksheet
from offgrid_sim.studies.size_cost import Bill, bill, frontier
from offgrid_sim.studies.size_grid import (
    battery_axis,
    check_axes,
    designs,
    numbers,
    panel_axis,
    parse_values,
    vary_axis,
)
from offgrid_sim.studies.size_risk import counted_chance, looks, standing

TWO_ARRAYS = {
    "van": {"battery": {"capacity_ah": 100}, "solar": [{"panel_w": 300}, {"panel_w": 100}]},
    "route": {"stops": [{"place": "x", "latitude_deg": 42, "longitude_deg": 0, "nights": 1}]},
    "season": "winter",
}


def test_ranges_include_both_ends():
    assert numbers("--panel-w", "100:800:100") == tuple(range(100, 900, 100))
    assert numbers("--tilt", "0:1:0.1")[-1] == 1.0
    assert numbers("--battery-ah", "300,100,200") == (100, 200, 300)
    assert parse_values("--vary", "cabin,outside") == ("cabin", "outside")


@pytest.mark.parametrize(
    "text", ["1:2", "5:1:1", "1:9:0", "a,b", "1,,2", "1,1", "nan", "0:1e9:1", ""]
)
def test_wrong_ranges_are_refused_with_the_next_step(text):
    with pytest.raises(PlanError, match=r"Write 100:800:100 for a range") as error:
        numbers("--panel-w", text)
    assert "--panel-w" in str(error.value)


def test_watts_are_shared_among_arrays_in_proportion():
    trip = load_trip_document(TWO_ARRAYS).trip
    level = panel_axis(trip, "800").levels[0]
    assert level.sets == {"van.solar.0.panel_w": 600, "van.solar.1.panel_w": 200}


def test_designs_are_all_combinations_and_no_key_twice():
    trip = load_trip_document(TWO_ARRAYS).trip
    axes = (panel_axis(trip, "200,400"), battery_axis("100:300:100"))
    grid = designs(axes)
    assert [d.values for d in grid][:2] == [
        {"panel_w": 200, "battery_ah": 100},
        {"panel_w": 200, "battery_ah": 200},
    ]
    assert len(grid) == 6
    assert grid[-1].name == "400 W, 300 Ah"
    with pytest.raises(PlanError, match="Give it once"):
        check_axes((axes[1], vary_axis("van.battery.capacity_ah=1,2")))
    with pytest.raises(PlanError, match="--seed"):
        vary_axis("weather.seed=1,2")


@pytest.mark.parametrize(
    ("happened", "years", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611),
     (1, 29, 0.0061, 0.1718)],
)  # fmt: skip
def test_wilson_intervals_of_newcombe_1998(happened, years, low, high):
    """Newcombe 1998, Statistics in Medicine 17:857, table I, method 3 (values from memory)."""
    found = counted_chance(happened, years)
    assert found.low == pytest.approx(low, abs=5e-5)
    assert found.high == pytest.approx(high, abs=5e-5)


@pytest.mark.parametrize("years", [30, 60, 250])
@pytest.mark.parametrize("truth", [0.02, 0.05, 0.2, 0.5])
def test_intervals_cover_a_known_chance(truth, years):
    """Exact coverage: binomial probabilities of all counts whose interval holds the truth.

    Wilson's mean coverage is 95 %; at a given chance it may dip: 0.92 is the lowest that Brown,
    Cai and DasGupta 2001 (Statistical Science 16:101) show away from 0 and 1 (from memory).
    """
    counts = np.arange(years + 1)
    inside = [counted_chance(int(c), years).low <= truth <= counted_chance(int(c), years).high
              for c in counts]  # fmt: skip
    assert 0.92 <= binom.pmf(counts, years, truth) @ inside <= 0.995


def test_intervals_cover_95_per_cent_on_average():
    truths = np.linspace(0.01, 0.99, 197)
    counts = np.arange(61)
    low = np.array([counted_chance(int(c), 60).low for c in counts])
    high = np.array([counted_chance(int(c), 60).high for c in counts])
    inside = (low[:, None] <= truths) & (truths <= high[:, None])
    covered = (binom.pmf(counts[:, None], 60, truths) * inside).sum(axis=0)
    assert covered.mean() == pytest.approx(0.95, abs=0.01)


@pytest.mark.parametrize("truth", [0.03, 0.049, 0.051, 0.08])
def test_looking_again_decides_wrongly_at_most_1_in_20(truth):
    """Monte Carlo of the whole procedure, looks included, against a chance that is known."""
    accept, stops = 0.05, looks(60, 480)
    rng = np.random.default_rng(7)
    trials = 4000
    failed = rng.random((trials, stops[-1])) < truth
    open_ones, wrong = np.ones(trials, bool), 0
    for years in stops:
        for k in np.flatnonzero(open_ones):
            found = standing(int(failed[k, :years].sum()), years, accept, len(stops))
            open_ones[k] = found == "undecided"
            wrong += found == ("misses" if truth <= accept else "meets")
    assert wrong / trials <= 0.05


def test_looks_double_up_to_the_budget():
    assert looks(60, 200) == (60, 120, 200)
    assert looks(30, 30) == (30,)


def test_no_failure_is_not_proof_in_few_years():
    """Rule of three (Hanley and Lippman-Hand 1983): 0 of n leaves about 3/n; 0 of 30 is 10 %."""
    assert standing(0, 30, 0.05, 1) == "undecided"
    assert standing(0, 250, 0.05, 1) == "meets"
    assert standing(50, 250, 0.05, 1) == "misses"
    assert counted_chance(0, 300).high == pytest.approx(3.84 / 303.84, rel=1e-3)


def test_bill_scales_given_prices_and_takes_the_table_for_the_rest():
    base = Van.model_validate({
        "solar": [{"panel_w": 400, "price": 440, "mass_kg": 28}],
        "battery": {"capacity_ah": 100, "price": 500},
    })  # fmt: skip
    design = Van.model_validate({"solar": [{"panel_w": 200}], "battery": {"capacity_ah": 300}})
    assert bill(base, design, {"panel_w"}) == Bill(
        cost=220 + 1500, mass_kg=14 + 36.0, roof_m2=200 * 0.0052
    )
    lead = design.model_copy(
        update={"battery": design.battery.model_copy(update={"chemistry": "agm"})}
    )
    assert bill(base, lead, ()).cost == 220 + 600
    wet = bill(base, design, {"fresh_l"})
    assert wet.mass_kg == pytest.approx(50 + 70 * 1.05)


class Billed:
    def __init__(self, cost, mass_kg, roof_m2, share):
        self.bill, self.share = Bill(cost, mass_kg, roof_m2), share


def test_frontier_names_the_three_and_drops_what_is_beaten():
    found = frontier(
        [Billed(1, 9, 9, 0.01), Billed(5, 1, 5, 0), Billed(6, 2, 1, 0), Billed(7, 9, 9, 0),
         Billed(0, 0, 0, 0.9)],
        [0, 1, 2, 3],
    )  # fmt: skip
    assert (found.cheapest, found.lightest, found.smallest_roof) == (0, 1, 2)
    assert found.unbeaten == (0, 1, 2)
    assert frontier([Billed(1, 1, 1, 1)], []) is None


def test_worksheet_examples():
    """Physics sheet C4 and C5: own arithmetic on the formulas of IEEE 1013 and 1562."""
    ah = size_worksheet.battery_ah(45, 3, 0.5, 0.2, 0.8, 1.19, 1.1)
    assert ah == pytest.approx(270 * 1.19 * 1.1)
    assert round(ah) == 353
    modules = size_worksheet.array_current_a(45, 1.3, 0.10, 4.0) / 5.56
    assert modules == pytest.approx(2.92, abs=0.005)
    assert math.ceil(modules) == 3


def test_worksheet_array_by_energy():
    """Watts x sun hours x losses x efficiency bring the load times the array-to-load ratio."""
    current = size_worksheet.array_current_a(50, 1.2, 0.15, 2.0)
    watts = size_worksheet.array_w(current, 0.95, 12.8)
    assert watts * 2.0 * 0.85 * 0.95 == pytest.approx(50 * 12.8 * 1.2)
