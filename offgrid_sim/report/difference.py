"""What changed since an earlier report: the verdict, the key facts, and the plan's values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.verdict import Verdict
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.report.coarse import coarse_plan
from offgrid_sim.report.look import LEVELS
from offgrid_sim.report.reread import Earlier
from offgrid_sim.report.tables import key_facts, plain_value
from offgrid_sim.report.words import percent
from offgrid_sim.studies.compare import changed_values


@dataclass(frozen=True)
class Change:
    """One thing before and now, as texts; ``meaning`` explains a key of the plan."""

    title: str
    before: str
    now: str
    meaning: str = ""


@dataclass(frozen=True)
class Difference:
    """An earlier report against this run. ``before`` is its level, "" when it held no verdict."""

    before: str
    now: str
    sentence_before: str
    facts: tuple[Change, ...]
    assumptions: tuple[Change, ...]

    @property
    def headline(self) -> str:
        """The verdict's change in words."""
        if not self.before:
            return "The earlier report holds no verdict to compare with."
        was, word = LEVELS[self.before].word.lower(), LEVELS[self.now].word.lower()
        return f"Before: {was}. Now: {word}." if was != word else f"The verdict stays: {word}."


def answer_island(outcome: RunOutcome, judged: Verdict) -> dict[str, Any]:
    """The answer as a report carries it, to be read back by a later one."""
    return {"level": judged.level, "sentence": judged.sentence, "facts": facts_told(outcome)}


def facts_told(outcome: RunOutcome) -> list[list[str]]:
    """Chances over weather years and key facts of the shown year, as title and value."""
    risk = outcome.risk
    chances = [
        [f"Weather years {what}", f"{one.happened} of {one.years}, {percent(one.share)}"]
        for what, one in (
            ("that go dark", risk.blackout),
            ("with a thaw", risk.thaw),
            ("that run dry", risk.dry),
        )
    ]
    return chances + [[fact.title, fact.value] for fact in key_facts(outcome)]


def difference(
    earlier: Earlier,
    loaded: LoadedTrip,
    outcome: RunOutcome,
    judged: Verdict,
    coarse_places: bool = False,
) -> Difference:
    """Hold a run against an earlier report; ``coarse_places`` keeps the earlier places secret."""
    old_plan = coarse_plan(earlier.loaded) if coarse_places else earlier.loaded
    answer = earlier.answer
    was = {} if answer is None else answer.facts
    facts = tuple(
        Change(title, was.get(title, "not told"), now)
        for title, now in facts_told(outcome)
        if was and was.get(title) != now
    )
    assumptions = tuple(
        Change(one.key, plain_value(one.values[0]), plain_value(one.values[1]), one.meaning)
        for one in changed_values((old_plan, loaded), weather=True)
    )
    known = answer is not None and answer.level in LEVELS
    told = answer is not None and not coarse_places and answer.sentence != judged.sentence
    return Difference(
        before=answer.level if answer is not None and known else "",
        now=judged.level,
        sentence_before=answer.sentence if answer is not None and told else "",
        facts=facts,
        assumptions=assumptions,
    )
