"""Bringing years and horizons home: one request for each, in an order that resumes well."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from offgrid_sim.weather.archive import horizon
from offgrid_sim.weather.archive.asked import PlaceHorizon, PlaceYear
from offgrid_sim.weather.archive.pvgis import PVGIS
from offgrid_sim.weather.archive.service import Service
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import ArchiveFaultError, Question, Web
from offgrid_sim.weather.table import Place

AILING_IN_A_ROW = 2
"""So many failed answers one after the other, and the server is left alone."""


@dataclass(frozen=True)
class Missing:
    """A year or horizon that could not be had, and why (a clause)."""

    asked: PlaceYear | PlaceHorizon
    reason: str


@dataclass(frozen=True)
class Fetched:
    """What a fetch did. ``unasked`` is what was left when it stopped early.

    ``set_aside`` are damaged files that were replaced or lost, ``dropped`` those that had to make
    room (both as cache keys).
    """

    wanted: int
    already: int
    fetched: int
    missing: tuple[Missing, ...]
    unasked: int
    set_aside: tuple[str, ...]
    dropped: tuple[str, ...]

    @property
    def here(self) -> int:
        """How many of the wanted years are in the cache now, unless they had to make room."""
        return self.already + self.fetched


def wanted_years(
    service: Service, places: Sequence[Place], labels: Sequence[int], offsets: Sequence[int]
) -> list[PlaceYear]:
    """Every place and calendar year that the labels need, year by year, each place once."""
    years = sorted({label + offset for label in labels for offset in offsets})
    asked = [PlaceYear.at(service.archive, place, year) for year in years for place in places]
    return list(dict.fromkeys(asked))


def wanted_horizons(places: Sequence[Place]) -> list[PlaceHorizon]:
    """The skyline of every place, each once."""
    return list(dict.fromkeys(horizon.asked_at(place) for place in places))


def fetch(
    service: Service,
    wanted: Sequence[PlaceYear | PlaceHorizon],
    cache: ArchiveCache,
    web: Web,
    base_url: str | None = None,
    refresh: bool = False,
    on_step: Callable[[PlaceYear | PlaceHorizon], None] = lambda asked: None,
) -> Fetched:
    """Bring ``wanted`` into ``cache``; what is there already is not asked for again.

    Faults do not raise: they are in the result. A server that is gone, or that fails twice in a
    row, ends the fetch early; a year that it refuses does not.
    """
    already = fetched = ailing = 0
    missing: list[Missing] = []
    for asked in wanted:
        on_step(asked)
        try:
            if web.ask(_question(service, asked, base_url), refresh):
                fetched += 1
            else:
                already += 1
            ailing = 0
        except ArchiveFaultError as fault:
            missing.append(Missing(asked, fault.reason))
            ailing = ailing + 1 if fault.kind == "ailing" else 0
            if fault.kind == "gone" or ailing >= AILING_IN_A_ROW:
                break
    done = already + fetched + len(missing)
    return Fetched(
        wanted=len(wanted),
        already=already,
        fetched=fetched,
        missing=tuple(missing),
        unasked=len(wanted) - done,
        set_aside=tuple(dict.fromkeys(cache.files.set_aside)),
        dropped=tuple(cache.files.dropped),
    )


def _question(service: Service, asked: PlaceYear | PlaceHorizon, base_url: str | None) -> Question:
    """Years are the service's; a horizon is always that of PVGIS, at its own server or mirror."""
    if isinstance(asked, PlaceYear):
        return service.question(asked, base_url)
    return horizon.question(asked, base_url if service is PVGIS else None)
