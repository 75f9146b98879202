"""Zones of places asked for before, kept on disk: they spare loading the finder's polygons.

One small file, written whole. It names the versions of the finder and of its polygons and is
ignored when these have changed, when it cannot be read or does not hold what it should; where it
cannot be written, the finder is asked again next time.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from zoneinfo import ZoneInfo

from offgrid_sim.user_cache import user_cache_folder
from offgrid_sim.whole_file import write_whole

MOST_PLACES = 2000
"""Places kept, some 80 kB; the oldest go first."""


def remembered_zone(
    latitude_deg: float, longitude_deg: float, find: Callable[[float, float], str]
) -> str:
    """The zone at coordinates [deg] from the file; else what ``find`` says, which is then kept."""
    path = zones_file()
    place = f"{float(latitude_deg)!r},{float(longitude_deg)!r}"
    zones = _read(path)
    known = zones.get(place)
    if known is not None and _is_zone(known):
        return known
    found = find(latitude_deg, longitude_deg)
    newest = list({**zones, place: found}.items())[-MOST_PLACES:]
    text = json.dumps({"finder": _finder_version(), "zones": dict(newest)}, indent=0)
    with contextlib.suppress(OSError):
        write_whole(path, text.encode("utf-8"))
    return found


def zones_file() -> Path:
    """``zones.json`` in the user's cache folder."""
    return user_cache_folder() / "zones.json"


def _read(path: Path) -> dict[str, str]:
    """Place to zone; empty where there is no file of this finder that can be used."""
    try:
        held = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(held, dict) or held.get("finder") != _finder_version():
        return {}
    zones = held.get("zones")
    if not isinstance(zones, dict):
        return {}
    return {place: zone for place, zone in zones.items() if isinstance(zone, str)}


def _is_zone(name: str) -> bool:
    """Whether the clock knows this zone."""
    try:
        ZoneInfo(name)
    except (OSError, ValueError, KeyError):  # ZoneInfoNotFoundError is a KeyError
        return False
    return True


@cache
def _finder_version() -> str:
    """Versions of the finder and of its polygons, which newer releases ship apart."""
    names = ("timezonefinder", "timezonefinder-data")
    return ", ".join(f"{name} {_version(name)}" for name in names)


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"
