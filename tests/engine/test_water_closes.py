"""Water: what was filled is in a tank, was used up, was dumped or was lost; never anything else."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.engine.flat import ASK, CLOCK, SKY
from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.van import Battery, Van, Water

PER_H, DAYS = 6, 4


@settings(deadline=None, database=None, derandomize=True, max_examples=40)
@given(
    st.integers(0, 10**6),
    st.floats(0.0, 12.0),
    st.floats(-15.0, 35.0),
    st.booleans(),
    st.floats(0.0, 1.0),
)
def test_every_litre_is_somewhere(seed, litres_a_draw, outside_c, tap_open, initial_share):
    random = np.random.default_rng(seed)
    water = Water(
        fresh_l=40.0, grey_l=20.0, grey_tap_open=tap_open, initial_fresh_share=initial_share,
        initial_grey_share=0.3, fresh_place="outside",
    )  # fmt: skip
    van = van_numbers(Van(battery=Battery(capacity_ah=80.0), water=water))
    hours = 24 * DAYS
    clock, sky, ask = np.zeros(hours, CLOCK), np.zeros(hours, SKY), np.zeros(hours * PER_H, ASK)
    sky["temp_air_c"] = outside_c
    clock["fill_fresh"] = random.random(hours) < 0.03
    clock["dump_grey"] = random.random(hours) < 0.03
    ask["draw_l"] = litres_a_draw * (random.random(len(ask)) < 0.1)
    back_share = random.random(len(ask))
    ask["grey_l"] = ask["draw_l"] * back_share
    trace, totals = run_one(van, clock, sky, ask, PER_H)
    sums = {name: float(totals[name][0]) for name in totals.dtype.names}

    used_l = sums["fresh_used_l"]
    to_grey_l, lost_l = sums["grey_l"], sums["grey_lost_l"]
    assert sums["fresh_end_l"] == pytest.approx(
        sums["fresh_start_l"] + sums["filled_l"] - used_l, abs=1e-9
    )
    assert sums["grey_end_l"] == pytest.approx(
        sums["grey_start_l"] + to_grey_l - sums["dumped_l"], abs=1e-9
    )
    assert used_l + sums["unmet_l"] == pytest.approx(float(ask["draw_l"].sum()), abs=1e-9)
    returned_l = float((trace["drawn_l"] * back_share).sum())
    assert to_grey_l + lost_l == pytest.approx(returned_l, abs=1e-9)
    assert trace["fresh_l"].min() >= -1e-9
    assert trace["grey_l"].max() <= 20.0 + 1e-9
    if tap_open:
        assert to_grey_l == 0.0
