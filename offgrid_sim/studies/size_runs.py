"""Live designs through weather years: in blocks, on all cores, weather made one chunk ahead.

Sizes (watts, amp-hours, litres of tank) change neither weather nor sun nor demand, so designs
that differ in sizes alone share all of these and only their VAN records are made one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from offgrid_sim.engine.flat import SKY
from offgrid_sim.engine.loop import run_many
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.trip import Trip
from offgrid_sim.studies.size_grid import Design
from offgrid_sim.studies.size_ledger import Ledger
from offgrid_sim.studies.variants import Bench, Variant

FIRST_YEARS, MOST_YEARS_AT_ONCE = 10, 80
"""Few years first, so that all cores soon have work; then many, so that sun is placed rarely."""

SKY_BYTES_AT_ONCE = 64_000_000
"""Bounds the weather held in memory, of which there are two chunks: one lived, one made."""

RUNS_PER_BLOCK = 2000
_SIZE_KEYS = ("van.battery.capacity_ah", "van.water.fresh_l", "van.water.grey_l")


@dataclass(frozen=True)
class Setup:
    """One way in which weather, sun or demand differ, and the designs (indices) that share it."""

    variant: Variant
    members: tuple[int, ...]


class Runner:
    """Designs of one bench; ``ledger`` gathers what they live through."""

    def __init__(
        self,
        bench: Bench,
        designs: Sequence[Design],
        ledger: Ledger,
        on_done: Callable[[int], None] | None = None,
    ):
        """Check all plans and the first weather year; PlanError or weather errors come here."""
        self.bench = bench
        self.ledger = ledger
        self.on_done = on_done
        self.trips: list[Trip] = [bench.base.trip] * len(designs)
        self.setups = self._setups(designs)
        self._setup_of = {k: n for n, setup in enumerate(self.setups) for k in setup.members}
        self.vans = np.concatenate([van_numbers(trip.van) for trip in self.trips])
        self.first_year = [bench.prepared(setup.variant, 0, 1) for setup in self.setups]
        skies = {id(ready.skies): ready.skies.shape[1] for ready in self.first_year}
        year_bytes = sum(skies.values()) * SKY.itemsize
        self.years_at_once = int(np.clip(SKY_BYTES_AT_ONCE // year_bytes, 1, MOST_YEARS_AT_ONCE))

    def run(self, members: Sequence[int], first: int, last: int) -> None:
        """Live years ``first`` to ``last`` (half-open) with designs ``members``, if not done."""
        wanted = np.zeros(len(self.trips), bool)
        wanted[list(members)] = True
        chunks = [
            (a, b) for a, b in self._chunks(first, last) if not self.ledger.done[wanted, a:b].all()
        ]
        try:
            with ThreadPoolExecutor(1, thread_name_prefix="weather") as ahead:
                made = [ahead.submit(self._prepare, wanted, *chunk) for chunk in chunks[:1]]
                for k, (a, b) in enumerate(chunks):
                    ready = made.pop().result()
                    made = [ahead.submit(self._prepare, wanted, *c) for c in chunks[k + 1 : k + 2]]
                    self._live(ready, wanted, a, b)
        except KeyboardInterrupt:
            self.ledger.save()
            raise

    def _chunks(self, first: int, last: int) -> list[tuple[int, int]]:
        """Cut years into chunks, half-open; the first chunk is short."""
        second = min(first + min(FIRST_YEARS, self.years_at_once), last)
        edges = [first, *range(second, last, self.years_at_once), last]
        return list(pairwise(edges))

    def first_year_of(self, design: int) -> Prepared:
        """The first weather year of a design's setup, in numbers: its hours and sources."""
        return self.first_year[self._setup_of[design]]

    def _setups(self, designs: Sequence[Design]) -> list[Setup]:
        """Group designs by what is not a size; check each value of each size once."""
        found: dict[str, tuple[Variant, list[int]]] = {}
        arrays = len(self.bench.base.trip.van.solar)
        checked: set[tuple[str, Any]] = set()
        for k, design in enumerate(designs):
            sets = design.variant.sets
            sizes = {key: value for key, value in sets.items() if _is_size(key, arrays)}
            other = {key: value for key, value in sets.items() if key not in sizes}
            shared = Variant(design.name, other)
            known, members = found.setdefault(repr(shared.words()), (shared, []))
            members.append(k)
            for pair in sizes.items():
                if pair not in checked:
                    self.bench.loaded(Variant(design.name, dict([pair])))
                    checked.add(pair)
            trip = self.bench.loaded(known).trip
            for key, value in sizes.items():
                trip = _with_value(trip, key.split("."), float(value))
            self.trips[k] = trip
        return [Setup(variant, tuple(members)) for variant, members in found.values()]

    def _prepare(self, wanted: np.ndarray, first: int, last: int) -> list[Prepared | None]:
        """Every setup that still has designs to live these years, in numbers."""
        return [
            self.bench.prepared(setup.variant, first, last)
            if (wanted & ~self.ledger.done[:, first:last].all(axis=1))[list(setup.members)].any()
            else None
            for setup in self.setups
        ]

    def _live(
        self, ready: list[Prepared | None], wanted: np.ndarray, first: int, last: int
    ) -> None:
        """Live some years; designs of setups that share sun and demand go together."""
        missing = wanted & ~self.ledger.done[:, first:last].all(axis=1)
        groups: dict[tuple[int, int, int], tuple[Prepared, list[int]]] = {}
        for setup, one in zip(self.setups, ready, strict=True):
            if one is not None:
                key = (id(one.skies), id(one.clock), id(one.ask))
                groups.setdefault(key, (one, []))[1].extend(k for k in setup.members if missing[k])
        for one, members in groups.values():
            size = max(1, RUNS_PER_BLOCK // (last - first))
            for start in range(0, len(members), size):
                self._block(one, members[start : start + size], first, last)

    def _block(self, ready: Prepared, members: list[int], first: int, last: int) -> None:
        years = last - first
        jobs = np.indices((len(members), years)).reshape(2, -1).T.copy()
        totals = run_many(
            self.vans[members], ready.clock, ready.skies, ready.ask, jobs,
            ready.steps_per_hour, self.on_done,
        )  # fmt: skip
        self.ledger.record(members, first, last, totals.reshape(len(members), years))
        self.ledger.save_now_and_then()


def _is_size(key: str, arrays: int) -> bool:
    parts = key.split(".")
    watts = len(parts) == 4 and parts[:2] == ["van", "solar"] and parts[3] == "panel_w"
    return key in _SIZE_KEYS or (watts and parts[2].isdecimal() and int(parts[2]) < arrays)


def _with_value(model: Any, path: Sequence[str], value: float) -> Any:
    """A copy of a frozen model (or tuple of models) with one value changed; not validated."""
    head, *rest = path
    if isinstance(model, tuple):
        k = int(head)
        return (*model[:k], _with_value(model[k], rest, value), *model[k + 1 :])
    new = _with_value(getattr(model, head), rest, value) if rest else value
    return model.model_copy(update={head: new})
