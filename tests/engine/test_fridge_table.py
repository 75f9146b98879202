"""The fridge in the whole engine, against the physics sheet's table of Wh a day (its 4.6).

The van stands still at constant temperature, always hooked up, with a body that leaks so much
that the cabin is the outside air. The sheet's table is the same model worked apart at 60 % (35 %
at 43 C) humidity: it tests the implementation; only the EU check at the end is from outside.
"""

from functools import lru_cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from offgrid_sim.engine.flat import ASK, AWAKE, CLOCK, SKY
from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.physics.fridge import cop, zone_heat_wh, zone_temp_c
from offgrid_sim.plan.van import Battery, Cabin, Fridge, Shore, Van

KINDS = {
    "upright": Fridge(shape="upright"),
    "chest fridge": Fridge(shape="chest", freezer_share=0.0, set_fridge_c=4.0),
    "chest dual": Fridge(shape="chest", freezer_share=0.30, set_fridge_c=4.0),
    "chest freezer": Fridge(shape="chest", freezer_share=1.0, set_freezer_c=-18.0),
}
AMBIENT_C = (16.0, 25.0, 32.0, 43.0)
DAYS = 10


def van_of(fridge, ambient_c, soc=1.0):
    cabin = Cabin(
        ua_w_k=1000.0, heat_capacity_kj_k=13.0, heater_w=0.0, roof_m2=0.0, glass_m2=0.0,
        initial_temp_c=ambient_c,
    )  # fmt: skip
    battery = Battery(capacity_ah=10000.0, initial_soc=soc)
    van = Van(battery=battery, fridge=fridge, shore=Shore(current_a=100.0), loads=(), cabin=cabin)
    return van_numbers(van)


def live_through(van, ambient_c, *, in_use=False, hooked_up=True, days=DAYS, per_h=6):
    hours = 24 * days
    clock, sky = np.zeros(hours, CLOCK), np.zeros(hours, SKY)
    clock["shore"], clock["occupancy"] = float(hooked_up), AWAKE
    sky["temp_air_c"] = ambient_c
    awake = (np.arange(hours) % 24 >= 7) & (np.arange(hours) % 24 < 22)
    clock["door_openings"] = np.where(awake & in_use, 12 / 15, 0.0)
    clock["loaded_kg"] = np.where(awake & in_use, 1.5 / 15, 0.0)
    return run_one(van, clock, sky, np.zeros(hours * per_h, ASK), per_h)


@lru_cache
def settled(kind, ambient_c, in_use, per_h=6):
    """Trace of the second half of ten days."""
    trace, totals = live_through(
        van_of(KINDS[kind], ambient_c), ambient_c, in_use=in_use, per_h=per_h
    )
    assert totals["blackout_hours"][0] == 0.0
    return trace[len(trace) // 2 :]


def wh_per_day(kind, ambient_c, in_use, per_h=6):
    return 24.0 * float(settled(kind, ambient_c, in_use, per_h)["fridge_w"].mean())


@pytest.mark.parametrize("ambient_c", AMBIENT_C)
def test_the_cabin_is_the_outside_air(ambient_c):
    assert np.abs(settled("upright", ambient_c, True)["cabin_c"] - ambient_c).max() < 0.15


# ---- Wh a day ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "ambient_c", "low", "high"),
    [
        ("upright", 16.0, 113, 250), ("upright", 25.0, 235, 514),
        ("upright", 32.0, 360, 783), ("upright", 43.0, 617, 1332),
        ("chest fridge", 16.0, 58, 130), ("chest fridge", 25.0, 130, 287),
        ("chest fridge", 32.0, 206, 449), ("chest fridge", 43.0, 365, 789),
    ],
)  # fmt: skip
def test_in_use_within_the_range_of_the_sheet(kind, ambient_c, low, high):
    assert low <= wh_per_day(kind, ambient_c, True) <= high


@pytest.mark.parametrize(
    ("kind", "in_use_wh"),
    [
        ("upright", (153, 319, 490)),
        ("chest fridge", (79, 176, 279)),
        ("chest dual", (145, 280, 417, 698)),
        ("chest freezer", (343, 526, 704, 1058)),
    ],
)
def test_in_use_within_8_per_cent_of_the_sheet(kind, in_use_wh):
    # Kept slightly colder than the sheet's set-points. At 43 C the engine's 60 % humidity (sheet
    # 35 %) costs a front-opening door more: left out for the upright and the chest fridge.
    for ambient_c, expected in zip(AMBIENT_C, in_use_wh, strict=False):
        assert wh_per_day(kind, ambient_c, True) == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize(
    ("kind", "steady_wh"),
    [
        ("upright", (140, 289, 441, 757)),
        ("chest fridge", (70, 157, 248, 440)),
        ("chest dual", (134, 254, 376, 628)),
        ("chest freezer", (320, 495, 665, 1004)),
    ],
)
def test_closed_doors_within_8_per_cent_of_the_sheet(kind, steady_wh):
    for ambient_c, expected in zip(AMBIENT_C, steady_wh, strict=True):
        assert wh_per_day(kind, ambient_c, False) == pytest.approx(expected, rel=0.08)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ambient_c", AMBIENT_C)
def test_closed_doors_take_load_over_cop(kind, ambient_c):
    # Q / COP at the temperatures the zones really had, fan and controls 8 %: within 3 %.
    trace, van = settled(kind, ambient_c, False), van_of(KINDS[kind], ambient_c)[0]
    cooled_c = float(trace["freezer_c"].mean())
    load_w = van["cooled_ua_w_k"] * (ambient_c - cooled_c)
    if 0.0 < KINDS[kind].freezer_share < 1.0:
        load_w += van["fresh_ua_w_k"] * (ambient_c - float(trace["fresh_c"].mean()))
    lift = cop(cooled_c - float(van["evaporator_drop_k"]), ambient_c + 15.0, 1.0)
    assert wh_per_day(kind, ambient_c, False) == pytest.approx(24 * load_w / lift * 1.08, rel=0.03)


@pytest.mark.parametrize("in_use", [False, True])
@pytest.mark.parametrize("ambient_c", AMBIENT_C)
def test_an_upright_with_a_freezer_takes_more_than_a_chest_with_one(ambient_c, in_use):
    upright = wh_per_day("upright", ambient_c, in_use)
    assert upright > wh_per_day("chest dual", ambient_c, in_use)
    assert upright > 1.5 * wh_per_day("chest fridge", ambient_c, in_use)


def test_duty_of_an_upright():
    for ambient_c, duty in zip(AMBIENT_C, (0.13, 0.27, 0.42), strict=False):
        running = float(settled("upright", ambient_c, True)["running_share"].mean())
        assert running == pytest.approx(duty, abs=0.025)


@pytest.mark.parametrize("kind", KINDS)
def test_a_warmer_day_never_takes_less(kind):
    taken = [wh_per_day(kind, float(ambient_c), True) for ambient_c in range(14, 44, 2)]
    assert np.all(np.diff(taken) > 0)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("ambient_c", [16.0, 32.0])
def test_halving_the_step_changes_a_day_by_less_than_1_per_cent(kind, ambient_c):
    halved = wh_per_day(kind, ambient_c, True, per_h=12)
    assert wh_per_day(kind, ambient_c, True) == pytest.approx(halved, rel=0.01)


def test_a_chest_makes_less_frost_than_an_upright():
    upright = settled("upright", 25.0, True)["frost_kg"][-1]
    chest = settled("chest dual", 25.0, True)["frost_kg"][-1]
    assert 0.0 < chest < 0.2 * upright
    # Sheet: 3.3 g/d at 25 C / 60 % for the upright.
    assert 1000 * upright / DAYS == pytest.approx(3.3, rel=0.1)


@pytest.mark.parametrize("kind", ["upright", "chest dual"])
def test_food_is_kept_at_its_set_points(kind):
    for ambient_c in AMBIENT_C[:3]:
        trace = settled(kind, ambient_c, True)
        assert trace["freezer_c"].max() < -10.0
        assert trace["fresh_c"].max() <= KINDS[kind].set_fridge_c + 0.5
        assert trace["fresh_c"].min() > 0.0


# ---- an outside anchor ---------------------------------------------------------------------


def standard_kwh_per_year(parts):
    """EU 2019/2016: SAE = sum of (Vc / V)(N + V rc M), other factors 1 (formula from memory)."""
    volume_l = sum(part[0] for part in parts)
    return sum(v / volume_l * (n + volume_l * rc * m) for v, n, rc, m in parts)


@pytest.mark.parametrize(
    ("kind", "parts", "index"),
    [
        ("upright", [(42.0, 75.0, 1.0, 0.12), (8.0, 138.0, 1.80, 0.15)], 115),
        ("chest fridge", [(50.0, 75.0, 1.0, 0.12)], 72),
        ("chest freezer", [(50.0, 138.0, 2.10, 0.15)], 117),
    ],
)
def test_energy_index_lies_among_appliances_on_sale(kind, parts, index):
    # Mean of 16 and 32 C with closed doors over the standard energy. Classes run from A (to 41)
    # over F (to 125) to G. An order of magnitude, no calibration: +-35 % for a real unit.
    mean_wh = (wh_per_day(kind, 16.0, False) + wh_per_day(kind, 32.0, False)) / 2
    got = 100 * mean_wh * 0.365 / standard_kwh_per_year(parts)
    assert got == pytest.approx(index, rel=0.06)
    assert 41 < got <= 125


# ---- without power -------------------------------------------------------------------------


@pytest.mark.parametrize("ambient_c", [25.0, 32.0])
def test_without_power_both_zones_follow_scipy(ambient_c):
    """F18 and F20 through the whole engine, its own masses and heat leaks, empty battery."""
    van = van_of(KINDS["upright"], ambient_c, soc=0.0)
    trace, totals = live_through(van, ambient_c, hooked_up=False, days=1)
    assert totals["blackout_hours"][0] == pytest.approx(24.0)
    row = van[0]
    pieces = tuple(
        float(row[name])
        for name in ("frozen_k_per_wh", "melting_k_per_wh", "thawed_k_per_wh", "melt_heat_wh")
    )

    def rates(_, y):
        cooled_c = zone_temp_c(y[1], *pieces)
        between_w = row["between_ua_w_k"] * (y[0] - cooled_c)
        return [
            (row["fresh_ua_w_k"] * (ambient_c - y[0]) - between_w) * row["fresh_k_per_wh"],
            row["cooled_ua_w_k"] * (ambient_c - cooled_c) + between_w,
        ]

    hours = np.arange(1, 24 * 6 + 1) / 6
    start = [4.5, zone_heat_wh(-12.0, *pieces)]
    exact = solve_ivp(rates, (0, 24), start, max_step=0.05, t_eval=hours, rtol=1e-8).y
    assert np.abs(trace["fresh_c"] - exact[0]).max() < 0.25
    exact_ice = np.clip(1.0 - exact[1] / pieces[3], 0.0, 1.0)
    assert np.abs(trace["ice_share"] - exact_ice).max() < 0.01
    above_8_h = np.interp(8.0, trace["fresh_c"], hours)
    assert above_8_h == pytest.approx(np.interp(8.0, exact[0], hours), rel=0.03)
