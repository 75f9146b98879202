"""The answer in one sentence, and the plain reason behind the first blackout and thaw."""

from __future__ import annotations

from dataclasses import dataclass

from offgrid_sim.outcome.events import Event
from offgrid_sim.outcome.risk import Chance
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.wiring import CRITICAL_SHARE, SYSTEM_V, circuits, thin_words

LOOK_BACK_DAYS = 5
HOT_CABIN_C = 38.0
LEAD_FULL_DAYS = 7.0
"""Partial charge for longer sulphates lead (common practice, no source)."""


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
    """``4 of 30 weather years (a chance of 5 to 30 %)``: count and 95 % interval."""
    of_years = "" if short else f" of {chance.years} weather years"
    if chance.happened == 0:
        return f"none{of_years} (a chance of at most {chance.high * 100:.0f} %)"
    interval = f"{chance.low * 100:.0f} to {chance.high * 100:.0f} %"
    return f"{chance.happened}{of_years} ({'' if short else 'a chance of '}{interval})"


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
        reasons.append(_cut_out(outcome, cut))
    thaw = first_of(outcome, "thaw")
    if thaw is not None:
        least_ice = min(event.depth for event in outcome.events if event.kind == "thaw")
        floor = outcome.summary["floor_water_l"]
        water = f" {floor:.1f} l of meltwater reach the floorboards." if floor > 0.05 else ""
        if not outcome.ready.van["upright"][0]:
            water = " A chest keeps its meltwater in the tub."
        reasons.append(
            f"The freezer starts to thaw on {moment(thaw.start)}; "
            f"{least_ice * 100:.0f} % of the ice is left at the worst.{water}"
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
    reasons += _cold_cells(outcome) + _hot_cabin(outcome) + _lead_never_full(outcome)
    reasons += _thin_cables(outcome, cut is not None)
    return reasons


def _cut_out(outcome: RunOutcome, cut: Event) -> str:
    """Name the cable when the battery still had charge."""
    soc = outcome.hourly["soc"].iloc[int(cut.start_hour)]
    hours = outcome.summary["fridge_cutout_hours"]
    text = (
        f"The fridge is off for {hours:.0f} h though the battery is not empty: on "
        f"{moment(cut.start)} its drive sees only {cut.depth:.1f} V with the battery at "
        f"{soc * 100:.0f} %."
    )
    row = outcome.ready.van[0]
    running_a = (row["compressor_w"] + row["fan_w"]) / SYSTEM_V
    drop_v = running_a * (row["cable_ohm"] + row["main_ohm"])
    if drop_v > CRITICAL_SHARE * SYSTEM_V:
        return text + (
            f" This is a cable problem: {drop_v:.2f} V are lost on the way, more than the "
            f"{CRITICAL_SHARE * 100:.0f} % advised; a thicker or shorter cable cures it."
        )
    return text + " The cable is not to blame: the battery itself sags under the load."


def _thin_cables(outcome: RunOutcome, fridge_told: bool) -> list[str]:
    """Circuits that lose more than advised; the fridge's is told with its cut-out where it is."""
    trip = outcome.ready.trip
    return [
        thin_words(circuit)
        for circuit in circuits(trip.van, trip.habits.uses, trip.people)
        if circuit.thin and not (fridge_told and circuit.key == "van.fridge")
    ]


def _cold_cells(outcome: RunOutcome) -> list[str]:
    """Charge that was there and that cold cells refused."""
    hours = outcome.summary["cold_lockout_hours"]
    if hours < 1:
        return []
    refused = outcome.hourly["curtailed_w"] * outcome.hourly["cold_lockout_share"]
    return [
        f"For {hours:.0f} h the cells are too cold to be charged (coldest "
        f"{outcome.summary['coldest_cell_c']:.0f} C) and refuse {refused.sum():.0f} Wh of sun; "
        "a warmer place for the battery or a pad heater cures it."
    ]


def _hot_cabin(outcome: RunOutcome) -> list[str]:
    """A closed van in the sun, and what it does to the fridge."""
    cabin = outcome.hourly["temp_cabin_c"]
    if cabin.max() < HOT_CABIN_C:
        return []
    hottest = cabin.idxmax()
    hot = outcome.hourly[cabin > HOT_CABIN_C - 5]
    return [
        f"The cabin reaches {cabin.max():.0f} C on {moment(hottest)}; while it is hot the "
        f"compressor runs {hot['compressor_share'].mean() * 100:.0f} % of the time. Shade, a vent "
        "that works while you are away, or condenser air from outside help; never leave people "
        "or pets in it."
    ]


def _lead_never_full(outcome: RunOutcome) -> list[str]:
    """Lead that is not filled for more than a week sulphates."""
    days = outcome.summary["longest_without_full_h"] / 24
    if not outcome.ready.van["lead"][0] or days <= LEAD_FULL_DAYS:
        return []
    return [
        f"The lead battery goes {days:.0f} days without a full charge; more than a week of that "
        "shortens its life."
    ]


def _why_dark(outcome: RunOutcome, dark: Event) -> str:
    """Energy in and out over the days before the first blackout."""
    last = int(dark.start_hour)
    first = max(last - 24 * LOOK_BACK_DAYS, 0)
    before = outcome.hourly.iloc[first:last]
    if len(before) < 12:
        return f"The battery is empty almost from the start ({moment(dark.start)})."
    days = len(before) / 24
    span = f"{days:.0f} days" if days >= 1.5 else f"{len(before)} hours"
    came = (before["solar_w"] + before["alternator_w"] + before["shore_w"]).sum() / days
    went = before["load_w"].sum() / days
    return (
        f"In the {span} before {moment(dark.start)}, {came:.0f} Wh a day came in and "
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
