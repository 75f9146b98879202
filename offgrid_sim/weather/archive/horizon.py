"""The skyline that PVGIS knows of a place: tool ``printhorizon``, from its own terrain model.

Answer (pvlib, ``get_pvgis_horizon``): ``outputs.horizon_profile``, rows of ``A``, azimuth in
degrees with south 0, west positive, north given twice (-180 and 180), and ``H_hor``, elevation in
degrees. The hourly years are asked for without horizon, so nothing is hidden twice.
"""

from __future__ import annotations

import json

import numpy as np

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.archive.asked import PlaceHorizon
from offgrid_sim.weather.archive.pvgis import API, PVGIS
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import ArchiveFaultError, Question
from offgrid_sim.weather.horizon import Horizon
from offgrid_sim.weather.table import Place

ARCHIVE = f"{PVGIS.archive}-horizon"
ORIGIN = "PVGIS horizon profile, (c) European Union"
WIDEST_STEP_DEG = 30.0
"""PVGIS gives a point every 7.5°; a profile with wider holes is not one."""


def asked_at(place: Place) -> PlaceHorizon:
    """The skyline at the rounded coordinates of ``place``."""
    return PlaceHorizon.at(ARCHIVE, place)


def question(asked: PlaceHorizon, base_url: str | None = None) -> Question:
    """The request for one skyline."""
    return Question(
        key=asked.key,
        called=f"the PVGIS horizon at {asked.where}",
        url=PVGIS.url(base_url, f"/api/{API}/printhorizon"),
        params={
            "lat": f"{asked.latitude_deg:.2f}",
            "lon": f"{asked.longitude_deg:.2f}",
            "outputformat": "json",
        },
        usable=_usable,
        refusal=PVGIS.refusal,
    )


def read_horizon(text: str) -> Horizon:
    """The skyline of an answer, north first and clockwise. ValueError if it is not one."""
    try:
        rows = json.loads(text)["outputs"]["horizon_profile"]
        from_south = np.array([float(row["A"]) for row in rows])
        heights = np.array([float(row["H_hor"]) for row in rows])
    except (KeyError, TypeError):
        raise ValueError("it has no horizon_profile") from None
    azimuth, first = np.unique((from_south + 180.0) % 360.0, return_index=True)
    elevation = heights[first]
    gaps = np.diff(np.append(azimuth, azimuth[:1] + 360.0))
    if not len(azimuth) or not (gaps <= WIDEST_STEP_DEG).all():
        raise ValueError("its horizon_profile does not go all round")
    if not ((elevation >= 0) & (elevation <= 90)).all():
        raise ValueError("its elevations are not between 0 and 90 degrees")
    return Horizon(azimuth, elevation, ORIGIN)


def stored_horizon(place: Place, cache: ArchiveCache | None = None) -> Horizon:
    """The fetched skyline of a place; WeatherUnavailable if it is not in the cache."""
    cache = ArchiveCache() if cache is None else cache
    asked = asked_at(place)
    text = cache.text(asked.key)
    at = f"{place.name} ({asked.where})"
    step = (
        'run offgrid-sim weather fetch TRIP once while online, or write horizon = "flat" or a list '
        "of elevations for that stop."
    )
    if text is None:
        damaged = asked.key in cache.files.set_aside
        why = "was damaged in the cache and was set aside" if damaged else "was not fetched yet"
        raise WeatherUnavailable(f"{at}: its horizon {why}; {step}")
    try:
        return read_horizon(text)
    except ValueError as error:
        raise WeatherUnavailable(
            f"{at}: its stored horizon is not usable ({error}); {step}"
        ) from None


def _usable(text: str) -> None:
    """ValueError if it is not whole JSON, ArchiveFaultError if it is not a skyline."""
    json.loads(text)
    try:
        read_horizon(text)
    except ValueError as error:
        raise ArchiveFaultError("refused", f"the PVGIS horizon is not usable ({error})") from None
