"""The cabin as one node: exact update for constant inputs, sun on the body, heater.

C dT/dt = UA (To - T) + gains. Lumped: no stratification, no moisture. Never leave people or pets
in a closed van in the sun; the prediction is no safety margin.
"""

from __future__ import annotations

from math import exp

from offgrid_sim.compiled import compiled

AIR_WH_M3_K = 0.335
"""Heat of ventilation air per m3 and kelvin (from memory; 1.2 kg/m3 x 1.006 kJ/kgK / 3.6)."""

OUTER_FILM_W_M2_K = 17.0
"""Combined outer film in the sol-air temperature (ASHRAE Fundamentals, from memory)."""

SKY_COOLING_K = 3.3
"""Long-wave term of a horizontal roof, 0.9 x 63 / 17 K (ASHRAE Fundamentals, from memory)."""

PERSON_W = 70.0
"""Sensible heat of a seated person (ISO 7730 style, from memory)."""


@compiled
def roof_excess_k(irradiance_w_m2: float, absorptance: float) -> float:
    """Sol-air temperature of the roof minus the outside air, K."""
    return absorptance * irradiance_w_m2 / OUTER_FILM_W_M2_K - SKY_COOLING_K


@compiled
def air_changes_h(
    cabin_c: float, closed: float, vent: float, vent_above_c: float, vent_usable: float
) -> float:
    """Air changes per hour: people open the vent over the first 4 K above their limit."""
    opened = min(max((cabin_c - vent_above_c) / 4.0, 0.0), 1.0) * vent_usable
    return closed + (vent - closed) * opened


@compiled
def settle_c(temp_c: float, final_c: float, ua_w_k: float, capacity_wh_k: float, h: float) -> float:
    """Temperature after ``h`` hours on the way to ``final_c``: T + (To - T) exp(-t UA / C)."""
    return final_c + (temp_c - final_c) * exp(-h * ua_w_k / capacity_wh_k)


@compiled
def heat_to_hold_w(
    set_c: float, temp_c: float, outside_c: float, gains_w: float, ua_w_k: float,
    capacity_wh_k: float, h: float,
) -> float:  # fmt: skip
    """Heat that brings the cabin to ``set_c`` at the end of the step, W, never negative."""
    free_c = settle_c(temp_c, outside_c + gains_w / ua_w_k, ua_w_k, capacity_wh_k, h)
    if free_c >= set_c:
        return 0.0
    return (set_c - free_c) * ua_w_k / (1.0 - exp(-h * ua_w_k / capacity_wh_k))
