"""What a long step asks for, and how it is written down in the rows of the short ones."""

from __future__ import annotations

from typing import Any

import numpy as np

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.flat import ASK

Record = Any


def joined(ask: np.ndarray, rows: int) -> np.ndarray:
    """ASK of steps ``rows`` times as long: means of watts and shares, sums of litres.

    What cables lose is a share of the watts, not of the time.
    """
    long = np.zeros(len(ask) // rows, ASK)
    for name in ASK.names or ():
        grouped = ask[name].reshape(-1, rows)
        long[name] = grouped.sum(axis=1) if name in ("draw_l", "grey_l") else grouped.mean(axis=1)
    watts = ask["vital_w"] + ask["normal_w"] + ask["comfort_w"]
    lost_w = (ask["cable_share"] * watts).reshape(-1, rows).mean(axis=1)
    mean_w = watts.reshape(-1, rows).mean(axis=1)
    np.divide(lost_w, mean_w, out=long["cable_share"], where=mean_w > 0)
    return long


@compiled
def spread(trace: np.ndarray, first: int, last: int) -> None:
    """Write the long step in row ``last`` to all rows from ``first``.

    Means and flags are alike in each, litres are shared out, and states run straight from the row
    before, which there must be. What the services of the hour filled and dumped stays in its row.
    """
    step = trace[last]
    part = 1.0 / (last - first + 1)
    step.drawn_l *= part
    step.to_grey_l *= part
    step.unmet_l *= part
    step.grey_lost_l *= part
    before = trace[first - 1]
    for k in range(first, last):
        row = trace[k]
        filled_l, dumped_l = row.filled_l, row.dumped_l
        trace[k] = step
        row.filled_l, row.dumped_l = filled_l, dumped_l
        run_straight(before, step, (k - first + 1) * part, row)


@compiled
def run_straight(before: Record, after: Record, share: float, row: Record) -> None:
    """States ``share`` of the way from one row to another."""
    rest = 1.0 - share
    row.soc = rest * before.soc + share * after.soc
    row.cell_c = rest * before.cell_c + share * after.cell_c
    row.fresh_c = rest * before.fresh_c + share * after.fresh_c
    row.freezer_c = rest * before.freezer_c + share * after.freezer_c
    row.ice_share = rest * before.ice_share + share * after.ice_share
    row.frost_kg = rest * before.frost_kg + share * after.frost_kg
    row.meltwater_l = rest * before.meltwater_l + share * after.meltwater_l
    row.floor_water_l = rest * before.floor_water_l + share * after.floor_water_l
    row.cabin_c = rest * before.cabin_c + share * after.cabin_c
    row.fresh_l = rest * before.fresh_l + share * after.fresh_l
    row.grey_l = rest * before.grey_l + share * after.grey_l
