"""Where the program keeps what it can always make again."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs


def user_cache_folder() -> Path:
    """OFFGRID_SIM_CACHE or, without it, the user's cache folder; it may not exist."""
    root = os.environ.get("OFFGRID_SIM_CACHE") or platformdirs.user_cache_dir("offgrid_sim")
    return Path(root)
