"""``offgrid-sim chamber``: one fridge alone in a climate chamber."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from offgrid_sim.cli.options import (
    output_options,
    say_if_cold,
    sets_option,
)
from offgrid_sim.cli.output import hand_over, report_path
from offgrid_sim.errors import PlanError
from offgrid_sim.plan.draft import Origin
from offgrid_sim.plan.kinds import kind_of_file
from offgrid_sim.plan.load import load_part, load_table, load_trip
from offgrid_sim.plan.toml_file import read_toml
from offgrid_sim.plan.van import Fridge
from offgrid_sim.report.chamber_page import chamber_page
from offgrid_sim.studies.chamber import AMBIENTS_C, ChamberTest, chamber_test
from offgrid_sim.studies.chamber_words import chamber_sentence, hours_words


@click.command()
@click.argument("fridge", type=click.Path(path_type=Path))
@click.option(
    "--ambient",
    "ambients",
    multiple=True,
    type=click.FloatRange(-10, 60),
    help="Chamber temperature, C; may be given several times. Else 16, 25, 32, 43.",
)
@sets_option
@output_options
def command(
    fridge: Path,
    ambients: tuple[float, ...],
    sets: tuple[str, ...],
    out: Path | None,
    no_report: bool,
    as_json: bool,
) -> None:
    """Test one fridge alone in a climate chamber.

    FRIDGE is a van file, a trip file, or a file with the keys of a fridge. For each ambient: use
    per day, time to cool down from warm, and how long food holds when power is lost.

    \b
    Example:
      offgrid-sim chamber configs/vans/winter_upright.toml --set van.fridge.wall_mm=50
    """
    model, origins, files = load_fridge(fridge, sets)
    say_if_cold()
    test = chamber_test(model, ambients or AMBIENTS_C)
    hand_over(
        None if no_report else lambda: chamber_page(test, origins, files),
        out or report_path(f"{fridge.stem}_chamber.html"),
        lambda: as_numbers(test),
        lambda: tell(test),
        as_json,
    )


def as_numbers(test: ChamberTest) -> dict[str, Any]:
    """The machine interface of ``chamber``: one JSON object."""
    return {
        "fridge": test.fridge.model_dump(mode="json"),
        "ua_w_k": test.ua_w_k,
        "ambients": [dataclasses.asdict(row) for row in test.rows],
    }


def load_fridge(
    path: Path, sets: tuple[str, ...]
) -> tuple[Fridge, Mapping[str, Origin], tuple[str, ...]]:
    """The fridge of a van file, a trip file or a file of its own, with origins and file names."""
    tables = set(read_toml(path, str(path)))
    alone = tables == {"fridge"} or bool(tables & set(Fridge.model_fields) - {"name"})
    kind = "fridge" if alone else kind_of_file(path)
    loaded: Any
    if kind == "trip":
        loaded = load_trip(path, sets)
        model = loaded.trip.van.fridge
    elif kind == "van":
        loaded = load_part(path, "van", sets)
        model = loaded.plan.fridge
    else:
        loaded = load_table(path, "van.fridge", sets)
        model = loaded.plan
    if model is None:
        raise PlanError(f"{path}: this van has no fridge to test; give it a [fridge] table.")
    of_fridge = {k: o for k, o in loaded.origins.items() if k.startswith("van.fridge.")}
    return model, of_fridge, loaded.files


def tell(test: ChamberTest) -> None:
    """The result for a person at a terminal."""
    console = Console(file=sys.stdout, highlight=False)
    console.print(f"[bold]{chamber_sentence(test)}[/bold]")
    table = Table()
    for head in ("Ambient", "Wh/day shut", "Wh/day in use", "Runs", "Cools down in",
                 "Fridge > 8 C after", "Thaw starts", "Thawed"):  # fmt: skip
        table.add_column(head, justify="right")
    for row in test.rows:
        table.add_row(
            f"{row.ambient_c:.0f} C", f"{row.steady_wh_day:.0f}", f"{row.in_use_wh_day:.0f}",
            f"{row.duty * 100:.0f} %", hours_words(row.pull_down_h),
            hours_words(row.fresh_above_8c_h), hours_words(row.thaw_starts_h),
            hours_words(row.thawed_h),
        )  # fmt: skip
    console.print(table)
