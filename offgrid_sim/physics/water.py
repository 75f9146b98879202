"""Tanks: what a draw leaves, and how a tank freezes and melts.

A tank's heat is held per litre relative to liquid water at 0 C: above zero it warms, below zero
it turns to ice, beyond -92.7 Wh/l the ice cools. Water 4.184 kJ/kgK, ice 333.6 kJ/kg and
2.1 kJ/kgK (from memory; CoolProp agrees for water).
"""

from __future__ import annotations

from math import log

from offgrid_sim.compiled import compiled
from offgrid_sim.physics.decay import lost_share

WATER_WH_L_K = 4.184 / 3.6
FUSION_WH_L = 333.6 / 3.6
ICE_WH_L_K = 2.1 / 3.6


@compiled
def tank_temp_c(heat_wh_l: float) -> float:
    """Temperature of a tank from its heat per litre."""
    if heat_wh_l > 0.0:
        return heat_wh_l / WATER_WH_L_K
    if heat_wh_l > -FUSION_WH_L:
        return 0.0
    return (heat_wh_l + FUSION_WH_L) / ICE_WH_L_K


@compiled
def ice_share(heat_wh_l: float) -> float:
    """Share of the tank that is ice, 0..1."""
    return min(max(-heat_wh_l / FUSION_WH_L, 0.0), 1.0)


@compiled
def cool_tank(heat_wh_l: float, litres: float, ua_w_k: float, around_c: float, h: float) -> float:
    """Heat per litre after ``h`` hours at ``around_c``, piece by piece: water, mush, ice.

    Sensible parts follow the exact exponential, the latent part is linear; a boundary met on
    the way is crossed at its exact time (physics: Newton cooling with a lumped tank).
    """
    left_h = h
    litres = max(litres, 0.5)
    for _ in range(3):
        liquid = heat_wh_l > 0.0 or (heat_wh_l == 0.0 and around_c > 0.0)
        solid = heat_wh_l < -FUSION_WH_L or (heat_wh_l == -FUSION_WH_L and around_c < 0.0)
        if liquid or solid:
            per_k = WATER_WH_L_K if liquid else ICE_WH_L_K
            temp_c = tank_temp_c(heat_wh_l)
            lost = lost_share(left_h * ua_w_k / (litres * per_k))
            after_c = temp_c + (around_c - temp_c) * lost
            if liquid:
                if after_c >= 0.0:
                    return after_c * per_k
            elif after_c <= 0.0:
                return after_c * per_k - FUSION_WH_L
            left_h -= litres * per_k / ua_w_k * log((temp_c - around_c) / (0.0 - around_c))
            heat_wh_l = 0.0 if liquid else -FUSION_WH_L
        else:
            rate = ua_w_k * around_c / litres
            after = heat_wh_l + rate * left_h
            if rate == 0.0 or -FUSION_WH_L <= after <= 0.0:
                return after
            bound = 0.0 if rate > 0.0 else -FUSION_WH_L
            left_h -= (bound - heat_wh_l) / rate
            heat_wh_l = bound
        if left_h <= 1e-9:
            return heat_wh_l
    return heat_wh_l
