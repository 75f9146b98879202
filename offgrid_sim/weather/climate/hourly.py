"""Hours within a generated day: global, beam and diffuse radiation.

Arrays are (years, days, 24) over local solar days: 24 hours from the UTC hour nearest to solar
midnight. The hours of a day add up to the day's total exactly.
"""

from __future__ import annotations

import numpy as np
from pvlib import irradiance

from offgrid_sim.weather.climate.daily import Days
from offgrid_sim.weather.climate.field import matern_waves, memory_taps, noise, remember
from offgrid_sim.weather.climate.sun import ClearHours, Floats, Ints

HOUR_LENGTH_KM = 36.0
"""Clouds of an hour: one hour at 10 m/s, after the finding that the distance at which stations
become uncorrelated grows with the time scale (Perez et al. 2012, Solar Energy 86:2170)."""

HOUR_WAVES = matern_waves(tag=3, length_km=HOUR_LENGTH_KM, pairs=4, rows_per_day=24, channels=1)
HOUR_PHI = 0.54
"""Mean lag-1 of hourly deviations, 0.54 ± 0.14 (Graham & Hollands 1990, Solar Energy 44:333)."""
HOUR_TAPS = 16

MAX_CLEARNESS = 0.82
BRIGHTEST = 1.15
"""Clear-sky index of the brightest days, which have no cloud to break them."""
FILL_ROUNDS = 6


def hour_noise(
    latitude_deg: float, longitude_deg: float, seed: int, years: tuple[int, ...], days: Days
) -> Floats:
    """Deviations of variance 1 with hourly memory, (years, days, 24)."""
    first, count = int(days.numbers.day[0]), len(days.numbers.day)
    (shocks,) = noise(HOUR_WAVES, latitude_deg, longitude_deg, seed, years, first - 1, count + 1)
    chain = remember(shocks[:, 24 - HOUR_TAPS + 1 :], memory_taps(HOUR_PHI, HOUR_TAPS))
    return chain.reshape(len(years), count, 24)


def global_hours(days: Days, clear: ClearHours, deviation: Floats) -> Floats:
    """GHI in W/m2, (years, days, 24), for ``clear`` hours of the same days.

    The day's total is its clear-sky index c times the clear day. Hours deviate from the clear
    day's shape by sigma = 0.16 sin(pi c / 1.15) of clearness and none exceeds a clearness of
    0.82. (Graham & Hollands 1990, from memory, have sin(pi K / 0.90) of the day's clearness K:
    at high latitudes that leaves clear days, whose K is 0.7, as broken as cloudy ones.)
    """
    count = len(days.numbers.day)
    clear_w = clear.clear_ghi_w_m2.reshape(count, 24)
    ceiling_w = MAX_CLEARNESS * clear.extraterrestrial_w_m2.reshape(count, 24)
    clear_kt = clear_w.sum(axis=1) / np.maximum(ceiling_w.sum(axis=1) / MAX_CLEARNESS, 1.0)
    kt = days.clear_sky_index * clear_kt
    spread = 0.16 * np.sin(np.pi * np.clip(days.clear_sky_index / BRIGHTEST, 0.0, 0.97))
    spread = spread / np.maximum(kt, 0.01)
    shape = clear_w * np.maximum(1.0 + spread[:, :, None] * deviation, 0.1)
    total = days.clear_sky_index * clear_w.sum(axis=1)
    return fill_under(shape, ceiling_w, np.minimum(total, 0.999 * ceiling_w.sum(axis=1)))


def fill_under(shape: Floats, ceiling_w: Floats, total_w: Floats) -> Floats:
    """Scale each day's ``shape`` to ``total_w`` with no hour above ``ceiling_w``.

    What a ceiling cuts off goes to the day's other hours, in a few rounds; what is left after
    the last round is spread over the room below the ceilings, so that the sum is exact.
    """
    hours = shape * _ratio(total_w, shape.sum(axis=-1))
    over = (hours > ceiling_w).any(axis=-1)
    if over.any():
        ceilings = np.broadcast_to(ceiling_w, hours.shape)[over]
        hours[over] = _spread(hours[over], ceilings, total_w[over])
    return hours


def _spread(hours: Floats, ceiling_w: Floats, total_w: Floats) -> Floats:
    """The rounds of ``fill_under`` for the days (n, 24) that need them."""
    for _ in range(FILL_ROUNDS):
        hours = np.minimum(hours, ceiling_w)
        missing = np.maximum(total_w - hours.sum(axis=-1), 0.0)
        free = np.where(hours < ceiling_w, hours, 0.0)
        hours = hours + free * _ratio(missing, free.sum(axis=-1))
    hours = np.minimum(hours, ceiling_w)
    room = ceiling_w - hours
    return hours + room * _ratio(total_w - hours.sum(axis=-1), room.sum(axis=-1))


def _ratio(part: Floats, whole: Floats) -> Floats:
    """``part / whole`` with a last axis of one, zero where the whole is zero."""
    safe = np.where(whole > 0.0, whole, 1.0)
    return np.asarray(np.where(whole > 0.0, part / safe, 0.0)[..., None])


def split_beam(ghi_w_m2: Floats, zenith_deg: Floats, doy: Ints) -> tuple[Floats, Floats]:
    """Beam normal and diffuse horizontal in W/m2 by Erbs et al. 1982 (pvlib's correlation).

    ``ghi_w_m2`` is (years, days, 24), ``zenith_deg`` (days, 24), ``doy`` (days,).
    Beam is zero for a zenith above 87°, where (GHI - DHI) / cos z explodes.
    """
    up = zenith_deg < 90.0
    split = irradiance.erbs(
        ghi_w_m2[:, up], zenith_deg[up], np.repeat(doy, 24).reshape(up.shape)[up], max_zenith=87.0
    )
    dni, dhi = np.zeros_like(ghi_w_m2), ghi_w_m2.copy()
    dni[:, up], dhi[:, up] = split["dni"], split["dhi"]
    return dni, dhi
