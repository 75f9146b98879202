"""Turning what the models refuse into sentences about file, key, value and next step."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from offgrid_sim.errors import Problem
from offgrid_sim.plan.keys import (
    KeyPath,
    dotted,
    expected,
    full_key,
    instead_of,
    item_model,
    split_path,
)
from offgrid_sim.plan.toml_file import nearest

FileOf = Callable[[KeyPath], str]
"""Names the file, as the user wrote it, in which a key stands."""


def explain(error: ValidationError, prefix: KeyPath, file_of: FileOf) -> list[Problem]:
    """One problem per key that was refused, in the order of the file.

    ``prefix`` is where the refused model stands in the trip, ``("van",)`` for a van.
    """
    problems: dict[str, Problem] = {}
    for detail in error.errors(include_url=False):
        if _only_echo(detail):
            continue
        problem = _explain_one(detail, (*prefix, *detail["loc"]), file_of)
        problems.setdefault(problem.key, problem)
    return list(problems.values())


def missing(path: KeyPath, file_of: FileOf) -> Problem:
    """The problem of a key that must be given and is not."""
    model, path, _ = split_path(path)
    name = str(path[-1])
    field = model.model_fields[name]
    said = f", {field.description}" if field.description else ""
    allowed = f"is missing{said}; it must be {expected(field, name)}"
    where = f"to {dotted(path[:-1])}" if len(path) > 1 else "to the trip file"
    return Problem(file_of(path[:-1]), dotted(path), "", allowed, f"Add {name} {where}.")


def unknown(path: KeyPath, file: str, value: Any = "", rest: KeyPath = ()) -> Problem:
    """The problem of a key that the plan does not know; ``rest`` is what was written after it."""
    model, known, _ = split_path(path)
    name = str(known[-1])
    meant = full_key((*path, *rest)) if rest or len(path) == 1 else None
    hint = f"Write {meant} instead." if meant else instead_of(model, known[:-1], name)
    return Problem(file, dotted((*path, *rest)), shown(value), "there is no such key", hint)


def shown(value: Any) -> str:
    """The value as it is written in a TOML file, shortened."""
    if isinstance(value, dict):
        return "a table" if value else ""
    text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


def _only_echo(detail: ErrorDetails) -> bool:
    """A list is called too short when its items, reported on their own, were refused."""
    least = detail.get("ctx", {}).get("min_length", 0)
    return detail["type"] == "too_short" and len(detail["input"]) >= least


def _explain_one(detail: ErrorDetails, path: KeyPath, file_of: FileOf) -> Problem:
    kind, value = detail["type"], detail["input"]
    model, key, rest = split_path(path)
    if kind == "value_error":
        return _own_rule(detail, path, file_of)
    if kind == "extra_forbidden":
        return unknown(path, file_of(path), value)
    if kind == "missing" and not rest:
        return missing(path, file_of)
    name = str(key[-1])
    if rest and isinstance(rest[0], int) and item_model(model.model_fields[name]) is not None:
        key, phrase = (*key, rest[0]), f"a table headed [[{name}]]"
    else:
        phrase = expected(model.model_fields[name], name)
    field_value = "" if rest and kind in ("missing", "too_long") else shown(value)
    if kind in ("too_short", "too_long"):
        field_value = f"{len(value)} given" if not rest else ""
    return Problem(
        file_of(key), dotted(key), field_value, f"must be {phrase}", _step(value, phrase)
    )


def _own_rule(detail: ErrorDetails, path: KeyPath, file_of: FileOf) -> Problem:
    """A rule of the models themselves, whose message is already in our words."""
    text = str(detail.get("ctx", {}).get("error", detail["msg"])).rstrip(".")
    plain = isinstance(detail["input"], dict)
    value = "" if plain else shown(detail["input"])
    step = "Change the trip file." if not path else f"Change {dotted(path)}."
    return Problem(file_of(path), dotted(path), value, text, step)


def _step(value: Any, phrase: str) -> str:
    if isinstance(value, dict) and "[[" in phrase:
        return "Write its heading with double brackets."
    if isinstance(value, str) and "number" in phrase and _is_number(value):
        return "Write the number without quotes."
    if isinstance(value, str) and phrase.startswith("true"):
        return "Write true or false, small and without quotes."
    if phrase.startswith("one of") and not isinstance(value, list):
        choices = [word.strip("'") for word in phrase.removeprefix("one of ").split(", ")]
        close = nearest(str(value), choices)
        return f"Write {close}." if close else "Choose one of these."
    if isinstance(value, float) and phrase.startswith("a whole") and value.is_integer():
        return f"Write {value:.0f}."
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return "Choose one in that range." if is_number and " from " in phrase else "Correct the value."


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
