"""One trip, from its loaded plan to its outcome."""

from __future__ import annotations

from offgrid_sim.engine.prepare import prepare
from offgrid_sim.outcome.run import RunOutcome, Shown, run_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.variants import AS_PLANNED, YEARS_AT_ONCE, Bench
from offgrid_sim.weather.sources import providers


def simulate(loaded: LoadedTrip, shown: Shown = "worst", bench: Bench | None = None) -> RunOutcome:
    """Run a trip over its weather years; weather errors pass through as OffgridError.

    A ``bench`` of the same trip keeps weather and sun for the studies that follow.
    """
    if bench is not None and len(bench.years) <= YEARS_AT_ONCE:
        ready = bench.prepared(AS_PLANNED, 0, len(bench.years))
    else:
        ready = prepare(loaded.trip, providers(loaded), loaded.trip.weather.years)
    return run_trip(ready, shown)
