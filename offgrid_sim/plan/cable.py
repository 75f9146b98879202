"""How the cable of a circuit is declared: each table that has one has the same three keys.

The defaults are sizes that vans are often wired with, for the usual current of the circuit: common
practice, no source. They stand beside each table, as lengths differ.
"""

from __future__ import annotations

from typing import Any, Protocol

from offgrid_sim.plan.quantity import quantity

USUAL_TEMP_C = 30.0
"""Conductor a little warmer than the van's air."""


class Wired(Protocol):
    """A table that has a cable: two conductors of copper, to the circuit's end and back."""

    @property
    def cable_mm2(self) -> float:
        """Cross-section of each conductor, mm2."""

    @property
    def cable_length_m(self) -> float:
        """One-way length, m; 0 stands for no cable at all."""

    @property
    def cable_temp_c(self) -> float:
        """Temperature of the conductor, C."""


def cable_area(default_mm2: float, way: str) -> Any:
    """Declare the cross-section of the cable called ``way``, mm2."""
    return quantity(default_mm2, f"cross-section of the {way}", limits=(0.5, 95))


def cable_length(default_m: float, way: str) -> Any:
    """Declare the one-way length of the cable called ``way``, m."""
    return quantity(default_m, f"one-way length of the {way}", limits=(0, 50))


def cable_temp(way: str) -> Any:
    """Declare the conductor temperature of the cable called ``way``, C."""
    return quantity(USUAL_TEMP_C, f"conductor temperature of the {way}", limits=(-40, 105))
