"""The horizon of a stop: how high the land stands all round, as given or as an archive knows it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.plan.route import Stop
from offgrid_sim.weather.table import Place


@dataclass(frozen=True)
class Horizon:
    """A skyline: elevations in degrees at azimuths in degrees, clockwise from north.

    Azimuths rise from 0 to below 360; between them the skyline is a straight line in these two
    angles, over north as well. ``origin`` says in words who gave it.
    """

    azimuth_deg: np.ndarray
    elevation_deg: np.ndarray
    origin: str


def evenly_spaced(elevation_deg: tuple[float, ...], origin: str) -> Horizon:
    """The skyline of elevations at equal steps of azimuth, the first due north."""
    count = len(elevation_deg)
    return Horizon(np.arange(count) * 360.0 / count, np.array(elevation_deg, float), origin)


def horizon_of(stop: Stop) -> Horizon | None:
    """The horizon that a stop asks for, from the cache and never the network; None if flat.

    Raises WeatherUnavailable when the archive's was not fetched yet.
    """
    if stop.horizon == "flat":
        return None
    if stop.horizon == "archive":
        from offgrid_sim.weather.archive.horizon import stored_horizon  # requests: only if wanted

        return stored_horizon(Place(stop.place, stop.latitude_deg, stop.longitude_deg))
    return evenly_spaced(stop.horizon, f"{len(stop.horizon)} elevations of the plan")
