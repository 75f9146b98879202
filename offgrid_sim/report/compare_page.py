"""The report of ``compare``: plans side by side through the same weather years, on one page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.report.assumptions import assumptions_section
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.look import BAND_OF
from offgrid_sim.report.page import Page, render_page, section
from offgrid_sim.report.tables import source_rows
from offgrid_sim.report.words import counted, duration, in_a_row, number
from offgrid_sim.studies.compare import ChanceRow, Changed, Comparison, Row, Side
from offgrid_sim.studies.compare_paired import Difference
from offgrid_sim.studies.compare_words import compare_numbers, compare_sentence
from offgrid_sim.weather.table import WeatherSource

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
BAND_OF_FIELD = {
    "blackout_hours": "blackout", "thaw_hours": "thaw", "fridge_cutout_hours": "fridge_cutout",
    "food_above_5c_hours": "food_warm", "dry_hours": "dry", "grey_full_hours": "grey_full",
}  # fmt: skip
WHOSE = {"yours": "yours", "file": "from file", "assumed": "assumed", "": "not there"}
BAR = 0.72


@dataclass(frozen=True)
class Plan:
    """Head of one column."""

    letter: str
    name: str
    about: str
    bill: str
    best: bool


@dataclass(frozen=True)
class Cell:
    """A value and its difference from plan A; ``mark`` is "better", "worse" or ""."""

    value: str
    gap: str = ""
    interval: str = ""
    mark: str = ""


@dataclass(frozen=True)
class Line:
    """A row of a table: what, and a cell for each plan."""

    title: str
    note: str
    band: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class Strip:
    """Hours of trouble of one plan in every year, as an SVG path on 1000 x 100."""

    letter: str
    name: str
    path: str
    finding: str


def compare_page(found: Comparison, sources: tuple[WeatherSource, ...]) -> str:
    """The whole page as one self-contained HTML text with no script to draw it."""
    plans = tuple(_plan(k, side, found) for k, side in enumerate(found.sides))
    changed = tuple(_changed_line(one) for one in found.changed)
    trip = found.sides[0].loaded.trip
    sections = (
        section("changed", "What is not the same", "Differences", "compare_changed.html.j2",
                plans=plans, lines=changed, notes=found.notes),
        section("outcome", "What happens to each", "Outcome", "compare_outcome.html.j2",
                plans=plans, lines=_outcome(found), years=len(found.years),
                strips=_strips(found)),
        assumptions_section(
            found.sides[0].loaded.origins, found.sides[0].loaded.files,
            f"Every assumption of {found.sides[0].name}, and whose it is",
        ),
        section("weather", "Where the weather comes from", "Weather", "weather.html.j2",
                sources=source_rows(sources, trip.route.stops)),
        section("cautions", "Before you rely on it", "Cautions", "cautions.html.j2",
                cautions=CAUTIONS),
    )  # fmt: skip
    return render_page(
        Page(
            title=in_a_row([side.name for side in found.sides]),
            kicker="Comparison",
            about=f"{counted(trip.nights, 'night')} from {day_text(trip.first_day)} through "
                  f"{counted(len(found.years), 'weather year')}, the same for every plan. "
                  "Judged is the plan that does best.",
            level=level_of(found.sides[found.best]),
            sentence=compare_sentence(found),
            sections=sections,
            islands={"plan": [side.loaded.document for side in found.sides],
                     "numbers": compare_numbers(found)},
            interactive=False,
        )
    )  # fmt: skip


def level_of(side: Side) -> str:
    """ "fails" with any blackout or thaw, "tight" near it, else "holds"."""
    if side.risk.blackout.happened or side.risk.thaw.happened:
        return "fails"
    cut = side.totals["fridge_cutout_hours"].any()
    return "tight" if cut or side.totals["min_soc"].min() < 0.2 else "holds"


def day_text(date: object) -> str:
    """``1 December``."""
    return f"{date:%d %B}".lstrip("0")


def _plan(k: int, side: Side, found: Comparison) -> Plan:
    trip = side.loaded.trip
    bill = f"{number(side.price)} and {number(side.mass_kg)} kg as far as the plan says"
    if side.unpriced:
        bill += f"; no price or mass given for {in_a_row(list(dict.fromkeys(side.unpriced)))}"
    return Plan(LETTERS[k], side.name, trip.van.name, bill, k == found.best)


def _changed_line(one: Changed) -> Line:
    """A plan value on each side, and whose it is where that is not the same."""
    told = len(set(one.origins)) > 1
    cells = [
        Cell(_value(value), WHOSE[whose] if told else "")
        for value, whose in zip(one.values, one.origins, strict=True)
    ]
    return Line(one.key, one.meaning, "", tuple(cells))


def _outcome(found: Comparison) -> tuple[Line, ...]:
    chances = [_chance_line(row, len(found.years)) for row in found.chances]
    return (*chances, *(_line(row) for row in found.rows))


def _chance_line(row: ChanceRow, years: int) -> Line:
    cells = [Cell(f"{row.counts[0]} of {years}")]
    for count, one in zip(row.counts[1:], row.differences, strict=True):
        gap = one.difference
        cells.append(
            Cell(f"{count} of {years}", _signed(100 * gap.value, 0, "points"),
                 _interval(gap, 100.0, 0), _mark(gap, True))
        )  # fmt: skip
    return Line(row.title, "", BAND_OF_FIELD[row.field], tuple(cells))


def _line(row: Row) -> Line:
    measure = row.measure
    digits = 0 if measure.per_day or measure.unit == "%" else 1
    cells = [Cell(number(row.means[0], digits))]
    for mean, gap in zip(row.means[1:], row.differences, strict=True):
        cells.append(
            Cell(number(mean, digits), _signed(gap.value, digits), _interval(gap, 1.0, digits),
                 _mark(gap, measure.less_is_better))
        )  # fmt: skip
    return Line(measure.title, measure.unit, BAND_OF_FIELD.get(measure.field, ""), tuple(cells))


def _signed(value: float, digits: int, unit: str = "") -> str:
    text = number(value, digits)
    if float(f"{value:.{digits}f}") == 0:
        return "no difference" if value == 0 else f"about 0 {unit}".strip()
    return f"{'+' if value > 0 else ''}{text} {unit}".strip()


def _interval(gap: Difference, scale: float, digits: int) -> str:
    if gap.low is None or gap.high is None or gap.low == gap.high == 0:
        return ""
    return f"{number(gap.low * scale, digits)} to {number(gap.high * scale, digits)}"


def _mark(gap: Difference, less_is_better: bool | None) -> str:
    if less_is_better is None or not gap.clear:
        return ""
    return "better" if (gap.value < 0) == less_is_better else "worse"


def _strips(found: Comparison) -> tuple[Strip, ...]:
    """Hours dark, thawing or cut out by year, on one scale for all plans."""
    names = ("blackout_hours", "thaw_hours", "fridge_cutout_hours")
    hours = [np.sum([side.totals[name] for name in names], axis=0) for side in found.sides]
    top = max(max(float(one.max()) for one in hours), 1e-9)
    most = [float(one.max()) for one in hours]
    return tuple(
        Strip(LETTERS[k], side.name, _columns(one / top),
              f"most in a year {duration(most[k])}" if most[k] else "none in any year")
        for k, (side, one) in enumerate(zip(found.sides, hours, strict=True))
    )  # fmt: skip


def _columns(shares: np.ndarray) -> str:
    slot = 1000 / len(shares)
    spare = slot * (1 - BAR) / 2
    return "".join(
        f"M{k * slot + spare:.1f} 100V{100 - 100 * share:.1f}h{slot * BAR:.1f}V100Z"
        for k, share in enumerate(shares.tolist())
        if share > 0
    )


def _value(value: object) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}".replace("-", "\u2212")
    if isinstance(value, list | tuple):
        return ", ".join(_value(one) for one in value)
    return str(value)


assert set(BAND_OF_FIELD.values()) <= set(BAND_OF)
