"""Risk over the grid as figures that need no script: a heat map and curves with intervals.

The map's columns are watts (or the first axis), its rows amp-hours (or the second axis); values
of all other axes are those of one chosen design. The what-if script redraws both from the same
numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from offgrid_sim.report.static_chart import Tick
from offgrid_sim.report.words import percent
from offgrid_sim.studies.size import Candidate, SizeStudy
from offgrid_sim.studies.size_grid import Axis

STRONGEST_PCT = 45.0
"""Most colour a cell gets, so that its text keeps its contrast in light and dark."""

MARKS = {"meets": "✓", "undecided": "?", "misses": ""}


@dataclass(frozen=True)
class Cell:
    """One design in the map; ``left`` and ``below`` tell where the accepted limit runs."""

    design: int
    text: str
    mark: str
    tint_pct: float
    left: bool
    below: bool
    chosen: bool
    label: str


@dataclass(frozen=True)
class MapRow:
    """One value of the row axis with its cells."""

    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class RiskMap:
    """The heat map; ``columns`` are the values of the column axis, rows run from high to low.

    ``others`` names the values of all other axes.
    """

    column_title: str
    row_title: str
    columns: tuple[str, ...]
    rows: tuple[MapRow, ...]
    others: str
    finding: str


@dataclass(frozen=True)
class Line:
    """Risk along the column axis at one value of the row axis, as SVG paths on 1000 x 100."""

    row: int
    label: str
    path: str
    band: str
    chosen: bool
    end_pct: float


@dataclass(frozen=True)
class Curves:
    """All lines, ticks along the column axis, and the accepted limit in per cent from the top."""

    lines: tuple[Line, ...]
    ticks: tuple[Tick, ...]
    limit_pct: float
    title: str


def map_axes(study: SizeStudy) -> tuple[int | None, int | None]:
    """Positions of the column and row axes; None where there is no such axis."""
    names = [axis.name for axis in study.question.axes]
    rest = [k for k, name in enumerate(names) if name not in ("panel_w", "battery_ah")]
    order = [names.index(name) for name in ("panel_w", "battery_ah") if name in names] + rest
    return (order[0] if order else None), (order[1] if len(order) > 1 else None)


def positions(axis: Axis) -> tuple[float, ...]:
    """Where each value of an axis stands, 0..1: to scale for numbers, evenly for words."""
    count = len(axis.levels)
    if count == 1:
        return (0.5,)
    if axis.numeric:
        low, high = axis.levels[0].value, axis.levels[-1].value
        if high > low:
            return tuple((level.value - low) / (high - low) for level in axis.levels)
    return tuple(k / (count - 1) for k in range(count))


def risk_map(study: SizeStudy, chosen: int) -> RiskMap:
    """The heat map through design ``chosen``."""
    column, row = map_axes(study)
    pick = _picker(study, chosen, column, row)
    columns = _labels(study, column)
    row_labels = _labels(study, row)
    rows = []
    for r in reversed(range(len(row_labels))):
        cells = tuple(_cell(study, pick, c, r, chosen) for c in range(len(columns)))
        rows.append(MapRow(row_labels[r], cells))
    return RiskMap(
        column_title=_title(study, column),
        row_title=_title(study, row),
        columns=columns,
        rows=tuple(rows),
        others=_others(study, chosen, (column, row)),
        finding=_finding(study),
    )


def curves(study: SizeStudy, chosen: int) -> Curves:
    """Risk along the columns, one line for each row, the interval of the chosen row as a band."""
    column, row = map_axes(study)
    pick = _picker(study, chosen, column, row)
    at = (0.5,) if column is None else positions(study.question.axes[column])
    labels = _labels(study, row)
    here = 0 if row is None else study.candidates[chosen].design.at[row]
    lines = tuple(
        _line(r, label, at, [study.candidates[pick(c, r)] for c in range(len(at))], r == here)
        for r, label in enumerate(labels)
    )
    names = _labels(study, column)
    ticks = tuple(Tick(name, round(100 * x, 2)) for name, x in zip(names, at, strict=True))
    title = "Chance to fail, %" + (f", by {_title(study, column)}" if column is not None else "")
    return Curves(lines, _thinned(ticks), round(100 * (1 - study.question.accept), 2), title)


def _thinned(ticks: tuple[Tick, ...], most: int = 8) -> tuple[Tick, ...]:
    every = -(-len(ticks) // most)
    return ticks[::every]


def _picker(
    study: SizeStudy, chosen: int, column: int | None, row: int | None
) -> Callable[[int, int], int]:
    """A function from column and row to the design there, other axes as in ``chosen``."""
    index = {c.design.at: k for k, c in enumerate(study.candidates)}
    base = list(study.candidates[chosen].design.at)

    def pick(c: int, r: int) -> int:
        at = list(base)
        if column is not None:
            at[column] = c
        if row is not None:
            at[row] = r
        return index[tuple(at)]

    return pick


def _labels(study: SizeStudy, axis: int | None) -> tuple[str, ...]:
    return ("",) if axis is None else tuple(lv.label for lv in study.question.axes[axis].levels)


def _title(study: SizeStudy, axis: int | None) -> str:
    if axis is None:
        return ""
    found = study.question.axes[axis]
    return f"{found.title}, {found.unit}" if found.unit else found.title


def _others(study: SizeStudy, chosen: int, shown: tuple[int | None, int | None]) -> str:
    at = study.candidates[chosen].design.at
    return ", ".join(
        f"{axis.title} {axis.levels[at[k]].label} {axis.unit}".rstrip()
        for k, axis in enumerate(study.question.axes)
        if k not in shown
    )


def _cell(study: SizeStudy, pick: Callable[[int, int], int], c: int, r: int, chosen: int) -> Cell:
    k = pick(c, r)
    one, accept = study.candidates[k], study.question.accept
    over = one.share > accept

    def differs(c2: int, r2: int) -> bool:
        return (study.candidates[pick(c2, r2)].share > accept) != over

    return Cell(
        design=k,
        text=short(one.share),
        mark=MARKS[one.risk.standing],
        tint_pct=round(STRONGEST_PCT * one.share**0.5, 1),
        left=c > 0 and differs(c - 1, r),
        below=r > 0 and differs(c, r - 1),
        chosen=k == chosen,
        label=f"{one.design.name}: {percent(one.share, 1)}, {one.risk.standing}",
    )


def short(share: float) -> str:
    """Per cent without its sign, for narrow cells: ``0``, ``0.4``, ``12``."""
    value = share * 100
    return f"{value:.0f}" if value == 0 or value >= 9.5 else f"{value:.1f}".removesuffix(".0")


def _line(
    row: int, label: str, at: tuple[float, ...], members: list[Candidate], chosen: bool
) -> Line:
    def path(pairs: list[tuple[float, float]]) -> str:
        return "M" + "L".join(f"{1000 * x:.1f},{100 * (1 - y):.2f}" for x, y in pairs)

    pairs = [(x, c.share) for x, c in zip(at, members, strict=True)]
    low = [(x, c.risk.judged.low) for x, c in zip(at, members, strict=True)]
    high = [(x, c.risk.judged.high) for x, c in zip(at, members, strict=True)]
    return Line(row, label, path(pairs), path(high + low[::-1]) + "Z", chosen,
                round(100 * (1 - members[-1].share), 1))  # fmt: skip


def _finding(study: SizeStudy) -> str:
    counts = {kind: sum(c.risk.standing == kind for c in study.candidates) for kind in MARKS}
    return (
        f"Of {len(study.candidates)} designs, {counts['meets']} meet the accepted "
        f"{percent(study.question.accept)}, {counts['misses']} miss it and "
        f"{counts['undecided']} are undecided."
    )
