"""What ``run`` adds where a van fails: causes of the shown year, cures over all years."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
from rich.console import Console

from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.causes import Causes, find_causes
from offgrid_sim.studies.causes_words import causes_numbers, why_words
from offgrid_sim.studies.changes import read_changes
from offgrid_sim.studies.cures import Cure, Cures, find_cures, usual_cures
from offgrid_sim.studies.cures_words import cures_numbers, cures_sentence
from offgrid_sim.studies.variants import Bench

MOST_TOLD = 3


@dataclass(frozen=True)
class Asked:
    """What the user wants to know beside the run; ``cures`` is empty where they want none."""

    why: bool
    cures: tuple[Cure, ...]


@dataclass(frozen=True)
class Found:
    """Causes and cures; None where not asked for."""

    causes: Causes | None
    cures: Cures | None

    def numbers(self, with_places: bool) -> dict[str, Any]:
        """What is added to the JSON object of ``run``."""
        told: dict[str, Any] = {}
        if self.causes is not None:
            told["causes"] = causes_numbers(self.causes, with_places)
        if self.cures is not None:
            told["cures"] = cures_numbers(self.cures)
        return told


def asked(why: bool, cures: bool, cures_file: Path | None) -> Asked:
    """Read the list of cures, if any is wanted; PlanError with all that is wrong in it."""
    if cures_file is not None:
        return Asked(why, read_changes(cures_file, "cures", Cure))
    return Asked(why, usual_cures() if cures else ())


def find(loaded: LoadedTrip, outcome: RunOutcome, wanted: Asked, bench: Bench) -> Found:
    """Causes and cures of a run, as far as they are wanted; ``bench`` has its weather."""
    return Found(
        find_causes(loaded, outcome, bench) if wanted.why else None,
        find_cures(loaded, wanted.cures, bench) if wanted.cures else None,
    )


def tell_why(found: Found) -> None:
    """The longest failures with their causes, and the best cure, at a terminal."""
    console = Console(file=sys.stdout, highlight=False, markup=False)
    whys = () if found.causes is None else found.causes.whys
    longest = sorted(whys, key=lambda why: -why.episode.hours)[:MOST_TOLD]
    for why in whys:
        if why in longest:
            console.print(f"  {why_words(why)}")
    if found.cures is not None and found.cures.usual_failing_years:
        console.print(f"  {cures_sentence(found.cures)}")


def why_options(function: Any) -> Any:
    """The options that ask for causes and cures."""
    for option in (
        click.option("--cures-file", type=click.Path(path_type=Path), metavar="FILE",
                     help="Own list of cures in TOML."),
        click.option("--cures/--no-cures", default=True, show_default=True,
                     help="Try what would fix a failure, in all weather years."),
        click.option("--why/--no-why", default=True, show_default=True,
                     help="Find what caused a failure."),
    ):  # fmt: skip
        function = option(function)
    return function
