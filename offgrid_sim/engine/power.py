"""Power in one step: what the sun offers, what is asked for, what the battery does about it."""

from __future__ import annotations

from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.flat import ASLEEP, AWAY, PWM_HIGH_V, PWM_LOW_V
from offgrid_sim.engine.living import water_to_hand_l
from offgrid_sim.physics.battery import (
    acceptance_a,
    advance,
    advance_on_line,
    charge_temperature_share,
    cold_overpotential_v,
    current_a,
    discharged_lead_factor,
    ocv_line,
    peukert_factor,
    stored_v,
)
from offgrid_sim.physics.cabin import settle_c
from offgrid_sim.physics.charging import mppt_w, pwm_w
from offgrid_sim.physics.wiring import NOMINAL_V, tracked_share

PAD_HEATER_MARGIN_K = 2.0
LOWEST_V = 6.0
"""Below this a 12 V system is dead; guards divisions by voltage."""

HARD_CUT_V = 10.0
"""Cells' own protection: below 2.5 V a cell nothing is drawn at all (common practice)."""

NEARLY_EMPTY_SOC, EMPTY_MARGIN = 0.2, 1.1
MOST_OF_GREATEST = 0.9
"""Of the greatest power a source can give: near it the voltage is half and no root is safe."""

Record = Any


@compiled
def look_at_battery(van: Record, pace: Record, state: Record) -> None:
    """The battery at this moment: resistance, and loss of voltage by cold.

    Over a step the open-circuit voltage drifts with the charge that flows; ``drift_ohm`` is the
    drift up to the middle of the step per ampere, so that protection acts at the nearest step.
    """
    chemistry = int(van.lead)
    state.ohm = state.cell_ohm_25c * discharged_lead_factor(chemistry, state.soc)
    state.bus_ohm = state.ohm + van.main_ohm
    state.drift_ohm = state.slope_v * pace.half_step_per_ah
    state.cold_v = cold_overpotential_v(chemistry, state.soc, state.emf_v, state.per_cold_share)


@compiled
def catch_sun(van: Record, state: Record) -> float:
    """Solar power that the controller could bring to the fuse box now, W.

    A switched panel drives its current through any cable, which only asks more volts of it.
    """
    if van.controller_pwm > 0.5:
        return pwm_w(
            state.panel_low_a, state.panel_high_a, PWM_LOW_V, PWM_HIGH_V,
            van.controller_efficiency, van.controller_limit_a, state.volts,
        )  # fmt: skip
    if state.panel_w <= 0.0:
        return 0.0
    watts = mppt_w(state.panel_w, van.controller_efficiency, van.controller_limit_a, state.volts)
    return watts * tracked_share(watts * van.controller_cable_per_w)


@compiled
def want_power(
    van: Record, clock: Record, sky: Record, ask: Record, pace: Record, state: Record,
    flow: Record,
) -> float:  # fmt: skip
    """Watts asked of the fuse box without the fridge; what people give up is unserved.

    The part that is lost in cables goes to ``cable_loss_w``.
    """
    want_heat(van, clock, sky, pace, state)
    heater_w = van.heater_electric_share * state.heater_w
    heater_cable_w = heater_w * heater_w * van.heater_cable_per_w
    flow.heater_electric_w = heater_w
    flow.unserved_w = 0.0
    wanted_w = ask.vital_w
    if state.soc >= van.normal_below_soc:
        wanted_w += ask.normal_w
    else:
        flow.unserved_w += ask.normal_w
    if state.soc >= van.comfort_below_soc:
        wanted_w += ask.comfort_w
    else:
        flow.unserved_w += ask.comfort_w
    lost_w = ask.cable_share * wanted_w + heater_cable_w
    wanted_w += heater_w + heater_cable_w
    if ask.draw_l > 0.0:
        pumped_l_h = min(ask.draw_l, water_to_hand_l(van, state)) * pace.per_h
        wanted_w += (van.pump_wh_l + van.pump_cable_wh_l) * pumped_l_h
        lost_w += van.pump_cable_wh_l * pumped_l_h
    flow.cable_loss_w = lost_w
    return wanted_w


@compiled
def wanted_c(van: Record, clock: Record) -> float:
    """Cabin temperature that people want at this hour."""
    if clock.occupancy == AWAY:
        return van.heater_away_c
    return van.heater_night_c if clock.occupancy == ASLEEP else van.heater_awake_c


@compiled
def want_heat(van: Record, clock: Record, sky: Record, pace: Record, state: Record) -> None:
    """Heat that holds the cabin at what people want at this hour, as far as the heater goes, W."""
    state.heater_w = 0.0
    set_c = wanted_c(van, clock)
    if van.heater_w > 0.0 and sky.temp_air_c < set_c + 5.0:
        free_c = settle_c(
            state.cabin_c, sky.temp_air_c + state.gains_w * pace.cabin_k_per_w, pace.cabin_kept
        )
        state.heater_w = min(max(set_c - free_c, 0.0) * pace.hold_w_per_k, van.heater_w)


@compiled
def offer_charge(
    van: Record, clock: Record, pace: Record, state: Record, flow: Record, sun_w: float
) -> tuple[float, float]:
    """Most power the battery takes now at the fuse box (W), and all power on offer there (W).

    Chargers hold the absorption voltage at their own terminals: drops on the way to the cells make
    them reach it early. The drop by what the loads take from them meanwhile is left out.
    """
    offered_w = sun_w + state.volts * (
        van.alternator_a * clock.driving_share + van.shore_a * clock.shore
    )
    share = charge_temperature_share(int(van.lead), state.cell_c, van.charge_min_c)
    locked = share == 0.0 and offered_w > 1.0 and state.soc < 0.98
    flow.cold_lockout = 1.0 if locked else 0.0
    if offered_w <= 0.0 or share == 0.0:
        return 0.0, offered_w
    charge_a = acceptance_a(
        int(van.lead), state.soc, van.capacity_ah, van.charge_rate_a * share,
        van.absorption_v - state.emf_v, state.bus_ohm + state.charger_ohm, pace.per_h,
    )  # fmt: skip
    return charge_a * (state.emf_v + charge_a * state.bus_ohm), offered_w


@compiled
def protect(
    van: Record, pace: Record, state: Record, flow: Record, loads_w: float, spare_w: float,
    offered_w: float,
) -> None:  # fmt: skip
    """Disconnect and reconnect the loads by battery voltage, the fridge by its own terminals.

    Voltages are those of the middle of the step, with the compressor on if it runs at all.
    """
    fridge_w = (van.compressor_w + van.fan_w + van.fridge_cable_w) * van.has_fridge
    running = fridge_w > 0.0 and state.fridge_locked < 0.5 and runs_in_step(van, state, pace.h)
    base_w = van.controller_idle_w
    drawn_w = loads_w + base_w + (fridge_w if running else 0.0)
    mean_w = loads_w + base_w + fridge_w * state.on_share
    volts, current = terminal_v(state, offered_w - drawn_w, offered_w - mean_w, spare_w)
    flow.bus_volts = volts + van.main_ohm * current
    if state.load_on > 0.5:
        short_w = loads_w + base_w + fridge_w - offered_w
        if volts < van.disconnect_v or would_empty(van, state, short_w, volts, pace.h):
            state.load_on = 0.0
    else:
        rested_w = offered_w - base_w
        rested_v, rested_a = terminal_v(state, rested_w, rested_w, spare_w)
        if rested_v >= van.reconnect_v and volts > van.disconnect_v:
            state.load_on = 1.0
        else:
            flow.bus_volts = rested_v + van.main_ohm * rested_a
    guard_fridge(van, state, flow, fridge_w, running)


@compiled
def would_empty(van: Record, state: Record, short_w: float, volts: float, h: float) -> bool:
    """Whether the cells do not hold what a step would draw; the voltage usually cuts before."""
    if state.soc > NEARLY_EMPTY_SOC and short_w < van.capacity_ah:
        return False
    drawn_a = short_w / max(volts, LOWEST_V)
    factor = peukert_factor(drawn_a, van.peukert_from_a, van.peukert_exponent)
    return EMPTY_MARGIN * drawn_a * factor * h > state.soc * van.capacity_ah


@compiled
def runs_in_step(van: Record, state: Record, h: float) -> bool:
    """Whether the compressor runs, or would start within the step if it could."""
    if state.running > 0.5:
        return True
    final_wh = state.cooled_heat_wh + h * state.warming_w
    return final_wh >= state.cold_high_wh and state.rest_h + h >= van.min_off_h


@compiled
def terminal_v(state: Record, net_w: float, mean_w: float, spare_w: float) -> tuple[float, float]:
    """Battery voltage (V) and current (A, + charging) at a net power of the fuse box.

    They are those of the middle of a step of mean net power ``mean_w``. Charging is limited to
    what the battery takes.
    """
    inner_v = state.emf_v + min(mean_w, spare_w) * (1.0 / NOMINAL_V) * state.drift_ohm
    if net_w >= 0.0:
        current = current_a(min(net_w, spare_w), inner_v, state.bus_ohm)
        return inner_v + current * state.ohm, current
    inner_v -= state.cold_v
    if inner_v <= 0.0 or inner_v * inner_v + 4.0 * state.bus_ohm * net_w <= 0.0:
        return 0.0, 0.0
    current = current_a(net_w, inner_v, state.bus_ohm)
    return inner_v + current * state.ohm, current


@compiled
def guard_fridge(van: Record, state: Record, flow: Record, fridge_w: float, running: bool) -> None:
    """The drive's own low-voltage lock, at its terminals, with hysteresis.

    Between battery and drive lie the main cable, which carries the net current, and the fridge's.
    """
    bus_v = flow.bus_volts
    flow.fridge_volts = bus_v
    flow.cutout = 0.0
    if fridge_w <= 0.0 or state.load_on < 0.5:
        return
    if running:
        at_drive_v = bus_v - van.cable_ohm * fridge_w / max(bus_v, LOWEST_V)
        flow.fridge_volts = at_drive_v
        if at_drive_v < van.cutout_v:
            state.fridge_locked = 1.0
    elif state.fridge_locked > 0.5 and bus_v > van.restart_v:
        state.fridge_locked = 0.0
    flow.cutout = state.fridge_locked


@compiled
def charge_battery(
    van: Record, clock: Record, pace: Record, state: Record, flow: Record, sun_w: float,
    loads_w: float, spare_w: float,
) -> None:  # fmt: skip
    """Balance the bus, take what is offered (sun first), and advance the cells."""
    served_w = serve_loads(van, state, flow, loads_w, pace.h)
    alternator_w = van.alternator_a * state.volts * clock.driving_share
    shore_w = van.shore_a * state.volts * clock.shore
    pad_w = 0.0
    cold = state.cell_c < van.charge_min_c + PAD_HEATER_MARGIN_K
    if cold and sun_w + alternator_w + shore_w > van.pad_heater_w + served_w:
        pad_w = van.pad_heater_w
    drawn_w = served_w + pad_w
    flow.load_w = drawn_w - flow.cable_loss_w
    room_w = drawn_w + spare_w
    flow.solar_w = min(sun_w, room_w)
    flow.curtailed_w = sun_w - flow.solar_w
    flow.alternator_w = min(alternator_w, room_w - flow.solar_w)
    flow.shore_w = min(shore_w, room_w - flow.solar_w - flow.alternator_w)
    net_w = flow.solar_w + flow.alternator_w + flow.shore_w - drawn_w
    move_charge(van, pace, state, flow, net_w, spare_w, pad_w)


@compiled
def serve_loads(van: Record, state: Record, flow: Record, loads_w: float, h: float) -> float:
    """Watts that leave the fuse box; what a disconnected battery leaves out is unserved."""
    idle_w = van.controller_idle_w
    if state.soc < NEARLY_EMPTY_SOC or state.emf_v - state.cold_v < HARD_CUT_V:
        stored_wh = van.capacity_ah * stored_v(int(van.lead), state.soc)
        if state.emf_v - state.cold_v < HARD_CUT_V or 2.0 * idle_w * h > stored_wh:
            idle_w = 0.0
    if state.load_on > 0.5:
        flow.blackout = 0.0
        flow.cable_loss_w += state.fridge_cable_w
        return idle_w + loads_w + flow.fridge_w + state.fridge_cable_w
    flow.blackout = 1.0
    flow.cable_loss_w = 0.0
    flow.unserved_w += loads_w
    flow.heater_electric_w = 0.0
    state.heater_w = 0.0
    return idle_w


@compiled
def move_charge(
    van: Record, pace: Record, state: Record, flow: Record, net_w: float, spare_w: float,
    pad_w: float,
) -> None:  # fmt: skip
    """Charge or discharge at ``net_w``, then self-discharge and the cells' own temperature.

    Seen from the fuse box the main cable is one more resistance of the battery.
    """
    chemistry = int(van.lead)
    cold_v = state.cold_v if net_w < 0.0 else 0.0
    fridge_w = flow.fridge_w + state.fridge_cable_w
    rest_w = net_w + fridge_w
    turns = van.lead > 0.5 and 0.0 < flow.running_share < 1.0 and rest_w <= spare_w
    if turns and can_give(state, fridge_w / flow.running_share - rest_w):
        soc, current, squared_a2, heat_w = advance_in_turns(
            van, state, flow.running_share, fridge_w, rest_w, pace.h
        )
    else:
        soc, current, heat_w = advance_on_line(
            net_w, state.soc, state.emf_v, state.slope_v, pace.h, chemistry, van.capacity_ah,
            state.bus_ohm, cold_v, van.peukert_from_a, van.peukert_exponent,
        )  # fmt: skip
        squared_a2 = current * current
    main_w = van.main_ohm * squared_a2
    heat_w -= main_w
    flow.cable_loss_w += main_w
    state.soc = max(soc - van.drain_per_h * pace.h, 0.0)
    state.emf_v, state.slope_v = ocv_line(chemistry, state.soc)
    moved_v = state.emf_v + state.slope_v * (soc - state.soc)
    flow.volts = moved_v + current * state.ohm - cold_v
    state.volts = flow.volts + current * van.main_ohm
    lost_v = 0.5 * (moved_v + state.emf_v) * (soc - state.soc)
    state.cell_heat_w = heat_w + pad_w
    flow.battery_loss_w = heat_w + van.capacity_ah * lost_v * pace.per_h
    flow.battery_a = current
    flow.soc = state.soc


@compiled
def can_give(state: Record, power_w: float) -> bool:
    """Whether battery and main cable could give ``power_w`` with a margin, at most E^2 / 4R.

    A compressor that starts at the end of a step has not been looked at by :func:`protect`; its
    peak then counts by its mean until the next step.
    """
    inner_v = state.emf_v - state.cold_v
    return 4.0 * state.bus_ohm * power_w < MOST_OF_GREATEST * inner_v * inner_v


@compiled
def advance_in_turns(
    van: Record, state: Record, on: float, fridge_w: float, rest_w: float, h: float
) -> tuple[float, float, float, float]:
    """The cells with the compressor on, then off: lead pays for peaks, not for the mean.

    ``rest_w`` is the net power without the compressor, which takes ``fridge_w`` in the mean.
    Returns the state of charge at the end, mean current (A), its mean square and mean loss (W).
    """
    chemistry = int(van.lead)
    running_w = rest_w - fridge_w / on
    soc, on_a, on_heat_w = advance(
        running_w, state.soc, on * h, chemistry, van.capacity_ah, state.bus_ohm,
        state.cold_v if running_w < 0.0 else 0.0, van.peukert_from_a, van.peukert_exponent,
    )  # fmt: skip
    soc, off_a, off_heat_w = advance(
        rest_w, soc, (1.0 - on) * h, chemistry, van.capacity_ah, state.bus_ohm,
        state.cold_v if rest_w < 0.0 else 0.0, van.peukert_from_a, van.peukert_exponent,
    )  # fmt: skip
    off = 1.0 - on
    squared_a2 = on * on_a * on_a + off * off_a * off_a
    return soc, on * on_a + off * off_a, squared_a2, on * on_heat_w + off * off_heat_w
