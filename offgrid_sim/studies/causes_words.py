"""Causes in words: one sentence for each episode of trouble."""

from __future__ import annotations

from typing import Any

from offgrid_sim.outcome.verdict import day
from offgrid_sim.studies.causes import Causes, Effect, Episode, Interaction, Why

WHAT = {"blackout": "Dark", "thaw": "Freezer thawing", "fridge_cutout": "Fridge cut out"}
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
          "eleven", "twelve")  # fmt: skip
MOST_OTHERS = 3


def why_words(why: Why) -> str:
    """``Dark 9-13 January (38 h): five dull days (would have held with average sun), ...``."""
    head = f"{WHAT[why.episode.kind]} {span(why.episode)} ({hours(why.episode.hours)})"
    if not why.effects:
        return (
            f"{head}: no single influence explains it; "
            f"{'; '.join(map(interaction_words, why.interactions[:1])) or SHORT}."
        )
    first, *others = why.effects
    text = f"{head}: {_cause(first, why.episode)} ({_verdict(first)})"
    worse = [f"{one.saved_h:.0f} h worse by {_cause(one, why.episode)}"
             for one in others[:MOST_OTHERS] if not one.held and one.saved_h >= 1]  # fmt: skip
    also = [one.remedy for one in others[:MOST_OTHERS] if one.held]
    if worse:
        text += f", made {_row(worse)}"
    if also:
        text += f"; it would also have held {_row(also, 'or')}"
    if not first.held:
        saving = [one for one in why.interactions if one.held]
        text += (
            f"; {interaction_words(saving[0]) if saving else 'no one change would have held it'}"
        )
    return text + "."


SHORT = "with or without any of them the van takes more than it gets"


def interaction_words(one: Interaction) -> str:
    """What two influences do together, as a clause."""
    a, b = one.remedies
    if one.held and not any(one.held_alone):
        return f"{a} and {b} together it would have held, with neither alone"
    sum_h = sum(one.alone_h)
    if round(sum_h) <= 0:
        return f"{a} and {b} together save {one.both_h:.0f} h, apart they save nothing"
    more = "more" if one.extra_h > 0 else "less"
    return (
        f"{a} and {b} together save {one.both_h:.0f} h, {more} than the {sum_h:.0f} h of both apart"
    )


def span(episode: Episode) -> str:
    """``9-13 January``, ``30 January to 2 February`` or ``on 9 January``."""
    start, end = episode.start, episode.end
    if start.date() == end.date():
        return f"on {day(start)}"
    if start.month == end.month:
        return f"{start.day}\u2013{day(end)}"
    return f"{day(start)} to {day(end)}"


def hours(value: float) -> str:
    """``38 h`` or ``0.5 h``."""
    return f"{value:.0f} h" if value >= 9.95 else f"{value:.1f} h"


def _cause(effect: Effect, episode: Episode) -> str:
    if effect.key != "dull_run" or episode.dull_days < 2:
        return effect.cause
    count = episode.dull_days
    return f"{COUNTS[count] if count < len(COUNTS) else count} dull days"


def _verdict(effect: Effect) -> str:
    if effect.held:
        return f"would have held {effect.remedy}"
    return f"{effect.saved_h:.0f} h less {effect.remedy}"


def _row(parts: list[str], word: str = "and") -> str:
    return f" {word} ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else parts[0]


def causes_numbers(causes: Causes, with_places: bool = True) -> dict[str, Any]:
    """The machine interface: plain numbers of all that was found."""

    def effect(one: Effect) -> dict[str, Any]:
        return {"key": one.key, "cause": one.cause, "remedy": one.remedy,
                "saved_h": round(one.saved_h, 3), "would_have_held": one.held}  # fmt: skip

    return {
        "year": causes.year,
        "whole_year": [effect(one) for one in causes.whole_year],
        "episodes": [
            {
                "kind": why.episode.kind,
                "start": why.episode.start.isoformat(),
                "end": why.episode.end.isoformat(),
                "hours": round(why.episode.hours, 3),
                "place": why.episode.place if with_places else "",
                "dull_days": why.episode.dull_days,
                "words": why_words(why),
                "causes": [effect(one) for one in why.effects],
                "interactions": [
                    {"keys": list(one.keys), "alone_h": [round(h, 3) for h in one.alone_h],
                     "both_h": round(one.both_h, 3), "extra_h": round(one.extra_h, 3),
                     "would_have_held": one.held}
                    for one in why.interactions
                ],
            }
            for why in causes.whys
        ],
    }  # fmt: skip
