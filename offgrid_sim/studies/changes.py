"""Changes to a trip as people write them: set, add, scale a value, or a spell of hard days.

A change is read from TOML, checked with all problems told together, and becomes a
:class:`~offgrid_sim.studies.variants.Variant` for a given trip. In a dotted key ``*`` stands for
every item of a list: ``route.stops.*.sky``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from pydantic import Field, ValidationError, field_validator

from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.keys import dotted, known_keys, split_path
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.problems import shown
from offgrid_sim.plan.quantity import PlanModel, quantity
from offgrid_sim.plan.toml_file import nearest, read_toml
from offgrid_sim.plan.trip import Trip
from offgrid_sim.studies.causes_influences import SUN_FIELDS
from offgrid_sim.studies.variants import Variant

Numbers = dict[str, float]
LUNCH_HOUR = 12
"""Local hour from which extra driving is laid, where the plan does not drive anyway."""


class Change(PlanModel):
    """A change in words. Tables of plan keys hold for the whole trip, the rest for the spell."""

    name: str = quantity(..., "what it is called")
    what: str = quantity("", "what it means, in a sentence")
    set: dict[str, Any] = Field({}, description="plan keys and their new values")
    add: Numbers = Field({}, description="plan keys and what is added, kept within limits")
    scale: Numbers = Field({}, description="plan keys and the factor")
    at_least: Numbers = Field({}, description="plan keys raised to this where they are lower")
    at_most: Numbers = Field({}, description="plan keys lowered to this where they are higher")
    for_days: float | None = quantity(
        None, "how long the spell lasts; else to the end", limits=(0, 400)
    )
    sun_share: float = quantity(1.0, "share of the light that is left", limits=(0, 3))
    warmer_k: float = quantity(0.0, "air warmer by this", limits=(-50, 50))
    no_driving: bool = quantity(False, "the van does not move")
    extra_driving_h_per_day: float = quantity(0.0, "more hours at the wheel", limits=(0, 12))
    door_openings_per_h: float = quantity(0.0, "more door openings", limits=(0, 1000))
    no_tap: bool = quantity(False, "no fresh water to be had")
    no_dump: bool = quantity(False, "nowhere to empty the grey tank")

    @field_validator("set", "add", "scale", "at_least", "at_most")
    @classmethod
    def _keys_exist(cls, table: dict[str, Any]) -> dict[str, Any]:
        for key in table:
            if _bare(key) not in KNOWN:
                close = nearest(_bare(key), sorted(KNOWN))
                hint = f", perhaps {close} is meant" if close else ""
                raise ValueError(f"the plan has no key {key}{hint}")
        return table


KNOWN = frozenset(dotted(path) for path in known_keys())
C = TypeVar("C", bound=Change)


def read_changes(path: Path, table: str, model: type[C]) -> tuple[C, ...]:
    """The list of changes headed ``[[table]]``; PlanError with all problems of the file."""
    document = read_toml(path, str(path))
    label = str(path)
    problems = [
        Problem(label, key, "", "there is no such table here", f"Head each one with [[{table}]].")
        for key in document
        if key != table
    ]
    items = document.get(table, [])
    if not isinstance(items, list) or not items:
        problems.append(Problem(label, table, "", "there is none", f"Add one under [[{table}]]."))
        raise PlanError(problems)
    found = []
    for k, item in enumerate(items):
        try:
            found.append(model.model_validate(item, strict=True))
        except ValidationError as error:
            problems += _problems(error, label, f"{table}.{k}", model)
    names = [one.name for one in found]
    problems += [
        Problem(label, f"{table}.name", name, "is given twice", "Give each its own name.")
        for name in dict.fromkeys(names)
        if names.count(name) > 1
    ]
    if problems:
        raise PlanError(problems)
    return tuple(found)


def _problems(error: ValidationError, label: str, at: str, model: type[C]) -> list[Problem]:
    told = []
    for detail in error.errors(include_url=False):
        key = ".".join((at, *(str(part) for part in detail["loc"])))
        name = str(detail["loc"][0]) if detail["loc"] else ""
        value, text = shown(detail["input"]), detail["msg"]
        hint = "Correct the value."
        if detail["type"] == "extra_forbidden":
            close = nearest(name, list(model.model_fields))
            text = "there is no such key"
            hint = f"Write {close} instead." if close else "Remove it."
        elif detail["type"] == "missing":
            value, text, hint = "", "is missing", f"Add {name}."
        elif detail["type"] == "value_error":
            value, text = "", str(detail["ctx"]["error"])
            hint = "Correct the key."
        told.append(Problem(label, key, value, text[:1].lower() + text[1:].rstrip("."), hint))
    return told


def variant_of(change: Change, loaded: LoadedTrip, begin_h: int = 0) -> Variant | None:
    """The change for this trip, its spell from hour ``begin_h``; None where it changes nothing."""
    sets = plan_sets(change, loaded)
    end_h = None if change.for_days is None else begin_h + round(24 * change.for_days)
    spell = slice(begin_h, end_h)
    has_sky = change.sun_share != 1.0 or change.warmer_k != 0.0
    has_clock = bool(change.no_driving or change.extra_driving_h_per_day or change.no_tap
                     or change.no_dump or change.door_openings_per_h)  # fmt: skip
    if not sets and not has_sky and not has_clock:
        return None

    def sky(ready: Prepared, skies: np.ndarray) -> np.ndarray:
        changed = skies.copy()
        for name in SUN_FIELDS:
            changed[name][:, spell] *= change.sun_share
        changed["temp_air_c"][:, spell] += change.warmer_k
        return changed

    def clock(ready: Prepared, numbers: np.ndarray) -> np.ndarray:
        return _spell_clock(change, ready, numbers, spell)

    return Variant(
        change.name,
        sets,
        sky_change=sky if has_sky else None,
        clock_change=clock if has_clock else None,
    )


def plan_sets(change: Change, loaded: LoadedTrip) -> dict[str, Any]:
    """Plan keys of this trip with their new values; keys the trip lacks are left out."""
    sets: dict[str, Any] = {}
    for key, value in change.set.items():
        sets |= {path: value for path in _matches(key, loaded)}
    for table, rule in (
        (change.scale, lambda old, number: old * number),
        (change.add, lambda old, number: old + number),
        (change.at_least, max),
        (change.at_most, min),
    ):
        for key, number in table.items():
            for path in _matches(key, loaded):
                old = sets.get(path, loaded.origins[path].value)
                if old is not None:
                    sets[path] = _within_limits(path, rule(old, number))
    return {path: value for path, value in sets.items() if value != loaded.origins[path].value
            and not (value == "none" and loaded.origins[path].value is None)}  # fmt: skip


def laid(variant: Variant, loaded: LoadedTrip) -> Variant:
    """The same variant with its plan values laid over the trip already, for one quick use."""
    return replace(variant, sets={}, base=laid_over(loaded, variant.sets))


def laid_over(loaded: LoadedTrip, sets: Mapping[str, Any]) -> LoadedTrip:
    """The trip with other values at keys it has, without its origins; quicker than a new load.

    What the plan refuses is told in the words of the loader (PlanError).
    """
    if not sets:
        return loaded
    plain = loaded.trip.model_dump(mode="json")
    for path, value in sets.items():
        *parents, last = (int(p) if p.isdecimal() else p for p in path.split("."))
        table: Any = plain
        for part in parents:
            table = table[part]
        table[last] = None if value == "none" else value
    try:
        trip = Trip.model_validate_json(json.dumps(plain), strict=True)
    except ValidationError:
        return load_trip_document(loaded.document, Variant("change", sets).words())
    return replace(loaded, trip=trip)


def _spell_clock(change: Change, ready: Prepared, numbers: np.ndarray, spell: slice) -> np.ndarray:
    changed = numbers.copy()
    part = changed[spell]
    if change.no_driving:
        part["driving_share"] = 0.0
    if change.extra_driving_h_per_day:
        hour = ready.line.local_hour[spell].astype(int)
        first = np.clip(LUNCH_HOUR + change.extra_driving_h_per_day - hour, 0.0, 1.0)
        extra = np.where(hour >= LUNCH_HOUR, first, 0.0)
        part["driving_share"] = np.minimum(part["driving_share"] + extra, 1.0)
    if change.door_openings_per_h:
        part["door_openings"] += change.door_openings_per_h
    if change.no_tap:
        part["fill_fresh"] = 0.0
    if change.no_dump:
        part["dump_grey"] = 0.0
    return changed


def _bare(key: str) -> str:
    """The key without list positions: ``van.solar.panel_w`` of ``van.solar.0.panel_w``."""
    return ".".join(part for part in key.split(".") if part != "*" and not part.isdecimal())


def _matches(key: str, loaded: LoadedTrip) -> list[str]:
    """Keys of this trip that a written key means."""
    if "*" not in key:
        return [key] if key in loaded.origins else []
    wanted = re.compile(re.escape(key).replace(r"\*", r"\d+"))
    return [path for path in loaded.origins if wanted.fullmatch(path)]


def _within_limits(path: str, value: float) -> float:
    """The value, kept inside what the plan allows at this key."""
    parts = tuple(int(p) if p.isdecimal() else p for p in path.split("."))
    model, at, _ = split_path(parts)
    for limit in model.model_fields[str(at[-1])].metadata:
        low, high = getattr(limit, "ge", None), getattr(limit, "le", None)
        value = value if low is None else max(value, low)
        value = value if high is None else min(value, high)
    return value


def told(sets: Mapping[str, Any]) -> list[str]:
    """Plan keys and new values as words."""
    return [f"{key} = {shown(value)}" for key, value in sets.items()]
