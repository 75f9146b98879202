"""The band over weather years against all years run one by one, with numpy's quantiles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.prepare import prepare
from offgrid_sim.outcome import spread as spread_module
from offgrid_sim.outcome.run import run_trip
from offgrid_sim.outcome.spread import spread
from offgrid_sim.outcome.trace import hourly_trace
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.weather.sources import providers

YEARS = 7


def ready_for(years=YEARS, **van):
    document = {
        "van": {"battery": {"capacity_ah": 60}, "solar": [{"panel_w": 100}], "fridge": {}, **van},
        "route": {"stops": [
            {"place": "A", "latitude_deg": 42.7, "longitude_deg": -0.5, "nights": 5},
        ]},
        "season": "winter",
        "weather": {"years": years},
    }  # fmt: skip
    trip = load_trip_document(document)
    return prepare(trip.trip, providers(trip), years)


def every_year(ready, column):
    rows = []
    for k in range(len(ready.years)):
        trace, _ = run_one(ready.van, ready.clock, ready.skies[k], ready.ask, ready.steps_per_hour)
        rows.append(hourly_trace(ready, trace, k)[column].to_numpy())
    return np.array(rows)


def test_edges_are_the_quantiles_of_all_years():
    ready = ready_for()
    found = spread(ready)
    assert (found.years, found.of_years) == (YEARS, YEARS)
    assert set(found.low) == {"soc", "temp_fridge_c", "temp_freezer_c"}
    for column in found.low:
        all_years = every_year(ready, column)
        low, high = np.percentile(all_years, [10, 90], axis=0)
        np.testing.assert_allclose(found.low[column], low, atol=1e-5)
        np.testing.assert_allclose(found.high[column], high, atol=1e-5)


def test_of_many_years_some_are_taken_and_said(monkeypatch):
    monkeypatch.setattr(spread_module, "MOST_YEARS", 4)
    ready = ready_for()
    found = spread(ready)
    assert (found.years, found.of_years) == (4, YEARS)
    low = np.percentile(every_year(ready, "soc")[[0, 2, 4, 6]], 10, axis=0)
    np.testing.assert_allclose(found.low["soc"], low, atol=1e-5)


def test_no_band_of_two_years_and_none_for_what_is_not_there():
    assert spread(ready_for(years=2)) is None
    assert set(spread(ready_for(fridge="none")).low) == {"soc"}


@pytest.mark.parametrize("shown", ["worst", "median", "best"])
def test_worst_median_and_best_are_traced(shown):
    outcome = run_trip(ready_for(), shown)
    assert [one.name for one in outcome.traced] == ["worst", "median", "best"]
    own = next(one for one in outcome.traced if one.name == shown)
    assert own.index == outcome.shown_index
    assert own.hourly is outcome.hourly
    dark_h = [outcome.totals["blackout_hours"][one.index] for one in outcome.traced]
    assert dark_h[0] == outcome.totals["blackout_hours"].max() > 0
    assert dark_h == sorted(dark_h, reverse=True)
    for one in outcome.traced:
        assert one.hourly["soc"].min() == pytest.approx(
            outcome.totals["min_soc"][one.index], abs=0.02
        )
        dark = sum(event.duration_h for event in one.events if event.kind == "blackout")
        assert dark == pytest.approx(outcome.totals["blackout_hours"][one.index])


def test_one_year_is_traced_alone():
    ready = ready_for()
    few = replace(ready, years=ready.years[:2], skies=ready.skies[:2], ghi_w_m2=ready.ghi_w_m2[:2])
    assert [one.name for one in run_trip(few, "best").traced] == ["best"]
