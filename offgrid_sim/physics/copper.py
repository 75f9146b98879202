"""Resistance of copper cables by standard cross-section; plain Python, so that ``check`` is quick.

Estimates to compare designs with, not an installation design: every positive wire needs a fuse
at its source, chosen by local rules and a qualified person.
"""

from __future__ import annotations

from bisect import bisect_left
from math import log, pi

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
    per_km = _class5_ohm_per_km(area_mm2)
    return 2.0 * length_m * per_km / 1000.0 * (1.0 + COPPER_PER_K * (conductor_temp_c - 20.0))


def _class5_ohm_per_km(area_mm2: float) -> float:
    """The table at ``area_mm2``; beyond its ends the end's value."""
    areas = list(CLASS5_OHM_PER_KM)
    area_mm2 = min(max(area_mm2, areas[0]), areas[-1])
    k = max(bisect_left(areas, area_mm2), 1)
    low, high = areas[k - 1], areas[k]
    share = log(area_mm2 / low) / log(high / low)
    thin_ohm, thick_ohm = CLASS5_OHM_PER_KM[low], CLASS5_OHM_PER_KM[high]
    return thin_ohm * (thick_ohm / thin_ohm) ** share


def awg_area_mm2(gauge: int) -> float:
    """Cross-section of a solid American wire gauge, mm2 (ASTM B258: d = 0.127 x 92^((36-n)/39))."""
    diameter_mm = 0.127 * 92.0 ** ((36 - gauge) / 39)
    return pi / 4.0 * diameter_mm**2


def standard_area_mm2(length_m: float, conductor_temp_c: float, ohm: float) -> float | None:
    """Smallest standard cross-section with at most ``ohm`` for both wires, mm2; None if none has.

    >>> standard_area_mm2(4.0, 20.0, 0.03 * 12.0 / 10.0)
    6.0
    """
    for area_mm2 in CLASS5_OHM_PER_KM:
        if cable_ohm(area_mm2, length_m, conductor_temp_c) <= ohm:
            return area_mm2
    return None
