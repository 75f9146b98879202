"""Tanks and pump, against closed forms, scipy, CoolProp and worked values (W1 ... W4)."""

from math import log, pi

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.physics.water import (
    FUSION_WH_L,
    ICE_WH_L_K,
    WATER_WH_L_K,
    cool_tank,
    ice_share,
    tank_temp_c,
)
from offgrid_sim.plan.van import Battery, Van, Water

QUICK = settings(deadline=None, database=None, derandomize=True, max_examples=300)


def pump_wh_l(**water):
    van = Van(battery=Battery(capacity_ah=100.0), water=Water(**water))
    return float(van_numbers(van)["pump_wh_l"][0])


def electric_w(pressure_bar, litres_per_min, efficiency=0.40):
    return pressure_bar * 1e5 * litres_per_min / 60000.0 / efficiency


def test_w1_the_usual_pump():
    assert electric_w(2.0, 7.0, 1.0) == pytest.approx(23.3, abs=0.05)
    assert electric_w(2.0, 7.0) == pytest.approx(58.3, abs=0.05)
    # The default is that pump, rounded to 58 W.
    assert pump_wh_l() == pytest.approx(0.139, abs=1.5e-3)
    assert 40.0 * pump_wh_l() == pytest.approx(5.6, abs=0.1)


def test_w2_a_strong_pump():
    assert electric_w(2.8, 11.0) == pytest.approx(128.0, abs=0.5)
    strong = pump_wh_l(pump_w=electric_w(2.8, 11.0), pump_l_min=11.0)
    assert strong == pytest.approx(0.194, abs=6e-4)


def test_heat_of_water_against_coolprop():
    # CoolProp at 20 C and 1 atm; a litre is taken as a kilogram, 0.2 % off.
    kj_kg_k = PropsSI("C", "T", 293.15, "P", 101325, "Water") / 1000
    assert pytest.approx(kj_kg_k / 3.6, rel=1e-3) == WATER_WH_L_K
    assert PropsSI("D", "T", 293.15, "P", 101325, "Water") == pytest.approx(998.2, abs=0.05)


def freeze_until(litres, ua_w_k, from_c, around, mark_wh_l, h):
    """Hours until the heat per litre falls to ``mark_wh_l``."""
    heat, hours = from_c * WATER_WH_L_K, 0.0
    while True:
        after = cool_tank(heat, litres, ua_w_k, around, h)
        if after <= mark_wh_l:
            return hours + h * (heat - mark_wh_l) / (heat - after)
        heat, hours = after, hours + h


def test_w3_a_70_litre_tank_in_ten_degrees_of_frost():
    to_zero_h = freeze_until(70.0, 3.0, 10.0, -10.0, 0.0, 0.25)
    assert to_zero_h == pytest.approx(18.8, abs=0.06)
    assert to_zero_h == pytest.approx(70 * 4184 / 3 * log(20 / 10) / 3600, rel=1e-3)
    tenth_h = freeze_until(70.0, 3.0, 10.0, -10.0, -0.1 * FUSION_WH_L, 0.25)
    assert tenth_h == pytest.approx(40.4, abs=0.1)
    solid_h = freeze_until(70.0, 3.0, 10.0, -10.0, -FUSION_WH_L, 0.25)
    assert solid_h - to_zero_h == pytest.approx(216.0, abs=0.5)


def test_w3_heat_that_holds_2_c():
    # 3 W/K x 12 K = 36 W is what the tank loses at 2 C.
    lost_wh_l = 2.0 * WATER_WH_L_K - cool_tank(2.0 * WATER_WH_L_K, 70.0, 3.0, -10.0, 0.01)
    assert lost_wh_l * 70.0 / 0.01 == pytest.approx(36.0, rel=1e-3)


def test_w4_a_thin_pipe_freezes_within_two_hours():
    # Filled 10 mm bore, 13 mm outside, 10 W/m2K, -10 C; 100 m stand for 1 m.
    litres = 100.0 * pi / 4 * 0.010**2 * 998.2
    ua_w_k = 100.0 * pi * 0.013 * 10.0
    to_zero_h = freeze_until(litres, ua_w_k, 10.0, -10.0, 0.0, 0.005)
    assert 60 * to_zero_h == pytest.approx(9.3, abs=0.06)
    solid_h = freeze_until(litres, ua_w_k, 10.0, -10.0, -FUSION_WH_L, 0.005)
    assert 60 * (solid_h - to_zero_h) == pytest.approx(107.0, abs=0.6)


@pytest.mark.parametrize(
    ("from_wh_l", "around", "hours"),
    [
        (10.0 * WATER_WH_L_K, -15.0, 100.0),
        (-FUSION_WH_L - 8.0 * ICE_WH_L_K, 12.0, 150.0),
        (1.0 * WATER_WH_L_K, -25.0, 250.0),
    ],
)
def test_a_tank_through_freezing_and_melting_follows_scipy(from_wh_l, around, hours):
    litres, ua_w_k = 40.0, 3.0

    def rate(_, y):
        return [ua_w_k * (around - tank_temp_c(y[0])) / litres]

    exact = solve_ivp(rate, (0, hours), [from_wh_l], max_step=0.05, rtol=1e-8).y[0, -1]
    heat = from_wh_l
    for _ in range(int(hours)):
        heat = cool_tank(heat, litres, ua_w_k, around, 1.0)
    assert heat == pytest.approx(exact, abs=0.01 * FUSION_WH_L)
    assert heat == pytest.approx(cool_tank(from_wh_l, litres, ua_w_k, around, hours), abs=1e-6)


heats = st.floats(-110.0, 40.0)


@QUICK
@given(heats, st.floats(1.0, 200.0), st.floats(0.5, 50.0), st.floats(-30.0, 40.0), st.floats(0, 50))
def test_a_tank_moves_towards_its_surroundings_and_never_past(heat, litres, ua_w_k, around, h):
    after = cool_tank(heat, litres, ua_w_k, around, h)
    before_c, after_c = tank_temp_c(heat), tank_temp_c(after)
    assert min(before_c, around) - 1e-9 <= after_c <= max(before_c, around) + 1e-9
    assert (after - heat) * (around - before_c) >= -1e-9


@QUICK
@given(heats, st.floats(1.0, 200.0), st.floats(0.5, 50.0), st.floats(-30.0, 40.0), st.floats(0, 20))
def test_two_short_spells_are_one_long_spell(heat, litres, ua_w_k, around, h):
    halves = cool_tank(cool_tank(heat, litres, ua_w_k, around, h), litres, ua_w_k, around, h)
    whole = cool_tank(heat, litres, ua_w_k, around, 2 * h)
    assert halves == pytest.approx(whole, abs=1e-6)


@pytest.mark.parametrize(
    ("heat_wh_l", "share", "temp_c"),
    [
        (20.0 * WATER_WH_L_K, 0.0, 20.0),
        (-0.25 * FUSION_WH_L, 0.25, 0.0),
        (-FUSION_WH_L - 5.0 * ICE_WH_L_K, 1.0, -5.0),
    ],
)
def test_water_mush_and_ice(heat_wh_l, share, temp_c):
    assert ice_share(heat_wh_l) == pytest.approx(share)
    assert tank_temp_c(heat_wh_l) == pytest.approx(temp_c)
