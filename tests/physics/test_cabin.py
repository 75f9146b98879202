"""The cabin as one node, against its exponential, scipy and worked values (H1, H2, H3)."""

from math import exp

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from offgrid_sim.physics.cabin import (
    AIR_WH_M3_K,
    around_c,
    heat_to_hold_w,
    kept_share,
    roof_excess_k,
    settle_c,
    vented_w_k,
)

UA_W_K, HEAT_WH_K = 60.0, 600.0 / 3.6
QUICK = settings(deadline=None, database=None, derandomize=True, max_examples=200)


def test_h1_an_hour_of_500_w():
    forever = kept_share(UA_W_K, HEAT_WH_K, 1000.0)
    assert settle_c(10.0, 10.0 + 500.0 / UA_W_K, forever) - 10.0 == pytest.approx(8.33, abs=0.005)
    assert kept_share(UA_W_K, HEAT_WH_K, 2.78) == pytest.approx(exp(-1), rel=1e-3)
    kept = kept_share(UA_W_K, HEAT_WH_K, 1.0)
    assert kept == pytest.approx(exp(-1 / 2.7778), rel=1e-4)
    assert settle_c(10.0, 10.0 + 500.0 / UA_W_K, kept) == pytest.approx(12.52, abs=0.005)


@pytest.mark.parametrize(
    ("absorptance", "sol_air_c", "roof_w"), [(0.9, 79.6, 295.0), (0.25, 41.4, 68.0)]
)
def test_h2_dark_and_white_roof_in_full_sun(absorptance, sol_air_c, roof_w):
    # ASHRAE sol-air temperature, 30 C, 1000 W/m2, film 17 W/m2K; roof 5.95 m2 at 1 W/m2K.
    excess_k = roof_excess_k(1000.0, absorptance)
    assert 30.0 + excess_k == pytest.approx(sol_air_c, abs=0.06)
    assert 5.95 * excess_k == pytest.approx(roof_w, abs=0.6)


def test_h2_a_roof_at_night_is_colder_than_the_air():
    # ASHRAE: e dR / ho = 0.9 x 63 / 17 = 3.3 K for a horizontal surface
    assert roof_excess_k(0.0, 0.9) == pytest.approx(-0.9 * 63 / 17, abs=0.05)


@pytest.mark.parametrize(("outside_c", "heat_w"), [(0.0, 1200.0), (-5.0, 1500.0), (-15.0, 2100.0)])
def test_h3_heat_that_holds_20_c(outside_c, heat_w):
    for h in (1 / 6, 1.0):
        kept = kept_share(UA_W_K, HEAT_WH_K, h)
        assert heat_to_hold_w(20.0, 20.0, outside_c, 0.0, UA_W_K, kept) == pytest.approx(heat_w)


def test_warming_up_takes_more_and_gains_take_less():
    kept = kept_share(UA_W_K, HEAT_WH_K, 1.0)
    hold_w = heat_to_hold_w(20.0, 20.0, 0.0, 0.0, UA_W_K, kept)
    assert heat_to_hold_w(20.0, 12.0, 0.0, 0.0, UA_W_K, kept) > hold_w
    assert heat_to_hold_w(20.0, 20.0, 0.0, 210.0, UA_W_K, kept) == pytest.approx(hold_w - 210.0)
    assert heat_to_hold_w(20.0, 25.0, 24.0, 0.0, UA_W_K, kept) == 0.0


@QUICK
@given(st.floats(-20, 25), st.floats(-30, 19), st.floats(0, 300), st.sampled_from([1 / 6, 1.0]))
def test_the_heat_asked_for_really_ends_at_the_set_point(temp_c, outside_c, gains_w, h):
    kept = kept_share(UA_W_K, HEAT_WH_K, h)
    heat_w = heat_to_hold_w(20.0, temp_c, outside_c, gains_w, UA_W_K, kept)
    after_c = settle_c(temp_c, outside_c + (gains_w + heat_w) / UA_W_K, kept)
    assert heat_w >= 0.0
    assert after_c >= 20.0 - 1e-9
    if heat_w > 0.0:
        assert after_c == pytest.approx(20.0, abs=1e-9)


@QUICK
@given(st.floats(-30, 60), st.floats(-30, 60), st.integers(1, 12))
def test_many_short_steps_are_one_long_step(temp_c, final_c, parts):
    whole = settle_c(temp_c, final_c, kept_share(UA_W_K, HEAT_WH_K, 1.0))
    kept = kept_share(UA_W_K, HEAT_WH_K, 1.0 / parts)
    for _ in range(parts):
        temp_c = settle_c(temp_c, final_c, kept)
    assert temp_c == pytest.approx(whole, abs=1e-9)


def test_a_day_of_hourly_weather_follows_scipy():
    outside_c = 12.0 + 8.0 * np.sin(2 * np.pi * (np.arange(24) - 9) / 24)
    gains_w = np.where((np.arange(24) > 8) & (np.arange(24) < 18), 400.0, 60.0)
    kept, temps_c = kept_share(UA_W_K, HEAT_WH_K, 1.0), [10.0]
    for hour in range(24):
        final_c = outside_c[hour] + gains_w[hour] / UA_W_K
        temps_c.append(settle_c(temps_c[-1], final_c, kept))

    def rate(t, y):
        hour = min(int(t), 23)
        return [(UA_W_K * (outside_c[hour] - y[0]) + gains_w[hour]) / HEAT_WH_K]

    exact = solve_ivp(rate, (0, 24), [10.0], max_step=0.05, t_eval=np.arange(25.0), rtol=1e-9)
    np.testing.assert_allclose(temps_c, exact.y[0], atol=0.02)


def test_ventilation_opens_over_four_kelvin():
    closed_w_k, open_w_k = AIR_WH_M3_K * 11.0 * 0.5, AIR_WH_M3_K * 11.0 * 8.0
    assert closed_w_k == pytest.approx(2.0, abs=0.2)  # sheet: 2 W/K at half an air change
    assert vented_w_k(24.0, closed_w_k, open_w_k, 24.0) == closed_w_k
    assert vented_w_k(26.0, closed_w_k, open_w_k, 24.0) == pytest.approx(
        0.5 * (closed_w_k + open_w_k)
    )
    assert vented_w_k(40.0, closed_w_k, open_w_k, 24.0) == pytest.approx(open_w_k)


def test_air_heat_is_density_times_heat_capacity():
    assert pytest.approx(1.2 * 1.006 / 3.6, abs=0.001) == AIR_WH_M3_K


@pytest.mark.parametrize(("share", "expected_c"), [(1.0, 20.0), (0.0, -10.0), (0.2, -4.0)])
def test_what_surrounds_a_thing(share, expected_c):
    assert around_c(share, 20.0, -10.0) == pytest.approx(expected_c)
