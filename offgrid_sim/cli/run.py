"""``offgrid-sim run``: simulate a trip and write its report."""

from __future__ import annotations

import dataclasses
import datetime as dt
import sys
from pathlib import Path
from typing import Any

import click
import pandas as pd
from rich.console import Console
from rich.table import Table
from rich.text import Text

from offgrid_sim.cli.options import (
    output_options,
    parts_options,
    say_if_cold,
    seed_option,
    sets_option,
    weather_choice,
    weather_option,
    years_option,
)
from offgrid_sim.cli.output import hand_over, report_path, write_bytes, write_text
from offgrid_sim.cli.why import asked, find, tell_why, why_options
from offgrid_sim.errors import OutputError
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.verdict import Verdict, verdict
from offgrid_sim.report.coarse import coarse
from offgrid_sim.report.difference import Difference, difference
from offgrid_sim.report.reread import is_report, load_trip_or_report, read_earlier
from offgrid_sim.report.run_page import run_page
from offgrid_sim.studies.run import simulate
from offgrid_sim.studies.variants import Bench


@click.command()
@click.argument("trip", type=click.Path(path_type=Path))
@parts_options
@weather_option
@years_option()
@seed_option
@sets_option
@click.option(
    "--show",
    type=click.Choice(["worst", "median", "best"]),
    default="worst",
    show_default=True,
    help="Weather year to show hour by hour.",
)
@click.option(
    "--diff",
    "earlier_path",
    metavar="OLD.html",
    type=click.Path(path_type=Path),
    help="Earlier report: say first what has changed since.",
)
@why_options
@click.option("--coarse-places", is_flag=True, help="Round coordinates, drop names, for sharing.")
@output_options
@click.option("--hourly", is_flag=True, help="With --json: add the hourly trace.")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path), help="Write the hourly trace.")
@click.option(
    "--parquet",
    "parquet_path",
    type=click.Path(path_type=Path),
    help="Write the hourly trace as Parquet; needs pyarrow.",
)
@click.option(
    "--fail-above",
    type=click.FloatRange(0, 1),
    metavar="SHARE",
    help="Exit code 1 when the share of weather years with a blackout is above this.",
)
@click.pass_context
def command(
    ctx: click.Context,
    trip: Path,
    van: Path | None,
    route: Path | None,
    season: str | None,
    start: dt.datetime | None,
    weather: str | None,
    years: int | None,
    seed: int | None,
    sets: tuple[str, ...],
    show: Any,
    earlier_path: Path | None,
    why: bool,
    cures: bool,
    cures_file: Path | None,
    coarse_places: bool,
    out: Path | None,
    no_report: bool,
    as_json: bool,
    hourly: bool,
    csv_path: Path | None,
    parquet_path: Path | None,
    fail_above: float | None,
) -> None:
    """Simulate a trip hour by hour and write its report.

    TRIP is a trip file, or an earlier report, whose plan is run again.

    \b
    Examples:
      offgrid-sim run configs/trips/pyrenees_winter.toml --set van.battery.capacity_ah=300
      offgrid-sim run sent.html --set people=3 --diff sent.html
    """
    earlier = read_earlier(earlier_path) if earlier_path else None
    loaded = load_trip_or_report(
        trip,
        sets,
        van=van,
        route=route,
        season=season,
        start=start.date() if start else None,
        weather=weather_choice(weather, years, seed),
    )
    wanted = asked(why, cures, cures_file)
    say_if_cold()
    bench = Bench(loaded)
    outcome = simulate(loaded, show, bench)
    found = find(loaded, outcome, wanted, bench)
    if coarse_places:
        loaded, outcome = coarse(loaded, outcome)
    judged = verdict(outcome)
    changed = (
        difference(earlier, loaded, outcome, judged, coarse_places) if earlier is not None else None
    )
    if csv_path is not None:
        digits = dict.fromkeys(outcome.hourly.select_dtypes("number"), 4)
        write_text(csv_path, outcome.hourly.round(digits).to_csv())
    if parquet_path is not None:
        write_bytes(parquet_path, as_parquet(outcome.hourly))

    def page() -> str:
        return run_page(
            loaded, outcome, coarse_places, earlier, causes=found.causes, cures=found.cures
        )

    def numbers() -> dict[str, Any]:
        told = as_numbers(outcome, judged, hourly) | found.numbers(not coarse_places)
        return told if changed is None else told | {"changed": dataclasses.asdict(changed)}

    def words() -> None:
        tell_changes(changed)
        tell(outcome, judged)
        tell_why(found)

    hand_over(
        None if no_report else page,
        out or beside(report_path(f"{trip.stem}.html"), trip, earlier_path),
        numbers,
        words,
        as_json,
    )
    if fail_above is not None and outcome.risk.blackout.share > fail_above:
        ctx.exit(1)


def as_parquet(hourly: pd.DataFrame) -> bytes:
    """The trace as a Parquet file, through pandas and pyarrow; OutputError without pyarrow."""
    try:
        data = hourly.reset_index().to_parquet(None, engine="pyarrow", index=False)
    except ImportError as error:
        raise OutputError(
            "Parquet needs pyarrow, which is not installed; "
            "install offgrid_sim[parquet], or write --csv instead."
        ) from error
    return bytes(data)


def beside(path: Path, *kept: Path | None) -> Path:
    """``path``, or a name beside it when it would replace a report that was read."""
    read = {one.resolve() for one in kept if one is not None and is_report(one)}
    while path.resolve() in read:
        path = path.with_stem(f"{path.stem}_new")
    return path


def as_numbers(outcome: RunOutcome, judged: Verdict, hourly: bool) -> dict[str, Any]:
    """The machine interface of ``run``: one JSON object."""
    risk = outcome.risk
    numbers: dict[str, Any] = {
        "summary": outcome.summary,
        "verdict": {"level": judged.level, "sentence": judged.sentence,
                    "reasons": list(judged.reasons)},
        "risk": {
            "years": len(risk.years),
            "shown": outcome.shown,
            "shown_year": outcome.shown_year,
            **{
                f"p_{name}{end}": value
                for name, chance in (
                    ("blackout", risk.blackout), ("thaw", risk.thaw), ("dry", risk.dry),
                )
                for end, value in (("", chance.share), ("_low", chance.low), ("_high", chance.high))
            },
        },
        "weather": [
            {"place": stop.place, "kind": source.kind, "name": source.name, "years": source.years,
             "licence": source.licence, "typical": source.typical, "notes": list(source.notes)}
            for stop, source in zip(outcome.ready.trip.route.stops, outcome.ready.sources,
                                    strict=True)
        ],
        "events": [
            {"kind": event.kind, "start": event.start.isoformat(), "end": event.end.isoformat(),
             "duration_h": round(event.duration_h, 3), "depth": round(event.depth, 4),
             "depth_unit": event.depth_unit, "place": event.place}
            for event in outcome.events
        ],
    }  # fmt: skip
    numbers["food"] = [
        {"rule": clock.rule.name, "counted_h": round(clock.counted_h, 3), "state": clock.state}
        for clock in outcome.food
    ]
    numbers["battery_ageing"] = dataclasses.asdict(outcome.battery_ageing)
    numbers["fridge_start"] = outcome.start and dataclasses.asdict(outcome.start)
    if hourly:
        frame = outcome.hourly.drop(columns="utc").round(5)
        numbers["hourly"] = {
            "local_time": [moment.isoformat() for moment in outcome.hourly.index],
            "utc": [moment.isoformat() for moment in outcome.hourly["utc"]],
            **{
                name: [None if value != value else value for value in frame[name].tolist()]
                for name in frame
            },
        }
    return numbers


def tell_changes(changed: Difference | None) -> None:
    """What changed since an earlier report, before anything else."""
    if changed is None:
        return
    console = Console(file=sys.stdout, highlight=False, markup=False)
    console.print(changed.headline, style="bold")
    table = Table(title="Changed since the earlier report", title_justify="left")
    for head in ("", "before", "now"):
        table.add_column(head)
    for one in (*changed.assumptions[:20], *changed.facts):
        table.add_row(Text(one.title), Text(one.before), Text(one.now))
    console.print(table)
    if len(changed.assumptions) > 20:
        console.print(f"  and {len(changed.assumptions) - 20} more values, in the report.")


def tell(outcome: RunOutcome, judged: Verdict) -> None:
    """Verdict, reasons and the key numbers for a person at a terminal."""
    console = Console(file=sys.stdout, highlight=False)
    console.print(f"[bold]{judged.sentence}[/bold]")
    for reason in judged.reasons:
        console.print(f"  {reason}")
    summary, energy = outcome.summary, outcome.energy
    days = summary["hours"] / 24
    years = len(outcome.risk.years)
    title = f"{outcome.shown} of {years} weather years" if years > 1 else "this weather year"
    table = Table(title=title.capitalize(), title_justify="left", show_header=False)
    for name, value in (
        ("Hours dark", f"{summary['blackout_hours']:.1f} in {summary['blackout_events']} spells"),
        ("Hours thawing", f"{summary['thaw_hours']:.1f}"),
        ("Lowest charge", f"{summary['min_soc'] * 100:.0f} %"),
        ("Solar taken / refused", f"{energy.solar_wh / days:.0f} / "
                                  f"{energy.curtailed_wh / days:.0f} Wh a day"),
        ("Alternator", f"{energy.alternator_wh / days:.0f} Wh a day"),
        ("Loads / of which fridge", f"{summary['load_wh'] / days:.0f} / "
                                    f"{energy.fridge_wh / days:.0f} Wh a day"),
        ("Fresh water used", f"{summary['fresh_used_l'] / days:.1f} l a day"),
        ("Hours dry / grey full", f"{summary['dry_hours']:.0f} / {summary['grey_full_hours']:.0f}"),
    ):  # fmt: skip
        table.add_row(name, value)
    console.print(table)
