"""A trip without its places: coordinates rounded to a degree, names replaced, for sharing.

Applied to the plan and the outcome before anything is written, so that no part of a page can
leak what another part hides. Names of files and weather stations go too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from offgrid_sim.outcome.events import Event
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.plan.draft import Origin
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.trip import Trip
from offgrid_sim.weather.table import WeatherSource

NAMELESS = {"name": "trip", "route.name": "route", "habits.name": "habits", "van.name": "van"}
HIDDEN = "not shown"
"""Stands for the name of a weather file, which tells a place; so would a sum of its content, as
such files are public. Whoever runs the plan again gives the file (report/reread.py)."""
NOTES = {"file": ("To run this plan again, give the same file with --weather FILE.",)}


def coarse(loaded: LoadedTrip, outcome: RunOutcome) -> tuple[LoadedTrip, RunOutcome]:
    """Plan and outcome as they may be shown to strangers."""
    names = {
        stop.place: f"Stop {k + 1}" for k, stop in reversed([*enumerate(loaded.trip.route.stops)])
    }
    hidden = coarse_plan(loaded)
    ready = replace(
        outcome.ready,
        trip=hidden.trip,
        sources=tuple(_source(source) for source in outcome.ready.sources),
    )

    def nameless(events: tuple[Event, ...]) -> tuple[Event, ...]:
        return tuple(replace(e, place=names.get(e.place, HIDDEN)) for e in events)

    traced = tuple(replace(one, events=nameless(one.events)) for one in outcome.traced)
    return hidden, replace(outcome, ready=ready, events=nameless(outcome.events), traced=traced)


def coarse_plan(loaded: LoadedTrip) -> LoadedTrip:
    """The plan as it may be shown to strangers."""
    trip = _trip(loaded.trip)
    files = tuple(f"file {k + 1}" for k in range(len(loaded.files)))
    origins = _origins(loaded, trip, dict(zip(loaded.files, files, strict=True)))
    document = _document(trip, origins, files)
    return replace(loaded, trip=trip, origins=origins, files=files, folders={}, document=document)


def _trip(trip: Trip) -> Trip:
    stops = tuple(
        stop.model_copy(update={
            "place": f"Stop {k + 1}",
            "latitude_deg": float(round(stop.latitude_deg)),
            "longitude_deg": float(round(stop.longitude_deg)),
            "altitude_m": None if stop.altitude_m is None else float(round(stop.altitude_m, -2)),
            "weather": None if stop.weather is None else HIDDEN,
        })
        for k, stop in enumerate(trip.route.stops)
    )  # fmt: skip
    file = None if trip.weather.file is None else HIDDEN
    return trip.model_copy(update={
        "name": NAMELESS["name"],
        "van": trip.van.model_copy(update={"name": NAMELESS["van.name"]}),
        "route": trip.route.model_copy(update={"name": NAMELESS["route.name"], "stops": stops}),
        "habits": trip.habits.model_copy(update={"name": NAMELESS["habits.name"]}),
        "weather": trip.weather.model_copy(update={"file": file}),
    })  # fmt: skip


def _source(source: WeatherSource) -> WeatherSource:
    name = source.name if source.kind == "climate" else f"a weather {source.kind}, name hidden"
    return replace(
        source,
        name=name,
        latitude_deg=float(round(source.latitude_deg)),
        longitude_deg=float(round(source.longitude_deg)),
        altitude_m=float(round(source.altitude_m, -2)),
        notes=source.notes if source.kind == "climate" else NOTES.get(source.kind, ()),
    )


def _origins(loaded: LoadedTrip, trip: Trip, files: Mapping[str, str]) -> dict[str, Origin]:
    plain = trip.model_dump(mode="json")
    return {
        key: replace(origin, value=_at(plain, key), detail=files.get(origin.detail, origin.detail))
        for key, origin in loaded.origins.items()
    }


def _at(plain: Any, key: str) -> Any:
    for part in key.split("."):
        plain = plain[int(part)] if isinstance(plain, list) else plain[part]
    return plain


def _document(trip: Trip, origins: Mapping[str, Origin], files: tuple[str, ...]) -> dict[str, Any]:
    given = {key: str(o) for key, o in origins.items() if o.kind != "assumed"}
    return {**trip.model_dump(mode="json"), "origins": given, "files": list(files)}
