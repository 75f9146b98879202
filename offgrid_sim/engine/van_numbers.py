"""From a van file to one VAN record: every default that depends on another value is met here."""

from __future__ import annotations

import math

import numpy as np

from offgrid_sim.engine.circuits import charger_siemens, circuit_loss_w, circuit_ohm, loss_per_w
from offgrid_sim.engine.cold import FRESH_MARGIN_K
from offgrid_sim.engine.flat import MAX_ARRAYS, VAN, view
from offgrid_sim.physics.battery import AGM, LFP
from offgrid_sim.physics.cabin import AIR_WH_M3_K
from offgrid_sim.physics.fridge import (
    DRINKS_KJ_KG_K,
    FRESH_KJ_KG_K,
    FROZEN_KJ_KG_K,
    MELT_END_C,
    MELT_KJ_KG,
    MELT_START_C,
    THAWED_KJ_KG_K,
    cabinet_ua_w_k,
    frost_k_per_kg_w,
)
from offgrid_sim.plan.van import Battery, Cabin, Fridge, Solar, Van, Water

CABIN_SHARE = {"cabin": 1.0, "under_floor": 0.2, "outside": 0.0}
"""Share of the cabin in what surrounds a thing; under the floor: common practice, no source."""

CHEMISTRY = {
    "lfp": {
        "disconnect_v": 12.0, "reconnect_v": 12.9, "absorption_v": 14.2, "mohm_100ah": 8.0,
        "charge_limit_c_rate": 0.5, "charge_min_temp_c": 0.0, "standby_a": 0.02,
        "peukert": 1.02, "self_discharge_per_month": 0.02, "kg_per_100ah": 12.0, "kj_kg_k": 1.0,
    },
    "agm": {
        "disconnect_v": 11.7, "reconnect_v": 12.6, "absorption_v": 14.4, "mohm_100ah": 12.0,
        "charge_limit_c_rate": 0.2, "charge_min_temp_c": -40.0, "standby_a": 0.0,
        "peukert": 1.12, "self_discharge_per_month": 0.02, "kg_per_100ah": 30.0, "kj_kg_k": 0.9,
    },
}  # fmt: skip
"""Defaults by chemistry: voltages, charge limits and self-discharge common practice, no source;
resistance, Peukert exponent, mass and heat capacity typical, from memory."""

PEUKERT_HOURS = 20.0
HOURS_PER_MONTH = 730.0
ROOF_ABSORPTANCE = {"white": 0.25, "grey": 0.6, "dark": 0.9}
PANEL_ABSORPTANCE = 0.4
PANEL_W_PER_M2 = 200.0
"""Usual nameplate per roof area; only used to shade the roof (common practice, no source)."""

LINER_KJ_K_PER_L = 0.094
"""Shelves and liner: 4 kJ/K for a 42.5 l fridge part (from memory)."""

PLATE_KJ_K, PLATE_M2 = 1.0, 0.12
FRIDGE_ONLY_BAND_K = 1.0
REFRIGERANT_FACTOR = {"r134a": 1.0, "r600a": 1.03}
"""R600a over R134a at equal cycle: 2-4 % (cycles computed with CoolProp)."""

DOOR_EXCHANGE = {"upright": 0.9, "chest": 0.1}
"""Share of the free air exchanged per opening; Gosney & Olama 1975 empties a front in 2 s."""

WALL_MM = {"upright": 35.0, "chest": 55.0}
SLOW_SHARE = 0.6
"""Power of a variable-speed compressor that only holds its set-point, as share of full (from
memory)."""


def battery_value(battery: Battery, key: str) -> float:
    """A battery value as given, or the default of its chemistry."""
    given = getattr(battery, key)
    return CHEMISTRY[battery.chemistry][key] if given is None else given


def fridge_sides_m(fridge: Fridge) -> tuple[float, float, float]:
    """Inner sides of the usual box of this shape, scaled to the volume: depth, width, height."""
    base = (0.34, 0.34, 0.43) if fridge.shape == "upright" else (0.30, 0.50, 0.33)
    scale = (fridge.volume_l / 1000.0 / math.prod(base)) ** (1 / 3)
    return base[0] * scale, base[1] * scale, base[2] * scale


def fridge_ua_w_k(fridge: Fridge) -> float:
    """Heat leak of the cabinet, W/K: as given, or from walls, gasket and fixings."""
    if fridge.ua_w_k is not None:
        return fridge.ua_w_k
    depth, width, height = fridge_sides_m(fridge)
    gasket_m = 2 * (width + (height if fridge.shape == "upright" else depth))
    wall_mm = WALL_MM[fridge.shape] if fridge.wall_mm is None else fridge.wall_mm
    return cabinet_ua_w_k((depth, width, height), wall_mm / 1000, fridge.foam_w_m_k, gasket_m)


def van_numbers(van: Van) -> np.ndarray:
    """The van as one VAN record, shape (1,)."""
    numbers = np.zeros(1, VAN)
    row = view(numbers)[0]
    _charge(row, van)
    _battery(row, van.battery)
    if van.fridge is not None:
        _fridge(row, van.fridge)
    _cabin(row, van.cabin, van.solar)
    _water(row, van.water)
    row.comfort_below_soc = van.rationing.comfort_below_soc
    row.normal_below_soc = van.rationing.normal_below_soc
    return numbers


def _charge(row: np.record, van: Van) -> None:
    row.array_count = len(van.solar)
    watts = [array.panel_w for array in van.solar]
    row.array_w = watts + [0.0] * (MAX_ARRAYS - len(watts))
    for k, array in enumerate(van.solar):
        row.panel_ohm[k] = circuit_ohm(array)
        row.panel_cable_per_w[k] = loss_per_w(circuit_ohm(array), array.working_v)
    row.controller_pwm = float(van.controller.kind == "pwm")
    row.controller_efficiency = van.controller.efficiency
    row.controller_limit_a = van.controller.current_limit_a
    row.controller_idle_w = van.controller.idle_w if van.solar else 0.0
    row.alternator_a = van.alternator.current_a
    row.shore_a = van.shore.current_a
    row.controller_ohm = circuit_ohm(van.controller)
    row.controller_cable_per_w = loss_per_w(row.controller_ohm)
    row.controller_siemens = charger_siemens(van.controller, van.controller.current_limit_a)
    row.alternator_siemens = charger_siemens(van.alternator, van.alternator.current_a)
    row.shore_siemens = charger_siemens(van.shore, van.shore.current_a)


def _battery(row: np.record, battery: Battery) -> None:
    usual = CHEMISTRY[battery.chemistry]
    chemistry = AGM if battery.chemistry == "agm" else LFP
    mohm = battery.resistance_mohm or usual["mohm_100ah"] * 100.0 / battery.capacity_ah
    row.lead = chemistry
    row.main_ohm = circuit_ohm(battery)
    row.capacity_ah = battery.capacity_ah * battery.health_share
    row.resistance_25c_ohm = mohm / 1000.0
    row.charge_rate_a = battery_value(battery, "charge_limit_c_rate") * row.capacity_ah
    row.charge_min_c = battery_value(battery, "charge_min_temp_c")
    row.absorption_v = battery_value(battery, "absorption_v")
    row.disconnect_v = battery_value(battery, "disconnect_v")
    row.reconnect_v = battery_value(battery, "reconnect_v")
    row.peukert_exponent = usual["peukert"]
    row.peukert_from_a = row.capacity_ah / PEUKERT_HOURS
    row.drain_per_h = (
        battery_value(battery, "standby_a") / row.capacity_ah
        + usual["self_discharge_per_month"] / HOURS_PER_MONTH
    )
    row.cells_cabin_share = CABIN_SHARE[battery.place]
    row.cell_hours = battery.thermal_hours
    heat_wh_k = usual["kg_per_100ah"] * battery.capacity_ah / 100.0 * usual["kj_kg_k"] / 3.6
    row.cell_k_per_w = battery.thermal_hours / heat_wh_k
    row.pad_heater_w = battery.pad_heater_w
    row.initial_soc = battery.initial_soc


def _fridge(row: np.record, fridge: Fridge) -> None:
    share = fridge.freezer_share
    row.has_fridge, row.upright = 1.0, float(fridge.shape == "upright")
    row.has_freezer, row.has_fresh = float(share > 0.0), float(share < 1.0)
    _fridge_zones(row, fridge, share)
    row.set_fresh_c = fridge.set_fridge_c
    row.set_cooled_c = fridge.set_freezer_c
    row.band_k, row.setback_k = fridge.band_k, fridge.night_setback_k
    if share == 0.0:
        row.band_k = min(fridge.band_k, FRIDGE_ONLY_BAND_K)
        row.set_cooled_c = fridge.set_fridge_c - 0.1 - 0.5 * row.band_k
    row.compressor_w = fridge.compressor_w
    row.fan_w, row.start_w = fridge.compressor_w * fridge.fan_share, fridge.start_w
    row.refrigerant_factor = REFRIGERANT_FACTOR[fridge.refrigerant] * fridge.efficiency_factor
    row.evaporator_drop_k = 8.0 if share > 0.0 else 14.0
    row.condenser_rise_k = fridge.condenser_rise_k
    row.condenser_cabin_share = {"cabin": 1.0, "vented": 0.5, "outside": 0.0}[fridge.condenser_air]
    row.min_off_h = fridge.min_off_minutes / 60.0
    row.cutout_v, row.restart_v = fridge.cutout_v, fridge.restart_v
    row.cable_ohm = circuit_ohm(fridge)
    row.fridge_cable_w = circuit_loss_w(row.compressor_w + row.fan_w, row.cable_ohm)
    row.slow_share = SLOW_SHARE if fridge.speed == "variable" else 1.0
    row.initial_fresh_c = row.set_fresh_c - FRESH_MARGIN_K
    row.initial_cooled_c = row.set_cooled_c
    _fridge_use(row, fridge, share)


def _fridge_zones(row: np.record, fridge: Fridge, share: float) -> None:
    """Heat leaks and heat capacities of the two zones; capacities in Wh/K."""
    ua_w_k = fridge_ua_w_k(fridge)
    fresh_kj_k = fridge.fresh_kg * FRESH_KJ_KG_K + fridge.drinks_kg * DRINKS_KJ_KG_K
    fresh_kj_k += LINER_KJ_K_PER_L * fridge.volume_l * (1 - share)
    row.fresh_kg, row.frozen_kg = fridge.fresh_kg, fridge.frozen_kg
    if share == 0.0:
        row.cooled_ua_w_k = ua_w_k
        k_per_wh = 3.6 / max(fresh_kj_k, 0.5)
        row.frozen_k_per_wh = row.melting_k_per_wh = row.thawed_k_per_wh = k_per_wh
        row.melt_heat_wh = (MELT_END_C - MELT_START_C) / k_per_wh
        row.frozen_kg = 0.0
        return
    liner_kj_k = PLATE_KJ_K + LINER_KJ_K_PER_L * fridge.volume_l * share
    row.cooled_ua_w_k = ua_w_k * share
    row.frozen_k_per_wh = 3.6 / (fridge.frozen_kg * FROZEN_KJ_KG_K + liner_kj_k)
    row.thawed_k_per_wh = 3.6 / (fridge.frozen_kg * THAWED_KJ_KG_K + liner_kj_k)
    melt_k = MELT_END_C - MELT_START_C
    row.melt_heat_wh = (fridge.frozen_kg * MELT_KJ_KG + liner_kj_k * melt_k) / 3.6
    row.melting_k_per_wh = melt_k / row.melt_heat_wh
    row.fresh_ua_w_k = ua_w_k * (1 - share)
    row.fresh_k_per_wh = 3.6 / max(fresh_kj_k, 0.5)
    span_k = max(fridge.set_fridge_c - fridge.set_freezer_c, 3.0)
    row.between_ua_w_k = 1.15 * row.fresh_ua_w_k * (25.0 - fridge.set_fridge_c) / span_k


def _fridge_use(row: np.record, fridge: Fridge, share: float) -> None:
    """Doors, loaded food, frost and tray."""
    depth, width, height = fridge_sides_m(fridge)
    walls_m2 = 2 * (depth * width + width * height + depth * height)
    row.door_free_m3 = 0.7 * fridge.volume_l / 1000.0
    row.door_share = DOOR_EXCHANGE[fridge.shape]
    row.door_wall_m2 = walls_m2 * (1.0 if fridge.shape == "upright" else 1 / 3)
    row.door_s = fridge.opening_s
    row.loaded_kj_k = FRESH_KJ_KG_K
    if share >= 1.0:
        # a freezer gets a fifth of the mass, frozen at home-made pace (sheet 4.6: 0.3 kg/day)
        row.loaded_kj_k = 0.2 * THAWED_KJ_KG_K
        row.loaded_fixed_kj = 0.2 * MELT_KJ_KG
    row.plate_m2 = PLATE_M2
    row.frost_k_per_kg_w = frost_k_per_kg_w(PLATE_M2)
    row.tray_l = fridge.tray_l
    row.defrost_h = fridge.defrost_every_days * 24.0


def _cabin(row: np.record, cabin: Cabin, arrays: tuple[Solar, ...]) -> None:
    row.cabin_ua_w_k = cabin.ua_w_k
    row.cabin_heat_wh_k = cabin.heat_capacity_kj_k / 3.6
    row.closed_air_w_k = AIR_WH_M3_K * cabin.volume_m3 * cabin.closed_air_changes_h
    row.vent_air_w_k = AIR_WH_M3_K * cabin.volume_m3 * cabin.vent_air_changes_h
    row.vent_above_c, row.vent_when_away = cabin.vent_above_c, float(cabin.vent_when_away)
    fixed_w = sum(array.panel_w for array in arrays if array.deployed == "always")
    covered = min(fixed_w / PANEL_W_PER_M2 / cabin.roof_m2, 1.0) if cabin.roof_m2 > 0 else 0.0
    bare = ROOF_ABSORPTANCE[cabin.roof_colour]
    row.roof_w_k = cabin.roof_m2 * cabin.roof_u_w_m2_k
    row.roof_absorptance = covered * min(PANEL_ABSORPTANCE, bare + 0.15) + (1 - covered) * bare
    row.glass_gain_m2 = cabin.glass_m2 * cabin.blinds_share
    row.heater_w = cabin.heater_w
    row.heater_electric_share = cabin.heater_electric_w / max(cabin.heater_w, 1.0)
    row.heater_cable_per_w = loss_per_w(circuit_ohm(cabin))
    row.heater_awake_c, row.heater_night_c = cabin.heater_set_c, cabin.heater_night_c
    row.heater_away_c = cabin.heater_away_c
    row.initial_cabin_c = -100.0 if cabin.initial_temp_c is None else cabin.initial_temp_c


def _water(row: np.record, water: Water) -> None:
    row.fresh_tank_l, row.grey_tank_l = water.fresh_l, water.grey_l
    row.initial_fresh_l = water.fresh_l * water.initial_fresh_share
    row.initial_grey_l = water.grey_l * water.initial_grey_share
    row.pump_wh_l = water.pump_w / water.pump_l_min / 60.0
    row.pump_cable_wh_l = circuit_loss_w(water.pump_w, circuit_ohm(water)) / water.pump_l_min / 60.0
    row.grey_tap_open = float(water.grey_tap_open)
    row.fresh_tank_cabin_share = CABIN_SHARE[water.fresh_place]
    row.grey_tank_cabin_share = CABIN_SHARE[water.grey_place]
    row.tank_ua_w_k = water.tank_ua_w_k
    row.frozen_at_ice_share = water.frozen_at_ice_share
