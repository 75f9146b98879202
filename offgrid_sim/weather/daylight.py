"""Sunlight of a record against the sun: clock and unit checks, and the three components.

Closure, GHI = DHI + DNI cos z, gives the missing one of the three; with GHI alone the diffuse part
follows Erbs et al. 1982 (pvlib.irradiance.erbs). Below 3° of sun the beam is set to zero and
counted as diffuse: (GHI - DHI)/cos z explodes there.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd
from pvlib import atmosphere, irradiance, solarposition

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.raw_hours import MID_HOUR_MIN
from offgrid_sim.weather.repair import HourGrid

LOW_SUN_ZENITH_DEG = 87.0
REFUSED_SHIFT_H = 0.75
LIT_W_M2 = 5.0


@dataclass(frozen=True)
class Sun:
    """Cosine of zenith and extraterrestrial normal irradiance [W/m2], shape (H,)."""

    cos_zenith: np.ndarray
    extra_w_m2: np.ndarray

    @property
    def high(self) -> np.ndarray:
        """Where the sun is high enough for a beam to be told apart."""
        return self.cos_zenith > np.cos(np.radians(LOW_SUN_ZENITH_DEG))


def sun_at(
    hour_starts: np.ndarray, minute: float, latitude_deg: float, longitude_deg: float
) -> Sun:
    """The sun ``minute`` minutes into each hour; pvlib's ephemeris, within 0.011° of NREL SPA."""
    moments = hour_starts.astype("datetime64[s]") + np.timedelta64(round(60 * minute), "s")
    times = pd.DatetimeIndex(moments).tz_localize("UTC")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pvlib still uses names that pandas will drop
        sun = solarposition.get_solarposition(
            times, latitude_deg, longitude_deg, method="ephemeris"
        )
        extra = np.asarray(irradiance.get_extra_radiation(times), float)
    return Sun(np.cos(np.radians(sun["zenith"].to_numpy(float))), extra)


def completed(
    grid: HourGrid, latitude_deg: float, longitude_deg: float, altitude_m: float, name: str
) -> tuple[dict[str, np.ndarray], list[str]]:
    """All six columns of ``grid``, mid-hour, NaN only where there is no hour; and what was done.

    Raises WeatherFileError when the sunlight cannot belong to this clock or this unit.
    """
    have = ~np.isnan(grid.values["temp_air_c"])
    have &= ~np.isnan(grid.values.get("ghi_w_m2", grid.values["temp_air_c"]))
    starts = grid.hour_starts()[have]
    part = {column: cells[have] for column, cells in grid.values.items()}
    absent = np.full(len(starts), np.nan)
    ghi, dni, dhi = (part.get(c, absent) for c in ("ghi_w_m2", "dni_w_m2", "dhi_w_m2"))
    minute, notes = centre_minute(
        grid.centre_min, starts, (ghi, dni, dhi), (latitude_deg, longitude_deg), name
    )
    sun = sun_at(starts, minute, latitude_deg, longitude_deg)
    ghi, dni, dhi, said = components(ghi, dni, dhi, sun, altitude_m, starts)
    check_sunlight(ghi, sun, starts, name)
    notes = [*notes, *said]
    if abs(minute - MID_HOUR_MIN) > 1.0:
        mid = sun_at(starts, MID_HOUR_MIN, latitude_deg, longitude_deg)
        ghi, dni, dhi = to_mid_hour(ghi, dhi, sun, mid, starts, minute)
        sun = mid
        notes.append(
            f"Sunlight given {minute:.0f} minutes into each hour was moved to mid-hour by its "
            "clearness."
        )
    out = {column: cells.copy() for column, cells in grid.values.items()}
    for column, cells in zip(("ghi_w_m2", "dni_w_m2", "dhi_w_m2"), (ghi, dni, dhi), strict=True):
        out[column] = np.full(len(have), np.nan)
        out[column][have] = cells
    for column in ("temp_air_c", "wind_speed_m_s", "relative_humidity_pct"):
        out[column] = np.where(have, out[column], np.nan)
    return out, notes


def components(
    ghi: np.ndarray,
    dni: np.ndarray,
    dhi: np.ndarray,
    sun: Sun,
    altitude_m: float,
    starts: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[str]]:
    """GHI, DNI, DHI [W/m2] with every NaN filled and GHI >= DHI >= 0; measured ones are kept."""
    no_ghi, no_dni, no_dhi = np.isnan(ghi), np.isnan(dni), np.isnan(dhi)
    high, cos_z = sun.high, np.maximum(sun.cos_zenith, 1e-6)
    ghi = np.where(no_ghi, np.nan_to_num(dhi) + np.nan_to_num(dni) * np.maximum(cos_z, 0), ghi)
    beam_limit = np.where(high, clean_dry_beam(sun, altitude_m), 0.0)
    split = no_dni & no_dhi
    if split.any():
        doy = pd.DatetimeIndex(starts[split]).day_of_year
        zenith = np.degrees(np.arccos(np.clip(sun.cos_zenith[split], -1, 1)))
        dhi = dhi.copy()
        dhi[split] = irradiance.erbs(ghi[split], zenith, doy)["dhi"]
    from_beam = no_dhi & ~no_dni
    dhi = np.where(from_beam, ghi - dni * cos_z, dhi)
    dhi = np.where(high, np.clip(dhi, 0.0, ghi), ghi)
    closed = np.minimum((ghi - dhi) / cos_z, beam_limit)
    dni = np.where(no_dni, closed, dni)
    dni = np.where(high, np.clip(dni, 0.0, sun.extra_w_m2), 0.0)
    dhi = np.where(high & no_dni, ghi - dni * cos_z, dhi)
    lit = high & (ghi > LIT_W_M2)
    return ghi, dni, np.maximum(dhi, 0.0), _said(lit, no_ghi, no_dni, no_dhi, ghi, dni, dhi, cos_z)


def _said(
    lit: np.ndarray,
    no_ghi: np.ndarray,
    no_dni: np.ndarray,
    no_dhi: np.ndarray,
    ghi: np.ndarray,
    dni: np.ndarray,
    dhi: np.ndarray,
    cos_z: np.ndarray,
) -> list[str]:
    counts = (
        (no_ghi & ~no_dni & ~no_dhi, "global from beam and diffuse by closure"),
        (no_dni & ~no_dhi, "beam from global and diffuse by closure"),
        (no_dhi & ~no_dni, "diffuse from global and beam by closure"),
        (no_dni & no_dhi, "beam and diffuse from global alone, after Erbs et al. 1982"),
    )
    notes = []
    for which, how in counts:
        hours, of = int((which & lit).sum()), int(lit.sum())
        if hours:
            share = "all" if hours == of else f"{hours} of {of}"
            notes.append(f"In {share} daylight hours: {how}.")
    rest = np.abs(ghi - dhi - dni * cos_z)[lit]
    if len(rest) and rest.mean() > 0.1 * ghi[lit].mean():
        notes.append(
            f"The file's components do not add up: global differs from diffuse plus beam by "
            f"{rest.mean():.0f} W/m² on average."
        )
    return notes


def clean_dry_beam(sun: Sun, altitude_m: float) -> np.ndarray:
    """Beam normal irradiance [W/m2] under a clean, dry sky (Linke turbidity 1): an upper limit.

    I = E0 exp(-0.8662 m δR), 1/δR = 6.6296 + 1.7513 m - 0.1202 m² + 0.0065 m³ - 0.00013 m⁴ for
    m <= 20, m the pressure-corrected air mass (Kasten 1996; Rigollier, Bauer & Wald 2000, Solar
    Energy 68:33, from memory). Used only above 3° of sun, where m < 16.
    """
    zenith = np.degrees(np.arccos(np.clip(sun.cos_zenith, -1, 1)))
    relative = atmosphere.get_relative_airmass(np.minimum(zenith, LOW_SUN_ZENITH_DEG))
    m = np.asarray(relative, float) * float(atmosphere.alt2pres(altitude_m)) / 101325.0
    rayleigh = 1.0 / (6.6296 + 1.7513 * m - 0.1202 * m**2 + 0.0065 * m**3 - 0.00013 * m**4)
    return sun.extra_w_m2 * np.exp(-0.8662 * m * rayleigh)


def haurwitz(cos_zenith: np.ndarray) -> np.ndarray:
    """Clear-sky GHI [W/m2] = 1098 cos z exp(-0.057/cos z) (Haurwitz 1945, J. Meteorology 2:154)."""
    cos_z = np.maximum(cos_zenith, 1e-3)
    return 1098.0 * cos_z * np.exp(-0.057 / cos_z)


def to_mid_hour(
    ghi: np.ndarray,
    dhi: np.ndarray,
    sun: Sun,
    mid: Sun,
    starts: np.ndarray,
    minute: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sunlight of a moment in each hour as of mid-hour, keeping clear-sky index and diffuse share.

    Index and share are ratios of sums over the two neighbouring moments, weighted by nearness, so
    the brighter moment counts more and a dark one not at all. Shapes (H,); moments that are not an
    hour apart are not mixed.
    """
    step = 1 if minute < MID_HOUR_MIN else -1
    near = np.roll(starts, -step) == starts + np.timedelta64(step, "h")
    weight = np.where(near, abs(MID_HOUR_MIN - minute) / 60.0, 0.0)

    def blend(cells: np.ndarray) -> np.ndarray:
        return (1.0 - weight) * cells + weight * np.roll(cells, -step)

    sky, light = blend(haurwitz(sun.cos_zenith)), blend(ghi)
    clear = np.where(sky > 1.0, light / np.maximum(sky, 1.0), 0.0)
    share = np.where(light > 0, blend(dhi) / np.where(light > 0, light, 1.0), 1.0)
    cos_mid = np.maximum(mid.cos_zenith, 0.0)
    moved = np.minimum(clear * haurwitz(cos_mid), mid.extra_w_m2 * cos_mid)
    diffuse = np.where(mid.high, share * moved, moved)
    beam = np.where(mid.high, (moved - diffuse) / np.maximum(cos_mid, 1e-6), 0.0)
    beam = np.clip(beam, 0.0, mid.extra_w_m2)
    return moved, beam, np.where(mid.high, np.maximum(moved - beam * cos_mid, 0.0), diffuse)


def centre_minute(
    stated_min: float | None,
    starts: np.ndarray,
    sunlight: tuple[np.ndarray, np.ndarray, np.ndarray],
    where: tuple[float, float],
    name: str,
) -> tuple[float, list[str]]:
    """Minute of the hour that the file's components were computed or measured for.

    With all three components measured, closure finds it; it overrules what was stated when it is
    clearly better. More than three quarters of an hour off is a shifted clock and is refused.
    """
    stated = MID_HOUR_MIN if stated_min is None else stated_min
    found = minute_by_closure(stated, starts, sunlight, where)
    if found is None or (abs(found - stated) < 10.0 and stated_min is not None):
        return stated, []
    if stated_min is not None and abs(found - stated) >= 60.0 * REFUSED_SHIFT_H:
        raise WeatherFileError(_shifted(name, (stated - found) / 60.0))
    when = f"{found:.0f} minutes into each hour"
    if stated_min is not None:
        way = "earlier" if found < stated else "later"
        when = f"{abs(found - stated):.0f} minutes {way} than the file's times say"
    return found, [f"Global, beam and diffuse agree best {when}, so the sun is taken there."]


def minute_by_closure(
    stated_min: float,
    starts: np.ndarray,
    sunlight: tuple[np.ndarray, np.ndarray, np.ndarray],
    where: tuple[float, float],
) -> float | None:
    """Minute with the smallest GHI - DHI - DNI cos z, or None if closure does not decide."""
    ghi, dni, dhi = sunlight
    strong = np.flatnonzero((ghi > 50) & (dni > 100) & (dhi < ghi) & (ghi < 9000))
    if len(strong) < 200:
        return None
    pick = strong[np.linspace(0, len(strong) - 1, min(len(strong), 400)).astype(int)]
    minutes = stated_min + np.arange(-120.0, 121.0, 5.0)
    many = starts[pick].astype("datetime64[s]")[None, :] + (60 * minutes[:, None]).astype(
        "timedelta64[s]"
    )
    sun = sun_at(many.ravel(), 0.0, *where)
    beam = dni[pick] * np.maximum(sun.cos_zenith.reshape(many.shape), 0.0)
    rest = np.sqrt(np.mean((ghi[pick] - dhi[pick] - beam) ** 2, axis=1))
    best = int(np.argmin(rest))
    stated = rest[len(minutes) // 2]
    if rest[best] > 0.05 * ghi[pick].mean() or rest[best] > 0.5 * stated:
        return None
    return float(minutes[best])


def check_sunlight(ghi: np.ndarray, sun: Sun, starts: np.ndarray, name: str) -> None:
    """Refuse sunlight that comes at the wrong hours, or in another unit than W/m2."""
    sky = np.maximum(sun.extra_w_m2 * sun.cos_zenith, 0.0)
    if sky.max(initial=0.0) > 300 and ghi.max(initial=0.0) < 6:
        raise WeatherFileError(
            f"{name}: the brightest hour has ghi_w_m2 {ghi.max(initial=0.0):.2g} while the sun "
            "is up, perhaps kW/m² or MJ/m²; give hourly means in W/m²."
        )
    lag = sun_lag_h(ghi, sun.cos_zenith, starts)
    if abs(lag) >= REFUSED_SHIFT_H:
        raise WeatherFileError(_shifted(name, lag))
    if ghi.sum() > 0.85 * sky.sum() and sky.sum() > 0:
        raise WeatherFileError(
            f"{name}: global irradiance is {100 * ghi.sum() / sky.sum():.0f} % of what reaches "
            "the top of the atmosphere; check the unit (W/m²) and the coordinates."
        )
    month = starts.astype("datetime64[M]").astype(int) % 12
    seasons = [np.isin(month, (4, 5, 6, 7)), np.isin(month, (10, 11, 0, 1))]
    if all(_days(starts[part]) >= 60 for part in seasons):
        first, second = (sun_lag_h(ghi[p], sun.cos_zenith[p], starts[p]) for p in seasons)
        if abs(first - second) >= REFUSED_SHIFT_H and first * second <= 0.1:
            raise WeatherFileError(
                f"{name}: sunlight is {abs(first - second):.1f} hours apart between summer and "
                "winter, as on a clock with summer time; write times with their offset from UTC."
            )


def sun_lag_h(ghi: np.ndarray, cos_zenith: np.ndarray, starts: np.ndarray) -> float:
    """Hours by which sunlight runs behind the sun (minus: ahead), 0 if it cannot be told.

    Two measures, the one nearer zero counts: the phase of the mean daily curve of GHI against that
    of cos z (clouds can bend it), and that of lit hours against sun-up hours (mountains can).
    """
    if _days(starts) < 20 or not (ghi > LIT_W_M2).any():
        return 0.0
    hour = starts.astype(np.int64) % 24
    pairs = (
        (ghi, np.maximum(cos_zenith, 0.0)),
        ((ghi > LIT_W_M2).astype(float), (cos_zenith > 0.02).astype(float)),
    )
    phases = [_phase_h(light, hour) - _phase_h(sun, hour) for light, sun in pairs]
    lags = [(lag + 12.0) % 24.0 - 12.0 for lag in phases]
    if lags[0] * lags[1] < 0:
        return 0.0
    return min(lags, key=abs)


def _phase_h(cells: np.ndarray, hour: np.ndarray) -> float:
    turn = np.sum(cells * np.exp(2j * np.pi * hour / 24.0))
    return float(np.angle(turn) * 24.0 / (2.0 * np.pi))


def _days(starts: np.ndarray) -> int:
    return len(starts) // 24


def _shifted(name: str, lag_h: float) -> str:
    late = "late" if lag_h > 0 else "early"
    return (
        f"{name}: its sunlight comes about {max(1, round(abs(lag_h)))} h too {late} for its "
        "place, so times or coordinates are wrong; label hours at their start with their "
        "offset from UTC, and check latitude and longitude."
    )
