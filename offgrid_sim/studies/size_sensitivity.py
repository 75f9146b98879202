"""Which input moves the answer most: every plan value with a likely range, alone and together.

Alone: each value goes to both ends of its range while the rest stays (a tornado; it sees no
interplay). Together: all ranges at once by a scrambled Sobol sequence (scipy.stats.qmc), which
gives the spread of the risk that the ranges imply and the rank correlation of each input with
the lowest charge.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.stats import qmc, spearmanr

from offgrid_sim.plan.keys import item_model, table_model
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.trip import Trip
from offgrid_sim.studies.size_grid import Design
from offgrid_sim.studies.size_ledger import Ledger
from offgrid_sim.studies.size_risk import happened
from offgrid_sim.studies.size_runs import Runner
from offgrid_sim.studies.variants import Bench, Variant

MOST_YEARS = 30
JOINT_SAMPLES = 64
SKY_SAMPLES = 8
"""Inputs of ``[[solar]]`` change the sun on the panels, which is dear to make: in the joint study
they take this many points together, each met by several points of the other inputs."""


@dataclass(frozen=True)
class Input:
    """A plan value with its likely range (widened to hold the value itself)."""

    key: str
    meaning: str
    value: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Swing:
    """One input at both ends of its range: share of years that fail, hours in trouble (dark or
    thawing), and the year's lowest charge (0..1), the last two as means over years.

    ``rank_correlation`` is Spearman's, of the input with the lowest charge when all inputs vary.
    """

    input: Input
    share_low: float
    share_high: float
    hours_low: float
    hours_high: float
    charge_low: float
    charge_high: float
    rank_correlation: float

    @property
    def span(self) -> tuple[float, float, float]:
        """How far the answer moves, for sorting."""
        return (
            abs(self.share_high - self.share_low),
            abs(self.hours_high - self.hours_low),
            abs(self.charge_high - self.charge_low),
        )


@dataclass(frozen=True)
class Sensitivity:
    """Swings around one design, the widest first, and the shares when all inputs vary.

    ``joint_shares`` is sorted, one share per sample; ``years`` are the paired weather years.
    """

    design: int
    years: int
    share: float
    hours: float
    charge: float
    swings: tuple[Swing, ...]
    joint_shares: tuple[float, ...]


def inputs_of(trip: Trip, varied: Collection[str] = ()) -> tuple[Input, ...]:
    """Every value of the plan that has a likely range, but those varied by the study."""
    return tuple(found for found in _walk(trip, "") if found.key not in varied)


def _walk(model: PlanModel, prefix: str) -> Iterator[Input]:
    for name, info in type(model).model_fields.items():
        value, key = getattr(model, name), f"{prefix}{name}"
        extra = info.json_schema_extra
        if table_model(info) is not None and value is not None:
            yield from _walk(value, f"{key}.")
        elif item_model(info) is not None:
            for k, item in enumerate(value):
                yield from _walk(item, f"{key}.{k}.")
        elif isinstance(extra, dict) and "likely" in extra:
            low, high = (float(end) for end in _pair(extra["likely"]))
            if value is not None:
                low, high = min(low, value), max(high, value)
            yield Input(key, info.description or "", value, low, high)


def _pair(likely: Any) -> tuple[Any, Any]:
    low, high = likely
    return low, high


def sensitivity(
    bench: Bench,
    design: Design,
    index: int,
    judge: Sequence[str],
    years: int,
    seed: int,
    on_done: Callable[[int], None] | None = None,
) -> Sensitivity:
    """Vary the inputs around ``design``, which has number ``index`` in the study."""
    years = min(years, MOST_YEARS)
    inputs = inputs_of(bench.loaded(design.variant).trip, design.variant.sets)
    ends = [{one.key: end} for one in inputs for end in (one.low, one.high)]
    samples = _joint(inputs, seed)
    joint = [{i.key: float(v) for i, v in zip(inputs, row, strict=True)} for row in samples]
    tries = [_changed(design, sets) for sets in ({}, *ends, *joint)]
    ledger = Ledger(len(tries), years)
    Runner(bench, tries, ledger, on_done).run(range(len(tries)), 0, years)
    share = happened(ledger, judge).mean(axis=1)
    hours = (ledger.kept["blackout_hours"] + ledger.kept["thaw_hours"]).mean(axis=1, dtype=float)
    charge = ledger.kept["min_soc"].mean(axis=1, dtype=float)
    first_joint = 1 + len(ends)
    swings = [
        Swing(one, float(share[a]), float(share[a + 1]), float(hours[a]), float(hours[a + 1]),
              float(charge[a]), float(charge[a + 1]),
              _rank_correlation(samples[:, k], charge[first_joint:]))
        for k, one in enumerate(inputs) for a in (1 + 2 * k,)
    ]  # fmt: skip
    return Sensitivity(
        design=index,
        years=years,
        share=float(share[0]),
        hours=float(hours[0]),
        charge=float(charge[0]),
        swings=tuple(sorted(swings, key=lambda swing: swing.span, reverse=True)),
        joint_shares=tuple(sorted(float(s) for s in share[first_joint:])),
    )


def run_count(trip: Trip, varied: Collection[str], years: int) -> int:
    """How many runs :func:`sensitivity` takes, for a progress bar."""
    return (1 + 2 * len(inputs_of(trip, varied)) + JOINT_SAMPLES) * min(years, MOST_YEARS)


def _changed(design: Design, sets: dict[str, Any]) -> Design:
    variant = Variant(design.name, {**design.variant.sets, **sets})
    return Design(design.at, design.values, variant)


def _joint(inputs: Sequence[Input], seed: int) -> np.ndarray:
    """Points of the joint ranges, shape (samples, inputs)."""
    if not inputs:
        return np.zeros((0, 0))
    points = qmc.Sobol(len(inputs), scramble=True, seed=seed).random(JOINT_SAMPLES)
    sky = [k for k, one in enumerate(inputs) if one.key.startswith("van.solar.")]
    points[:, sky] = points[np.arange(JOINT_SAMPLES) % SKY_SAMPLES][:, sky]
    low = np.array([one.low for one in inputs])
    high = np.array([one.high for one in inputs])
    return low + points * (high - low)


def _rank_correlation(values: np.ndarray, answers: np.ndarray) -> float:
    """Spearman's, 0 where nothing varies."""
    if np.ptp(answers) == 0 or np.ptp(values) == 0:
        return 0.0
    return float(spearmanr(values, answers).statistic)
