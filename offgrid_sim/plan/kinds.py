"""Van, route, habits or trip: the kinds of file, told apart by their keys."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal, cast

from offgrid_sim.errors import PlanError, Problem
from offgrid_sim.plan.habits import Habits
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.route import Route
from offgrid_sim.plan.toml_file import nearest, read_toml
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Van

Kind = Literal["van", "route", "habits", "trip"]
SECTIONS: dict[str, type[PlanModel]] = {"van": Van, "route": Route, "habits": Habits}
"""The parts of a trip that are files of their own."""

KINDS: dict[str, type[PlanModel]] = {"trip": Trip, **SECTIONS}


def kind_of_file(path: str | os.PathLike[str]) -> Kind:
    """Whether a file is a van, a route, habits or a trip, told by its keys. Raises PlanError."""
    tables = read_toml(Path(path), str(path))
    if len(tables) == 1 and isinstance(next(iter(tables.values())), dict):
        only = next(iter(tables))
        if only in SECTIONS:
            return cast(Kind, only)
    scores = {kind: _likeness(tables, model) for kind, model in KINDS.items()}
    best = max(scores, key=lambda kind: scores[kind])
    if scores[best] == 0:
        allowed = "no key of a van, route, habits or trip is in it"
        raise PlanError([Problem(str(path), "file", "", allowed, "Start from new DIR.")])
    return cast(Kind, best)


def _likeness(tables: Mapping[str, Any], model: type[PlanModel]) -> int:
    """Two points for each of the model's keys, one for a misspelt one."""
    names = [n for n in model.model_fields if n != "name"]
    return sum(2 if k in names else 1 if nearest(k, names) else 0 for k in tables if k != "name")
