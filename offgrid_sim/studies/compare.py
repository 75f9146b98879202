"""Two or more plans through the same weather years, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from offgrid_sim.errors import PlanError
from offgrid_sim.outcome.risk import Risk, risk
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.compare_paired import (
    ChanceDifference,
    Difference,
    chance_difference,
    mean_difference,
)
from offgrid_sim.studies.variants import Bench, Variant


@dataclass(frozen=True)
class Measure:
    """What is compared: TOTALS field, words, unit, whether per day, and if less is better."""

    field: str
    title: str
    unit: str
    per_day: bool = False
    less_is_better: bool | None = True


MEASURES = (
    Measure("blackout_hours", "Dark", "h a trip"),
    Measure("thaw_hours", "Freezer thawing", "h a trip"),
    Measure("fridge_cutout_hours", "Fridge cut out", "h a trip"),
    Measure("food_above_5c_hours", "Food above 5 °C", "h a trip"),
    Measure("floor_water_l", "Meltwater on the floor", "l a trip"),
    Measure("dry_hours", "Fresh tank dry", "h a trip"),
    Measure("grey_full_hours", "Grey tank full", "h a trip"),
    Measure("min_soc", "Lowest charge", "%", less_is_better=False),
    Measure("solar_wh", "Solar taken", "Wh a day", True, None),
    Measure("curtailed_wh", "Solar refused", "Wh a day", True, None),
    Measure("alternator_wh", "Alternator", "Wh a day", True, None),
    Measure("fridge_wh", "Fridge", "Wh a day", True, None),
    Measure("load_wh", "All loads", "Wh a day", True, None),
)
CHANCES = (
    ("blackout_hours", "Years that go dark"),
    ("thaw_hours", "Years with a thaw"),
    ("dry_hours", "Years that run dry"),
)


@dataclass(frozen=True)
class Side:
    """One plan: its name, what it costs and weighs as far as the plan says, and what happened."""

    name: str
    loaded: LoadedTrip
    totals: np.ndarray
    risk: Risk
    price: float
    mass_kg: float
    unpriced: tuple[str, ...]

    @property
    def trouble_h(self) -> float:
        """Mean hours dark, thawing or cut out in a trip."""
        names = ("blackout_hours", "thaw_hours", "fridge_cutout_hours")
        return float(sum(self.totals[name].mean() for name in names))


@dataclass(frozen=True)
class Row:
    """A measure: the mean of each side, and each other side's difference from the first."""

    measure: Measure
    means: tuple[float, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True)
class ChanceRow:
    """Years in which it happened on each side, and the differences from the first."""

    field: str
    title: str
    counts: tuple[int, ...]
    differences: tuple[ChanceDifference, ...]


@dataclass(frozen=True)
class Changed:
    """A plan value that is not the same on all sides; None where a side has no such key."""

    key: str
    meaning: str
    values: tuple[Any, ...]
    origins: tuple[str, ...]


@dataclass(frozen=True)
class Comparison:
    """All sides through the same weather years. The first is what the others are held against."""

    sides: tuple[Side, ...]
    years: tuple[int, ...]
    changed: tuple[Changed, ...]
    rows: tuple[Row, ...]
    chances: tuple[ChanceRow, ...]
    notes: tuple[str, ...]

    @property
    def best(self) -> int:
        """The side with fewest hours of trouble; then least dry, then fullest battery."""

        def burden(side: Side) -> tuple[float, float, float]:
            totals = side.totals
            return (round(side.trouble_h, 6), round(float(totals["dry_hours"].mean()), 6),
                    -round(float(totals["min_soc"].min()), 6))  # fmt: skip

        return min(range(len(self.sides)), key=lambda k: burden(self.sides[k]))


def compare(plans: Sequence[tuple[str, LoadedTrip]]) -> Comparison:
    """Run all plans through the first one's weather years; PlanError with fewer than two plans."""
    if len(plans) < 2:
        raise PlanError("only one plan to compare; name a second trip or van file.")
    first = plans[0][1]
    notes = []
    sides = []
    labels: list[tuple[int, ...]] = []
    for name, own in plans:
        loaded = _same_weather(own, first)
        if own.trip.weather != first.trip.weather:
            notes.append(f"{name} has other [weather] keys; those of {plans[0][0]} are used.")
        bench = Bench(loaded)
        labels.append(bench.years)
        totals = bench.run([Variant(name)])[0]
        sides.append(_side(name, loaded, totals, labels[-1]))
    sides, years = _common_years(sides, labels)
    notes += _other_trips(sides)
    return Comparison(
        sides=tuple(sides), years=years, changed=changed_values([s.loaded for s in sides]),
        rows=tuple(_row(measure, sides) for measure in MEASURES),
        chances=tuple(_chance_row(field, title, sides) for field, title in CHANCES),
        notes=tuple(notes),
    )  # fmt: skip


def changed_values(plans: Sequence[LoadedTrip], weather: bool = False) -> tuple[Changed, ...]:
    """Plan values that differ; names of things are left out, they change nothing.

    ``weather`` adds the choice of weather, which a comparison has in common.
    """
    keys = dict.fromkeys(key for loaded in plans for key in loaded.origins)
    found = []
    for key in keys:
        if key.rpartition(".")[2] == "name":
            continue
        if key.startswith("weather.") and not weather:
            continue
        origins = [loaded.origins.get(key) for loaded in plans]
        values = tuple(None if one is None else one.value for one in origins)
        present = [one is None for one in origins]
        if any(value != values[0] for value in values) or len(set(present)) > 1:
            meaning = next(one.description for one in origins if one is not None)
            whose = tuple("" if one is None else one.kind for one in origins)
            found.append(Changed(key, meaning, values, whose))
    return tuple(found)


def _same_weather(own: LoadedTrip, first: LoadedTrip) -> LoadedTrip:
    """The plan with the first one's weather choice and where its file lies."""
    trip = own.trip.model_copy(update={"weather": first.trip.weather})
    folders = dict(own.folders)
    if "weather.file" in first.folders:
        folders["weather.file"] = first.folders["weather.file"]
    document = {**own.document, "weather": first.document["weather"]}
    return replace(own, trip=trip, folders=folders, document=document)


def _side(name: str, loaded: LoadedTrip, totals: np.ndarray, years: tuple[int, ...]) -> Side:
    van = loaded.trip.van
    parts: list[tuple[str, Any]] = [(array.name, array) for array in van.solar]
    parts += [("battery", van.battery)]
    parts += [("fridge", van.fridge)] if van.fridge is not None else []
    return Side(
        name=name, loaded=loaded, totals=totals, risk=risk(years, totals),
        price=sum(part.price or 0.0 for _, part in parts),
        mass_kg=sum(part.mass_kg or 0.0 for _, part in parts),
        unpriced=tuple(n for n, part in parts if part.price is None or part.mass_kg is None),
    )  # fmt: skip


def _common_years(
    sides: list[Side], labels: list[tuple[int, ...]]
) -> tuple[list[Side], tuple[int, ...]]:
    """Keep the weather years that all sides have; PlanError when there are none."""
    years = tuple(year for year in labels[0] if all(year in own for own in labels[1:]))
    if not years:
        raise PlanError("the plans share no weather year; give them the same weather source.")
    cut = []
    for side, own in zip(sides, labels, strict=True):
        totals = side.totals[[own.index(year) for year in years]]
        cut.append(replace(side, totals=totals, risk=risk(years, totals)))
    return cut, years


def _other_trips(sides: Sequence[Side]) -> list[str]:
    """Say where more than the van differs."""
    notes = []
    first = sides[0].loaded.trip
    for side in sides[1:]:
        trip = side.loaded.trip
        other = [word for word, same in (
            ("route", trip.route == first.route), ("first day", trip.first_day == first.first_day),
            ("people", trip.people == first.people), ("habits", trip.habits == first.habits),
        ) if not same]  # fmt: skip
        if other:
            notes.append(f"{side.name} differs in {', '.join(other)} as well as in its van.")
        if trip.nights != first.nights:
            notes.append(f"{side.name} lasts {trip.nights} nights instead of {first.nights}.")
    return notes


def _values(measure: Measure, side: Side) -> np.ndarray:
    values = side.totals[measure.field].astype(float)
    if measure.per_day:
        values = values / (side.totals["hours"] / 24.0)
    return values * 100.0 if measure.unit == "%" else values


def _row(measure: Measure, sides: Sequence[Side]) -> Row:
    values = [_values(measure, side) for side in sides]
    return Row(
        measure,
        tuple(float(one.mean()) for one in values),
        tuple(mean_difference(values[0], one) for one in values[1:]),
    )


def _chance_row(field: str, title: str, sides: Sequence[Side]) -> ChanceRow:
    flags = [side.totals[field] > 0 for side in sides]
    return ChanceRow(
        field,
        title,
        tuple(int(flag.sum()) for flag in flags),
        tuple(chance_difference(flags[0], flag) for flag in flags[1:]),
    )
