"""Hard cases on pairs of fridge and battery: what gives way first, and after how long."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.van import Battery, Fridge
from offgrid_sim.studies.changes import Change, laid_over, plan_sets, read_changes, variant_of
from offgrid_sim.studies.stress_times import NEVER, RUNS_OUT, SOFT, Times, times_of
from offgrid_sim.studies.variants import Bench, Variant

SETTLE_H = 24
"""Hours that a van lives before its case begins."""

MOST_DAYS = 28
"""Days that are looked at from the start of a case."""

USUAL_YEARS = 10
"""Weather years, where the user does not say how many."""

AS_PLANNED = "as planned"


@dataclass(frozen=True)
class Pair:
    """A fridge and a battery; None keeps the trip's own."""

    fridge_name: str
    battery_name: str
    fridge: Fridge | None = None
    battery: Battery | None = None

    @property
    def name(self) -> str:
        """Both names."""
        return f"{self.fridge_name} with {self.battery_name}"


@dataclass(frozen=True)
class CaseResult:
    """One case on one pair in one ambient, through all weather years."""

    pair: Pair
    ambient_c: float | None
    case: str
    what: str
    changes: tuple[str, ...]
    spell_days: float | None
    times: tuple[Times, ...]

    @property
    def failed_years(self) -> int:
        """Weather years in which anything ran out."""
        return sum(one.failed for one in self.times)

    @property
    def hard_years(self) -> int:
        """Weather years with an end that people can neither mend in a minute nor live with."""
        return sum(one.first_hard_h < NEVER for one in self.times)

    @property
    def first(self) -> str:
        """What runs out first in most of the years that fail, hard ends only if there are any."""
        kinds = [min(ends, key=lambda kind: ends[kind]) for ends in self._ends()]
        order = [kind for kind, _, _ in RUNS_OUT]
        return max(order, key=kinds.count) if kinds else ""

    @property
    def first_h(self) -> float:
        """Median hours until the first of these ends, over the years in which one comes."""
        return self._median([min(ends.values()) for ends in self._ends()])

    def _ends(self) -> list[dict[str, float]]:
        """Ends of each year that fails; hard ones only, if any year has them."""
        kept = [
            {k: h for k, h in one.ends_h.items() if not (self.hard_years and k in SOFT)}
            for one in self.times
        ]
        return [ends for ends in kept if min(ends.values()) < NEVER]

    def end_h(self, kind: str) -> float:
        """Median hours until ``kind``, over the years in which it comes; infinite if none."""
        return self._median([one.ends_h[kind] for one in self.times])

    def years_with(self, kind: str) -> int:
        """Years in which ``kind`` comes."""
        return sum(one.ends_h[kind] < NEVER for one in self.times)

    @property
    def recover_h(self) -> float:
        """Median hours from the end of the spell to recovery."""
        return self._median([one.recover_h for one in self.times])

    @property
    def floor_l(self) -> float:
        """Most litres on the floor in any year."""
        return max(one.floor_l for one in self.times)

    @property
    def lowest_soc(self) -> float:
        """Lowest charge in any year."""
        return min(one.lowest_soc for one in self.times)

    @staticmethod
    def _median(hours: list[float]) -> float:
        finite = [value for value in hours if value < NEVER]
        return float(np.median(finite)) if finite else NEVER


@dataclass(frozen=True)
class Stress:
    """All results, cases fastest; each pair and ambient starts with the trip as planned."""

    loaded: LoadedTrip
    results: tuple[CaseResult, ...]
    pairs: tuple[Pair, ...]
    ambients_c: tuple[float | None, ...]
    cases: tuple[str, ...]
    skipped: tuple[str, ...]
    years: tuple[int, ...]
    from_day: int
    days: int

    def of(self, pair: Pair, ambient_c: float | None) -> tuple[CaseResult, ...]:
        """All cases of one pair in one ambient."""
        return tuple(one for one in self.results if one.pair == pair and one.ambient_c == ambient_c)


def usual_cases() -> tuple[Change, ...]:
    """The cases that come with the program."""
    path = files("offgrid_sim") / "data" / "cases.toml"
    return read_changes(Path(str(path)), "cases", Change)


def stress(
    loaded: LoadedTrip,
    cases: Sequence[Change],
    pairs: Sequence[Pair] = (),
    ambients_c: Sequence[float] = (),
    from_day: int = 2,
    on_done: Callable[[int], None] | None = None,
) -> Stress:
    """Live through every case with every pair and ambient.

    ``from_day`` is the trip's day (1 is the first) on which cases begin; the van starts a day
    earlier. PlanError where a case cannot be laid over the plan.
    """
    bench = Bench(loaded)
    years = bench.years
    own = Pair(fridge_name(loaded.trip.van.fridge), battery_name(loaded.trip.van.battery))
    chosen = tuple(pairs) or (own,)
    ambients: tuple[float | None, ...] = tuple(ambients_c) or (None,)
    start_h = max(min((from_day - 1) * 24 - SETTLE_H, (loaded.trip.nights - 2) * 24), 0)
    begin_h = start_h + SETTLE_H if loaded.trip.nights > 1 else 0
    stage = _Stage(bench, len(years), start_h, begin_h)
    results: list[CaseResult] = []
    used: dict[str, bool] = {case.name: False for case in cases}
    for pair in chosen:
        for ambient_c in ambients:
            found = stage.play(pair, ambient_c, cases, on_done)
            results += found
            used |= {one.case: True for one in found if one.case in used}
    return Stress(
        loaded=loaded, results=tuple(results), pairs=chosen, ambients_c=ambients,
        cases=tuple(name for name, was in used.items() if was),
        skipped=tuple(name for name, was in used.items() if not was), years=years,
        from_day=begin_h // 24 + 1, days=min(loaded.trip.nights - begin_h // 24, MOST_DAYS),
    )  # fmt: skip


class _Stage:
    """Plays the cases of one pair at a time, weather years on all cores."""

    def __init__(self, bench: Bench, years: int, start_h: int, begin_h: int):
        self.bench, self.years = bench, years
        self.start_h, self.begin_h = start_h, begin_h
        self.per_h = bench.steps_per_hour

    def play(
        self,
        pair: Pair,
        ambient_c: float | None,
        cases: Sequence[Change],
        on_done: Callable[[int], None] | None,
    ) -> list[CaseResult]:
        own = self.bench.loaded(Variant("pair", _pair_sets(pair, self.bench.base)))
        planned = Variant(AS_PLANNED, base=own)
        jobs: list[tuple[Change | None, Variant]] = [(None, planned)]
        for case in cases:
            variant = variant_of(case, own, self.begin_h)
            if variant is not None:
                jobs.append((case, replace(variant, sets={}, base=laid_over(own, variant.sets))))
        usual_soc = self._live(planned, ambient_c)
        results = []
        with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
            waiting: deque[tuple[Change | None, Future[list[Times]]]] = deque()
            for change, variant in jobs:
                ready = self._prepared(variant, ambient_c)
                end_h = self._end_h(change)
                waiting.append((change, pool.submit(self._times, ready, end_h, usual_soc)))
                if len(waiting) > 4:
                    results.append(self._result(pair, ambient_c, own, *waiting.popleft()))
                    if on_done is not None:
                        on_done(1)
            results += [self._result(pair, ambient_c, own, *one) for one in waiting]
        if on_done is not None:
            on_done(len(waiting))
        return results

    def _end_h(self, case: Change | None) -> int | None:
        """Hour of the trip at which the spell is over; None where it has no end."""
        if case is None or case.for_days is None:
            return None
        return self.begin_h + round(24 * case.for_days)

    def _result(
        self, pair: Pair, ambient_c: float | None, own: LoadedTrip, case: Change | None,
        future: Future[list[Times]],
    ) -> CaseResult:  # fmt: skip
        changes = () if case is None else tuple(
            f"{key} = {value}" for key, value in _shown_sets(plan_sets(case, own)).items()
        )  # fmt: skip
        return CaseResult(
            pair=pair, ambient_c=ambient_c, case=AS_PLANNED if case is None else case.name,
            what="The trip as it is planned." if case is None else case.what, changes=changes,
            spell_days=None if case is None else case.for_days, times=tuple(future.result()),
        )  # fmt: skip

    def _prepared(self, variant: Variant, ambient_c: float | None) -> Prepared:
        ready = self.bench.prepared(variant, 0, self.years)
        if ambient_c is None:
            return ready
        hours = slice(self.start_h, self.begin_h + 24 * MOST_DAYS)
        skies = ready.skies.copy()
        planned = self.bench.prepared(Variant(AS_PLANNED), 0, self.years).skies
        skies["temp_air_c"] += ambient_c - planned["temp_air_c"][:, hours].mean(
            axis=1, keepdims=True
        )
        return replace(ready, skies=skies)

    def _live(self, variant: Variant, ambient_c: float | None) -> list[np.ndarray]:
        """Charge of the undisturbed trip by step, for each weather year."""
        ready = self._prepared(variant, ambient_c)
        return [self._trace(ready, year)["soc"].copy() for year in range(self.years)]

    def _times(
        self, ready: Prepared, end_h: int | None, usual_soc: list[np.ndarray]
    ) -> list[Times]:
        begin = (self.begin_h - self.start_h) * self.per_h
        end = None if end_h is None else (end_h - self.start_h) * self.per_h
        return [
            times_of(self._trace(ready, year), begin, end, 1.0 / self.per_h, usual_soc[year])
            for year in range(self.years)
        ]

    def _trace(self, ready: Prepared, year: int) -> np.ndarray:
        hours = slice(self.start_h, self.begin_h + 24 * MOST_DAYS)
        steps = slice(hours.start * self.per_h, hours.stop * self.per_h)
        trace, _ = run_one(ready.van, ready.clock[hours], ready.skies[year][hours],
                           ready.ask[steps], self.per_h)  # fmt: skip
        return trace


def _pair_sets(pair: Pair, loaded: LoadedTrip) -> dict[str, Any]:
    """Plan values that put the pair's fridge and battery into the van."""
    sets: dict[str, Any] = {}
    for table, part in (("fridge", pair.fridge), ("battery", pair.battery)):
        if part is None:
            continue
        for key, value in part.model_dump(mode="json").items():
            sets[f"van.{table}.{key}"] = "none" if value is None else value
    return sets


def _shown_sets(sets: dict[str, Any]) -> dict[str, Any]:
    """The same key for every item of a list is told once."""
    shown: dict[str, Any] = {}
    for key, value in sets.items():
        parts = ["*" if part.isdecimal() else part for part in key.split(".")]
        shown[".".join(parts)] = value
    return shown


def fridge_name(fridge: Fridge | None) -> str:
    """``upright 65 l``."""
    return "no fridge" if fridge is None else f"{fridge.shape} {fridge.volume_l:g} l"


def battery_name(battery: Battery) -> str:
    """``LFP 280 Ah``."""
    return f"{battery.chemistry.upper()} {battery.capacity_ah:g} Ah"


def distinct(names: Iterable[str]) -> list[str]:
    """The same names, with a number where one comes twice."""
    names = list(names)
    return [
        name if names.count(name) == 1 else f"{name} ({names[: k + 1].count(name)})"
        for k, name in enumerate(names)
    ]
