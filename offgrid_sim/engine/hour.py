"""What holds for a whole hour: cells, cabin constants, doors, services on arrival, tank ice."""

from __future__ import annotations

from math import exp
from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.flat import PWM_HIGH_V, PWM_LOW_V
from offgrid_sim.physics.battery import capacity_share, resistance_ohm
from offgrid_sim.physics.cabin import around_c, kept_share
from offgrid_sim.physics.fridge import (
    opening,
    zone_heat_wh,
    zone_temp_c,
)
from offgrid_sim.physics.water import WATER_WH_L_K, cool_tank
from offgrid_sim.physics.wiring import tracked_share

CABIN_HUMIDITY, FRIDGE_HUMIDITY = 0.6, 0.8
"""Relative humidity of cabin air (35-85 % is likely) and inside the fridge (common practice, no
source)."""

FILL_TEMP_C = 8.0
"""Temperature of water from a tap in the cold season (common practice, no source)."""

Record = Any


@compiled
def set_pace(van: Record, h: float, pace: Record) -> None:
    """What holds for all steps of ``h`` hours in this van."""
    ua_w_k = van.cabin_ua_w_k + van.closed_air_w_k
    pace.h, pace.per_h = h, 1.0 / h
    pace.half_step_per_ah = 0.5 * h / van.capacity_ah
    pace.cell_kept = exp(-h / van.cell_hours)
    pace.cabin_k_per_w = 1.0 / ua_w_k
    pace.cabin_kept = kept_share(ua_w_k, van.cabin_heat_wh_k, h)
    pace.hold_w_per_k = ua_w_k / (1.0 - pace.cabin_kept)


@compiled
def begin_hour(van: Record, clock: Record, sky: Record, state: Record, flow: Record) -> None:
    """Renew what changes by the hour."""
    state.cell_ohm_25c = resistance_ohm(van.resistance_25c_ohm, state.cell_c)
    state.per_cold_share = 1.0 / capacity_share(int(van.lead), state.cell_c)
    add_sun(van, sky, state)
    state.charger_ohm = charger_ohm(van, clock, state)
    if van.has_fridge > 0.5:
        if van.setback_k > 0.0:
            set_thermostat(van, van.setback_k * clock.night, state)
        open_doors(van, clock, state)
    use_services(van, clock, state, flow)
    freeze_tanks(van, sky, state)


@compiled
def add_sun(van: Record, sky: Record, state: Record) -> None:
    """All arrays behind their cables: W at the best point, or A at the two voltages of PWM.

    Behind R a current that falls by s per volt falls with I(V + I R) to I(V) / (1 + s R); for PWM
    the controller's own cable is one more resistance.
    """
    panel_w, low_a, high_a = 0.0, 0.0, 0.0
    for k in range(int(van.array_count)):
        if van.controller_pwm < 0.5:
            watts = van.array_w[k] * sky.solar_w_per_w[k]
            panel_w += watts * tracked_share(watts * van.panel_cable_per_w[k])
        else:
            at_low_a = van.array_w[k] * sky.pwm_low_a_per_w[k]
            at_high_a = van.array_w[k] * sky.pwm_high_a_per_w[k]
            fall_a_v = (at_low_a - at_high_a) * (1.0 / (PWM_HIGH_V - PWM_LOW_V))
            share = 1.0 / (1.0 + fall_a_v * (van.panel_ohm[k] + van.controller_ohm))
            low_a += at_low_a * share
            high_a += at_high_a * share
    state.panel_w, state.panel_low_a, state.panel_high_a = panel_w, low_a, high_a


@compiled
def charger_ohm(van: Record, clock: Record, state: Record) -> float:
    """Resistance from the chargers at work in this hour, side by side, to the fuse box, ohm."""
    siemens = 0.0
    if state.panel_w + state.panel_low_a > 0.0:
        siemens += van.controller_siemens
    if clock.driving_share > 0.0:
        siemens += van.alternator_siemens
    if clock.shore > 0.0:
        siemens += van.shore_siemens
    return 1.0 / siemens if siemens > 0.0 else 0.0


@compiled
def set_thermostat(van: Record, raised_k: float, state: Record) -> None:
    """Heat of the cooled zone at which the compressor stops and starts, with night set-back."""
    if van.has_fridge < 0.5:
        return
    state.set_raised_k = raised_k
    low_c = van.set_cooled_c + state.set_raised_k - 0.5 * van.band_k
    state.cold_low_wh = zone_heat_wh(
        low_c, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh, van.melt_heat_wh
    )
    state.cold_high_wh = zone_heat_wh(
        low_c + van.band_k, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh,
        van.melt_heat_wh,
    )  # fmt: skip


@compiled
def open_doors(van: Record, clock: Record, state: Record) -> None:
    """Heat and moisture that this hour's door openings and loaded food bring in, W and kg/h."""
    state.door_w, state.door_water_kg_h = 0.0, 0.0
    if clock.door_openings <= 0.0 and clock.loaded_kg <= 0.0:
        return
    inside_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh,
        van.melt_heat_wh,
    )  # fmt: skip
    if van.has_fresh > 0.5 and van.has_freezer > 0.5:
        inside_c = state.fresh_c
    room_c = state.cabin_c
    door_kj, water_kg = opening(
        room_c, CABIN_HUMIDITY, inside_c, FRIDGE_HUMIDITY, van.door_free_m3, van.door_share,
        van.door_wall_m2, van.door_s,
    )  # fmt: skip
    food_kj = clock.loaded_kg * (van.loaded_kj_k * (room_c - inside_c) + van.loaded_fixed_kj)
    state.door_w = (clock.door_openings * door_kj + food_kj) / 3.6
    state.door_water_kg_h = clock.door_openings * water_kg


@compiled
def use_services(van: Record, clock: Record, state: Record, flow: Record) -> None:
    """Fill the fresh tank and empty the grey one in the hour of arrival."""
    flow.filled_l = 0.0
    flow.dumped_l = 0.0
    if clock.fill_fresh > 0.5 and van.fresh_tank_l > 0.0:
        kept = state.fresh_l / van.fresh_tank_l
        state.fresh_tank_wh_l = (
            kept * state.fresh_tank_wh_l + (1.0 - kept) * FILL_TEMP_C * WATER_WH_L_K
        )
        flow.filled_l = van.fresh_tank_l - state.fresh_l
        state.fresh_l = van.fresh_tank_l
    if clock.dump_grey > 0.5:
        flow.dumped_l = state.grey_l
        state.grey_l = 0.0


@compiled
def freeze_tanks(van: Record, sky: Record, state: Record) -> None:
    """One hour of cooling or warming of each tank by its surroundings."""
    fresh_around_c = around_c(van.fresh_tank_cabin_share, state.cabin_c, sky.temp_air_c)
    grey_around_c = around_c(van.grey_tank_cabin_share, state.cabin_c, sky.temp_air_c)
    state.fresh_tank_wh_l = cool_tank(
        state.fresh_tank_wh_l, state.fresh_l, van.tank_ua_w_k, fresh_around_c, 1.0
    )
    state.grey_tank_wh_l = cool_tank(
        state.grey_tank_wh_l, state.grey_l, van.tank_ua_w_k, grey_around_c, 1.0
    )
