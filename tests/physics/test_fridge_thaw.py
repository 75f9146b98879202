"""Thawing without power, against closed forms, scipy and worked values (F15 ... F20).

The closed form of each piece is m c / UA ln((Ta - T1) / (Ta - T2)); the mushy piece between -3
and -1 C has the heat capacity 245.5 kJ/kg over 2 K. Ice after Chen 1985 (F14) is not modelled.
"""

from math import exp, log

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from offgrid_sim.physics.fridge import (
    FROZEN_KJ_KG_K,
    MELT_KJ_KG,
    NEVER_H,
    THAWED_KJ_KG_K,
    hours_to,
    relaxation,
    run_thermostat,
    zone_heat_wh,
    zone_temp_c,
)

QUICK = settings(deadline=None, database=None, derandomize=True, max_examples=200)
STEP_H = 1 / 6


def zone(kg, liner_kj_k=0.0):
    """Kelvin per Wh frozen, mushy, thawed, and the heat of melting in Wh."""
    melt_wh = (kg * MELT_KJ_KG + 2.0 * liner_kj_k) / 3.6
    frozen = 3.6 / (kg * FROZEN_KJ_KG_K + liner_kj_k)
    thawed = 3.6 / (kg * THAWED_KJ_KG_K + liner_kj_k)
    return frozen, 2.0 / melt_wh, thawed, melt_wh


def warm_up(heat_wh, load_w, leak_w_k, pieces, h=STEP_H):
    """One step of the compressor zone with the power off."""
    after_wh, running, _, on_h, moved_wh = run_thermostat(
        heat_wh, 1.0, 1.0, False, load_w, leak_w_k, -10.0, -9.0, *pieces, 8.0, 40.0, 1.0, 45.0,
        0.05, h,
    )  # fmt: skip
    assert (running, on_h, moved_wh) == (0.0, 0.0, 0.0)
    return after_wh


def crossings(hours, values, marks):
    """When a rising value passes each mark, h."""
    return [float(np.interp(mark, values, hours)) for mark in marks]


def one_node(kg, ua_w_k, from_c, around_c, until_h):
    """Hours and heat of a zone that warms up; heat, for it has no kinks to interpolate over."""
    pieces = zone(kg)
    hours, heats_wh = [0.0], [zone_heat_wh(from_c, *pieces)]
    while hours[-1] < until_h:
        load_w = ua_w_k * (around_c - zone_temp_c(heats_wh[-1], *pieces))
        heats_wh.append(warm_up(heats_wh[-1], load_w, ua_w_k, pieces))
        hours.append(hours[-1] + STEP_H)
    return hours, heats_wh


def closed_form_h(kg, ua_w_k, around_c, pieces):
    """Hours through pieces of (kJ/kgK, from C, to C)."""
    return sum(
        kg * kj * 1000 / ua_w_k * log((around_c - low) / (around_c - high)) / 3600
        for kj, low, high in pieces
    )


@pytest.mark.parametrize(
    ("kg", "ua_w_k", "from_c", "expected_h"),
    [
        (10.0, 0.5, -18.0, (4.77, 55.3, 60.4)),  # F15
        (20.0, 0.5, -18.0, (9.53, 110.6, 120.8)),  # F16
        (3.0, 0.5, -12.0, (0.93, 16.1, 17.6)),  # F17
    ],
    ids=["F15", "F16", "F17"],
)
def test_f15_f16_f17_a_freezer_without_power(kg, ua_w_k, from_c, expected_h):
    hours, heats_wh = one_node(kg, ua_w_k, from_c, 25.0, expected_h[-1] * 1.1)
    marks_wh = [zone_heat_wh(mark_c, *zone(kg)) for mark_c in (-3.0, -1.0, 5.0)]
    got_h = crossings(hours, heats_wh, marks_wh)
    assert got_h == pytest.approx(expected_h, rel=0.01)
    legs = [(2.0, from_c, -3.0), (MELT_KJ_KG / 2, -3.0, -1.0), (3.5, -1.0, 5.0)]
    exact_h = [closed_form_h(kg, ua_w_k, 25.0, legs[: k + 1]) for k in range(3)]
    assert got_h == pytest.approx(exact_h, rel=0.01)


def two_nodes(around_c, until_h, h):
    """Fridge at 5 C with a freezer box at -12 C, no power: hours, fresh C, freezer Wh.

    As in the engine, the fresh zone moves first, beside the freezer of the step's start.
    """
    fresh_ua, cooled_ua, between_ua, k_per_wh = 0.585, 0.105, 0.8, 3.6 / 25.6
    pieces = zone(1.5)
    fresh_c, heat_wh = 5.0, zone_heat_wh(-12.0, *pieces)
    rows = [(0.0, fresh_c, heat_wh)]
    while rows[-1][0] < until_h:
        cooled_c = zone_temp_c(heat_wh, *pieces)
        rate_k_h = (fresh_ua * (around_c - fresh_c) - between_ua * (fresh_c - cooled_c)) * k_per_wh
        change_k = rate_k_h * h * relaxation((fresh_ua + between_ua) * k_per_wh * h)
        load_w = cooled_ua * (around_c - cooled_c)
        load_w += between_ua * (fresh_c + 0.5 * change_k - cooled_c)
        heat_wh = warm_up(heat_wh, load_w, cooled_ua + between_ua, pieces, h)
        fresh_c += change_k
        rows.append((rows[-1][0] + h, fresh_c, heat_wh))
    return np.array(rows).T


def two_nodes_by_scipy(around_c, hours):
    pieces = zone(1.5)

    def rates(_, y):
        cooled_c = zone_temp_c(y[1], *pieces)
        between_w = 0.8 * (y[0] - cooled_c)
        return [
            (0.585 * (around_c - y[0]) - between_w) * 3.6 / 25.6,
            0.105 * (around_c - cooled_c) + between_w,
        ]

    start = [5.0, zone_heat_wh(-12.0, *pieces)]
    # max_step 180 s, so that the kinks of the enthalpy are not stepped over
    solved = solve_ivp(rates, (0, hours[-1]), start, max_step=0.05, t_eval=hours, rtol=1e-8)
    return solved.y


@pytest.mark.parametrize(
    ("around_c", "start_thaw_h", "thawed_h", "above_5_5_h", "above_8_h"),
    [(25.0, 0.58, 10.4, 1.07, 6.68), (32.0, 0.54, 8.9, None, 3.1)],
    ids=["F18", "F20"],
)
def test_f18_f20_fridge_with_a_freezer_box(
    around_c, start_thaw_h, thawed_h, above_5_5_h, above_8_h
):
    hours, fresh_c, heat_wh = two_nodes(around_c, 14.0, 1 / 60)
    thawing_h, gone_h = crossings(hours, heat_wh, [0.0, zone(1.5)[3]])
    warm_h, above_h = crossings(hours, np.maximum.accumulate(fresh_c), [5.5, 8.0])
    assert thawing_h == pytest.approx(start_thaw_h, abs=0.006)
    assert gone_h == pytest.approx(thawed_h, rel=0.01)
    assert above_h == pytest.approx(above_8_h, rel=0.01)
    if above_5_5_h is not None:
        assert warm_h == pytest.approx(above_5_5_h, rel=0.02)


@pytest.mark.parametrize("around_c", [25.0, 32.0])
@pytest.mark.parametrize(("h", "apart_k"), [(1 / 60, 0.02), (STEP_H, 0.2)])
def test_f18_f20_follow_scipy_ever_closer_with_shorter_steps(around_c, h, apart_k):
    hours, fresh_c, heat_wh = two_nodes(around_c, 14.0, h)
    exact_fresh_c, exact_heat_wh = two_nodes_by_scipy(around_c, hours)
    assert np.max(np.abs(fresh_c - exact_fresh_c)) < apart_k
    assert np.max(np.abs(heat_wh - exact_heat_wh)) < 0.01 * zone(1.5)[3]


def test_f19_a_fridge_without_frozen_ballast():
    # 25.6 kJ/K at 0.69 W/K from 5 to 8 C in 25 C: C / UA ln(20 / 17) = 1.67 h
    k_per_wh = 3.6 / 25.6
    pieces = (k_per_wh, k_per_wh, k_per_wh, 2.0 / k_per_wh)
    heat_wh, hours, temps_c = zone_heat_wh(5.0, *pieces), [0.0], [5.0]
    while temps_c[-1] < 9.0:
        heat_wh = warm_up(heat_wh, 0.69 * (25.0 - temps_c[-1]), 0.69, pieces)
        hours.append(hours[-1] + STEP_H)
        temps_c.append(zone_temp_c(heat_wh, *pieces))
    expected_h = 25.6 / 3.6 / 0.69 * log(20 / 17)
    assert expected_h == pytest.approx(1.67, abs=0.006)
    assert crossings(hours, temps_c, [8.0])[0] == pytest.approx(expected_h, rel=0.01)


# ---- enthalpy and step rules ---------------------------------------------------------------


@QUICK
@given(st.floats(-35, 45), st.floats(0.0, 60.0), st.floats(0.5, 8.0))
def test_heat_and_temperature_are_inverses(temp_c, kg, liner_kj_k):
    pieces = zone(kg, liner_kj_k)
    assert zone_temp_c(zone_heat_wh(temp_c, *pieces), *pieces) == pytest.approx(temp_c, abs=1e-9)


@QUICK
@given(st.floats(-2000, 6000), st.floats(0.01, 500), st.floats(0.0, 60.0))
def test_more_heat_is_never_colder(heat_wh, more_wh, kg):
    pieces = zone(kg, 1.7)
    here_c, there_c = zone_temp_c(heat_wh, *pieces), zone_temp_c(heat_wh + more_wh, *pieces)
    assert there_c > here_c


def test_melting_takes_the_heat_of_the_food():
    pieces = zone(10.0)
    melted_wh = zone_heat_wh(-1.0, *pieces) - zone_heat_wh(-3.0, *pieces)
    assert melted_wh == pytest.approx(10.0 * 245.5 / 3.6, rel=1e-12)
    # From -18 to 5 C: 2 x 15 + 245.5 + 3.5 x 6 kJ/kg
    whole_wh = zone_heat_wh(5.0, *pieces) - zone_heat_wh(-18.0, *pieces)
    assert whole_wh == pytest.approx(10.0 * (30 + 245.5 + 21) / 3.6, rel=1e-12)


@QUICK
@given(st.floats(1e-9, 2.0))
def test_relaxation_is_close_to_the_exponential(decay):
    exact = (1.0 - exp(-decay)) / decay if decay > 1e-5 else 1.0 - decay / 2
    assert relaxation(decay) == pytest.approx(exact, rel=3e-7 if decay < 0.3 else 0.01)


@QUICK
@given(st.floats(0.01, 100.0), st.floats(1.0, 200.0), st.floats(0.0, 2.0))
def test_hours_to_a_goal_reach_that_goal(goal_wh, net_w, loss_per_h):
    hours = hours_to(goal_wh, net_w, loss_per_h, NEVER_H)
    if loss_per_h * goal_wh >= net_w:
        assert hours > 1e6  # never reached
        return
    decay = loss_per_h * hours
    share = (1.0 - exp(-decay)) / decay if decay > 1e-6 else 1.0
    assert net_w * hours * share == pytest.approx(goal_wh, rel=2e-3)
