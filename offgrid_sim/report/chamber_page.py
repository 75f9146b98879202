"""The page of a chamber test: one table, one small drawing, the assumptions, the cautions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from offgrid_sim.plan.draft import Origin
from offgrid_sim.report.assumptions import assumptions_section
from offgrid_sim.report.cautions import CAUTIONS
from offgrid_sim.report.page import Page, render_page, section
from offgrid_sim.studies.chamber import ChamberRow, ChamberTest
from offgrid_sim.studies.chamber_words import chamber_sentence, hours_words


@dataclass(frozen=True)
class Bar:
    """Use per day at one ambient: shut and in use, as widths in per cent of the largest."""

    ambient: str
    shut: str
    in_use: str
    shut_pct: float
    in_use_pct: float


@dataclass(frozen=True)
class Row:
    """One ambient as shown."""

    ambient: str
    runs: str
    holds: str
    cools_down: str
    above_5: str
    above_8: str
    thaw_starts: str
    thawed: str


def chamber_page(test: ChamberTest, origins: Mapping[str, Origin], files: tuple[str, ...]) -> str:
    """The whole page as one self-contained HTML text."""
    fridge = test.fridge
    holds = all(row.holds_set_point for row in test.rows)
    page = Page(
        title=f"{fridge.volume_l:.0f} l {fridge.shape} fridge in the chamber",
        kicker="Fridge test",
        about=(
            f"Heat leak {test.ua_w_k:.2f} W/K; fridge {fridge.set_fridge_c:g} °C, freezer share "
            f"{fridge.freezer_share * 100:.0f} %, {fridge.openings_per_day:g} openings and "
            f"{fridge.loaded_kg_per_day:g} kg of food a day, air at 60 % humidity"
        ),
        level="holds" if holds else "tight",
        gloss="it keeps its set-points" if holds else "it does not keep its set-points everywhere",
        sentence=chamber_sentence(test),
        sections=(
            section("use", "What it uses", "Use", "chamber.html.j2",
                    bars=_bars(test.rows), rows=tuple(_row(row) for row in test.rows)),
            assumptions_section(origins, files),
            section("cautions", "Before you rely on it", "Cautions", "cautions.html.j2",
                    cautions=CAUTIONS),
        ),
        islands={"fridge": fridge.model_dump(mode="json")},
        interactive=False,
    )  # fmt: skip
    return render_page(page)


def _bars(rows: tuple[ChamberRow, ...]) -> tuple[Bar, ...]:
    most = max(row.in_use_wh_day for row in rows) or 1.0
    return tuple(
        Bar(f"{row.ambient_c:g} °C", f"{row.steady_wh_day:.0f}", f"{row.in_use_wh_day:.0f}",
            round(row.steady_wh_day / most * 100, 1), round(row.in_use_wh_day / most * 100, 1))
        for row in rows
    )  # fmt: skip


def _row(row: ChamberRow) -> Row:
    return Row(
        ambient=f"{row.ambient_c:g} °C",
        runs=f"{row.duty * 100:.0f} %",
        holds="yes" if row.holds_set_point else "no",
        cools_down=hours_words(row.pull_down_h),
        above_5=hours_words(row.fresh_above_5c_h),
        above_8=hours_words(row.fresh_above_8c_h),
        thaw_starts=hours_words(row.thaw_starts_h),
        thawed=hours_words(row.thawed_h),
    )
