"""``offgrid-sim size``: how many watts and amp-hours, by risk over many weather years."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from types import TracebackType
from typing import Any

import click
from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TaskID,
    TextColumn,
    TimeRemainingColumn,
)
from rich.table import Table

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
from offgrid_sim.cli.output import hand_over, report_path
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.report.size_page import size_page, without_places
from offgrid_sim.studies.size import Candidate, Question, SizeStudy, size
from offgrid_sim.studies.size_grid import (
    Axis,
    battery_axis,
    fridge_axis,
    panel_axis,
    tank_axis,
    tilt_axis,
    vary_axis,
)
from offgrid_sim.studies.size_risk import FAILURES
from offgrid_sim.studies.size_words import (
    answer,
    interval,
    notes,
    percent,
    season,
    titles,
    worth_a_look,
)

USUAL_YEARS = 100
USUAL_PANELS, USUAL_BATTERIES = "100:800:100", "100,200,300,400"
TABLE_ROWS = 8


class Accepted(click.ParamType):
    """``5%`` or ``0.05``: a chance above 0 and below 1."""

    name = "chance"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The chance as a share."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            share = -1.0
        if not 0 < share < 1:
            self.fail(f"{text!r} is not a chance above 0 and below 1; write 5% or 0.05", param, ctx)
        return share


@click.command()
@click.argument("trip", type=click.Path(path_type=Path))
@click.option("--panel-w", metavar="VALUES", help="Total watts of panel, 100:800:100 or 200,400.")
@click.option("--battery-ah", metavar="VALUES", help="Amp-hours of battery, 100,200,300.")
@click.option("--tilt", metavar="VALUES", help="Tilt of the panels in degrees, 0,30.")
@click.option("--fridge", metavar="FILES", help="Fridge files to compare, a.toml,b.toml.")
@click.option("--fresh-l", metavar="VALUES", help="Litres of fresh tank.")
@click.option("--grey-l", metavar="VALUES", help="Litres of grey tank.")
@click.option(
    "--vary", multiple=True, metavar="KEY=VALUES", help="Vary any plan value; may be repeated."
)
@click.option(
    "--accept",
    type=Accepted(),
    default="5%",
    show_default=True,
    help="Accepted share of weather years in which it may fail.",
)
@click.option(
    "--judge",
    metavar="KINDS",
    help="Failures that count: blackout,thaw,dry,grey_full. "
    "Default: blackout, and the failure of each tank that is varied.",
)
@years_option("Weather years for every design.")
@click.option(
    "--most-years",
    type=click.IntRange(1, 20000),
    help="Weather years for designs too close to the limit; default 4 times --years.",
)
@parts_options
@weather_option
@seed_option
@sets_option
@click.option(
    "--sensitivity/--no-sensitivity",
    default=True,
    help="Also look which input moves the answer most.",
)
@click.option("--resume/--no-resume", default=True, help="Go on where a stopped study ended.")
@click.option("--coarse-places", is_flag=True, help="Round coordinates, drop names, for sharing.")
@output_options
@click.pass_context
def command(ctx: click.Context, trip: Path, **given: Any) -> None:
    """Find how many watts of panel and how much battery by risk over many winters.

    Every combination lives the same weather years.

    Stop it with Ctrl-C at any time: the same command goes on where it ended.

    \b
    Example:
      offgrid-sim size configs/trips/pyrenees_winter.toml --panel-w 200,400 --accept 5%
    """
    start = given["start"]
    loaded = load_trip(
        trip,
        given["sets"],
        van=given["van"],
        route=given["route"],
        season=given["season"],
        start=start.date() if isinstance(start, dt.datetime) else None,
        weather=weather_choice(given["weather"], given["years"], given["seed"]),
    )
    say_if_cold()
    asked = question(loaded, given)
    with Told() as told:
        study = size(loaded, asked, told, resume=given["resume"])
    shown = without_places(study) if given["coarse_places"] else study
    hand_over(
        None if given["no_report"] else lambda: size_page(shown),
        given["out"] or report_path(f"{trip.stem}_size.html"),
        lambda: as_numbers(study),
        lambda: tell(study),
        given["as_json"],
    )


def question(loaded: LoadedTrip, given: dict[str, Any]) -> Question:
    """What the options ask; without any axis, watts and amp-hours over usual ranges."""
    axes = _axes(loaded, given)
    years = given["years"] or max(loaded.trip.weather.years, USUAL_YEARS)
    if loaded.trip.weather.source != "climate" and given["years"] is None:
        years = 2000
    most = max(given["most_years"] or 4 * years, years)
    if loaded.trip.weather.source != "climate":
        most = years
    return Question(
        axes=axes,
        accept=given["accept"],
        judge=_judge(given["judge"], axes),
        years=years,
        most_years=min(most, 2000),
        with_sensitivity=given["sensitivity"],
    )


def _axes(loaded: LoadedTrip, given: dict[str, Any]) -> tuple[Axis, ...]:
    axes = []
    nothing = not any(given[k] for k in ("tilt", "fridge", "fresh_l", "grey_l", "vary"))
    panels, batteries = given["panel_w"], given["battery_ah"]
    if nothing and not panels and not batteries:
        panels, batteries = USUAL_PANELS, USUAL_BATTERIES
    if panels:
        axes.append(panel_axis(loaded.trip, panels))
    if batteries:
        axes.append(battery_axis(batteries))
    if given["tilt"]:
        axes.append(tilt_axis(loaded.trip, given["tilt"]))
    if given["fridge"]:
        axes.append(fridge_axis(given["fridge"]))
    axes += [tank_axis(name, given[name]) for name in ("fresh_l", "grey_l") if given[name]]
    axes += [vary_axis(words) for words in given["vary"]]
    return tuple(axes)


def _judge(text: str | None, axes: tuple[Axis, ...]) -> tuple[str, ...]:
    if text is None:
        names = {axis.name for axis in axes}
        tanks = [k for name, k in (("fresh_l", "dry"), ("grey_l", "grey_full")) if name in names]
        power = names - {"fresh_l", "grey_l"}
        return tuple((["blackout"] if power or not tanks else []) + tanks)
    kinds = tuple(dict.fromkeys(word.strip() for word in text.split(",")))
    for kind in kinds:
        if kind not in FAILURES:
            raise click.BadParameter(
                f"{kind!r} is no failure; use one or more of {','.join(FAILURES)}",
                param_hint="--judge",
            )
    return kinds


class Told:
    """Progress on standard error."""

    def __init__(self) -> None:
        self._bars = Progress(
            TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(),
            TextColumn("runs"), TimeRemainingColumn(), console=Console(stderr=True),
        )  # fmt: skip
        self._task: TaskID | None = None

    def __enter__(self) -> Told:
        self._bars.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:  # fmt: skip
        self._bars.stop()
        if kind is KeyboardInterrupt:
            click.echo("What is done is kept; the same command goes on from there.", err=True)

    def stage(self, title: str, total: int) -> None:
        """A new bar."""
        self._task = self._bars.add_task(title, total=total)

    def advance(self, runs: int) -> None:
        """Move the newest bar."""
        if self._task is not None:
            self._bars.advance(self._task, runs)


def as_numbers(study: SizeStudy) -> dict[str, Any]:
    """The machine interface of ``size``: one JSON object."""
    rows = [candidate_numbers(candidate) for candidate in study.candidates]
    return {
        "candidates": rows,
        "recommended": None if study.recommended is None else rows[study.recommended],
        "weather_years": study.weather_years,
        "simulated_hours": study.simulated_hours,
        "seconds": round(study.seconds, 3),
        "answer": answer(study),
        "notes": list(notes(study)),
        "decided": study.decided,
        "accept": study.question.accept,
        "judge": list(study.question.judge),
    }


def candidate_numbers(candidate: Candidate) -> dict[str, Any]:
    """One design under the names of the machine interface."""
    risk, worst = candidate.risk, candidate.risk.worst
    return {
        **candidate.design.values,
        "p_blackout": risk.blackout.share,
        "p_blackout_low": risk.blackout.low,
        "p_blackout_high": risk.blackout.high,
        "p_thaw": risk.thaw.share,
        "p_dry": risk.dry.share,
        "blackout_hours_mean": round(risk.blackout_hours_mean, 4),
        "unserved_wh_mean": round(risk.unserved_wh_mean, 2),
        "cost": candidate.bill.cost,
        "mass_kg": candidate.bill.mass_kg,
        "roof_m2": candidate.bill.roof_m2,
        "years": risk.years,
        "standing": risk.standing,
        "worst_year": None if worst is None else worst.year,
        "worst_start": None if worst is None else worst.start.isoformat(),
    }


def tell(study: SizeStudy) -> None:
    """The answer and the designs worth looking at, for a person at a terminal."""
    console = Console(file=sys.stdout, highlight=False)
    console.print(f"[bold]{answer(study)}[/bold]")
    for note in notes(study):
        console.print(f"  {note}")
    table = Table(title="Designs worth looking at", title_justify="left")
    for head in ("Design", f"Fails, of {season(study)}", "Interval", "Cost", "kg", "Roof m²", ""):
        table.add_column(head, justify="left" if head in ("Design", "") else "right")
    for k in worth_a_look(study)[:TABLE_ROWS]:
        candidate = study.candidates[k]
        chance, bill = candidate.risk.judged, candidate.bill
        table.add_row(
            candidate.design.name, f"{chance.happened} of {chance.years}",
            f"{percent(chance.share)} ({interval(chance)})", f"{bill.cost:.0f}",
            f"{bill.mass_kg:.0f}", f"{bill.roof_m2:.1f}", ", ".join(titles(study, k)),
        )  # fmt: skip
    console.print(table)
    console.print(
        f"{study.simulated_hours / 1e6:.1f} million van-hours in {study.seconds:.1f} s.",
        style="dim",
    )
