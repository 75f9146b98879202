"""What cables do in a run: thin ones cost energy, charge and volts, none cost nothing."""

from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.weather.sources import providers

JUNE = Path(__file__).parents[2] / "configs" / "trips" / "greensboro_june.toml"
CIRCUITS = (
    "solar.0", "controller", "battery", "alternator", "shore", "fridge", "cabin", "water",
    "loads.0", "loads.1", "inverter",
)  # fmt: skip
SHORT = tuple(f"van.{circuit}.cable_length_m=0" for circuit in CIRCUITS)


def run(*sets):
    loaded = load_trip(JUNE, ["van.battery.initial_soc=0.3", *SHORT, *sets])
    ready = prepare(loaded.trip, providers(loaded), 1)
    trace, totals = run_one(ready.van, ready.clock, ready.skies[0], ready.ask)
    return ready.van[0], trace, totals[0]


def thin(circuit):
    return f"van.{circuit}.cable_length_m=10", f"van.{circuit}.cable_mm2=1.5"


def test_no_cables_lose_nothing_but_what_other_loads_have():
    van, trace, _ = run()
    assert van["main_ohm"] == van["cable_ohm"] == van["controller_ohm"] == 0.0
    np.testing.assert_allclose(trace["fridge_volts"], trace["bus_volts"], atol=1e-12)


@pytest.mark.parametrize("circuit", ["solar.0", "controller"])
def test_a_thin_cable_of_the_sun_brings_less_of_it(circuit):
    most_wh = [
        total["solar_wh"] + total["curtailed_wh"] for *_, total in (run(), run(*thin(circuit)))
    ]
    assert most_wh[1] < 0.97 * most_wh[0]


def test_a_thin_main_cable_costs_energy_and_volts_at_the_fuse_box():
    _, trace, totals = run(*thin("battery"))
    _, without, ideal = run()
    assert totals["cable_loss_wh"] > ideal["cable_loss_wh"] + 50.0
    assert trace["bus_volts"].min() < without["bus_volts"].min() - 0.5
    assert totals["min_soc"] <= ideal["min_soc"] + 1e-3
