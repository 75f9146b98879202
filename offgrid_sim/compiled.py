"""Compile scalar functions with numba, and make stale machine code impossible.

Numba's cache on disk looks only at the file a function stands in, not at the files of the
functions it calls. So the cache folder is keyed on the text of everything that is compiled, on
the versions of numba and Python, and on nothing else: change one line and a new folder is used.
Set ``NUMBA_DISABLE_JIT=1`` to run the very same functions as plain Python.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import numba
import numba.core.config

from offgrid_sim.user_cache import user_cache_folder

_COMPILED_ROOMS = ("physics", "engine")
_KEEP_OLD_DAYS = 30
Function = TypeVar("Function", bound=Callable[..., Any])


def source_key(package_dir: Path) -> str:
    """Hex digest over the text of all compiled rooms and of this file (compiler options), and
    the versions of numba and Python."""
    digest = hashlib.sha256(f"{numba.__version__} {sys.version}".encode())
    files = [package_dir / "compiled.py"]
    for room in _COMPILED_ROOMS:
        files += sorted((package_dir / room).glob("*.py"))
    for path in files:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder(package_dir: Path = Path(__file__).parent) -> Path | None:
    """Folder for machine code of exactly this source, or None when none can be written."""
    root = user_cache_folder() / "compiled"
    folder = root / source_key(package_dir)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"probe-{os.getpid()}"
        probe.touch()
        probe.unlink()
    except OSError:
        return None
    _drop_old(root, keep=folder)
    return folder


def _drop_old(root: Path, keep: Path) -> None:
    """Remove machine code of sources not used for a month."""
    oldest = time.time() - _KEEP_OLD_DAYS * 86400
    with contextlib.suppress(OSError):  # another process may be tidying up too
        for folder in root.iterdir():
            if folder != keep and folder.is_dir() and folder.stat().st_mtime < oldest:
                shutil.rmtree(folder, ignore_errors=True)


_FOLDER = cache_folder()
_SAFE_FAST_MATH = {"contract", "nsz", "arcp", "reassoc"}
"""Fused multiply-add, reciprocals and another order of sums are allowed; NaN and infinity keep
their meaning."""


def is_warm() -> bool:
    """True when machine code of this source was found on disk, so nothing needs compiling."""
    return _FOLDER is not None and any(_FOLDER.rglob("*.nbc"))


def compiled(function: Function) -> Function:
    """Decorate a scalar function: numba without the interpreter lock, inlined, cached by source."""
    before = numba.core.config.CACHE_DIR
    if _FOLDER is not None:
        numba.core.config.CACHE_DIR = str(_FOLDER)
    try:
        jit = numba.njit(
            cache=_FOLDER is not None,
            nogil=True,
            forceinline=True,
            error_model="numpy",
            fastmath=_SAFE_FAST_MATH,
        )
        result: Function = jit(function)
        return result
    finally:
        numba.core.config.CACHE_DIR = before
