"""Which hours of a record stand for the hours of a trip, year label by year label."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.weather.repair import TYPICAL_YEAR

EDGE_H = 14  # a local year in UTC begins and ends up to this many hours off
WHOLE_YEAR_H = 48  # fewer hours of a calendar year do not make it a label


@dataclass(frozen=True)
class Record:
    """A finished hourly record. ``labels`` pairs each year label with the year that begins it."""

    first_hour: int
    values: np.ndarray
    have: np.ndarray
    labels: tuple[tuple[int, int], ...]
    typical: bool


@dataclass(frozen=True)
class Nominal:
    """The trip's hours taken apart: years since the trip's own, and hour within month and day."""

    year_step: np.ndarray
    month: np.ndarray
    day: np.ndarray
    hour: np.ndarray

    @property
    def leap_day(self) -> np.ndarray:
        """Hours of 29 February."""
        return (self.month == 2) & (self.day == 29)


@dataclass(frozen=True)
class Match:
    """Row of the record for each hour, and how many hours were borrowed from another year."""

    rows: np.ndarray
    wrapped: int


def nominal_hours(times_utc: pd.DatetimeIndex, shift_h: int = 0) -> Nominal:
    """``times_utc`` moved by ``shift_h``, counted from the year in which the span starts.

    The span's year is that of its start plus 12 h, so that local midnight of 1 January counts as
    the new year from UTC-12 to UTC+12.
    """
    naive = times_utc.tz_localize(None) if times_utc.tz is not None else times_utc
    own_year = (naive[0] + pd.Timedelta(hours=12)).year
    moved = naive + pd.Timedelta(hours=shift_h)
    return Nominal(
        moved.year.to_numpy() - own_year,
        moved.month.to_numpy(),
        moved.day.to_numpy(),
        moved.hour.to_numpy(),
    )


def calendar_labels(first_hour: int, have: np.ndarray) -> tuple[tuple[int, int], ...]:
    """Each calendar year with at least two days of hours, as (label, year)."""
    hours = (first_hour + np.flatnonzero(have)).astype("datetime64[h]")
    years, counts = np.unique(hours.astype("datetime64[Y]").astype(int) + 1970, return_counts=True)
    return tuple((int(y), int(y)) for y, n in zip(years, counts, strict=True) if n >= WHOLE_YEAR_H)


def hour_numbers(nominal: Nominal, years: np.ndarray) -> np.ndarray:
    """Hours since 1970 of the nominal month, day and hour in ``years``; 29 Feb may become 28."""
    leap = (years % 4 == 0) & ((years % 100 != 0) | (years % 400 == 0))
    day = np.where(nominal.leap_day & ~leap, 28, nominal.day)
    months = ((years - 1970) * 12 + nominal.month - 1).astype("datetime64[M]")
    days = months.astype("datetime64[D]").astype(np.int64) + day - 1
    return days * 24 + nominal.hour


def match(record: Record, nominal: Nominal, begin_year: int) -> Match | None:
    """Rows of ``record`` for the span that begins in ``begin_year``; None if it is not covered.

    A typical year always serves. A real year first gives its own hours, then the next year's;
    where that is not in the record, hours after the new year are those of the same year's start.
    """
    if record.typical:
        rows = hour_numbers(nominal, np.full(len(nominal.hour), TYPICAL_YEAR)) - record.first_hour
        return Match(rows, int((nominal.year_step > 0).sum()))
    years = begin_year + nominal.year_step
    rows = _rows(record, nominal, years)
    direct = rows >= 0
    own = nominal.year_step <= 0
    if (own & ~direct).sum() > 2 * EDGE_H:
        return None
    for other in (np.where(own, years + 1, begin_year), np.where(own, years - 1, begin_year + 1)):
        missing = rows < 0
        if not missing.any():
            break
        rows = np.where(missing, _rows(record, nominal, other), rows)
    if (rows < 0).any():
        return None
    return Match(rows, int((~direct).sum()))


def _rows(record: Record, nominal: Nominal, years: np.ndarray) -> np.ndarray:
    """Row of each hour, or -1 where the record has none."""
    rows = hour_numbers(nominal, years) - record.first_hour
    inside = (rows >= 0) & (rows < len(record.have))
    return np.where(inside & record.have[np.where(inside, rows, 0)], rows, -1)
