"""Each hour of the trip in words, for whoever points at it."""

from __future__ import annotations

import pandas as pd

from offgrid_sim.report.bands import with_night
from offgrid_sim.report.look import BANDS
from offgrid_sim.report.words import number


def hour_words(hourly: pd.DataFrame, places: tuple[str, ...]) -> list[str]:
    """One text per hour: when and where, then what was on; parts are split by line breaks."""
    hourly = with_night(hourly)
    marks = [[] for _ in range(len(hourly))]  # type: list[list[str]]
    for band in BANDS:
        for k in (hourly[band.flag].to_numpy() > 0).nonzero()[0]:
            marks[k].append(band.title[0].lower() + band.title[1:])
    rows = hourly.to_dict("records")
    when = [f"{t.day} {t:%B %H:%M}" for t in hourly.index]
    return [
        f"{when[k]}, {places[int(row['stop'])]}\n{', '.join(marks[k]) or 'day'}\n"
        f"{_battery(row)}{_power(row)}{_food(row)}{_tanks_and_air(row)}"
        for k, row in enumerate(rows)
    ]


def _battery(row: dict[str, float]) -> str:
    return f"Battery {number(row['soc'] * 100)} %, {row['battery_v']:.1f} V. "


def _power(row: dict[str, float]) -> str:
    sources = [
        f"{name} {number(row[key])} W"
        for key, name in (
            ("solar_w", "solar"),
            ("alternator_w", "alternator"),
            ("shore_w", "shore"),
        )
        if row[key] >= 0.5
    ]
    into = ", ".join(sources) or "nothing"
    fridge = f", fridge {number(row['fridge_w'])} W of it" if row["fridge_w"] >= 0.5 else ""
    missing = f", {number(row['unserved_w'])} W not served" if row["unserved_w"] >= 0.5 else ""
    return f"In: {into}. Out: {number(row['load_w'])} W{fridge}{missing}. "


def _food(row: dict[str, float]) -> str:
    parts = []
    if not pd.isna(row["temp_fridge_c"]):
        parts.append(f"fridge {number(row['temp_fridge_c'], 1)} °C")
    if not pd.isna(row["temp_freezer_c"]):
        ice = number(row["ice_share"] * 100)
        parts.append(f"freezer {number(row['temp_freezer_c'], 1)} °C with {ice} % ice")
    text = ", ".join(parts)
    return f"{text[0].upper()}{text[1:]}. " if text else ""


def _tanks_and_air(row: dict[str, float]) -> str:
    heat = f", heater {number(row['heater_heat_w'])} W" if row["heater_heat_w"] >= 0.5 else ""
    return (
        f"Fresh {number(row['fresh_l'])} l, grey {number(row['grey_l'])} l. "
        f"Outside {number(row['temp_air_c'])} °C, cabin {number(row['temp_cabin_c'])} °C{heat}."
    )
