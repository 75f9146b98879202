"""Voltage and power at the two ends of a cable at 12 V; resistances are in copper.py.

Estimates to compare designs with, not an installation design: every positive wire needs a fuse
at its source, chosen by local rules and a qualified person.
"""

from __future__ import annotations

from math import sqrt

from offgrid_sim.compiled import compiled

NOMINAL_V = 12.8
"""Voltage at the fuse box at which fixed cable losses are reckoned: four rested lithium cells."""


@compiled
def load_v(source_v: float, power_w: float, ohm: float) -> float:
    """Voltage at a consumer of constant power at the end of a cable, V.

    The upper root of V (E - V) = R P, so V = (E + sqrt(E^2 - 4 R P)) / 2. A cable carries at most
    E^2 / 4R, at half the voltage; that is returned where more is asked for.

    >>> round(load_v(12.0, 57.12, 0.016), 3)  # 4.79 A through 16 mohm
    11.923
    """
    return 0.5 * (source_v + sqrt(max(source_v * source_v - 4.0 * ohm * power_w, 0.0)))


@compiled
def cable_loss_w(source_v: float, power_w: float, ohm: float) -> float:
    """Power lost in the cable to a consumer of constant power, W: I^2 R with I = (E - V) / R.

    A cable that cannot carry the power loses what it loses at its limit, E^2 / 4R.

    >>> round(cable_loss_w(12.8, 60.0, 0.05), 3)
    1.141
    """
    if ohm <= 0.0:
        return 0.0
    drop_v = source_v - load_v(source_v, power_w, ohm)
    return drop_v * drop_v / ohm


@compiled
def tracked_share(loss_share: float) -> float:
    """Share of a source's power that arrives through a cable when a tracker takes the most.

    ``loss_share`` is P R / V^2, what the whole current would lose. A source of constant voltage V
    gives at most V^2 / 4R through the cable: from a half on, the tracker takes less current.

    >>> tracked_share(0.03), tracked_share(1.0)
    (0.97, 0.25)
    """
    if loss_share <= 0.5:
        return 1.0 - loss_share
    return 0.25 / loss_share
