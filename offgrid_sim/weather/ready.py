"""Finished hours of one place, ready to serve a trip's span: what files and archives end as."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.span import Match, Nominal, Record, calendar_labels, match, nominal_hours
from offgrid_sim.weather.table import COLUMNS, Place, WeatherBlock, WeatherSource

SAME_PLACE_KM = 50.0
FAR_KM = 100.0


class Located(Protocol):
    """Anything with coordinates, of which one may be unknown."""

    @property
    def latitude_deg(self) -> float | None: ...

    @property
    def longitude_deg(self) -> float | None: ...


class NamedPlace(Located, Protocol):
    """Located, and called something in messages."""

    @property
    def called(self) -> str: ...


@dataclass(frozen=True)
class Ready:
    """Records with all columns at one place. ``called`` is what errors call their origin.

    ``located`` is false where the origin names no coordinates and a stop lent its own.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    records: tuple[Record, ...]
    notes: tuple[str, ...]
    name: str
    licence: str
    called: str
    located: bool = True

    @property
    def typical(self) -> bool:
        """Whether these are typical years, stitched from several."""
        return any(record.typical for record in self.records)


def labels_of(ready: Ready, place: Place, times_utc: pd.DatetimeIndex) -> tuple[int, ...]:
    """Labels of the weather years that cover the span, in order; empty if none does."""
    return tuple(sorted(_matches(ready, place, times_utc)[0]))


def block_of(
    ready: Ready, place: Place, times_utc: pd.DatetimeIndex, years: Sequence[int]
) -> WeatherBlock:
    """The hours ``times_utc`` of each of ``years``; WeatherFileError if one is not covered."""
    found, nominal, shift_h = _matches(ready, place, times_utc)
    for year in years:
        if year not in found:
            raise WeatherFileError(_not_covered(ready, year, times_utc, sorted(found)))
    stacks = [record.values[:, got.rows] for record, got in (found[y] for y in years)]
    arrays = np.stack(stacks, axis=1) if stacks else np.empty((6, 0, len(times_utc)))
    columns = dict(zip(COLUMNS, np.ascontiguousarray(arrays), strict=True))
    notes = [*ready.notes, *_place_notes(ready, place, shift_h)]
    notes += _span_notes({year: found[year] for year in years}, nominal)
    return WeatherBlock(
        times_utc=times_utc,
        years=tuple(int(year) for year in years),
        source=_source(ready, shift_h, notes),
        **columns,
    )


def joined(parts: list[tuple[int, np.ndarray, np.ndarray]]) -> Record:
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


def notes_by_whom(notes: dict[str, set[str]], every: set[str]) -> tuple[str, ...]:
    """Notes that hold for every part as they are, others with the parts they hold for."""
    return tuple(
        note if names == every else f"{', '.join(sorted(names))}: {note}"
        for note, names in notes.items()
    )


def check_same_place(parts: Sequence[NamedPlace]) -> None:
    """Refuse parts that lie too far from the first; those without coordinates go with any."""
    here = parts[0]
    for other in parts[1:]:
        if (here.latitude_deg is None) != (other.latitude_deg is None):
            continue
        apart = distance_km(here, other)
        if apart > SAME_PLACE_KM:
            raise WeatherFileError(
                f"{other.called}: lies {apart:.0f} km from {here.called}; give files of one place, "
                "and name others at their own stops."
            )


def distance_km(a: Located, b: Located) -> float:
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


def _matches(
    ready: Ready, place: Place, times_utc: pd.DatetimeIndex
) -> tuple[dict[int, tuple[Record, Match]], Nominal, int]:
    """Record and rows by label, the span's nominal hours, and by how many hours it was moved."""
    if not len(times_utc):
        raise ValueError("times_utc is empty: ask for at least one hour")
    east_deg = (place.longitude_deg - ready.longitude_deg + 180.0) % 360.0 - 180.0
    shift_h = round(east_deg / 15.0)
    nominal = nominal_hours(times_utc, shift_h)
    found = {}
    for record in ready.records:
        for label, begin_year in record.labels:
            got = match(record, nominal, begin_year)
            if got is not None:
                found[label] = (record, got)
    return found, nominal, shift_h


def _source(ready: Ready, shift_h: int, notes: list[str]) -> WeatherSource:
    longitude = (ready.longitude_deg + 15.0 * shift_h + 180.0) % 360.0 - 180.0
    return WeatherSource(
        kind="file",
        name=ready.name,
        latitude_deg=ready.latitude_deg,
        longitude_deg=longitude if shift_h else ready.longitude_deg,
        altitude_m=ready.altitude_m,
        years=_years_text(ready),
        licence=ready.licence,
        typical=ready.typical,
        notes=tuple(notes),
    )


def _not_covered(ready: Ready, year: int, times_utc: pd.DatetimeIndex, usable: list[int]) -> str:
    first, last = f"{times_utc[0]:%d %b}", f"{times_utc[-1]:%d %b}"
    have = f"years {', '.join(map(str, usable))}" if usable else "no year that does"
    return (
        f"{ready.called}: weather year {year} does not cover {first} to {last} (the "
        f"file holds {_years_text(ready)}, with {have}); choose another year, "
        "another season or a fuller file."
    )


def _years_text(ready: Ready) -> str:
    if ready.typical:
        return "a typical year"
    labels = sorted({label for record in ready.records for label, _ in record.labels})
    if not labels:
        return "less than two days"
    return str(labels[0]) if len(labels) == 1 else f"{labels[0]}–{labels[-1]}"


def _place_notes(ready: Ready, place: Place, shift_h: int) -> list[str]:
    if not ready.located:
        return ["The file names no coordinates: those of the stop were used."]
    notes = []
    apart = distance_km(ready, place)
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
