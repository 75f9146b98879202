"""A trip while it is gathered: the tables so far, who gave each value, and what is wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.keys import NONE_WORD as NONE
from offgrid_sim.plan.keys import KeyPath, dotted, kinds_of, table_model
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.toml_file import read_toml
from offgrid_sim.plan.trip import Trip

COMMAND_LINE = "command line"


@dataclass(frozen=True)
class Giver:
    """Who gave a value. ``shown`` is for problems; ``name`` holds no folder."""

    kind: Literal["yours", "file", "assumed"]
    name: str = ""
    shown: str = ""
    folder: Path = Path()


YOURS = Giver("yours", "", COMMAND_LINE)
ASSUMED = Giver("assumed", "", COMMAND_LINE)


@dataclass(frozen=True)
class Origin:
    """One value of the effective plan and where it comes from.

    ``key`` is dotted and bears the unit; ``value`` is plain JSON; ``detail`` is the file name,
    or the source of an assumed default.
    """

    key: str
    value: Any
    kind: Literal["yours", "file", "assumed"]
    detail: str
    description: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.detail}" if self.detail else self.kind


@dataclass
class Draft:
    """The merged tables of a trip, with who gave what; problems are collected, not raised."""

    document: dict[str, Any] = field(default_factory=dict)
    givers: dict[KeyPath, Giver] = field(default_factory=dict)
    files: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    broken: set[KeyPath] = field(default_factory=set)

    def read(self, path: Path, shown: str, at: KeyPath) -> None:
        """Put the tables of a file at ``at``, replacing what stood there.

        The file may hold the keys themselves or one table headed by the last name of ``at``.
        """
        giver = Giver("file", path.name, shown, path.parent)
        self.forget(at)
        self.givers[at] = giver
        try:
            tables = read_toml(path, shown)
        except PlanError as error:
            self.problems += error.problems
            self.broken.add(at)
            return
        self.files.append(path.name)
        if at and set(tables) == {at[-1]} and isinstance(tables[str(at[-1])], dict):
            tables = tables[str(at[-1])]
        self.put(at, tables)

    def put(self, at: KeyPath, value: Any) -> None:
        """Set the value at a path of table names, making tables on the way."""
        if not at:
            self.document = value
            return
        table = self.document
        for name in at[:-1]:
            if not isinstance(table.get(str(name)), dict):
                table[str(name)] = {}
            table = table[str(name)]
        table[str(at[-1])] = value

    def forget(self, at: KeyPath) -> None:
        """Drop what is known about who gave the values at and below ``at``."""
        self.givers = {p: g for p, g in self.givers.items() if p[: len(at)] != at}
        self.broken = {p for p in self.broken if p[: len(at)] != at}

    def giver(self, path: KeyPath) -> Giver:
        """Who gave the value at ``path``, or the table that holds it."""
        for end in range(len(path), -1, -1):
            if path[:end] in self.givers:
                return self.givers[path[:end]]
        return ASSUMED

    def file_of(self, path: KeyPath) -> str:
        """The file in which ``path`` stands, as the user wrote it."""
        return self.giver(path).shown


def without_none_words(model: type[PlanModel], tables: Mapping[str, Any]) -> dict[str, Any]:
    """A copy in which ``"none"`` has become null, or an empty list."""
    return {name: _plain(model, name, value) for name, value in tables.items()}


def _plain(model: type[PlanModel], name: str, value: Any) -> Any:
    kind = kinds_of(model).get(name)
    if kind is None:
        return value
    if isinstance(value, str) and value.strip().lower() == NONE:
        return [] if kind.item is not None else None if kind.may_be_none else value
    if kind.table is not None and isinstance(value, dict):
        return without_none_words(kind.table, value)
    if kind.item is not None and isinstance(value, list):
        return [without_none_words(kind.item, v) if isinstance(v, dict) else v for v in value]
    return value


def origins_of(plan: PlanModel, at: KeyPath, draft: Draft) -> dict[str, Origin]:
    """Every value of ``plan``, which stands at ``at``, with who gave it."""
    found: dict[str, Origin] = {}
    given = _look_up(draft.document, at)
    plain = plan.model_dump(mode="json")
    _walk(type(plan), plain, given, at, draft, found)
    return found


def _look_up(tables: Any, path: KeyPath) -> Any:
    for part in path:
        tables = tables.get(part, {}) if isinstance(tables, dict) else {}
    return tables


def _walk(
    model: type[PlanModel],
    plain: dict[str, Any],
    given: Any,
    at: KeyPath,
    draft: Draft,
    found: dict[str, Origin],
) -> None:
    given = given if isinstance(given, dict) else {}
    for name, kind in kinds_of(model).items():
        path, value = (*at, name), plain[name]
        if kind.table is not None and value is not None:
            _walk(kind.table, value, given.get(name), path, draft, found)
        elif kind.item is not None and value:
            items = given.get(name) or [None] * len(value)
            for i, (one, one_given) in enumerate(zip(value, items, strict=True)):
                _walk(kind.item, one, one_given, (*path, i), draft, found)
        else:
            giver = draft.giver(path) if name in given else ASSUMED
            detail = kind.origin if giver.kind == "assumed" else giver.name
            key = dotted(path)
            found[key] = Origin(key, value, giver.kind, detail, kind.description)


def root_model_at(at: KeyPath) -> type[PlanModel]:
    """The model that stands at a path of table names; the trip at ``()``."""
    model: type[PlanModel] = Trip
    for name in at:
        info = model.model_fields.get(str(name))
        inner = None if info is None else table_model(info)
        if inner is None:
            raise KeyError(dotted(at))
        model = inner
    return model
