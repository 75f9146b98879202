"""The frozen food's three straight pieces beside Chen's enthalpy of lean meat (check F14)."""

from __future__ import annotations

import pytest

from offgrid_sim.physics.fridge import (
    FROZEN_KJ_KG_K,
    MELT_END_C,
    MELT_KJ_KG,
    MELT_START_C,
    THAWED_KJ_KG_K,
    zone_heat_wh,
)

WATER, SOLIDS, PROTEIN = 0.75, 0.25, 0.22
FREEZING_C, FUSION_KJ_KG, ZERO_C = -1.0, 333.6, -40.0


def chen_kj_kg(temp_c: float) -> float:
    """Enthalpy of lean meat over -40 C (Chen 1985, as in ASHRAE Refrigeration; from memory).

    Frozen: (T - Tr) [1.55 + 1.26 xs - (xw - xb) L0 Tf / (Tr T)] with bound water 0.4 x protein;
    unfrozen: H(Tf) + (T - Tf) (4.19 - 2.30 xs - 0.628 xs^3).
    """
    free = WATER - 0.4 * PROTEIN
    at = min(temp_c, FREEZING_C)
    frozen = (at - ZERO_C) * (
        1.55 + 1.26 * SOLIDS - free * FUSION_KJ_KG * FREEZING_C / (ZERO_C * at)
    )
    above = max(temp_c - FREEZING_C, 0.0)
    return frozen + above * (4.19 - 2.30 * SOLIDS - 0.628 * SOLIDS**3)


@pytest.mark.parametrize(
    ("temp_c", "sheet_kj_kg"),
    [(-18, 47.8), (-12, 65.1), (-5, 103.9), (-3, 137.1), (-1, 288.1), (5, 309.7)],
)
def test_chens_enthalpy_is_the_sheets(temp_c: float, sheet_kj_kg: float) -> None:
    """F14, to the digits printed."""
    assert chen_kj_kg(temp_c) == pytest.approx(sheet_kj_kg, abs=0.06)


def straight_kj_kg(temp_c: float) -> float:
    """Heat of 1 kg of frozen food in the engine's pieces, over -3 C."""
    melting_k_per_wh = (MELT_END_C - MELT_START_C) / (MELT_KJ_KG / 3.6)
    return 3.6 * zone_heat_wh(
        temp_c, 3.6 / FROZEN_KJ_KG_K, melting_k_per_wh, 3.6 / THAWED_KJ_KG_K, MELT_KJ_KG / 3.6
    )


@pytest.mark.parametrize("from_c", [-18.0, -12.0])
def test_heat_from_the_freezer_to_thawed_is_chens_within_a_fifth(from_c: float) -> None:
    """Meat and vegetables mixed take more than lean meat alone: above Chen, by less than 20 %."""
    ours = straight_kj_kg(MELT_END_C) - straight_kj_kg(from_c)
    chens = chen_kj_kg(FREEZING_C) - chen_kj_kg(from_c)
    assert 1.0 < ours / chens < 1.2
