"""``offgrid-sim compare``: plans side by side through the same weather years."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table

from offgrid_sim.cli.options import (
    output_options,
    say_if_cold,
    season_options,
    seed_option,
    weather_choice,
    weather_option,
    years_option,
)
from offgrid_sim.cli.output import hand_over, report_path
from offgrid_sim.errors import PlanError
from offgrid_sim.plan.kinds import kind_of_file
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.compare import Comparison, compare
from offgrid_sim.studies.compare_words import compare_numbers, compare_sentence


@click.command()
@click.argument("plans", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--trip", type=click.Path(path_type=Path), help="Trip that van files are compared on."
)
@click.option(
    "--change",
    "changes",
    multiple=True,
    metavar="KEY=VALUE",
    help="One more plan: the first one with this value. Can be given again.",
)
@click.option("--set", "sets", multiple=True, metavar="KEY=VALUE", help="Override it in all plans.")
@season_options
@weather_option
@years_option()
@seed_option
@output_options
def command(
    plans: tuple[Path, ...],
    trip: Path | None,
    changes: tuple[str, ...],
    sets: tuple[str, ...],
    season: str | None,
    start: dt.datetime | None,
    weather: str | None,
    years: int | None,
    seed: int | None,
    out: Path | None,
    no_report: bool,
    as_json: bool,
) -> None:
    """Hold two or more plans side by side through the same weather years.

    PLANS are trip files, or van files on one trip. The first plan is what the others are held
    against, and its weather is used for all.

    \b
    Examples:
      offgrid-sim compare A.toml B.toml
      offgrid-sim compare chest.toml upright.toml --trip winter.toml
      offgrid-sim compare winter.toml --change van.solar.0.panel_w=600
    """
    named = _load(plans, trip, changes, sets, {
        "season": season, "start": start.date() if start else None,
        "weather": weather_choice(weather, years, seed),
    })  # fmt: skip
    say_if_cold()
    found = compare(named)
    hand_over(
        None if no_report else lambda: _page(found),
        out or report_path("compare.html"),
        lambda: compare_numbers(found),
        lambda: tell(found),
        as_json,
    )


def _page(found: Comparison) -> str:
    from offgrid_sim.engine.prepare import get_weather
    from offgrid_sim.report.compare_page import compare_page
    from offgrid_sim.weather.sources import providers

    first = found.sides[0].loaded
    weather = get_weather(first.trip, providers(first), 1)
    return compare_page(found, weather.sources)


def _load(
    plans: Sequence[Path],
    trip: Path | None,
    changes: Sequence[str],
    sets: Sequence[str],
    options: dict[str, object],
) -> list[tuple[str, LoadedTrip]]:
    """All plans with distinct names; the problems of all files are raised together."""
    loaded: list[tuple[str, LoadedTrip]] = []
    wrong: list[PlanError] = []
    wanted = [(path, ()) for path in plans] + [(plans[0], (change,)) for change in changes]
    for path, change in wanted:
        try:
            one = _load_one(path, trip, plans, (*sets, *change), options)
            label = f"{path.stem} with {change[0]}" if change else path.stem
            loaded.append((label, one))
        except PlanError as error:
            wrong.append(error)
    if wrong:
        raise wrong[0] if len(wrong) == 1 else PlanError("\n".join(dict.fromkeys(map(str, wrong))))
    return _distinct(loaded)


def _load_one(
    path: Path,
    trip: Path | None,
    plans: Sequence[Path],
    sets: tuple[str, ...],
    options: dict[str, object],
) -> LoadedTrip:
    kind = kind_of_file(path)
    if kind == "trip":
        return load_trip(path, sets, **options)  # type: ignore[arg-type]
    if kind != "van":
        raise PlanError(f"{path}: this is a {kind} file; name trip files or van files.")
    on = trip or next((one for one in plans if kind_of_file(one) == "trip"), None)
    if on is None:
        raise PlanError(f"{path}: a van needs a trip to live through; name one with --trip.")
    return load_trip(on, sets, van=path, **options)  # type: ignore[arg-type]


def _distinct(loaded: list[tuple[str, LoadedTrip]]) -> list[tuple[str, LoadedTrip]]:
    """Names as given; the same name twice gets a number."""
    names = [name for name, _ in loaded]
    result = []
    for k, (name, one) in enumerate(loaded):
        if names.count(name) > 1:
            name = f"{name} ({names[: k + 1].count(name)})"
        result.append((name, one))
    return result


def tell(found: Comparison) -> None:
    """The sentence, what differs, and the measures, for a person at a terminal."""
    console = Console(file=sys.stdout, highlight=False)
    console.print(f"[bold]{compare_sentence(found)}[/bold]")
    for note in found.notes:
        console.print(f"  {note}")
    names = [side.name for side in found.sides]
    changed = Table("what differs", *names, title_justify="left")
    for one in found.changed[:20]:
        changed.add_row(one.key, *("" if v is None else str(v) for v in one.values))
    if found.changed:
        console.print(changed)
    if len(found.changed) > 20:
        console.print(f"  and {len(found.changed) - 20} more values, in the report.")
    table = Table("mean over years", *names)
    for chance in found.chances:
        table.add_row(chance.title, *(str(count) for count in chance.counts))
    for row in found.rows:
        digits = 1 if row.measure.unit == "h a trip" else 0
        cells = [f"{row.means[0]:.{digits}f}"]
        for mean, gap in zip(row.means[1:], row.differences, strict=True):
            between = (
                "" if gap.low is None else f" ({gap.low:+.{digits}f} to {gap.high:+.{digits}f})"
            )
            cells.append(f"{mean:.{digits}f}{between if gap.value else ''}")
        table.add_row(f"{row.measure.title}, {row.measure.unit}", *cells)
    console.print(table)
