"""The people's side of one step: the cabin's temperature and the water."""

from __future__ import annotations

from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.physics.cabin import (
    PERSON_W,
    around_c,
    kept_share,
    roof_excess_k,
    settle_c,
    vented_w_k,
)
from offgrid_sim.physics.water import WATER_WH_L_K, ice_share

GREY_INFLOW_C = 20.0
"""Temperature of water that reaches the grey tank (common practice, no source)."""

Record = Any


@compiled
def warm_cabin(
    van: Record, clock: Record, sky: Record, ask: Record, pace: Record, state: Record,
    flow: Record,
) -> None:  # fmt: skip
    """Cabin temperature from outside air, sun, people, appliances, the fridge and the heater."""
    gains_w = (
        van.roof_w_k * roof_excess_k(sky.roof_w_m2, van.roof_absorptance)
        + van.glass_gain_m2 * sky.glass_w_m2
        + PERSON_W * clock.people
        + (flow.load_w - flow.fridge_w) * ask.heat_share * state.load_on
        + flow.cable_loss_w
        - state.from_cabin_w
    )
    if van.cells_cabin_share == 1.0:
        gains_w += flow.battery_loss_w
    state.gains_w = gains_w
    k_per_w, kept = pace.cabin_k_per_w, pace.cabin_kept
    if state.cabin_c > van.vent_above_c and (clock.people > 0.0 or van.vent_when_away > 0.5):
        ua_w_k = van.cabin_ua_w_k + vented_w_k(
            state.cabin_c, van.closed_air_w_k, van.vent_air_w_k, van.vent_above_c
        )
        k_per_w, kept = 1.0 / ua_w_k, kept_share(ua_w_k, van.cabin_heat_wh_k, pace.h)
    final_c = sky.temp_air_c + (gains_w + state.heater_w) * k_per_w
    before_c = state.cabin_c
    state.cabin_c = settle_c(before_c, final_c, kept)
    state.cabin_k_h = (state.cabin_c - before_c) * pace.per_h
    flow.cabin_c = state.cabin_c
    flow.heater_w = state.heater_w
    warm_cells(van, sky, pace, state, flow, 0.5 * (before_c + state.cabin_c))


@compiled
def warm_cells(
    van: Record, sky: Record, pace: Record, state: Record, flow: Record, cabin_c: float
) -> None:
    """The cells' temperature from their own heat and the mean of what is around them."""
    surroundings_c = around_c(van.cells_cabin_share, cabin_c, sky.temp_air_c)
    final_c = surroundings_c + state.cell_heat_w * van.cell_k_per_w
    state.cell_c = settle_c(state.cell_c, final_c, pace.cell_kept)
    flow.cell_c = state.cell_c


@compiled
def water_to_hand_l(van: Record, state: Record) -> float:
    """Litres the pump could draw now: none from a frozen tank."""
    if ice_share(state.fresh_tank_wh_l) >= van.frozen_at_ice_share:
        return 0.0
    return state.fresh_l


@compiled
def use_water(van: Record, ask: Record, state: Record, flow: Record) -> None:
    """Draw, run to grey, overflow; a frozen tank or a dead pump gives nothing."""
    flow.drawn_l, flow.unmet_l, flow.to_grey_l, flow.grey_lost_l = 0.0, 0.0, 0.0, 0.0
    flow.grey_full, flow.dry = 0.0, 0.0
    if ask.draw_l > 0.0:
        usable_l = water_to_hand_l(van, state) if state.load_on > 0.5 else 0.0
        flow.drawn_l = min(ask.draw_l, usable_l)
        flow.unmet_l = ask.draw_l - flow.drawn_l
        state.fresh_l -= flow.drawn_l
        drain_water(van, state, flow, ask.grey_l * flow.drawn_l / ask.draw_l)
        if flow.unmet_l > 1e-9 and state.fresh_l <= 1e-9:
            flow.dry = 1.0
    flow.fresh_l = state.fresh_l
    flow.grey_l = state.grey_l


@compiled
def drain_water(van: Record, state: Record, flow: Record, arriving_l: float) -> None:
    """Used water to the grey tank; over the brim, or out of an open tap, it is lost."""
    if van.grey_tap_open > 0.5:
        flow.grey_lost_l = arriving_l
        return
    flow.to_grey_l = min(arriving_l, van.grey_tank_l - state.grey_l)
    flow.grey_lost_l = arriving_l - flow.to_grey_l
    if flow.to_grey_l > 0.0:
        state.grey_l += flow.to_grey_l
        warmer_wh_l = GREY_INFLOW_C * WATER_WH_L_K - state.grey_tank_wh_l
        state.grey_tank_wh_l += warmer_wh_l * flow.to_grey_l / state.grey_l
    flow.grey_full = 1.0 if flow.grey_lost_l > 1e-9 else 0.0
