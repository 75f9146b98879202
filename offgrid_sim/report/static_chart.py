"""A small chart that needs no script: shape as SVG, words as HTML beside it, so both stay legible.

The drawing stretches to the width it is given; only its labels keep their size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.outcome.spread import Spread
from offgrid_sim.report.bands import BandSpans
from offgrid_sim.report.words import number, short_day

WIDTH, HEIGHT = 1000.0, 100.0
"""Drawing units; stretched to the box they stand in."""
SPREAD_POINTS = 360
LAST_TICK_PCT = 88.0
"""A label further right would stick out on a phone."""


@dataclass(frozen=True)
class Tick:
    """A label at a place along an axis, per cent from left or from top."""

    text: str
    at_pct: float


@dataclass(frozen=True)
class BandPath:
    """All hours of a band as one SVG path, by its name (which gives colour and hatch)."""

    name: str
    path: str


@dataclass(frozen=True)
class StaticPanel:
    """One curve: its title, SVG path, value ticks, and a line to mind (per cent from top).

    ``spread`` is the area in which 8 weather years in 10 lie, "" when there is none.
    """

    title: str
    ink: str
    path: str
    spread: str
    ticks: tuple[Tick, ...]
    mark_pct: float | None = None


@dataclass(frozen=True)
class StaticChart:
    """Panels over one time axis; ``finding`` says in words what is to be seen."""

    panels: tuple[StaticPanel, ...]
    bands: tuple[BandPath, ...]
    days: tuple[Tick, ...]
    finding: str


def static_chart(
    hourly: pd.DataFrame, bands: tuple[BandSpans, ...], finding: str, spread: Spread | None = None
) -> StaticChart:
    """State of charge, and the freezer (or fridge) temperature where there is one."""
    hours = len(hourly)
    charge = hourly["soc"].to_numpy() * 100
    shown = [_panel("State of charge, %", "battery", charge, (0.0, 50.0, 100.0),
                    _edges(spread, "soc", 100.0))]  # fmt: skip
    for column, title, ink, mark in (
        ("temp_freezer_c", "Freezer, °C", "freezer", None),
        ("temp_fridge_c", "Fridge, °C", "fridge", 5.0),
    ):
        values = hourly[column].to_numpy(float)
        if not np.isnan(values).any():
            edges = _edges(spread, column)
            ticks = _round_ticks(np.concatenate([values, *edges]))
            shown.append(_panel(title, ink, values, ticks, edges, mark))
            break
    paths = tuple(BandPath(b.band.name, _band_path(b, hours)) for b in bands if b.band.tint > 0)
    return StaticChart(tuple(shown), paths, day_ticks(hourly.index), finding)


def day_ticks(times: pd.Index, most: int = 6) -> tuple[Tick, ...]:
    """Midnights spread over the trip, at most ``most`` of them."""
    days = max(len(times) // 24, 1)
    every = -(-days // most)
    ticks = [Tick(short_day(times[k * 24]), 2400.0 * k / len(times)) for k in range(0, days, every)]
    return tuple(tick for tick in ticks if tick.at_pct <= LAST_TICK_PCT)


def _round_ticks(values: np.ndarray) -> tuple[float, ...]:
    least, most = float(min(values.min(), 0.0)), float(max(values.max(), 5.0))
    step = next(s for s in (5.0, 10.0, 20.0, 50.0) if (most - least) / s <= 4 or s == 50.0)
    first, last = np.floor(least / step), np.ceil(most / step)
    return tuple(float(step * k) for k in np.arange(first, last + 1))


def _panel(
    title: str,
    ink: str,
    values: np.ndarray,
    ticks: tuple[float, ...],
    edges: tuple[np.ndarray, ...],
    mark: float | None = None,
) -> StaticPanel:
    low, high, hours = ticks[0], ticks[-1], len(values)

    def path(at: np.ndarray, numbers: np.ndarray) -> str:
        y = HEIGHT * (high - np.clip(numbers, low, high)) / (high - low)
        return "L".join(f"{a:.1f},{b:.1f}" for a, b in zip(at, y, strict=True))

    def pct(value: float) -> float:
        return round(100 * (high - value) / (high - low), 2)

    x = WIDTH * (np.arange(hours) + 1) / hours
    area = ""
    if edges:
        every, lower, upper = _thinned(*edges)
        area = f"M{path(x[every], upper)}L{path(x[every][::-1], lower[::-1])}Z"
    labels = tuple(Tick(number(tick), pct(tick)) for tick in ticks)
    marked = None if mark is None else pct(mark)
    return StaticPanel(title, ink, f"M{path(x, values)}", area, labels, marked)


def _edges(spread: Spread | None, column: str, scale: float = 1.0) -> tuple[np.ndarray, ...]:
    if spread is None or column not in spread.low:
        return ()
    return spread.low[column] * scale, spread.high[column] * scale


def _thinned(low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Some hours with the edges' reach over the hours up to each, which the eye cannot tell."""
    step = max(len(low) // SPREAD_POINTS, 1)
    first = np.arange(0, len(low), step)
    last = np.append(first[1:], len(low)) - 1
    return last, np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)


def _band_path(found: BandSpans, hours: int) -> str:
    scale = WIDTH / hours
    return "".join(
        f"M{s.first * scale:.1f},0V{HEIGHT:.0f}H{s.last * scale:.1f}V0Z" for s in found.spans
    )
