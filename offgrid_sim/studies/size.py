"""How many watts, how many amp-hours? The smallest designs whose risk over many years is accepted.

Every design lives the same weather years. Designs whose interval straddles the accepted risk get
more years (generated climate only: files and archives have the years they have) until they are
decided or the budget is spent.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Protocol

import numpy as np
import pandas as pd

from offgrid_sim.engine.loop import STEPS_PER_HOUR
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.size_cost import Bill, Frontier, assumed_rates, bill, frontier
from offgrid_sim.studies.size_grid import Axis, Design, check_axes, designs
from offgrid_sim.studies.size_ledger import Ledger, ledger_path
from offgrid_sim.studies.size_risk import (
    Change,
    DesignRisk,
    changes,
    design_risk,
    looks,
    still_open,
    years_lived,
)
from offgrid_sim.studies.size_runs import Runner
from offgrid_sim.studies.size_sensitivity import Sensitivity, run_count, sensitivity
from offgrid_sim.studies.size_worksheet import Worksheet, worksheet
from offgrid_sim.studies.variants import Bench, Variant
from offgrid_sim.weather.table import WeatherSource


class Progress(Protocol):
    """Hears what is going on; ``total`` counts runs, a run being one design in one year."""

    def stage(self, title: str, total: int) -> None:
        """A part of the study begins."""
        ...

    def advance(self, runs: int) -> None:
        """So many more runs are done."""
        ...


class Silence:
    """Progress that tells nobody."""

    def stage(self, title: str, total: int) -> None:
        """Nothing."""

    def advance(self, runs: int) -> None:
        """Nothing."""


@dataclass(frozen=True)
class Question:
    """What is asked: axes to vary, accepted risk (share of years), failures that count, years.

    ``most_years`` is the budget for designs that straddle the accepted risk.
    """

    axes: tuple[Axis, ...]
    accept: float
    judge: tuple[str, ...]
    years: int
    most_years: int
    with_sensitivity: bool = True


@dataclass(frozen=True)
class Candidate:
    """One design with its risk and its bill."""

    design: Design
    risk: DesignRisk
    bill: Bill

    @property
    def share(self) -> float:
        """Share of years in which a judged failure happened."""
        return self.risk.judged.share


@dataclass(frozen=True)
class Daily:
    """Means a day over the years of the best-supplied design, Wh, and light left by the sky view.

    ``sky_share`` is light on the roof over light under an open sky.
    """

    load_wh: float
    solar_wh: float
    alternator_wh: float
    shore_wh: float
    sky_share: float
    coldest_cell_c: float


@dataclass(frozen=True)
class SizeStudy:
    """The answer with all that a sceptic needs. Indices count ``candidates``.

    ``recommended`` is the cheapest design shown to meet the accepted risk, or (``decided`` false)
    the cheapest that seems to, or None. ``weather_years`` were lived by every design, ``looks``
    are the numbers of years after which straddling designs were looked at.
    """

    loaded: LoadedTrip
    question: Question
    candidates: tuple[Candidate, ...]
    changes: tuple[Change, ...]
    frontier: Frontier | None
    recommended: int | None
    decided: bool
    weather_years: int
    looks: tuple[int, ...]
    worksheet: Worksheet
    daily: Daily
    sensitivity: Sensitivity | None
    assumed_rates: tuple[str, ...]
    sources: tuple[WeatherSource, ...]
    local_times: pd.DatetimeIndex
    simulated_hours: float
    seconds: float

    @property
    def best(self) -> int:
        """The recommended design, or the one with the lowest risk when none is."""
        if self.recommended is not None:
            return self.recommended
        order = [(c.share, c.risk.blackout_hours_mean, c.bill.cost) for c in self.candidates]
        return order.index(min(order))


def size(
    loaded: LoadedTrip,
    question: Question,
    progress: Progress | None = None,
    *,
    resume: bool = True,
    steps_per_hour: int = STEPS_PER_HOUR,
) -> SizeStudy:
    """Run the study. Raises PlanError, weather errors, and KeyboardInterrupt with all kept."""
    begun = time.monotonic()
    progress = progress or Silence()
    check_axes(question.axes)
    grid = designs(question.axes)
    bench = Bench(_with_years(loaded, question.most_years), steps_per_hour)
    labels = bench.years
    first_years = min(question.years, len(labels))
    stops = looks(first_years, min(question.most_years, len(labels)))
    path = ledger_path(loaded, grid, steps_per_hour) if resume else None
    ledger = Ledger(len(grid), stops[-1], path)
    kept = ledger.load()
    progress.stage(f"{len(grid)} designs x {first_years} weather years", len(grid) * first_years)
    progress.advance(min(kept, len(grid) * first_years))
    runner = Runner(bench, grid, ledger, progress.advance)
    _live_until_decided(runner, question, stops, progress)
    lived = [years_lived(row) for row in ledger.done]
    candidates = _candidates(runner, grid, question, lived, stops, labels)
    study = _assemble(loaded, question, runner, candidates, lived, stops)
    if question.with_sensitivity:
        study = replace(study, sensitivity=_sensitivity(study, bench, progress))
    extra = 0 if study.sensitivity is None else _sensitivity_runs(study)
    ledger.forget()
    hours = float(ledger.kept["hours"][ledger.done].sum(dtype=float))
    hours += extra * len(study.local_times)
    return replace(study, simulated_hours=hours, seconds=time.monotonic() - begun)


def _with_years(loaded: LoadedTrip, years: int) -> LoadedTrip:
    """The same trip with room for this many weather years."""
    if loaded.trip.weather.years == years:
        return loaded
    base = load_trip_document(loaded.document, [f"weather.years={years}"])
    return replace(base, folders=loaded.folders)


def _live_until_decided(
    runner: Runner, question: Question, stops: Sequence[int], progress: Progress
) -> None:
    everyone = range(len(runner.trips))
    runner.run(everyone, 0, stops[0])
    for before, after in pairwise(stops):
        undecided = still_open(runner.ledger, question.judge, before, question.accept, len(stops))
        if not undecided:
            return
        runs = int((~runner.ledger.done[undecided, before:after]).sum())
        progress.stage(f"{len(undecided)} undecided designs, up to {after} years", runs)
        runner.run(undecided, before, after)


def _candidates(
    runner: Runner, grid: Sequence[Design], question: Question, lived: Sequence[int],
    stops: Sequence[int], labels: Sequence[int],
) -> tuple[Candidate, ...]:  # fmt: skip
    varied = [axis.name for axis in question.axes]
    base = runner.bench.base.trip.van
    times = {id(one): one.line.local_times() for one in runner.first_year}
    return tuple(
        Candidate(
            design,
            design_risk(runner.ledger, k, lived[k], question.judge, question.accept, len(stops),
                        labels, times[id(runner.first_year_of(k))]),
            bill(base, runner.trips[k].van, varied),
        )
        for k, design in enumerate(grid)
    )  # fmt: skip


def _assemble(
    loaded: LoadedTrip, question: Question, runner: Runner, candidates: tuple[Candidate, ...],
    lived: Sequence[int], stops: tuple[int, ...],
) -> SizeStudy:  # fmt: skip
    meeting = [k for k, c in enumerate(candidates) if c.risk.standing == "meets"]
    seeming = [
        k for k, c in enumerate(candidates)
        if c.risk.standing == "undecided" and c.share <= question.accept
    ]  # fmt: skip
    found, hoped = frontier(candidates, meeting), frontier(candidates, seeming)
    choice = found or hoped
    recommended = None if choice is None else choice.cheapest
    daily = _daily(runner, lived)
    shown = recommended if recommended is not None else len(candidates) - 1
    first = runner.first_year_of(shown)
    grid = [c.design for c in candidates]
    return SizeStudy(
        loaded=loaded,
        question=question,
        candidates=candidates,
        changes=changes(grid, runner.ledger, lived, question.judge,
                        [axis.numeric for axis in question.axes]),
        frontier=found,
        recommended=recommended,
        decided=found is not None,
        weather_years=min(lived),
        looks=stops,
        worksheet=worksheet(replace(loaded, trip=runner.trips[shown]),
                            runner.trips[shown].van.battery, daily.load_wh, daily.coldest_cell_c),
        daily=daily,
        sensitivity=None,
        assumed_rates=assumed_rates(loaded, [axis.name for axis in question.axes]),
        sources=_sources(first, max(lived)),
        local_times=first.line.local_times(),
        simulated_hours=0.0,
        seconds=0.0,
    )  # fmt: skip


def _sources(ready: Prepared, years: int) -> tuple[WeatherSource, ...]:
    """Sources of the weather, told with the years that were used of a generated climate."""
    seed = ready.trip.weather.seed
    return tuple(
        replace(source, years=f"{years} generated, seed {seed}")
        if source.kind == "climate"
        else source
        for source in ready.sources
    )


def _daily(runner: Runner, lived: Sequence[int]) -> Daily:
    """Energy a day of the design that misses least, over the years that all designs lived."""
    kept, years = runner.ledger.kept, min(lived)
    k = int(np.argmin(kept["unserved_wh"][:, :years].sum(axis=1, dtype=float)))
    days = kept["hours"][k, :years].sum(dtype=float) / 24

    def a_day(*names: str) -> float:
        return float(sum(kept[name][k, :years].sum(dtype=float) for name in names) / days)

    first = runner.first_year_of(k)
    open_light = float(first.ghi_w_m2.sum())
    roof = float(first.skies["roof_w_m2"].sum())
    return Daily(
        load_wh=a_day("load_wh", "unserved_wh"),
        solar_wh=a_day("solar_wh"),
        alternator_wh=a_day("alternator_wh"),
        shore_wh=a_day("shore_wh"),
        sky_share=min(roof / open_light, 1.0) if open_light > 0 else 1.0,
        coldest_cell_c=float(np.median(kept["coldest_cell_c"][k, :years])),
    )


def _sensitivity(study: SizeStudy, bench: Bench, progress: Progress) -> Sensitivity:
    design = study.candidates[study.best].design
    runs = _sensitivity_total(study, design.variant)
    progress.stage("which input moves the answer most", runs)
    return sensitivity(
        bench, design, study.best, study.question.judge, study.weather_years,
        study.loaded.trip.weather.seed, progress.advance,
    )  # fmt: skip


def _sensitivity_total(study: SizeStudy, variant: Variant) -> int:
    return run_count(study.loaded.trip, variant.sets, study.weather_years)


def _sensitivity_runs(study: SizeStudy) -> int:
    return _sensitivity_total(study, study.candidates[study.best].design.variant)
