"""``offgrid-sim check FILE``: what is wrong with a file, or every value with its origin."""

from __future__ import annotations

import json
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from offgrid_sim.errors import PlanError
from offgrid_sim.outcome.wiring import LOSS_ONLY, Circuit, circuits, thin_words
from offgrid_sim.plan.draft import Origin
from offgrid_sim.plan.kinds import KINDS, Kind, kind_of_file
from offgrid_sim.plan.load import load_part, load_trip
from offgrid_sim.plan.loaded import LoadedPart, LoadedTrip
from offgrid_sim.plan.schema import plan_schema
from offgrid_sim.plan.van import Van

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
    well, the effective plan is shown: yours, from a file, or assumed; and for a van or trip
    what each circuit's cable loses.

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
        _print_circuits(_circuits(loaded))
        click.echo(_verdict(file, kind, loaded))


def _as_json(kind: Kind, loaded: LoadedTrip | LoadedPart[Any]) -> dict[str, Any]:
    plan = {k: v for k, v in loaded.document.items() if k not in ("origins", "files")}
    values = [{**asdict(o), "origin": str(o)} for o in loaded.origins.values()]
    told = {"ok": True, "kind": kind, "files": list(loaded.files), "plan": plan, "values": values}
    if kind in ("van", "trip"):
        told["circuits"] = [{**asdict(c), "thin": c.thin} for c in _circuits(loaded)]
    return told


def _circuits(loaded: LoadedTrip | LoadedPart[Any]) -> tuple[Circuit, ...]:
    """Circuits of the van that was checked; none for a route or habits."""
    if isinstance(loaded, LoadedTrip):
        trip = loaded.trip
        return circuits(trip.van, trip.habits.uses, trip.people)
    return circuits(loaded.plan) if isinstance(loaded.plan, Van) else ()


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
    styles = {"yours": "bold", "assumed": "dim"}
    rows = [((o.key, _cell(o.value), str(o)), styles.get(o.kind, "")) for o in origins.values()]
    _print_rows(("key", "value", "origin"), rows)


def _print_circuits(found: Sequence[Circuit]) -> None:
    """What each cable loses, then a sentence for each that loses more than advised."""
    if not found:
        return
    rows = [
        (
            (
                circuit.name,
                f"{circuit.cable_length_m:g} m of {circuit.cable_mm2:g} mm²",
                f"{circuit.current_a:.1f} A",
                f"{circuit.drop_share * 100:.1f} %",
                f"{circuit.limit_share * 100:.0f} %",
            ),
            "bold" if circuit.thin else "",
        )
        for circuit in found
    ]
    click.echo()
    _print_rows(("circuit", "cable", "current", "lost", "advised"), rows)
    for circuit in found:
        if circuit.thin:
            click.echo(thin_words(circuit))
    click.echo(f"{LOSS_ONLY}\n")


def _print_rows(heads: Sequence[str], rows: Sequence[tuple[Sequence[str], str]]) -> None:
    """A table of rows, each with its style; as wide as it likes where it is piped."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(*heads, box=None, pad_edge=False)
    for cells, style in rows:
        table.add_row(*(Text(text, style=style) for text in cells))
    console = Console(width=None if sys.stdout.isatty() else PIPED_WIDTH)
    with console.capture() as drawn:
        console.print(table)
    click.echo(drawn.get(), nl=False)


def _cell(value: Any) -> str:
    if value is None:
        return "not given"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
