"""Sentences of the verdict that a single event could get wrong."""

from dataclasses import replace
from pathlib import Path

from offgrid_sim.outcome.verdict import first_of, verdict
from offgrid_sim.plan.load import load_trip
from offgrid_sim.studies.run import simulate

THAWED = Path(__file__).parents[2] / "configs" / "trips" / "story_thawed_upright.toml"


def test_the_ice_left_is_that_of_the_worst_thaw_not_of_the_first():
    outcome = simulate(load_trip(THAWED, ["weather.years=1"]))
    thaw = first_of(outcome, "thaw")
    light = replace(thaw, depth=0.42)
    told = verdict(replace(outcome, events=(light, replace(thaw, depth=0.0)))).reasons
    assert any("0 % of the ice is left at the worst" in reason for reason in told)
    assert not any("42 %" in reason for reason in told)
