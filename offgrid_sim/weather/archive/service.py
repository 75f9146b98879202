"""What every archive must offer, and the checks that are the same for all."""

from __future__ import annotations

import calendar
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import NoReturn
from urllib.parse import urlsplit

from offgrid_sim.errors import OffgridError, WeatherFileError
from offgrid_sim.weather.archive.asked import PlaceYear
from offgrid_sim.weather.archive.finished import FinishedYear, finished, packed, unpacked
from offgrid_sim.weather.archive.store import AnswerFiles, ArchiveCache
from offgrid_sim.weather.archive.web import ArchiveFaultError, Question
from offgrid_sim.weather.raw_hours import RawHours

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
        checked: list[FinishedYear] = []

        def usable(text: str) -> None:
            checked[:] = [self.checked(text, asked)]

        def stored(files: AnswerFiles) -> None:
            for year in checked:
                keep_copy(files, asked, year, files.checksum(asked.key))

        return Question(
            key=asked.key,
            called=self.called(asked),
            url=self.url(base_url),
            params=self.params(asked),
            usable=usable,
            refusal=self.refusal,
            stored=stored,
        )

    def year(self, cache: ArchiveCache, asked: PlaceYear) -> FinishedYear | None:
        """A finished year from the cache; None if its answer is not there or was damaged.

        Raises WeatherFileError where the answer is no weather.
        """
        checksum = cache.files.checksum(asked.key)
        copy = cache.files.copy(asked.key) if checksum else None
        year = unpacked(copy, checksum) if copy and checksum else None
        if year is not None:
            cache.files.used(asked.key)
            return year
        text = cache.text(asked.key)
        if text is None:
            return None
        year = finished(self.hours(text, asked))
        keep_copy(cache.files, asked, year, checksum)
        return year

    def hours(self, text: str, asked: PlaceYear) -> RawHours:
        """Rows of a stored answer, named for messages."""
        name = self.called(asked)
        return replace(self.read(text, name), file_name=name)

    def checked(self, text: str, asked: PlaceYear) -> FinishedYear:
        """The year of an answer that is worth keeping: it could be mended and lacks no hours.

        ArchiveFaultError otherwise; ValueError if it is not whole JSON, which is worth another
        try.
        """
        name = self.called(asked)
        if not text.startswith("{"):
            raise ValueError("not JSON")
        try:
            year = finished(self.hours(text, asked))
        except WeatherFileError as error:
            json.loads(text)
            _refuse(name, str(error).removeprefix(f"{name}: ").rsplit(";", 1)[0])
        absent = _hours_in(asked.year) - year.hours_in(asked.year)
        if absent > MOST_ABSENT_H:
            _refuse(name, f"{absent} of the year's {_hours_in(asked.year)} hours are not there")
        return year


def keep_copy(
    files: AnswerFiles, asked: PlaceYear, year: FinishedYear, checksum: str | None
) -> None:
    """Keep the compact copy of a year whose stored answer has that checksum, if there is room."""
    if checksum is not None:
        files.keep_copy(asked.key, packed(year, checksum))


def _refuse(name: str, why: str) -> NoReturn:
    raise ArchiveFaultError("refused", f"{name} is not usable ({why})")


def _hours_in(year: int) -> int:
    return 8784 if calendar.isleap(year) else 8760
