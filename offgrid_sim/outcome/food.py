"""The food-safety clock, run on the temperature of the food and not of the air.

Rules as public guidance states them (secondary copies): FSANZ 3.2.2 counts all hours between 5 and
60 C and allows 2 h to chill again and 4 h in all; US guidance discards perishables after 2 h above
4.4 C (40 F); UK law wants 8 C or colder, with one spell of up to 4 h. A prediction is no safety
guarantee: use a thermometer, and when in doubt throw it out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.outcome.events import spells


@dataclass(frozen=True)
class FoodRule:
    """Chilled food counts above ``limit_c``; ``whole_trip`` adds all spells together."""

    name: str
    limit_c: float
    warn_h: float
    discard_h: float
    whole_trip: bool


RULES = (
    FoodRule("FSANZ 2 h / 4 h", 5.0, 2.0, 4.0, True),
    FoodRule("US 2 h above 40 F", 4.4, 2.0, 2.0, False),
    FoodRule("UK 4 h above 8 C", 8.0, 0.5, 4.0, False),
)

FOOD_LIFE_H = 96.0
"""Food is taken to be eaten within four days: a cumulative clock looks back this far (common
practice, no source)."""


@dataclass(frozen=True)
class FoodClock:
    """One rule's reading: hours that count, and ``state``: "fine", "use now", "discard", or "set
    too warm" where the set-point itself is warmer than the rule allows."""

    rule: FoodRule
    counted_h: float
    state: str


def food_clocks(fresh_c: np.ndarray, step_h: float, set_c: float) -> tuple[FoodClock, ...]:
    """Read every rule from the food's temperature at each step, C, shape (steps,).

    ``set_c`` is the fridge's set-point.
    """
    return tuple(_clock(rule, fresh_c, step_h, set_c) for rule in RULES)


def _clock(rule: FoodRule, fresh_c: np.ndarray, step_h: float, set_c: float) -> FoodClock:
    warm = fresh_c > rule.limit_c
    if rule.whole_trip:
        total = np.concatenate(([0.0], np.cumsum(warm) * step_h))
        back = round(FOOD_LIFE_H / step_h)
        counted_h = float((total - total[np.maximum(np.arange(len(total)) - back, 0)]).max())
    else:
        counted_h = max(((last - first) * step_h for first, last in spells(warm)), default=0.0)
    state = "fine"
    if counted_h > rule.discard_h:
        state = "discard"
    elif counted_h > rule.warn_h:
        state = "use now"
    if set_c > rule.limit_c:
        state = "set too warm"
    return FoodClock(rule, counted_h, state)
