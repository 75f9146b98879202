"""Food in one step: the fresh zone, the thermostat, frost, thaw and meltwater."""

from __future__ import annotations

from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.physics.cabin import around_c
from offgrid_sim.physics.fridge import (
    FROST_MELT_W_M2_K,
    ICE_FUSION_KJ_KG,
    cop,
    relaxation,
    run_thermostat,
    zone_temp_c,
)

DRIP_SHARE = 0.03
"""Juice that thawing food loses, kg/kg (common practice, no source)."""

TRAY_EVAPORATION_L_H = 0.1 / 24
"""What a drip tray dries up by itself (common practice, no source)."""

FRESH_MARGIN_K = 0.5
"""The flap aims this far below the set-point, so that it is met in a hot cabin too."""

FLAP_PER_K, FLAP_LEAST, FLAP_MOST = 2.0, 0.05, 2.5
"""Opening of the flap, as share of nominal, per kelvin of the fresh zone (model choice)."""

FROST_LIFT_LIMIT_K = 8.0
SLOW_GAIN = 1.05
"""Efficiency of a compressor at low speed over full speed (about 5 %, from memory)."""

Record = Any


@compiled
def cool_food(van: Record, sky: Record, pace: Record, state: Record, flow: Record) -> None:
    """Both zones over one step; sets the fridge's mean power and its heat from the cabin.

    Heat that the cooled zone took less than at its temperature at the start, because it warmed on
    the way, stays where it came from: in the fresh zone and in the cabin.
    """
    h, per_h = pace.h, pace.per_h
    room_c = state.cabin_c + 0.5 * h * state.cabin_k_h
    flow.fridge_w = 0.0
    flow.running_share = 0.0
    state.from_cabin_w, state.fridge_cable_w = 0.0, 0.0
    if van.has_fridge < 0.5:
        return
    powered = state.load_on > 0.5 and state.fridge_locked < 0.5
    cooled_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh,
        van.melt_heat_wh,
    )  # fmt: skip
    melted_kg = melt_frost(van, state, cooled_c, h)
    leak_w = van.cooled_ua_w_k * (room_c - cooled_c)
    load_w = leak_w - melted_kg * (ICE_FUSION_KJ_KG / 3.6) * per_h
    leak_w_k, between_w_k, fresh_k_per_w = van.cooled_ua_w_k, 0.0, 0.0
    if van.has_fresh > 0.5 and van.has_freezer > 0.5:
        between_w, between_w_k, from_cabin_w, fresh_k_per_w = keep_fresh(
            van, state, room_c, cooled_c, powered, h
        )
        load_w += between_w
        leak_w_k += between_w_k
        state.from_cabin_w = leak_w + from_cabin_w + state.door_w
    else:
        load_w += state.door_w
        state.from_cabin_w = leak_w + state.door_w
    state.warming_w = load_w
    less_w = run_compressor(van, sky, state, flow, load_w, leak_w_k, cooled_c, powered, h, per_h)
    warmer_k = less_w / leak_w_k
    flow.cooled_mean_c = cooled_c + warmer_k
    less_between_w = warmer_k * between_w_k
    state.fresh_c += less_between_w * fresh_k_per_w
    state.from_cabin_w -= less_w - less_between_w
    catch_water(van, state, melted_kg, h)


@compiled
def run_compressor(
    van: Record, sky: Record, state: Record, flow: Record, load_w: float, leak_w_k: float,
    cooled_c: float, powered: bool, h: float, per_h: float,
) -> float:  # fmt: skip
    """Thermostat and compressor; heat goes back to the cabin as far as the condenser is there.

    Returns by how much less heat than ``load_w`` came into the cooled zone, W.
    """
    condenser_c = van.condenser_rise_k + around_c(
        van.condenser_cabin_share, state.cabin_c, sky.temp_air_c
    )
    frost_k = min(max(van.frost_k_per_kg_w * state.frost_kg * load_w, 0.0), FROST_LIFT_LIMIT_K)
    drop_k = van.evaporator_drop_k + frost_k
    compressor_w, factor = van.compressor_w, van.refrigerant_factor
    fan_w, cable_w = van.fan_w, van.fridge_cable_w
    if van.slow_share < 1.0 and holds(van, state, cooled_c):
        compressor_w, fan_w = compressor_w * van.slow_share, fan_w * van.slow_share
        cable_w *= van.slow_share * van.slow_share
        factor *= SLOW_GAIN
    heat_wh, running, rest_h, on_h, moved_wh = run_thermostat(
        state.cooled_heat_wh, state.running, state.rest_h, powered, load_w, leak_w_k,
        state.cold_low_wh, state.cold_high_wh, van.frozen_k_per_wh, van.melting_k_per_wh,
        van.thawed_k_per_wh, van.melt_heat_wh, drop_k, condenser_c, factor,
        compressor_w, van.min_off_h, h,
    )  # fmt: skip
    less_w = load_w - (heat_wh - state.cooled_heat_wh + moved_wh) * per_h
    state.cooled_heat_wh, state.running, state.rest_h = heat_wh, running, rest_h
    full_w = compressor_w + fan_w
    state.on_share = flow.running_share = on_h * per_h
    flow.fridge_w = flow.running_share * full_w
    state.fridge_cable_w = flow.running_share * cable_w
    rejected_w = (moved_wh + on_h * compressor_w) * per_h
    state.from_cabin_w -= van.condenser_cabin_share * rejected_w + flow.running_share * fan_w
    if not powered and heat_wh > state.cold_low_wh:
        lift = cop(cooled_c - drop_k, condenser_c, factor)
        duty = min(max(load_w, 0.0) / (lift * compressor_w), 1.0)
        flow.unserved_w += duty * full_w
    return less_w


@compiled
def holds(van: Record, state: Record, cooled_c: float) -> bool:
    """Whether both zones are near enough to their set-points for a slow compressor."""
    if cooled_c > van.set_cooled_c + state.set_raised_k + van.band_k:
        return False
    return van.has_freezer < 0.5 or state.fresh_c <= van.set_fresh_c + state.set_raised_k


@compiled
def keep_fresh(
    van: Record, state: Record, room_c: float, cooled_c: float, powered: bool, h: float
) -> tuple[float, float, float, float]:
    """Fresh zone between cabin and freezer: heat to the freezer (W), its W/K, heat leak (W),
    and kelvin that the zone warms over the step per watt.

    With power a flap between the zones holds the fresh zone near its set-point; without power
    it rests at its nominal opening.
    """
    opening, per_k = 1.0, 0.0
    if powered:
        aim_c = van.set_fresh_c - FRESH_MARGIN_K + state.set_raised_k
        opening = 1.0 + FLAP_PER_K * (state.fresh_c - aim_c)
        per_k = FLAP_PER_K
        if opening < FLAP_LEAST:
            opening, per_k = FLAP_LEAST, 0.0
        elif opening > FLAP_MOST:
            opening, per_k = FLAP_MOST, 0.0
    between_k = state.fresh_c - cooled_c
    between_w_k = van.between_ua_w_k * opening
    flow_per_k = between_w_k + van.between_ua_w_k * per_k * max(between_k, 0.0)
    leak_w = van.fresh_ua_w_k * (room_c - state.fresh_c)
    between_w = between_w_k * between_k
    rate_k_h = (leak_w + state.door_w - between_w) * van.fresh_k_per_wh
    lasting_h = h * relaxation((van.fresh_ua_w_k + flow_per_k) * van.fresh_k_per_wh * h)
    change_k = rate_k_h * lasting_h
    state.fresh_c += change_k
    half_k = 0.5 * change_k
    return (
        between_w + flow_per_k * half_k, between_w_k, leak_w - van.fresh_ua_w_k * half_k,
        van.fresh_k_per_wh * lasting_h,
    )  # fmt: skip


@compiled
def melt_frost(van: Record, state: Record, cooled_c: float, h: float) -> float:
    """Frost grows by door moisture, is scraped off now and then, melts above 0 C; kg melted."""
    state.frost_age_h += h
    if cooled_c <= 0.0:
        state.frost_kg += state.door_water_kg_h * h
        if state.frost_age_h >= van.defrost_h:
            state.frost_kg, state.frost_age_h = 0.0, 0.0
        return 0.0
    melt_w = FROST_MELT_W_M2_K * van.plate_m2 * cooled_c
    melted_kg = min(melt_w * h * (3.6 / ICE_FUSION_KJ_KG), state.frost_kg)
    state.frost_kg -= melted_kg
    return melted_kg


@compiled
def catch_water(van: Record, state: Record, melted_kg: float, h: float) -> None:
    """Meltwater and drip run to the tray; an upright spills the rest, a chest keeps it."""
    if van.has_freezer > 0.5 and state.cooled_heat_wh > 0.0 and van.melt_heat_wh > 0.0:
        thawed = min(state.cooled_heat_wh / van.melt_heat_wh, 1.0)
        if thawed > state.dripped_share:
            melted_kg += DRIP_SHARE * van.frozen_kg * (thawed - state.dripped_share)
            state.dripped_share = thawed
    state.melted_l += melted_kg
    state.tray_l = max(state.tray_l - TRAY_EVAPORATION_L_H * h, 0.0) + melted_kg
    if van.upright > 0.5 and state.tray_l > van.tray_l:
        state.floor_l += state.tray_l - van.tray_l
        state.tray_l = van.tray_l
