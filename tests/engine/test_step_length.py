"""Halving the production step must not change the answer (docs/engine-step.md has the tables).

Judged are means over many weather years: a single year that hovers at the disconnect voltage may go
dark a day earlier for a millivolt. Packaged station years and the embedded climate, no network.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_many, run_one
from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.weather.sources import providers

CONFIGS = Path(__file__).parents[2] / "configs"
JUNE = CONFIGS / "trips" / "greensboro_june.toml"
WINTER = CONFIGS / "trips" / "pyrenees_winter.toml"
SMALL = CONFIGS / "vans" / "small_agm.toml"
YEARS = 12
TRIPS = {
    "june upright": lambda: load_trip(JUNE),
    "hot van near its limit": lambda: load_trip(
        JUNE,
        ["weather.file='station:miami'", "van.cabin.roof_colour='dark'",
         "van.battery.capacity_ah=100", "van.solar.0.panel_w=270"],
        start="2025-07-01",
    ),
    "winter, dark for days": lambda: load_trip(WINTER, ["van.solar.0.panel_w=150"]),
    "small lead battery": lambda: load_trip(WINTER, van=SMALL, start="2025-06-10"),
}  # fmt: skip


@cache
def totals_of(trip, steps_per_hour):
    """TOTALS over the weather years at a step."""
    loaded = TRIPS[trip]()
    ready = prepare(loaded.trip, providers(loaded), YEARS, steps_per_hour)
    jobs = np.stack([np.zeros(len(ready.years), int), np.arange(len(ready.years))], axis=1)
    return run_many(ready.van, ready.clock, ready.skies, ready.ask, jobs, steps_per_hour)


@pytest.mark.parametrize("trip", TRIPS)
@pytest.mark.parametrize("name", ["fridge_wh", "load_wh", "solar_wh", "battery_loss_wh"])
def test_energy_of_the_mean_day_changes_by_less_than_1_per_cent(trip, name):
    now, halved = totals_of(trip, STEPS_PER_HOUR), totals_of(trip, 2 * STEPS_PER_HOUR)
    allowed = 0.01 * halved["load_wh"].mean() if name == "battery_loss_wh" else None
    if allowed is None:
        allowed = 0.01 * halved[name].mean()
    assert abs(now[name].mean() - halved[name].mean()) < allowed


@pytest.mark.parametrize("trip", ["winter, dark for days", "small lead battery"])
def test_blackout_changes_by_less_than_2_per_cent_and_starts_with_the_same_quarter(trip):
    now, halved = totals_of(trip, STEPS_PER_HOUR), totals_of(trip, 2 * STEPS_PER_HOUR)
    assert halved["blackout_hours"].mean() > 24, "the trip should go dark"
    assert now["blackout_hours"].mean() == pytest.approx(halved["blackout_hours"].mean(), rel=0.02)
    both_dark = (now["first_blackout_h"] >= 0) & (halved["first_blackout_h"] >= 0)
    shift_h = np.abs(now["first_blackout_h"] - halved["first_blackout_h"])[both_dark]
    assert np.median(shift_h) <= 0.25


def test_each_day_without_blackout_changes_by_less_than_1_per_cent():
    # Single days: a compressor cycle may fall to either side of midnight, about 2 Wh of 430.
    loaded = TRIPS["june upright"]()
    days = []
    for steps in (STEPS_PER_HOUR, 2 * STEPS_PER_HOUR):
        ready = prepare(loaded.trip, providers(loaded), 1, steps)
        trace, _ = run_one(ready.van, ready.clock, ready.skies[0], ready.ask, steps)
        days.append(trace["load_w"].reshape(-1, 24 * steps).mean(axis=1) * 24)
    np.testing.assert_allclose(days[0], days[1], rtol=0.01)
