"""Hours in which no load can be cut off or come back, so that long steps tell the same as short.

What needs a short step is the moment at which a voltage is crossed: a blackout, the fridge's
cut-out, the reconnection. The compressor's own switching is exact within any step. How much the
long steps change is in docs/engine-step.md; the margins are model choices that its tables justify.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from offgrid_sim.compiled import compiled
from offgrid_sim.physics.battery import cold_overpotential_v, discharged_lead_factor, ocv_v

LEAST_SOC, EMPTY_SOC = 0.12, 0.01
"""Below the first lithium's voltage falls fast; below the second self-discharge meets the floor."""

LEAST_V = 11.0
"""Voltage of the fuse box at which currents are taken, so that they come out on the high side."""

MARGIN_V = 0.1
"""Kept from every voltage at which something switches."""

Record = Any


@compiled
def is_calm(
    van: Record, clock: Record, ask: np.ndarray, first: int, steps: int, state: Record
) -> bool:
    """Whether nothing can switch in the hour of rows ``first`` to ``first + steps`` of ``ask``.

    Lead that serves loads never is: its voltage leans on every peak, not on the mean.
    """
    if state.load_on < 0.5:
        return stays_off(van, clock, state)
    if van.lead > 0.5 or state.fridge_locked > 0.5:
        return False
    return stays_on(van, most_asked_w(ask, first, steps), state)


@compiled
def most_asked_w(ask: np.ndarray, first: int, steps: int) -> float:
    """Largest power asked for in any step of the hour, without fridge and heater."""
    most_w = 0.0
    for k in range(first, first + steps):
        row = ask[k]
        most_w = max(most_w, row.vital_w + row.normal_w + row.comfort_w)
    return most_w


@compiled
def stays_on(van: Record, asked_w: float, state: Record) -> bool:
    """Whether an hour of all loads at once, without any charge, keeps clear of both cut-outs."""
    fridge_w = van.has_fridge * (van.compressor_w + van.fan_w + van.fridge_cable_w)
    fridge_a = fridge_w * (1.0 / LEAST_V)
    heater_w = van.heater_electric_share * van.heater_w
    heater_w += heater_w * heater_w * van.heater_cable_per_w
    others_w = asked_w + van.controller_idle_w + heater_w
    drawn_a = fridge_a + others_w * (1.0 / LEAST_V)
    soc = state.soc - drawn_a / van.capacity_ah
    if soc < LEAST_SOC:
        return False
    chemistry = int(van.lead)
    emf_v = ocv_v(chemistry, soc)
    cold_v = cold_overpotential_v(chemistry, soc, emf_v, state.per_cold_share)
    ohm = state.cell_ohm_25c * discharged_lead_factor(chemistry, soc)
    volts = emf_v - cold_v - ohm * drawn_a
    bus_v = volts - van.main_ohm * drawn_a
    at_drive_v = bus_v - van.cable_ohm * fridge_a
    holds = volts > van.disconnect_v + MARGIN_V and at_drive_v > van.cutout_v + MARGIN_V
    return holds and bus_v > LEAST_V


@compiled
def stays_off(van: Record, clock: Record, state: Record) -> bool:
    """Whether nothing charges, and the rested battery is too low to reconnect by itself."""
    charge = state.panel_w + state.panel_low_a + state.panel_high_a + clock.driving_share
    rests = charge + clock.shore == 0.0 and state.soc > EMPTY_SOC
    return rests and state.emf_v < van.reconnect_v - MARGIN_V
