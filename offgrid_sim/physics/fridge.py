"""Compressor fridge: heat leak, efficiency, thermostat, enthalpy of frozen food.

Two zones. The *cooled* zone holds the evaporator and the thermostat's sensor; it is the freezer
where there is one, else the fridge itself. The fresh zone of a fridge with a freezer hangs on
the freezer through an air flap. Heat is in Wh, relative to frozen food just about to melt
(-3 C): so the freezer really thaws and refreezes.

Lumped zones over-predict how long food stays frozen (edges thaw first); warnings are raised at
an ice share of 0.8. Predicted food temperature is no safety guarantee: use a thermometer.
"""

from __future__ import annotations

from math import log

from offgrid_sim.compiled import compiled
from offgrid_sim.physics.air import enthalpy_kj_kg, humidity_ratio, specific_volume_m3_kg
from offgrid_sim.physics.decay import relaxation

MELT_START_C, MELT_END_C = -3.0, -1.0
FROZEN_KJ_KG_K, THAWED_KJ_KG_K = 2.0, 3.5
MELT_KJ_KG = 245.5
"""Mixed frozen food: 2.0 below -3 C, 245.5 kJ/kg across to -1 C, 3.5 above (ASHRAE Refrigeration,
thermal properties of foods, meat; from a secondary copy)."""

CARNOT_SHARE, CARNOT_SHARE_PER_K = 0.435, 0.0045
FRESH_KJ_KG_K = 3.6
DRINKS_KJ_KG_K = 4.18
DOOR_FILM_W_M2_K = 5.0
ICE_FUSION_KJ_KG = 333.6
FROST_KG_M3, FROST_W_M_K = 200.0, 0.21
FROST_MELT_W_M2_K = 10.0
FAR_WH, NEVER_H = 1e9, 1e9
COP_STRAIGHT_K = 4.0
"""Over this much of the zone's temperature the COP is taken as a straight line."""


# ---- cabinet -------------------------------------------------------------------------------


def shape_factor_m(sides_m: tuple[float, float, float], wall_m: float) -> float:
    """Conduction shape factor of a box, m: faces, 12 edges, 8 corners (Incropera, table 4.1)."""
    a, b, c = sides_m
    faces = 2 * (a * b + b * c + a * c) / wall_m
    return faces + 0.54 * 4 * (a + b + c) + 8 * 0.15 * wall_m


def box_ua_w_k(sides_m: tuple[float, float, float], wall_m: float, foam_w_m_k: float) -> float:
    """Heat leak of walls with inner and outer films of 8 W/m2K, without gasket, W/K."""
    a, b, c = sides_m
    inner_m2 = 2 * (a * b + b * c + a * c)
    a, b, c = (side + 2 * wall_m for side in sides_m)
    outer_m2 = 2 * (a * b + b * c + a * c)
    conduction = foam_w_m_k * shape_factor_m(sides_m, wall_m)
    return 1 / (1 / conduction + 1 / (8 * inner_m2) + 1 / (8 * outer_m2))


def cabinet_ua_w_k(
    sides_m: tuple[float, float, float], wall_m: float, foam_w_m_k: float, gasket_m: float
) -> float:
    """Heat leak of a cabinet: walls, gasket at 0.06 W/mK and 10 % for pipes, W/K.

    Gasket and pipes: common practice, no source; the gasket's part comes out at 13-21 %, the
    EPA/600/2-91/060 report found up to 21 %.
    """
    return (box_ua_w_k(sides_m, wall_m, foam_w_m_k) + 0.06 * gasket_m) * 1.1


# ---- efficiency ----------------------------------------------------------------------------


@compiled
def carnot_share(lift_k: float, refrigerant_factor: float) -> float:
    """System efficiency as share of Carnot, 0.435 (1.03 - 0.0045 L).

    0.435 = 0.50 (small compressor, from memory) x 0.87 (cycling, capillary, electronics); the
    slope fits refrigerant cycles computed with CoolProp. Expect +-20 % for a real unit.
    """
    return CARNOT_SHARE * (1.03 - CARNOT_SHARE_PER_K * lift_k) * refrigerant_factor


@compiled
def cop(evaporator_c: float, condenser_c: float, refrigerant_factor: float) -> float:
    """Heat moved per electric energy; the lift is kept at 10 K or more."""
    return cop_line(evaporator_c, condenser_c, refrigerant_factor)[0]


@compiled
def cop_line(
    evaporator_c: float, condenser_c: float, refrigerant_factor: float
) -> tuple[float, float]:
    """COP = share x Te / lift, and by how much it rises per kelvin of the evaporator."""
    lift_k = max(condenser_c - evaporator_c, 10.0)
    share = max(carnot_share(lift_k, refrigerant_factor), 0.05)
    per_lift = 1.0 / lift_k
    value = share * (evaporator_c + 273.15) * per_lift
    per_k = share * per_lift
    if lift_k > 10.0 and share > 0.05:
        share_per_k = CARNOT_SHARE * CARNOT_SHARE_PER_K * refrigerant_factor
        per_k += (value + share_per_k * (evaporator_c + 273.15)) * per_lift
    return value, per_k


# ---- food and frost ------------------------------------------------------------------------


@compiled
def zone_temp_c(
    heat_wh: float, frozen_k_per_wh: float, melting_k_per_wh: float, thawed_k_per_wh: float,
    melt_wh: float,
) -> float:  # fmt: skip
    """Temperature of a zone from its heat: frozen, mushy (-3 to -1 C), thawed."""
    if heat_wh < 0.0:
        return MELT_START_C + heat_wh * frozen_k_per_wh
    if heat_wh < melt_wh:
        return MELT_START_C + heat_wh * melting_k_per_wh
    return MELT_END_C + (heat_wh - melt_wh) * thawed_k_per_wh


@compiled
def zone_heat_wh(
    temp_c: float, frozen_k_per_wh: float, melting_k_per_wh: float, thawed_k_per_wh: float,
    melt_wh: float,
) -> float:  # fmt: skip
    """Inverse of :func:`zone_temp_c`."""
    if temp_c < MELT_START_C:
        return (temp_c - MELT_START_C) / frozen_k_per_wh
    if temp_c < MELT_END_C:
        return (temp_c - MELT_START_C) / melting_k_per_wh
    return melt_wh + (temp_c - MELT_END_C) / thawed_k_per_wh


def frost_k_per_kg_w(plate_m2: float) -> float:
    """How much colder a kilogram of frost makes the evaporator run per watt, K/(kg W).

    Series resistance thickness / (k A); 200 kg/m3 and 0.21 W/mK from memory.
    """
    return 1.0 / (FROST_KG_M3 * plate_m2 * FROST_W_M_K * plate_m2)


# ---- doors ---------------------------------------------------------------------------------


@compiled
def opening(
    room_c: float, room_humidity: float, inside_c: float, inside_humidity: float, free_m3: float,
    exchanged_share: float, wall_m2: float, seconds: float,
) -> tuple[float, float]:  # fmt: skip
    """Heat (kJ) and moisture (kg, never negative) that one opening lets in.

    Heat is that of the air exchanged plus inner walls warmed at 5 W/m2K while open.
    """
    outside = humidity_ratio(room_c, room_humidity)
    inside = humidity_ratio(inside_c, inside_humidity)
    air_kg = exchanged_share * free_m3 / specific_volume_m3_kg(room_c, outside)
    exchanged = enthalpy_kj_kg(room_c, outside) - enthalpy_kj_kg(inside_c, inside)
    walls_kj = DOOR_FILM_W_M2_K * wall_m2 * (room_c - inside_c) * seconds / 1000.0
    return air_kg * exchanged + walls_kj, max(air_kg * (outside - inside), 0.0)


def door_flow_m3_s(
    width_m: float, height_m: float, inside_kg_m3: float, room_kg_m3: float
) -> float:
    """Cold air that flows out of an open front, m3/s (Gosney & Olama 1975)."""
    factor = (2.0 / (1.0 + (inside_kg_m3 / room_kg_m3) ** (1.0 / 3.0))) ** 1.5
    drive = (9.81 * height_m * (1.0 - room_kg_m3 / inside_kg_m3)) ** 0.5
    return 0.221 * width_m * height_m * drive * factor


# ---- thermostat ----------------------------------------------------------------------------


@compiled
def hours_to(goal_wh: float, net_w: float, loss_per_h: float, within_h: float) -> float:
    """Hours until a zone has gained ``goal_wh`` at ``net_w`` that decays by ``loss_per_h``.

    dH/dt = net - loss H, so t = -ln(1 - loss goal / net) / loss. NEVER_H where that is not reached,
    or surely not ``within_h``: without decay it would be soonest, which costs no division to see.
    """
    if goal_wh * net_w <= 0.0 or abs(goal_wh) > abs(net_w) * within_h:
        return NEVER_H
    straight_h = goal_wh / net_w
    ratio = loss_per_h * straight_h
    if ratio < 0.3:
        return straight_h * (
            1.0 + ratio * (1 / 2 + ratio * (1 / 3 + ratio * (1 / 4 + ratio * (1 / 5))))
        )
    if ratio < 1.0:
        return -log(1.0 - ratio) / loss_per_h
    return NEVER_H


@compiled
def run_thermostat(
    heat_wh: float, running: float, rest_h: float, powered: bool, load_w: float, leak_w_k: float,
    low_wh: float, high_wh: float, frozen_k_per_wh: float, melting_k_per_wh: float,
    thawed_k_per_wh: float, melt_wh: float, evaporator_drop_k: float, condenser_c: float,
    refrigerant_factor: float, compressor_w: float, min_off_h: float, step_h: float,
) -> tuple[float, float, float, float, float]:  # fmt: skip
    """Advance the cooled zone over one step with the compressor cycling inside it.

    ``load_w`` is the heat flowing in at the present temperature and ``leak_w_k`` how much it
    falls per kelvin of warming. The thermostat starts at ``high_wh`` after at least
    ``min_off_h`` of rest and stops at ``low_wh``; switching happens at its own moment, not at
    the step's edge. Returns heat (Wh), running (0/1), rest so far (h), hours run, heat moved (Wh).
    """
    left_h, on_h, moved_wh = step_h, 0.0, 0.0
    if not powered:
        running = 0.0
    for _ in range(64):
        if running > 0.5 and heat_wh <= low_wh:
            running, rest_h = 0.0, 0.0
        elif running < 0.5 and powered and heat_wh >= high_wh and rest_h >= min_off_h:
            running = 1.0
        net_w, loss_w_k, goal_wh = load_w, leak_w_k, high_wh
        cooling_w, cooling_w_k = 0.0, 0.0
        if running > 0.5:
            zone_c = zone_temp_c(
                heat_wh, frozen_k_per_wh, melting_k_per_wh, thawed_k_per_wh, melt_wh
            )
            lift, lift_per_k = cop_line(zone_c - evaporator_drop_k, condenser_c, refrigerant_factor)
            cooling_w, cooling_w_k = lift * compressor_w, lift_per_k * compressor_w
            net_w, loss_w_k, goal_wh = load_w - cooling_w, leak_w_k + cooling_w_k, low_wh
        h, bound = left_h, powered and (goal_wh - heat_wh) * net_w > 0.0
        if running < 0.5 and powered and heat_wh >= high_wh:
            h = min(left_h, max(min_off_h - rest_h, 0.0))
        k_per_wh, edge_wh = piece_of(
            heat_wh, net_w, frozen_k_per_wh, melting_k_per_wh, thawed_k_per_wh, melt_wh
        )
        if not bound or (edge_wh - goal_wh) * net_w < 0.0:
            goal_wh = edge_wh
        if cooling_w > 0.0 and abs(goal_wh - heat_wh) * k_per_wh > COP_STRAIGHT_K:
            goal_wh = heat_wh + (COP_STRAIGHT_K if net_w > 0.0 else -COP_STRAIGHT_K) / k_per_wh
        loss_per_h = loss_w_k * k_per_wh
        goal_h = hours_to(goal_wh - heat_wh, net_w, loss_per_h, h)
        if goal_h <= h:
            h, change_wh = goal_h, goal_wh - heat_wh
            heat_wh = goal_wh
        else:
            change_wh = net_w * h * relaxation(loss_per_h * h)
            heat_wh += change_wh
        load_w -= leak_w_k * k_per_wh * change_wh
        if running > 0.5:
            on_h += h
            # the zone's warming integrated over h is (net h - change) / loss: heat closes exactly
            moved_wh += cooling_w * h + cooling_w_k * (net_w * h - change_wh) / loss_w_k
        else:
            rest_h += h
        left_h -= h
        if left_h <= 1e-12:
            break
    return heat_wh, running, rest_h, on_h, moved_wh


@compiled
def piece_of(
    heat_wh: float, net_w: float, frozen_k_per_wh: float, melting_k_per_wh: float,
    thawed_k_per_wh: float, melt_wh: float,
) -> tuple[float, float]:  # fmt: skip
    """Kelvin per Wh of the piece (frozen, mushy, thawed) a zone moves in, and its far edge, Wh."""
    if net_w > 0.0:
        if heat_wh < 0.0:
            return frozen_k_per_wh, 0.0
        if heat_wh < melt_wh:
            return melting_k_per_wh, melt_wh
        return thawed_k_per_wh, FAR_WH
    if heat_wh > melt_wh:
        return thawed_k_per_wh, melt_wh
    if heat_wh > 0.0:
        return melting_k_per_wh, 0.0
    return frozen_k_per_wh, -FAR_WH
