"""``offgrid-sim new DIR``: a commented starter that runs as it is."""

from __future__ import annotations

from pathlib import Path

import click

from offgrid_sim.plan.starter import write_starter


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Write a starter van, route, habits and trip.

    The files go into DIR, with comments, and run as they are. A file that is already there is
    never overwritten.

    \b
    Example:
      offgrid-sim new mytrip
    """
    written = write_starter(folder)
    click.echo(f"Wrote {', '.join(p.name for p in written)} in {folder}.")
    click.echo(f"Next: offgrid-sim check {folder / 'trip.toml'}")
    click.echo(f"Then: offgrid-sim run {folder / 'trip.toml'}")
