"""Exponential decay without the cost of ``exp`` where the step is short."""

from __future__ import annotations

from math import exp

from offgrid_sim.compiled import compiled


@compiled
def relaxation(decay: float) -> float:
    """(1 - exp(-x)) / x, the share of an initial rate that lasts over a step; x >= 0.

    Taylor series below 0.3 (error 2e-7), Pade (2, 2) of exp above: 0.9 % low at x = 2, 3 % at 3.
    """
    if decay < 0.3:
        return 1.0 - decay * (
            1 / 2 - decay * (1 / 6 - decay * (1 / 24 - decay * (1 / 120 - decay * (1 / 720))))
        )
    return 1.0 / (1.0 + decay * (0.5 + decay * (1 / 12)))


@compiled
def lost_share(decay: float) -> float:
    """1 - exp(-x), the share of a difference that is lost; x >= 0. Good to 1e-7 everywhere."""
    if decay < 0.3:
        return decay * relaxation(decay)
    return 1.0 - exp(-decay)
