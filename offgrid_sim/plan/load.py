"""Loading a trip, or one of its parts: read, merge, check, and say where each value is from.

All problems of all files and of the command line are raised together in one PlanError.
"""

from __future__ import annotations

import copy
import datetime as dt
import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.draft import (
    YOURS,
    Draft,
    Giver,
    origins_of,
    root_model_at,
    without_none_words,
)
from offgrid_sim.plan.keys import KeyPath, dotted
from offgrid_sim.plan.kinds import SECTIONS
from offgrid_sim.plan.loaded import LoadedPart, LoadedTrip, loaded_trip
from offgrid_sim.plan.overrides import Override, apply_override, parse_overrides
from offgrid_sim.plan.problems import explain, missing
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Van

AnyPath = str | os.PathLike[str]
M = TypeVar("M", bound=PlanModel)

_STAND_INS: dict[str, Any] = {
    "van": {"battery": {"capacity_ah": 100}},
    "route": {"stops": [{"place": "x", "latitude_deg": 0, "longitude_deg": 0, "nights": 1}]},
}
"""Stand for broken parts, so that the trip's own rules are checked all the same."""


def load_trip(
    path: AnyPath,
    sets: Sequence[str] = (),
    *,
    van: AnyPath | None = None,
    route: AnyPath | None = None,
    season: str | None = None,
    start: dt.date | str | None = None,
    weather: Mapping[str, Any] | None = None,
    parts: Mapping[str, AnyPath] | None = None,
) -> LoadedTrip:
    """Load a trip file with the files it names, and lay the command line over it.

    ``sets`` are ``key=value`` words. ``van``, ``route`` and ``parts`` (dotted key to file, such
    as ``{"van.fridge": "chest.toml"}``) replace whole tables by files. ``season`` replaces the
    start and the reverse. ``weather`` holds keys of ``[weather]``. Raises PlanError.
    """
    draft = Draft()
    draft.read(Path(path), str(path), ())
    chosen = {"van": van, "route": route, **(parts or {})}
    return _lay_over(draft, sets, chosen, {"season": season, "start": start}, weather or {})


def load_trip_document(
    document: Mapping[str, Any],
    sets: Sequence[str] = (),
    *,
    label: str = "document",
    van: AnyPath | None = None,
    route: AnyPath | None = None,
    season: str | None = None,
    start: dt.date | str | None = None,
    weather: Mapping[str, Any] | None = None,
) -> LoadedTrip:
    """Load back the ``document`` of a LoadedTrip, with its origins. Raises PlanError.

    The other arguments are those of :func:`load_trip`; weather files named in the document count
    from the current folder. ``label`` stands for the document where a problem is told.
    """
    tables = copy.deepcopy(dict(document))
    origins, files = tables.pop("origins", {}), tables.pop("files", [])
    draft = Draft(document=tables, givers={(): Giver("assumed", "", label)})
    draft.files = [str(f) for f in files] if isinstance(files, list) else []
    for key, text in origins.items() if isinstance(origins, dict) else ():
        kind, _, name = str(text).partition(": ")
        path = tuple(int(p) if p.isdecimal() else p for p in str(key).split("."))
        draft.givers[path] = Giver("file" if kind == "file" else "yours", name, label)
    chosen = {"van": van, "route": route}
    return _lay_over(draft, sets, chosen, {"season": season, "start": start}, weather or {})


def load_part(path: AnyPath, kind: str, sets: Sequence[str] = ()) -> LoadedPart[Any]:
    """Load a van, route or habits file on its own. Keys of ``sets`` start with the kind."""
    draft = Draft()
    draft.read(Path(path), str(path), (kind,))
    for override in parse_overrides(tuple(sets), draft):
        if override.names[0] == kind:
            apply_override(override, draft)
        else:
            key, step = dotted(override.names), f"Start the key with {kind}."
            allowed = f"only {kind} keys can be set here"
            draft.problems.append(Problem(YOURS.shown, key, override.text, allowed, step))
    plan = _check_at(draft, (kind,))
    _raise_problems(draft)
    assert plan is not None
    origins = origins_of(plan, (kind,), draft)
    return LoadedPart(plan, origins, tuple(draft.files), {kind: plan.model_dump(mode="json")})


def load_van(path: AnyPath, sets: Sequence[str] = ()) -> LoadedPart[Van]:
    """Load a van file on its own; ``sets`` hold keys such as ``van.battery.capacity_ah=200``."""
    return load_part(path, "van", sets)


def load_fragment(path: AnyPath, table: str) -> PlanModel:
    """Load one table, such as ``van.fridge``, from a file of its own; see :func:`load_table`."""
    plan: PlanModel = load_table(path, table).plan
    return plan


def load_table(path: AnyPath, table: str, sets: Sequence[str] = ()) -> LoadedPart[Any]:
    """Load one table of the plan from a file of its own, with the origin of each value.

    The file holds the keys themselves or one table headed ``[fridge]``. Keys of ``sets`` are
    those of the whole plan. Raises PlanError, and KeyError when the plan has no such table.
    """
    at: KeyPath = tuple(table.split("."))
    root_model_at(at)
    draft = Draft()
    draft.read(Path(path), str(path), at)
    _apply(draft, parse_overrides(tuple(sets), draft))
    plan = _check_at(draft, at)
    _raise_problems(draft)
    assert plan is not None
    origins = origins_of(plan, at, draft)
    return LoadedPart(plan, origins, tuple(draft.files), {table: plan.model_dump(mode="json")})


def _lay_over(
    draft: Draft,
    sets: Sequence[str],
    chosen: Mapping[str, AnyPath | None],
    options: Mapping[str, Any],
    weather: Mapping[str, Any],
) -> LoadedTrip:
    """Lay the command line over what was read: words, whole files, days and weather."""
    overrides = parse_overrides(tuple(sets), draft)
    overrides += [Override((k,), v, str(v)) for k, v in options.items() if v is not None]
    overrides += [Override(("weather", k), v, str(v)) for k, v in weather.items() if v is not None]
    _read_sections(draft, overrides, {k: v for k, v in chosen.items() if v})
    _apply(draft, overrides)
    return _finish_trip(draft)


def _read_sections(draft: Draft, overrides: list[Override], chosen: Mapping[str, AnyPath]) -> None:
    """Read the files of van, route and habits, and the tables replaced on the command line."""
    for name in SECTIONS:
        by_set = [o for o in overrides if o.names == (name,) and isinstance(o.value, str)]
        named = draft.document.get(name)
        if name in chosen or by_set:
            file = chosen.get(name, by_set[-1].value if by_set else "")
            overrides[:] = [o for o in overrides if o not in by_set]
            draft.read(Path(file), str(file), (name,))
        elif isinstance(named, str) and named.strip().lower() != "none":
            draft.read(draft.giver((name,)).folder / named, named, (name,))
        elif name in draft.document and not isinstance(named, dict):
            draft.problems.append(_not_a_section(name, named, draft))
            draft.broken.add((name,))
    for key, file in chosen.items():
        if key not in SECTIONS:
            root_model_at(tuple(key.split(".")))
            draft.read(Path(file), str(file), tuple(key.split(".")))


def _not_a_section(name: str, value: Any, draft: Draft) -> Problem:
    allowed = f"must be the path of a {name} file in quotes, or a [{name}] table"
    step = f'Write {name} = "{name}.toml" with your own path.'
    return Problem(draft.file_of((name,)), name, str(value), allowed, step)


def _apply(draft: Draft, overrides: Sequence[Override]) -> None:
    _imply_file_source(draft)
    given = {o.names for o in overrides}
    for one, other in (("season", "start"), ("start", "season")):
        if (one,) in given and (other,) not in given:
            draft.document.pop(other, None)
    for override in overrides:
        if (override.names[0],) not in draft.broken and () not in draft.broken:
            apply_override(override, draft)
    if ("weather", "file") in given and ("weather", "source") not in given:
        apply_override(Override(("weather", "source"), "file", "file"), draft)


def _imply_file_source(draft: Draft) -> None:
    """A weather table that names a file and no source means that file."""
    weather = draft.document.get("weather")
    if isinstance(weather, dict) and weather.get("file"):
        weather.setdefault("source", "file")


def _finish_trip(draft: Draft) -> LoadedTrip:
    draft.document = without_none_words(Trip, draft.document)
    trip = _whole_trip(draft)
    if trip is None:
        _check_pieces(draft)
        _raise_problems(draft)
        trip = _check(Trip, draft.document, (), draft)
        _raise_problems(draft)
        assert trip is not None
    return loaded_trip(trip, origins_of(trip, (), draft), draft)


def _whole_trip(draft: Draft) -> Trip | None:
    """The trip where all is well, which a study's many loads are; pieces would say no more."""
    if draft.problems or draft.broken:
        return None
    try:
        return _parsed(Trip, draft.document)
    except ValidationError:
        return None


def _check_pieces(draft: Draft) -> None:
    """Check the trip's own keys and each part apart, so that no problem hides another."""
    if () not in draft.broken:
        own = {k: v for k, v in draft.document.items() if k not in SECTIONS}
        _check(Trip, {**own, **_STAND_INS}, (), draft)
    for name, model in SECTIONS.items():
        inside_broken = any(p[:1] == (name,) for p in draft.broken)
        if isinstance(draft.document.get(name), dict) and not inside_broken:
            _check(model, draft.document[name], (name,), draft)
        elif name not in draft.document and name in _STAND_INS and not draft.broken & {(), (name,)}:
            draft.problems.append(missing((name,), draft.file_of))


def _check_at(draft: Draft, at: KeyPath) -> PlanModel | None:
    if at in draft.broken:
        return None
    draft.document = without_none_words(Trip, draft.document)
    tables: Any = draft.document
    for name in at:
        tables = tables[name]
    return _check(root_model_at(at), tables, at, draft)


def _check(model: type[M], tables: Any, at: KeyPath, draft: Draft) -> M | None:
    try:
        return _parsed(model, tables)
    except ValidationError as error:
        draft.problems += explain(error, at, draft.file_of)
        return None


def _parsed(model: type[M], tables: Any) -> M:
    """Validate strictly: no text for numbers, no number for yes or no."""
    return model.model_validate_json(json.dumps(tables, default=str), strict=True)


def _raise_problems(draft: Draft) -> None:
    if draft.problems:
        raise PlanError(draft.problems)
