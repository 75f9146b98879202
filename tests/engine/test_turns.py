"""The compressor's turns on a lead battery that can hardly give them."""

import numpy as np

from offgrid_sim.engine.flat import STATE, view
from offgrid_sim.engine.power import can_give
from offgrid_sim.physics.battery import AGM, advance


def test_a_turn_beyond_the_greatest_power_is_refused_and_one_within_it_can_be_solved():
    # greatest power E^2 / 4R = 12.4^2 / 0.8 = 192 W; 190 W made the current's iteration run away
    state = view(np.zeros(1, STATE))[0]
    state.emf_v, state.cold_v, state.bus_ohm = 12.5, 0.1, 0.2
    assert not can_give(state, 190.0)
    assert can_give(state, 170.0)
    soc, current_a, loss_w = advance(-170.0, 0.554, 0.0016, AGM, 15.0, 0.2, 0.11, 0.75, 1.12)
    assert np.isfinite([soc, current_a, loss_w]).all()
    assert -30.0 < current_a < -170.0 / 12.5
