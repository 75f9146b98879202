"""Risk over weather years: chances with their intervals, and which year is worst."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Chance:
    """Share of weather years in which something happened, with its 95 % Wilson interval."""

    happened: int
    years: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share of years, 0..1."""
        return self.happened / self.years


def chance(happened: np.ndarray) -> Chance:
    """Chance from a flag per year."""
    count, years = int(np.count_nonzero(happened)), len(happened)
    return Chance(count, years, *wilson(count, years))


def wilson(count: int, years: int, confidence: float = CONFIDENCE) -> tuple[float, float]:
    """Score interval of a share (Wilson 1927), low and high.

    Written out because importing scipy.stats for it costs half a second of every command; held
    against scipy in the tests.
    """
    z = float(ndtri(0.5 + confidence / 2))
    share, z2 = count / years, z * z / years
    middle = share + z2 / 2
    half = math.sqrt(share * (1 - share) * z2 + z2 * z2 / 4)
    low, high = (middle - half) / (1 + z2), (middle + half) / (1 + z2)
    return (0.0 if count == 0 else low), (1.0 if count == years else high)


@dataclass(frozen=True)
class Risk:
    """Chances over all weather years of one plan, and the order of years from worst to best."""

    years: tuple[int, ...]
    blackout: Chance
    thaw: Chance
    dry: Chance
    worst_first: tuple[int, ...]
    blackout_hours: np.ndarray
    thaw_hours: np.ndarray
    min_soc: np.ndarray


def risk(years: tuple[int, ...], totals: np.ndarray) -> Risk:
    """Risk from TOTALS of shape (Y,). ``worst_first`` holds indices into ``years``."""
    keys = (-totals["min_soc"], totals["dry_hours"], totals["unserved_wh"],
            totals["thaw_hours"], totals["blackout_hours"])  # fmt: skip
    order = np.lexsort([np.round(key, 9) for key in keys])[::-1]
    return Risk(
        years=years,
        blackout=chance(totals["blackout_hours"] > 0),
        thaw=chance(totals["thaw_hours"] > 0),
        dry=chance(totals["dry_hours"] > 0),
        worst_first=tuple(int(k) for k in order),
        blackout_hours=totals["blackout_hours"].copy(),
        thaw_hours=totals["thaw_hours"].copy(),
        min_soc=totals["min_soc"].copy(),
    )
