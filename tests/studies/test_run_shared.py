"""What a run, its causes and its cures share must be what each would make alone."""

from pathlib import Path

import numpy as np
import pytest

from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies import run
from offgrid_sim.studies.causes_influences import influences, together
from offgrid_sim.studies.changes import laid
from offgrid_sim.studies.cures import cure_variant, usual_cures
from offgrid_sim.studies.run import simulate
from offgrid_sim.studies.variants import Bench, Variant
from offgrid_sim.weather.sources import providers

TRIP = Path(__file__).parents[2] / "configs" / "trips" / "story_dark_cable.toml"


@pytest.fixture(scope="module")
def loaded():
    return load_trip(TRIP, ["weather.source=climate", "weather.years=3"])


def test_a_run_on_a_bench_is_the_run_without(loaded):
    alone, shared = simulate(loaded), simulate(loaded, bench=Bench(loaded))
    for name in alone.totals.dtype.names:
        np.testing.assert_array_equal(shared.totals[name], alone.totals[name])
    assert shared.hourly.equals(alone.hourly)
    assert shared.ready.years == alone.ready.years
    assert shared.ready.sources == alone.ready.sources


def test_more_years_than_a_bench_holds_are_run_all_the_same(loaded, monkeypatch):
    monkeypatch.setattr(run, "YEARS_AT_ONCE", 2)
    assert len(simulate(loaded, bench=Bench(loaded)).totals) == 3


def test_skies_of_a_bench_are_those_of_a_fresh_preparation(loaded):
    bench = Bench(loaded)
    for sets in ({}, {"van.solar.0.tilt_deg": 30.0}, {"route.stops.0.beam_share": 0.3}, {}):
        variant = laid(Variant("one", sets), loaded)
        own = bench.loaded(variant)
        fresh = prepare(own.trip, providers(own), 3)
        ready = bench.prepared(variant, 0, 3)
        for name in fresh.skies.dtype.names:
            np.testing.assert_array_equal(ready.skies[name], fresh.skies[name])


def test_a_change_laid_over_the_plan_is_the_change_loaded(loaded):
    bench = Bench(loaded)
    singles = [one.without for one in influences(loaded.trip)]
    variants = [cure_variant(cure, loaded) for cure in usual_cures()]
    variants += [*singles, together(singles[0], singles[-1])]
    variants += [
        Variant("no fridge", {"van.fridge": "none"}),
        Variant("a number as text", {"van.battery.capacity_ah": "230"}),
        Variant("text that reads as a number", {"route.stops.0.place": "12"}),
    ]
    kept = [variant for variant in variants if variant is not None]
    assert len(kept) > 15
    for variant in kept:
        assert bench.loaded(laid(variant, loaded)).trip == bench.loaded(variant).trip
