"""``--set van.battery.capacity_ah=200``: reading such words and laying them over the files."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any

from pydantic.fields import FieldInfo
from pydantic_core import to_jsonable_python

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.draft import ASSUMED, COMMAND_LINE, YOURS, Draft
from offgrid_sim.plan.keys import KeyPath, dotted, item_model, table_model, takes_text
from offgrid_sim.plan.problems import unknown
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.trip import Trip

_NAME_OR_QUOTED = re.compile(r'"([^"]*)"|([^.]+)')


@dataclass(frozen=True)
class Override:
    """One ``--set``: the names between the dots, the value, and the value's own text."""

    names: tuple[str, ...]
    value: Any
    text: str


def parse_override(words: str) -> Override:
    """Read ``key=value``. The value is TOML; a bare word is text. Raises PlanError."""
    key, equals, text = words.partition("=")
    names = tuple(a or b.strip() for a, b in _NAME_OR_QUOTED.findall(key))
    if not equals or not names or not all(names):
        step = "Write it as --set van.battery.capacity_ah=200."
        raise PlanError([Problem(COMMAND_LINE, "--set", words, "must be key=value", step)])
    return Override(names, _value(text.strip()), text.strip())


def parse_overrides(sets: tuple[str, ...], draft: Draft) -> list[Override]:
    """Read all of them; those that cannot be read become problems of the draft."""
    found = []
    for words in sets:
        try:
            found.append(parse_override(words))
        except PlanError as error:
            draft.problems += error.problems
    return found


def apply_override(override: Override, draft: Draft) -> None:
    """Lay one override over the draft; a key that cannot be found becomes a problem."""
    try:
        path = _place(Trip, draft.document, override.names, (), override, draft)
    except PlanError as error:
        draft.problems += error.problems
        return
    draft.forget(path)
    draft.givers[path] = YOURS


def _value(text: str) -> Any:
    try:
        table = tomllib.loads(f"x = {text}")
    except (ValueError, RecursionError):
        return text
    return table["x"] if set(table) == {"x"} else text


def _place(
    model: type[PlanModel],
    table: dict[str, Any],
    names: tuple[str, ...],
    at: KeyPath,
    override: Override,
    draft: Draft,
) -> KeyPath:
    """Set the value below ``table``, which stands at ``at``; return its full path."""
    name, *rest = names
    path = (*at, name)
    field = model.model_fields.get(name)
    if field is None:
        raise PlanError([unknown(path, COMMAND_LINE, override.value, tuple(rest))])
    if not rest:
        table[name] = _fit(field, override)
        return path
    inner, item = table_model(field), item_model(field)
    if inner is not None:
        if not isinstance(table.get(name), dict):
            table[name] = {}
        return _place(inner, table[name], tuple(rest), path, override, draft)
    if item is None:
        step = f"Set {dotted(path)} as a whole."
        raise _refuse((*path, *rest), "there is nothing to set inside a plain value", step)
    items = _items(field, table, name, path, draft)
    index = _index(items, item, rest[0], path)
    if index == len(items):
        items.append({})
    if len(rest) == 1:
        items[index] = override.value
        return (*path, index)
    if not isinstance(items[index], dict):
        items[index] = {}
    return _place(item, items[index], tuple(rest[1:]), (*path, index), override, draft)


def _fit(field: FieldInfo, override: Override) -> Any:
    """Where text is asked for, ``12`` is the text "12"."""
    is_text = takes_text(field) and not isinstance(override.value, str)
    return override.text if is_text else override.value


def _items(
    field: FieldInfo, table: dict[str, Any], name: str, path: KeyPath, draft: Draft
) -> list[Any]:
    """The list in the files; where they say nothing, the list of defaults made explicit."""
    if isinstance(table.get(name), list):
        return table[name]
    if name not in table:
        defaults = field.get_default(call_default_factory=True) or ()
        table[name] = to_jsonable_python([d.model_dump(exclude_unset=True) for d in defaults])
        draft.givers[path] = ASSUMED
    else:
        table[name] = []
    return table[name]


def _index(items: list[Any], item: type[PlanModel], word: str, path: KeyPath) -> int:
    if word.isdecimal():
        if int(word) <= len(items):
            return int(word)
        last = f"the last one there is number {len(items) - 1}" if items else "the list is empty"
        step = f"Use {len(items)} to add one, giving all that it needs."
        raise _refuse((*path, word), last, step)
    title = "place" if "place" in item.model_fields else "name"
    usual = item.model_fields[title].default
    titles = [str(i.get(title, usual)) if isinstance(i, dict) else "" for i in items]
    hits = [i for i, t in enumerate(titles) if t.lower() == word.lower()]
    if len(hits) == 1:
        return hits[0]
    if hits:
        raise _refuse((*path, word), "more than one is called so", f"Use its number, {hits[0]}.")
    known = ", ".join(f"{i} ({t})" for i, t in enumerate(titles)) or "0 to add the first"
    raise _refuse((*path, word), "none is called so", f"Use one of {known}.")


def _refuse(path: KeyPath, allowed: str, step: str) -> PlanError:
    return PlanError([Problem(COMMAND_LINE, dotted(path), "", allowed, step)])
