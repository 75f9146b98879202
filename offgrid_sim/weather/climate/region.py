"""How much too bright the reanalysis is, by region, and the blend between regions.

Raw MERRA-2 radiation is too bright almost everywhere on land. The factors below were measured
against about 120 station and satellite files with whole regions left out in turn; they hold for
a region, never for one site. North of 55° outside Europe there were few sites: ±20 %.
"""

from __future__ import annotations

import numpy as np

from offgrid_sim.weather.climate.sun import Floats

EUROPE_NORTH, EUROPE_NORTH_WINTER = 0.83, 0.80
EUROPE_SOUTH = 0.89
NORTH_AMERICA = 0.94
TROPICS = 0.96
MID_LATITUDES = 0.88
HIGH_LATITUDES = 1.0

WINTER_MONTHS = (0, 1, 11)
BLEND_DEG = 3.0
"""Half-width of the blend between neighbouring regions, in degrees (no source: ours)."""

EUROPE_BLEND_DEG = 1.5
EUROPE_SPLIT_DEG = 46.0 - EUROPE_BLEND_DEG
"""The northern factor was measured from 46° N on, so its blend lies wholly south of that."""


def bright_bias_factor(latitude_deg: float, longitude_deg: float) -> Floats:
    """Factors, shape (12,), that bring the reanalysis' monthly clearness to what was measured."""
    europe = _within(longitude_deg, -14.0, 45.0) * _above(latitude_deg, 35.0)
    america = _within(longitude_deg, -170.0, -50.0) * _within(latitude_deg, 25.0, 52.5)
    tropics = 1.0 - _above(abs(latitude_deg), 23.5)
    high = _above(abs(latitude_deg), 55.0)
    elsewhere = _mix(_mix(MID_LATITUDES, TROPICS, tropics), HIGH_LATITUDES, high)
    world = _mix(elsewhere, NORTH_AMERICA, america)
    north = np.full(12, EUROPE_NORTH)
    north[list(WINTER_MONTHS)] = EUROPE_NORTH_WINTER
    european = EUROPE_SOUTH + (north - EUROPE_SOUTH) * _above(
        latitude_deg, EUROPE_SPLIT_DEG, EUROPE_BLEND_DEG
    )
    return np.asarray(world + (european - world) * europe, dtype=np.float64)


def _mix(first: float, second: float, share: float) -> float:
    return first + (second - first) * share


def _above(value: float, edge: float, half_width: float = BLEND_DEG) -> float:
    """0 well below ``edge``, 1 well above, a smooth step over the blend width between."""
    x = float(np.clip((value - edge + half_width) / (2.0 * half_width), 0.0, 1.0))
    return x * x * (3.0 - 2.0 * x)


def _within(value: float, low: float, high: float) -> float:
    return _above(value, low) * (1.0 - _above(value, high))
