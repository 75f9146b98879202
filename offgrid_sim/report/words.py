"""Numbers and moments in words, the same everywhere on a page."""

from __future__ import annotations

import pandas as pd


def number(value: float, digits: int = 0) -> str:
    """``1 234``, ``-3.5``: thin groups, a true minus sign, never ``-0``."""
    text = f"{value:,.{digits}f}".replace(",", "\u202f")
    if float(f"{value:.{digits}f}") == 0:
        text = text.lstrip("-")
    return text.replace("-", "\u2212")


def percent(share: float, digits: int = 0) -> str:
    """``12 %`` of a share 0..1."""
    return f"{number(share * 100, digits)}\u202f%"


def duration(hours: float) -> str:
    """``40 min``, ``13.7 h``, ``572 h``."""
    if hours < 0.99:
        return f"{round(hours * 60):d}\u00a0min"
    return f"{number(hours, 1 if hours < 100 else 0)}\u00a0h"


def day(moment: pd.Timestamp) -> str:
    """``9 December``."""
    return f"{moment.day} {moment:%B}"


def short_day(moment: pd.Timestamp) -> str:
    """``9 Dec``."""
    return f"{moment.day} {moment:%b}"


def clock(moment: pd.Timestamp) -> str:
    """``9 Dec 21:00``."""
    return f"{moment.day} {moment:%b %H:%M}"


def counted(count: int, thing: str) -> str:
    """``1 hour``, ``3 hours``."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def energy(wh: float) -> str:
    """``840 Wh`` or ``23.2 kWh``."""
    return f"{number(wh / 1000, 1)}\u00a0kWh" if abs(wh) >= 9_950 else f"{number(wh)}\u00a0Wh"


def in_a_row(parts: list[str]) -> str:
    """``a, b and c``."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]]) if len(parts) > 1 else "".join(parts)
