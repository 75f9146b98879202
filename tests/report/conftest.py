"""Trips that the report tests share: one that holds, one that fails, one of ninety days, and one
whose every name tries to break out of the page."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.report.run_page import run_page
from offgrid_sim.studies.run import simulate

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
NASTY = "</script><img src=x onerror=alert(1)>"
NASTY_PLACE = "<b>Bold</b> & 'Co' \u2028 {{ 7*7 }}"

Ran = tuple[LoadedTrip, RunOutcome]


def ran(name: str, *sets: str) -> Ran:
    """A trip of the configs and its outcome."""
    loaded = load_trip(TRIPS / f"{name}.toml", sets)
    return loaded, simulate(loaded)


@pytest.fixture(scope="session")
def june() -> Ran:
    return ran("greensboro_june", "van.battery.capacity_ah=300")


@pytest.fixture(scope="session")
def december() -> Ran:
    return ran("sandpoint_december")


@pytest.fixture(scope="session")
def winter() -> Ran:
    return ran("pyrenees_winter", "weather.years=6")


@pytest.fixture(scope="session")
def nasty() -> Ran:
    loaded, outcome = ran("sandpoint_december")
    stop = loaded.trip.route.stops[0].model_copy(update={"place": NASTY_PLACE})
    trip = loaded.trip.model_copy(
        update={
            "name": NASTY,
            "van": loaded.trip.van.model_copy(update={"name": NASTY}),
            "route": loaded.trip.route.model_copy(update={"stops": (stop,)}),
        }
    )
    events = tuple(replace(event, place=NASTY_PLACE) for event in outcome.events)
    document = {**loaded.document, **trip.model_dump(mode="json")}
    return (
        replace(loaded, trip=trip, document=document),
        replace(outcome, ready=replace(outcome.ready, trip=trip), events=events),
    )


@pytest.fixture(scope="session")
def winter_text(winter: Ran) -> str:
    return run_page(*winter)


@pytest.fixture(scope="session")
def december_text(december: Ran) -> str:
    return run_page(*december)


@pytest.fixture(scope="session")
def nasty_text(nasty: Ran) -> str:
    return run_page(*nasty)
