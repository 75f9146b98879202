"""JSON Schema of the plan files, so that editors complete and check them while typing."""

from __future__ import annotations

from typing import Any

from offgrid_sim.plan.keys import NONE_WORD
from offgrid_sim.plan.kinds import KINDS, SECTIONS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
"""JSON Schema draft 2020-12, the dialect that pydantic writes."""


def plan_schema(kind: str) -> dict[str, Any]:
    """JSON Schema of a van, route, habits or trip file, with units, defaults and limits.

    In a trip each part is a table or the path of a file. TOML has no null: what may be left out
    takes the word "none". Raises KeyError for another kind.
    """
    schema = _without_null(KINDS[kind].model_json_schema())
    if kind == "trip":
        for name in SECTIONS:
            schema["properties"][name] = _table_or_path(name, schema["properties"][name])
    return {"$schema": DIALECT, **schema, "title": f"{kind} file"}


def _table_or_path(name: str, table: dict[str, Any]) -> dict[str, Any]:
    path = {"type": "string", "description": f"path of a {name} file, from this file's folder"}
    return {"anyOf": [path, table]}


def _without_null(node: Any) -> Any:
    """The schema with the word "none" where JSON would have null."""
    if isinstance(node, list):
        return [_without_null(n) for n in node]
    if not isinstance(node, dict):
        return node
    if node == {"type": "null"}:
        return {"const": NONE_WORD}
    return {k: _without_null(v) for k, v in node.items() if not (k == "default" and v is None)}
