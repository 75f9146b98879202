"""The answer in one sentence, and the plain reason behind the first blackout and thaw."""

from __future__ import annotations

from dataclasses import dataclass

from offgrid_sim.outcome.events import Event
from offgrid_sim.outcome.risk import Chance
from offgrid_sim.outcome.run import RunOutcome

LOOK_BACK_DAYS = 5


@dataclass(frozen=True)
class Verdict:
    """``level`` is "holds", "tight" or "fails"; ``sentence`` answers the trip's question;
    ``reasons`` say when and why, one sentence each."""

    level: str
    sentence: str
    reasons: tuple[str, ...]


def verdict(outcome: RunOutcome) -> Verdict:
    """Judge a run: it fails on blackout or thaw, is tight near them, else holds."""
    risk = outcome.risk
    failing = risk.blackout.happened + risk.thaw.happened
    if failing:
        level = "fails"
    elif risk.min_soc.min() < 0.2 or outcome.summary["fridge_cutout_hours"] > 0:
        level = "tight"
    else:
        level = "holds"
    return Verdict(level, _sentence(outcome), tuple(_reasons(outcome)))


def _sentence(outcome: RunOutcome) -> str:
    if len(outcome.ready.years) == 1:
        return _one_year(outcome)
    risk = outcome.risk
    text = f"The battery goes dark in {_times(risk.blackout)}"
    if outcome.ready.van["has_freezer"][0] and outcome.ready.van["frozen_kg"][0] > 0:
        text += f", frozen food starts to thaw in {_times(risk.thaw, short=True)}"
    dark, thaw = first_of(outcome, "blackout"), first_of(outcome, "thaw")
    summary = outcome.summary
    if outcome.shown == "worst" and dark is not None:
        text += f"; the worst is dark for {summary['blackout_hours']:.0f} h"
        return f"{text}, first on {day(dark.start)}."
    if outcome.shown == "worst" and thaw is not None:
        text += f"; the worst thaws for {summary['thaw_hours']:.0f} h"
        return f"{text}, first on {day(thaw.start)}."
    return f"{text}; the lowest charge of all is {risk.min_soc.min() * 100:.0f} %."


def _times(chance: Chance, short: bool = False) -> str:
    """``4 of 30 weather years (5-30 %)``: count and 95 % interval."""
    of_years = "" if short else f" of {chance.years} weather years"
    if chance.happened == 0:
        return f"none{of_years} (at most {chance.high * 100:.0f} %)"
    return f"{chance.happened}{of_years} ({chance.low * 100:.0f}-{chance.high * 100:.0f} %)"


def _one_year(outcome: RunOutcome) -> str:
    summary = outcome.summary
    dark, thaw = first_of(outcome, "blackout"), first_of(outcome, "thaw")
    if dark is not None:
        text = (
            f"The battery goes dark for {summary['blackout_hours']:.0f} of "
            f"{summary['hours']:.0f} hours, first on {moment(dark.start)} at {dark.place}"
        )
        if thaw is not None:
            text += f", and the freezer thaws from {moment(thaw.start)}"
        return text + "."
    if thaw is not None:
        return f"The battery holds, but the freezer thaws from {moment(thaw.start)}."
    return (
        f"The van holds for all {summary['hours']:.0f} hours; the charge never falls below "
        f"{summary['min_soc'] * 100:.0f} %."
    )


def _reasons(outcome: RunOutcome) -> list[str]:
    reasons = []
    dark = first_of(outcome, "blackout")
    if dark is not None:
        reasons.append(_why_dark(outcome, dark))
    cut = first_of(outcome, "fridge_cutout")
    if cut is not None:
        reasons.append(
            f"The fridge drive cuts out from {moment(cut.start)}: its terminals fall to "
            f"{cut.depth:.1f} V while the battery still has charge; look at its cable."
        )
    thaw = first_of(outcome, "thaw")
    if thaw is not None:
        floor = outcome.summary["floor_water_l"]
        water = f" {floor:.1f} l of meltwater reach the floor." if floor > 0.05 else ""
        reasons.append(
            f"The freezer starts to thaw on {moment(thaw.start)}; "
            f"{thaw.depth * 100:.0f} % of the ice is left at the worst.{water}"
        )
    for kind, text in (
        ("dry", "The fresh tank runs dry from {start} at {place}; {depth:.0f} l are missing."),
        ("grey_full", "The grey tank is full from {start} at {place}."),
        ("frozen_water", "Water freezes in a tank from {start} at {place}."),
    ):
        event = first_of(outcome, kind)
        if event is not None:
            reasons.append(
                text.format(start=moment(event.start), place=event.place, depth=event.depth)
            )
    if outcome.summary["cold_lockout_hours"] > 0:
        hours = outcome.summary["cold_lockout_hours"]
        reasons.append(f"For {hours:.0f} h cold cells refuse charge that was there.")
    return reasons


def _why_dark(outcome: RunOutcome, dark: Event) -> str:
    """Energy in and out over the days before the first blackout."""
    last = int(dark.start_hour)
    first = max(last - 24 * LOOK_BACK_DAYS, 0)
    before = outcome.hourly.iloc[first:last]
    if len(before) < 12:
        return f"The battery is empty almost from the start ({moment(dark.start)})."
    days = len(before) / 24
    came = (before["solar_w"] + before["alternator_w"] + before["shore_w"]).sum() / days
    went = before["load_w"].sum() / days
    return (
        f"In the {days:.0f} days before {moment(dark.start)}, {came:.0f} Wh a day came in and "
        f"{went:.0f} Wh a day went out, of which the fridge took "
        f"{before['fridge_w'].sum() / days:.0f}."
    )


def first_of(outcome: RunOutcome, kind: str) -> Event | None:
    """The first event of a kind in the shown year, if any."""
    return next((event for event in outcome.events if event.kind == kind), None)


def day(moment_local: object) -> str:
    """``9 January``."""
    return f"{moment_local:%d %B}".lstrip("0")


def moment(moment_local: object) -> str:
    """``9 January 04:10``."""
    return f"{moment_local:%d %B %H:%M}".lstrip("0")
