"""Two parts of a run's report: what caused each failure, and what would cure it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.report.page import Section, section
from offgrid_sim.report.words import number
from offgrid_sim.studies.causes import Causes, Effect, Why
from offgrid_sim.studies.causes_words import hours, interaction_words, why_words
from offgrid_sim.studies.cures import Cures, Tried
from offgrid_sim.studies.cures_words import cure_words, cures_sentence

BAND_OF_KIND = {"blackout": "blackout", "thaw": "thaw", "fridge_cutout": "fridge_cutout"}


@dataclass(frozen=True)
class CauseBar:
    """One influence: hours it caused, as words and as per cent of the worst."""

    cause: str
    saved: str
    width_pct: float
    note: str


@dataclass(frozen=True)
class WhyRow:
    """One episode of trouble in words, with its causes and what they do together."""

    band: str
    words: str
    bars: tuple[CauseBar, ...]
    together: tuple[str, ...]


@dataclass(frozen=True)
class CureRow:
    """One change as texts, with a bar for the hours it saves."""

    name: str
    what: str
    effort: str
    price: str
    mass: str
    saved: str
    interval: str
    width_pct: float
    value: str
    left: str
    helps: bool


def why_section(causes: Causes) -> Section | None:
    """Causes of the shown year; None where nothing failed."""
    if not causes.whys:
        return None
    return section(
        "why", "What caused it", "Causes", "why.html.j2",
        year=_bars(causes.whole_year, sum(why.episode.hours for why in causes.whys)),
        rows=tuple(_why_row(why) for why in causes.whys),
    )  # fmt: skip


def cures_section(cures: Cures) -> Section | None:
    """What would help; None where no weather year fails."""
    if cures.usual_failing_years == 0:
        return None
    most = max((one.saved_h for one in cures.tried), default=0.0)
    extra = [one for one in (cures.best_pair, cures.cheapest) if one is not None]
    pairs = [one for one in dict.fromkeys(extra) if len(one.names) > 1]
    most = max([most, *(one.saved_h for one in pairs), 1e-9])
    return section(
        "cures", "What would fix it", "Cures", "cures.html.j2",
        sentence=cures_sentence(cures), usual=hours(cures.usual_h), years=cures.years,
        failing=cures.usual_failing_years,
        rows=tuple(_cure_row(one, most, cures.years) for one in cures.helping),
        pairs=tuple(_cure_row(one, most, cures.years) for one in pairs),
        useless=tuple((one.name, cure_words(one)) for one in cures.tried if not one.helps),
        skipped=", ".join(cures.skipped),
    )  # fmt: skip


def _why_row(why: Why) -> WhyRow:
    return WhyRow(
        BAND_OF_KIND[why.episode.kind],
        why_words(why),
        _bars(why.effects, why.episode.hours),
        tuple(f"{_sentence(interaction_words(one))}." for one in why.interactions[:2]),
    )


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def _bars(effects: tuple[Effect, ...], whole_h: float) -> tuple[CauseBar, ...]:
    return tuple(
        CauseBar(
            _sentence(one.cause), hours(one.saved_h),
            round(100 * min(one.saved_h / max(whole_h, 1e-9), 1.0), 1),
            f"it would have held {one.remedy}" if one.held else f"less {one.remedy}",
        )
        for one in effects
    )  # fmt: skip


def _cure_row(one: Tried, most_h: float, years: int) -> CureRow:
    gap, digits = one.interval, 0 if one.saved_h >= 10 else 1
    interval = "" if gap.low is None or gap.high is None else (
        f"{number(gap.low, digits)} to {number(gap.high, digits)}"
    )  # fmt: skip
    return CureRow(
        name=_sentence(one.name), what=" ".join(one.whats), effort="; ".join(one.efforts),
        price=number(one.price) if one.price else "nothing",
        mass=f"{number(one.mass_kg, 1)} kg" if one.mass_kg else "no weight",
        saved=hours(one.saved_h), interval=interval,
        width_pct=round(100 * max(one.saved_h, 0.0) / most_h, 1),
        value=", ".join(
            f"{number(per, 1)} h per {what}"
            for per, what in ((one.per_100, "100 spent"), (one.per_kg, "kilo"))
            if per != np.inf
        ),
        left=f"{one.failing_years} of {years} still fail" if one.failing_years else "no year fails",
        helps=one.helps,
    )  # fmt: skip
