"""What a skyline hides of the sun and of the sky."""

from __future__ import annotations

import numpy as np

from offgrid_sim.weather.horizon import Horizon


def skyline_deg(horizon: Horizon, azimuth_deg: np.ndarray) -> np.ndarray:
    """Elevation of the skyline at each azimuth, degrees; straight lines between its points."""
    return np.interp(azimuth_deg, horizon.azimuth_deg, horizon.elevation_deg, period=360.0)


def sun_above(
    horizon: Horizon, sun_azimuth_deg: np.ndarray, sun_elevation_deg: np.ndarray
) -> np.ndarray:
    """1 where the middle of the sun stands at or above the skyline, 0 where it is hidden.

    The whole hour follows the sun at its middle, so a stop loses or keeps whole hours.
    """
    return (sun_elevation_deg >= skyline_deg(horizon, sun_azimuth_deg)).astype(float)


def open_sky_share(horizon: Horizon) -> float:
    """Share of the diffuse light on a horizontal plane that comes from above the skyline.

    Equally bright sky: the integral of sin(h) cos(h) over the directions above skyline H(A),
    divided by that of the whole sky, is 1 - mean of sin^2 H over all azimuths A, taken at every
    half degree. This is the sky view factor of Dozier & Frew 1990 (IEEE Trans. Geosci. Remote
    Sensing 28:963, eq. 7b, from memory) for a level surface. Weak for steep planes: a window sees
    more of the low sky and loses more.
    """
    every = np.arange(0.0, 360.0, 0.5)
    return 1.0 - float(np.mean(np.sin(np.radians(skyline_deg(horizon, every))) ** 2))
