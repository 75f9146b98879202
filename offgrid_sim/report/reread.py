"""Reading back what a report holds: the plan, to run it again, and its answer, to hold against.

A report may come from anybody. Only the named JSON elements are read, the plan is checked like a
file, and a weather file in it counts by its bare name: from the current folder, else beside the
report. Where places were made coarse the name is hidden, and the caller must give the file anew.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Any

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.load import load_trip, load_trip_document
from offgrid_sim.plan.loaded import STATION, LoadedTrip
from offgrid_sim.plan.toml_file import read_toml
from offgrid_sim.report.coarse import HIDDEN

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
    """A trip file, or the plan inside a report; ``options`` are those of ``load_trip``.

    Raises PlanError, also where the report hides a weather file that no option replaces.
    """
    if not is_report(path):
        return load_trip(path, sets, **options)
    plan = _plan(_islands(path), path)
    _drop_hidden_weather(plan, path, sets, options)
    loaded = load_trip_document(plan, sets, label=path.name, **options)
    return _with_files_beside(loaded, path.parent)


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


def _drop_hidden_weather(
    plan: dict[str, Any], path: Path, sets: tuple[str, ...], options: Mapping[str, Any]
) -> None:
    """Take out the weather whose name is hidden, if the command line says what stands for it.

    Weather chosen for the whole trip stands for that of all stops: whoever gives it cannot know
    which stop had a file of its own.
    """
    hidden = _hidden_weather(plan, options)
    given = {text.partition("=")[0].strip() for text in sets}
    whole = {f"weather.{key}" for key in options.get("weather") or {}} | given
    if not {"weather.source", "weather.file"} & whole:
        needed = [key for key in hidden if key != "weather.file" or _by_file(plan)]
        missing = sorted(set(needed) - given)
        if missing:
            raise _refuse_hidden(path, missing)
    for key, (table, name) in hidden.items():
        table[name] = None
        if isinstance(plan.get("origins"), dict):
            plan["origins"].pop(key, None)


def _hidden_weather(
    plan: dict[str, Any], options: Mapping[str, Any]
) -> dict[str, tuple[dict[str, Any], str]]:
    """Where a name is hidden: dotted key to its table and key there."""
    stops = plan["route"].get("stops")
    tables = {"weather.file": (plan["weather"], "file")}
    for k, stop in enumerate(stops if isinstance(stops, list) and not options.get("route") else ()):
        if isinstance(stop, dict):
            tables[f"route.stops.{k}.weather"] = (stop, "weather")
    return {
        key: (table, name) for key, (table, name) in tables.items() if table.get(name) == HIDDEN
    }


def _by_file(plan: dict[str, Any]) -> bool:
    return bool(plan["weather"].get("source") == "file")


def _refuse_hidden(path: Path, keys: list[str]) -> PlanError:
    allowed = "the report was made with --coarse-places, which hides the name of the weather file"
    each = "" if keys == ["weather.file"] else f", one by one with --set {keys[-1]}=FILE"
    hint = f"Give the file with --weather FILE{each}, or use --weather climate."
    return PlanError([Problem(str(path), ", ".join(keys), HIDDEN, allowed, hint)])


def _with_files_beside(loaded: LoadedTrip, folder: Path) -> LoadedTrip:
    """Weather files that are not where they are named, but lie beside the report."""
    paths = {key: loaded.weather_path(key) for key in loaded.folders}
    beside = {
        key: folder
        for key, named in paths.items()
        if named is not None and not named.exists() and (folder / named.name).is_file()
    }
    return replace(loaded, folders={**loaded.folders, **beside})


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
