"""What a trace says about a hard case: when each thing ran out, and when all was well again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NEVER = np.inf

RUNS_OUT: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("blackout", ("blackout",), "the battery goes dark"),
    ("fridge_stop", ("cutout", "blackout"), "the fridge stops for low voltage"),
    ("thaw", ("thaw",), "the freezer thaws"),
    ("dry", ("dry",), "the fresh tank runs dry"),
    ("warm_food", ("warm_food",), "food warms above 5 °C"),
    ("grey_full", ("grey_full",), "the grey tank is full"),
    ("frozen_water", ("frozen_water",), "water freezes in a tank"),
)
"""Kind of end, its flags in the trace, and what has happened; earlier ones win ties."""

SOFT = frozenset({"warm_food", "grey_full", "frozen_water"})
"""Ends that people can mend in a minute or live with; the others come first in a ranking."""

RECOVERED_SOC = 0.05
"""Recovered: within this of the charge that the undisturbed trip has at that hour."""


@dataclass(frozen=True)
class Times:
    """Hours from the start of the case in one weather year; infinite where it never came."""

    ends_h: dict[str, float]
    floor_l: float
    recover_h: float
    lowest_soc: float

    @property
    def first(self) -> str:
        """Kind of what ran out first, or "" when nothing did."""
        return min(self.ends_h, key=lambda kind: self.ends_h[kind]) if self.failed else ""

    @property
    def failed(self) -> bool:
        """Whether anything ran out."""
        return min(self.ends_h.values()) < NEVER

    @property
    def first_hard_h(self) -> float:
        """Hours until the first end that is not soft; infinite when none came."""
        return min(hours for kind, hours in self.ends_h.items() if kind not in SOFT)


def times_of(
    trace: np.ndarray, begin: int, end: int | None, h: float, usual_soc: np.ndarray | None
) -> Times:
    """Times of a trace, FLOW (S,), of which step ``begin`` starts the case and ``end`` ends it.

    ``usual_soc`` is the charge of the undisturbed trip by step; without it, or with no end, there
    is no recovery to time.
    """
    after = trace[begin:]
    ends = {kind: _first_h(after, flags, h) for kind, flags, _ in RUNS_OUT}
    before_l = trace["floor_water_l"][begin - 1] if begin else 0.0
    return Times(
        ends_h=ends,
        floor_l=float(trace["floor_water_l"][-1] - before_l),
        recover_h=_recover_h(trace, end, h, usual_soc),
        lowest_soc=float(after["soc"].min()),
    )


def _first_h(trace: np.ndarray, flags: tuple[str, ...], h: float) -> float:
    on = np.zeros(len(trace), bool)
    for flag in flags:
        on |= trace[flag] > 0.5
    return float(on.argmax()) * h if on.any() else NEVER


def _recover_h(trace: np.ndarray, end: int | None, h: float, usual_soc: np.ndarray | None) -> float:
    """Hours from the end of the spell until charge is near the usual and nothing is off."""
    if end is None or usual_soc is None or end >= len(trace):
        return NEVER
    after = trace[end:]
    well = after["soc"] >= usual_soc[end:] - RECOVERED_SOC
    for flag in ("blackout", "cutout", "thaw"):
        well &= after[flag] < 0.5
    return float(well.argmax()) * h if well.any() else NEVER
