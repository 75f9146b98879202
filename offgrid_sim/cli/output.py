"""Where results go, and writing them whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from offgrid_sim.errors import OutputError


def report_path(name: str) -> Path:
    """Path of a report under ``reports/`` in the current folder."""
    return Path("reports") / name


def write_text(path: Path, text: str) -> None:
    """Write ``text`` in UTF-8 so that ``path`` appears whole; else OutputError, nothing changed."""
    if path.is_dir():
        raise OutputError(f"{path} is a folder; name a file in it with --out.")
    scratch: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(scratch, 0o644)
        os.replace(scratch, path)
    except OSError as error:
        raise OutputError(
            f"could not write {path}: {(error.strerror or str(error)).lower()}; "
            "free space or choose another place with --out."
        ) from error
    finally:
        if scratch is not None:
            with contextlib.suppress(OSError):
                os.unlink(scratch)
