"""The report of ``run``: does this van survive this trip, and if not, when and why."""

from __future__ import annotations

from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.verdict import Verdict, verdict
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.report.bands import BandSpans, band_spans, stop_spans
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.hour_words import hour_words
from offgrid_sim.report.page import Page, Section, render_page, section
from offgrid_sim.report.panels import panels
from offgrid_sim.report.static_chart import static_chart
from offgrid_sim.report.tables import assumption_tables, event_rows, key_facts, source_rows
from offgrid_sim.report.timeline import Lane, slim_figure, timeline, trace_island
from offgrid_sim.report.words import counted, day, percent


def run_page(loaded: LoadedTrip, outcome: RunOutcome) -> str:
    """The whole report as one self-contained HTML text; same plan and outcome, same bytes."""
    judged = verdict(outcome)
    hourly = outcome.hourly
    bands = band_spans(hourly)
    has_fridge = bool(outcome.ready.van["has_fridge"][0])
    figure = timeline(hourly, panels(hourly, has_fridge), bands, _lanes(outcome, bands))
    places = tuple(stop.place for stop in loaded.trip.route.stops)
    chart = static_chart(hourly, bands, finding(outcome))
    sections = (
        _trouble(outcome, judged),
        section("timeline", "Hour by hour", "timeline.html.j2",
                figure=figure, chart=chart, bands=bands, year=_shown_year(outcome)),
        *_assumptions(loaded),
        section("weather", "Where the weather comes from", "weather.html.j2",
                sources=source_rows(outcome.ready.sources, loaded.trip.route.stops)),
        section("cautions", "Before you rely on it", "cautions.html.j2", cautions=CAUTIONS),
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
            "trace": trace_island(hourly),
            "words": hour_words(hourly, places),
            "figure": slim_figure(figure.figure),
        },
    )
    return render_page(page)


def finding(outcome: RunOutcome) -> str:
    """What the charts show, in one sentence: their alternative text."""
    lowest = outcome.hourly["soc"].idxmin()
    text = (
        f"The charge is lowest on {day(lowest)}, at {percent(outcome.summary['min_soc'])}; "
        f"the battery is dark for {outcome.summary['blackout_hours']:.0f} hours"
    )
    if outcome.hourly["ice_share"].notna().all():
        text += f" and the freezer thaws for {outcome.summary['thaw_hours']:.0f} hours"
    return text + "."


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


def _trouble(outcome: RunOutcome, judged: Verdict) -> Section:
    title = "What goes wrong, when and why" if outcome.events else "What comes nearest to trouble"
    return section(
        "trouble", title, "trouble.html.j2",
        facts=key_facts(outcome), reasons=judged.reasons, events=event_rows(outcome.events),
        year=_shown_year(outcome),
    )  # fmt: skip


def _assumptions(loaded: LoadedTrip) -> tuple[Section, ...]:
    yours, tables = assumption_tables(loaded.origins, loaded.trip)
    return (
        section("assumptions", "Every assumption, and whose it is", "assumptions.html.j2",
                yours=yours, tables=tables, files=loaded.files),
    )  # fmt: skip


def _lanes(outcome: RunOutcome, bands: tuple[BandSpans, ...]) -> tuple[Lane, ...]:
    """Places first, then each band that occurs but the night."""
    stops = outcome.ready.trip.route.stops
    stays = stop_spans(outcome.hourly)
    place = Lane(
        "Place", "soft", "", tuple(s for _, s in stays), tuple(stops[k].place for k, _ in stays)
    )
    return (place, *(Lane(b.band.title, b.band.ink, b.band.hatch, b.spans)
                     for b in bands if b.band.name != "night"))  # fmt: skip
