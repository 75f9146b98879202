"""What each design lived through in each weather year, kept so that a stopped study can go on.

The file lies in the user's cache folder under a name made from everything that decides the
numbers: the plan, its weather, the designs and the program itself. It is written whole or not at
all, and removed once the study is done.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import time
import zipfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from offgrid_sim import __version__
from offgrid_sim.errors import OutputError
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.size_grid import Design
from offgrid_sim.user_cache import user_cache_folder
from offgrid_sim.whole_file import write_whole

KEPT = (
    "hours", "blackout_hours", "first_blackout_h", "thaw_hours", "first_thaw_h", "dry_hours",
    "first_dry_h", "grey_full_hours", "unserved_wh", "min_soc", "load_wh", "fridge_wh",
    "solar_wh", "alternator_wh", "shore_wh", "coldest_cell_c",
)  # fmt: skip
"""Fields of TOTALS that a sizing study needs, kept in single precision."""

SAVE_EVERY_S = 5.0
_ROOMS = ("plan", "weather", "physics", "engine", "data")


class Ledger:
    """``kept[name]`` has shape (designs, years); ``done`` tells which of them have been lived."""

    def __init__(self, designs: int, years: int, path: Path | None = None):
        """``path`` is where the ledger is kept; without one it is not."""
        self.kept = {name: np.zeros((designs, years), np.float32) for name in KEPT}
        self.done = np.zeros((designs, years), bool)
        self.path = path
        self._saved_at = time.monotonic()

    def record(self, members: Sequence[int], first: int, last: int, totals: np.ndarray) -> None:
        """Take in TOTALS of shape (members, last - first)."""
        for name, values in self.kept.items():
            values[members, first:last] = totals[name]
        self.done[members, first:last] = True

    def save_now_and_then(self) -> None:
        """Save when the last time was a while ago."""
        if self.path is not None and time.monotonic() - self._saved_at > SAVE_EVERY_S:
            self.save()

    def save(self) -> None:
        """Write the file whole; OutputError when that cannot be done."""
        if self.path is None:
            return
        self._saved_at = time.monotonic()
        content = io.BytesIO()
        arrays: dict[str, Any] = {**self.kept, "done": self.done}
        np.savez(content, **arrays)
        try:
            write_whole(self.path, content.getvalue())
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise OutputError(
                f"could not keep what is done in {self.path.parent}: {reason}; free space, set "
                "OFFGRID_SIM_CACHE to another folder, or use --no-resume."
            ) from error

    def load(self) -> int:
        """Take in what an earlier, stopped study left; returns how many runs that is.

        A file that cannot be read is as good as none. Years beyond this study's are left out.
        """
        if self.path is None or not self.path.is_file():
            return 0
        try:
            with np.load(io.BytesIO(self.path.read_bytes()), allow_pickle=False) as file:
                found = {name: file[name] for name in ("done", *KEPT)}
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return 0
        years = min(found["done"].shape[1], self.done.shape[1])
        self.done[:, :years] = found["done"][:, :years]
        for name, values in self.kept.items():
            values[:, :years] = found[name][:, :years]
        return int(self.done.sum())

    def forget(self) -> None:
        """Remove the file: the study is done."""
        if self.path is not None:
            with contextlib.suppress(OSError):
                self.path.unlink()


def ledger_path(loaded: LoadedTrip, designs: Sequence[Design], steps_per_hour: int) -> Path:
    """Where the ledger of this very study lies; another plan, weather or grid has another."""
    plan = loaded.trip.model_dump(mode="json")
    plan["weather"].pop("years")
    digest = hashlib.sha256(_program().encode())
    digest.update(json.dumps([plan, steps_per_hour], sort_keys=True).encode())
    digest.update(json.dumps([design.variant.words() for design in designs]).encode())
    for key in sorted(loaded.folders):
        path = loaded.weather_path(key)
        if path is not None and path.is_file():
            digest.update(path.read_bytes())
    return user_cache_folder() / "studies" / f"size-{digest.hexdigest()[:20]}.npz"


@cache
def _program() -> str:
    """Digest of all code and data that the numbers depend on."""
    package = Path(__file__).parent.parent
    digest = hashlib.sha256(__version__.encode())
    for room in _ROOMS:
        for path in sorted((package / room).rglob("*")):
            if path.is_file() and path.suffix in (".py", ".csv", ".npz"):
                digest.update(path.relative_to(package).as_posix().encode())
                digest.update(path.read_bytes())
    return digest.hexdigest()
