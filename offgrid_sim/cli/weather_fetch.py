"""``offgrid-sim weather fetch``: bring past years and horizons of a trip's stops home."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from offgrid_sim.errors import WeatherUnavailable

if TYPE_CHECKING:
    from offgrid_sim.plan.loaded import LoadedTrip
    from offgrid_sim.weather.archive.asked import PlaceHorizon, PlaceYear
    from offgrid_sim.weather.archive.fetch import Fetched

FIRST_YEAR = 1980
"""No archive reaches further back; each says itself what it holds."""


class YearRange(click.ParamType):
    """``2012:2020``, or one year."""

    name = "from:to"

    def convert(self, value: Any, param: Any, ctx: Any) -> range:
        """The years, both ends included."""
        found = re.fullmatch(r"(\d{4})(?::(\d{4}))?", str(value).strip())
        if found is None:
            self.fail(f"{value!r} is not a span of years; write it like 2012:2020")
        first, last = int(found[1]), int(found[2] or found[1])
        this_year = dt.date.today().year
        if not FIRST_YEAR <= first <= last < this_year:
            self.fail(f"{value!r} must run from the earlier year to the later, within "
                      f"{FIRST_YEAR}:{this_year - 1}")  # fmt: skip
        return range(first, last + 1)


@click.command()
@click.argument("trip", type=click.Path(path_type=Path))
@click.option("--years", type=YearRange(), metavar="FROM:TO",
              help="Years in which the trip may start: 2012:2020.")  # fmt: skip
@click.option("--source", "archive", type=click.Choice(["pvgis", "power"]), default="pvgis",
              show_default=True, help="PVGIS, or NASA POWER (coarser, worldwide).")  # fmt: skip
@click.option("--base-url", metavar="URL", help="A mirror, instead of the archive's own server.")
@click.option("--timeout", "timeout_s", type=click.FloatRange(1, 600), default=30.0,
              show_default=True, metavar="S", help="Seconds to wait for an answer.")  # fmt: skip
@click.option("--refresh", is_flag=True, help="Fetch again what is there already.")
@click.option("--route", type=click.Path(path_type=Path), help="Route file instead of the trip's.")
@click.option("--season", type=click.Choice(["spring", "summer", "autumn", "winter"]))
@click.option("--start", type=click.DateTime(["%Y-%m-%d"]), help="First day, 2026-12-01.")
@click.option("--set", "sets", multiple=True, metavar="KEY=VALUE", help="Override any plan value.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def command(
    trip: Path,
    years: range | None,
    archive: str,
    base_url: str | None,
    timeout_s: float,
    refresh: bool,
    route: Path | None,
    season: str | None,
    start: dt.datetime | None,
    sets: tuple[str, ...],
    as_json: bool,
) -> None:
    """Fetch real past years for every stop of a trip, once, while online.

    What has come home stays; the same command goes on where it stopped. Afterwards
    ``run TRIP --weather archive`` needs no network. Stops with ``horizon = "archive"`` get their
    horizon too; without ``--years`` that is all that is fetched.

    \b
    Examples:
      offgrid-sim weather fetch mytrip/trip.toml --years 2012:2020
      offgrid-sim run mytrip/trip.toml --weather archive
    """
    from offgrid_sim.plan.load import load_trip
    from offgrid_sim.weather.sources import horizon_places

    loaded = load_trip(
        trip,
        sets,
        route=route,
        season=season,
        start=start.date() if start else None,
        weather={"source": "archive"},
    )
    asked_for = {"place-years": years is not None, "horizons": bool(horizon_places(loaded))}
    things = " and ".join(name for name, wanted in asked_for.items() if wanted)
    if not things:
        raise click.UsageError(
            'give --years 2012:2020; only a trip with horizon = "archive" can do without.'
        )
    done, names = _bring_home(loaded, years or (), archive, base_url, timeout_s, refresh)
    if as_json:
        click.echo(json.dumps(_as_numbers(done), allow_nan=False))
    else:
        click.echo(f"{done.here} of {done.wanted} {things} are here: {done.fetched} fetched "
                   f"now, {done.already} before.")  # fmt: skip
    for sentence in _remarks(done):
        click.echo(sentence, err=True)
    if done.missing:
        raise WeatherUnavailable(_shortfall(done, names))


def _bring_home(
    loaded: LoadedTrip,
    years: Sequence[int],
    archive: str,
    base_url: str | None,
    timeout_s: float,
    refresh: bool,
) -> tuple[Fetched, dict[tuple[float, float], str]]:
    """Fetch with a progress bar on standard error; also the stops' names by coordinates."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    from offgrid_sim.engine.timeline import timeline
    from offgrid_sim.weather.archive import SERVICES
    from offgrid_sim.weather.archive.asked import rounded, year_offsets
    from offgrid_sim.weather.archive.fetch import fetch as bring
    from offgrid_sim.weather.archive.fetch import wanted_horizons, wanted_years
    from offgrid_sim.weather.archive.store import ArchiveCache
    from offgrid_sim.weather.archive.web import Web
    from offgrid_sim.weather.sources import archive_places, horizon_places

    places, hilly = archive_places(loaded), horizon_places(loaded)
    names = {(rounded(p.latitude_deg), rounded(p.longitude_deg)): p.name for p in places + hilly}
    offsets = year_offsets(timeline(loaded.trip).times_utc)
    service, cache = SERVICES[archive], ArchiveCache()
    wanted: list[PlaceYear | PlaceHorizon] = [
        *wanted_years(service, places, years, offsets),
        *wanted_horizons(hilly),
    ]
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    console = Console(stderr=True)
    bars = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    with Web(cache, timeout_s) as web, bars as progress:
        bar = progress.add_task(service.title, total=len(wanted))

        def on_step(asked: PlaceYear | PlaceHorizon) -> None:
            name = names[asked.latitude_deg, asked.longitude_deg]
            progress.update(bar, description=f"{service.title} {asked.what} {name}",
                            completed=wanted.index(asked))  # fmt: skip

        done = bring(service, wanted, cache, web, base_url, refresh, on_step)
    return done, names


def _shortfall(done: Fetched, names: dict[tuple[float, float], str]) -> str:
    """One sentence: why the first year is missing, how much is, and the next step."""
    first = done.missing[0]
    place = names[first.asked.latitude_deg, first.asked.longitude_deg]
    lacking = len(done.missing) + done.unasked
    others = f" (and {lacking - 1} more)" if lacking > 1 else ""
    return (
        f"{place} {first.asked.what}{others} could not be had: {first.reason}; {done.here} of "
        f"{done.wanted} are here and stay, so run the same command again to go on, or ask for "
        "other years or another --source."
    )


def _remarks(done: Fetched) -> list[str]:
    """What happened to files that were there before."""
    said = []
    if done.set_aside:
        said.append(f"{len(done.set_aside)} damaged files of the cache were set aside in its "
                    "folder 'damaged' and asked for again.")  # fmt: skip
    if done.dropped:
        said.append(f"{len(done.dropped)} place-years longest not used were dropped to keep the "
                    "cache within its limit; OFFGRID_SIM_ARCHIVE_MB raises it.")  # fmt: skip
    return said


def _as_numbers(done: Fetched) -> dict[str, Any]:
    return {
        "wanted": done.wanted,
        "here": done.here,
        "fetched": done.fetched,
        "already": done.already,
        "unasked": done.unasked,
        "missing": [
            {**asdict(m.asked), "what": m.asked.what, "reason": m.reason} for m in done.missing
        ],
        "set_aside": list(done.set_aside),
        "dropped": list(done.dropped),
    }
