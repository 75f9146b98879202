"""What parts cost, weigh and cover, so that designs can be compared: ``[parts]`` of a van file.

A part whose own table gives ``price``, ``mass_kg`` or ``area_m2`` is scaled from there; this table
serves the rest. Its defaults are round figures, assumed and marked so: put in your own quotes.
"""

from __future__ import annotations

from offgrid_sim.plan.quantity import PlanModel, quantity

ASSUMED_PRICE = "assumed: a round figure in euros, from memory; put in your own quotes"
ASSUMED_MASS = "assumed: a round figure, from memory"


class Parts(PlanModel):
    """Prices in any one currency, masses and areas per unit of size."""

    panel_price_per_w: float = quantity(
        1.0, "price of a nameplate watt with brackets and cable", limits=(0, 1000),
        origin=ASSUMED_PRICE,
    )  # fmt: skip
    panel_kg_per_w: float = quantity(
        0.07, "mass of a nameplate watt with brackets", limits=(0, 10), origin=ASSUMED_MASS
    )
    panel_m2_per_w: float = quantity(
        0.0052, "roof that a nameplate watt covers, edges included", limits=(0, 1),
        origin="assumed: 200 W per m2 of panel and a few centimetres around it",
    )  # fmt: skip
    lfp_price_per_ah: float = quantity(
        4.0, "price of an amp-hour of 12 V lfp bank", limits=(0, 1000), origin=ASSUMED_PRICE
    )
    lfp_kg_per_ah: float = quantity(
        0.12, "mass of an amp-hour of 12 V lfp bank", limits=(0, 10), origin=ASSUMED_MASS
    )
    agm_price_per_ah: float = quantity(
        2.0, "price of an amp-hour of 12 V agm bank", limits=(0, 1000), origin=ASSUMED_PRICE
    )
    agm_kg_per_ah: float = quantity(
        0.30, "mass of an amp-hour of 12 V agm bank", limits=(0, 10), origin=ASSUMED_MASS
    )
    tank_price_per_l: float = quantity(
        2.0, "price of a litre of tank", limits=(0, 1000), origin=ASSUMED_PRICE
    )
    tank_kg_per_l: float = quantity(
        0.05, "mass of a litre of empty tank", limits=(0, 10), origin=ASSUMED_MASS
    )
    fridge_price: float = quantity(
        700.0, "price of a fridge that names none", limits=(0, 1e6), origin=ASSUMED_PRICE
    )
    fridge_kg: float = quantity(
        20.0, "mass of a fridge that names none", limits=(0, 1e4), origin=ASSUMED_MASS
    )
