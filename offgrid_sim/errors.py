"""What can go wrong, as one tree; the command line turns it into exit codes in one place.

    OffgridError                    exit 2   anything the user can mend
    ├── PlanError                   exit 2   a van, route, habits or trip file is wrong
    ├── WeatherFileError            exit 2   a weather file is broken or unusable
    ├── OutputError                 exit 2   a report or table could not be written
    └── WeatherUnavailable          exit 3   weather could not be had (never fetched, no network)

Every message is one clear sentence that ends with the next step.
"""

from __future__ import annotations

from dataclasses import dataclass


class OffgridError(Exception):
    """Base of all errors that the command line reports in words, without a traceback."""

    exit_code = 2


@dataclass(frozen=True)
class Problem:
    """One thing wrong with one key of one file.

    ``file`` is as the user wrote it, ``key`` is dotted (``van.battery.capacity_ah``), ``value``
    is what stands there, ``allowed`` says what may stand there, ``hint`` is the next step.
    """

    file: str
    key: str
    value: str
    allowed: str
    hint: str = ""

    def __str__(self) -> str:
        shown = f" = {self.value}" if self.value else ""
        hint = f" {self.hint}" if self.hint else ""
        return f"{self.file}: {self.key}{shown}: {self.allowed}.{hint}"


class PlanError(OffgridError):
    """One or more problems in the files that describe the trip, all reported together."""

    def __init__(self, problems: list[Problem] | str):
        self.problems = [] if isinstance(problems, str) else list(problems)
        super().__init__(
            problems if isinstance(problems, str) else "\n".join(str(p) for p in problems)
        )


class WeatherFileError(OffgridError):
    """A weather file that cannot be read, or that is broken beyond the stated repairs."""


class OutputError(OffgridError):
    """A result could not be written; whatever was there before is untouched."""


class WeatherUnavailable(OffgridError):  # noqa: N818
    """Weather that could not be had: never fetched, no climate cell near, or no network."""

    exit_code = 3
