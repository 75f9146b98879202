"""Charge sources at the battery bus: solar controller, alternator charger, mains charger."""

from __future__ import annotations

from offgrid_sim.compiled import compiled

MPPT, PWM = 0, 1


@compiled
def mppt_w(panel_w: float, efficiency: float, current_limit_a: float, battery_v: float) -> float:
    """Power that a tracking controller can put on the bus, W."""
    return min(panel_w * efficiency, current_limit_a * battery_v)


@compiled
def pwm_w(
    low_a: float, high_a: float, low_v: float, high_v: float, efficiency: float,
    current_limit_a: float, battery_v: float,
) -> float:  # fmt: skip
    """Power of a switched panel: its current at the battery's voltage times that voltage, W.

    ``low_a`` and ``high_a`` are single-diode currents at two panel voltages around the
    battery's; in between the current is nearly straight.
    """
    slope = (high_a - low_a) / (high_v - low_v)
    panel_a = max(low_a + slope * (battery_v - low_v), 0.0)
    return min(panel_a, current_limit_a) * battery_v * efficiency
