"""One battery step at constant power, against scipy's integration of the same law.

The law: dSoC/dt = keep I / C with P = I (OCV(SoC) - cold + I R), I > 0 charging.
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from offgrid_sim.physics.battery import (
    AGM,
    GRID,
    LFP,
    advance,
    coulombic_efficiency,
    current_a,
    ocv_v,
    peukert_factor,
    stored_v,
)

CAPACITY_AH = 100.0
OHM = {LFP: 0.008, AGM: 0.012}


def walk(chemistry, soc, power_w, hours, *, per_h=6, ohm=None, cold_v=0.0, exponent=1.0):
    """The engine's way: steps of 1 / per_h hours."""
    ohm = OHM[chemistry] if ohm is None else ohm
    for _ in range(round(hours * per_h)):
        soc, _, _ = advance(
            power_w, soc, 1.0 / per_h, chemistry, CAPACITY_AH, ohm, cold_v, 5.0, exponent
        )
    return soc


def integrate(chemistry, soc, power_w, hours, *, ohm=None, cold_v=0.0, exponent=1.0):
    """The same law by scipy; ``cold_v`` only acts on discharge."""
    ohm = OHM[chemistry] if ohm is None else ohm

    def rate(_, y):
        amps = current_a(power_w, ocv_v(chemistry, y[0]) - cold_v, ohm)
        if amps > 0.0:
            return [coulombic_efficiency(chemistry, y[0]) * amps / CAPACITY_AH]
        return [peukert_factor(-amps, 5.0, exponent) * amps / CAPACITY_AH]

    solved = solve_ivp(rate, (0, hours), [soc], max_step=0.02, rtol=1e-10, atol=1e-12)
    return solved.y[0, -1]


@pytest.mark.parametrize("chemistry", [LFP, AGM])
@pytest.mark.parametrize(
    ("soc", "power_w", "hours"),
    [
        (0.9, -60.0, 10.0),  # an evening's loads, across many knots of the table
        (0.5, -5.0, 24.0),
        (0.42, -250.0, 1.5),
        (0.2, 150.0, 4.0),  # a sunny morning
        (0.05, 20.0, 6.0),
    ],
)
def test_charge_and_discharge_at_constant_power(chemistry, soc, power_w, hours):
    expected = integrate(chemistry, soc, power_w, hours)
    assert walk(chemistry, soc, power_w, hours) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("soc", [0.4999, 0.5001, 0.55, 0.08])
@pytest.mark.parametrize("power_w", [-120.0, 120.0])
def test_a_step_across_a_knot_of_the_table(soc, power_w):
    expected = integrate(LFP, soc, power_w, 0.5)
    assert walk(LFP, soc, power_w, 0.5, per_h=2) == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(("chemistry", "cold_v"), [(LFP, 0.3), (AGM, 0.4)])
def test_cold_cells_give_more_current_for_the_same_power(chemistry, cold_v):
    expected = integrate(chemistry, 0.8, -100.0, 4.0, cold_v=cold_v)
    got = walk(chemistry, 0.8, -100.0, 4.0, cold_v=cold_v)
    assert got == pytest.approx(expected, abs=1e-4)
    assert got < walk(chemistry, 0.8, -100.0, 4.0) - 1e-3


@pytest.mark.parametrize("power_w", [-80.0, -200.0, -400.0])
def test_agm_with_peukert(power_w):
    hours = 200.0 / -power_w
    expected = integrate(AGM, 0.95, power_w, hours, exponent=1.12)
    got = walk(AGM, 0.95, power_w, hours, exponent=1.12)
    assert got == pytest.approx(expected, abs=1e-4)
    assert got < walk(AGM, 0.95, power_w, hours) - 1e-3


def test_agm_charge_into_the_inefficient_end():
    # The share kept falls over a step from its value at the start; ten minutes cost 1e-3 of SoC.
    expected = integrate(AGM, 0.75, 60.0, 4.0)
    assert walk(AGM, 0.75, 60.0, 4.0) == pytest.approx(expected, abs=1e-3)
    assert walk(AGM, 0.75, 60.0, 4.0, per_h=120) == pytest.approx(expected, abs=1e-4)


def test_exponent_one_counts_coulombs():
    soc, amps, _ = advance(-300.0, 0.8, 1 / 6, AGM, CAPACITY_AH, 0.012, 0.0, 5.0, 1.0)
    assert soc == pytest.approx(0.8 + amps / 6 / CAPACITY_AH, abs=1e-14)


@pytest.mark.parametrize(
    ("chemistry", "keep", "round_trip"), [(LFP, 0.995, 0.958), (AGM, 0.97, None)]
)
def test_b3_round_trip_is_charge_kept_times_the_voltages(chemistry, keep, round_trip):
    # Lithium: 0.995 x 13.1 / 13.6; charge 37 A and discharge 21 A of 100 Ah give those voltages.
    ohm = OHM[chemistry]
    top_v = ocv_v(chemistry, 0.7) + 37.0 * ohm
    bottom_v = ocv_v(chemistry, 0.7) - 21.0 * ohm
    up, _, _ = advance(37.0 * top_v, 0.7, 0.001, chemistry, CAPACITY_AH, ohm, 0.0, 1e9, 1.0)
    h = (up - 0.7) * CAPACITY_AH / 21.0
    back, _, _ = advance(-21.0 * bottom_v, up, h, chemistry, CAPACITY_AH, ohm, 0.0, 1e9, 1.0)
    assert back == pytest.approx(0.7, abs=1e-6)
    got = 21.0 * bottom_v * h / (37.0 * top_v * 0.001)
    assert got == pytest.approx(keep * bottom_v / top_v, rel=1e-4)
    if round_trip:
        assert got == pytest.approx(round_trip, abs=0.003)


steps = st.tuples(
    st.sampled_from([LFP, AGM]),
    st.floats(0.02, 0.98),
    st.floats(-400.0, 400.0),
    st.sampled_from([1 / 60, 1 / 6, 1.0]),
    st.floats(0.0, 0.6),
    st.sampled_from([1.0, 1.02, 1.12]),
)


@settings(deadline=None, database=None, derandomize=True, max_examples=400)
@given(steps)
def test_energy_closes_in_any_step(drawn):
    """Terminal energy = change of stored energy + loss, whatever the step (first law)."""
    chemistry, soc, power_w, h, cold_v, exponent = drawn
    cold_v = cold_v if power_w < 0.0 else 0.0
    capacity_ah = max(CAPACITY_AH, abs(power_w) * h / 0.15)
    after, amps, loss_w = advance(
        power_w, soc, h, chemistry, capacity_ah, OHM[chemistry], cold_v, 5.0, exponent
    )
    assume(0.0 < after < 1.0)  # clipped at the ends: the engine keeps away from there
    stored_wh = capacity_ah * (stored_v(chemistry, after) - stored_v(chemistry, soc))
    iterated = int(soc * GRID) != int(after * GRID) or -amps > 5.0
    limit_wh = 1e-12 * capacity_ah * 13.0 + (2e-10 * abs(power_w * h) if iterated else 0.0)
    assert loss_w >= -1e-12
    assert power_w * h == pytest.approx(stored_wh + loss_w * h, rel=0, abs=limit_wh)


@settings(deadline=None, database=None, derandomize=True, max_examples=200)
@given(st.floats(-400.0, 400.0), st.floats(10.0, 14.5), st.floats(1e-3, 0.05))
def test_the_current_carries_the_power(power_w, emf_v, ohm):
    amps = current_a(power_w, emf_v, ohm)
    if emf_v**2 + 4 * ohm * power_w > 0:
        assert amps * (emf_v + amps * ohm) == pytest.approx(power_w, abs=1e-9)
    else:
        assert amps == pytest.approx(-emf_v / (2 * ohm), rel=1e-12)  # the most there is


def test_no_power_leaves_the_battery_alone():
    soc, amps, loss_w = advance(0.0, 0.6, 1 / 6, LFP, CAPACITY_AH, 0.008, 0.0, 5.0, 1.02)
    assert (soc, amps, loss_w) == (0.6, 0.0, 0.0)


@pytest.mark.parametrize("chemistry", [LFP, AGM])
def test_halving_the_step_changes_a_day_by_less_than_1_per_cent(chemistry):
    profile_w = np.where((np.arange(24) >= 9) & (np.arange(24) < 16), 55.0, -25.0)
    ends = []
    for per_h in (6, 12):
        soc = 0.55
        for power_w in profile_w:
            soc = walk(chemistry, soc, float(power_w), 1, per_h=per_h, exponent=1.12)
        ends.append(soc)
    assert ends[0] == pytest.approx(ends[1], rel=1e-3)
