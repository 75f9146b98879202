"""The compressor's efficiency, against refrigerant cycles computed with CoolProp.

F4 ... F6 are checks of the project's physics sheet.
"""

import csv
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.engine.van_numbers import REFRIGERANT_FACTOR
from offgrid_sim.physics.fridge import carnot_share, cop

REFERENCE = Path(__file__).parents[1] / "reference"
SMALL_SYSTEM = 0.50 * 0.87
"""Electrical to isentropic 0.50 (from memory) x 0.87 for cycling, capillary and electronics."""


def kelvin(temp_c):
    return temp_c + 273.15


@lru_cache
def isentropic_cop(fluid, evaporator_c, condenser_c, superheat_k=10.0, subcooling_k=5.0):
    """One-stage cycle without pressure drop; superheat is useful."""
    low = PropsSI("P", "T", kelvin(evaporator_c), "Q", 1, fluid)
    high = PropsSI("P", "T", kelvin(condenser_c), "Q", 1, fluid)
    suction = ("T", kelvin(evaporator_c + superheat_k), "P", low, fluid)
    h_suction, s_suction = PropsSI("H", *suction), PropsSI("S", *suction)
    h_out = PropsSI("H", "S", s_suction, "P", high, fluid)
    h_liquid = PropsSI("H", "T", kelvin(condenser_c - subcooling_k), "P", high, fluid)
    return (h_suction - h_liquid) / (h_out - h_suction)


def carnot(evaporator_c, condenser_c):
    return kelvin(evaporator_c) / (condenser_c - evaporator_c)


def table():
    with open(REFERENCE / "coolprop_cop.csv", encoding="utf-8", newline="") as handle:
        return [[float(text) for text in row] for row in list(csv.reader(handle))[1:]]


@pytest.mark.parametrize(("column", "fluid"), [(2, "R134a"), (3, "R600a")])
def test_the_stored_table_is_what_coolprop_gives(column, fluid):
    for row in table():
        assert isentropic_cop(fluid, row[0], row[1]) == pytest.approx(row[column], rel=0.005)


def test_carnot_of_the_table():
    for point, expected in [((-30, 35), 3.741), ((-20, 45), 3.895), ((-5, 55), 4.469)]:
        assert carnot(*point) == pytest.approx(expected, abs=6e-4)


@pytest.mark.parametrize(
    ("fluid", "at_zero", "slope", "most"),
    [("R134a", 1.065, 0.00502, 0.027), ("R600a", 1.081, 0.00492, 0.019)],
)
def test_a_straight_line_in_the_lift_fits_each_refrigerant(fluid, at_zero, slope, most):
    errors = [
        isentropic_cop(fluid, te, tc) / carnot(te, tc) - (at_zero - slope * (tc - te))
        for te, tc, *_ in table()
    ]
    assert max(np.abs(errors)) <= most + 5e-4


@pytest.mark.parametrize(("fluid", "key"), [("R134a", "r134a"), ("R600a", "r600a")])
def test_the_modelled_share_of_carnot_follows_the_cycle(fluid, key):
    # Within 6 % at every point of the table and 2 % on average: well inside the +-20 % of a unit.
    ratios = []
    for te, tc, *_ in table():
        cycle = SMALL_SYSTEM * isentropic_cop(fluid, te, tc) / carnot(te, tc)
        ratios.append(carnot_share(tc - te, REFRIGERANT_FACTOR[key]) / cycle)
    assert max(np.abs(np.array(ratios) - 1)) < 0.06
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.02)


def test_the_two_refrigerants_differ_by_a_few_per_cent():
    gain = [row[3] / row[2] for row in table()]
    assert np.mean(gain) == pytest.approx(REFRIGERANT_FACTOR["r600a"], abs=0.005)
    assert min(gain) > 1.015
    assert max(gain) < 1.045


def test_f4_the_cycle_of_this_test_is_the_textbook_one():
    # Ideal R134a cycle 0.14 / 0.80 MPa: qL 143.7, w 36.2 kJ/kg, COP 3.97 (Cengel & Boles).
    suction = ("P", 0.14e6, "Q", 1, "R134a")
    h_suction, s_suction = PropsSI("H", *suction), PropsSI("S", *suction)
    h_out = PropsSI("H", "S", s_suction, "P", 0.80e6, "R134a")
    h_liquid = PropsSI("H", "P", 0.80e6, "Q", 0, "R134a")
    assert (h_suction - h_liquid) / 1000 == pytest.approx(143.7, abs=0.3)
    assert (h_out - h_suction) / 1000 == pytest.approx(36.2, abs=0.1)
    evaporator_c = PropsSI("T", *suction) - 273.15
    condenser_c = PropsSI("T", "P", 0.80e6, "Q", 0, "R134a") - 273.15
    # A hair of superheat and subcooling keeps CoolProp off the saturation line.
    got = isentropic_cop("R134a", evaporator_c, condenser_c, 0.001, 0.001)
    assert got == pytest.approx(3.97, abs=0.01)


@pytest.mark.parametrize(("fluid", "expected"), [("R134a", 1.367), ("R600a", 1.449)])
def test_f5_rating_point(fluid, expected):
    # -23.3 / 54.4 C, suction and liquid at 32.2 C, half of the isentropic efficiency.
    got = 0.5 * isentropic_cop(fluid, -23.3, 54.4, 32.2 + 23.3, 54.4 - 32.2)
    assert got == pytest.approx(expected, rel=0.005)


def test_f6_cooling_power_at_32_c_around():
    assert 45.0 * cop(-20.0, 47.0, 1.0) == pytest.approx(53.9, abs=0.1)


def test_the_share_of_carnot_lies_where_small_compressors_are():
    assert carnot_share(40.0, 1.0) == pytest.approx(0.37, abs=0.005)
    assert carnot_share(85.0, 1.0) == pytest.approx(0.28, abs=0.005)


@settings(deadline=None, database=None, derandomize=True, max_examples=300)
@given(st.floats(-35, 5), st.floats(15, 70), st.floats(0.1, 10))
def test_a_colder_evaporator_or_a_hotter_condenser_never_helps(evaporator_c, condenser_c, k):
    here = cop(evaporator_c, condenser_c, 1.0)
    assert here > 0.0
    assert cop(evaporator_c - k, condenser_c, 1.0) < here
    assert cop(evaporator_c, condenser_c + k, 1.0) <= here
    assert here < kelvin(evaporator_c) / max(condenser_c - evaporator_c, 10.0)


def test_a_cold_van_does_not_make_efficiency_run_away():
    # The lift is kept at 10 K; a condenser in frost is as good as one at +10 K.
    assert cop(-10.0, -5.0, 1.0) == cop(-10.0, 0.0, 1.0)
