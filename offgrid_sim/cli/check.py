"""``offgrid-sim check FILE``: what is wrong with a file, or every value with its origin."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from offgrid_sim.errors import PlanError
from offgrid_sim.plan.draft import Origin
from offgrid_sim.plan.kinds import KINDS, Kind, kind_of_file
from offgrid_sim.plan.load import load_part, load_trip
from offgrid_sim.plan.loaded import LoadedPart, LoadedTrip
from offgrid_sim.plan.schema import plan_schema

PIPED_WIDTH = 200
"""Columns of the table when it goes to a file or another program."""


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--set", "sets", multiple=True, metavar="KEY=VALUE", help="Change one value.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output.")
@click.option("--schema", type=click.Choice(list(KINDS)), help="Print the JSON Schema instead.")
def command(file: Path | None, sets: tuple[str, ...], as_json: bool, schema: str | None) -> None:
    """Check a file; show every value with its origin.

    FILE is a van, route, habits or trip file. All that is wrong is said at once; when all is
    well, the effective plan is shown: yours, from a file, or assumed.

    \b
    Examples:
      offgrid-sim check mytrip/trip.toml
      offgrid-sim check mytrip/trip.toml --set van.battery.capacity_ah=100
      offgrid-sim check --schema van > van.schema.json
    """
    if schema is not None:
        click.echo(json.dumps(plan_schema(schema), indent=2))
        return
    if file is None:
        raise click.UsageError("name the file to check.")
    try:
        kind = kind_of_file(file)
        loaded = load_trip(file, sets) if kind == "trip" else load_part(file, kind, sets)
    except PlanError as error:
        if as_json:
            problems = [asdict(p) for p in error.problems]
            click.echo(json.dumps({"ok": False, "problems": problems}, indent=2))
        raise
    if as_json:
        click.echo(json.dumps(_as_json(kind, loaded), indent=2))
    else:
        _print_table(loaded.origins)
        click.echo(_verdict(file, kind, loaded))


def _as_json(kind: Kind, loaded: LoadedTrip | LoadedPart[Any]) -> dict[str, Any]:
    plan = {k: v for k, v in loaded.document.items() if k not in ("origins", "files")}
    values = [{**asdict(o), "origin": str(o)} for o in loaded.origins.values()]
    return {"ok": True, "kind": kind, "files": list(loaded.files), "plan": plan, "values": values}


def _verdict(file: Path, kind: Kind, loaded: LoadedTrip | LoadedPart[Any]) -> str:
    count = Counter(o.kind for o in loaded.origins.values())
    length = ""
    if isinstance(loaded, LoadedTrip):
        length = f", {loaded.trip.nights} nights from {loaded.trip.first_day}"
    return (
        f"{file} is a valid {kind}{length}: {count['yours']} values are yours, "
        f"{count['file']} from files, {count['assumed']} assumed."
    )


def _print_table(origins: Mapping[str, Origin]) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table("key", "value", "origin", box=None, pad_edge=False)
    for origin in origins.values():
        style = "bold" if origin.kind == "yours" else "dim" if origin.kind == "assumed" else ""
        row = (origin.key, _cell(origin.value), str(origin))
        table.add_row(*(Text(text, style=style) for text in row))
    console = Console(width=None if sys.stdout.isatty() else PIPED_WIDTH)
    with console.capture() as drawn:
        console.print(table)
    click.echo(drawn.get(), nl=False)


def _cell(value: Any) -> str:
    if value is None:
        return "not given"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
