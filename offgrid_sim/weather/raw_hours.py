"""What a reader hands on: the rows of one weather file, before any repair."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

MID_HOUR_MIN = 30.0


@dataclass(frozen=True)
class RawHours:
    """Rows of one file in the contract's units, not yet checked or repaired.

    ``starts`` are naive times on the file's own clock, which is ``utc_offset_h`` ahead of UTC;
    each row's hour starts there. ``values`` maps contract column names to arrays of the same
    length, NaN where the file has none. Sunlight of a row holds ``centre_min`` minutes after its
    start: 30 for an hourly mean, otherwise the moment a satellite saw. ``centre_min`` is None
    when the file does not say. ``year_labels`` (one per row) come from a leading ``year`` column.
    Coordinates are None when the file has none; then the stop that uses it lends its own.
    """

    format_name: str
    name: str
    starts: pd.DatetimeIndex
    values: dict[str, np.ndarray]
    utc_offset_h: float = 0.0
    centre_min: float | None = MID_HOUR_MIN
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    altitude_m: float | None = None
    typical: bool = False
    year_labels: np.ndarray | None = None
    licence: str = "not stated in the file; ask whoever published it"
    notes: tuple[str, ...] = field(default=())
    file_name: str = ""

    @property
    def called(self) -> str:
        """What an error calls this file: its file name, which the user can find again."""
        return self.file_name or self.name
