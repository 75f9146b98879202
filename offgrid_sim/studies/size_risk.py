"""Risk of each design from what it lived through, and whether it meets the accepted risk.

Intervals are Wilson's (1927) at 95 %. Whether a design meets the accepted risk is decided on a
wider one: a design whose interval straddles the limit is looked at again with more years, and
the error allowed is shared among all looks (Bonferroni), so that looking often does not decide
wrongly more often than 1 in 20.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import pandas as pd

from offgrid_sim.outcome.risk import CONFIDENCE, Chance, chance, wilson
from offgrid_sim.studies.size_grid import Design
from offgrid_sim.studies.size_ledger import Ledger

Standing = Literal["meets", "undecided", "misses"]
FAILURES = {
    "blackout": "blackout_hours",
    "thaw": "thaw_hours",
    "dry": "dry_hours",
    "grey_full": "grey_full_hours",
}
"""What may go wrong in a year: it did when the hours are above zero."""

GROWTH = 2
"""Each look has this many times the years of the one before."""


@dataclass(frozen=True)
class Worst:
    """The year with most hours dark (or else thawing): its label, hours, and local date."""

    year: int
    kind: Literal["blackout", "thaw"]
    hours: float
    start: pd.Timestamp


@dataclass(frozen=True)
class DesignRisk:
    """Chances over the years that one design lived; ``judged`` is any of the judged failures."""

    years: int
    judged: Chance
    blackout: Chance
    thaw: Chance
    dry: Chance
    grey_full: Chance
    blackout_hours_mean: float
    unserved_wh_mean: float
    standing: Standing
    worst: Worst | None


def looks(first_years: int, most_years: int) -> tuple[int, ...]:
    """Numbers of years after which to look: doubling up to the budget."""
    found = [first_years]
    while found[-1] < most_years:
        found.append(min(found[-1] * GROWTH, most_years))
    return tuple(found)


@lru_cache(maxsize=100_000)
def counted_chance(happened: int, years: int) -> Chance:
    """Chance with its interval from a count."""
    return chance(np.arange(years) < happened)


@lru_cache(maxsize=100_000)
def deciding_interval(happened: int, years: int, look_count: int) -> tuple[float, float]:
    """The wider interval on which designs are decided, its error shared among the looks."""
    confidence = 1 - (1 - CONFIDENCE) / look_count
    return wilson(happened, years, confidence)


def standing(happened: int, years: int, accept: float, look_count: int) -> Standing:
    """Whether a chance is shown to be at most ``accept``, shown to be above it, or neither."""
    low, high = deciding_interval(happened, years, look_count)
    if high <= accept:
        return "meets"
    return "misses" if low > accept else "undecided"


def happened(ledger: Ledger, judge: Sequence[str]) -> np.ndarray:
    """Whether any of the judged failures happened, shape (designs, years)."""
    hours = np.array([ledger.kept[FAILURES[kind]] for kind in judge])
    return np.asarray(hours.max(axis=0) > 0)


def still_open(
    ledger: Ledger, judge: Sequence[str], years: int, accept: float, look_count: int
) -> list[int]:
    """Designs that lived ``years`` years and straddle the accepted risk."""
    counts = happened(ledger, judge)[:, :years].sum(axis=1)
    lived = np.flatnonzero(ledger.done[:, :years].all(axis=1))
    return [
        int(k) for k in lived if standing(int(counts[k]), years, accept, look_count) == "undecided"
    ]


def years_lived(done: np.ndarray) -> int:
    """Years from the first on without a gap, from a row of ``Ledger.done``."""
    return int(len(done) if done.all() else np.argmin(done))


def design_risk(
    ledger: Ledger, k: int, years: int, judge: Sequence[str], accept: float, look_count: int,
    labels: Sequence[int], local_times: pd.DatetimeIndex,
) -> DesignRisk:  # fmt: skip
    """Risk of design ``k`` over its first ``years`` years, labelled ``labels``."""
    row = {name: values[k, :years] for name, values in ledger.kept.items()}
    hit = {kind: row[name] > 0 for kind, name in FAILURES.items()}
    chances = {kind: counted_chance(int(flags.sum()), years) for kind, flags in hit.items()}
    count = int(np.logical_or.reduce([hit[kind] for kind in judge]).sum())
    return DesignRisk(
        years=years,
        judged=counted_chance(count, years),
        **chances,
        blackout_hours_mean=float(row["blackout_hours"].mean(dtype=float)),
        unserved_wh_mean=float(row["unserved_wh"].mean(dtype=float)),
        standing=standing(count, years, accept, look_count),
        worst=_worst(row, labels, local_times),
    )


def _worst(
    row: dict[str, np.ndarray], labels: Sequence[int], local_times: pd.DatetimeIndex
) -> Worst | None:
    kinds: tuple[Literal["blackout", "thaw"], ...] = ("blackout", "thaw")
    for kind in kinds:
        hours = row[f"{kind}_hours"]
        year = int(np.argmax(hours))
        if hours[year] > 0:
            start = local_times[min(int(row[f"first_{kind}_h"][year]), len(local_times) - 1)]
            return Worst(labels[year], kind, float(hours[year]), start)
    return None


@dataclass(frozen=True)
class Change:
    """From one design to the next larger one on an axis, on the same years.

    ``spared`` years fail with the smaller and not with the larger, ``added`` the reverse;
    ``hours`` is the change of mean hours dark and thawing.
    """

    smaller: int
    larger: int
    axis: int
    years: int
    spared: int
    added: int
    hours: float

    @property
    def nothing(self) -> bool:
        """The larger one changes no year's outcome, and hours by less than a minute a year."""
        return self.spared == 0 and self.added == 0 and abs(self.hours) < 1 / 60


def changes(
    designs: Sequence[Design], ledger: Ledger, lived: Sequence[int], judge: Sequence[str],
    numeric: Sequence[bool],
) -> tuple[Change, ...]:  # fmt: skip
    """All steps to the next value along numeric axes, compared year by year."""
    index = {design.at: k for k, design in enumerate(designs)}
    failed = happened(ledger, judge)
    hours = ledger.kept["blackout_hours"] + ledger.kept["thaw_hours"]
    found = []
    for at, k in index.items():
        for axis, counts in enumerate(numeric):
            other = index.get((*at[:axis], at[axis] + 1, *at[axis + 1 :])) if counts else None
            if other is None:
                continue
            years = min(lived[k], lived[other])
            a, b = failed[k, :years], failed[other, :years]
            gain = float((hours[other, :years] - hours[k, :years]).mean(dtype=float))
            found.append(
                Change(k, other, axis, years, int((a & ~b).sum()), int((b & ~a).sum()), gain)
            )
    return tuple(found)
