"""One step of van life, in the order of a day: sun, loads, charge, battery, fridge, cabin, water.

Each function changes ``state`` and writes what happened into ``flow``. The physics stands in
``offgrid_sim.physics``; here is only the order in which things act on each other.
"""

from __future__ import annotations

from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.flat import ASLEEP, AWAY, PWM_HIGH_V, PWM_LOW_V
from offgrid_sim.physics.battery import (
    acceptance_a,
    advance,
    capacity_share,
    charge_temperature_share,
    cold_overpotential_v,
    current_a,
    discharged_lead_factor,
    ocv_v,
    resistance_ohm,
    stored_v,
)
from offgrid_sim.physics.cabin import (
    PERSON_W,
    air_changes_h,
    heat_to_hold_w,
    roof_excess_k,
    settle_c,
)
from offgrid_sim.physics.charging import mppt_w, pwm_w
from offgrid_sim.physics.fridge import (
    FROST_MELT_W_M2_K,
    ICE_FUSION_KJ_KG,
    cop,
    frost_lift_k,
    opening_heat_kj,
    opening_water_kg,
    relaxation,
    run_thermostat,
    zone_heat_wh,
    zone_temp_c,
)
from offgrid_sim.physics.water import WATER_WH_L_K, cool_tank, ice_share

CABIN_HUMIDITY = 0.6
FRIDGE_HUMIDITY = 0.8
DRIP_SHARE = 0.03
TRAY_EVAPORATION_L_H = 0.1 / 24
FILL_TEMP_C = 8.0
GREY_INFLOW_C = 20.0
PAD_HEATER_MARGIN_K = 2.0
Record = Any


@compiled
def begin_hour(van: Record, clock: Record, sky: Record, state: Record, flow: Record) -> None:
    """What holds for a whole hour: cells' resistance, doors, services on arrival, tanks' ice."""
    state.cell_ohm = resistance_ohm(van.resistance_25c_ohm, state.cell_c)
    state.set_raised_k = van.setback_k * clock.night
    state.cold_share = min(capacity_share(state.cell_c, van.capacity_share), 1.0)
    flow.filled_l = 0.0
    flow.dumped_l = 0.0
    if van.has_fridge > 0.5:
        open_doors(van, clock, state)
    use_services(van, clock, state, flow)
    freeze_tanks(van, sky, state)


@compiled
def open_doors(van: Record, clock: Record, state: Record) -> None:
    """Heat and moisture that this hour's door openings and loaded food bring in, W and kg/h."""
    inside_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_heat_wh_k, van.melt_heat_wh, van.thawed_heat_wh_k
    )
    if van.has_fresh > 0.5 and van.has_freezer > 0.5:
        inside_c = state.fresh_c
    room_c = state.cabin_c
    door_kj = opening_heat_kj(
        room_c, CABIN_HUMIDITY, inside_c, FRIDGE_HUMIDITY, van.door_free_m3, van.door_share,
        van.door_wall_m2, van.door_s,
    )  # fmt: skip
    food_kj = clock.loaded_kg * (van.loaded_kj_k * (room_c - inside_c) + van.loaded_fixed_kj)
    state.door_w = (clock.door_openings * door_kj + food_kj) / 3.6
    state.door_water_kg_h = clock.door_openings * opening_water_kg(
        room_c, CABIN_HUMIDITY, inside_c, FRIDGE_HUMIDITY, van.door_free_m3, van.door_share
    )


@compiled
def use_services(van: Record, clock: Record, state: Record, flow: Record) -> None:
    """Fill the fresh tank and empty the grey one in the hour of arrival."""
    if clock.fill > 0.5:
        flow.filled_l = van.fresh_tank_l - state.fresh_l
        if van.fresh_tank_l > 0.0:
            kept = state.fresh_l / van.fresh_tank_l
            state.fresh_tank_wh_l = (
                kept * state.fresh_tank_wh_l + (1.0 - kept) * FILL_TEMP_C * WATER_WH_L_K
            )
        state.fresh_l = van.fresh_tank_l
    if clock.dump > 0.5:
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


@compiled
def around_c(cabin_share: float, cabin_c: float, outside_c: float) -> float:
    """Temperature around a thing: cabin, outside, or under the floor with some of the cabin."""
    return cabin_share * cabin_c + (1.0 - cabin_share) * outside_c


@compiled
def step(
    van: Record, clock: Record, sky: Record, ask: Record, state: Record, flow: Record, h: float
) -> None:
    """Advance the van by ``h`` hours."""
    flow.outside_c = sky.temp_air_c
    sun_w = catch_sun(van, sky, state)
    loads_w = want_power(van, clock, sky, ask, state, flow, h)
    spare_w, offered_w = offer_charge(van, clock, state, flow, sun_w, h)
    protect(van, state, flow, loads_w, spare_w, offered_w, h)
    cool_food(van, sky, state, flow, h)
    charge_battery(van, clock, state, flow, sun_w, loads_w, spare_w, h)
    warm_cabin(van, clock, sky, ask, state, flow, h)
    use_water(van, ask, state, flow)
    note_state(van, state, flow)


@compiled
def catch_sun(van: Record, sky: Record, state: Record) -> float:
    """Solar power the controller could put on the bus now, W."""
    if van.controller_pwm > 0.5:
        low_a, high_a = 0.0, 0.0
        for k in range(int(van.array_count)):
            low_a += van.array_w[k] * sky.pwm_low_a_per_w[k]
            high_a += van.array_w[k] * sky.pwm_high_a_per_w[k]
        return pwm_w(
            low_a, high_a, PWM_LOW_V, PWM_HIGH_V, van.controller_efficiency,
            van.controller_limit_a, state.volts,
        )  # fmt: skip
    panel_w = 0.0
    for k in range(int(van.array_count)):
        panel_w += van.array_w[k] * sky.solar_w_per_w[k]
    return mppt_w(panel_w, van.controller_efficiency, van.controller_limit_a, state.volts)


@compiled
def want_power(
    van: Record, clock: Record, sky: Record, ask: Record, state: Record, flow: Record, h: float
) -> float:
    """Watts asked for behind the disconnect without the fridge; what people give up is unserved."""
    wanted_w = ask.vital_w + want_heat(van, clock, sky, state, flow, h)
    flow.unserved_w = 0.0
    if state.soc >= van.normal_below_soc:
        wanted_w += ask.normal_w
    else:
        flow.unserved_w += ask.normal_w
    if state.soc >= van.comfort_below_soc:
        wanted_w += ask.comfort_w
    else:
        flow.unserved_w += ask.comfort_w
    return wanted_w + van.pump_wh_l * min(ask.draw_l, water_to_hand_l(van, state)) / h


@compiled
def want_heat(
    van: Record, clock: Record, sky: Record, state: Record, flow: Record, h: float
) -> float:
    """Heat the cabin needs over this step, kept in ``state``; returns the heater's electric W."""
    set_c = van.heater_awake_c
    if clock.occupancy == AWAY:
        set_c = van.heater_away_c
    elif clock.occupancy == ASLEEP:
        set_c = van.heater_night_c
    state.heater_w = 0.0
    if van.heater_w > 0.0 and sky.temp_air_c < set_c + 5.0:
        needed_w = heat_to_hold_w(
            set_c, state.cabin_c, sky.temp_air_c, state.gains_w,
            van.cabin_ua_w_k + van.closed_air_w_k, van.cabin_heat_wh_k, h,
        )  # fmt: skip
        state.heater_w = min(needed_w, van.heater_w)
    if van.heater_w > 0.0:
        flow.heater_electric_w = van.heater_electric_w * state.heater_w / van.heater_w
    else:
        flow.heater_electric_w = 0.0
    return flow.heater_electric_w


@compiled
def offer_charge(
    van: Record, clock: Record, state: Record, flow: Record, sun_w: float, h: float
) -> tuple[float, float]:
    """Most power the battery takes now (W), and all power on offer (W); sees to the pad heater."""
    offered_w = sun_w + state.volts * (
        van.alternator_a * clock.driving_share + van.shore_a * clock.shore
    )
    chemistry = int(van.lead)
    emf_v = ocv_v(state.soc, van.ocv_v)
    resistance = state.cell_ohm * discharged_lead_factor(chemistry, state.soc)
    share = charge_temperature_share(chemistry, state.cell_c, van.charge_min_c)
    charge_a = acceptance_a(
        chemistry, state.soc, van.capacity_ah, van.charge_rate_a * share,
        van.absorption_v - emf_v, resistance, h,
    )  # fmt: skip
    flow.cold_lockout = 1.0 if share == 0.0 and offered_w > 1.0 and state.soc < 0.98 else 0.0
    return charge_a * (emf_v + charge_a * resistance), offered_w


@compiled
def protect(
    van: Record, state: Record, flow: Record, loads_w: float, spare_w: float, offered_w: float,
    h: float,
) -> None:  # fmt: skip
    """Disconnect and reconnect the loads by battery voltage, the fridge by its own terminals."""
    chemistry = int(van.lead)
    resistance = state.cell_ohm * discharged_lead_factor(chemistry, state.soc)
    emf_v = ocv_v(state.soc, van.ocv_v)
    cold_v = cold_overpotential_v(state.soc, state.cold_share, van.ocv_v)
    fridge_w = 0.0
    if van.has_fridge > 0.5:
        fridge_w = van.compressor_w + van.fan_w
    wants_fridge = fridge_w > 0.0 and state.running > 0.5 and state.fridge_locked < 0.5
    always_w = van.controller_idle_w
    drawn_w = loads_w + always_w + (fridge_w if wants_fridge else 0.0)
    at_most_w = loads_w + always_w + fridge_w
    if state.load_on > 0.5:
        volts = terminal_v(offered_w - drawn_w, spare_w, emf_v, cold_v, resistance)
        needed_ah = max(at_most_w - offered_w, 0.0) * h / max(volts, 6.0)
        if volts < van.disconnect_v or needed_ah > state.soc * van.capacity_ah:
            state.load_on = 0.0
    else:
        volts = terminal_v(offered_w - always_w, spare_w, emf_v, cold_v, resistance)
        if volts >= van.reconnect_v:
            with_loads_v = terminal_v(offered_w - drawn_w, spare_w, emf_v, cold_v, resistance)
            if with_loads_v > van.disconnect_v:
                state.load_on = 1.0
    guard_fridge(van, state, flow, fridge_w, volts, wants_fridge)


@compiled
def terminal_v(
    net_w: float, spare_w: float, emf_v: float, cold_v: float, resistance: float
) -> float:
    """Battery voltage at a net power; charging is limited to what the battery takes."""
    if net_w >= 0.0:
        return emf_v + current_a(min(net_w, spare_w), emf_v, resistance) * resistance
    inner_v = emf_v - cold_v
    if inner_v * inner_v + 4.0 * resistance * net_w <= 0.0 or inner_v <= 0.0:
        return 0.0
    return inner_v + current_a(net_w, inner_v, resistance) * resistance


@compiled
def guard_fridge(
    van: Record, state: Record, flow: Record, fridge_w: float, volts: float, running: bool
) -> None:
    """The drive's own low-voltage lock, at its terminals behind the cable, with hysteresis."""
    flow.fridge_volts = volts
    flow.cutout = 0.0
    if fridge_w <= 0.0 or state.load_on < 0.5:
        return
    at_drive_v = volts - van.cable_ohm * fridge_w / max(volts, 6.0)
    flow.fridge_volts = at_drive_v if running else volts
    if state.fridge_locked > 0.5:
        if volts > van.restart_v:
            state.fridge_locked = 0.0
    elif at_drive_v < van.cutout_v and running:
        state.fridge_locked = 1.0
    flow.cutout = state.fridge_locked


@compiled
def cool_food(van: Record, sky: Record, state: Record, flow: Record, h: float) -> None:
    """Both zones over one step: flap, thermostat, thaw, frost; sets the fridge's mean power."""
    flow.fridge_w = 0.0
    flow.running_share = 0.0
    state.from_cabin_w = 0.0
    if van.has_fridge < 0.5:
        return
    state.from_cabin_w = state.door_w
    powered = state.load_on > 0.5 and state.fridge_locked < 0.5
    cooled_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_heat_wh_k, van.melt_heat_wh, van.thawed_heat_wh_k
    )
    between_w, between_w_k = 0.0, 0.0
    door_cooled_w = state.door_w
    if van.has_fresh > 0.5 and van.has_freezer > 0.5:
        door_cooled_w = 0.0
        between_w, between_w_k = keep_fresh(van, state, cooled_c, powered, h)
    melted_kg = melt_frost(van, state, cooled_c, h)
    melt_w = melted_kg * ICE_FUSION_KJ_KG / 3.6 / h
    leak_w = van.cooled_ua_w_k * (state.cabin_c - cooled_c)
    load_w = leak_w + between_w + door_cooled_w - melt_w
    condenser_c = van.condenser_rise_k + around_c(
        van.condenser_cabin_share, state.cabin_c, sky.temp_air_c
    )
    frost_k = frost_lift_k(state.frost_kg, van.plate_m2, load_w)
    set_c = van.set_cooled_c + state.set_raised_k
    low_wh = zone_heat_wh(
        set_c - 0.5 * van.band_k, van.frozen_heat_wh_k, van.melt_heat_wh, van.thawed_heat_wh_k
    )
    high_wh = zone_heat_wh(
        set_c + 0.5 * van.band_k, van.frozen_heat_wh_k, van.melt_heat_wh, van.thawed_heat_wh_k
    )
    heat_wh, running, rest_h, on_h, moved_wh = run_thermostat(
        state.cooled_heat_wh, state.running, state.rest_h, powered, load_w,
        van.cooled_ua_w_k + between_w_k, low_wh, high_wh, van.frozen_heat_wh_k, van.melt_heat_wh,
        van.thawed_heat_wh_k, van.evaporator_drop_k + frost_k, condenser_c,
        van.refrigerant_factor, van.compressor_w, van.min_off_h, h,
    )  # fmt: skip
    state.cooled_heat_wh, state.running, state.rest_h = heat_wh, running, rest_h
    flow.running_share = on_h / h
    flow.fridge_w = flow.running_share * (van.compressor_w + van.fan_w)
    state.from_cabin_w += leak_w - van.condenser_cabin_share * (
        moved_wh + on_h * van.compressor_w
    ) / h - flow.running_share * van.fan_w  # fmt: skip
    if not powered and heat_wh > low_wh:
        lift = cop(cooled_c - van.evaporator_drop_k, condenser_c, van.refrigerant_factor)
        duty = min(max(load_w, 0.0) / (lift * van.compressor_w), 1.0)
        flow.unserved_w += duty * (van.compressor_w + van.fan_w)
    catch_water(van, state, melted_kg, h)


@compiled
def keep_fresh(
    van: Record, state: Record, cooled_c: float, powered: bool, h: float
) -> tuple[float, float]:
    """Fresh zone between cabin and freezer; returns heat to the freezer (W) and its W/K.

    With power a flap between the zones holds the fresh zone near its set-point; without power
    it rests at its nominal opening.
    """
    opening, steepness = 1.0, 0.0
    if powered and van.flap > 0.5:
        set_c = van.set_fresh_c - 0.5 + state.set_raised_k
        opening = 1.0 + 2.0 * (state.fresh_c - set_c)
        steepness = 2.0
        if opening < 0.05:
            opening, steepness = 0.05, 0.0
        elif opening > 2.5:
            opening, steepness = 2.5, 0.0
    between_w_k = van.between_ua_w_k * opening
    leak_w = van.fresh_ua_w_k * (state.cabin_c - state.fresh_c)
    between_w = between_w_k * (state.fresh_c - cooled_c)
    per_k = (
        van.fresh_ua_w_k
        + between_w_k
        + steepness * van.between_ua_w_k * max(state.fresh_c - cooled_c, 0.0)
    )
    decay = per_k * h / van.fresh_heat_wh_k
    mean = relaxation(decay)
    rate_w = leak_w + state.door_w - between_w
    change_k = rate_w * h * mean / van.fresh_heat_wh_k
    state.fresh_c += change_k
    half_k = 0.5 * change_k
    state.from_cabin_w += leak_w - van.fresh_ua_w_k * half_k
    return between_w + (per_k - van.fresh_ua_w_k) * half_k, between_w_k


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
    melted_kg = min(melt_w * h * 3.6 / ICE_FUSION_KJ_KG, state.frost_kg)
    state.frost_kg -= melted_kg
    return melted_kg


@compiled
def catch_water(van: Record, state: Record, melted_kg: float, h: float) -> None:
    """Meltwater and drip run to the tray; an upright spills the rest, a chest keeps it."""
    if van.has_freezer > 0.5 and van.melt_heat_wh > 0.0:
        thawed = min(max(state.cooled_heat_wh / van.melt_heat_wh, 0.0), 1.0)
        if thawed > state.dripped_share:
            melted_kg += DRIP_SHARE * van.frozen_kg * (thawed - state.dripped_share)
            state.dripped_share = thawed
    state.melted_l += melted_kg
    state.tray_l = max(state.tray_l - TRAY_EVAPORATION_L_H * h, 0.0) + melted_kg
    if van.upright > 0.5 and state.tray_l > van.tray_l:
        state.floor_l += state.tray_l - van.tray_l
        state.tray_l = van.tray_l


@compiled
def charge_battery(
    van: Record, clock: Record, state: Record, flow: Record, sun_w: float, loads_w: float,
    spare_w: float, h: float,
) -> None:  # fmt: skip
    """Balance the bus, take what is offered (sun first), and advance the cells."""
    on = state.load_on > 0.5
    stored_wh = van.capacity_ah * stored_v(state.soc, van.ocv_v, van.stored_v)
    served_w = van.controller_idle_w if van.controller_idle_w * h < 0.5 * stored_wh else 0.0
    if on:
        served_w += loads_w + flow.fridge_w
    else:
        flow.unserved_w += loads_w
        flow.heater_electric_w = 0.0
        state.heater_w = 0.0
    flow.blackout = 0.0 if on else 1.0
    alternator_w = van.alternator_a * state.volts * clock.driving_share
    shore_w = van.shore_a * state.volts * clock.shore
    pad_w = 0.0
    if (
        van.pad_heater_w > 0.0
        and state.cell_c < van.charge_min_c + PAD_HEATER_MARGIN_K
        and sun_w + alternator_w + shore_w > van.pad_heater_w + served_w
    ):
        pad_w = van.pad_heater_w
    served_w += pad_w
    room_w = served_w + spare_w
    flow.solar_w = min(sun_w, room_w)
    flow.curtailed_w = sun_w - flow.solar_w
    flow.alternator_w = min(alternator_w, room_w - flow.solar_w)
    flow.shore_w = min(shore_w, room_w - flow.solar_w - flow.alternator_w)
    flow.load_w = served_w
    net_w = flow.solar_w + flow.alternator_w + flow.shore_w - served_w
    move_charge(van, state, flow, net_w, pad_w, h)


@compiled
def move_charge(
    van: Record, state: Record, flow: Record, net_w: float, pad_w: float, h: float
) -> None:
    """Charge or discharge at ``net_w``, then self-discharge and the cells' own temperature."""
    chemistry = int(van.lead)
    resistance = state.cell_ohm * discharged_lead_factor(chemistry, state.soc)
    cold_v = 0.0
    if net_w < 0.0:
        cold_v = cold_overpotential_v(state.soc, state.cold_share, van.ocv_v)
    soc, current, loss_w = advance(
        net_w, state.soc, h, chemistry, van.capacity_ah, resistance, cold_v,
        van.peukert_hours, van.peukert_exponent, van.ocv_v, van.stored_v,
    )  # fmt: skip
    heat_w = loss_w
    drained = (van.standby_a / van.capacity_ah + van.self_discharge_per_h) * h
    after = max(soc - drained, 0.0)
    loss_w += (
        van.capacity_ah
        * (stored_v(soc, van.ocv_v, van.stored_v) - stored_v(after, van.ocv_v, van.stored_v))
        / h
    )
    state.soc = after
    state.volts = ocv_v(soc, van.ocv_v) + current * resistance
    if current < 0.0:
        state.volts -= cold_v
    ua_w_k = van.cell_heat_wh_k / van.cell_hours
    surroundings_c = around_c(van.cells_cabin_share, state.cabin_c, flow.outside_c)
    state.cell_c = settle_c(
        state.cell_c, surroundings_c + (heat_w + pad_w) / ua_w_k, ua_w_k, van.cell_heat_wh_k, h
    )
    flow.battery_loss_w = loss_w
    flow.battery_a = current
    flow.soc = state.soc
    flow.volts = state.volts
    flow.cell_c = state.cell_c


@compiled
def warm_cabin(
    van: Record, clock: Record, sky: Record, ask: Record, state: Record, flow: Record, h: float
) -> None:
    """Cabin temperature from outside air, sun, people, appliances, the fridge and the heater."""
    served_heat_w = 0.0
    if state.load_on > 0.5:
        served_heat_w = (flow.load_w - flow.fridge_w) * ask.heat_share
    gains_w = (
        van.roof_w_k * roof_excess_k(sky.roof_w_m2, van.roof_absorptance)
        + van.glass_gain_m2 * sky.glass_w_m2
        + PERSON_W * clock.people
        + served_heat_w
        - state.from_cabin_w
        + (flow.battery_loss_w if van.cells_cabin_share == 1.0 else 0.0)
    )
    state.gains_w = gains_w
    usable = 1.0 if clock.people > 0.0 else van.vent_when_away
    air_w_k = air_changes_h(
        state.cabin_c, van.closed_air_w_k, van.vent_air_w_k, van.vent_above_c, usable
    )
    ua_w_k = van.cabin_ua_w_k + air_w_k
    final_c = sky.temp_air_c + (gains_w + state.heater_w) / ua_w_k
    state.cabin_c = settle_c(state.cabin_c, final_c, ua_w_k, van.cabin_heat_wh_k, h)


@compiled
def water_to_hand_l(van: Record, state: Record) -> float:
    """Litres the pump could draw now: none from a frozen tank."""
    if ice_share(state.fresh_tank_wh_l) >= van.frozen_at_ice_share:
        return 0.0
    return state.fresh_l


@compiled
def use_water(van: Record, ask: Record, state: Record, flow: Record) -> None:
    """Draw, run to grey, overflow; a frozen tank or a dead pump gives nothing."""
    usable_l = water_to_hand_l(van, state) if state.load_on > 0.5 else 0.0
    flow.drawn_l = min(ask.draw_l, usable_l)
    flow.unmet_l = ask.draw_l - flow.drawn_l
    state.fresh_l -= flow.drawn_l
    arriving_l = 0.0
    if ask.draw_l > 0.0:
        arriving_l = ask.grey_l * flow.drawn_l / ask.draw_l
    flow.to_grey_l = 0.0
    if van.grey_tap_open < 0.5:
        flow.to_grey_l = min(arriving_l, van.grey_tank_l - state.grey_l)
    flow.grey_lost_l = arriving_l - flow.to_grey_l
    if flow.to_grey_l > 0.0:
        state.grey_l += flow.to_grey_l
        warm_wh_l = GREY_INFLOW_C * WATER_WH_L_K
        state.grey_tank_wh_l += (warm_wh_l - state.grey_tank_wh_l) * flow.to_grey_l / state.grey_l
    full = van.grey_tap_open < 0.5 and flow.grey_lost_l > 1e-9
    flow.grey_full = 1.0 if full else 0.0
    flow.dry = 1.0 if flow.unmet_l > 1e-9 and state.fresh_l <= 1e-9 else 0.0


@compiled
def note_state(van: Record, state: Record, flow: Record) -> None:
    """Write down where everything stands at the end of the step."""
    flow.cabin_c = state.cabin_c
    flow.heater_w = state.heater_w
    flow.fresh_l = state.fresh_l
    flow.grey_l = state.grey_l
    fresh_frozen = state.fresh_l > 0.0 and (
        ice_share(state.fresh_tank_wh_l) >= van.frozen_at_ice_share
    )
    grey_frozen = state.grey_l > 0.5 and (
        ice_share(state.grey_tank_wh_l) >= van.frozen_at_ice_share
    )
    flow.frozen_water = 1.0 if fresh_frozen or grey_frozen else 0.0
    flow.frost_kg = state.frost_kg
    flow.meltwater_l = state.melted_l
    flow.floor_water_l = state.floor_l
    flow.freezer_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_heat_wh_k, van.melt_heat_wh, van.thawed_heat_wh_k
    )
    flow.fresh_c = state.fresh_c if van.has_freezer > 0.5 else flow.freezer_c
    flow.ice_share = 1.0
    if van.has_freezer > 0.5 and van.melt_heat_wh > 0.0:
        flow.ice_share = 1.0 - min(max(state.cooled_heat_wh / van.melt_heat_wh, 0.0), 1.0)
    holds_frozen = van.has_freezer > 0.5 and van.frozen_kg > 0.0
    flow.thaw = 1.0 if holds_frozen and flow.ice_share < 0.8 else 0.0
    flow.thawed = 1.0 if holds_frozen and flow.ice_share < 0.1 else 0.0
    flow.warm_food = 1.0 if van.has_fresh > 0.5 and flow.fresh_c > 5.0 else 0.0
