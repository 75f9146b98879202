"""One archive year, finished: mended, with all columns, at mid-hour; and its compact copy on disk.

Parsing and finishing an answer takes forty times as long as reading what came of it. So the
result is kept beside the answer, as whole ten-thousandths in an npz file. The copy names the
answer's SHA-256 and a digest of the code that made it; where either differs, or the file is
damaged, it counts for nothing and is made again. Numbers are rounded before their first use too, so
that a run gives the same with and without the copy.
"""

from __future__ import annotations

import hashlib
import io
import json
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pvlib

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.daylight import completed
from offgrid_sim.weather.raw_hours import RawHours
from offgrid_sim.weather.ready import Ready, check_same_place, joined, notes_by_whom
from offgrid_sim.weather.repair import grids_of
from offgrid_sim.weather.table import COLUMNS, Place

PARTS = 10_000
"""Numbers are kept to 1/PARTS of a W/m², °C, m/s or per cent; archives give hundredths."""
_ABSENT = np.iinfo(np.int32).min
_PACKAGE = Path(__file__).parents[1]


@dataclass(frozen=True)
class About:
    """What goes with the hours of a finished year; ``altitude_m`` None where not told."""

    called: str
    name: str
    licence: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float | None
    first_hour: int
    notes: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class FinishedYear:
    """Hours of one year at one place; row ``i`` is hour ``about.first_hour + i`` since 1970, UTC.

    ``values`` has the six COLUMNS, shape (6, H), rounded to 1/PARTS; NaN where no hour was given.
    """

    about: About
    values: np.ndarray

    def hours_in(self, year: int) -> int:
        """How many hours of that calendar year are there."""
        rows = np.flatnonzero(self.have)
        hours = (self.about.first_hour + rows).astype("datetime64[h]")
        return int((hours.astype("datetime64[Y]").astype(int) + 1970 == year).sum())

    @property
    def have(self) -> np.ndarray:
        """Which hours are whole, shape (H,)."""
        whole: np.ndarray = ~np.isnan(self.values).any(axis=0)
        return whole


def finished(raw: RawHours) -> FinishedYear:
    """Mend and complete the rows of one answer; WeatherFileError if that cannot be done."""
    lat, lon = raw.latitude_deg, raw.longitude_deg
    if lat is None or lon is None:
        raise WeatherFileError(f"{raw.called}: names no coordinates; fetch it again.")
    (grid,) = grids_of(raw)
    values, said = completed(grid, lat, lon, raw.altitude_m or 0.0, raw.called)
    about = About(
        called=raw.called,
        name=raw.name,
        licence=raw.licence,
        latitude_deg=lat,
        longitude_deg=lon,
        altitude_m=raw.altitude_m,
        first_hour=grid.first_hour,
        notes=(*grid.notes, *said),
    )
    return FinishedYear(about, np.rint(np.stack([values[c] for c in COLUMNS]) * PARTS) / PARTS)


def together(years: list[FinishedYear], place: Place) -> Ready:
    """Years of one place as one record that serves a trip; WeatherFileError if places differ."""
    check_same_place([year.about for year in years])
    notes: dict[str, set[str]] = {}
    for year in years:
        for note in year.about.notes:
            notes.setdefault(note, set()).add(year.about.called)
    about = years[0].about
    return Ready(
        latitude_deg=about.latitude_deg,
        longitude_deg=about.longitude_deg,
        altitude_m=about.altitude_m or place.altitude_m or 0.0,
        records=(joined([(y.about.first_hour, y.values, y.have) for y in years]),),
        notes=notes_by_whom(notes, {year.about.called for year in years}),
        name=about.name,
        licence=about.licence,
        called=about.called,
    )


def packed(year: FinishedYear, answer_sha256: str) -> bytes:
    """The compact copy of a finished year, made from the answer with that checksum."""
    label = {"answer": answer_sha256, "code": code_digest(), **asdict(year.about)}
    out = io.BytesIO()
    whole = np.where(np.isnan(year.values), _ABSENT, np.rint(year.values * PARTS))
    np.savez_compressed(out, label=np.array(json.dumps(label)), parts=whole.astype(np.int32))
    return out.getvalue()


def unpacked(copy: bytes, answer_sha256: str) -> FinishedYear | None:
    """The year of a compact copy; None if it is damaged, or of another answer or other code."""
    try:
        with np.load(io.BytesIO(copy), allow_pickle=False) as kept:
            label = json.loads(str(kept["label"]))
            if (label.pop("answer"), label.pop("code")) != (answer_sha256, code_digest()):
                return None
            parts = kept["parts"]
        values = np.where(parts == _ABSENT, np.nan, parts / PARTS)
        return FinishedYear(About(**{**label, "notes": tuple(label["notes"])}), values)
    except Exception:  # damage can take any form (a zip's checksums find it)
        return None


@cache
def code_digest() -> str:
    """Hex digest over the text of all code that makes weather of answers, and pvlib's version."""
    digest = hashlib.sha256(pvlib.__version__.encode())
    for path in sorted([*_PACKAGE.glob("*.py"), *_PACKAGE.glob("archive/*.py")]):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
