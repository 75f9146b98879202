"""What would help: each change lived through all weather years, alone and in pairs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.resources import files
from itertools import combinations
from pathlib import Path

import numpy as np

from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.quantity import quantity
from offgrid_sim.studies.changes import Change, laid, laid_over, read_changes, variant_of
from offgrid_sim.studies.compare_paired import Difference, mean_difference
from offgrid_sim.studies.variants import AS_PLANNED, Bench, Variant

MOST_YEARS = 100
"""Weather years that cures are tried in; more would only make the wait longer."""

PAIRED = 5
"""The most helpful cures, by hours and by value, that are also tried two by two."""

LEAST_SAVED_H = 0.05
"""Hours a trip below which a cure is said not to help."""

TROUBLES = ("blackout_hours", "thaw_hours", "fridge_cutout_hours", "dry_hours")


class Cure(Change):
    """A change that people can buy or do."""

    price: float = quantity(0.0, "what it costs", limits=(0, 1e6))
    mass_kg: float = quantity(0.0, "what it weighs", limits=(-1000, 1000))
    effort: str = quantity("", "what it takes")
    refill_stop: bool = quantity(False, "one more stop with fresh water")
    face_noon_sun: bool = quantity(False, "all arrays face south, or north in the south")


@dataclass(frozen=True)
class Tried:
    """One cure, or two together, in all weather years. Hours are means over years, per trip."""

    names: tuple[str, ...]
    whats: tuple[str, ...]
    efforts: tuple[str, ...]
    changes: tuple[str, ...]
    price: float
    mass_kg: float
    saved_h: float
    interval: Difference
    dark_saved_h: float
    thaw_saved_h: float
    dry_saved_h: float
    failing_years: int
    lowest_soc: float

    @property
    def name(self) -> str:
        """One name, or two joined."""
        return " and ".join(self.names)

    @property
    def helps(self) -> bool:
        """Whether it saves hours of trouble."""
        return self.saved_h >= LEAST_SAVED_H

    @property
    def per_100(self) -> float:
        """Hours saved per 100 of money; infinite where it costs nothing and helps."""
        return self._per(self.price / 100.0)

    @property
    def per_kg(self) -> float:
        """Hours saved per kilo; infinite where it weighs nothing and helps."""
        return self._per(self.mass_kg)

    def _per(self, cost: float) -> float:
        if cost > 0:
            return self.saved_h / cost
        return np.inf if self.helps else 0.0


@dataclass(frozen=True)
class Cures:
    """All that was tried, most hours saved per cost first; free ones that help come before.

    ``best_pair`` saves most hours of all pairs of cures that are not enough alone, at the least
    price among equals. ``cheapest`` is
    the cheapest single or pair after which no weather year fails. ``skipped`` changes nothing.
    """

    years: int
    usual_h: float
    usual_failing_years: int
    tried: tuple[Tried, ...]
    best_pair: Tried | None
    cheapest: Tried | None
    skipped: tuple[str, ...]

    @property
    def helping(self) -> tuple[Tried, ...]:
        """Single cures that help."""
        return tuple(one for one in self.tried if one.helps)


def usual_cures() -> tuple[Cure, ...]:
    """The cures that come with the program; their prices and masses are assumed."""
    return read_changes(Path(str(files("offgrid_sim") / "data" / "cures.toml")), "cures", Cure)


def find_cures(loaded: LoadedTrip, cures: Sequence[Cure], bench: Bench | None = None) -> Cures:
    """Try every cure in all weather years, then the most helpful two by two.

    A van that never fails gets nothing tried. PlanError where a cure cannot be laid over the plan.
    """
    bench = bench or Bench(loaded)
    years = slice(0, MOST_YEARS)
    usual = bench.run([AS_PLANNED], years)[0]
    count = len(usual)
    failing = int((_hours(usual) > 0).sum())
    if failing == 0:
        return Cures(count, 0.0, 0, (), None, None, ())
    offered = [(cure, cure_variant(cure, loaded)) for cure in cures]
    applied = [(cure, variant) for cure, variant in offered if variant is not None]
    skipped = tuple(cure.name for cure, variant in offered if variant is None)
    variants = [laid(variant, loaded) for _, variant in applied]
    totals = bench.run(variants, years) if applied else usual[:0]
    single = [_tried((cure,), (variant,), usual, own)
              for (cure, variant), own in zip(applied, totals, strict=True)]  # fmt: skip
    pairs = _pairs(loaded, bench, years, usual, [cure for cure, _ in applied], single)
    return Cures(
        years=count, usual_h=float(_hours(usual).mean()), usual_failing_years=failing,
        tried=tuple(sorted(single, key=_value_first)),
        best_pair=max(pairs, key=lambda one: (round(one.saved_h, 6), -one.price), default=None),
        cheapest=_cheapest([*single, *pairs]), skipped=skipped,
    )  # fmt: skip


def _cheapest(tried: Sequence[Tried]) -> Tried | None:
    whole = [one for one in tried if one.failing_years == 0]
    return min(whole, key=lambda one: (one.price, len(one.names), one.mass_kg), default=None)


def _value_first(one: Tried) -> tuple[bool, float, float]:
    return (not one.helps, -one.per_100, -one.saved_h)


def _pairs(
    loaded: LoadedTrip, bench: Bench, years: slice, usual: np.ndarray, cures: Sequence[Cure],
    single: Sequence[Tried],
) -> list[Tried]:  # fmt: skip
    """The most helpful cures two by two; the second is laid over the plan with the first.

    Cures after which no year fails need no second one and are left out.
    """
    by_name = {cure.name: cure for cure in cures}
    helping = [one for one in single if one.helps and one.failing_years]
    most = sorted(helping, key=lambda one: -one.saved_h)[:PAIRED]
    value = sorted(helping, key=_value_first)[:PAIRED]
    chosen = [by_name[name] for name in dict.fromkeys(one.name for one in (*most, *value))]
    jobs = []
    for first, second in combinations(chosen, 2):
        variant = _both(first, second, loaded)
        if variant is not None:
            jobs.append((first, second, variant))
    if not jobs:
        return []
    totals = bench.run([laid(variant, loaded) for _, _, variant in jobs], years)
    return [_tried((first, second), (variant,), usual, own)
            for (first, second, variant), own in zip(jobs, totals, strict=True)]  # fmt: skip


def cure_variant(cure: Cure, loaded: LoadedTrip) -> Variant | None:
    """The cure over the trip; None where it changes nothing."""
    if cure.face_noon_sun:
        south = loaded.trip.route.stops[0].latitude_deg < 0
        azimuth = {"van.solar.*.azimuth_deg": 0.0 if south else 180.0}
        cure = cure.model_copy(update={"set": {**cure.set, **azimuth}})
    variant = variant_of(cure, loaded)
    refill = _refill_sets(loaded) if cure.refill_stop else {}
    if not refill:
        return variant
    if variant is None:
        return Variant(cure.name, refill)
    return replace(variant, sets={**variant.sets, **refill})


def _both(first: Cure, second: Cure, loaded: LoadedTrip) -> Variant | None:
    """The second cure over a plan that has the first; None if either then changes nothing."""
    one = cure_variant(first, loaded)
    assert one is not None
    middle = laid_over(loaded, one.sets)
    origins = {key: replace(origin, value=one.sets[key]) if key in one.sets else origin
               for key, origin in loaded.origins.items()}  # fmt: skip
    other = cure_variant(second, replace(middle, origins=origins))
    if other is None:
        return None
    return Variant(
        f"{first.name} and {second.name}",
        {**one.sets, **other.sets},
        sky_change=other.sky_change or one.sky_change,
        clock_change=other.clock_change or one.clock_change,
    )


def _refill_sets(loaded: LoadedTrip) -> dict[str, bool]:
    """Fresh water and a dump at the stop in the middle of the longest stretch without a tap."""
    stretch: list[int] = []
    longest: list[int] = []
    stops = loaded.trip.route.stops
    for k, stop in enumerate(stops):
        stretch = [] if stop.fresh_water else [*stretch, k]
        if sum(stops[i].nights for i in stretch) > sum(stops[i].nights for i in longest):
            longest = stretch
    if not longest:
        return {}
    middle = longest[len(longest) // 2]
    return {f"route.stops.{middle}.{name}": True for name in ("fresh_water", "grey_dump")}


def _tried(
    cures: tuple[Cure, ...], variants: tuple[Variant, ...], usual: np.ndarray, own: np.ndarray
) -> Tried:
    gap = mean_difference(_hours(own), _hours(usual))

    def saved(*names: str) -> float:
        return float(sum((usual[name] - own[name]).mean() for name in names))

    sets = {key: value for variant in variants for key, value in variant.sets.items()}
    return Tried(
        names=tuple(cure.name for cure in cures),
        whats=tuple(cure.what for cure in cures),
        efforts=tuple(cure.effort for cure in cures),
        changes=tuple(f"{key} = {value}" for key, value in sets.items()),
        price=sum(cure.price for cure in cures),
        mass_kg=sum(cure.mass_kg for cure in cures),
        saved_h=gap.value,
        interval=gap,
        dark_saved_h=saved("blackout_hours"),
        thaw_saved_h=saved("thaw_hours", "fridge_cutout_hours"),
        dry_saved_h=saved("dry_hours"),
        failing_years=int((_hours(own) > 0).sum()),
        lowest_soc=float(own["min_soc"].min()),
    )


def _hours(totals: np.ndarray) -> np.ndarray:
    """Hours of trouble in each weather year."""
    return np.sum([totals[name] for name in TROUBLES], axis=0)
