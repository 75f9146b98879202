"""The section that every page ends with before its cautions: each value and whose it is."""

from __future__ import annotations

from collections.abc import Mapping

from offgrid_sim.plan.draft import Origin
from offgrid_sim.report.page import Section, section
from offgrid_sim.report.tables import assumption_groups, your_assumptions


def assumptions_section(
    origins: Mapping[str, Origin],
    files: tuple[str, ...],
    title: str = "Every assumption, and whose it is",
) -> Section:
    """All values with their origins; those of the command line first."""
    return section(
        "assumptions", title, "Assumptions", "assumptions.html.j2",
        yours=your_assumptions(origins), groups=assumption_groups(origins), files=files,
    )  # fmt: skip
