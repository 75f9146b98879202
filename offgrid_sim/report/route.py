"""The route as a plain line, north up, with what each stop gives and costs."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from offgrid_sim.plan.route import Stop
from offgrid_sim.report.words import counted, duration, number, percent

WIDTH, LEAST_HEIGHT, MOST_HEIGHT, EDGE, NEAR = 400.0, 120.0, 420.0, 22.0, 30.0

WORST_LAST = ("fine", "low", "thaw", "blackout")
"""Order of drawing, so that trouble is never hidden."""


@dataclass(frozen=True)
class Dot:
    """A stop on the drawing; ``state`` as in the calendar."""

    x: float
    y: float
    state: str


@dataclass(frozen=True)
class Label:
    """The number of a stop, or of several that lie close together."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Drawing:
    """The route in drawing units, ``height`` high and WIDTH wide."""

    height: float
    path: str
    dots: tuple[Dot, ...]
    labels: tuple[Label, ...]


@dataclass(frozen=True)
class StopRow:
    """One stop in the table, with the weather and the charge of its hours in the shown year."""

    number: int
    place: str
    nights: str
    services: str
    sun: str
    air: str
    lowest: str
    dark: str
    state: str


def stop_rows(hourly: pd.DataFrame, stops: tuple[Stop, ...]) -> tuple[StopRow, ...]:
    """A row for each stop that was reached."""
    groups = dict(iter(hourly.groupby("stop")))
    return tuple(_row(k, stop, groups[k]) for k, stop in enumerate(stops) if k in groups)


def _row(k: int, stop: Stop, hours: pd.DataFrame) -> StopRow:
    dark, thaw = float(hours["blackout_share"].sum()), float(hours["thaw_share"].sum())
    lowest = float(hours["soc"].min())
    services = [name for given, name in ((stop.fresh_water, "water"), (stop.grey_dump, "grey"),
                                         (stop.shore_power, "shore")) if given]  # fmt: skip
    sun_kwh = float(hours["ghi_w_m2"].mean()) * 24 / 1000
    state = "blackout" if dark else "thaw" if thaw else "low" if lowest < 0.2 else "fine"
    return StopRow(
        number=k + 1,
        place=stop.place,
        nights=counted(stop.nights, "night"),
        services=", ".join(services) or "no services",
        sun=number(sun_kwh, 1),
        air=f"{number(hours['temp_air_c'].min())} to {number(hours['temp_air_c'].max())}",
        lowest=percent(lowest),
        dark=duration(dark) if dark else "\u2013",
        state=state,
    )


def drawing(stops: tuple[Stop, ...], states: tuple[str, ...]) -> Drawing | None:
    """The line through all stops; None when they all lie at one place.

    Equirectangular about the mean latitude: true enough for a picture of a journey.
    """
    middle = sum(stop.latitude_deg for stop in stops) / len(stops)
    squeeze = math.cos(math.radians(middle))
    east = _unwound([stop.longitude_deg for stop in stops])
    xs, ys = [e * squeeze for e in east], [-stop.latitude_deg for stop in stops]
    wide, tall = max(xs) - min(xs), max(ys) - min(ys)
    if max(wide, tall) < 0.02:
        return None
    scale = min((WIDTH - 2 * EDGE) / max(wide, 1e-9), (MOST_HEIGHT - 2 * EDGE) / max(tall, 1e-9))
    height = max(tall * scale + 2 * EDGE, LEAST_HEIGHT)
    points = [
        (
            round((x - min(xs) - wide / 2) * scale + WIDTH / 2, 1),
            round((y - min(ys) - tall / 2) * scale + height / 2, 1),
        )
        for x, y in zip(xs, ys, strict=True)
    ]
    path = "M" + "L".join(f"{x} {y}" for x, y in points)
    dots = [Dot(x, y, state) for (x, y), state in zip(points, states, strict=True)]
    dots.sort(key=lambda dot: WORST_LAST.index(dot.state))
    return Drawing(round(height, 1), path, tuple(dots), _labels(points))


def _unwound(longitudes: list[float]) -> list[float]:
    """Longitudes without the jump at 180 degrees."""
    found = longitudes[:1]
    for east in longitudes[1:]:
        found.append(east - 360 * round((east - found[-1]) / 360))
    return found


def _labels(points: list[tuple[float, float]]) -> tuple[Label, ...]:
    """Numbers beside the dots; stops too close for two numbers share one."""
    groups: list[tuple[float, float, list[int]]] = []
    for k, (x, y) in enumerate(points, start=1):
        near = next((g for g in groups if math.hypot(g[0] - x, g[1] - y) < NEAR), None)
        if near is None:
            groups.append((x, y, [k]))
        else:
            near[2].append(k)
    return tuple(Label(x, round(y - 8, 1), _range(numbers)) for x, y, numbers in groups)


def _range(numbers: list[int]) -> str:
    if numbers == list(range(numbers[0], numbers[-1] + 1)) and len(numbers) > 2:
        return f"{numbers[0]}\u2013{numbers[-1]}"
    return ", ".join(str(n) for n in numbers)
