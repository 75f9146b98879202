"""The commented starter files: a van, a route, habits and a trip that run as they are."""

from __future__ import annotations

import os
import shutil
import tempfile
from importlib.resources import files
from pathlib import Path

from offgrid_sim.errors import OutputError

STARTER_FILES = ("van.toml", "route.toml", "habits.toml", "trip.toml")


def write_starter(folder: str | os.PathLike[str]) -> list[Path]:
    """Write the starter files into ``folder``, all of them or none; return their paths.

    The folder is made if need be. A file that is already there is never overwritten. Raises
    OutputError, and OSError when the disk refuses.
    """
    target = Path(folder)
    _refuse_what_stands_there(target)
    existed = target.is_dir()
    home = target if existed else target.absolute().parent
    home.mkdir(parents=True, exist_ok=True)
    waiting = Path(tempfile.mkdtemp(prefix=".starter-", dir=home))
    try:
        for name in STARTER_FILES:
            (waiting / name).write_bytes(_template(name))
        if existed:
            _move_all(waiting, target)
        else:
            waiting.chmod(0o755)
            waiting.rename(target)
    finally:
        shutil.rmtree(waiting, ignore_errors=True)
    return [target / name for name in STARTER_FILES]


def _template(name: str) -> bytes:
    return (files("offgrid_sim") / "plan" / "starter" / name).read_bytes()


def _refuse_what_stands_there(target: Path) -> None:
    if target.exists() and not target.is_dir():
        raise OutputError(f"{target} is a file; name a new folder for the starter files.")
    there = [name for name in STARTER_FILES if (target / name).exists()]
    if there:
        raise OutputError(
            f"{target} already holds {', '.join(there)}, nothing was written; name another folder."
        )


def _move_all(waiting: Path, target: Path) -> None:
    moved: list[Path] = []
    try:
        for name in STARTER_FILES:
            os.replace(waiting / name, target / name)
            moved.append(target / name)
    except OSError:
        for path in moved:
            path.unlink(missing_ok=True)
        raise
