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
def around_c(cabin_share: float, cabin_c: float, outside_c: float) -> float:
    """Temperature around a thing: cabin, outside, or under the floor with some of the cabin."""
    return cabin_share * cabin_c + (1.0 - cabin_share) * outside_c


@compiled
def roof_excess_k(irradiance_w_m2: float, absorptance: float) -> float:
    """Sol-air temperature of the roof minus the outside air, K."""
    return absorptance * irradiance_w_m2 / OUTER_FILM_W_M2_K - SKY_COOLING_K


@compiled
def vented_w_k(cabin_c: float, closed_w_k: float, vent_w_k: float, vent_above_c: float) -> float:
    """Ventilation, W/K: people open the vent over the first 4 K above their limit."""
    opened = min(max((cabin_c - vent_above_c) / 4.0, 0.0), 1.0)
    return closed_w_k + (vent_w_k - closed_w_k) * opened


@compiled
def kept_share(ua_w_k: float, capacity_wh_k: float, h: float) -> float:
    """Share of a temperature difference left after ``h`` hours, exp(-h UA / C)."""
    return exp(-h * ua_w_k / capacity_wh_k)


@compiled
def settle_c(temp_c: float, final_c: float, kept: float) -> float:
    """Temperature on the way to ``final_c`` when ``kept`` of the difference is left (exact)."""
    return final_c + (temp_c - final_c) * kept


@compiled
def heat_to_hold_w(
    set_c: float, temp_c: float, outside_c: float, gains_w: float, ua_w_k: float, kept: float
) -> float:
    """Heat that brings the cabin to ``set_c`` at the end of the step, W, never negative."""
    free_c = settle_c(temp_c, outside_c + gains_w / ua_w_k, kept)
    if free_c >= set_c:
        return 0.0
    return (set_c - free_c) * ua_w_k / (1.0 - kept)
