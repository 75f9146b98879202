"""What every archive must offer, and the checks that are the same for all."""

from __future__ import annotations

import calendar
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NoReturn
from urllib.parse import urlsplit

import numpy as np

from offgrid_sim.errors import OffgridError, WeatherFileError
from offgrid_sim.weather.archive.asked import PlaceYear
from offgrid_sim.weather.archive.web import ArchiveFaultError, Question
from offgrid_sim.weather.files import FileWeather
from offgrid_sim.weather.raw_hours import RawHours
from offgrid_sim.weather.repair import SUNLIGHT, grids_of

MOST_ABSENT_H = 6
"""Hours that may lack at the two ends of a year; holes inside are for weather/repair.py."""


@dataclass(frozen=True)
class Service:
    """One archive. ``archive`` (name and version) starts the cache keys; ``path`` pins the API.

    ``params`` gives the query of one place and year, ``read`` turns an answer's text into rows
    (ValueError or WeatherFileError if it cannot), ``refusal`` finds the server's own words.
    """

    name: str
    archive: str
    title: str
    server: str
    server_env: str
    path: str
    params: Callable[[PlaceYear], Mapping[str, str]]
    read: Callable[[str, str], RawHours]
    refusal: Callable[[str], str]

    def url(self, base_url: str | None = None, path: str | None = None) -> str:
        """Address to ask: ``base_url``, the environment's or the archive's own, plus the path."""
        base = base_url or os.environ.get(self.server_env) or self.server
        parts = urlsplit(base)
        if parts.scheme not in ("http", "https") or not parts.netloc:
            raise OffgridError(
                f"{base!r} is not the address of a server; write it like https://mirror.example."
            )
        return base.rstrip("/") + (path or self.path)

    def called(self, asked: PlaceYear) -> str:
        """What messages call one year at one place."""
        return f"{self.title} {asked.year} at {asked.where}"

    def question(self, asked: PlaceYear, base_url: str | None = None) -> Question:
        """The request for one year at one place."""
        return Question(
            key=asked.key,
            called=self.called(asked),
            url=self.url(base_url),
            params=self.params(asked),
            usable=lambda text: self._usable(text, asked),
            refusal=self.refusal,
        )

    def hours(self, text: str, asked: PlaceYear) -> RawHours:
        """Rows of a stored answer, named for messages."""
        name = self.called(asked)
        return replace(self.read(text, name), file_name=name)

    def _usable(self, text: str, asked: PlaceYear) -> None:
        """Refuse an answer that weather/repair.py could not mend, or that lacks hours.

        ValueError if it is not whole JSON, which is worth another try.
        """
        name = self.called(asked)
        json.loads(text)
        try:
            raw = self.hours(text, asked)
            absent = _absent_hours(raw, asked.year)
            FileWeather([raw])
        except WeatherFileError as error:
            _refuse(name, str(error).removeprefix(f"{name}: ").rsplit(";", 1)[0])
        if absent > MOST_ABSENT_H:
            _refuse(name, f"{absent} of the year's {_hours_in(asked.year)} hours are not there")


def _refuse(name: str, why: str) -> NoReturn:
    raise ArchiveFaultError("refused", f"{name} is not usable ({why})")


def _hours_in(year: int) -> int:
    return 8784 if calendar.isleap(year) else 8760


def _absent_hours(raw: RawHours, year: int) -> int:
    """Hours of the calendar year without temperature or sunlight after repair."""
    (grid,) = grids_of(replace(raw, typical=False))
    sunlight = next(grid.values[c] for c in SUNLIGHT if c in grid.values)
    have = ~np.isnan(grid.values["temp_air_c"]) & ~np.isnan(sunlight)
    own = grid.hour_starts()[have].astype("datetime64[Y]").astype(int) + 1970 == year
    return _hours_in(year) - int(own.sum())
