"""One trip, from its loaded plan to its outcome."""

from __future__ import annotations

from offgrid_sim.engine.prepare import prepare
from offgrid_sim.outcome.run import RunOutcome, Shown, run_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.weather.sources import providers


def simulate(loaded: LoadedTrip, shown: Shown = "worst") -> RunOutcome:
    """Run a trip over its weather years; weather errors pass through as OffgridError."""
    ready = prepare(loaded.trip, providers(loaded), loaded.trip.weather.years)
    return run_trip(ready, shown)
