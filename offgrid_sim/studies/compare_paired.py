"""Differences between two plans that lived through the same weather years, with intervals."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np

from offgrid_sim.outcome.risk import wilson

CONFIDENCE = 0.95
RESAMPLES, DRAWN_AT_ONCE = 2000, 200
LEAST_YEARS = 5
"""With fewer years resampling says nothing; no interval is given."""


@dataclass(frozen=True)
class Difference:
    """``other - one`` with its 95 % interval; ``low`` and ``high`` are None with too few years."""

    value: float
    low: float | None
    high: float | None

    @property
    def clear(self) -> bool:
        """Whether the interval leaves zero out."""
        return self.low is not None and self.high is not None and (self.low > 0 or self.high < 0)


@dataclass(frozen=True)
class ChanceDifference:
    """Years in which it happened: both, only one, only the other, neither; and the difference."""

    both: int
    only_one: int
    only_other: int
    neither: int
    difference: Difference
    p_value: float


def mean_difference(one: np.ndarray, other: np.ndarray) -> Difference:
    """Mean of ``other - one`` over paired years, both of shape (Y,).

    Percentile interval of the bootstrap over years (Efron & Tibshirani 1993, ch. 13); years are
    drawn whole, so what a winter does to both plans stays together. A fixed seed makes the same
    input give the same interval. For few years the interval is known to be somewhat narrow.
    """
    gaps = np.asarray(other, float) - np.asarray(one, float)
    mean = float(gaps.mean())
    if len(gaps) < LEAST_YEARS:
        return Difference(mean, None, None)
    rng = np.random.default_rng(1)
    draws = (rng.integers(0, len(gaps), (DRAWN_AT_ONCE, len(gaps)))
             for _ in range(RESAMPLES // DRAWN_AT_ONCE))  # fmt: skip
    means = np.concatenate([gaps[drawn].mean(axis=1) for drawn in draws])
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(means, [tail, 1 - tail])
    return Difference(mean, float(low), float(high))


def chance_difference(one: np.ndarray, other: np.ndarray) -> ChanceDifference:
    """Share of years in which it happens to ``other`` minus the share for ``one``.

    Interval: Newcombe 1998, Statist. Med. 17:2635, method 10 (Wilson scores of both shares,
    joined with their correlation). ``p_value``: exact McNemar test, a binomial test of the years
    in which they differ.
    """
    from scipy.stats import binomtest  # half a second, only where it is asked for

    one, other = np.asarray(one, bool), np.asarray(other, bool)
    both, neither = int((one & other).sum()), int((~one & ~other).sum())
    only_one, only_other = int((one & ~other).sum()), int((~one & other).sum())
    low, high = newcombe_interval(both, only_other, only_one, neither)
    value = (only_other - only_one) / len(one)
    differing = only_one + only_other
    p_value = float(binomtest(only_other, differing).pvalue) if differing else 1.0
    same = bool(np.array_equal(one, other))
    difference = Difference(0.0, 0.0, 0.0) if same else Difference(value, low, high)
    return ChanceDifference(both, only_one, only_other, neither, difference, p_value)


def newcombe_interval(
    both: int, first_only: int, second_only: int, neither: int
) -> tuple[float, float]:
    """95 % interval of (share of the first - share of the second) from the paired 2 x 2 table."""
    n = both + first_only + second_only + neither
    first, second = both + first_only, both + second_only
    share_1, low_1, high_1 = _wilson(first, n)
    share_2, low_2, high_2 = _wilson(second, n)
    product = float(first) * (n - first) * second * (n - second)
    phi = 0.0
    if product > 0:
        cross = float(both * neither - first_only * second_only)
        cross = max(cross - n / 2, 0.0) if cross > 0 else cross
        phi = cross / sqrt(product)
    gap = share_1 - share_2
    down, up = share_1 - low_1, high_2 - share_2
    low = gap - sqrt(max(down**2 - 2 * phi * down * up + up**2, 0.0))
    down, up = share_2 - low_2, high_1 - share_1
    high = gap + sqrt(max(down**2 - 2 * phi * down * up + up**2, 0.0))
    return low, high


def _wilson(count: int, n: int) -> tuple[float, float, float]:
    return count / n, *wilson(count, n, CONFIDENCE)
