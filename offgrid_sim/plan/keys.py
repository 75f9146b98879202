"""What each key of a plan is: its table, what may stand there, and which name was meant."""

from __future__ import annotations

import datetime as dt
import types
import typing
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union

from pydantic.fields import FieldInfo

from offgrid_sim.plan.quantity import COMMON_PRACTICE, PlanModel
from offgrid_sim.plan.toml_file import nearest
from offgrid_sim.plan.trip import Trip

KeyPath = tuple[str | int, ...]
"""Where a value stands, counted from the trip: ``("van", "solar", 0, "panel_w")``."""

NONE_WORD = "none"
"""Written for a value or table that is left out, since TOML has no null."""


def dotted(path: KeyPath) -> str:
    """``van.solar.0.panel_w``; the trip itself is called ``trip``."""
    return ".".join(str(part) for part in path) or "trip"


def branches(field: FieldInfo) -> tuple[Any, ...]:
    """The alternatives of the field's type, ``None`` among them as ``NoneType``."""
    kind = field.annotation
    if typing.get_origin(kind) in (Union, types.UnionType):
        return typing.get_args(kind)
    return (kind,)


def may_be_none(field: FieldInfo) -> bool:
    """Whether the value or table may be left out altogether."""
    return type(None) in branches(field)


def takes_text(field: FieldInfo) -> bool:
    """Whether free text may stand here."""
    return str in branches(field)


def table_model(field: FieldInfo) -> type[PlanModel] | None:
    """The model of a table such as ``[battery]``; None for other fields."""
    return next((b for b in branches(field) if _is_model(b)), None)


def item_model(field: FieldInfo) -> type[PlanModel] | None:
    """The model of one item of a list of tables such as ``[[solar]]``; None for other fields."""
    args = typing.get_args(field.annotation)
    is_list = typing.get_origin(field.annotation) is tuple
    return args[0] if is_list and _is_model(args[0]) else None


def origin_text(field: FieldInfo) -> str:
    """Where the default of this field comes from."""
    extra = field.json_schema_extra
    return str(extra.get("origin", COMMON_PRACTICE)) if isinstance(extra, dict) else COMMON_PRACTICE


@dataclass(frozen=True)
class KeyKind:
    """One key of a table: the model below it, if any, and what is said where nobody gives it."""

    table: type[PlanModel] | None
    item: type[PlanModel] | None
    may_be_none: bool
    origin: str
    description: str


@cache
def kinds_of(model: type[PlanModel]) -> Mapping[str, KeyKind]:
    """What each key of a table is. Kept: a study asks for it at every key of every variant."""
    return {
        name: KeyKind(
            table_model(info),
            item_model(info),
            may_be_none(info),
            origin_text(info),
            info.description or "",
        )
        for name, info in model.model_fields.items()
    }


def split_path(path: KeyPath) -> tuple[type[PlanModel], KeyPath, KeyPath]:
    """Model that owns the deepest key of ``path``, the path up to that key, and the rest.

    The rest is not empty when the path points inside a plain value (one hour of a list of
    hours) or when the key is unknown.
    """
    model: type[PlanModel] = Trip
    for depth, part in enumerate(path):
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part)
        inner = None if field is None else table_model(field) or item_model(field)
        last = depth + 1 == len(path)
        only_index = depth + 2 == len(path) and isinstance(path[-1], int)
        if inner is None or last or only_index:
            return model, path[: depth + 1], path[depth + 1 :]
        model = inner
    return model, path, ()


def expected(field: FieldInfo, name: str) -> str:
    """What may stand at this key, as a phrase that follows "must be"."""
    if table_model(field) is not None:
        phrase = "a table of keys"
    elif item_model(field) is not None:
        phrase = f"a list of {_count(field)}tables, each headed [[{name}]]"
    elif typing.get_origin(field.annotation) is tuple:
        phrase = "a list of hour pairs between 0 and 24, such as [[10, 12], [18, 23]]"
    else:
        phrase = _scalar(field)
    removable = table_model(field) is not None and may_be_none(field)
    return phrase + (f' or "{NONE_WORD}"' if removable else "")


def known_keys(model: type[PlanModel] = Trip, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Every key below ``model``, without list positions: ``("van", "solar", "panel_w")``."""
    for name, field in model.model_fields.items():
        here = (*path, name)
        yield here
        inner = table_model(field) or item_model(field)
        if inner is not None:
            yield from known_keys(inner, here)


def instead_of(model: type[PlanModel], parent: KeyPath, name: str) -> str:
    """The next step for a key that ``model`` does not know."""
    siblings = list(model.model_fields)
    close = nearest(name, siblings)
    if close:
        return f"Write {close} instead."
    elsewhere = [p for p in known_keys() if p[-1] == name]
    if elsewhere:
        return f"Move it to {dotted(elsewhere[0][:-1])}, where {name} belongs."
    return f"Use one of {', '.join(siblings)}." if len(siblings) <= 12 else _pointer(parent, name)


def full_key(names: KeyPath) -> str | None:
    """The only full key that ends in ``names``, which were written without their beginning."""
    hits = [p for p in known_keys() if p[-len(names) :] == names]
    return dotted(hits[0]) if len(hits) == 1 else None


def _pointer(parent: KeyPath, name: str) -> str:
    every: dict[str, KeyPath] = {}
    for path in known_keys():
        every.setdefault(str(path[-1]), path)
    close = nearest(name, list(every))
    section = parent[0] if parent else "trip"
    kind = section if section in ("van", "route", "habits") else "trip"
    meant = f"Write {dotted(every[close])} instead, or list" if close else "Remove it, or list"
    return f"{meant} the known keys with check --schema {kind}."


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, PlanModel)


def _limits(field: FieldInfo) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for constraint in field.metadata:
        for name in ("ge", "le", "min_length", "max_length"):
            if getattr(constraint, name, None) is not None:
                found[name] = getattr(constraint, name)
    return found


def _count(field: FieldInfo) -> str:
    limits = _limits(field)
    least, most = limits.get("min_length"), limits.get("max_length")
    return f"at least {least} " if least else f"at most {most} " if most else ""


def _or_list(field: FieldInfo) -> str:
    """``, or a list of 4 to 360 values from 0 to 90`` where the field takes such a list as well."""
    for branch in branches(field):
        if typing.get_origin(branch) is Annotated:
            item = _limits(FieldInfo.from_annotation(typing.get_args(branch.__origin__)[0]))
            size = _limits(FieldInfo.from_annotation(branch))
            return (
                f", or a list of {size['min_length']} to {size['max_length']} values "
                f"from {item['ge']:g} to {item['le']:g}"
            )
    return ""


def _scalar(field: FieldInfo) -> str:
    kind = next(b for b in branches(field) if b is not type(None))
    if typing.get_origin(kind) is Literal:
        return "one of " + ", ".join(map(repr, typing.get_args(kind))) + _or_list(field)
    if kind in (int, float):
        limits = _limits(field)
        span = f" from {limits['ge']:g} to {limits['le']:g}" if len(limits) == 2 else ""
        return ("a whole number" if kind is int else "a number") + span
    words = {bool: "true or false", str: "text in quotes", dt.date: "a date such as 2026-12-01"}
    return words[kind]
