"""Energy and water of one run, in and out, each with what does not close."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class EnergyBalance:
    """Wh at the fuse box: what came in = used + lost in cables and battery + more in store.

    What the cables of panels and chargers lose never gets there and is in no number here."""

    solar_wh: float
    alternator_wh: float
    shore_wh: float
    fridge_wh: float
    heater_electric_wh: float
    other_load_wh: float
    battery_loss_wh: float
    cable_loss_wh: float
    stored_change_wh: float
    curtailed_wh: float
    unserved_wh: float
    residual_wh: float

    @property
    def in_wh(self) -> float:
        """All that came in."""
        return self.solar_wh + self.alternator_wh + self.shore_wh

    @property
    def used_wh(self) -> float:
        """All that loads got."""
        return self.fridge_wh + self.heater_electric_wh + self.other_load_wh


@dataclass(frozen=True)
class WaterBalance:
    """Litres: filled + at start = used + at end; used = to grey + lost over the brim + gone."""

    fresh_start_l: float
    filled_l: float
    used_l: float
    fresh_end_l: float
    unmet_l: float
    to_grey_l: float
    over_brim_l: float
    dumped_l: float
    grey_start_l: float
    grey_end_l: float

    @property
    def consumed_l(self) -> float:
        """Drunk, cooked or dried up: used and never reached the grey side."""
        return self.used_l - self.to_grey_l - self.over_brim_l

    @property
    def fresh_residual_l(self) -> float:
        """What the fresh tank's balance does not close by."""
        return self.fresh_start_l + self.filled_l - self.used_l - self.fresh_end_l

    @property
    def grey_residual_l(self) -> float:
        """What the grey tank's balance does not close by."""
        return self.grey_start_l + self.to_grey_l - self.dumped_l - self.grey_end_l


def energy_balance(totals: np.void) -> EnergyBalance:
    """Energy of one run from its TOTALS record."""
    other = totals["load_wh"] - totals["fridge_wh"] - totals["heater_electric_wh"]
    same = ("solar_wh", "alternator_wh", "shore_wh", "fridge_wh", "heater_electric_wh",
            "battery_loss_wh", "cable_loss_wh", "curtailed_wh", "unserved_wh")  # fmt: skip
    return EnergyBalance(
        **{name: float(totals[name]) for name in same},
        other_load_wh=float(other),
        stored_change_wh=float(totals["stored_end_wh"] - totals["stored_start_wh"]),
        residual_wh=float(totals["energy_residual_wh"]),
    )


def water_balance(totals: np.void) -> WaterBalance:
    """Water of one run from its TOTALS record."""
    same = ("fresh_start_l", "filled_l", "fresh_end_l", "unmet_l", "dumped_l", "grey_start_l",
            "grey_end_l")  # fmt: skip
    return WaterBalance(
        **{name: float(totals[name]) for name in same},
        used_l=float(totals["fresh_used_l"]),
        to_grey_l=float(totals["grey_l"]),
        over_brim_l=float(totals["grey_lost_l"]),
    )
