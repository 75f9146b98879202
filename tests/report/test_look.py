"""Colours measured by WCAG 2.2; every event has its place in the one legend."""

from __future__ import annotations

import pytest

from offgrid_sim.outcome.events import KINDS
from offgrid_sim.report.look import (
    BAND_OF,
    BANDS,
    HATCH_PATHS,
    INKS,
    LEVELS,
    contrast,
    light_to_dark,
)

TEXTS = ("ink", "soft", "link", "holds", "tight", "fails")
GROUNDS = ("paper", "card", "rule")


@pytest.mark.parametrize(
    ("one", "other", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),  # WCAG 2.2, definition of contrast ratio: 1 to 21
        ("#ffffff", "#ffffff", 1.0),
        ("#767676", "#ffffff", 4.54),  # the well-known lightest grey that passes, from memory
    ],
)
def test_contrast_follows_the_standard(one: str, other: str, ratio: float) -> None:
    assert contrast(one, other) == pytest.approx(ratio, abs=0.005)
    assert contrast(other, one) == contrast(one, other)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ground", ["paper", "card"])
@pytest.mark.parametrize("ink", TEXTS)
def test_text_reaches_aa(ink: str, ground: str, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    assert contrast(getattr(INKS[ink], scheme), getattr(INKS[ground], scheme)) >= 4.5


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("ink", sorted(set(INKS) - set(GROUNDS)))
def test_lines_and_areas_reach_aa(ink: str, scheme: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for graphics that carry meaning."""
    assert contrast(getattr(INKS[ink], scheme), getattr(INKS["card"], scheme)) >= 3.0


def test_light_colours_can_be_swapped_one_by_one() -> None:
    assert len(light_to_dark()) == len(INKS)
    assert not set(light_to_dark()) & set(light_to_dark().values())


def test_no_meaning_by_colour_alone() -> None:
    assert len({level.shape for level in LEVELS.values()}) == len(LEVELS)
    tinted = [band for band in BANDS if band.tint > 0]
    assert len({band.hatch for band in tinted}) == len(tinted)
    assert len({band.title for band in BANDS}) == len(BANDS)
    assert {band.hatch for band in BANDS} <= set(HATCH_PATHS)


def test_every_kind_of_event_is_in_the_legend() -> None:
    assert {kind.name for kind in KINDS} <= set(BAND_OF)
