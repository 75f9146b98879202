"""Options that several commands share: which trip, which weather, where the result goes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from offgrid_sim.cli.output import file_to_write
from offgrid_sim.compiled import is_warm

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def together(*options: Decorator) -> Decorator:
    """Several options as one decorator, listed in the order given."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorate


season_options = together(
    click.option("--season", type=click.Choice(["spring", "summer", "autumn", "winter"])),
    click.option("--start", type=click.DateTime(["%Y-%m-%d"]), help="First day, 2026-12-01."),
)
parts_options = together(
    click.option("--van", type=click.Path(path_type=Path), help="Van file instead of the trip's."),
    click.option(
        "--route", type=click.Path(path_type=Path), help="Route file instead of the trip's."
    ),
    season_options,
)
weather_option = click.option(
    "--weather",
    metavar="FILE|climate|archive",
    help="Weather file for every stop, the built-in climate, or fetched past years.",
)
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), help="Start of the random numbers."
)
sets_option = click.option(
    "--set", "sets", multiple=True, metavar="KEY=VALUE", help="Override any plan value."
)
output_options = together(
    click.option(
        "--out",
        type=click.Path(path_type=Path),
        callback=file_to_write,
        help="Report file; else under reports/.",
    ),
    click.option("--no-report", is_flag=True, help="Write no report."),
    click.option("--json", "as_json", is_flag=True, help="Print the numbers as one JSON object."),
)


def years_option(help_line: str = "Weather years to run.") -> Decorator:
    """``--years``, in the words of the command."""
    return click.option("--years", type=click.IntRange(1, 2000), help=help_line)


def weather_choice(
    weather: str | None, years: int | None, seed: int | None
) -> dict[str, Any] | None:
    """The [weather] keys that the command line overrides."""
    choice: dict[str, Any] = {}
    if weather in ("climate", "archive"):
        choice["source"] = weather
    elif weather is not None:
        choice |= {"source": "file", "file": weather}
    choice |= {key: value for key, value in (("years", years), ("seed", seed)) if value is not None}
    return choice or None


def say_if_cold() -> None:
    """Tell on standard error that the first run compiles."""
    if not is_warm():
        click.echo("First run: compiling the simulation, about 15 s, once.", err=True)
