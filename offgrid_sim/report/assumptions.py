"""The section that every page ends with before its cautions: each value and whose it is."""

from __future__ import annotations

from collections.abc import Mapping

from offgrid_sim.outcome.wiring import LOSS_ONLY, Circuit, thin_words
from offgrid_sim.plan.draft import Origin
from offgrid_sim.report.page import Section, section
from offgrid_sim.report.tables import assumption_groups, your_assumptions


def assumptions_section(
    origins: Mapping[str, Origin],
    files: tuple[str, ...],
    title: str = "Every assumption, and whose it is",
    circuits: tuple[Circuit, ...] = (),
) -> Section:
    """All values with their origins, those of the command line first; what each of ``circuits``
    loses in its cable."""
    return section(
        "assumptions", title, "Assumptions", "assumptions.html.j2",
        yours=your_assumptions(origins), groups=assumption_groups(origins), files=files,
        circuits=circuits, thin=[thin_words(circuit) for circuit in circuits if circuit.thin],
        loss_only=LOSS_ONLY,
    )  # fmt: skip
