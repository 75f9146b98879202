"""What the cables of a van's circuits cost: resistances, and losses fixed by what a consumer takes.

Consumers take constant power. Their losses are reckoned once, at NOMINAL_V at the fuse box; only
the drop on the way to the fridge follows the voltage of each step.
"""

from __future__ import annotations

from offgrid_sim.physics.copper import cable_ohm
from offgrid_sim.physics.wiring import NOMINAL_V, cable_loss_w
from offgrid_sim.plan.cable import Wired

NO_CABLE_SIEMENS = 1e9
"""Conductance that stands for a charger without a cable."""


def circuit_ohm(wired: Wired) -> float:
    """Resistance of both conductors of a circuit, ohm."""
    return cable_ohm(wired.cable_mm2, wired.cable_length_m, wired.cable_temp_c)


def circuit_loss_w(power_w: float, ohm: float) -> float:
    """Power lost on the way to a consumer of ``power_w``, W."""
    return cable_loss_w(NOMINAL_V, power_w, ohm)


def loss_per_w(ohm: float, volts: float = NOMINAL_V) -> float:
    """Share lost per watt carried, 1/W: R / V^2."""
    return ohm / (volts * volts)


def charger_siemens(wired: Wired, current_a: float) -> float:
    """Conductance from a charger to the fuse box, S; 0 for a charger that is not there."""
    if current_a <= 0.0:
        return 0.0
    ohm = circuit_ohm(wired)
    return 1.0 / ohm if ohm > 0.0 else NO_CABLE_SIEMENS
