"""Bands, days, flows, years, route and tables against the trace and the balances they tell."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.plan.route import Stop
from offgrid_sim.report.bands import band_spans, stop_spans
from offgrid_sim.report.days import calendar
from offgrid_sim.report.flow import energy_flow, water_flow
from offgrid_sim.report.route import drawing, stop_rows
from offgrid_sim.report.static_chart import static_chart
from offgrid_sim.report.tables import (
    assumption_groups,
    event_rows,
    key_facts,
    side_checks,
    source_rows,
    your_assumptions,
)
from offgrid_sim.report.words import duration, energy, in_a_row, number, percent
from offgrid_sim.report.years import weather_years


def test_numbers_in_words() -> None:
    assert number(12345.6) == "12\u202f346"
    assert number(-3.14, 1) == "\u22123.1"
    assert number(-0.04, 1) == "0.0"
    assert percent(0.125, 1) == "12.5\u202f%"
    assert duration(1 / 6) == "10\u00a0min"
    assert duration(13.66) == "13.7\u00a0h"
    assert duration(571.7) == "572\u00a0h"
    assert energy(23188) == "23.2\u00a0kWh"
    assert in_a_row(["a", "b", "c"]) == "a, b and c"
    assert in_a_row([]) == ""


def test_band_spans_hold_exactly_the_flagged_hours(december) -> None:
    hourly = december[1].hourly
    found = {b.band.name: b for b in band_spans(hourly)}
    flags = np.zeros(len(hourly), bool)
    for span in found["blackout"].spans:
        flags[span.first : span.last] = True
    assert (flags == (hourly["blackout_share"] > 0)).all()
    night = sum(s.last - s.first for s in found["night"].spans)
    assert night == (hourly["ghi_w_m2"] <= 0).sum()
    # Sand Point, 55.3 N: about 7 h of daylight at the solstice (almanac value, from memory)
    assert 15 <= night / 31 <= 18


def test_stays_cover_the_trip(winter) -> None:
    stays = stop_spans(winter[1].hourly)
    assert [k for k, _ in stays] == list(range(len(winter[0].trip.route.stops)))
    assert sum(s.last - s.first for _, s in stays) == len(winter[1].hourly)


def test_the_calendar_tells_the_same_dark_hours(december) -> None:
    loaded, outcome = december
    places = tuple(stop.place for stop in loaded.trip.route.stops)
    days = [day for month in calendar(outcome.hourly, places) for day in month.days]
    assert len(days) == loaded.trip.nights
    assert [d.number for d in days] == list(range(1, 32))
    dark = [d for d in days if d.state == "blackout"]
    by_date = outcome.hourly["blackout_share"].groupby(outcome.hourly.index.normalize()).sum()
    assert len(dark) == (by_date > 0).sum()
    assert min(d.lowest_pct for d in days) == round(outcome.hourly["soc"].min() * 100)


def test_flows_balance_and_are_drawn_to_one_scale(december, winter) -> None:
    for _, outcome in (december, winter):
        picture = energy_flow(outcome.energy, len(outcome.hourly))
        left, right = (
            sum(b.amount.value for b in side if not b.amount.missing)
            for side in (picture.left, picture.right)
        )
        assert left == pytest.approx(right, rel=1e-3)
        solar = next(b for b in picture.left if b.amount.title == "Solar")
        edge = [float(n) for n in re.findall(r"[\d.]+", solar.path)]
        assert edge[-1] - edge[1] == pytest.approx(solar.thick_px, abs=0.15)
        shares = [float(b.amount.text.split(", ")[1].rstrip("\u202f%")) for b in picture.right
                  if not b.amount.missing]  # fmt: skip
        assert sum(shares) == pytest.approx(100, abs=3)


def test_branches_do_not_run_over_each_other(december) -> None:
    water = water_flow(december[1].water, len(december[1].hourly))
    for side in (water.left, water.right):
        tops = [branch.top_px for branch in side]
        assert all(b - a >= 40 for a, b in itertools.pairwise(tops))
        assert 0 <= min(tops) <= max(tops) <= water.height_px


def test_every_assumption_once_and_yours_first(june) -> None:
    loaded, _ = june
    groups = assumption_groups(loaded.origins)
    rows = [row for group in groups for table in group.tables for row in table.rows]
    assert sorted(row.full_key for row in rows) == sorted(loaded.origins)
    assert [row.full_key for row in your_assumptions(loaded.origins)] == ["van.battery.capacity_ah"]
    battery = next(g for g in groups if g.title == "Battery")
    kinds = [row.kind for row in battery.tables[0].rows]
    assert kinds[0] == "yours"
    assert kinds == sorted(kinds, key=("yours", "file", "assumed").index)
    assert next(r for r in rows if r.full_key == "van.battery.capacity_ah").value == "300"


def test_event_rows_point_at_their_hours(december) -> None:
    _, outcome = december
    for event, row in zip(outcome.events, event_rows(outcome.events), strict=True):
        hours = outcome.hourly.iloc[int(row.first_hour) : int(np.ceil(row.last_hour))]
        assert hours.index[0] <= event.start < hours.index[0] + pd.Timedelta(hours=1)
        assert row.to_the_end == event.ends_with_trip


def test_key_facts_flag_what_is_bad(june, december) -> None:
    assert not any(fact.bad for fact in key_facts(june[1]))
    beside = {fact.title: fact for fact in side_checks(december[1])}
    for clock in december[1].food:
        assert beside[f"Food clock: {clock.rule.name}"].bad == (clock.state != "fine")
    assert "Battery capacity lost on this trip" in beside
    bad = {fact.title for fact in key_facts(december[1]) if fact.bad}
    assert {"Dark", "Lowest charge", "Freezer thawing"} <= bad


def test_one_source_is_told_once(winter) -> None:
    loaded, outcome = winter
    (row,) = source_rows(outcome.ready.sources, loaded.trip.route.stops)
    assert row.licence
    assert row.places.startswith("17 stops")


def test_weather_years(winter, june) -> None:
    years = weather_years(winter[1])
    assert years.count == len(years.rows) == 6
    assert years.rows[0].shown
    dark = next(c for c in years.chances if c.band == "blackout")
    assert dark.low_pct <= dark.share_pct <= dark.high_pct
    assert weather_years(june[1]).count == 1


def test_static_chart_draws_the_charge(december) -> None:
    hourly = december[1].hourly
    chart = static_chart(hourly, band_spans(hourly), "finding")
    points = np.array([p.split(",") for p in chart.panels[0].path[1:].split("L")], float)
    assert points[:, 1] == pytest.approx(100 - 100 * hourly["soc"].to_numpy(), abs=0.051)
    assert points[-1, 0] == 1000
    assert all(0 <= tick.at_pct <= 88 for tick in chart.days)
    assert not any(panel.spread for panel in chart.panels)


def test_static_chart_draws_the_band_over_years(winter) -> None:
    _, outcome = winter
    hourly, spread = outcome.hourly, outcome.spread
    chart = static_chart(hourly, band_spans(hourly), "finding", spread)
    edge = [p.split(",") for p in chart.panels[0].spread[1:-1].split("L")]
    points = np.array(edge, float)
    half = len(points) // 2
    assert half <= 722
    assert points[:half, 1].min() == pytest.approx(100 - 100 * spread.high["soc"].max(), abs=0.051)
    assert points[half:, 1].max() == pytest.approx(100 - 100 * spread.low["soc"].min(), abs=0.051)
    assert len(chart.panels[0].spread) < 15_000


def _stop(latitude_deg: float, longitude_deg: float) -> Stop:
    return Stop(place="x", latitude_deg=latitude_deg, longitude_deg=longitude_deg, nights=1)


def test_the_route_is_drawn_north_up_and_across_the_date_line() -> None:
    found = drawing((_stop(0, 179), _stop(1, -179)), ("fine", "blackout"))
    assert found is not None
    by_state = {dot.state: dot for dot in found.dots}
    assert by_state["blackout"].y < by_state["fine"].y
    assert by_state["blackout"].x > by_state["fine"].x
    assert drawing((_stop(42, 1), _stop(42, 1)), ("fine", "fine")) is None


def test_stop_rows_share_out_the_dark_hours(winter) -> None:
    loaded, outcome = winter
    rows = stop_rows(outcome.hourly, loaded.trip.route.stops)
    dark = outcome.hourly.groupby("stop")["blackout_share"].sum() > 0
    assert [row.state == "blackout" for row in rows] == dark.tolist()
