"""One calendar year at one place of one archive: what is asked for, stored and listed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.weather.span import EDGE_H, nominal_hours
from offgrid_sim.weather.table import Place

COORDINATE_DECIMALS = 2
"""About 1 km; the archives' own grids are 5 km (satellite) to 100 km, so neighbours share."""
_PLACE = r"([a-z0-9-]+)_([+-]\d+\.\d+)_([+-]\d+\.\d+)"
_KEY, _HORIZON_KEY = re.compile(_PLACE + r"_(\d{4})"), re.compile(_PLACE)


@dataclass(frozen=True, order=True)
class PlaceYear:
    """``archive`` names service and version; coordinates are rounded, so that keys are few.

    The key holds no host name: a mirror's answer stands for the archive's own.
    """

    archive: str
    latitude_deg: float
    longitude_deg: float
    year: int

    @classmethod
    def at(cls, archive: str, place: Place, year: int) -> PlaceYear:
        """The year at the rounded coordinates of ``place``."""
        lat, lon = (rounded(deg) for deg in (place.latitude_deg, place.longitude_deg))
        return cls(archive, lat, lon, year)

    @property
    def key(self) -> str:
        """Name in the cache: readable, and the same for every way of writing the numbers."""
        return f"{self.archive}_{_corner(self)}_{self.year}"

    @property
    def where(self) -> str:
        """Coordinates as a person reads them."""
        return f"{self.latitude_deg:.2f}, {self.longitude_deg:.2f}"

    @property
    def what(self) -> str:
        """Which thing at that place."""
        return str(self.year)


@dataclass(frozen=True, order=True)
class PlaceHorizon:
    """The skyline of one place in one archive; coordinates are rounded as for years."""

    archive: str
    latitude_deg: float
    longitude_deg: float

    @classmethod
    def at(cls, archive: str, place: Place) -> PlaceHorizon:
        """The skyline at the rounded coordinates of ``place``."""
        return cls(archive, rounded(place.latitude_deg), rounded(place.longitude_deg))

    @property
    def key(self) -> str:
        """Name in the cache, without a year."""
        return f"{self.archive}_{_corner(self)}"

    @property
    def where(self) -> str:
        """Coordinates as a person reads them."""
        return f"{self.latitude_deg:.2f}, {self.longitude_deg:.2f}"

    @property
    def what(self) -> str:
        """Which thing at that place."""
        return "horizon"


def _corner(asked: PlaceYear | PlaceHorizon) -> str:
    """Coordinates in a key: of equal length, so that keys sort by place."""
    return f"{asked.latitude_deg:+06.2f}_{asked.longitude_deg:+07.2f}"


def rounded(degrees: float) -> float:
    """Coordinate to fixed decimals, without a negative zero."""
    return round(degrees, COORDINATE_DECIMALS) + 0.0


def from_key(key: str) -> PlaceYear | None:
    """The place and year of a key; None if it is not one of ours."""
    found = _KEY.fullmatch(key)
    if found is None:
        return None
    archive, lat, lon, year = found.groups()
    return PlaceYear(archive, float(lat), float(lon), int(year))


def horizon_from_key(key: str) -> PlaceHorizon | None:
    """The place of a skyline's key; None if it is not one of ours."""
    found = _HORIZON_KEY.fullmatch(key)
    return PlaceHorizon(found[1], float(found[2]), float(found[3])) if found else None


def year_offsets(times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
    """Calendar years that a span needs, counted from its label: (0,) or (0, 1) over new year.

    A year of which the span has only a local clock's edge (up to 14 h) is not needed.
    """
    steps, counts = np.unique(nominal_hours(times_utc).year_step, return_counts=True)
    return tuple(int(s) for s, n in zip(steps, counts, strict=True) if s == 0 or n > EDGE_H)


def labels_covered(held: Iterable[int], offsets: Sequence[int]) -> tuple[int, ...]:
    """Year labels for which every calendar year the span needs is in ``held``."""
    years = set(held)
    return tuple(y for y in sorted(years) if all(y + offset in years for offset in offsets))
