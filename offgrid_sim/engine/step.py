"""One step of van life, in the order of a day.

Each function changes ``state`` and writes what happened into ``flow``. The physics stands in
``offgrid_sim.physics``; here and in the neighbours is only how things act on each other.
"""

from __future__ import annotations

from typing import Any

from offgrid_sim.compiled import compiled
from offgrid_sim.engine.cold import cool_food
from offgrid_sim.engine.living import use_water, warm_cabin
from offgrid_sim.engine.power import (
    catch_sun,
    charge_battery,
    look_at_battery,
    offer_charge,
    protect,
    want_power,
)
from offgrid_sim.physics.fridge import zone_temp_c
from offgrid_sim.physics.water import ice_share

FOOD_LIMIT_C = 5.0
"""Chilled food: EU and FSANZ guidance 5 C (from secondary copies)."""

THAW_WARNING, THAW_LOST = 0.8, 0.1
"""Ice share below which thaw is warned of, and below which frozen food counts as lost."""

Record = Any


@compiled
def step(
    van: Record, clock: Record, sky: Record, ask: Record, pace: Record, state: Record,
    flow: Record,
) -> None:  # fmt: skip
    """Advance the van by one step of the length that ``pace`` says."""
    flow.outside_c = sky.temp_air_c
    look_at_battery(van, pace, state)
    sun_w = catch_sun(van, state)
    loads_w = want_power(van, clock, sky, ask, pace, state, flow)
    spare_w, offered_w = offer_charge(van, clock, pace, state, flow, sun_w)
    protect(van, pace, state, flow, loads_w, spare_w, offered_w)
    cool_food(van, sky, pace, state, flow)
    charge_battery(van, clock, pace, state, flow, sun_w, loads_w, spare_w)
    warm_cabin(van, clock, sky, ask, pace, state, flow)
    use_water(van, ask, state, flow)
    note_food(van, state, flow)
    note_ice(van, state, flow)


@compiled
def note_food(van: Record, state: Record, flow: Record) -> None:
    """Write down how the food is."""
    flow.frost_kg = state.frost_kg
    flow.meltwater_l = state.melted_l
    flow.floor_water_l = state.floor_l
    flow.freezer_c = zone_temp_c(
        state.cooled_heat_wh, van.frozen_k_per_wh, van.melting_k_per_wh, van.thawed_k_per_wh,
        van.melt_heat_wh,
    )  # fmt: skip
    flow.fresh_c = state.fresh_c if van.has_freezer > 0.5 else flow.freezer_c
    flow.ice_share, flow.thaw, flow.thawed = 1.0, 0.0, 0.0
    if van.has_freezer > 0.5 and state.cooled_heat_wh > 0.0:
        flow.ice_share = max(1.0 - state.cooled_heat_wh / van.melt_heat_wh, 0.0)
        if van.frozen_kg > 0.0:
            flow.thaw = 1.0 if flow.ice_share < THAW_WARNING else 0.0
            flow.thawed = 1.0 if flow.ice_share < THAW_LOST else 0.0
    flow.warm_food = 1.0 if van.has_fresh > 0.5 and flow.fresh_c > FOOD_LIMIT_C else 0.0


@compiled
def note_ice(van: Record, state: Record, flow: Record) -> None:
    """Write down whether a tank is frozen."""
    flow.frozen_water = 0.0
    if state.fresh_l > 0.0 and ice_share(state.fresh_tank_wh_l) >= van.frozen_at_ice_share:
        flow.frozen_water = 1.0
    if state.grey_l > 0.5 and ice_share(state.grey_tank_wh_l) >= van.frozen_at_ice_share:
        flow.frozen_water = 1.0
