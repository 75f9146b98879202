"""Writing a file so that it appears whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write aside, then rename. OSError if it cannot be done; what was there before stays."""
    scratch: str | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(scratch, 0o644)
        os.replace(scratch, path)
    finally:
        if scratch is not None:
            with contextlib.suppress(OSError):
                os.unlink(scratch)
