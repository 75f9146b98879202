"""What a design costs, weighs and covers, and which designs are worth looking at for that.

Counted are panels and battery, and fridge and tanks where they are varied. A part that names its
price, mass or area in the van file is scaled with its size; else the van's ``[parts]`` table
serves, whose defaults are assumed.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.van import Van

WATER_KG_L = 1.0


@dataclass(frozen=True)
class Bill:
    """Price in the van file's currency, mass with a full fresh tank, and roof area."""

    cost: float
    mass_kg: float
    roof_m2: float


def bill(base: Van, design: Van, varied: Collection[str]) -> Bill:
    """What a design's parts add up to; ``base`` is the van whose given prices are scaled."""
    parts = design.parts
    cost = mass = roof = 0.0
    for k, array in enumerate(design.solar):
        given = base.solar[k] if k < len(base.solar) and base.solar[k].panel_w > 0 else None
        rate = _rates(given, given.panel_w if given else 1.0)
        cost += array.panel_w * rate.get("price", parts.panel_price_per_w)
        mass += array.panel_w * rate.get("mass_kg", parts.panel_kg_per_w)
        if array.deployed == "always":
            roof += array.panel_w * rate.get("area_m2", parts.panel_m2_per_w)
    bank, kind = design.battery, design.battery.chemistry
    same = base.battery if base.battery.chemistry == kind else None
    rate = _rates(same, base.battery.capacity_ah)
    cost += bank.capacity_ah * rate.get("price", getattr(parts, f"{kind}_price_per_ah"))
    mass += bank.capacity_ah * rate.get("mass_kg", getattr(parts, f"{kind}_kg_per_ah"))
    if design.fridge is not None and "fridge" in varied:
        price, kilos = design.fridge.price, design.fridge.mass_kg
        cost += parts.fridge_price if price is None else price
        mass += parts.fridge_kg if kilos is None else kilos
    for name in ("fresh_l", "grey_l"):
        if name in varied:
            litres = getattr(design.water, name)
            cost += litres * parts.tank_price_per_l
            mass += litres * (parts.tank_kg_per_l + (WATER_KG_L if name == "fresh_l" else 0.0))
    return Bill(round(cost, 2), round(mass, 2), round(roof, 3))


def _rates(part: object, size: float) -> dict[str, float]:
    names = ("price", "mass_kg", "area_m2")
    given = {name: getattr(part, name, None) for name in names}
    return {name: value / size for name, value in given.items() if value is not None}


def assumed_rates(loaded: LoadedTrip, varied: Collection[str]) -> tuple[str, ...]:
    """Keys of the ``[parts]`` table that the bills rest on and that nobody gave."""
    van = loaded.trip.van
    kind = van.battery.chemistry
    used = []
    arrays = [array for array in van.solar if array.panel_w > 0]
    for name, key in (("price", "panel_price_per_w"), ("mass_kg", "panel_kg_per_w"),
                      ("area_m2", "panel_m2_per_w")):  # fmt: skip
        if not arrays or any(getattr(array, name) is None for array in arrays):
            used.append(key)
    for name, key in (("price", f"{kind}_price_per_ah"), ("mass_kg", f"{kind}_kg_per_ah")):
        if getattr(van.battery, name) is None:
            used.append(key)
    used += ["fridge_price", "fridge_kg"] if "fridge" in varied else []
    used += ["tank_price_per_l", "tank_kg_per_l"] if {"fresh_l", "grey_l"} & set(varied) else []
    origins = loaded.origins
    return tuple(
        key for key in used
        if f"van.parts.{key}" in origins and origins[f"van.parts.{key}"].kind == "assumed"
    )  # fmt: skip


class Billed(Protocol):
    """Anything with a bill and a risk to compare designs by."""

    @property
    def bill(self) -> Bill: ...

    @property
    def share(self) -> float: ...


@dataclass(frozen=True)
class Frontier:
    """Indices of the designs that meet the accepted risk at least cost, mass or roof, and of all
    that no other meeting design beats in all three (``unbeaten``, by cost)."""

    cheapest: int
    lightest: int
    smallest_roof: int
    unbeaten: tuple[int, ...]


def frontier(designs: Sequence[Billed], meeting: Sequence[int]) -> Frontier | None:
    """The frontier among ``meeting`` designs; ties go to the lower risk. None when none meets."""
    if not meeting:
        return None

    def least(*names: str) -> int:
        return min(meeting, key=lambda k: (
            *(getattr(designs[k].bill, name) for name in names), designs[k].share, k))  # fmt: skip

    unbeaten = _unbeaten(designs, meeting)
    return Frontier(
        cheapest=least("cost", "mass_kg", "roof_m2"),
        lightest=least("mass_kg", "cost", "roof_m2"),
        smallest_roof=least("roof_m2", "cost", "mass_kg"),
        unbeaten=tuple(sorted(unbeaten, key=lambda k: (designs[k].bill.cost, k))),
    )


def _unbeaten(designs: Sequence[Billed], meeting: Sequence[int]) -> list[int]:
    """Those that no other one matches in cost, mass and roof and beats in one or in risk."""
    points = np.array([[d.bill.cost, d.bill.mass_kg, d.bill.roof_m2, d.share]
                       for d in (designs[k] for k in meeting)])  # fmt: skip
    found = []
    for k, point in zip(meeting, points, strict=True):
        no_worse = (points[:, :3] <= point[:3]).all(axis=1)
        better = (points[:, :3] < point[:3]).any(axis=1) | (points[:, 3] < point[3])
        if not (no_worse & better).any():
            found.append(k)
    return found
