"""The plain CSV: a header with the contract's column names, one row per hour.

    # latitude_deg: 42.6            optional comment lines: latitude_deg, longitude_deg,
    # longitude_deg: 0.5            altitude_m, name, licence, typical
    time,ghi_w_m2,dni_w_m2,dhi_w_m2,temp_air_c,wind_speed_m_s,relative_humidity_pct
    2026-01-31T14:00+01:00,310,402,95,8.4,2.1,61

``time`` is the start of the hour, ISO 8601 with its offset from UTC (UTC if it has none). Only
time, ghi_w_m2 and temp_air_c must be there. A ``year`` column labels weather years.
"""

from __future__ import annotations

import difflib
import io

import numpy as np
import pandas as pd

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.raw_hours import MID_HOUR_MIN, RawHours
from offgrid_sim.weather.table import COLUMNS

REQUIRED = ("time", "ghi_w_m2", "temp_air_c")
MISSING_WORDS = ("", "nan", "na", "n/a", "null", "none", "-", "--")


def read_plain_csv(text: str, name: str) -> RawHours:
    """Rows of a plain CSV; WeatherFileError names the line or column that is wrong."""
    lines = text.splitlines()
    about = _comments(lines)
    rows = [(n, line) for n, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    table = _table(rows, name)
    line_numbers = np.array([n for n, _ in rows[1:]])
    times, minute, times_note = _times(table["time"], line_numbers, name)
    decimal_comma = ";" in rows[0][1]
    values = {
        column: _numbers(table[column], decimal_comma, line_numbers, name)
        for column in COLUMNS
        if column in table
    }
    labels = _numbers(table["year"], False, line_numbers, name) if "year" in table else None
    if labels is not None and (np.isnan(labels).any() or (labels % 1).any()):
        raise WeatherFileError(
            f"{name}: the year column must hold a whole number in every row; fill it or remove it."
        )
    unread = [c for c in table.columns if c not in (*COLUMNS, "time", "year")]
    notes = (*times_note, *([f"Columns left unread: {', '.join(unread)}."] if unread else []))
    labels = None if labels is None else labels.astype(int)
    times, values, labels, hourly_note = _hourly(times, values, labels, name)
    return RawHours(
        format_name="plain CSV",
        name=about.get("name", f"{name} (plain CSV)"),
        starts=times,
        values=values,
        centre_min=MID_HOUR_MIN if minute == 0 or hourly_note else 0.0,
        latitude_deg=_about_number(about, "latitude_deg", 90.0, name),
        longitude_deg=_about_number(about, "longitude_deg", 180.0, name),
        altitude_m=_about_number(about, "altitude_m", 9000.0, name),
        typical=about.get("typical", "").lower() in ("true", "yes", "1"),
        year_labels=labels,
        licence=about.get("licence", "not stated in the file"),
        notes=(*notes, *hourly_note),
    )


def _comments(lines: list[str]) -> dict[str, str]:
    pairs = (line[1:].split(":", 1) for line in lines if line.startswith("#") and ":" in line)
    return {key.strip().lower(): value.strip() for key, value in pairs}


def _about_number(about: dict[str, str], key: str, limit: float, name: str) -> float | None:
    if key not in about:
        return None
    try:
        number = float(about[key])
    except ValueError:
        number = np.nan
    if not abs(number) <= limit:
        raise WeatherFileError(
            f"{name}: '# {key}: {about[key]}' is not a number within ±{limit:g}; correct that line."
        )
    return number


def _table(rows: list[tuple[int, str]], name: str) -> pd.DataFrame:
    """All cells as text under trimmed lower-case headers, one row per line."""
    if len(rows) < 2:
        raise WeatherFileError(f"{name}: has a header but no hours; export it again.")
    separator = next((mark for mark in (";", "\t") if mark in rows[0][1]), ",")
    header = [cell.strip().strip('"').lower() for cell in rows[0][1].split(separator)]
    _check_header(header, name)
    widths = np.array([line.count(separator) + 1 for _, line in rows[1:]])
    if widths[-1] < len(header):
        raise WeatherFileError(
            f"{name}: stops in the middle of its last line ({rows[-1][0]}), so it is cut off; "
            "export or copy it again."
        )
    wrong = np.flatnonzero(widths != len(header))
    if len(wrong):
        raise WeatherFileError(
            f"{name}: line {rows[1 + wrong[0]][0]} has {widths[wrong[0]]} values for "
            f"{len(header)} columns; use points for decimals, or semicolons between columns."
        )
    body = "\n".join(line for _, line in rows[1:])
    return pd.read_csv(
        io.StringIO(body),
        sep=separator,
        names=header,
        dtype=str,
        keep_default_na=False,
        index_col=False,
        quoting=3,
    )


def _check_header(header: list[str], name: str) -> None:
    twice = sorted({column for column in header if header.count(column) > 1})
    if twice:
        raise WeatherFileError(f"{name}: column {twice[0]!r} is there twice; remove one.")
    missing = [column for column in REQUIRED if column not in header]
    if not missing:
        return
    hints = []
    for column in missing:
        stem = column.split("_")[0]
        others = [have for have in header if have and have not in COLUMNS]
        near = [have for have in others if have.startswith(stem)] or difflib.get_close_matches(
            column, others, 1, 0.4
        )
        hints.append(f"{column} (perhaps your {near[0]!r})" if near else column)
    raise WeatherFileError(
        f"{name}: missing column {', '.join(hints)}; rename or add it, in the unit of its name."
    )


def _times(
    cells: pd.Series, line_numbers: np.ndarray, name: str
) -> tuple[pd.DatetimeIndex, int, list[str]]:
    """UTC hour starts, the minute past the hour on the file's own clock, and notes."""
    cells = cells.str.strip().str.strip('"')
    times = pd.to_datetime(cells, utc=True, format="ISO8601", errors="coerce")
    bad = np.flatnonzero(times.isna())
    if len(bad):
        raise WeatherFileError(
            f"{name}: line {line_numbers[bad[0]]}: time {cells.iloc[bad[0]][:40]!r} is not "
            "ISO 8601; write it like 2026-01-31T14:00+01:00."
        )
    naive = ~cells.str.contains(r"(?:Z|[+-]\d{2}:?\d{0,2})$", regex=True, case=False)
    naive |= ~cells.str.contains(":", regex=False)
    notes = ["Times carry no offset and are read as UTC."] if naive.any() else []
    minutes = cells.str.extract(r"[T ]\d{1,2}:(\d{2})")[0].fillna("0").astype(int)
    return pd.DatetimeIndex(times).tz_localize(None), int(minutes.iloc[0]), notes


def _numbers(
    cells: pd.Series, decimal_comma: bool, line_numbers: np.ndarray, name: str
) -> np.ndarray:
    cells = cells.str.strip().str.strip('"')
    if decimal_comma:
        cells = cells.str.replace(",", ".", regex=False)
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(float)
    numbers = np.where(np.isfinite(numbers), numbers, np.nan)
    empty = cells.str.lower().isin(MISSING_WORDS).to_numpy()
    bad = np.flatnonzero(np.isnan(numbers) & ~empty)
    if len(bad):
        raise WeatherFileError(
            f"{name}: line {line_numbers[bad[0]]}: {cells.name} is {cells.iloc[bad[0]][:40]!r}, "
            "not a number; correct it, or leave it empty if it is missing."
        )
    return numbers


def _hourly(
    times: pd.DatetimeIndex,
    values: dict[str, np.ndarray],
    labels: np.ndarray | None,
    name: str,
) -> tuple[pd.DatetimeIndex, dict[str, np.ndarray], np.ndarray | None, list[str]]:
    """Rows closer than an hour become hourly means; rows further apart are refused."""
    if len(times) < 2:
        return times, values, labels, []
    step_min = float(np.median(np.abs(np.diff(times.to_numpy()) / np.timedelta64(1, "m"))))
    if step_min > 60:
        raise WeatherFileError(
            f"{name}: has one row every {step_min / 60:g} hours; hourly rows are needed, so export "
            "it again hour by hour."
        )
    if step_min == 60 or step_min == 0:
        return times, values, labels, []
    frame = pd.DataFrame(values)
    frame["label"] = 0 if labels is None else labels
    frame["hour"] = times.floor("h")
    means = frame.groupby(["label", "hour"], sort=True).mean().reset_index()
    return (
        pd.DatetimeIndex(means["hour"]),
        {column: means[column].to_numpy(float) for column in values},
        None if labels is None else means["label"].to_numpy(int),
        [f"Rows every {step_min:g} minutes were averaged to hours."],
    )
