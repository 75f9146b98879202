"""The embedded climate pack: monthly means at a point, from two grids of different sources.

Clearness index on a 3° land grid (NASA MERRA-2), 2 m temperature on a 0.75° grid (ITU-R P.1510-1
from ECMWF ERA-Interim). Provenance and licences: offgrid_sim/data/climate/SOURCES.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import TypeVar

import h5py  # type: ignore[import-untyped]
import numpy as np
import pvlib

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.climate.region import bright_bias_factor
from offgrid_sim.weather.climate.sun import Floats
from offgrid_sim.weather.table import Place

Degrees = TypeVar("Degrees", float, Floats)

EARTH_RADIUS_KM = 6371.0
FARTHEST_CELL_KM = 350.0
LAPSE_K_PER_M = 0.0065
"""Mean lapse of the lower atmosphere (ISO 2533 standard atmosphere)."""

CELL_DEG = 3.0
REACH_KM = 200.0
REACH_WEIGHT = 0.02
"""Each cell also weighs a little by distance, so that a point off the grid's edge still has
neighbours and nothing jumps on the way there (no source: ours)."""

MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


@dataclass(frozen=True)
class ClimatePack:
    """The pack's arrays, decoded. ``kt`` is (cells, 12) with NaN where there is no value;
    ``sea_level_temp_c`` is (12, rows, columns), reduced to 0 m with the standard lapse."""

    cell_latitude_deg: Floats
    cell_longitude_deg: Floats
    kt: Floats
    grid_latitude_deg: Floats
    grid_longitude_deg: Floats
    sea_level_temp_c: np.ndarray
    curve_mean: Floats
    curves: Floats
    """Daily clear-sky index, (24 monthly means, 32 equal-probability quantiles)."""


@dataclass(frozen=True)
class MonthlyClimate:
    """Monthly means at one point, each of shape (12,), and what was assumed on the way."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    clearness_index: Floats
    temp_air_c: Floats
    nearest_cell_km: float
    notes: tuple[str, ...]


@lru_cache(maxsize=1)
def load_pack() -> ClimatePack:
    """The pack, read once per process."""
    folder = Path(str(resources.files("offgrid_sim"))) / "data" / "climate"
    with np.load(folder / "monthly_means.npz", allow_pickle=False) as stored:
        arrays = {name: stored[name] for name in stored.files}
    kt_e4 = arrays["kt_e4"].astype(np.float64)
    temp_c = np.cumsum(arrays["temp_row_delta_dk"], axis=2, dtype=np.int16) * np.float32(0.1)
    grid_altitude_m = arrays["temp_altitude_step"] * np.float32(28.0) - np.float32(450.0)
    curves = np.loadtxt(
        folder / "clear_sky_index_quantiles.csv", delimiter=",", skiprows=1, encoding="utf-8"
    )
    return ClimatePack(
        cell_latitude_deg=arrays["kt_latitude_deg"].astype(np.float64),
        cell_longitude_deg=arrays["kt_longitude_deg"].astype(np.float64),
        kt=np.where(kt_e4 < 0, np.nan, kt_e4 * 1e-4),
        grid_latitude_deg=arrays["temp_latitude_deg"].astype(np.float64),
        grid_longitude_deg=arrays["temp_longitude_deg"].astype(np.float64),
        sea_level_temp_c=temp_c + np.float32(LAPSE_K_PER_M) * grid_altitude_m,
        curve_mean=curves[:, 0],
        curves=curves[:, 1:],
    )


def monthly_climate(place: Place) -> MonthlyClimate:
    """Monthly clearness index (bias-corrected) and air temperature (at its altitude) of a place.

    Raises WeatherUnavailable when no cell lies within 350 km.
    """
    pack = load_pack()
    latitude, longitude = place.latitude_deg, wrap_deg(place.longitude_deg)
    distance_km = great_circle_km(
        latitude, longitude, pack.cell_latitude_deg, pack.cell_longitude_deg
    )
    nearest_km = float(distance_km.min())
    if nearest_km > FARTHEST_CELL_KM:
        raise WeatherUnavailable(
            f"{place.name} ({latitude:.2f}, {longitude:.2f}): the embedded climate has no land "
            f"cell within {FARTHEST_CELL_KM:.0f} km (the nearest is {nearest_km:,.0f} km away). "
            "Give this stop its own weather file, or fetch past years for it while online."
        )
    clearness, dark = _clearness(pack, latitude, longitude, distance_km)
    altitude_m, notes = _altitude(place, latitude, longitude)
    return MonthlyClimate(
        latitude_deg=latitude,
        longitude_deg=longitude,
        altitude_m=altitude_m,
        clearness_index=clearness * bright_bias_factor(latitude, longitude),
        temp_air_c=_sea_level_temp_c(pack, latitude, longitude) - LAPSE_K_PER_M * altitude_m,
        nearest_cell_km=nearest_km,
        notes=notes + _dark_note(dark),
    )


def _clearness(
    pack: ClimatePack, latitude_deg: float, longitude_deg: float, distance_km: Floats
) -> tuple[Floats, tuple[int, ...]]:
    """Interpolated clearness (12,), and the months that had to be filled from their neighbours.

    Bilinear between the four cells around, plus a small weight by distance; cells without a
    value drop out of the mean.
    """
    east = np.abs(wrap_deg(pack.cell_longitude_deg - longitude_deg))
    north = np.abs(pack.cell_latitude_deg - latitude_deg)
    hat = np.maximum(1.0 - east / CELL_DEG, 0.0) * np.maximum(1.0 - north / CELL_DEG, 0.0)
    weight = hat + REACH_WEIGHT * np.exp(-0.5 * (distance_km / REACH_KM) ** 2)
    weight = np.where(distance_km <= 2.0 * FARTHEST_CELL_KM, weight, 0.0)[:, None]
    known = np.isfinite(pack.kt) & (distance_km <= 2.0 * FARTHEST_CELL_KM)[:, None]
    total = (weight * known).sum(axis=0)
    share_known = total / weight.sum()
    mean = (weight * np.nan_to_num(pack.kt)).sum(axis=0) / np.maximum(total, 1e-12)
    dark = tuple(int(m) for m in np.flatnonzero(share_known < 0.05))
    return fill_from_neighbours(mean, dark), dark


def fill_from_neighbours(monthly: Floats, missing: tuple[int, ...]) -> Floats:
    """Missing months linearly between the nearest known months around the year."""
    if not missing:
        return monthly
    known = np.setdiff1d(np.arange(12), missing)
    return np.asarray(np.interp(np.arange(12), known, monthly[known], period=12))


def _dark_note(dark: tuple[int, ...]) -> tuple[str, ...]:
    if not dark:
        return ()
    names = " and ".join(MONTH_NAMES[m] for m in dark)
    return (
        f"No radiation data for {names} so far north, where the sun barely rises: clearness was "
        "taken from the months around. If those weeks matter, give the stop its own weather file.",
    )


def _altitude(
    place: Place, latitude_deg: float, longitude_deg: float
) -> tuple[float, tuple[str, ...]]:
    """The place's altitude, from the user or from pvlib's table, and a note in the latter case."""
    if place.altitude_m is not None:
        return float(place.altitude_m), ()
    altitude_m = table_altitude_m(latitude_deg, longitude_deg)
    return altitude_m, (
        f"Altitude {altitude_m:.0f} m comes from a coarse table that misplaces valleys by "
        "hundreds of metres (6.5 K per km): give altitude_m if you know it.",
    )


def table_altitude_m(latitude_deg: float, longitude_deg: float) -> float:
    """Altitude from pvlib's 1/12° table, bilinear so that a drive climbs without steps.

    255 is no-data and stands for the sea: 0 m. Steps of 28 m from -450 m.
    """
    row = np.clip((90.0 - latitude_deg) * 12.0 - 0.5, 0.0, 2158.999)
    column = (longitude_deg + 180.0) * 12.0 - 0.5
    top, left = int(row), int(np.floor(column))
    with h5py.File(Path(pvlib.__file__).parent / "data" / "Altitude.h5", "r") as table:
        steps = [table["Altitude"][top : top + 2, (left + k) % 4320] for k in (0, 1)]
    step = np.stack(steps, axis=1).astype(np.float64)
    altitude_m = np.where(step == 255, 0.0, step * 28.0 - 450.0)
    down, right = row - top, column - left
    return float(np.array([1.0 - down, down]) @ altitude_m @ np.array([1.0 - right, right]))


def _sea_level_temp_c(pack: ClimatePack, latitude_deg: float, longitude_deg: float) -> Floats:
    """Monthly mean temperature reduced to 0 m, bilinear on the 0.75° grid, shape (12,)."""
    step = pack.grid_latitude_deg[1] - pack.grid_latitude_deg[0]
    rows, columns = pack.sea_level_temp_c.shape[1:]
    row = np.clip((latitude_deg - pack.grid_latitude_deg[0]) / step, 0.0, rows - 1.001)
    column = np.clip((longitude_deg - pack.grid_longitude_deg[0]) / step, 0.0, columns - 1.001)
    top, left = int(row), int(column)
    box = pack.sea_level_temp_c[:, top : top + 2, left : left + 2].astype(np.float64)
    down, right = row - top, column - left
    return np.asarray(np.array([1.0 - down, down]) @ box @ np.array([1.0 - right, right]))


def wrap_deg(longitude_deg: Degrees) -> Degrees:
    """Longitude in [-180, 180)."""
    return (longitude_deg + 180.0) % 360.0 - 180.0


def great_circle_km(
    latitude_deg: float, longitude_deg: float, to_latitude_deg: Floats, to_longitude_deg: Floats
) -> Floats:
    """Great-circle distance in km by the haversine formula on a sphere of 6371 km."""
    lat1, lat2 = np.radians(latitude_deg), np.radians(to_latitude_deg)
    half_east = np.radians(to_longitude_deg - longitude_deg) / 2.0
    h = np.sin((lat2 - lat1) / 2.0) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin(half_east) ** 2
    return np.asarray(2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0))))
