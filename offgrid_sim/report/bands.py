"""Which hours are night, driving, dark, thawing or dry: spans for the figures."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd

from offgrid_sim.outcome.events import spells
from offgrid_sim.report.look import BANDS, Band

HOUR = pd.Timedelta(hours=1)


@dataclass(frozen=True)
class Span:
    """Hours ``first`` to ``last`` (half open); ``start`` and ``end`` on the local clock."""

    first: int
    last: int
    start: pd.Timestamp
    end: pd.Timestamp


@dataclass(frozen=True)
class BandSpans:
    """A band with all its spans."""

    band: Band
    spans: tuple[Span, ...]


def with_night(hourly: pd.DataFrame) -> pd.DataFrame:
    """The trace with ``night_share``: 1 where no light falls, else 0."""
    return hourly.assign(night_share=(hourly["ghi_w_m2"] <= 0).astype(float))


def band_spans(hourly: pd.DataFrame) -> tuple[BandSpans, ...]:
    """Every band that occurs in the trace, in the order of the legend."""
    hourly = with_night(hourly)
    found = ((band, hours_of(hourly, hourly[band.flag].to_numpy() > 0)) for band in BANDS)
    return tuple(BandSpans(band, spans) for band, spans in found if spans)


def stop_spans(hourly: pd.DataFrame) -> list[tuple[int, Span]]:
    """The stays in order: index of the stop and its hours."""
    stop = hourly["stop"].to_numpy()
    cuts = [0, *(np.flatnonzero(np.diff(stop)) + 1).tolist(), len(stop)]
    return [(int(stop[a]), _span(hourly.index, a, b)) for a, b in pairwise(cuts)]


def hours_of(hourly: pd.DataFrame, flags: np.ndarray) -> tuple[Span, ...]:
    """Spans of the hours in which ``flags`` (H,) holds."""
    return tuple(_span(hourly.index, first, last) for first, last in spells(flags))


def _span(times: pd.Index, first: int, last: int) -> Span:
    return Span(first, last, times[first], times[last - 1] + HOUR)
