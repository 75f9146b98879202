"""Long steps in calm hours: only where nothing can switch, and with the same answer."""

from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.engine.calm import is_calm
from offgrid_sim.engine.flat import ASK, CLOCK, FLOW, STATE, view
from offgrid_sim.engine.hour import set_thermostat
from offgrid_sim.engine.long_steps import joined, spread
from offgrid_sim.engine.loop import CALM_STEPS, STEPS_PER_HOUR, run_many, run_one
from offgrid_sim.engine.prepare import prepare
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.van import Battery, Fridge, Solar, Van
from offgrid_sim.weather.sources import providers

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
WINTER, JUNE = TRIPS / "pyrenees_winter.toml", TRIPS / "greensboro_june.toml"
ROWS = STEPS_PER_HOUR // CALM_STEPS


def hour_of(soc=0.6, asked_w=20.0, chemistry="lfp", **state_values):
    """The record of an hour, with a 100 Ah battery and a fridge at its set-points."""
    battery = Battery(capacity_ah=100, chemistry=chemistry)
    numbers = van_numbers(Van(battery=battery, fridge=Fridge(), solar=(Solar(panel_w=200),)))
    van, state = view(numbers)[0], view(np.zeros(1, STATE))[0]
    set_thermostat(van, 0.0, state)
    state.soc, state.load_on, state.per_cold_share, state.emf_v = soc, 1.0, 1.0, 13.2
    state.cell_ohm_25c = van.resistance_25c_ohm
    for name, value in state_values.items():
        setattr(state, name, value)
    ask = np.zeros(STEPS_PER_HOUR, ASK)
    ask["normal_w"] = asked_w
    return van, view(np.zeros(1, CLOCK))[0], view(ask), 0, STEPS_PER_HOUR, state


def test_half_full_battery_with_small_loads_is_calm():
    assert is_calm(*hour_of())


@pytest.mark.parametrize(
    "words",
    [
        {"soc": 0.14},  # the hour's draw could empty it
        {"asked_w": 3000.0},  # the load could pull the voltage down
        {"fridge_locked": 1.0},  # the drive may start again
        {"chemistry": "agm"},  # leans on each peak
        {"per_cold_share": 1.6, "soc": 0.35},  # cold cells sag
        {"load_on": 0.0, "emf_v": 12.5, "panel_w": 30.0},  # sun may bring the loads back
        {"load_on": 0.0, "emf_v": 13.1},  # the rested battery may reconnect by itself
    ],
)
def test_an_hour_in_which_something_may_switch_is_not(words):
    assert not is_calm(*hour_of(**words))


def test_a_dark_night_is_calm():
    assert is_calm(*hour_of(soc=0.08, load_on=0.0, emf_v=12.5))


def test_a_peak_in_one_step_of_the_hour_counts():
    hour = hour_of()
    hour[2].comfort_w[1] = 3000.0
    assert not is_calm(*hour)


def test_joined_steps_ask_for_the_same_energy_and_water():
    random = np.random.default_rng(4)
    ask = np.zeros(8 * STEPS_PER_HOUR, ASK)
    for name in ASK.names:
        ask[name] = random.random(len(ask))
    long = joined(ask, ROWS)
    for name in ("vital_w", "normal_w", "comfort_w"):
        assert long[name].sum() * ROWS == pytest.approx(ask[name].sum())
    for name in ("draw_l", "grey_l"):
        assert long[name].sum() == pytest.approx(ask[name].sum())


def test_rows_of_a_long_step_share_its_litres_and_run_straight():
    trace = np.zeros(4, FLOW)
    trace["soc"][0], trace["soc"][3] = 0.9, 0.6
    trace["drawn_l"][3], trace["solar_w"][3], trace["filled_l"][1] = 3.0, 50.0, 7.0
    spread(view(trace), 1, 3)
    assert trace["soc"] == pytest.approx([0.9, 0.8, 0.7, 0.6])
    assert trace["drawn_l"] == pytest.approx([0.0, 1.0, 1.0, 1.0])
    assert trace["solar_w"] == pytest.approx([0.0, 50.0, 50.0, 50.0])
    assert trace["filled_l"] == pytest.approx([0.0, 7.0, 0.0, 0.0])


@pytest.mark.parametrize(("path", "panel_w"), [(WINTER, 150), (WINTER, 300), (JUNE, 400)])
def test_calm_hours_leave_the_answer_where_it_was(path, panel_w):
    loaded = load_trip(path, [f"van.solar.0.panel_w={panel_w}"])
    ready = prepare(loaded.trip, providers(loaded), 30)
    jobs = np.array([(0, year) for year in range(len(ready.years))])
    args = (ready.van, ready.clock, ready.skies, ready.ask, jobs)
    long, short = run_many(*args), run_many(*args, calm_steps=STEPS_PER_HOUR)
    assert np.any(long["fridge_wh"] != short["fridge_wh"]), "some hours should be calm"
    for name in ("fridge_wh", "load_wh", "solar_wh"):
        assert long[name].mean() == pytest.approx(short[name].mean(), rel=0.005)
    assert long["blackout_hours"].mean() == pytest.approx(
        short["blackout_hours"].mean(), rel=0.03, abs=0.1
    )
    dark = (long["first_blackout_h"] >= 0) & (short["first_blackout_h"] >= 0)
    if dark.any():
        shift_h = np.abs(long["first_blackout_h"] - short["first_blackout_h"])[dark]
        assert np.median(shift_h) <= 0.25


def test_the_trace_says_what_the_totals_say():
    loaded = load_trip(WINTER)
    ready = prepare(loaded.trip, providers(loaded), 1)
    trace, totals = run_one(ready.van, ready.clock, ready.skies[0], ready.ask)
    for flow, total in (("fridge_w", "fridge_wh"), ("solar_w", "solar_wh"), ("load_w", "load_wh")):
        assert trace[flow].sum() / STEPS_PER_HOUR == pytest.approx(totals[0][total], rel=1e-9)
    for flow, total in (("drawn_l", "fresh_used_l"), ("filled_l", "filled_l")):
        assert trace[flow].sum() == pytest.approx(totals[0][total], rel=1e-9)
