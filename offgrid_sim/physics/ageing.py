"""How much a trip ages the battery: a stated estimate, not part of the simulation's step.

Lithium iron phosphate: cycle fade after Wang et al. 2011 (J. Power Sources 196:3942), coefficients
from memory, plus calendar fade of 2 % per square root of years at 25 C, doubling per 12 K (from
memory; Sui et al. 2021 report the square root). AGM: 275 full-cycle equivalents and a float life
of 6 years at 20 C that halves per 9 K (from memory). Expect a factor of two either way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

GAS_CONSTANT_J_MOL_K = 8.314
WANG_FACTOR_PCT = 31630.0
"""Pre-exponential at C/2, per cent (from memory)."""

WANG_CELL_AH = 2.0
"""Ah moved per full cycle of the paper's cell."""

AGM_FULL_CYCLES = 275.0
AGM_FLOAT_YEARS = 6.0
END_OF_LIFE_LOSS_PCT = 20.0


def lfp_cycle_loss_pct(full_cycles: float, cell_temp_c: float, c_rate: float = 0.5) -> float:
    """Capacity lost to cycling, per cent of nameplate.

    Q = B exp((-31700 + 370.3 C) / RT) Ah^0.55 with Ah = full cycles x 2.0.
    """
    kelvin = cell_temp_c + 273.15
    rate = math.exp((-31700.0 + 370.3 * c_rate) / (GAS_CONSTANT_J_MOL_K * kelvin))
    return WANG_FACTOR_PCT * rate * (full_cycles * WANG_CELL_AH) ** 0.55


def lfp_calendar_loss_pct(years: float, cell_temp_c: float) -> float:
    """Capacity lost to time, per cent of nameplate: 2 % sqrt(years) at 25 C, x2 per 12 K."""
    return 2.0 * math.sqrt(years) * 2.0 ** ((cell_temp_c - 25.0) / 12.0)


def agm_loss_pct(full_cycles: float, years: float, cell_temp_c: float) -> float:
    """Capacity lost by lead, per cent: cycles and float life use up the same 20 %."""
    float_years = AGM_FLOAT_YEARS * 0.5 ** (max(cell_temp_c - 20.0, 0.0) / 9.0)
    return END_OF_LIFE_LOSS_PCT * (full_cycles / AGM_FULL_CYCLES + years / float_years)


@dataclass(frozen=True)
class Ageing:
    """Capacity lost, per cent of nameplate: over the trip, and in the first year lived like it."""

    full_cycles: float
    mean_cell_c: float
    trip_loss_pct: float
    year_loss_pct: float


def ageing(
    lead: bool, capacity_ah: float, discharged_ah: float, hours: float, mean_cell_c: float
) -> Ageing:
    """Estimate for a new battery from what went through it in ``hours``."""
    cycles = discharged_ah / capacity_ah
    years = hours / 8766.0

    def loss(span_years: float) -> float:
        span_cycles = cycles * span_years / years
        if lead:
            return agm_loss_pct(span_cycles, span_years, mean_cell_c)
        return lfp_cycle_loss_pct(span_cycles, mean_cell_c) + lfp_calendar_loss_pct(
            span_years, mean_cell_c
        )

    return Ageing(cycles, mean_cell_c, loss(years), loss(1.0))
