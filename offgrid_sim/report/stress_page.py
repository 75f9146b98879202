"""The report of ``stress``: what gives way first, how soon, and on which pair."""

from __future__ import annotations

from dataclasses import dataclass

from offgrid_sim.report.assumptions import assumptions_section
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.page import Page, Section, render_page, section
from offgrid_sim.report.tables import source_rows
from offgrid_sim.report.words import counted, in_a_row, number, percent
from offgrid_sim.studies.stress import AS_PLANNED, CaseResult, Pair, Stress
from offgrid_sim.studies.stress_times import NEVER
from offgrid_sim.studies.stress_words import (
    RUN_OUT_WORD,
    after,
    lasting,
    level_of,
    makes_worse,
    pairs_ranked,
    stress_numbers,
    stress_sentence,
    worst_first,
)
from offgrid_sim.weather.table import WeatherSource

SHOWN_ENDS = ("blackout", "fridge_stop", "thaw", "dry", "grey_full", "warm_food", "frozen_water")
HEADS = ("Dark", "Fridge stops", "Thaw", "Dry", "Grey full", "Food warm", "Water frozen")


@dataclass(frozen=True)
class Verdict:
    """What happens first in a case, or that it holds."""

    level: str
    word: str
    text: str
    years: str


@dataclass(frozen=True)
class CaseRow:
    """One case in the table."""

    title: str
    what: str
    verdict: Verdict
    ends: tuple[str, ...]
    floor: str
    recovers: str
    lowest: str
    changes: tuple[str, ...]


@dataclass(frozen=True)
class PairRow:
    """One pair in one ambient: how many cases it holds, and what breaks it."""

    name: str
    ambient: str
    held: str
    breaks: str
    results: tuple[Verdict, ...]


@dataclass(frozen=True)
class Grid:
    """One case: a row for each fridge and ambient, a column for each battery."""

    case: str
    what: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, tuple[Verdict, ...]], ...]
    broken: str


def stress_page(found: Stress, sources: tuple[WeatherSource, ...]) -> str:
    """The whole page as one self-contained HTML text with no script to draw it."""
    trip = found.loaded.trip
    many = len(found.pairs) * len(found.ambients_c) > 1
    body = (_pairs(found), _grids(found)) if many else (_cases(found),)
    sections = (
        *body,
        assumptions_section(found.loaded.origins, found.loaded.files),
        section("weather", "Where the weather comes from", "Weather", "weather.html.j2",
                sources=source_rows(sources, trip.route.stops)),
        section("cautions", "Before you rely on it", "Cautions", "cautions.html.j2",
                cautions=CAUTIONS),
    )  # fmt: skip
    return render_page(
        Page(
            title=trip.name,
            kicker="Stress test",
            about=_about(found),
            level=level_of(found),
            sentence=stress_sentence(found),
            sections=sections,
            islands={"plan": found.loaded.document, "numbers": stress_numbers(found)},
            interactive=False,
        )
    )


def _about(found: Stress) -> str:
    years = counted(len(found.years), "weather year")
    pair = found.pairs[0].name if len(found.pairs) == 1 else counted(len(found.pairs), "pair")
    return (
        f"{pair[0].upper()}{pair[1:]}, {counted(len(found.cases), 'hard case')} from day "
        f"{found.from_day} of the trip, each looked at for {counted(found.days, 'day')} "
        f"in {years}."
    )


def _cases(found: Stress) -> Section:
    planned = found.results[0]
    ranked = worst_first(found.results[1:])
    held = [one for one in found.results[1:] if one not in ranked]
    rows = tuple(case_row(one, planned) for one in (planned, *ranked, *held))
    return section(
        "cases", "What gives way first", "Cases", "stress_cases.html.j2",
        rows=rows, heads=HEADS, skipped=in_a_row(list(found.skipped)), years=len(found.years),
    )  # fmt: skip


def case_row(one: CaseResult, planned: CaseResult) -> CaseRow:
    """One case as texts."""
    spell = one.spell_days is not None
    recovers = "no end" if not spell else "not in time"
    if spell and one.recover_h < NEVER:
        recovers = "at once" if one.recover_h < 1 else lasting(one.recover_h)
    return CaseRow(
        title=one.case,
        what=one.what,
        verdict=verdict_of(one, planned),
        ends=tuple(_when(one, kind) for kind in SHOWN_ENDS),
        floor=f"{number(one.floor_l, 1)} l" if one.floor_l > 0.05 else "–",
        recovers="–" if one.case == AS_PLANNED else recovers,
        lowest=percent(one.lowest_soc),
        changes=one.changes,
    )


def verdict_of(one: CaseResult, planned: CaseResult) -> Verdict:
    """ "fails" when a hard end comes, "tight" with a soft end or only what the plan has anyway."""
    if not one.failed_years:
        return Verdict("holds", "Holds", "", "")
    level, word = ("fails", "Fails") if one.hard_years else ("tight", "Bothers")
    if one.case != AS_PLANNED and one.hard_years and not makes_worse(one, planned):
        level, word = "tight", "As planned"
    count = one.hard_years or one.failed_years
    years = f"in {count} of {len(one.times)} years" if len(one.times) > 1 else ""
    return Verdict(level, word, f"{RUN_OUT_WORD[one.first]} {after(one.first_h)}", years)


def _when(one: CaseResult, kind: str) -> str:
    if one.years_with(kind) == 0:
        return "–"
    hours = one.end_h(kind)
    text = "at once" if hours < 1 else lasting(hours)
    total = len(one.times)
    return text if total == 1 else f"{text} ({one.years_with(kind)}/{total})"


def _ambient(ambient_c: float | None) -> str:
    return "" if ambient_c is None else f"{number(ambient_c)} °C outside"


def _label(name: str, ambient_c: float | None) -> str:
    return name if ambient_c is None else f"{name}, {_ambient(ambient_c)}"


def _pairs(found: Stress) -> Section:
    rows = tuple(
        _pair_row(pair, ambient_c, found.of(pair, ambient_c))
        for pair in pairs_ranked(found)
        for ambient_c in found.ambients_c
    )
    return section("pairs", "Which pair holds", "Pairs", "stress_pairs.html.j2", rows=rows)


def _pair_row(pair: Pair, ambient_c: float | None, results: tuple[CaseResult, ...]) -> PairRow:
    failed = worst_first(results)
    planned = results[0]
    first = failed[0] if failed else None
    breaks = "nothing" if first is None else (
        f"{first.case}: {RUN_OUT_WORD[first.first]} {after(first.first_h)}"
    )  # fmt: skip
    return PairRow(
        name=pair.name, ambient=_ambient(ambient_c),
        held=f"{sum(one.hard_years == 0 for one in results)} of {len(results)}", breaks=breaks,
        results=tuple(verdict_of(one, planned) for one in results),
    )  # fmt: skip


def _grids(found: Stress) -> Section:
    """Case by case: fridges down, batteries across."""
    at = {(one.pair, one.ambient_c, one.case): one for one in found.results}
    batteries = list(dict.fromkeys(pair.battery_name for pair in found.pairs))
    fridges = list(dict.fromkeys(pair.fridge_name for pair in found.pairs))
    by_name = {(pair.fridge_name, pair.battery_name): pair for pair in found.pairs}
    whats = {one.case: one.what for one in found.results}
    grids = []
    for case in (AS_PLANNED, *found.cases):
        rows = []
        for fridge in fridges:
            for ambient_c in found.ambients_c:
                cells = tuple(
                    _cell(at.get((by_name[fridge, battery], ambient_c, case)),
                          at[by_name[fridge, battery], ambient_c, AS_PLANNED])
                    for battery in batteries
                )  # fmt: skip
                rows.append((_label(fridge, ambient_c), cells))
        broken = sum(cell.word == "Fails" for _, cells in rows for cell in cells)
        grids.append(Grid(case, whats[case], tuple(batteries), tuple(rows),
                          f"breaks {broken} of {len(rows) * len(batteries)}"))  # fmt: skip
    return section("grids", "Case by case", "Cases", "stress_grids.html.j2", grids=tuple(grids),
                   skipped=in_a_row(list(found.skipped)))  # fmt: skip


def _cell(one: CaseResult | None, planned: CaseResult) -> Verdict:
    if one is None:
        return Verdict("holds", "does not apply", "", "")
    return verdict_of(one, planned)


assert len(SHOWN_ENDS) == len(HEADS)
