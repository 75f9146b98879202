"""Weather years: how often it went wrong, how sure that is, and each year beside the others."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from offgrid_sim.outcome.risk import Chance
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.report.words import duration, number, percent

BAR_WIDTH = 0.72


@dataclass(frozen=True)
class ChanceRow:
    """A chance with its 95 % interval, in per cent for drawing and in words."""

    title: str
    band: str
    count: str
    interval: str
    share_pct: float
    low_pct: float
    high_pct: float


@dataclass(frozen=True)
class YearStrip:
    """One quantity of every year as columns (SVG, 1000 x 100 units), ``most`` at full height."""

    title: str
    band: str
    ink: str
    path: str
    most: str
    finding: str


@dataclass(frozen=True)
class YearRow:
    """One weather year in a table."""

    label: int
    dark: str
    thaw: str
    lowest: str
    shown: bool


@dataclass(frozen=True)
class Years:
    """Everything the section on weather years shows. ``shown_pct`` marks the year shown."""

    count: int
    chances: tuple[ChanceRow, ...]
    strips: tuple[YearStrip, ...]
    rows: tuple[YearRow, ...]
    labels: tuple[tuple[float, int], ...]
    shown_pct: float
    shown_label: int
    shown_name: str


def weather_years(outcome: RunOutcome) -> Years:
    """Chances, a strip per quantity, and a row per year, worst first."""
    risk, shown = outcome.risk, outcome.shown_index
    years = len(risk.years)
    chances = [_chance("The battery goes dark", "blackout", risk.blackout)]
    strips = [_hours_strip("Hours dark", "blackout", risk.blackout_hours)]
    if outcome.hourly["ice_share"].notna().all():
        chances.append(_chance("Frozen food starts to thaw", "thaw", risk.thaw))
        strips.append(_hours_strip("Hours thawing", "thaw", risk.thaw_hours))
    chances.append(_chance("The fresh tank runs dry", "dry", risk.dry))
    lowest = _strip(
        "Lowest charge", "", "battery", risk.min_soc, 1.0, "100 %", lambda v: percent(float(v))
    )
    return Years(
        count=years,
        chances=tuple(chances),
        strips=(*strips, lowest),
        rows=tuple(_row(outcome, k) for k in risk.worst_first),
        labels=_labels(risk.years),
        shown_pct=round(100 * (shown + 0.5) / years, 2),
        shown_label=outcome.shown_year,
        shown_name=outcome.shown,
    )


def _labels(years: tuple[int, ...]) -> tuple[tuple[float, int], ...]:
    every = -(-len(years) // 6)
    picked = range(0, len(years), every)
    return tuple((round(100 * (k + 0.5) / len(years), 2), years[k]) for k in picked)


def _chance(title: str, band: str, chance: Chance) -> ChanceRow:
    return ChanceRow(
        title=title,
        band=band,
        count=f"{chance.happened} of {chance.years} years",
        interval=f"{percent(chance.low)} to {percent(chance.high)}",
        share_pct=round(100 * chance.share, 2),
        low_pct=round(100 * chance.low, 2),
        high_pct=round(100 * chance.high, 2),
    )


def _hours_strip(title: str, band: str, hours: np.ndarray) -> YearStrip:
    top = max(float(hours.max()), 1.0)
    text = duration(float(hours.max())) if hours.max() > 0 else "none in any year"
    return _strip(title, band, band, hours, top, text, lambda v: f"{number(float(v))} h")


def _strip(
    title: str,
    band: str,
    ink: str,
    values: np.ndarray,
    top: float,
    most: str,
    told: Callable[[float], str],
) -> YearStrip:
    slot = 1000 / len(values)
    spare = slot * (1 - BAR_WIDTH) / 2
    heights = 100 * np.clip(values / top, 0, 1)
    path = "".join(
        f"M{k * slot + spare:.1f} 100V{100 - h:.1f}h{slot * BAR_WIDTH:.1f}V100Z"
        for k, h in enumerate(heights.tolist())
        if h > 0
    )
    low, middle, high = (told(float(v)) for v in np.quantile(values, [0, 0.5, 1]))
    finding = f"{title}: from {low} to {high}, half of the years below {middle}."
    return YearStrip(title, band, ink, path, most, finding)


def _row(outcome: RunOutcome, k: int) -> YearRow:
    risk = outcome.risk
    dark, thaw = float(risk.blackout_hours[k]), float(risk.thaw_hours[k])
    return YearRow(
        label=risk.years[k],
        dark=duration(dark) if dark else "\u2013",
        thaw=duration(thaw) if thaw else "\u2013",
        lowest=percent(float(risk.min_soc[k])),
        shown=k == outcome.shown_index,
    )
