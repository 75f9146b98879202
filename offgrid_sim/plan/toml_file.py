"""Reading one TOML file, and saying in plain words why it cannot be read."""

from __future__ import annotations

import difflib
import errno
import re
import tomllib
from pathlib import Path
from typing import Any

from offgrid_sim.errors import PlanError, Problem

LARGEST_BYTES = 2_000_000
"""No hand-written plan is larger; a weather table given by mistake is."""

_ENCODING_STEP = "Save it as UTF-8 in your editor."
_BYTE_ORDER_MARKS_16 = (b"\xff\xfe", b"\xfe\xff")


def read_toml(path: Path, label: str) -> dict[str, Any]:
    """Return the tables of the file; ``label`` is what the user called it.

    Raises PlanError with one problem: missing, a directory, unreadable, too large, not UTF-8,
    empty, or broken TOML with its line. A UTF-8 byte order mark is tolerated.
    """
    document = _parse(_decode(_read_bytes(path, label), label), label)
    if not document:
        raise _refuse(label, "the file is empty", "Fill it in, or get a starter with new DIR.")
    return document


def nearest(name: str, known: list[str]) -> str | None:
    """The known name that looks most like ``name``, or None when none is close."""
    by_lower = {k.lower(): k for k in known}
    close = difflib.get_close_matches(name.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else None


def _refuse(label: str, allowed: str, hint: str, key: str = "file", value: str = "") -> PlanError:
    return PlanError([Problem(label, key, value, allowed, hint)])


def _read_bytes(path: Path, label: str) -> bytes:
    try:
        if path.is_dir():
            raise _refuse(label, "this is a folder, not a file", _file_inside(path))
        if path.is_file() and path.stat().st_size > LARGEST_BYTES:
            raise _refuse(
                label, "too large for a plan", "Give a van, route, habits or trip file in TOML."
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise _refuse(label, "there is no such file", _file_nearby(path)) from None
    except PermissionError:
        step = "Give yourself the right to read it, or copy it elsewhere."
        raise _refuse(label, "the file may not be read", step) from None
    except OSError as error:
        if error.errno == errno.ENOTDIR:
            raise _refuse(label, "there is no such file", _file_nearby(path)) from None
        reason = (error.strerror or "unknown reason").lower()
        raise _refuse(label, f"cannot be read, {reason}", "Check the path and the disk.") from None
    except ValueError:
        step = "Write a path without control characters."
        raise _refuse(label, "this cannot be a file name", step) from None


def _file_inside(folder: Path) -> str:
    names = sorted(p.name for p in folder.glob("*.toml"))
    return f"Name a file in it, such as {names[0]}." if names else "Name a TOML file."


def _file_nearby(path: Path) -> str:
    folder = path.parent
    if not folder.is_dir():
        return f"The folder {folder.name or folder} does not exist either, check the path."
    names = sorted(p.name for p in folder.iterdir() if p.suffix == ".toml")
    close = nearest(path.name, names)
    if close:
        return f"Use {close}, which lies in that folder."
    if names:
        return f"Check the path, that folder holds {', '.join(names[:5])}."
    return "Check the path, that folder holds no TOML file."


def _decode(raw: bytes, label: str) -> str:
    if raw.startswith(_BYTE_ORDER_MARKS_16):
        raise _refuse(label, "the file is UTF-16, UTF-8 is expected", _ENCODING_STEP)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refuse(label, "a character is not UTF-8", _ENCODING_STEP, f"line {line}") from None


def _parse(text: str, label: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(str(error), text, label) from None
    except RecursionError:
        raise _refuse(label, "too many brackets inside each other", "Simplify it.") from None
    except ValueError:
        raise _refuse(label, "a number has too many digits", "Shorten it.") from None


def _syntax_error(message: str, text: str, label: str) -> PlanError:
    lines = text.splitlines() or [""]
    found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)", message)
    number = int(found[1]) if found and found[1] else len(lines)
    shown = lines[min(number, len(lines)) - 1].strip()
    reason = message[: found.start()] if found else message
    return _refuse(
        label,
        f"this is not TOML, {reason[:1].lower()}{reason[1:]}",
        "Write key = value, with text in quotes.",
        f"line {number}",
        shown if len(shown) <= 60 else shown[:57] + "...",
    )
