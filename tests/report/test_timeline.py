"""The figure holds the trace as it is; what the page carries is the same numbers, smaller."""

from __future__ import annotations

import base64
import itertools
import json
from typing import Any

import numpy as np
import pandas as pd

from offgrid_sim.report.bands import HOUR, band_spans
from offgrid_sim.report.panels import panels
from offgrid_sim.report.timeline import (
    Lane,
    Timeline,
    plain,
    slim_figure,
    timeline,
    trace_island,
)
from offgrid_sim.report.year_figures import figures_island, year_figures


def _timeline(hourly: pd.DataFrame) -> Timeline:
    bands = band_spans(hourly)
    lanes = tuple(Lane(b.band.title, b.band.ink, b.band.hatch, b.spans) for b in bands)
    return timeline(hourly, panels(hourly, has_fridge=True), bands, lanes)


def _island(hourly: pd.DataFrame) -> dict[str, Any]:
    return trace_island({"worst": hourly}, hourly[[]])


def _unpacked(held: str | float | None, hours: int) -> np.ndarray:
    if isinstance(held, str):
        return np.frombuffer(base64.b64decode(held), "<f4")
    return np.full(hours, np.nan if held is None else held)


def test_curves_are_the_trace(december) -> None:
    hourly = december[1].hourly
    figure = _timeline(hourly).figure
    curves = {t.meta["column"]: t for t in figure.data if t.meta}
    assert {"soc", "fridge_v", "solar_w", "load_w", "fridge_w", "temp_fridge_c",
            "temp_freezer_c", "ice_share", "fresh_l", "grey_l", "temp_air_c",
            "temp_cabin_c"} <= set(curves)  # fmt: skip
    for column, curve in curves.items():
        np.testing.assert_allclose(curve.y, hourly[column] * curve.meta["scale"])
    assert pd.Timestamp(curves["soc"].x[0]) == hourly.index[0] + HOUR  # a state at the hour's end
    assert pd.Timestamp(curves["solar_w"].x[0]) == hourly.index[0]  # a mean over the hour
    assert curves["solar_w"].line.shape == "hv"


def test_all_panels_share_one_axis_and_do_not_trap_touch(december) -> None:
    figure = _timeline(december[1].hourly).figure
    layout = figure.layout
    assert layout.dragmode is False
    assert {t.xaxis for t in figure.data} <= {None, "x", "x2"}
    assert layout.xaxis2.matches == "x"
    axes = [layout[name] for name in layout if name.startswith("yaxis") and name != "yaxis"]
    assert all(axis.fixedrange for axis in axes)
    domains = sorted(tuple(axis.domain) for axis in axes if not axis.overlaying)
    assert all(low[1] < high[0] for low, high in itertools.pairwise(domains))


def test_each_band_is_one_path(december) -> None:
    hourly = december[1].hourly
    shapes = {s.name: s for s in _timeline(hourly).figure.layout.shapes if s.name}
    nights = next(b for b in band_spans(hourly) if b.band.name == "night")
    assert shapes["night"].path.count("M") == len(nights.spans)
    assert {"night", "blackout", "thaw"} <= set(shapes)


def test_values_lie_within_their_scales(june, december, winter) -> None:
    for _, outcome in (june, december, winter):
        for panel in panels(outcome.hourly, has_fridge=True):
            for curve in panel.curves:
                scale = panel.right if curve.right else panel.left
                values = curve.values(outcome.hourly)
                assert scale.low - 1e-9 <= np.nanmin(values), curve.title
                assert np.nanmax(values) <= scale.high + 1e-9, curve.title


def test_a_van_without_fridge_has_no_food_panel(december) -> None:
    hourly = december[1].hourly.copy()
    hourly[["temp_fridge_c", "temp_freezer_c", "ice_share", "fridge_v"]] = np.nan
    names = [panel.name for panel in panels(hourly, has_fridge=False)]
    assert names == ["battery", "power", "tanks", "air"]


def test_the_page_carries_the_same_numbers(december) -> None:
    hourly = december[1].hourly
    slim = slim_figure(_timeline(hourly).figure)
    assert all("y" not in t for t in slim["data"] if "meta" in t)
    island = json.loads(json.dumps(_island(hourly)))
    assert island["names"] == [name for name in hourly if name != "utc"]
    for name in island["names"]:
        held = {**island["shared"], **island["years"]["worst"]}[name]
        np.testing.assert_allclose(_unpacked(held, len(hourly)), hourly[name], rtol=1e-6)
    minutes = np.frombuffer(base64.b64decode(island["minutes"]), "<i4")
    start = pd.Timestamp(island["local_start"])
    assert (start + pd.to_timedelta(minutes, "min") == hourly.index).all()


def test_the_local_clock_may_jump(winter) -> None:
    """Spain to Portugal: the clock goes back an hour on the way, and the axis goes with it."""
    hourly = winter[1].hourly
    steps = np.diff(hourly.index.to_numpy()) / np.timedelta64(1, "h")
    assert (steps != 1).sum() == 1
    island = _island(hourly)
    minutes = np.frombuffer(base64.b64decode(island["minutes"]), "<i4")
    assert sorted(set(np.diff(minutes))) == sorted({60, int(steps[steps != 1][0] * 60)})


def test_all_years_have_the_same_scales_and_rows(winter) -> None:
    found = year_figures(winter[1])
    assert [one.name for one in found.years] == ["worst", "median", "best"]
    layouts = [one.figure.figure.layout for one in found.years]
    for name in layouts[0]:
        if name.startswith("yaxis"):
            assert len({str(one[name]) for one in layouts}) == 1
    assert len({one.figure.height_px for one in found.years}) == 1
    assert len({str(one.figure.lane_tops_px) for one in found.years}) == 1
    assert len({one.told for one in found.years}) == 3
    trace = figures_island(found, winter[1])["trace"]
    assert "stop" in trace["shared"]
    assert "soc" not in trace["shared"]
    for one in winter[1].traced:
        held = trace["years"][one.name]["soc"]
        np.testing.assert_allclose(_unpacked(held, 0), one.hourly["soc"], rtol=1e-6)


def test_the_band_over_years_lies_under_its_curve(winter) -> None:
    figures = year_figures(winter[1])
    curves = [t for t in figures.first.figure.figure.data if t.meta]
    names = [t.meta["column"] for t in curves]
    for column in ("soc", "temp_fridge_c", "temp_freezer_c"):
        low, high, curve = (names.index(f"{column}{end}") for end in ("_p10", "_p90", ""))
        assert low + 1 == high < curve
        assert curves[high].fill == "tonexty"
        assert (np.asarray(curves[low].y) <= np.asarray(curves[high].y)).all()
    assert "8 in 10 of 6 weather years" in figures.spread_note


def test_names_are_plain_text_for_plotly() -> None:
    assert plain("<b>&") == "&lt;b&gt;&amp;"
