"""Reading back what a report holds: the plan, to run it again, and its answer, to hold against.

A report may come from anybody. Only the named JSON elements are read, the plan is checked like a
file, and a weather file in it counts by its bare name from the current folder.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.load import load_trip, load_trip_document
from offgrid_sim.plan.loaded import STATION, LoadedTrip
from offgrid_sim.plan.toml_file import read_toml

SUFFIXES = (".html", ".htm")
LARGEST_BYTES = 50_000_000
ISLAND = re.compile(r'<script type="application/json" id="(\w+)">(.*?)</script>', re.DOTALL)


@dataclass(frozen=True)
class Answer:
    """What an earlier report said: level, sentence, and key facts as title and value."""

    level: str
    sentence: str
    facts: dict[str, str]


@dataclass(frozen=True)
class Earlier:
    """An earlier report: its plan, and its answer where it holds one."""

    loaded: LoadedTrip
    answer: Answer | None


def is_report(path: Path) -> bool:
    """Whether the name is that of a web page."""
    return path.suffix.lower() in SUFFIXES


def load_trip_or_report(path: Path, sets: tuple[str, ...] = (), **options: Any) -> LoadedTrip:
    """A trip file, or the plan inside a report; ``options`` are those of ``load_trip``."""
    if not is_report(path):
        return load_trip(path, sets, **options)
    return load_trip_document(_plan(_islands(path), path), sets, label=path.name, **options)


def read_earlier(path: Path) -> Earlier:
    """What an earlier report of ``run`` holds. Raises PlanError."""
    islands = _islands(path)
    loaded = load_trip_document(_plan(islands, path), label=path.name)
    return Earlier(loaded, _answer(islands.get("answer")))


def _islands(path: Path) -> dict[str, Any]:
    if not path.is_file():
        read_toml(path, str(path))  # says in words why it cannot be read
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise _refuse(path, "too large for a report", "Name a report made by run.")
        text = path.read_text(encoding="utf-8")
        found = {name: json.loads(body) for name, body in ISLAND.findall(text)}
    except (OSError, ValueError, RecursionError):
        raise _broken(path) from None
    if not found:
        raise _broken(path)
    return found


def _plan(islands: dict[str, Any], path: Path) -> dict[str, Any]:
    """The plan's tables, with weather files by their bare names."""
    plan = islands.get("plan")
    if isinstance(plan, list):
        raise _refuse(path, "it holds several plans", "Name the report of a single run.")
    if not isinstance(plan, dict) or not all(
        isinstance(plan.get(name), dict) for name in ("van", "route", "habits", "weather")
    ):
        raise _broken(path)
    stops = plan["route"].get("stops")
    places = [(plan["weather"], "file")]
    places += [(stop, "weather") for stop in stops if isinstance(stop, dict)] if stops else []
    for table, key in places:
        name = table.get(key)
        if isinstance(name, str) and not name.startswith(STATION):
            table[key] = PurePath(name.replace("\\", "/")).name
    return plan


def _answer(island: Any) -> Answer | None:
    try:
        facts = {str(title): str(value) for title, value in island["facts"]}
        return Answer(str(island["level"]), str(island["sentence"]), facts)
    except (KeyError, TypeError, ValueError):
        return None


def _broken(path: Path) -> PlanError:
    allowed = "no plan can be read from it; it is cut short or no report of this program"
    return _refuse(path, allowed, "Name a report made by run, or the trip file itself.")


def _refuse(path: Path, allowed: str, hint: str) -> PlanError:
    return PlanError([Problem(str(path), "file", "", allowed, hint)])
