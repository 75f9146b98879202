"""What went wrong, as events with start, end and depth, found in the step-by-step trace."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.outcome.trace import step_times


@dataclass(frozen=True)
class Kind:
    """A kind of event: its flag in the trace, how its depth is told, and gaps it bridges (h)."""

    name: str
    flag: str
    title: str
    depth_field: str
    depth_how: str
    depth_unit: str
    bridged_h: float


KINDS = (
    Kind("blackout", "blackout", "Blackout", "unserved_w", "energy", "Wh not served", 0.0),
    Kind(
        "fridge_cutout", "cutout", "Fridge cut-out", "fridge_volts", "min", "V at the fridge", 1.0
    ),
    Kind("thaw", "thaw", "Thaw", "ice_share", "min", "ice share left", 0.0),
    Kind("food_warm", "warm_food", "Food above 5 C", "fresh_c", "max", "C warmest", 1.0),
    Kind("dry", "dry", "Dry", "unmet_l", "sum", "l not served", 18.0),
    Kind("grey_full", "grey_full", "Grey full", "grey_lost_l", "sum", "l over the brim", 18.0),
    Kind(
        "cold_lockout", "cold_lockout", "Cold lockout", "curtailed_w", "energy", "Wh refused", 3.0
    ),
    Kind("frozen_water", "frozen_water", "Frozen water", "outside_c", "min", "C coldest air", 3.0),
)
"""In the order of what costs most."""


DEPTH: dict[str, Callable[[np.ndarray], float]] = {
    "min": np.min, "max": np.max, "sum": np.sum, "energy": np.sum,
}  # fmt: skip
"""How the depth of an event is taken from its steps; energy is a sum of watts times hours."""


@dataclass(frozen=True)
class Event:
    """One event. ``start`` and ``end`` are local wall clock; ``start_hour`` counts from the trip's
    first hour; ``depth`` is told in ``depth_unit``."""

    kind: str
    title: str
    start: pd.Timestamp
    end: pd.Timestamp
    start_hour: float
    duration_h: float
    depth: float
    depth_unit: str
    place: str
    ends_with_trip: bool


def find_events(ready: Prepared, trace: np.ndarray) -> tuple[Event, ...]:
    """All events of one run, by kind and then by time. ``trace`` is FLOW (H * steps_per_hour,)."""
    times = step_times(ready)
    events: list[Event] = []
    for kind in KINDS:
        for first, last in spells(trace[kind.flag] > 0.5, kind.bridged_h * ready.steps_per_hour):
            events.append(_event(ready, trace, times, kind, first, last))
    return tuple(events)


def spells(flags: np.ndarray, bridged_steps: float = 0.0) -> list[tuple[int, int]]:
    """Half-open step ranges in which a flag holds; gaps up to ``bridged_steps`` are bridged."""
    edges = np.diff(np.concatenate(([0], flags.astype(int), [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    merged: list[tuple[int, int]] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if merged and start - merged[-1][1] <= bridged_steps:
            merged[-1] = (merged[-1][0], end)
        else:
            merged.append((start, end))
    return merged


def _event(
    ready: Prepared, trace: np.ndarray, times: pd.DatetimeIndex, kind: Kind, first: int, last: int
) -> Event:
    values = trace[kind.depth_field][first:last]
    h = 1.0 / ready.steps_per_hour
    depth = DEPTH[kind.depth_how](values) * (h if kind.depth_how == "energy" else 1.0)
    stop = ready.trip.route.stops[int(ready.line.stop[first // ready.steps_per_hour])]
    return Event(
        kind=kind.name,
        title=kind.title,
        start=times[first],
        end=times[last - 1] + pd.Timedelta(hours=h),
        start_hour=first * h,
        duration_h=(last - first) * h,
        depth=float(depth),
        depth_unit=kind.depth_unit,
        place=stop.place,
        ends_with_trip=last == len(trace),
    )
