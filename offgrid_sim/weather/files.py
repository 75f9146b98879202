"""Weather from files: one or more files become a source of hourly blocks for a place.

    weather = open_weather_file("potsdam_2010.csv")
    block = weather.block(place, times_utc, weather.years(place, times_utc))

A year label is the calendar year in which the span starts (for a typical year 1, 2, ...). Ask for
the whole trip's span at every stop: a label then means the same winter everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.daylight import completed
from offgrid_sim.weather.raw_hours import RawHours
from offgrid_sim.weather.readers import read_weather_file
from offgrid_sim.weather.ready import (
    Ready,
    block_of,
    check_same_place,
    joined,
    labels_of,
    notes_by_whom,
)
from offgrid_sim.weather.repair import TYPICAL_YEAR, HourGrid, grids_of
from offgrid_sim.weather.span import Record
from offgrid_sim.weather.table import COLUMNS, Place, WeatherBlock

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


class FileWeather:
    """A WeatherProvider over files. Files without coordinates borrow those of each stop."""

    label_is_start_year = True

    def __init__(self, raws: Sequence[RawHours]):
        if not raws:
            raise WeatherFileError("no weather file was given; name at least one.")
        self._raws = tuple(raws)
        self._grids = [(raw, grid) for raw in raws for grid in grids_of(raw)]
        self._located = next((raw for raw in raws if raw.latitude_deg is not None), None)
        self._prepared: dict[tuple[float, float, float], Ready] = {}
        _check_together(self._raws, [grid for _, grid in self._grids])
        if self._has_coordinates:
            self._for(Place("", 0.0, 0.0))  # find fault now, not at the first stop

    @property
    def _has_coordinates(self) -> bool:
        return self._located is not None and self._located.longitude_deg is not None

    def years(self, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
        """Labels of the weather years that cover the span, in order; empty if none does."""
        return labels_of(self._for(place), place, times_utc)

    def block(
        self, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
    ) -> WeatherBlock:
        """The hours ``times_utc`` of each of ``years``; WeatherFileError if one is not covered."""
        return block_of(self._for(place), place, times_utc, years)

    def _for(self, place: Place) -> Ready:
        """Records with all components, computed once per place (once in all if the file knows)."""
        own = self._located if self._has_coordinates else None
        lat = place.latitude_deg if own is None else own.latitude_deg
        lon = place.longitude_deg if own is None else own.longitude_deg
        altitude = (own.altitude_m if own is not None else None) or place.altitude_m or 0.0
        key = (float(lat or 0.0), float(lon or 0.0), float(altitude) if own is None else 0.0)
        if key not in self._prepared:
            self._prepared[key] = self._prepare(key[0], key[1], float(altitude))
        return self._prepared[key]

    def _prepare(self, lat: float, lon: float, altitude_m: float) -> Ready:
        finished: list[tuple[HourGrid, np.ndarray]] = []
        notes: dict[str, set[str]] = {}
        for raw, grid in self._grids:
            values, said = completed(grid, lat, lon, altitude_m, raw.called)
            finished.append((grid, np.stack([values[column] for column in COLUMNS])))
            for note in (*grid.notes, *said):
                notes.setdefault(note, set()).add(raw.called)
        first, others = self._raws[0], len(self._raws) - 1
        return Ready(
            latitude_deg=lat,
            longitude_deg=lon,
            altitude_m=altitude_m,
            records=_records(finished),
            notes=notes_by_whom(notes, {raw.called for raw in self._raws}),
            name=first.name + (f" and {others} more files" if others else ""),
            licence=first.licence,
            called=first.called,
            located=self._has_coordinates,
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
    check_same_place(raws)


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
    return (*records, *([joined(measured)] if measured else []))
