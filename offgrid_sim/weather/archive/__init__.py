"""Real past years by place: fetched once while online, then read from the cache with no network.

    weather = ArchiveWeather(places)
    block = weather.block(place, times_utc, weather.years(place, times_utc))

A label is the calendar year in which the trip's span starts. docs/weather-archives.md tells what
the archives hold and how the cache behaves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from offgrid_sim.errors import WeatherFileError, WeatherUnavailable
from offgrid_sim.weather.archive.asked import (
    PlaceHorizon,
    PlaceYear,
    from_key,
    horizon_from_key,
    labels_covered,
    year_offsets,
)
from offgrid_sim.weather.archive.finished import FinishedYear, together
from offgrid_sim.weather.archive.power import POWER
from offgrid_sim.weather.archive.pvgis import PVGIS
from offgrid_sim.weather.archive.service import Service
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.ready import Ready, block_of
from offgrid_sim.weather.table import Place, WeatherBlock, WeatherSource

__all__ = ["SERVICES", "ArchiveWeather", "held_horizons", "held_years"]

SERVICES: dict[str, Service] = {service.name: service for service in (PVGIS, POWER)}
"""In order of preference: where two cover as many years, the first is taken."""

FAR_ALTITUDE_M = 150.0
LAPSE_K_PER_KM = 6.5


def held_years(cache: ArchiveCache) -> list[PlaceYear]:
    """Every place and year in the cache, by archive, place and year."""
    return sorted(asked for key in cache.files if (asked := from_key(key)) is not None)


def held_horizons(cache: ArchiveCache) -> list[PlaceHorizon]:
    """Every skyline in the cache, by archive and place."""
    return sorted(asked for key in cache.files if (asked := horizon_from_key(key)) is not None)


class ArchiveWeather:
    """A WeatherProvider that reads the cache and never the network.

    ``together`` are the stops of one trip: years are those that all of them have, so that a label
    means the same winter everywhere. Each place takes the archive that covers most years.
    """

    label_is_start_year = True

    def __init__(self, together: Sequence[Place] = (), cache: ArchiveCache | None = None):
        self._together = tuple(together)
        self._cache = ArchiveCache() if cache is None else cache
        self._held: dict[PlaceYear, list[int]] = {}
        for one in held_years(self._cache):
            self._held.setdefault(replace(one, year=0), []).append(one.year)
        self._opened: dict[tuple[PlaceYear, ...], Ready] = {}

    def years(self, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
        """Labels whose years are in the cache for every stop; WeatherUnavailable if none is."""
        offsets = year_offsets(times_utc)
        covers = {p: self._choice(p, offsets)[1] for p in (place, *self._together)}
        for stop, labels in covers.items():
            if not labels:
                raise WeatherUnavailable(self._not_fetched(stop, offsets))
        common = set.intersection(*(set(labels) for labels in covers.values()))
        if not common:
            raise WeatherUnavailable(
                "no past year was fetched for all stops of the trip; run offgrid-sim weather "
                "fetch TRIP --years 2012:2020 once while online."
            )
        return tuple(sorted(common))

    def block(
        self, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
    ) -> WeatherBlock:
        """The hours ``times_utc`` of each of ``years``; WeatherUnavailable if one is not cached."""
        offsets = year_offsets(times_utc)
        service, labels = self._choice(place, offsets)
        absent = [year for year in years if year not in labels]
        if absent:
            raise WeatherUnavailable(self._not_fetched(place, offsets, absent[0]))
        calendar = sorted({year + offset for year in years for offset in offsets})
        asked = tuple(PlaceYear.at(service.archive, place, year) for year in calendar)
        try:
            if asked not in self._opened:
                self._opened[asked] = together([self._year(service, a) for a in asked], place)
            block = block_of(self._opened[asked], place, times_utc, years)
        except WeatherFileError as error:
            reason = str(error).rsplit(";", 1)[0]
            raise WeatherUnavailable(
                f"{reason}; bring it again with offgrid-sim weather fetch TRIP --refresh."
            ) from error
        return replace(block, source=_source(block.source, place, years))

    def _choice(self, place: Place, offsets: Sequence[int]) -> tuple[Service, tuple[int, ...]]:
        """The archive that covers most labels at a place, and those labels."""
        found = [
            (service, labels_covered(self._years_at(service, place), offsets))
            for service in SERVICES.values()
        ]
        return max(found, key=lambda pair: len(pair[1]))

    def _years_at(self, service: Service, place: Place) -> list[int]:
        return self._held.get(PlaceYear.at(service.archive, place, 0), [])

    def _year(self, service: Service, asked: PlaceYear) -> FinishedYear:
        try:
            year = service.year(self._cache, asked)
        except ValueError:
            raise WeatherFileError(f"{service.called(asked)}: is not weather; fetch.") from None
        if year is None and asked.key in self._cache.files.set_aside:
            raise WeatherUnavailable(
                f"{service.called(asked)} was damaged in the cache and was set aside "
                f"({self._cache.files.folder / 'damaged'}); run offgrid-sim weather fetch again "
                "while online, or this run again to do without that year."
            )
        if year is None:
            raise WeatherUnavailable(
                f"{service.called(asked)} has just been dropped from the cache; run offgrid-sim "
                "weather fetch again while online."
            )
        return year

    def _not_fetched(self, place: Place, offsets: Sequence[int], year: int | None = None) -> str:
        """One sentence on what is missing at a stop, with the command that brings it."""
        at = f"{place.name} ({place.latitude_deg:.2f}, {place.longitude_deg:.2f})"
        what = f"past year {year} was" if year is not None else "past years were"
        missing = f"{what} not fetched yet"
        held = any(self._years_at(service, place) for service in SERVICES.values())
        if held and year is None and len(offsets) > 1:
            missing = "the trip runs over the new year, and no year with the next was fetched yet"
        return (
            f"{at}: {missing}; run offgrid-sim weather fetch TRIP --years "
            f"{year or '2012:2020'} once while online."
        )


def _source(source: WeatherSource, place: Place, years: Sequence[int]) -> WeatherSource:
    """The source of an archive's block: its years, and what its height does to the air."""
    first, last = (min(years), max(years)) if years else (0, 0)
    notes = source.notes
    higher_m = 0.0 if place.altitude_m is None else source.altitude_m - place.altitude_m
    if abs(higher_m) > FAR_ALTITUDE_M:
        way, felt = ("above", "colder") if higher_m > 0 else ("below", "warmer")
        notes += (
            f"The archive's ground lies {abs(higher_m):.0f} m {way} {place.name}: its air, left as "
            f"it is, is about {LAPSE_K_PER_KM * abs(higher_m) / 1000:.0f} K {felt} than there.",
        )
    return replace(
        source,
        kind="archive",
        years=str(first) if first == last else f"{first}–{last}",
        notes=notes,
    )
