"""Charge controllers, against the single-diode equation solved by pvlib (C1, C2, C3)."""

import numpy as np
import pvlib
import pytest

from offgrid_sim.engine.flat import PWM_HIGH_V, PWM_LOW_V
from offgrid_sim.physics.charging import mppt_w, pwm_w
from offgrid_sim.physics.solar import (
    REFERENCE_MODULE_W,
    current_per_watt,
    diode_parameters,
    power_per_watt,
)

DROP_V = 0.3
POINTS = [
    # id, W/m2, cell C, Pmp W, Vmp V, Imp A, PWM A, PWM W, ratio of MPPT (0.96) to PWM
    ("C1", 1000.0, 25.0, 100.0, 17.90, 5.585, 5.905, 75.6, 1.27),
    ("C2", 1000.0, 65.0, 81.5, 14.59, 5.588, 5.913, 75.7, 1.03),
    ("C3", 200.0, 30.0, 18.91, 16.88, 1.120, 1.184, 15.2, 1.20),
]


def at(value):
    return np.array([value])


def tied_a(light_w_m2, cell_c, panel_v):
    return REFERENCE_MODULE_W * float(current_per_watt(at(light_w_m2), at(cell_c), panel_v)[0])


def tied_w(light_w_m2, cell_c, battery_v):
    """Through the two voltages the engine keeps, as it does."""
    low_a = tied_a(light_w_m2, cell_c, PWM_LOW_V + DROP_V)
    high_a = tied_a(light_w_m2, cell_c, PWM_HIGH_V + DROP_V)
    return pwm_w(low_a, high_a, PWM_LOW_V, PWM_HIGH_V, 1.0, 1000.0, battery_v)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point[0])
def test_c1_c2_c3_best_point_of_the_reference_module(point):
    _, light, cell_c, watts, volts, amps, *_ = point
    best = pvlib.pvsystem.singlediode(*diode_parameters(at(light), at(cell_c)))
    assert best["p_mp"].item() == pytest.approx(watts, rel=1e-3)
    assert best["v_mp"].item() == pytest.approx(volts, abs=0.006)
    assert best["i_mp"].item() == pytest.approx(amps, rel=1e-3)


@pytest.mark.parametrize("point", POINTS, ids=lambda point: point[0])
def test_c1_c2_c3_panel_tied_to_a_battery_at_12_8_v(point):
    _, light, cell_c, best_w, _, _, amps, watts, ratio = point
    assert tied_a(light, cell_c, 12.8 + DROP_V) == pytest.approx(amps, rel=1e-3)
    assert tied_a(light, cell_c, 12.8 + DROP_V) * 12.8 == pytest.approx(watts, abs=0.06)
    assert mppt_w(best_w, 0.96, 1000.0, 12.8) / watts == pytest.approx(ratio, abs=0.006)


def test_c2_a_hot_panel_can_do_better_tied_to_a_full_battery():
    tied = tied_a(1000.0, 65.0, 14.2 + DROP_V) * 14.2
    assert mppt_w(81.5, 0.96, 1000.0, 14.2) / tied == pytest.approx(0.98, abs=0.006)


@pytest.mark.parametrize("battery_v", [12.0, 12.6, 12.8, 13.3, 14.0, 14.4])
@pytest.mark.parametrize(
    ("light", "cell_c"), [(1000, 65), (800, 60), (800, 25), (800, -5), (400, 40), (200, 30)]
)
def test_two_stored_voltages_are_enough_for_the_current_in_between(light, cell_c, battery_v):
    # The knee of a hot panel lies just there: the straight line is up to 3.6 % low, never high.
    exact_w = tied_a(float(light), float(cell_c), battery_v + DROP_V) * battery_v
    assert 0.96 < tied_w(float(light), float(cell_c), battery_v) / exact_w < 1.0 + 1e-9


def test_a_dark_panel_gives_no_current():
    amps = current_per_watt(np.array([0.0, 0.5, 500.0]), np.array([5.0, 5.0, 20.0]), 13.0)
    assert amps[:2].tolist() == [0.0, 0.0]
    assert amps[2] > 0.02


def test_both_models_agree_at_the_best_point_of_the_module():
    # The single-diode module and the nameplate model are independent; 3 % apart at 65 C.
    watts = 100.0 * power_per_watt(at(1000.0), at(65.0), -0.0045)[0]
    assert watts == pytest.approx(81.5, rel=0.03)


def test_the_current_limit_caps_both_kinds():
    assert mppt_w(900.0, 0.95, 20.0, 13.0) == 20.0 * 13.0
    assert pwm_w(40.0, 39.0, 12.0, 15.0, 1.0, 20.0, 13.0) == 20.0 * 13.0


def test_a_panel_below_the_battery_voltage_gives_nothing_when_tied():
    assert pwm_w(0.5, -4.0, 12.0, 15.0, 1.0, 30.0, 13.0) == 0.0
