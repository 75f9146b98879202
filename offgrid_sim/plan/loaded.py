"""What loading gives: the checked plan, the origin of each value, and a copy to embed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Any, Generic, TypeVar

from offgrid_sim.plan.draft import Draft, Origin
from offgrid_sim.plan.quantity import PlanModel
from offgrid_sim.plan.trip import Trip

M = TypeVar("M", bound=PlanModel)

STATION = "station:"
"""Prefix of a weather file that is a packaged station: ``station:greensboro``."""


@dataclass(frozen=True)
class LoadedTrip:
    """A checked trip with what must be said about it.

    ``origins`` maps each dotted key to its value and who gave it. ``files`` are names without
    folders. ``document`` is the effective plan as plain JSON with its origins; it holds no
    folder and :func:`load_trip_document` loads it back. ``folders`` tells where the weather
    files named in the plan lie, by dotted key.
    """

    trip: Trip
    origins: Mapping[str, Origin]
    files: tuple[str, ...]
    document: dict[str, Any]
    folders: Mapping[str, Path]

    def weather_path(self, key: str = "weather.file") -> Path | None:
        """Path of the weather file named at ``key``; None for a station or where none is named.

        ``key`` is ``weather.file`` or ``route.stops.0.weather``. A relative name counts from the
        file in which it is written, on the command line from the current folder.
        """
        name = _named_weather(self.trip).get(key)
        if name is None or name.startswith(STATION):
            return None
        return self.folders.get(key, Path()) / _as_path(name).name


@dataclass(frozen=True)
class LoadedPart(Generic[M]):
    """A checked van, route or habits file; fields as in :class:`LoadedTrip`."""

    plan: M
    origins: Mapping[str, Origin]
    files: tuple[str, ...]
    document: dict[str, Any]


def loaded_trip(trip: Trip, origins: Mapping[str, Origin], draft: Draft) -> LoadedTrip:
    """Put together what is handed on about a checked trip; folders stay out of all texts."""
    bare = {k: replace(origins[k], value=_bare_name(v)) for k, v in _named_weather(trip).items()}
    origins = {**origins, **bare}
    document = _document(trip, origins, draft)
    return LoadedTrip(trip, origins, tuple(draft.files), document, _folders(trip, draft))


def _document(trip: Trip, origins: Mapping[str, Origin], draft: Draft) -> dict[str, Any]:
    plan = trip.model_dump(mode="json")
    plan["weather"]["file"] = _bare_name(trip.weather.file)
    for stop, plain in zip(trip.route.stops, plan["route"]["stops"], strict=True):
        plain["weather"] = _bare_name(stop.weather)
    given = {key: str(o) for key, o in origins.items() if o.kind != "assumed"}
    return {**plan, "origins": given, "files": list(draft.files)}


def _bare_name(file: str | None) -> str | None:
    if file is None or file.startswith(STATION):
        return file
    return _as_path(file).name


def _as_path(file: str) -> PurePath:
    """The path as it is written, on any system."""
    return PurePath(file.replace("\\", "/"))


def _named_weather(trip: Trip) -> dict[str, str]:
    named = {"weather.file": trip.weather.file}
    named |= {f"route.stops.{i}.weather": s.weather for i, s in enumerate(trip.route.stops)}
    return {key: name for key, name in named.items() if name is not None}


def _folders(trip: Trip, draft: Draft) -> dict[str, Path]:
    """Folder of each weather file, what its name says of it included: documents hold bare names."""
    named = _named_weather(trip)
    paths = {k: tuple(int(p) if p.isdecimal() else p for p in k.split(".")) for k in named}
    return {k: draft.giver(path).folder / _as_path(named[k]).parent for k, path in paths.items()}
