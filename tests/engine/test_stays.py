"""The weather of a trip is a whole at every hour, however short or odd the drives."""

from __future__ import annotations

import datetime as dt

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from offgrid_sim.engine.sky import stays
from offgrid_sim.engine.timeline import timeline
from offgrid_sim.plan.route import Drive, Route, Stop
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Battery, Van

drives = st.builds(
    Drive,
    hours=st.sampled_from([0.0, 0.2, 0.5, 1.0, 1.6, 4.5, 11.0]),
    depart_hour=st.sampled_from([0.0, 9.5, 10.0, 17.25, 23.9]),
)
stops = st.builds(
    Stop,
    place=st.just("somewhere"),
    latitude_deg=st.floats(-50, 60),
    longitude_deg=st.floats(-170, 170),
    nights=st.integers(1, 4),
    drive=drives,
)


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(stops, min_size=1, max_size=5), st.dates(dt.date(2024, 1, 1), dt.date(2026, 12, 1)))
def test_weights_of_the_stays_add_up_to_one(route: list[Stop], start: dt.date) -> None:
    trip = Trip(van=Van(battery=Battery(capacity_ah=100)), route=Route(stops=route), start=start)
    line = timeline(trip)
    total = np.zeros(line.hours)
    for stay in stays(trip, line):
        assert (stay.weight >= 0).all()
        total[stay.first : stay.last] += stay.weight
    np.testing.assert_allclose(total, 1.0, atol=1e-12)
