"""The report of ``size``: which watts and amp-hours hold, how surely, and what moves the answer."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from offgrid_sim.report.assumptions import assumptions_section
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.coarse import coarse_plan
from offgrid_sim.report.page import Page, Section, render_page, section
from offgrid_sim.report.size_map import STRONGEST_PCT, curves, map_axes, positions, risk_map
from offgrid_sim.report.tables import source_rows
from offgrid_sim.report.words import counted, day, duration, number, percent
from offgrid_sim.studies.size import Candidate, SizeStudy
from offgrid_sim.studies.size_risk import deciding_interval
from offgrid_sim.studies.size_sensitivity import Sensitivity, Swing
from offgrid_sim.studies.size_words import (
    answer,
    fails,
    level,
    notes,
    season,
    titles,
    worksheet_reasons,
    worth_a_look,
)

MOST_SWINGS = 10
MOST_ROWS = 400
ACCEPT_STEPS = (0.005, 0.01, 0.02, 0.03, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5)
STANDINGS = {"meets": "meets it", "undecided": "undecided", "misses": "misses it"}


@dataclass(frozen=True)
class DesignRow:
    """One design as a row of a table."""

    name: str
    titles: str
    chance: str
    interval: str
    standing: str
    worst: str
    cost: str
    mass: str
    roof: str
    chosen: bool


@dataclass(frozen=True)
class SwingRow:
    """One input: its range, what the chance becomes at both ends, and a bar between them."""

    key: str
    meaning: str
    low: str
    high: str
    share_low: str
    share_high: str
    charge_low: str
    charge_high: str
    moves_chance: bool
    left_pct: float
    width_pct: float
    together: str


@dataclass(frozen=True)
class SheetLine:
    """One line of the worksheet: what, how much, and where it is from."""

    title: str
    value: str
    origin: str


@dataclass(frozen=True)
class Compared:
    """The sheet's result beside the simulated one."""

    title: str
    sheet: str
    simulated: str
    ratio: str


def size_page(study: SizeStudy) -> str:
    """The whole report as one self-contained HTML text; same study, same bytes."""
    trip = study.loaded.trip
    people = "1 person" if trip.people == 1 else f"{trip.people} people"
    return render_page(
        Page(
            title=trip.name,
            kicker="Sizing by risk",
            about=f"{trip.van.name}, {people}, {counted(trip.nights, 'night')} from "
            f"{day(study.local_times[0])}; {counted(len(study.candidates), 'design')} through at "
            f"least {counted(study.weather_years, 'weather year')} each",
            level=level(study),
            sentence=answer(study),
            sections=_sections(study),
            islands={"plan": study.loaded.document, "size": size_island(study)},
            interactive=False,
        )
    )  # fmt: skip


def without_places(study: SizeStudy) -> SizeStudy:
    """The study as it may be shown to strangers."""
    sources = tuple(
        source
        if source.kind == "climate"
        else replace(source, name=f"a weather {source.kind}, name hidden", notes=())
        for source in study.sources
    )
    return replace(study, loaded=coarse_plan(study.loaded), sources=sources)


def _sections(study: SizeStudy) -> tuple[Section, ...]:
    chosen = study.best
    origins = study.loaded.origins
    rows = [design_row(study, k) for k in range(len(study.candidates))]
    found = [
        section("risk", "Risk over the grid", "Risk", "size_risk.html.j2",
                map=risk_map(study, chosen), curves=curves(study, chosen), axes=study.question.axes,
                at=study.candidates[chosen].design.at, steps=ACCEPT_STEPS,
                accept=percent(study.question.accept), fails=fails(study), season=season(study),
                row_name=_row_name(study)),
        section("designs", "Designs worth looking at", "Designs", "size_designs.html.j2",
                rows=[rows[k] for k in worth_a_look(study)], all_rows=rows[:MOST_ROWS],
                left_out=max(len(rows) - MOST_ROWS, 0), notes=notes(study), season=season(study),
                accept=percent(study.question.accept), met=study.frontier is not None),
    ]  # fmt: skip
    if study.sensitivity is not None:
        found.append(_moves(study, study.sensitivity))
    found += [
        section("worksheet", "The same by the trade's worksheet", "Worksheet",
                "size_worksheet.html.j2", lines=sheet_lines(study), compared=compared(study),
                reasons=worksheet_reasons(study)),
        section("method", "How sure this is", "Method", "size_method.html.j2",
                years=study.weather_years, looks=study.looks, season=season(study),
                runs=number(sum(c.risk.years for c in study.candidates)),
                hours=number(study.simulated_hours / 1e6, 1)),
        assumptions_section(origins, study.loaded.files),
        section("weather", "Where the weather comes from", "Weather", "weather.html.j2",
                sources=source_rows(study.sources, study.loaded.trip.route.stops)),
        section("cautions", "Before you rely on it", "Cautions", "cautions.html.j2",
                cautions=CAUTIONS),
    ]  # fmt: skip
    return tuple(found)


def _row_name(study: SizeStudy) -> str:
    """What a line of the curves stands for."""
    row = map_axes(study)[1]
    return "design" if row is None else study.question.axes[row].title.lower()


def design_row(study: SizeStudy, k: int) -> DesignRow:
    """Design ``k`` as shown in the tables."""
    candidate = study.candidates[k]
    chance, bill = candidate.risk.judged, candidate.bill
    return DesignRow(
        name=candidate.design.name,
        titles=", ".join(titles(study, k)),
        chance=f"{chance.happened} of {chance.years}",
        interval=f"{percent(chance.low, 1)} to {percent(chance.high, 1)}",
        standing=STANDINGS[candidate.risk.standing],
        worst=worst_text(candidate),
        cost=number(bill.cost),
        mass=number(bill.mass_kg),
        roof=number(bill.roof_m2, 1),
        chosen=k == study.recommended,
    )


def worst_text(candidate: Candidate) -> str:
    """``51 h dark from 18 December (year 48)``."""
    worst = candidate.risk.worst
    if worst is None:
        return "never dark"
    what = "dark" if worst.kind == "blackout" else "thawing"
    return f"{duration(worst.hours)} {what} from {day(worst.start)} (year {worst.year})"


def size_island(study: SizeStudy) -> dict[str, Any]:
    """The computed grid for the what-if: columns of equal length, one entry per design."""
    column, row = map_axes(study)
    rows = study.candidates
    looks = len(study.looks)
    decide = [deciding_interval(c.risk.judged.happened, c.risk.years, looks) for c in rows]

    def shares(values: list[float]) -> list[float]:
        return [round(value, 5) for value in values]

    return {
        "axes": [
            {"title": axis.title, "unit": axis.unit, "labels": [lv.label for lv in axis.levels],
             "at": [round(x, 5) for x in positions(axis)]}
            for axis in study.question.axes
        ],
        "column": column, "row": row, "accept": study.question.accept, "steps": ACCEPT_STEPS,
        "fails": fails(study), "season": season(study), "strongest": STRONGEST_PCT,
        "name": [c.design.name for c in rows],
        "at": [list(c.design.at) for c in rows],
        "happened": [c.risk.judged.happened for c in rows],
        "years": [c.risk.years for c in rows],
        "low": shares([c.risk.judged.low for c in rows]),
        "high": shares([c.risk.judged.high for c in rows]),
        "decide_low": shares([low for low, _ in decide]),
        "decide_high": shares([high for _, high in decide]),
        "hours": [round(c.risk.blackout_hours_mean, 2) for c in rows],
        "unserved": [round(c.risk.unserved_wh_mean, 1) for c in rows],
        "thaw": shares([c.risk.thaw.share for c in rows]),
        "dry": shares([c.risk.dry.share for c in rows]),
        "cost": [c.bill.cost for c in rows],
        "mass": [c.bill.mass_kg for c in rows],
        "roof": [c.bill.roof_m2 for c in rows],
        "worst": [worst_text(c) for c in rows],
    }  # fmt: skip


def _moves(study: SizeStudy, found: Sensitivity) -> Section:
    rows = tuple(_swing_row(one) for one in found.swings if max(one.span) > 0.004)[:MOST_SWINGS]
    joint = found.joint_shares
    count = len(joint)
    return section(
        "moves", "Which input moves the answer most", "Inputs", "size_moves.html.j2",
        design=study.candidates[found.design].design.name, rows=rows, years=found.years,
        base_pct=round(100 * found.share, 1), base=percent(found.share), season=season(study),
        inputs=len(found.swings), samples=count,
        low=percent(joint[round(0.05 * (count - 1))]) if count else "",
        middle=percent(joint[(count - 1) // 2]) if count else "",
        high=percent(joint[round(0.95 * (count - 1))]) if count else "",
    )  # fmt: skip


def _swing_row(one: Swing) -> SwingRow:
    low, high = sorted((one.share_low, one.share_high))
    return SwingRow(
        key=one.input.key,
        meaning=one.input.meaning,
        low=f"{one.input.low:g}".replace("-", "\u2212"),
        high=f"{one.input.high:g}".replace("-", "\u2212"),
        share_low=percent(one.share_low),
        share_high=percent(one.share_high),
        charge_low=percent(one.charge_low),
        charge_high=percent(one.charge_high),
        moves_chance=high > low,
        left_pct=round(100 * low, 1),
        width_pct=round(max(100 * (high - low), 0.6), 1),
        together=number(one.rank_correlation, 2),
    )


def sheet_lines(study: SizeStudy) -> tuple[SheetLine, ...]:
    """The worksheet line by line."""
    sheet = study.worksheet
    return (
        SheetLine("Load", f"{number(sheet.load_wh_day)} Wh, {number(sheet.load_ah_day)} Ah a day",
                  "mean of the simulated trip, fridge included, at 12.8 V"),
        SheetLine("Peak-sun hours", f"{number(sheet.sun_hours, 2)} a day",
                  f"panel's tilt, open sky, mean of {sheet.sun_years} weather years in the darkest "
                  "30 days of the trip, by pvlib"),
        SheetLine("Array-to-load ratio", number(sheet.array_to_load, 1),
                  "1.1–1.2 where the load may fail, 1.3–1.4 where not; IEEE 1562, from memory"),
        SheetLine("System losses", percent(sheet.system_loss_share),
                  "10–20 %; IEEE 1562, from memory"),
        SheetLine("Charge controller", percent(sheet.controller_efficiency), "the plan"),
        SheetLine("Days of autonomy", number(sheet.autonomy_days), "common practice, no source"),
        SheetLine("Deepest discharge", percent(sheet.deepest_share),
                  f"daily at most {percent(sheet.daily_share)}; lead by IEEE 1013, from memory, "
                  "lithium common practice"),
        SheetLine("End of life", percent(sheet.end_of_life_share),
                  "of the nameplate; IEEE 1013, from memory"),
        SheetLine("Cold cells", f"× {number(sheet.temperature_factor, 2)}",
                  f"capacity at {number(sheet.cell_temp_c)} °C, the coldest in half of the years"),
        SheetLine("Margin", f"× {number(sheet.margin, 1)}", "1.1–1.25; IEEE 1013, from memory"),
    )  # fmt: skip


def compared(study: SizeStudy) -> tuple[Compared, ...]:
    """Watts and amp-hours of the sheet beside the chosen design's."""
    values, van = study.candidates[study.best].design.values, study.loaded.trip.van
    watts = float(values.get("panel_w", sum(array.panel_w for array in van.solar)))
    amp_hours = float(values.get("battery_ah", van.battery.capacity_ah))
    pairs = (("Panels", study.worksheet.array_w, watts, "W"),
             ("Battery", study.worksheet.battery_ah, amp_hours, "Ah"))  # fmt: skip
    return tuple(
        Compared(title, f"{number(sheet)} {unit}", f"{number(found)} {unit}",
                 f"{number(found / sheet, 2)} times" if sheet > 0 else "")
        for title, sheet, found, unit in pairs
    )  # fmt: skip
