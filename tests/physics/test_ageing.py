"""Ageing of the battery, against values worked from Wang et al. 2011 (B8) and planning rules.

The law's coefficients are from memory: these check the arithmetic and the order of magnitude.
"""

import pytest

from offgrid_sim.physics.ageing import (
    ageing,
    agm_loss_pct,
    lfp_calendar_loss_pct,
    lfp_cycle_loss_pct,
)


@pytest.mark.parametrize(
    ("full_cycles", "cell_temp_c", "loss_pct"),
    [(1000.0, 25.0, 6.2), (2000.0, 25.0, 9.1), (2000.0, 35.0, 13.8)],
)
def test_b8_lithium_cycles(full_cycles, cell_temp_c, loss_pct):
    assert lfp_cycle_loss_pct(full_cycles, cell_temp_c) == pytest.approx(loss_pct, abs=0.06)


def test_lithium_lasts_thousands_of_cycles():
    # Planning rule: 3000 to 6000 full cycles to 80 % (common practice, no source).
    assert lfp_cycle_loss_pct(3000.0, 25.0) < 20.0 < lfp_cycle_loss_pct(12000.0, 25.0)


def test_lithium_ages_with_the_root_of_time_and_twice_as_fast_10_to_15_k_warmer():
    assert lfp_calendar_loss_pct(1.0, 25.0) == pytest.approx(2.0)
    assert lfp_calendar_loss_pct(9.0, 25.0) == pytest.approx(6.0)
    assert lfp_calendar_loss_pct(1.0, 35.0) < 4.0 < lfp_calendar_loss_pct(1.0, 40.0)


def test_lead_is_worn_out_by_250_to_300_cycles_or_by_hot_years():
    assert agm_loss_pct(250.0, 0.0, 20.0) < 20.0 < agm_loss_pct(300.0, 0.0, 20.0)
    # Float life halves per 8 to 10 K above 20 C (Arrhenius rule, from memory).
    mild, hot = agm_loss_pct(0.0, 1.0, 20.0), agm_loss_pct(0.0, 1.0, 29.0)
    assert hot == pytest.approx(2.0 * mild)


@pytest.mark.parametrize("lead", [False, True])
def test_a_year_like_the_trip_ages_more_than_the_trip(lead):
    month = ageing(lead, 100.0, 900.0, 730.5, 20.0)
    assert month.full_cycles == pytest.approx(9.0)
    assert 0.0 < month.trip_loss_pct < month.year_loss_pct
    whole = ageing(lead, 100.0, 12 * 900.0, 8766.0, 20.0)
    assert whole.trip_loss_pct == pytest.approx(month.year_loss_pct)
