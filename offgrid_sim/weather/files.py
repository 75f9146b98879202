"""Weather from files: one or more files become a source of hourly blocks for a place.

    weather = open_weather_file("potsdam_2010.csv")
    block = weather.block(place, times_utc, weather.years(place, times_utc))

A year label is the calendar year in which the span starts (for a typical year 1, 2, ...). Ask for
the whole trip's span at every stop: a label then means the same winter everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.daylight import completed
from offgrid_sim.weather.raw_hours import RawHours
from offgrid_sim.weather.readers import read_weather_file
from offgrid_sim.weather.repair import TYPICAL_YEAR, HourGrid, grids_of
from offgrid_sim.weather.span import Match, Nominal, Record, calendar_labels, match, nominal_hours
from offgrid_sim.weather.table import COLUMNS, Place, WeatherBlock, WeatherSource

SAME_PLACE_KM = 50.0
FAR_KM = 100.0
PACKAGED = {
    "greensboro": "723170TYA.CSV",
    "sand_point": "703165TY.csv",
    "miami": "12839.tm2",
}


def open_weather_file(*paths: str | Path) -> FileWeather:
    """Weather of one or more files of the same place; WeatherFileError if one is unusable."""
    return FileWeather([read_weather_file(path) for path in paths])


@cache
def packaged_station(name: str) -> FileWeather:
    """One of the station years that pvlib carries: greensboro, sand_point or miami."""
    if name not in PACKAGED:
        raise WeatherFileError(
            f"no packaged station is called {name!r}; choose one of {', '.join(sorted(PACKAGED))}."
        )
    folder = Path(pvlib.__file__).parent / "data"
    path = folder / PACKAGED[name]
    if not path.is_file():
        raise WeatherFileError(
            f"this pvlib {pvlib.__version__} does not carry {PACKAGED[name]}; install another "
            "version of pvlib, or give a weather file of your own."
        )
    return open_weather_file(path)


@dataclass(frozen=True)
class _Prepared:
    """Records ready to serve, for coordinates that were the file's or the stop's."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    records: tuple[Record, ...]
    notes: tuple[str, ...]


class FileWeather:
    """A WeatherProvider over files. Files without coordinates borrow those of each stop."""

    label_is_start_year = True

    def __init__(self, raws: Sequence[RawHours]):
        if not raws:
            raise WeatherFileError("no weather file was given; name at least one.")
        self._raws = tuple(raws)
        self._grids = [(raw, grid) for raw in raws for grid in grids_of(raw)]
        self._located = next((raw for raw in raws if raw.latitude_deg is not None), None)
        self._prepared: dict[tuple[float, float, float], _Prepared] = {}
        _check_together(self._raws, [grid for _, grid in self._grids])
        if self._has_coordinates:
            self._for(Place("", 0.0, 0.0))  # find fault now, not at the first stop

    @property
    def _has_coordinates(self) -> bool:
        return self._located is not None and self._located.longitude_deg is not None

    def years(self, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
        """Labels of the weather years that cover the span, in order; empty if none does."""
        return tuple(sorted(self._matches(place, times_utc)[1]))

    def block(
        self, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
    ) -> WeatherBlock:
        """The hours ``times_utc`` of each of ``years``; WeatherFileError if one is not covered."""
        ready, found, nominal, shift_h = self._matches_and_shift(place, times_utc)
        for year in years:
            if year not in found:
                raise WeatherFileError(self._not_covered(ready, year, times_utc, sorted(found)))
        stacks = [record.values[:, got.rows] for record, got in (found[y] for y in years)]
        arrays = np.stack(stacks, axis=1) if stacks else np.empty((6, 0, len(times_utc)))
        columns = dict(zip(COLUMNS, np.ascontiguousarray(arrays), strict=True))
        notes = [*ready.notes, *_place_notes(ready, place, shift_h, self._has_coordinates)]
        notes += _span_notes({year: found[year] for year in years}, nominal)
        return WeatherBlock(
            times_utc=times_utc,
            years=tuple(int(year) for year in years),
            source=self._source(ready, shift_h, notes),
            **columns,
        )

    def _matches(
        self, place: Place, times_utc: pd.DatetimeIndex
    ) -> tuple[_Prepared, dict[int, tuple[Record, Match]]]:
        return self._matches_and_shift(place, times_utc)[:2]

    def _matches_and_shift(
        self, place: Place, times_utc: pd.DatetimeIndex
    ) -> tuple[_Prepared, dict[int, tuple[Record, Match]], Nominal, int]:
        if not len(times_utc):
            raise ValueError("times_utc is empty: ask for at least one hour")
        ready = self._for(place)
        east_deg = (place.longitude_deg - ready.longitude_deg + 180.0) % 360.0 - 180.0
        shift_h = round(east_deg / 15.0)
        nominal = nominal_hours(times_utc, shift_h)
        found = {}
        for record in ready.records:
            for label, begin_year in record.labels:
                got = match(record, nominal, begin_year)
                if got is not None:
                    found[label] = (record, got)
        return ready, found, nominal, shift_h

    def _for(self, place: Place) -> _Prepared:
        """Records with all components, computed once per place (once in all if the file knows)."""
        own = self._located if self._has_coordinates else None
        lat = place.latitude_deg if own is None else own.latitude_deg
        lon = place.longitude_deg if own is None else own.longitude_deg
        altitude = (own.altitude_m if own is not None else None) or place.altitude_m or 0.0
        key = (float(lat or 0.0), float(lon or 0.0), float(altitude) if own is None else 0.0)
        if key not in self._prepared:
            self._prepared[key] = self._prepare(key[0], key[1], float(altitude))
        return self._prepared[key]

    def _prepare(self, lat: float, lon: float, altitude_m: float) -> _Prepared:
        finished: list[tuple[HourGrid, np.ndarray]] = []
        notes: dict[str, set[str]] = {}
        for raw, grid in self._grids:
            values, said = completed(grid, lat, lon, altitude_m, raw.called)
            finished.append((grid, np.stack([values[column] for column in COLUMNS])))
            for note in (*grid.notes, *said):
                notes.setdefault(note, set()).add(raw.called)
        return _Prepared(lat, lon, altitude_m, _records(finished), self._whose(notes))

    def _whose(self, notes: dict[str, set[str]]) -> tuple[str, ...]:
        """Notes that hold for every file as they are, others with the files they hold for."""
        every = {raw.called for raw in self._raws}
        return tuple(
            note if names == every else f"{', '.join(sorted(names))}: {note}"
            for note, names in notes.items()
        )

    def _source(self, ready: _Prepared, shift_h: int, notes: list[str]) -> WeatherSource:
        raw = self._raws[0]
        more = f" and {len(self._raws) - 1} more files" if len(self._raws) > 1 else ""
        longitude = (ready.longitude_deg + 15.0 * shift_h + 180.0) % 360.0 - 180.0
        return WeatherSource(
            kind="file",
            name=raw.name + more,
            latitude_deg=ready.latitude_deg,
            longitude_deg=longitude if shift_h else ready.longitude_deg,
            altitude_m=ready.altitude_m,
            years=_years_text(self._raws, ready),
            licence=raw.licence,
            typical=any(record.typical for record in ready.records),
            notes=tuple(notes),
        )

    def _not_covered(
        self, ready: _Prepared, year: int, times_utc: pd.DatetimeIndex, usable: list[int]
    ) -> str:
        first, last = f"{times_utc[0]:%d %b}", f"{times_utc[-1]:%d %b}"
        have = f"years {', '.join(map(str, usable))}" if usable else "no year that does"
        return (
            f"{self._raws[0].called}: weather year {year} does not cover {first} to {last} (the "
            f"file holds {_years_text(self._raws, ready)}, with {have}); choose another year, "
            "another season or a fuller file."
        )


def _check_together(raws: Sequence[RawHours], grids: list[HourGrid]) -> None:
    """Several files must be of one kind and one place."""
    if len({grid.typical for grid in grids}) > 1:
        raise WeatherFileError(
            f"{raws[0].called}: typical and measured years cannot be mixed; give one kind of file."
        )
    labels = [grid.label for grid in grids if grid.label is not None]
    if len(labels) not in (0, len(grids)) or len(set(labels)) != len(labels):
        raise WeatherFileError(
            f"{raws[0].called}: year labels clash between the files; use different labels."
        )
    here = raws[0]
    for other in raws[1:]:
        if (here.latitude_deg is None) != (other.latitude_deg is None):
            continue
        apart = _distance_km(here, other)
        if apart > SAME_PLACE_KM:
            raise WeatherFileError(
                f"{other.called}: lies {apart:.0f} km from {here.called}; give files of one place, "
                "and name others at their own stops."
            )


def _distance_km(a: RawHours | Place | _Prepared, b: RawHours | Place | _Prepared) -> float:
    """Great-circle distance on a sphere of 6371 km; 0 if a coordinate is unknown."""
    corners = (a.latitude_deg, a.longitude_deg, b.latitude_deg, b.longitude_deg)
    if any(corner is None for corner in corners):
        return 0.0
    lat1, lon1, lat2, lon2 = np.radians(np.array(corners, float))
    half = (
        np.sin((lat2 - lat1) / 2) ** 2
        + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2) ** 2
    )
    return float(2 * 6371.0 * np.arcsin(np.sqrt(min(half, 1.0))))


def _records(finished: list[tuple[HourGrid, np.ndarray]]) -> tuple[Record, ...]:
    """Typical and labelled grids stay apart; measured years join into one record."""
    records: list[Record] = []
    measured: list[tuple[int, np.ndarray, np.ndarray]] = []
    for grid, values in finished:
        have = ~np.isnan(values).any(axis=0)
        if grid.typical:
            labels = ((grid.label or len(records) + 1, TYPICAL_YEAR),)
            records.append(Record(grid.first_hour, values, have, labels, True))
        elif grid.label is not None:
            hours = np.datetime64(grid.first_hour + int(np.argmax(have)) + 12, "h")
            begin = int(hours.astype("datetime64[Y]").astype(int)) + 1970
            records.append(Record(grid.first_hour, values, have, ((grid.label, begin),), False))
        else:
            measured.append((grid.first_hour, values, have))
    return (*records, *([_joined(measured)] if measured else []))


def _joined(parts: list[tuple[int, np.ndarray, np.ndarray]]) -> Record:
    """One record over all measured files; where two have the same hour the first file counts."""
    first = min(start for start, _, _ in parts)
    length = max(start + len(have) for start, _, have in parts) - first
    values = np.full((len(COLUMNS), length), np.nan)
    have = np.zeros(length, bool)
    for start, cells, there in reversed(parts):
        at = np.flatnonzero(there) + start - first
        values[:, at] = cells[:, there]
        have[at] = True
    return Record(first, values, have, calendar_labels(first, have), False)


def _years_text(raws: Sequence[RawHours], ready: _Prepared) -> str:
    if any(record.typical for record in ready.records):
        return "a typical year"
    labels = sorted({label for record in ready.records for label, _ in record.labels})
    if not labels:
        return "less than two days"
    return str(labels[0]) if len(labels) == 1 else f"{labels[0]}–{labels[-1]}"


def _place_notes(ready: _Prepared, place: Place, shift_h: int, own: bool) -> list[str]:
    if not own:
        return ["The file names no coordinates: those of the stop were used."]
    notes = []
    apart = _distance_km(ready, place)
    if apart > FAR_KM:
        notes.append(f"The weather is from a place {apart:.0f} km away from {place.name}.")
    if shift_h:
        notes.append(
            f"Its hours (longitude {ready.longitude_deg:.1f}°) were moved by {abs(shift_h)} h so "
            f"that its noon falls on the noon of {place.name}."
        )
    if (
        ready.latitude_deg * place.latitude_deg < 0
        and min(abs(ready.latitude_deg), abs(place.latitude_deg)) > 10
    ):
        notes.append("It is from the other hemisphere: its seasons are the wrong way round.")
    return notes


def _span_notes(found: dict[int, tuple[Record, Match]], nominal: Nominal) -> list[str]:
    notes = []
    typical = [year for year, (record, _) in found.items() if record.typical]
    wrapped = [year for year, (record, got) in found.items() if got.wrapped and not record.typical]
    crosses = bool((nominal.year_step > 0).any())
    if typical and crosses:
        notes.append("The span crosses the new year: the typical year begins again on 1 January.")
    if wrapped and crosses:
        notes.append(
            "Hours after the new year that the next year does not hold are taken from the start of "
            f"the same year (weather years {', '.join(map(str, wrapped))})."
        )
    elif wrapped:
        notes.append(
            "A few hours at the turn of the year, missing because the file keeps local years, are "
            f"taken from the neighbouring turn (weather years {', '.join(map(str, wrapped))})."
        )
    if nominal.leap_day.any() and found:
        notes.append("29 February repeats 28 February where the weather year has none.")
    return notes
