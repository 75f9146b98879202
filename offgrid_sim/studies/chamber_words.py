"""A chamber test in one sentence."""

from __future__ import annotations

from offgrid_sim.studies.chamber import ChamberTest


def chamber_sentence(test: ChamberTest) -> str:
    """What the fridge uses from the coolest to the hottest ambient, and what it holds."""
    cool, hot = test.rows[0], test.rows[-1]
    shape = f"A {test.fridge.volume_l:.0f} l {test.fridge.shape} fridge"
    text = (
        f"{shape} of {test.ua_w_k:.2f} W/K uses {cool.in_use_wh_day:.0f} Wh a day at "
        f"{cool.ambient_c:.0f} C"
    )
    if hot is not cool:
        text += f" and {hot.in_use_wh_day:.0f} at {hot.ambient_c:.0f} C"
    failing = [row for row in test.rows if not row.holds_set_point]
    if failing:
        text += f"; from {failing[0].ambient_c:.0f} C it no longer holds its set-points"
    return text + "."


def hours_words(hours: float | None) -> str:
    """``3.5 h``, or a dash where the point was not reached or does not exist."""
    return "-" if hours is None else f"{hours:.1f} h"
