"""``offgrid-sim weather``: look at a place's climate, export it, fetch past years, list them."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from offgrid_sim.cli import weather_fetch
from offgrid_sim.cli.output import file_to_write, write_text
from offgrid_sim.weather.table import COLUMNS, Place, WeatherBlock

if TYPE_CHECKING:
    from offgrid_sim.weather.archive.asked import PlaceYear
    from offgrid_sim.weather.climate import ClimateSummary

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
EXPORT_YEAR = 2025
"""Nominal year of exported hours; not a leap year."""


class LatLon(click.ParamType):
    """``42.6,0.5``: latitude north, longitude east, in degrees."""

    name = "lat,lon"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[float, float]:
        """Two numbers within the earth's limits."""
        numbers = re.fullmatch(r"\s*([-+]?\d+\.?\d*)\s*[,;\s]\s*([-+]?\d+\.?\d*)\s*", str(value))
        if numbers is None:
            self.fail(f"{value!r} is not LAT,LON; write it like 42.6,0.5 or -33.4,-70.8")
        lat, lon = float(numbers[1]), float(numbers[2])
        if abs(lat) > 90 or abs(lon) > 180:
            self.fail(f"{value!r} is not on the earth; latitude comes first, within 90, then "
                      "longitude, within 180")  # fmt: skip
        return lat, lon


at_option = click.option(
    "--at", required=True, type=LatLon(), metavar="LAT,LON", help="Degrees north, east: 42.6,0.5."
)
altitude_option = click.option(
    "--altitude",
    "altitude_m",
    type=click.FloatRange(-430, 6000),
    metavar="M",
    help="Height of the place in metres; else from a coarse table.",
)


@click.group()
def command() -> None:
    """Climate of a place; past years, fetched once and kept.

    \b
    Examples:
      offgrid-sim weather show --at 42.6,0.5
      offgrid-sim weather fetch mytrip/trip.toml --years 2012:2020
      offgrid-sim weather list
    """


@command.command()
@at_option
@altitude_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def show(at: tuple[float, float], altitude_m: float | None, as_json: bool) -> None:
    """Show the built-in climate of a place: sun, warmth, dull spells.

    \b
    Examples:
      offgrid-sim weather show --at 42.6,0.5
      offgrid-sim weather show --at -33.4,-70.8 --altitude 520
    """
    from offgrid_sim.weather.climate import climate_summary

    summary = climate_summary(_place(at, altitude_m))
    if as_json:
        click.echo(json.dumps(_as_numbers(summary), allow_nan=False))
    else:
        _tell_climate(summary)


@command.command()
@at_option
@altitude_option
@click.option("--years", type=click.IntRange(1, 200), default=1, show_default=True, metavar="N")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True)
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), callback=file_to_write,
    help="CSV file to write.",
)  # fmt: skip
def export(
    at: tuple[float, float], altitude_m: float | None, years: int, seed: int, out: Path
) -> None:
    """Write generated weather years of a place as an hourly CSV.

    The hours are UTC, labelled at their start; a trip reads the file back with --weather FILE.

    \b
    Example:
      offgrid-sim weather export --at 42.6,0.5 --years 10 --seed 1 --out weather.csv
    """
    import pandas as pd

    from offgrid_sim.weather.climate import ClimateWeather

    weather = ClimateWeather(years, seed)
    hours = pd.date_range(f"{EXPORT_YEAR}-01-01", periods=8760, freq="h", tz="UTC")
    place = _place(at, altitude_m)
    block = weather.block(place, hours, weather.years(place, hours))
    write_text(out, hourly_csv(block))
    click.echo(f"Wrote {years} years of 8760 hours to {out}. Source: {block.source.licence}.")


@command.command("list")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def list_(as_json: bool) -> None:
    """List the fetched past years, their size and where they lie.

    \b
    Example:
      offgrid-sim weather list
    """
    from offgrid_sim.weather.archive import held_horizons, held_years
    from offgrid_sim.weather.archive.store import ArchiveCache

    cache = ArchiveCache()
    held, horizons = held_years(cache), held_horizons(cache)
    rows = _places_held(held)
    size_mb, limit_mb = cache.files.size_bytes() / 1e6, cache.files.limit_bytes / 1e6
    if as_json:
        plain = {
            "folder": str(cache.files.folder),
            "size_mb": round(size_mb, 3),
            "limit_mb": limit_mb,
            "places": rows,
            "horizons": [
                {key: getattr(one, key) for key in ("archive", "latitude_deg", "longitude_deg")}
                for one in horizons
            ],
        }
        click.echo(json.dumps(plain, allow_nan=False))
        return
    for row in rows:
        click.echo(f"{row['latitude_deg']:7.2f},{row['longitude_deg']:8.2f}  {row['archive']:14}  "
                   f"{_spans(row['years'])}")  # fmt: skip
    for one in horizons:
        click.echo(f"{one.latitude_deg:7.2f},{one.longitude_deg:8.2f}  {one.archive}")
    click.echo(
        f"{len(held)} place-years, {size_mb:.1f} of {limit_mb:.0f} MB, in {cache.files.folder}."
    )


command.add_command(weather_fetch.command, "fetch")


def hourly_csv(block: WeatherBlock) -> str:
    """``year,time`` and the six columns, one row per hour and weather year; times in UTC."""
    import pandas as pd

    times = block.times_utc.strftime("%Y-%m-%dT%H:%MZ")
    parts = [
        pd.DataFrame(
            {"year": year, "time": times, **{name: getattr(block, name)[k] for name in COLUMNS}}
        )
        for k, year in enumerate(block.years)
    ]
    return pd.concat(parts).to_csv(index=False, float_format="%.2f", lineterminator="\n")


def _as_numbers(summary: ClimateSummary) -> dict[str, Any]:
    """The summary as one flat object, numbers rounded to what they are worth."""
    plain = asdict(summary)
    place = plain.pop("place")
    plain = {key: place[key] for key in ("latitude_deg", "longitude_deg")} | plain
    return {key: _rounded(value) for key, value in plain.items()}


def _rounded(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_rounded(one) for one in value]
    return round(value, 4) if isinstance(value, float) else value


def _place(at: tuple[float, float], altitude_m: float | None) -> Place:
    return Place("this place", at[0], at[1], altitude_m)


def _places_held(held: Sequence[PlaceYear]) -> list[dict[str, Any]]:
    """Years by archive and place."""
    rows: dict[tuple[str, float, float], list[int]] = {}
    for one in held:
        rows.setdefault((one.archive, one.latitude_deg, one.longitude_deg), []).append(one.year)
    return [
        {"archive": archive, "latitude_deg": lat, "longitude_deg": lon, "years": sorted(years)}
        for (archive, lat, lon), years in rows.items()
    ]


def _spans(years: Sequence[int]) -> str:
    """``2012–2015, 2018`` of sorted years."""
    spans: list[list[int]] = []
    for year in years:
        if spans and year == spans[-1][1] + 1:
            spans[-1][1] = year
        else:
            spans.append([year, year])
    return ", ".join(str(a) if a == b else f"{a}–{b}" for a, b in spans)


def _tell_climate(summary: ClimateSummary) -> None:
    place = summary.place
    click.echo(
        f"{place.latitude_deg:.2f}, {place.longitude_deg:.2f} at {summary.altitude_m:.0f} m. "
        f"Source: {summary.source}; nearest cell {summary.nearest_cell_km:.0f} km away."
    )
    click.echo("      sun on the level   air")
    for name, sun, air in zip(MONTHS, summary.ghi_kwh_m2_d, summary.temp_air_c, strict=True):
        click.echo(f"{name}   {sun:5.2f} kWh/m²/day   {air:5.1f} °C")
    click.echo(
        f"Dull days (less than a quarter of the sun above the sky): "
        f"{100 * summary.dull_day_share:.0f} % of all, in {summary.dull_runs_per_year:.0f} runs a "
        f"year; {100 * summary.dull_runs_3_days_share:.0f} % of runs last 3 days or more, "
        f"{100 * summary.dull_runs_5_days_share:.0f} % last 5."
    )
    click.echo(
        f"In the middle one of {summary.generated_years} generated years the longest run has "
        f"{summary.longest_dull_run_median_days:.0f} days, and the five darkest days on end bring "
        f"{summary.darkest_5_days_median_kwh_m2_d:.2f} kWh/m² each."
    )
    for note in summary.notes:
        click.echo(note)
