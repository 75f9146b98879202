"""The report of ``run``: does this van survive this trip, and if not, when and why."""

from __future__ import annotations

import pandas as pd

from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.verdict import Verdict, first_of, verdict
from offgrid_sim.outcome.wiring import circuits
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.route import Stop
from offgrid_sim.report.assumptions import assumptions_section
from offgrid_sim.report.bands import band_spans
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.coarse import coarse
from offgrid_sim.report.days import calendar
from offgrid_sim.report.difference import answer_island, difference
from offgrid_sim.report.flow import energy_flow, water_flow
from offgrid_sim.report.page import Page, Section, render_page, section
from offgrid_sim.report.reread import Earlier
from offgrid_sim.report.route import drawing, stop_rows
from offgrid_sim.report.static_chart import static_chart
from offgrid_sim.report.tables import (
    event_rows,
    key_facts,
    side_checks,
    source_rows,
)
from offgrid_sim.report.why_sections import cures_section, why_section
from offgrid_sim.report.words import clock, counted, day
from offgrid_sim.report.year_figures import YearFigures, figures_island, year_figures
from offgrid_sim.report.years import weather_years
from offgrid_sim.studies.causes import Causes
from offgrid_sim.studies.cures import Cures

CLOSES_WITHIN = 0.001
"""Wh or litres over a whole trip; more would be a fault of the simulation."""


def run_page(
    loaded: LoadedTrip,
    outcome: RunOutcome,
    coarse_places: bool = False,
    earlier: Earlier | None = None,
    causes: Causes | None = None,
    cures: Cures | None = None,
) -> str:
    """The whole report as one self-contained HTML text; same plan and outcome, same bytes.

    ``coarse_places`` rounds coordinates to a degree and drops the names of places and files.
    What changed since an ``earlier`` report stands on top. ``causes`` and ``cures`` each get a
    section where there is anything to tell.
    """
    if coarse_places:
        loaded, outcome = coarse(loaded, outcome)
    judged = verdict(outcome)
    hourly, stops = outcome.hourly, loaded.trip.route.stops
    places = tuple(stop.place for stop in stops)
    figures = year_figures(outcome)
    sections = (
        *_changed(loaded, outcome, judged, earlier, coarse_places),
        _trouble(outcome, judged),
        *_told(None if causes is None else why_section(causes)),
        _section_of_timeline(outcome, figures),
        section("days", "Day by day", "Days", "days.html.j2", months=calendar(hourly, places)),
        _balance(outcome),
        _years(outcome),
        *_told(None if cures is None else cures_section(cures)),
        _route(hourly, stops),
        assumptions_section(
            loaded.origins, loaded.files,
            circuits=circuits(loaded.trip.van, loaded.trip.habits.uses, loaded.trip.people),
        ),
        section("weather", "Where the weather comes from", "Weather", "weather.html.j2",
                sources=source_rows(outcome.ready.sources, stops)),
        section("cautions", "Before you rely on it", "Cautions", "cautions.html.j2",
                cautions=CAUTIONS),
    )  # fmt: skip
    page = Page(
        title=loaded.trip.name,
        kicker="Trip report",
        about=_about(loaded, outcome),
        level=judged.level,
        sentence=judged.sentence,
        sections=sections,
        islands={
            "plan": loaded.document,
            "answer": answer_island(outcome, judged),
            "hours": figures_island(figures, outcome),
        },
    )
    return render_page(page)


def _changed(
    loaded: LoadedTrip,
    outcome: RunOutcome,
    judged: Verdict,
    earlier: Earlier | None,
    coarse_places: bool,
) -> tuple[Section, ...]:
    if earlier is None:
        return ()
    found = difference(earlier, loaded, outcome, judged, coarse_places)
    title = "What changed since the earlier report"
    return (section("changed", title, "Changes", "changed.html.j2", found=found),)


def _about(loaded: LoadedTrip, outcome: RunOutcome) -> str:
    trip, times = loaded.trip, outcome.hourly.index
    people = "1 person" if trip.people == 1 else f"{trip.people} people"
    return (
        f"{trip.van.name}, {people}, {counted(trip.nights, 'night')} from {day(times[0])} "
        f"at {counted(len(trip.route.stops), 'stop')}"
    )


def _shown_year(outcome: RunOutcome) -> str:
    years = len(outcome.ready.years)
    if years == 1:
        return "the one weather year there is"
    return f"the {outcome.shown} of {years} weather years (year {outcome.shown_year})"


def _told(found: Section | None) -> tuple[Section, ...]:
    return () if found is None else (found,)


def _trouble(outcome: RunOutcome, judged: Verdict) -> Section:
    title = "What goes wrong, when and why" if outcome.events else "What comes nearest to trouble"
    return section("trouble", title, "Trouble", "trouble.html.j2",
        facts=key_facts(outcome), checks=side_checks(outcome), reasons=judged.reasons,
        events=event_rows(outcome.events), year=_shown_year(outcome),
    )  # fmt: skip


def _section_of_timeline(outcome: RunOutcome, figures: YearFigures) -> Section:
    first = figures.first
    chart = static_chart(outcome.hourly, band_spans(outcome.hourly), first.finding, outcome.spread)
    return section("timeline", "Hour by hour", "Hours", "timeline.html.j2",
                   figures=figures, figure=first.figure, chart=chart)  # fmt: skip


def _balance(outcome: RunOutcome) -> Section:
    hours = len(outcome.hourly)
    energy, water = outcome.energy, outcome.water
    worst = max(abs(energy.residual_wh), abs(water.fresh_residual_l), abs(water.grey_residual_l))
    closing = (
        "Both books close: nothing is lost or made on the way."
        if worst < CLOSES_WITHIN
        else f"Careful: the books fail to close by {worst:.3g} Wh or l."
    )
    return section("balance", "Where energy and water go", "Energy and water", "balance.html.j2",
        pictures=(energy_flow(energy, hours), water_flow(water, hours)), closing=closing,
        year=_shown_year(outcome),
    )  # fmt: skip


def _years(outcome: RunOutcome) -> Section:
    dark = first_of(outcome, "blackout")
    worst = f"It first goes dark on {clock(dark.start)} at {dark.place}." if dark else ""
    return section("years", "Other weather years", "Years", "years.html.j2",
                   years=weather_years(outcome), worst=worst)  # fmt: skip


def _route(hourly: pd.DataFrame, stops: tuple[Stop, ...]) -> Section:
    rows = stop_rows(hourly, stops)
    states = tuple(row.state for row in rows)
    dark = [str(row.number) for row in rows if row.state == "blackout"]
    found = f"stops with a blackout: {', '.join(dark)}" if dark else "no stop has a blackout"
    return section("route", "Along the route", "Route", "route.html.j2", rows=rows,
                   drawing=drawing(stops[: len(rows)], states),
                   finding=f"The route through {counted(len(rows), 'stop')}; {found}.")  # fmt: skip
