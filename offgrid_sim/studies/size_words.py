"""The answer of a sizing study in one sentence with its uncertainty, and what stands behind it."""

from __future__ import annotations

from offgrid_sim.outcome.risk import Chance
from offgrid_sim.studies.size import Candidate, SizeStudy
from offgrid_sim.studies.size_risk import Change

FAILS = {
    "blackout": "the battery goes dark in",
    "thaw": "frozen food starts to thaw in",
    "dry": "the fresh tank runs dry in",
    "grey_full": "the grey tank is full in",
}
SHORT = {"blackout": "dark", "thaw": "thawing", "dry": "dry", "grey_full": "grey full"}
CHARGE_V = 13.2
"""Usual voltage while charging, to turn a controller's amps into watts of panel."""


def level(study: SizeStudy) -> str:
    """``holds``, ``tight`` (no design is shown to hold, one seems to) or ``fails``."""
    if study.recommended is None:
        return "fails"
    return "holds" if study.decided else "tight"


def answer(study: SizeStudy) -> str:
    """The one sentence."""
    best = study.candidates[study.best]
    limit = f"the accepted {percent(study.question.accept)}"
    told = f"{fails(study)} {times(study, best.risk.judged)}"
    many, smaller = len(study.candidates) > 1, _smaller(study)
    if study.recommended is None:
        who = f"None of the {len(study.candidates)} designs holds" if many else "This does not hold"
        best_of = ", the best of them," if many else ""
        return f"{who} {limit}: with {best.design.name}{best_of} {told}{smaller}{_worst(best)}."
    if not study.decided:
        return (
            f"Not decided yet: {best.design.name} is the cheapest design that seems to hold "
            f"{limit}, but {told}{smaller}."
        )
    cheapest = "is the cheapest design that holds" if many else "holds"
    return f"{best.design.name} {cheapest} {limit}: {told}{smaller}."


def fails(study: SizeStudy) -> str:
    """What counts as failure, as words before a count of years."""
    judge = study.question.judge
    if len(judge) == 1:
        return FAILS[judge[0]]
    return f"the van fails ({' or '.join(SHORT[kind] for kind in judge)}) in"


def season(study: SizeStudy) -> str:
    """What a weather year of this trip is called."""
    name = study.loaded.trip.season
    return f"{name}s" if name in ("winter", "summer", "autumn", "spring") else "weather years"


def times(study: SizeStudy, chance: Chance) -> str:
    """``3 of 250 winters (0.4 to 3.5 %)``."""
    if chance.years == 1:
        return "the one weather year there is" if chance.happened else "none of one weather year"
    count = str(chance.happened) if chance.happened else "none"
    return f"{count} of {chance.years} {season(study)} ({interval(chance)})"


def interval(chance: Chance) -> str:
    """``0.4 to 3.5 %``."""
    return f"{percent(chance.low).removesuffix(' %')} to {percent(chance.high)}"


def percent(share: float) -> str:
    """Two figures where they matter: ``0.4 %``, ``3.5 %``, ``17 %``."""
    value = share * 100
    return (
        f"{value:.0f} %" if value >= 9.95 or value < 0.05 else f"{value:.1f} %".replace(".0 ", " ")
    )


def _smaller(study: SizeStudy) -> str:
    """What one size less would risk, along the first numeric axis that has one."""
    step = next((c for c in study.changes if c.larger == study.best), None)
    if step is None:
        return ""
    other = study.candidates[step.smaller]
    axis = study.question.axes[step.axis]
    label = axis.levels[other.design.at[step.axis]].label
    return (
        f"; with {f'{label} {axis.unit}'.strip() if axis.unit else f'{axis.title} {label}'} "
        f"it fails in {times(study, other.risk.judged)}"
    )


def _worst(candidate: Candidate) -> str:
    worst = candidate.risk.worst
    if worst is None:
        return ""
    what = "dark" if worst.kind == "blackout" else "thawing"
    start = f"{worst.start.day} {worst.start:%B}"
    return f"; the worst is {what} for {worst.hours:.0f} h, from {start}"


def notes(study: SizeStudy) -> tuple[str, ...]:
    """What a sceptic should know, one sentence each, the weightiest first."""
    found = [*_years(study), *_other_failures(study), *_plateaus(study), *_edges(study),
             *_limits(study), *_money(study)]  # fmt: skip
    best = study.candidates[study.best]
    if study.recommended is not None and best.risk.worst is not None:
        found.insert(0, f"Its worst year{_worst(best).removeprefix('; the worst')}.")
    return tuple(found)


def _years(study: SizeStudy) -> list[str]:
    found = []
    if study.weather_years == 1 and study.looks[-1] == 1:
        found.append(
            "There is one weather year only, so no chance can be told; take --weather climate, "
            "or --weather archive for past years."
        )
    open_ones = [c for c in study.candidates if c.risk.standing == "undecided"]
    if open_ones and study.looks[-1] > 1:
        most = max(c.risk.years for c in open_ones)
        count = f"{len(open_ones)} design" + ("s are" if len(open_ones) > 1 else " is")
        found.append(
            f"{count} still undecided after {most} weather years: too close to the limit to tell."
        )
    return found


def _other_failures(study: SizeStudy) -> list[str]:
    """Failures that were not judged but are likelier than what was accepted."""
    best = study.candidates[study.best].risk
    return [
        f"Mind that {FAILS[kind]} {times(study, getattr(best, kind))} with this design; "
        f"that is not what was judged (--judge {kind} would)."
        for kind in FAILS
        if kind not in study.question.judge
        and getattr(best, kind).share > max(study.question.accept, best.judged.share)
    ]


def _plateaus(study: SizeStudy) -> list[str]:
    """From which value on more changes nothing, at the chosen design's other values."""
    found: list[str] = []
    best = study.candidates[study.best]
    for n, axis in enumerate(study.question.axes if study.weather_years > 1 else ()):
        line = sorted(
            (c for c in study.changes if c.axis == n and _same_but(study, c, best, n)),
            key=lambda c: study.candidates[c.smaller].design.at[n],
        )
        flat = _flat_from(line)
        if flat is None:
            continue
        level_ = axis.levels[study.candidates[flat[0].smaller].design.at[n]]
        years = min(c.years for c in flat)
        others = _others(best, study, n)
        found.append(
            f"From {level_.label} {axis.unit}".rstrip()
            + f" on{others}, the next {_next_step(study, flat[0], n)} changes nothing: not one of "
            f"{years} {season(study)} ends differently."
        )
    return found


def _same_but(study: SizeStudy, change: Change, best: Candidate, n: int) -> bool:
    at = study.candidates[change.smaller].design.at
    return all(a == b for k, (a, b) in enumerate(zip(at, best.design.at, strict=True)) if k != n)


def _flat_from(line: list[Change]) -> list[Change] | None:
    """The tail of steps that change nothing, None when the last one still changes something."""
    flat: list[Change] = []
    for change in reversed(line):
        if not change.nothing:
            break
        flat.insert(0, change)
    return flat or None


def _others(best: Candidate, study: SizeStudy, n: int) -> str:
    parts = [
        f"{axis.levels[best.design.at[k]].label} {axis.unit}".rstrip()
        for k, axis in enumerate(study.question.axes)
        if k != n
    ]
    return f" with {', '.join(parts)}" if parts else ""


def _next_step(study: SizeStudy, change: Change, n: int) -> str:
    axis = study.question.axes[n]
    low, high = (study.candidates[k].design.at[n] for k in (change.smaller, change.larger))
    width = axis.levels[high].value - axis.levels[low].value
    return f"{width:g} {axis.unit}".rstrip()


def _edges(study: SizeStudy) -> list[str]:
    """Whether the answer lies at the edge of what was tried."""
    if study.recommended is None:
        return ["Nothing larger was tried: widen the grid upwards, or look at what else helps."]
    at = study.candidates[study.best].design.at
    axes = study.question.axes
    low = [
        a.title for a, k in zip(axes, at, strict=True) if a.numeric and k == 0 < len(a.levels) - 1
    ]
    high = [
        a.title for a, k in zip(axes, at, strict=True) if a.numeric and 0 < k == len(a.levels) - 1
    ]
    found = []
    for names, word in ((low, "smallest"), (high, "largest")):
        if names:
            found.append(
                f"{' and '.join(names)}: the answer lies at the {word} value tried; a wider grid "
                "may find a cheaper design."
            )
    return found


def _limits(study: SizeStudy) -> list[str]:
    """Parts of the van that the chosen design may outgrow."""
    best, van, found = study.candidates[study.best], study.loaded.trip.van, []
    watts = best.design.values.get("panel_w")
    passed_w = van.controller.current_limit_a * CHARGE_V
    if watts is not None and watts > passed_w * 1.1:
        found.append(
            f"The charge controller passes {van.controller.current_limit_a:g} A, about "
            f"{passed_w:.0f} W; the figures for {watts:g} W rest on that. A larger one: "
            "--vary van.controller.current_limit_a=30,50."
        )
    if best.bill.roof_m2 > van.cabin.roof_m2:
        found.append(
            f"It needs {best.bill.roof_m2:.1f} m² of roof; the van has {van.cabin.roof_m2:g} m² "
            "(van.cabin.roof_m2)."
        )
    return found


def _money(study: SizeStudy) -> list[str]:
    if not study.assumed_rates:
        return []
    return [
        f"Assumed, not yours: {', '.join(f'van.parts.{key}' for key in study.assumed_rates)}; "
        "put your own quotes into the van file."
    ]


def worksheet_reasons(study: SizeStudy) -> tuple[str, ...]:
    """Why the trade's worksheet and the simulation differ on this trip, the largest first."""
    sheet, day = study.worksheet, study.daily
    found = []
    other = day.alternator_wh + day.shore_wh
    if other > 0.02 * day.load_wh:
        share = other / (other + day.solar_wh)
        found.append((share, (
            f"The sheet counts panels only; here driving and hook-ups bring {other:.0f} Wh a day, "
            f"{percent(share)} of what comes in, so fewer watts do."
        )))  # fmt: skip
    if day.sky_share < 0.98:
        found.append((1 - day.sky_share, (
            f"The sheet sees an open sky; trees and slopes at these stops leave "
            f"{percent(day.sky_share)} of the light, so more watts are needed."
        )))  # fmt: skip
    found.append((0.1, (
        f"The sheet balances the mean of the darkest {30} days and bridges "
        f"{sheet.autonomy_days:g} days from the battery; the simulation lives every run of dark "
        f"days and counts how often the battery goes dark against the accepted "
        f"{percent(study.question.accept)}."
    )))  # fmt: skip
    found.append((0.05, (
        "Watts and amp-hours stand in for each other: the sheet names one pair, the simulation "
        "the cheapest of many."
    )))  # fmt: skip
    if study.loaded.trip.van.battery.chemistry == "lfp":
        found.append((0.01, "The standard behind the sheet is for lead batteries."))
    return tuple(text for _, text in sorted(found, key=lambda pair: -pair[0]))


def titles(study: SizeStudy, k: int) -> tuple[str, ...]:
    """Why design ``k`` is worth a look: cheapest, lightest, smallest roof, or undecided."""
    found = study.frontier
    names = [] if found is None else [
        name for name, index in (("cheapest", found.cheapest), ("lightest", found.lightest),
                                 ("smallest roof", found.smallest_roof)) if index == k
    ]  # fmt: skip
    if study.candidates[k].risk.standing == "undecided":
        names.append("undecided")
    return tuple(names)


def worth_a_look(study: SizeStudy) -> tuple[int, ...]:
    """Frontier designs by cost; where none meets the limit, the undecided, else the best."""
    if study.frontier is not None:
        named = (study.frontier.lightest, study.frontier.smallest_roof, study.frontier.cheapest)
        found = {*study.frontier.unbeaten, *named}
    else:
        found = {k for k, c in enumerate(study.candidates) if c.risk.standing == "undecided"}
    found = found or {study.best}
    return tuple(sorted(found, key=lambda k: (study.candidates[k].bill.cost, k)))
