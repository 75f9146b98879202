"""Hard cases in words and as plain numbers."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from offgrid_sim.studies.stress import AS_PLANNED, CaseResult, Pair, Stress
from offgrid_sim.studies.stress_times import NEVER, RUNS_OUT

RUN_OUT_WORD = {kind: word for kind, _, word in RUNS_OUT}


def after(hours: float) -> str:
    """``after 5 h``, ``after 2.3 days``, ``at once``."""
    if hours == NEVER:
        return "never"
    return "at once" if hours < 1 else f"after {lasting(hours)}"


def lasting(hours: float) -> str:
    """``40 min``, ``5 h`` or ``2.3 days``."""
    if hours < 1:
        return f"{hours * 60:.0f} min"
    return f"{hours:.0f} h" if hours < 47.5 else f"{hours / 24:.1f} days"


def worst_first(results: Iterable[CaseResult]) -> tuple[CaseResult, ...]:
    """Cases in which something runs out: hard ends first, then in most years, then soonest."""
    failed = [one for one in results if one.failed_years]
    return tuple(sorted(failed, key=lambda one: (-one.hard_years, -one.failed_years, one.first_h)))


def makes_worse(one: CaseResult, planned: CaseResult) -> bool:
    """Whether a case brings any end that the trip as planned does not have, or brings it sooner."""
    return any(
        mine.ends_h[kind] < usual.ends_h[kind]
        for mine, usual in zip(one.times, planned.times, strict=True)
        for kind in RUN_OUT_WORD
    )


def level_of(found: Stress) -> str:
    """ "holds" if every case holds, "fails" if the trip as planned does not, else "tight"."""
    if any(one.hard_years for one in found.results if one.case == AS_PLANNED):
        return "fails"
    return "tight" if any(one.hard_years for one in found.results) else "holds"


def stress_sentence(found: Stress) -> str:
    """What gives way first, and in how many cases nothing does."""
    if len(found.pairs) * len(found.ambients_c) > 1:
        return _matrix_sentence(found)
    planned, *cases = found.results
    ranked = worst_first(cases)
    hard = [one for one in ranked if one.hard_years]
    held = f"{len(cases) - len(hard)} of {len(cases)} hard cases hold"
    if planned.hard_years:
        worse = sum(makes_worse(one, planned) for one in cases)
        return (
            f"Even as planned {_what(planned)}. {_title(hard[0].case)} is the hardest case: "
            f"{_what(hard[0])}; {worse} of {len(cases)} cases make it worse."
        )
    if not hard:
        soft = f"; the worst is {ranked[0].case}: {_what(ranked[0])}" if ranked else ""
        return f"Neither power nor food nor water runs out in any of {len(cases)} hard cases{soft}."
    others = [one.case for one in hard[1:3]]
    more = f"; next are {' and '.join(others)}" if others else ""
    return f"{_title(hard[0].case)} breaks it: {_what(hard[0])}{more}. {held}."


def pairs_ranked(found: Stress) -> tuple[Pair, ...]:
    """Pairs with fewest broken weather years over all cases first; then those that last longer."""

    def burden(pair: Pair) -> tuple[int, float]:
        results = [one for one in found.results if one.pair == pair]
        hours = [min(t.first_hard_h, 1e6) for one in results for t in one.times]
        return sum(one.hard_years for one in results), -sum(hours) / len(hours)

    return tuple(sorted(found.pairs, key=burden))


def _matrix_sentence(found: Stress) -> str:
    """Which pair does best, and which case is hardest."""
    best = pairs_ranked(found)[0]
    own = [one for one in found.results if one.pair == best]
    held = sum(one.hard_years == 0 for one in own)
    broken = {case: sum(one.hard_years for one in found.results if one.case == case)
              for case in found.cases}  # fmt: skip
    hardest = max(broken, key=lambda case: broken[case], default="")
    text = f"{_title(best.name)} does best: it holds in {held} of {len(own)} runs of a case"
    if not hardest or broken[hardest] == 0:
        return f"{text}; nothing runs out in any other pair either."
    results = [one for one in found.results if one.case == hardest]
    count = sum(one.hard_years > 0 for one in results)
    worst = worst_first(results)[0]
    return f"{text}. Hardest is {hardest}: it breaks {count} of {len(results)}, {_what(worst)}."


def _title(text: str) -> str:
    return text[0].upper() + text[1:]


def _what(one: CaseResult) -> str:
    return f"{RUN_OUT_WORD[one.first]} {after(one.first_h)}{_in_years(one)}"


def _in_years(one: CaseResult) -> str:
    count = one.hard_years or one.failed_years
    return "" if len(one.times) == 1 else f" in {count} of {len(one.times)} years"


def stress_numbers(found: Stress) -> dict[str, Any]:
    """The machine interface of ``stress``."""

    def hours(value: float) -> float | None:
        return None if value == NEVER else round(value, 3)

    return {
        "sentence": stress_sentence(found),
        "level": level_of(found),
        "years": list(found.years),
        "from_day": found.from_day,
        "days": found.days,
        "skipped": list(found.skipped),
        "results": [
            {
                "fridge": one.pair.fridge_name, "battery": one.pair.battery_name,
                "ambient_c": one.ambient_c, "case": one.case, "what": one.what,
                "changes": list(one.changes), "for_days": one.spell_days,
                "failed_years": one.failed_years,
                "hard_years": one.hard_years, "first": one.first or None,
                "first_h": hours(one.first_h),
                **{f"{kind}_h": hours(one.end_h(kind)) for kind in RUN_OUT_WORD},
                **{f"{kind}_years": one.years_with(kind) for kind in RUN_OUT_WORD},
                "recover_h": hours(one.recover_h), "floor_l": round(one.floor_l, 4),
                "lowest_soc": round(one.lowest_soc, 4),
            }
            for one in found.results
        ],
    }  # fmt: skip
