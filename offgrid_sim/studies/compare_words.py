"""A comparison in words and as plain numbers."""

from __future__ import annotations

from typing import Any

from offgrid_sim.studies.compare import Comparison, Side
from offgrid_sim.studies.compare_paired import Difference, mean_difference

TROUBLE = ("blackout_hours", "thaw_hours", "fridge_cutout_hours")


def compare_sentence(found: Comparison) -> str:
    """Which plan does better, by how much, and how sure that is."""
    first, best = found.sides[0], found.sides[found.best]
    years = len(found.years)
    if not found.changed and len({side.trouble_h for side in found.sides}) == 1:
        return f"The plans are the same, and so is all that happens in {_years(years)}."
    rival = first if found.best != 0 else min(
        found.sides[1:], key=lambda side: (side.trouble_h, -side.totals["min_soc"].min())
    )  # fmt: skip
    gap = mean_difference(_trouble(rival), _trouble(best))
    if gap.value == 0:
        return _equal_hours(best, rival, years)
    if gap.low is not None and not gap.clear:
        sure = f"; with {_years(years)} that is not yet a clear difference"
    else:
        sure = ""
    return (
        f"{best.name} does better: dark in {best.risk.blackout.happened} of {_years(years)} "
        f"against {rival.risk.blackout.happened} for {rival.name}, and {-gap.value:.1f} h less "
        f"dark, thawing or cut out in a trip{_interval(gap)}{sure}."
    )


def _equal_hours(best: Side, rival: Side, years: int) -> str:
    soc, other = best.totals["min_soc"].min() * 100, rival.totals["min_soc"].min() * 100
    if best.trouble_h == 0:
        text = f"Both {best.name} and {rival.name} hold in all of {_years(years)}"
    else:
        text = f"{best.name} and {rival.name} fail for as long"
    return f"{text}; the charge never falls below {soc:.0f} % and {other:.0f} %."


def _trouble(side: Side) -> Any:
    return sum(side.totals[name] for name in TROUBLE)


def _years(count: int) -> str:
    return "1 weather year" if count == 1 else f"{count} weather years"


def _interval(gap: Difference) -> str:
    if gap.low is None or gap.high is None:
        return ""
    return f" (95 % interval {-gap.high:.1f} to {-gap.low:.1f} h)"


def compare_numbers(found: Comparison) -> dict[str, Any]:
    """The machine interface of ``compare``."""

    def gap(one: Difference) -> dict[str, Any]:
        return {"value": round(one.value, 6),
                "low": None if one.low is None else round(one.low, 6),
                "high": None if one.high is None else round(one.high, 6)}  # fmt: skip

    return {
        "sentence": compare_sentence(found),
        "years": list(found.years),
        "best": found.sides[found.best].name,
        "plans": [
            {"name": side.name, "files": list(side.loaded.files), "price": side.price,
             "mass_kg": side.mass_kg, "without_price_or_mass": list(side.unpriced)}
            for side in found.sides
        ],
        "changed": [
            {"key": one.key, "values": list(one.values), "whose": list(one.origins)}
            for one in found.changed
        ],
        "measures": {
            row.measure.field: {
                "title": row.measure.title, "unit": row.measure.unit,
                "means": [round(mean, 6) for mean in row.means],
                "differences": [gap(one) for one in row.differences],
            }
            for row in found.rows
        },
        "chances": {
            row.field: {
                "title": row.title, "years_with_it": list(row.counts),
                "differences": [
                    {**gap(one.difference), "both": one.both, "only_first": one.only_one,
                     "only_this": one.only_other, "neither": one.neither,
                     "p_value": round(one.p_value, 6)}
                    for one in row.differences
                ],
            }
            for row in found.chances
        },
        "notes": list(found.notes),
    }  # fmt: skip
