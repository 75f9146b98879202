"""The timeline of each weather year one can choose between, drawn to the same scales and rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from offgrid_sim.outcome.run import RunOutcome, TracedYear
from offgrid_sim.outcome.spread import Spread
from offgrid_sim.plan.route import Stop
from offgrid_sim.report.bands import BandSpans, band_spans, stop_spans
from offgrid_sim.report.look import BANDS
from offgrid_sim.report.panels import panels, with_spread
from offgrid_sim.report.timeline import Lane, Timeline, slim_figure, timeline, trace_island
from offgrid_sim.report.words import day, duration, percent


@dataclass(frozen=True)
class YearFigure:
    """One weather year: its name, what it is in words, and its timeline."""

    name: str
    told: str
    finding: str
    figure: Timeline


@dataclass(frozen=True)
class YearFigures:
    """All years to choose from and the one shown first; ``bands`` occur in one of them at least.

    ``spread_note`` says what the band over all years is, "" when there is none.
    """

    shown: str
    years: tuple[YearFigure, ...]
    bands: tuple[BandSpans, ...]
    spread_note: str

    @property
    def first(self) -> YearFigure:
        """The year shown first."""
        return next(year for year in self.years if year.name == self.shown)


def year_figures(outcome: RunOutcome) -> YearFigures:
    """Build the timelines of the traced years."""
    found = {one.name: band_spans(one.hourly) for one in outcome.traced}
    occurring = {b.band.name for spans in found.values() for b in spans}
    columns = () if outcome.spread is None else tuple(outcome.spread.low)
    has_fridge = bool(outcome.ready.van["has_fridge"][0])
    rows = with_spread(panels(_reach(outcome), has_fridge), columns)
    stops = outcome.ready.trip.route.stops
    years = []
    for one in outcome.traced:
        bands = _all_of(occurring, found[one.name])
        hourly = spread_columns(one.hourly, outcome.spread)
        figure = timeline(hourly, rows, bands, _lanes(one.hourly, stops, bands))
        finding = finding_of(one.hourly, outcome.totals[one.index])
        years.append(YearFigure(one.name, _told(outcome, one), finding, figure))
    bands = _all_of(occurring, found[outcome.shown])
    return YearFigures(outcome.shown, tuple(years), bands, _spread_note(outcome.spread))


def figures_island(figures: YearFigures, outcome: RunOutcome) -> dict[str, Any]:
    """What the page's script needs of the years: figures, words, and the trace of each."""
    stops = outcome.ready.trip.route.stops
    return {
        "shown": figures.shown,
        "places": [stop.place for stop in stops],
        "marks": [{"title": b.title, "flag": b.flag} for b in BANDS],
        "years": {
            one.name: {"told": one.told, "finding": one.finding, "figure": slim_figure(
                one.figure.figure)}
            for one in figures.years
        },
        "trace": trace_island({one.name: one.hourly for one in outcome.traced},
                              _spread_frame(outcome)),
    }  # fmt: skip


def finding_of(hourly: pd.DataFrame, totals: np.void) -> str:
    """What the charts of a year show, in one sentence: their alternative text."""
    lowest = hourly["soc"].idxmin()
    text = (
        f"The charge is lowest on {day(lowest)}, at {percent(float(totals['min_soc']))}; "
        f"the battery is dark for {totals['blackout_hours']:.0f} hours"
    )
    if hourly["ice_share"].notna().all():
        text += f" and the freezer thaws for {totals['thaw_hours']:.0f} hours"
    return text + "."


def spread_columns(hourly: pd.DataFrame, spread: Spread | None) -> pd.DataFrame:
    """The trace with ``COLUMN_p10`` and ``COLUMN_p90`` for each column that has a spread."""
    if spread is None:
        return hourly
    edges = {f"{name}_{end}": values for end, side in (("p10", spread.low), ("p90", spread.high))
             for name, values in side.items()}  # fmt: skip
    return hourly.assign(**edges)


def _spread_frame(outcome: RunOutcome) -> pd.DataFrame:
    added = spread_columns(outcome.hourly, outcome.spread)
    return added[[name for name in added if name not in outcome.hourly]]


def _reach(outcome: RunOutcome) -> pd.DataFrame:
    """All values a scale must hold: every traced year, and the edges of the spread."""
    frames = [one.hourly for one in outcome.traced]
    if outcome.spread is not None:
        frames += [outcome.hourly.assign(**outcome.spread.low),
                   outcome.hourly.assign(**outcome.spread.high)]  # fmt: skip
    return pd.concat(frames)


def _all_of(names: set[str], found: tuple[BandSpans, ...]) -> tuple[BandSpans, ...]:
    """The bands of one year, and those of the others without a span."""
    own = {one.band.name: one for one in found}
    return tuple(own.get(b.name, BandSpans(b, ())) for b in BANDS if b.name in names)


def _lanes(
    hourly: pd.DataFrame, stops: tuple[Stop, ...], bands: tuple[BandSpans, ...]
) -> tuple[Lane, ...]:
    """Places first, then each band but the night."""
    stays = stop_spans(hourly)
    place = Lane(
        "Place", "soft", "", tuple(s for _, s in stays), tuple(stops[k].place for k, _ in stays)
    )
    return (place, *(Lane(b.band.title, b.band.ink, b.band.hatch, b.spans)
                     for b in bands if b.band.name != "night"))  # fmt: skip


def _told(outcome: RunOutcome, one: TracedYear) -> str:
    totals = outcome.totals[one.index]
    dark, thaw = float(totals["blackout_hours"]), float(totals["thaw_hours"])
    words = [f"dark for {duration(dark)}" if dark else "never dark"]
    if one.hourly["ice_share"].notna().all():
        words.append(f"thawing for {duration(thaw)}" if thaw else "never thawing")
    words.append(f"lowest charge {percent(float(totals['min_soc']))}")
    years = len(outcome.ready.years)
    which = f"the {one.name} of {years} weather years" if years > 1 else "the one weather year"
    return f"Year {outcome.ready.years[one.index]}, {which}: {', '.join(words)}."


def _spread_note(spread: Spread | None) -> str:
    if spread is None:
        return ""
    of = "" if spread.years == spread.of_years else f" of {spread.of_years}, evenly picked"
    return (
        f"The shaded band round the charge and the temperatures of fridge and freezer holds 8 in "
        f"10 of {spread.years} weather years{of}, hour by hour."
    )
