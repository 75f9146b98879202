"""Cable resistance and voltage drop at 12 V.

Estimates to compare designs with, not an installation design: every positive wire needs a fuse
at its source, chosen by local rules and a qualified person.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from offgrid_sim.compiled import compiled

NOMINAL_V = 12.8
"""Voltage at the fuse box at which fixed cable losses are reckoned: four rested lithium cells."""

COPPER_PER_K = 0.00393
"""Change of copper's resistance per kelvin, annealed copper at 20 C (IEC 60028)."""

CLASS5_OHM_PER_KM = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91,
    16.0: 1.21, 25.0: 0.780, 35.0: 0.554, 50.0: 0.386, 70.0: 0.272, 95.0: 0.206,
}  # fmt: skip
"""Largest resistance at 20 C of plain flexible copper by mm2, IEC 60228 class 5 (0.5 and 95 mm2
from memory)."""


def cable_ohm(area_mm2: float, length_m: float, conductor_temp_c: float = 20.0) -> float:
    """Resistance of both wires of a circuit of one-way length ``length_m``, ohm.

    Between the standard sizes the resistance is interpolated in log-log, which keeps the rule
    "twice the copper, half the ohms".
    """
    areas = np.log(list(CLASS5_OHM_PER_KM))
    ohms = np.log(list(CLASS5_OHM_PER_KM.values()))
    per_km = float(np.exp(np.interp(np.log(area_mm2), areas, ohms)))
    return 2.0 * length_m * per_km / 1000.0 * (1.0 + COPPER_PER_K * (conductor_temp_c - 20.0))


def awg_area_mm2(gauge: int) -> float:
    """Cross-section of a solid American wire gauge, mm2 (ASTM B258: d = 0.127 x 92^((36-n)/39))."""
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39)
    return float(np.pi / 4.0 * diameter_mm**2)


def standard_area_mm2(length_m: float, conductor_temp_c: float, ohm: float) -> float | None:
    """Smallest standard cross-section with at most ``ohm`` for both wires, mm2; None if none has.

    >>> standard_area_mm2(4.0, 20.0, 0.03 * 12.0 / 10.0)
    6.0
    """
    for area_mm2 in CLASS5_OHM_PER_KM:
        if cable_ohm(area_mm2, length_m, conductor_temp_c) <= ohm:
            return area_mm2
    return None


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
