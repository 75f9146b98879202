"""Where results go: a report file, one JSON object or words; files whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from offgrid_sim.errors import OutputError
from offgrid_sim.whole_file import write_whole


def report_path(name: str) -> Path:
    """Path of a report under ``reports/`` in the current folder."""
    return Path("reports") / name


def file_to_write(_context: click.Context, _option: click.Parameter, path: Path) -> Path:
    """Callback of ``--out``: a folder is refused at once, before minutes of work."""
    if path is not None:
        _refuse_folder(path)
    return path


def _refuse_folder(path: Path) -> None:
    if path.is_dir():
        raise OutputError(f"{path} is a folder; name a file in it with --out.")


def write_text(path: Path, text: str) -> None:
    """Write ``text`` in UTF-8 so that ``path`` appears whole; else OutputError, nothing changed."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` so that ``path`` appears whole; else OutputError and nothing is changed."""
    _refuse_folder(path)
    try:
        write_whole(path, data)
    except OSError as error:
        raise OutputError(
            f"could not write {path}: {(error.strerror or str(error)).lower()}; "
            "free space or choose another place with --out."
        ) from error


def hand_over(
    page: Callable[[], str] | None,
    where: Path,
    numbers: Callable[[], dict[str, Any]],
    words: Callable[[], None],
    as_json: bool,
) -> None:
    """Give a result to the user: the report first, then numbers or words, then where it lies.

    With ``as_json`` one JSON object goes to standard output and nothing else there. ``page`` is
    None where no report is wanted.
    """
    if page is not None:
        write_text(where, page())
    if as_json:
        click.echo(json.dumps(numbers(), allow_nan=False))
    else:
        words()
    if page is not None:
        click.echo(f"Report: {where}", err=as_json)
