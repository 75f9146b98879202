"""``offgrid-sim stress``: hard cases on one or many pairs of fridge and battery."""

from __future__ import annotations

import datetime as dt
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
from rich.console import Console
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
from offgrid_sim.errors import PlanError
from offgrid_sim.plan.kinds import kind_of_file
from offgrid_sim.plan.load import load_fragment, load_trip, load_van
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.van import Battery, Fridge
from offgrid_sim.studies.changes import Change, read_changes
from offgrid_sim.studies.stress import (
    USUAL_YEARS,
    Pair,
    Stress,
    battery_name,
    distinct,
    fridge_name,
    stress,
    usual_cases,
)
from offgrid_sim.studies.stress_times import NEVER
from offgrid_sim.studies.stress_words import (
    RUN_OUT_WORD,
    after,
    stress_numbers,
    stress_sentence,
    worst_first,
)


@click.command()
@click.argument("trip", type=click.Path(path_type=Path))
@click.option(
    "--fridge",
    "fridges",
    multiple=True,
    metavar="FILE|SHAPE:LITRES",
    help="Fridge to try, as a file or as upright:65; can be given again.",
)
@click.option(
    "--battery",
    "batteries",
    multiple=True,
    metavar="FILE|KIND:AH",
    help="Battery to try, as a file or as lfp:200; can be given again.",
)
@click.option(
    "--ambient",
    "ambients",
    type=click.FloatRange(-40, 50),
    multiple=True,
    metavar="C",
    help="Mean outside temperature to try; can be given again. Else as the weather is.",
)
@click.option("--cases", type=click.Path(path_type=Path), help="Own cases in TOML.")
@click.option("--from-day", type=click.IntRange(1, 2000), default=2, show_default=True,
              help="Day of the trip on which the cases begin.")  # fmt: skip
@parts_options
@weather_option
@years_option(f"Weather years to run; else at most {USUAL_YEARS}.")
@seed_option
@sets_option
@output_options
def command(
    trip: Path,
    fridges: tuple[str, ...],
    batteries: tuple[str, ...],
    ambients: tuple[float, ...],
    cases: Path | None,
    from_day: int,
    van: Path | None,
    route: Path | None,
    season: str | None,
    start: dt.datetime | None,
    weather: str | None,
    years: int | None,
    seed: int | None,
    sets: tuple[str, ...],
    out: Path | None,
    no_report: bool,
    as_json: bool,
) -> None:
    """Put a trip through hard cases: what gives way first, and after how long?

    \b
    Examples:
      offgrid-sim stress winter.toml
      offgrid-sim stress winter.toml --fridge chest:50 --fridge upright:65 \\
          --battery lfp:200 --battery agm:200 --ambient 5 --ambient 30
    """
    options: dict[str, Any] = {
        "van": van, "route": route, "season": season, "start": start.date() if start else None,
    }  # fmt: skip
    loaded = load_trip(trip, sets, **options, weather=weather_choice(weather, years, seed))
    if years is None and loaded.trip.weather.years > USUAL_YEARS:
        loaded = load_trip(
            trip, sets, **options, weather=weather_choice(weather, USUAL_YEARS, seed)
        )
    chosen, hard = _what_to_try(loaded, fridges, batteries, cases)
    say_if_cold()
    found = stress(loaded, hard, chosen, ambients, from_day)
    hand_over(
        None if no_report else lambda: _page(found),
        out or report_path(f"{trip.stem}_stress.html"),
        lambda: stress_numbers(found),
        lambda: tell(found),
        as_json,
    )


def _page(found: Stress) -> str:
    from offgrid_sim.engine.prepare import get_weather
    from offgrid_sim.report.stress_page import stress_page
    from offgrid_sim.weather.sources import providers

    weather = get_weather(found.loaded.trip, providers(found.loaded), 1)
    return stress_page(found, weather.sources)


def _what_to_try(
    loaded: LoadedTrip, fridges: Sequence[str], batteries: Sequence[str], cases: Path | None
) -> tuple[list[Pair], tuple[Change, ...]]:
    """Pairs and cases; the problems of all of them are raised together."""
    wrong: list[PlanError] = []
    hard: tuple[Change, ...] = ()
    try:
        hard = usual_cases() if cases is None else read_changes(cases, "cases", Change)
    except PlanError as error:
        wrong.append(error)
    some_fridges = _parts(fridges, _fridge, wrong)
    some_batteries = _parts(batteries, _battery, wrong)
    if wrong:
        raise wrong[0] if len(wrong) == 1 else PlanError("\n".join(map(str, wrong)))
    van = loaded.trip.van
    names = distinct([fridge_name(one) for one in some_fridges]) or [fridge_name(van.fridge)]
    others = distinct([battery_name(one) for one in some_batteries]) or [battery_name(van.battery)]
    return [
        Pair(name, other, fridge, battery)
        for name, fridge in zip(names, some_fridges or [None], strict=True)
        for other, battery in zip(others, some_batteries or [None], strict=True)
    ], hard


def _parts(words: Sequence[str], read: Any, wrong: list[PlanError]) -> list[Any]:
    found = []
    for word in words:
        try:
            found.append(read(word))
        except PlanError as error:
            wrong.append(error)
    return found


def _fridge(word: str) -> Fridge:
    """A fridge from a file (its own or a van's), or from ``upright:65``."""
    kind, litres = _short(word)
    if litres is not None and kind in ("upright", "chest") and 5 <= litres <= 1000:
        return Fridge(shape=kind, volume_l=litres)  # type: ignore[arg-type]
    _refuse_short(word, kind, "--fridge", "upright:65 or chest:40, 5 to 1000 litres")
    found = _van_part(word).fridge if _is_van(word) else load_fragment(word, "van.fridge")
    if not isinstance(found, Fridge):
        raise PlanError(f"{word}: this van has no fridge; name another file.")
    return found


def _battery(word: str) -> Battery:
    """A battery from a file (its own or a van's), or from ``lfp:200``."""
    kind, ah = _short(word)
    if ah is not None and kind in ("lfp", "agm") and 1 <= ah <= 10000:
        return Battery(chemistry=kind, capacity_ah=ah)  # type: ignore[arg-type]
    _refuse_short(word, kind, "--battery", "lfp:200 or agm:100, 1 to 10000 Ah")
    found = _van_part(word).battery if _is_van(word) else load_fragment(word, "van.battery")
    assert isinstance(found, Battery)
    return found


def _short(word: str) -> tuple[str, float | None]:
    kind, colon, number = word.partition(":")
    try:
        return kind.lower(), float(number) if colon else None
    except ValueError:
        return kind.lower(), None


def _refuse_short(word: str, kind: str, option: str, example: str) -> None:
    """A word with a colon that is no file was meant as a short form."""
    if ":" in word and not Path(word).exists():
        raise PlanError(f"{option} {word}: there is no such file; write {example}.")


def _is_van(word: str) -> bool:
    try:
        return kind_of_file(word) == "van" and "[battery]" in Path(word).read_text("utf-8")
    except (PlanError, UnicodeDecodeError, OSError):
        return False


def _van_part(word: str) -> Any:
    return load_van(word).plan


def tell(found: Stress) -> None:
    """The sentence and the cases, hardest first, for a person at a terminal."""
    console = Console(file=sys.stdout, highlight=False)
    console.print(f"[bold]{stress_sentence(found)}[/bold]")
    for pair in found.pairs:
        for ambient_c in found.ambients_c:
            planned, *cases = found.of(pair, ambient_c)
            outside = "" if ambient_c is None else f", {ambient_c:g} °C outside"
            ranked = worst_first(cases)
            table = Table("case", "first to give way", "dark", "fridge stops", "thaw", "floor",
                          title=f"{pair.name}{outside}", title_justify="left")  # fmt: skip
            for one in (planned, *ranked, *(one for one in cases if one not in ranked)):
                first = f"{RUN_OUT_WORD[one.first]} {after(one.first_h)}" if one.first else "holds"
                ends = [one.end_h(kind) for kind in ("blackout", "fridge_stop", "thaw")]
                table.add_row(one.case, first, *("-" if h == NEVER else after(h) for h in ends),
                              f"{one.floor_l:.1f} l" if one.floor_l > 0.05 else "-")  # fmt: skip
            console.print(table)
    if found.skipped:
        console.print(f"Left out, they change nothing here: {', '.join(found.skipped)}.")
