"""The timeline: one plotly figure, every panel on one axis of local wall clock.

The figure is complete as built. For the page it is slimmed: curves name the column they draw and
the page's script fills them from one compact copy of the trace, which also feeds the download.
Bands are one path each, so that ninety nights cost as much as one.
"""

from __future__ import annotations

import base64
import html
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from offgrid_sim.report.bands import HOUR, BandSpans, Span
from offgrid_sim.report.look import INKS
from offgrid_sim.report.panels import Curve, Panel, Scale

PANEL_PX, KEY_PX, LANE_PX, TOP_PX, BOTTOM_PX = 130, 44, 38, 26, 40
BAR_SHARE = 0.5
"""Part of a lane that its bars fill; its name stands above them."""
LEFT_PX, RIGHT_PX = 40, 36
LINE_PX = 1.6
DAY_MS = 86_400_000
SPREAD_ALPHA = 0.2
PATH_DATE = re.compile(r"\d{4}-\d\d-\d\d_\d\d:\d\d")


@dataclass(frozen=True)
class Lane:
    """A row of bars above the panels; the page's script writes ``texts`` into those with room."""

    title: str
    ink: str
    hatch: str
    spans: tuple[Span, ...]
    texts: tuple[str, ...] = ()


@dataclass(frozen=True)
class Placed:
    """A panel and where it stands: pixels from the top of the figure to its key."""

    panel: Panel
    key_top_px: int


@dataclass(frozen=True)
class Timeline:
    """The figure with what the page puts around it."""

    figure: go.Figure
    height_px: int
    placed: tuple[Placed, ...]
    lane_tops_px: tuple[tuple[str, int], ...]


def timeline(
    hourly: pd.DataFrame,
    panels: tuple[Panel, ...],
    bands: tuple[BandSpans, ...],
    lanes: tuple[Lane, ...],
) -> Timeline:
    """Build the figure from the trace (index: local wall clock, hourly), top to bottom."""
    lanes_px = LANE_PX * len(lanes)
    height = TOP_PX + lanes_px + len(panels) * (KEY_PX + PANEL_PX) + BOTTOM_PX
    body = height - TOP_PX - BOTTOM_PX
    layout = _layout(height, hourly.index) | {"yaxis": _lane_axis(lanes, 1 - lanes_px / body)}
    traces: list[Any] = [_lane_bars(lane, row) for row, lane in enumerate(lanes)]
    marks, placed = [], []
    for k, panel in enumerate(panels):
        top = lanes_px + k * (KEY_PX + PANEL_PX) + KEY_PX
        domain = (1 - (top + PANEL_PX) / body, 1 - top / body)
        axis = 2 * k + 2
        layout |= _value_axes(panel, axis, (max(domain[0], 0.0), domain[1]))
        traces += [_curve(hourly, c, f"y{axis + 1 if c.right else axis}") for c in panel.curves]
        marks += _mark(panel, axis)
        placed.append(Placed(panel, TOP_PX + top - KEY_PX))
    figure = go.Figure(traces, {**layout, "shapes": [*_tints(bands), *marks]})
    tops = tuple((lane.title, TOP_PX + row * LANE_PX) for row, lane in enumerate(lanes))
    return Timeline(figure, height, tuple(placed), tops)


def _layout(height: int, times: pd.Index) -> dict[str, Any]:
    ticks = [
        {"dtickrange": [None, 80_000_000], "value": "%H:%M<br>%-d %b"},
        {"dtickrange": [80_000_000, None], "value": "%-d %b"},
    ]
    shared = {
        "type": "date",
        "range": [_date(times[0]), _date(times[-1] + HOUR)],
        "tickformatstops": ticks,
        "tick0": f"{times[0]:%Y-%m-%d}",
        "dtick": DAY_MS * max(len(times) // (24 * 6), 1),
        "anchor": "free",
        "fixedrange": True,
        "zeroline": False,
        "automargin": False,
        "tickfont": {"size": 11},
        "ticklabeloverflow": "allow",
    }
    return {
        "height": height,
        "margin": {"l": LEFT_PX, "r": RIGHT_PX, "t": TOP_PX, "b": BOTTOM_PX, "pad": 0},
        "template": "none",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 11, "color": INKS["soft"].light},
        "showlegend": False,
        "dragmode": False,
        "hovermode": False,
        "barmode": "overlay",
        "xaxis": {**shared, "gridcolor": INKS["rule"].light, "side": "bottom",
                  "position": 0},
        "xaxis2": {**shared, "matches": "x", "overlaying": "x", "side": "top", "showgrid": False,
                   "position": 1},
    }  # fmt: skip


def _lane_axis(lanes: tuple[Lane, ...], low: float) -> dict[str, Any]:
    return {
        "domain": [min(max(low, 0.0), 1.0), 1.0],
        "type": "linear",
        "range": [max(len(lanes), 1), 0],
        "visible": False,
        "fixedrange": True,
    }


def _lane_bars(lane: Lane, row: int) -> go.Bar:
    ink = INKS[lane.ink].light
    hatched = bool(lane.hatch)
    pattern = {"shape": lane.hatch, "bgcolor": ink, "fgcolor": INKS["card"].light, "size": 5,
               "solidity": 0.28}  # fmt: skip
    return go.Bar(
        orientation="h",
        base=[_date(span.start) for span in lane.spans],
        x=[(span.end - span.start) / pd.Timedelta(milliseconds=1) for span in lane.spans],
        y=[row + 1 - BAR_SHARE / 2] * len(lane.spans),
        width=BAR_SHARE,
        marker={"color": ink, "line": {"width": 0}, **({"pattern": pattern} if hatched else {})},
        text=list(lane.texts) or None,
        textposition="none",
        hoverinfo="skip",
        name=plain(lane.title),
        xaxis="x2",
        yaxis="y",
    )


def _value_axes(panel: Panel, axis: int, domain: tuple[float, float]) -> dict[str, Any]:
    """The panel's value axes: ``axis`` on the left, the next number on the right."""
    axes = {f"yaxis{axis}": _value_axis(panel.left, domain)}
    if panel.right is not None:
        right = {"overlaying": f"y{axis}", "side": "right", "showgrid": False}
        axes[f"yaxis{axis + 1}"] = _value_axis(panel.right, domain) | right
    return axes


def _mark(panel: Panel, axis: int) -> list[dict[str, Any]]:
    """The line to mind, across the panel."""
    if panel.mark is None:
        return []
    line = {"color": INKS["edge"].light, "width": 1, "dash": "dash"}
    return [{
        "type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": f"y{axis}", "y0": panel.mark,
        "y1": panel.mark, "line": line, "layer": "below",
    }]  # fmt: skip


def _value_axis(scale: Scale, domain: tuple[float, float]) -> dict[str, Any]:
    return {
        "domain": list(domain),
        "type": "linear",
        "range": [scale.low, scale.high],
        "fixedrange": True,
        "zeroline": False,
        "tickmode": "auto",
        "nticks": 5,
        "gridcolor": INKS["rule"].light,
        "tickfont": {"size": 11},
        "ticklabeloverflow": "allow",
        "anchor": "x",
    }


def _curve(hourly: pd.DataFrame, curve: Curve, yaxis: str) -> go.Scatter:
    step = curve.at == "hour"
    return go.Scatter(
        x=(hourly.index if step else hourly.index + HOUR).to_numpy("datetime64[ms]"),
        y=curve.values(hourly),
        mode="lines",
        hoverinfo="none",
        name=curve.title,
        meta={"column": curve.column, "scale": curve.scale, "at": curve.at},
        yaxis=yaxis,
        **_drawn(curve, yaxis),
    )


def _drawn(curve: Curve, yaxis: str) -> dict[str, Any]:
    """Line and filling: what is stacked solid has no outline, which would hide thin layers."""
    ink, step = INKS[curve.ink].light, curve.at == "hour"
    if curve.drawn in ("edge", "between"):
        below = {"fill": "tonexty", "fillcolor": see_through(ink, SPREAD_ALPHA)}
        return {"line": {"width": 0}, **(below if curve.drawn == "between" else {})}
    line = {"color": ink, "dash": curve.dash, "shape": "hv" if step else "linear"}
    if curve.drawn == "line":
        return {"line": {**line, "width": LINE_PX}}
    if curve.drawn == "area":
        filling = see_through(ink, 0.35 if step else 0.13)
        return {"line": {**line, "width": 1}, "fill": "tozeroy", "fillcolor": filling}
    solid = curve.dash == "solid"
    filling = see_through(ink, 0.85 if solid else 0.2)
    return {"line": {**line, "width": 0 if solid else 1}, "stackgroup": yaxis, "fillcolor": filling}


def _tints(bands: tuple[BandSpans, ...]) -> list[dict[str, Any]]:
    """One background shape for each tinted band, over the height of the whole figure."""
    return [
        {
            "type": "path",
            "xref": "x",
            "yref": "paper",
            "path": " ".join(
                f"M{_path_date(s.start)},0V1H{_path_date(s.end)}V0Z" for s in found.spans
            ),
            "fillcolor": see_through(INKS[found.band.ink].light, found.band.tint),
            "line": {"width": 0},
            "layer": "below",
            "name": found.band.name,
        }
        for found in bands
        if found.band.tint > 0
    ]


def see_through(colour: str, alpha: float) -> str:
    """``#rrggbb`` with an alpha, still as hex, so that a script can swap the colour."""
    return f"{colour}{round(alpha * 255):02x}"


def plain(text: str) -> str:
    """``text`` for plotly, which renders a subset of HTML: shown as it is, whatever it holds."""
    return html.escape(text, quote=False)


def _date(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"


def _path_date(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d_%H:%M}"


def slim_figure(figure: go.Figure) -> dict[str, Any]:
    """The figure as plain JSON in which curves name their column instead of holding it.

    Moments become milliseconds since 1970 on plain axes whose ticks the page's script sets:
    plotly takes long over dates.
    """
    slim: dict[str, Any] = json.loads(figure.to_json())
    for trace in slim["data"]:
        if "meta" in trace:
            del trace["x"], trace["y"]
        else:
            trace["base"] = [_milliseconds(moment) for moment in trace["base"]]
    for axis in (slim["layout"]["xaxis"], slim["layout"]["xaxis2"]):
        for dated in ("tickformatstops", "tick0", "dtick"):
            del axis[dated]
        axis |= {"type": "linear", "tickmode": "array",
                 "range": [_milliseconds(moment) for moment in axis["range"]]}  # fmt: skip
    for shape in slim["layout"]["shapes"]:
        if shape["type"] == "path":
            shape["path"] = PATH_DATE.sub(lambda m: str(_milliseconds(m[0])), shape["path"])
    return slim


def _milliseconds(moment: str) -> int:
    return int(np.datetime64(moment.replace("_", "T").replace(" ", "T"), "ms").astype("int64"))


def trace_island(years: Mapping[str, pd.DataFrame], added: pd.DataFrame) -> dict[str, Any]:
    """The hourly traces of some weather years, compact.

    Whole minutes since the first local hour, then float32 columns, shape (H,), as base64 of
    little-endian numbers; a column that never changes is that one number, null for NaN. Columns
    alike in all years stand in ``shared``, as do those of ``added``, which are no part of a trace.
    """
    first = next(iter(years.values()))
    start = first.index[0]
    minutes = (first.index - start) // pd.Timedelta(minutes=1)
    names = [name for name in first if name != "utc"]
    packed = {year: {name: _column(hourly[name]) for name in names}
              for year, hourly in years.items()}  # fmt: skip
    alike = [name for name in names if len({str(one[name]) for one in packed.values()}) == 1]
    shared = {name: next(iter(packed.values()))[name] for name in alike}
    shared |= {name: _column(added[name]) for name in added}
    return {
        "local_start": f"{start:%Y-%m-%dT%H:%M}",
        "utc_start": f"{first['utc'].iloc[0]:%Y-%m-%dT%H:%M}",
        "minutes": _packed(minutes.to_numpy("<i4")),
        "names": names,
        "shared": shared,
        "years": {
            year: {name: value for name, value in one.items() if name not in shared}
            for year, one in packed.items()
        },
    }


def _column(values: pd.Series) -> str | float | None:
    numbers = values.to_numpy("<f4")
    if np.isnan(numbers).all():
        return None
    return float(numbers[0]) if (numbers == numbers[0]).all() else _packed(numbers)


def _packed(values: np.ndarray) -> str:
    return base64.b64encode(values.tobytes()).decode("ascii")
