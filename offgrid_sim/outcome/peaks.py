"""The compressor's start, a peak of a moment that hourly and ten-minute means hide.

Checked apart from the simulation: at each step in which the compressor runs, what would its
terminals see in the first moment of a start?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class StartPeak:
    """Lowest voltage at the drive in the first moment of a start, V, and its share of starts below
    the drive's cut-out (by steps in which the compressor runs)."""

    start_w: float
    lowest_v: float
    below_cutout_share: float


def start_peak(van: np.ndarray, trace: np.ndarray) -> StartPeak | None:
    """Start peak of one run; None where the compressor never ran.

    ``van`` is VAN (1,), ``trace`` FLOW (steps,). The battery sags by its resistance at 25 C, so a
    cold battery sags more than told here.
    """
    running = trace["running_share"] > 0
    if not van["has_fridge"][0] or not running.any():
        return None
    row = van[0]
    ohm = row["resistance_25c_ohm"] + row["main_ohm"] + row["cable_ohm"]
    bus_v = trace["volts"] + row["main_ohm"] * trace["battery_a"]
    full_w = row["compressor_w"] + row["fan_w"]
    volts = trace["volts"][running]
    mean_a = trace["running_share"][running] * full_w / np.maximum(volts, 6.0)
    extra_a = row["start_w"] / np.maximum(volts, 6.0) - mean_a
    at_start_v = bus_v[running] - extra_a * ohm - mean_a * row["cable_ohm"]
    return StartPeak(
        start_w=float(row["start_w"]),
        lowest_v=float(at_start_v.min()),
        below_cutout_share=float((at_start_v < row["cutout_v"]).mean()),
    )
