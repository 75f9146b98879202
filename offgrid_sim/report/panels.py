"""What the timeline shows: its panels and the curves in them, and which of them a van needs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import pandas as pd

Drawn = Literal["line", "stack", "area", "edge", "between"]


@dataclass(frozen=True)
class Curve:
    """One column of the hourly trace as a curve.

    ``scale`` multiplies the column. ``at`` says whether the value is a state at the end of the
    hour, drawn there, or a mean over it, drawn as a step. ``right`` puts it on the right scale.
    "edge" draws nothing, and "between" fills from there; such curves have no title.
    """

    column: str
    title: str
    ink: str
    scale: float = 1.0
    at: Literal["hour", "end"] = "end"
    drawn: Drawn = "line"
    dash: str = "solid"
    right: bool = False

    def values(self, hourly: pd.DataFrame) -> np.ndarray:
        """The scaled column, shape (H,)."""
        return hourly[self.column].to_numpy(float) * self.scale


@dataclass(frozen=True)
class Scale:
    """A value axis: its unit, and limits within which the data always fit."""

    unit: str
    low: float
    high: float


@dataclass(frozen=True)
class Panel:
    """One panel: curves on a left and perhaps a right scale; ``mark`` is a line to mind."""

    name: str
    title: str
    curves: tuple[Curve, ...]
    left: Scale
    right: Scale | None = None
    mark: float | None = None
    mark_title: str = ""


SOLAR = Curve("solar_w", "solar", "solar", at="hour", drawn="stack")
ALTERNATOR = Curve("alternator_w", "alternator", "alternator", at="hour", drawn="stack")
SHORE = Curve("shore_w", "shore", "shore", at="hour", drawn="stack")
REFUSED = Curve("curtailed_w", "solar refused", "refused", at="hour", drawn="stack", dash="dot")
LOADS = Curve("load_w", "loads", "loads", scale=-1.0, at="hour", drawn="area")
FRIDGE_W = Curve("fridge_w", "of which fridge", "fridge", scale=-1.0, at="hour", drawn="area")
FRIDGE_C = Curve("temp_fridge_c", "fridge, °C", "fridge")
FREEZER_C = Curve("temp_freezer_c", "freezer, °C", "freezer", dash="dash")
ICE = Curve("ice_share", "ice left, %", "ice", scale=100.0, drawn="area", dash="dot", right=True)
CHARGE = Curve("soc", "charge, %", "battery", scale=100.0)
VOLTS = Curve("fridge_v", "lowest volts at the fridge", "volts", at="hour", dash="dot", right=True)
BATTERY_VOLTS = Curve("battery_v", "volts", "volts", dash="dot", right=True)
FRESH = Curve("fresh_l", "fresh, l", "fresh")
GREY = Curve("grey_l", "grey, l", "grey", dash="dash")
OUTSIDE = Curve("temp_air_c", "outside, °C", "outside", at="hour")
CABIN = Curve("temp_cabin_c", "cabin, °C", "cabin", dash="dash")

FOOD_LIMIT_C = 5.0
_EDGES: tuple[tuple[str, Drawn], ...] = (("p10", "edge"), ("p90", "between"))


def panels(hourly: pd.DataFrame, has_fridge: bool) -> tuple[Panel, ...]:
    """The panels this van needs, from top to bottom."""
    found = [_battery(hourly, has_fridge), _power(hourly)]
    if has_fridge:
        found.append(_food(hourly))
    return (*found, _tanks(hourly), _air(hourly))


def with_spread(panels: tuple[Panel, ...], columns: tuple[str, ...]) -> tuple[Panel, ...]:
    """The panels with a band from ``COLUMN_p10`` to ``COLUMN_p90`` under the curve of a column."""
    return tuple(
        replace(panel, curves=(*_spreads(panel, columns), *panel.curves)) for panel in panels
    )


def _spreads(panel: Panel, columns: tuple[str, ...]) -> tuple[Curve, ...]:
    return tuple(
        Curve(f"{curve.column}_{end}", "", curve.ink, curve.scale, drawn=drawn)
        for curve in panel.curves
        if curve.column in columns
        for end, drawn in _EDGES
    )


def _battery(hourly: pd.DataFrame, has_fridge: bool) -> Panel:
    volts = VOLTS if has_fridge else BATTERY_VOLTS
    right = _fitted("V", hourly, (volts,), 10.0, 14.6)
    return Panel("battery", "Battery", (CHARGE, volts), Scale("%", 0, 104), right)


def _power(hourly: pd.DataFrame) -> Panel:
    inputs = [c for c in (SOLAR, ALTERNATOR, SHORE, REFUSED) if c.values(hourly).max() > 0]
    uses = [LOADS, *([FRIDGE_W] if hourly["fridge_w"].max() > 0 else [])]
    top = sum((c.values(hourly) for c in inputs), np.zeros(len(hourly))).max()
    left = Scale("W", -1.1 * max(hourly["load_w"].max(), 10.0), 1.1 * max(top, 10.0))
    return Panel("power", "Power, W, in is up", (*inputs, *uses), left, mark=0.0)


def _food(hourly: pd.DataFrame) -> Panel:
    zones = tuple(c for c in (FRIDGE_C, FREEZER_C) if not np.isnan(c.values(hourly)).all())
    ice = () if np.isnan(ICE.values(hourly)).all() else (ICE,)
    return Panel(
        "food",
        "Food",
        (*ice, *zones),
        _fitted("°C", hourly, zones, 0.0, 10.0),
        Scale("%", 0, 104) if ice else None,
        mark=FOOD_LIMIT_C if FRIDGE_C in zones else None,
        mark_title="5 °C, keep the fridge below" if FRIDGE_C in zones else "",
    )


def _tanks(hourly: pd.DataFrame) -> Panel:
    curves = (FRESH, GREY)
    return Panel("tanks", "Tanks", curves, _fitted("l", hourly, curves, 0.0, 10.0))


def _air(hourly: pd.DataFrame) -> Panel:
    curves = (OUTSIDE, CABIN)
    left = _fitted("°C", hourly, curves, 0.0, 20.0)
    return Panel("air", "Air", curves, left, mark=0.0, mark_title="freezing")


def _fitted(
    unit: str, hourly: pd.DataFrame, curves: tuple[Curve, ...], low: float, high: float
) -> Scale:
    """A scale that holds ``low``, ``high`` and all finite values, with a little air."""
    values = np.concatenate([[low, high], *(curve.values(hourly) for curve in curves)])
    least, most = np.nanmin(values), np.nanmax(values)
    air = 0.05 * (most - least)
    return Scale(unit, float(least - air if least < 0 else least), float(most + air))


def without_right_scale(panel: Panel) -> Panel:
    """The panel with its left curves only."""
    return replace(panel, curves=tuple(c for c in panel.curves if not c.right), right=None)
