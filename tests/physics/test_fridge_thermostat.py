"""The thermostat: heat is conserved, hours are hours, and the step's length does not matter."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.physics.fridge import cop, run_thermostat, zone_heat_wh, zone_temp_c

QUICK = settings(deadline=None, database=None, derandomize=True, max_examples=300)
COMPRESSOR_W, DROP_K, CONDENSER_C, MIN_OFF_H = 45.0, 8.0, 40.0, 0.05
PIECES = (3.6 / 4.7, 2.0 / 103.2, 3.6 / 6.95, 103.2)
"""A freezer box with 1.5 kg of food and 1.7 kJ/K of plate and liner, by the sheet's figures."""

LOW_WH, HIGH_WH = zone_heat_wh(-13.5, *PIECES), zone_heat_wh(-10.5, *PIECES)


def run(heat_wh, running, rest_h, powered, load_w, leak_w_k, h, compressor_w=COMPRESSOR_W):
    return run_thermostat(
        heat_wh, running, rest_h, powered, load_w, leak_w_k, LOW_WH, HIGH_WH, *PIECES, DROP_K,
        CONDENSER_C, 1.0, compressor_w, MIN_OFF_H, h,
    )  # fmt: skip


def days(per_h, ambient_c, leak_w_k, count=10):
    """Electric Wh a day, and mean temperature, over ``count`` days at constant surroundings."""
    heat_wh, running, rest_h = LOW_WH, 0.0, 1.0
    hours_on, temps_c = 0.0, []
    for _ in range(count * 24 * per_h):
        load_w = leak_w_k * (ambient_c - zone_temp_c(heat_wh, *PIECES))
        heat_wh, running, rest_h, on_h, _ = run(
            heat_wh, running, rest_h, True, load_w, leak_w_k, 1.0 / per_h
        )
        hours_on += on_h
        temps_c.append(zone_temp_c(heat_wh, *PIECES))
    return hours_on * COMPRESSOR_W / count, np.array(temps_c)


@pytest.mark.parametrize(("ambient_c", "leak_w_k"), [(25.0, 0.5), (32.0, 0.5), (16.0, 0.3)])
@pytest.mark.parametrize("per_h", [1, 2, 4, 12, 30])
def test_any_step_gives_the_same_day_within_1_per_cent(per_h, ambient_c, leak_w_k):
    reference_wh, _ = days(60, ambient_c, leak_w_k)
    got_wh, temps_c = days(per_h, ambient_c, leak_w_k)
    assert got_wh == pytest.approx(reference_wh, rel=0.01)
    assert temps_c.max() < -10.0  # 3 min of rest may overshoot the band by a little
    assert temps_c.min() >= -13.5 - 1e-6


def test_a_day_takes_load_over_cop():
    ambient_c, leak_w_k = 25.0, 0.5
    wh_per_day, _ = days(6, ambient_c, leak_w_k)
    closed_wh = 24 * leak_w_k * (ambient_c + 12.0) / cop(-12.0 - DROP_K, CONDENSER_C, 1.0)
    assert wh_per_day == pytest.approx(closed_wh, rel=0.03)


zones_wh = st.floats(-40.0, 150.0)
step_hours = st.sampled_from([1 / 60, 1 / 6, 0.5, 1.0])


@QUICK
@given(
    zones_wh, st.booleans(), st.floats(0.0, 1.0), st.booleans(), st.floats(0.0, 60.0), step_hours
)
def test_heat_gained_is_heat_let_in_minus_heat_moved(heat_wh, on, rest_h, powered, load_w, h):
    # With a leak that does not depend on temperature the heat let in is load x hours exactly.
    after_wh, _, _, on_h, moved_wh = run(
        heat_wh, float(on), rest_h, powered, load_w, 0.0, h, COMPRESSOR_W
    )
    assert after_wh - heat_wh == pytest.approx(load_w * h - moved_wh, abs=1e-9)
    assert 0.0 <= on_h <= h + 1e-12
    assert moved_wh >= 0.0


@QUICK
@given(zones_wh, st.floats(-10.0, 45.0), st.floats(0.05, 1.5), step_hours)
def test_the_heat_let_in_lies_between_that_of_the_first_and_the_last_temperature(
    heat_wh, ambient_c, leak_w_k, h
):
    load_w = leak_w_k * (ambient_c - zone_temp_c(heat_wh, *PIECES))
    after_wh, *_ = run(heat_wh, 0.0, 0.0, False, load_w, leak_w_k, h)
    last_w = leak_w_k * (ambient_c - zone_temp_c(after_wh, *PIECES))
    let_in_w = (after_wh - heat_wh) / h
    slack_w = 1e-9 + 0.01 * abs(load_w)
    assert min(load_w, last_w) - slack_w <= let_in_w <= max(load_w, last_w) + slack_w


@QUICK
@given(
    zones_wh, st.booleans(), st.floats(0.0, 1.0), st.booleans(), st.floats(-20.0, 60.0), step_hours
)
def test_states_stay_possible(heat_wh, on, rest_h, powered, load_w, h):
    after_wh, running, rest_after_h, on_h, moved_wh = run(
        heat_wh, float(on), rest_h, powered, load_w, 0.6, h
    )
    assert np.isfinite([after_wh, rest_after_h, moved_wh]).all()
    assert running in (0.0, 1.0)
    assert 0.0 <= on_h <= h + 1e-12
    assert rest_after_h >= 0.0
    if not powered:
        assert (running, on_h, moved_wh) == (0.0, 0.0, 0.0)
    if on_h == 0.0 and not (on and powered):
        assert rest_after_h == pytest.approx(rest_h + h)


def test_a_compressor_that_just_stopped_rests_first():
    _, running, rest_h, on_h, _ = run(HIGH_WH + 1.0, 0.0, 0.0, True, 10.0, 0.5, 0.04)
    assert (running, on_h) == (0.0, 0.0)
    assert rest_h == pytest.approx(0.04)
    _, running, _, on_h, _ = run(HIGH_WH + 1.0, 0.0, 0.02, True, 10.0, 0.5, 0.04)
    assert running == 1.0
    assert on_h == pytest.approx(0.01, abs=1e-9)


def test_it_stops_at_the_lower_edge_within_the_step():
    after_wh, running, rest_h, on_h, _ = run(LOW_WH + 0.2, 1.0, 0.0, True, 8.0, 0.0, 0.1)
    assert running == 0.0
    assert 0.0 < on_h < 0.1
    assert rest_h == pytest.approx(0.1 - on_h)
    assert after_wh > LOW_WH


def test_an_overloaded_compressor_runs_on_and_the_zone_warms():
    after_wh, running, _, on_h, moved_wh = run(LOW_WH + 2.0, 1.0, 0.0, True, 200.0, 0.0, 0.1)
    assert running == 1.0
    assert on_h == pytest.approx(0.1)
    assert moved_wh < 20.0
    assert after_wh > LOW_WH + 2.0
