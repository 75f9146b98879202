"""A calendar of the trip: each day by the worst that happened on it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np
import pandas as pd

from offgrid_sim.report.words import day, duration, percent

LOW_SOC = 0.2
WORST_FIRST = (("blackout", "blackout_share", "dark"), ("thaw", "thaw_share", "thawing"),
               ("dry", "dry_share", "without water"))  # fmt: skip


@dataclass(frozen=True)
class Day:
    """One day. ``state`` names the band that marks it, "low" for little charge, or "fine"."""

    number: int
    state: str
    told: str
    first_hour: int
    last_hour: int
    lowest_pct: int


@dataclass(frozen=True)
class Month:
    """The days of a calendar month that lie in the trip."""

    name: str
    days: tuple[Day, ...]


def calendar(hourly: pd.DataFrame, places: tuple[str, ...]) -> tuple[Month, ...]:
    """The days of the trip by month, on the local clock."""
    dates = hourly.index.normalize()
    edges = [0, *(np.flatnonzero(np.diff(dates.asi8)) + 1).tolist(), len(dates)]
    days = [(dates[a], _day(hourly.iloc[a:b], a, b, places)) for a, b in pairwise(edges)]
    months = groupby(days, key=lambda pair: (pair[0].year, pair[0].month))
    return tuple(_month([*found]) for _, found in months)


def _month(days: list[tuple[pd.Timestamp, Day]]) -> Month:
    return Month(f"{days[0][0]:%B}", tuple(one for _, one in days))


def _day(hours: pd.DataFrame, first: int, last: int, places: tuple[str, ...]) -> Day:
    lowest = float(hours["soc"].min())
    troubles = [(state, float(hours[column].sum()), word) for state, column, word in WORST_FIRST]
    found = [(state, f"{duration(length)} {word}") for state, length, word in troubles if length]
    state = found[0][0] if found else "low" if lowest < LOW_SOC else "fine"
    words = [*(text for _, text in found), f"lowest charge {percent(lowest)}"]
    place = places[int(hours["stop"].iloc[-1])]
    told = f"{day(hours.index[0])}, {place}: {', '.join(words)}"
    return Day(hours.index[0].day, state, told, first, last, round(lowest * 100))
