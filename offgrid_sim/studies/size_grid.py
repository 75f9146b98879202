"""What is varied in a sizing study: axes of values, and their combinations as designs.

An axis is written as a range ``100:800:100`` (both ends included), as a list ``100,200,300`` or
as one value.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.load import load_fragment
from offgrid_sim.plan.trip import Trip
from offgrid_sim.studies.variants import Variant

MOST_DESIGNS = 20_000
COMMAND_LINE = "command line"

Sets = Mapping[str, Any]


@dataclass(frozen=True)
class Level:
    """One value on an axis: as shown, as a number where it is one, and the plan keys it sets."""

    label: str
    value: Any
    sets: Sets


@dataclass(frozen=True)
class Axis:
    """One thing that is varied. ``name`` is its key in the results; ``unit`` may be empty."""

    name: str
    title: str
    unit: str
    levels: tuple[Level, ...]

    @property
    def numeric(self) -> bool:
        """Whether all values are numbers, so that more and less mean something."""
        return all(isinstance(level.value, float) for level in self.levels)


@dataclass(frozen=True)
class Design:
    """One combination: the position on each axis, the varied values by name, plan keys to set."""

    at: tuple[int, ...]
    values: Mapping[str, Any]
    variant: Variant

    @property
    def name(self) -> str:
        """``400 W, 200 Ah``."""
        return self.variant.name


def parse_values(option: str, text: str) -> tuple[str, ...]:
    """The values of ``100:800:100`` or ``a,b,c`` as words, in the order given."""
    if text.count(":") == 2:
        try:
            low, high, step = (float(part) for part in text.split(":"))
        except ValueError:
            raise _refuse(option, text, "must be a range such as 100:800:100") from None
        if not all(map(math.isfinite, (low, high, step))) or step <= 0 or high < low:
            raise _refuse(option, text, "must run from low to high in steps above 0")
        count = math.floor((high - low) / step + 1e-9) + 1
        if count > MOST_DESIGNS:
            raise _refuse(option, text, f"has more than {MOST_DESIGNS} values")
        return tuple(f"{low + k * step:.12g}" for k in range(count))
    words = tuple(word.strip() for word in text.split(","))
    if not all(words):
        raise _refuse(option, text, "has an empty value")
    if len(set(words)) < len(words):
        raise _refuse(option, text, "names a value twice")
    return words


def numbers(option: str, text: str) -> tuple[float, ...]:
    """The values as finite numbers, sorted."""
    found = []
    for word in parse_values(option, text):
        try:
            value = float(word)
        except ValueError:
            raise _refuse(option, text, f"{word!r} is not a number") from None
        if not math.isfinite(value):
            raise _refuse(option, text, f"{word!r} is not a finite number")
        found.append(value)
    return tuple(sorted(found))


def panel_axis(trip: Trip, text: str) -> Axis:
    """Total nameplate watts, shared among the arrays in the proportions of the plan."""
    arrays = trip.van.solar
    total = sum(array.panel_w for array in arrays)

    def sets(watts: float) -> Sets:
        if not arrays:
            return {"van.solar.0.panel_w": watts}
        shares = [a.panel_w / total if total else 1 / len(arrays) for a in arrays]
        return {f"van.solar.{k}.panel_w": watts * share for k, share in enumerate(shares)}

    return _axis("panel_w", "Panels", "W", "--panel-w", text, sets)


def battery_axis(text: str) -> Axis:
    """Nameplate amp-hours of the bank."""
    return _axis("battery_ah", "Battery", "Ah", "--battery-ah", text,
                 lambda ah: {"van.battery.capacity_ah": ah})  # fmt: skip


def tilt_axis(trip: Trip, text: str) -> Axis:
    """Tilt of all arrays, degrees from horizontal."""
    arrays = range(max(len(trip.van.solar), 1))
    return _axis("tilt", "Tilt", "°", "--tilt", text,
                 lambda deg: {f"van.solar.{k}.tilt_deg": deg for k in arrays})  # fmt: skip


def tank_axis(name: str, text: str) -> Axis:
    """Litres of the ``fresh_l`` or ``grey_l`` tank."""
    title = "Fresh tank" if name == "fresh_l" else "Grey tank"
    return _axis(name, title, "l", f"--{name.replace('_', '-')}", text,
                 lambda litres: {f"van.water.{name}": litres})  # fmt: skip


def fridge_axis(text: str) -> Axis:
    """Fridges, each from a file that holds a ``[fridge]`` table."""
    levels = []
    for word in parse_values("--fridge", text):
        fridge = load_fragment(Path(word), "van.fridge").model_dump(mode="json")
        sets = {f"van.fridge.{k}": "none" if v is None else v for k, v in fridge.items()}
        levels.append(Level(Path(word).stem, Path(word).stem, sets))
    return Axis("fridge", "Fridge", "", tuple(levels))


def vary_axis(words: str) -> Axis:
    """Any plan key: ``van.cabin.ua_w_k=35,60,100``."""
    key, equals, text = words.partition("=")
    key = key.strip()
    if not equals or not key or not text.strip():
        raise _refuse("--vary", words, "must be key=values, such as van.cabin.ua_w_k=35,60,100")
    if key.startswith("weather"):
        raise _refuse("--vary", words, "weather is the same for all designs, year by year",
                      "Choose it with --weather, --years and --seed.")  # fmt: skip
    levels = []
    for word in parse_values(f"--vary {key}", text.strip()):
        value = _number_or_word(word)
        whole = isinstance(value, float) and value.is_integer() and "." not in word
        levels.append(Level(word, value, {key: int(value) if whole else value}))
    if all(isinstance(level.value, float) for level in levels):
        levels.sort(key=lambda level: level.value)
    return Axis(key, key, "", tuple(levels))


def designs(axes: Sequence[Axis]) -> tuple[Design, ...]:
    """All combinations, the last axis running fastest."""
    count = math.prod(len(axis.levels) for axis in axes)
    if count > MOST_DESIGNS:
        raise _refuse("the grid", "", f"has {count} designs, more than {MOST_DESIGNS}",
                      "Take wider steps first, then finer ones around the answer.")  # fmt: skip
    found = []
    for at in product(*(range(len(axis.levels)) for axis in axes)):
        levels = [axis.levels[k] for axis, k in zip(axes, at, strict=True)]
        sets = {key: value for level in levels for key, value in level.sets.items()}
        names = [_shown(axis, level) for axis, level in zip(axes, levels, strict=True)]
        values = {axis.name: lv.value for axis, lv in zip(axes, levels, strict=True)}
        found.append(Design(at, values, Variant(", ".join(names) or "the plan as it is", sets)))
    return tuple(found)


def check_axes(axes: Sequence[Axis]) -> None:
    """Refuse to vary one plan key twice; raises PlanError."""
    seen: dict[str, str] = {}
    for axis in axes:
        for key in axis.levels[0].sets:
            if key in seen:
                raise _refuse(axis.name, "", f"is already varied by {seen[key]}",
                              "Give it once.")  # fmt: skip
            seen[key] = axis.name


def _number_or_word(word: str) -> Any:
    try:
        value = float(word)
    except ValueError:
        return word
    return value if math.isfinite(value) else word


def _shown(axis: Axis, level: Level) -> str:
    if axis.unit:
        return f"{level.label} {axis.unit}".replace(" °", "°")
    return f"{axis.name.rpartition('.')[2]} {level.label}"


def _axis(
    name: str, title: str, unit: str, option: str, text: str, sets: Callable[[float], Sets]
) -> Axis:
    make = partial(_number_level, sets=sets)
    return Axis(name, title, unit, tuple(map(make, numbers(option, text))))


def _number_level(value: float, sets: Callable[[float], Sets]) -> Level:
    return Level(f"{value:g}", value, sets(value))


def _refuse(option: str, text: str, allowed: str, step: str = "") -> PlanError:
    step = step or "Write 100:800:100 for a range or 100,200,300 for a list."
    return PlanError([Problem(COMMAND_LINE, option, text, allowed, step)])
