"""From the rows of a file to an hourly grid in UTC: what is mended, within limits, and said.

Mended: missing-value marks become gaps; gaps of up to 3 h of sunlight or temperature and 24 h of
wind or humidity are bridged by straight lines; hours given twice with the same values are dropped;
slightly negative sunlight is set to 0. Everything else that is wrong is refused in words.
The limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.raw_hours import MID_HOUR_MIN, RawHours

TYPICAL_YEAR = 2000  # a leap year: a typical year's 8784 hours lie here, 29 Feb a copy of 28 Feb
YEAR_HOURS = 8760
SHORT_GAP_H = 3
LONG_GAP_H = 24
STRETCH_GAP_H = 30 * 24  # a longer hole separates two records (two winters in one file)
MOST_BRIDGED_SHARE = 0.05
LEAST_H = 24
WIND_DEFAULT_M_S = 1.0
SUNLIGHT = ("ghi_w_m2", "dni_w_m2", "dhi_w_m2")
_NEGATIVE_MARKS = (-99.0, -99.9, -999.0, -999.9, -9900.0, -9999.0)
_POSITIVE_MARKS = {
    "ghi_w_m2": (9999.0, 99999.0, 999999.0),
    "dni_w_m2": (9999.0, 99999.0, 999999.0),
    "dhi_w_m2": (9999.0, 99999.0, 999999.0),
    "temp_air_c": (99.9, 999.0, 999.9, 9999.0),
    "wind_speed_m_s": (99.0, 99.9, 999.0, 999.9, 9999.0),
    "relative_humidity_pct": (999.0, 999.9, 9999.0),
}


@dataclass(frozen=True)
class HourGrid:
    """Hours without holes in their numbering: hour ``first_hour + i`` since 1970 UTC is row i.

    Columns are NaN where the record has no hour. ``label`` is the file's own weather-year label.
    """

    first_hour: int
    values: dict[str, np.ndarray]
    centre_min: float | None
    typical: bool
    label: int | None
    notes: tuple[str, ...]

    def hour_starts(self) -> np.ndarray:
        """Starts of the hours as datetime64[h], UTC, shape (H,)."""
        hours = self.first_hour + np.arange(len(self.values["temp_air_c"]))
        return hours.astype("datetime64[h]")


def grids_of(raw: RawHours) -> list[HourGrid]:
    """Repaired hourly grids of a file: one, or one per weather-year label.

    Missing dni or dhi stay NaN: they need the sun (daylight.py). Raises WeatherFileError.
    """
    values, notes = cleaned(raw)
    hours, centre_min = _utc_hours(raw)
    if raw.year_labels is None:
        groups: Iterator[tuple[int | None, np.ndarray]] = iter([(None, np.ones(len(hours), bool))])
    else:
        labels = raw.year_labels
        groups = ((int(label), labels == label) for label in np.unique(labels))
    typical = raw.typical or (raw.year_labels is None and _stitched(raw.starts))
    return [
        _grid(
            hours[rows],
            {column: cells[rows] for column, cells in values.items()},
            centre_min,
            typical,
            label,
            [*raw.notes, *notes],
            raw,
        )
        for label, rows in groups
    ]


def cleaned(raw: RawHours) -> tuple[dict[str, np.ndarray], list[str]]:
    """Columns with missing-value marks as NaN, units checked, small negatives at zero."""
    values, notes = {}, []
    for column, cells in raw.values.items():
        marks = np.isin(cells, (*_NEGATIVE_MARKS, *_POSITIVE_MARKS[column]))
        values[column] = np.where(marks | ~np.isfinite(cells), np.nan, cells)
    values = {column: cells for column, cells in values.items() if not np.isnan(cells).all()}
    for column in ("temp_air_c", "ghi_w_m2"):
        given = ("dni_w_m2" in values and "dhi_w_m2" in values) if column == "ghi_w_m2" else False
        if column not in values and not given:
            raise WeatherFileError(
                f"{raw.called}: has no usable {column} at all; use a file that holds it."
            )
    _check_units(values, raw.called)
    for column in SUNLIGHT:
        if column in values:
            cells = values[column]
            if (small := int((cells < -1.0).sum())) and (cells[cells < 0] >= -20.0).all():
                notes.append(f"{small} slightly negative {column} hours were set to 0.")
            values[column] = np.where(cells < -20.0, np.nan, np.maximum(cells, 0.0))
    if "relative_humidity_pct" in values:
        values["relative_humidity_pct"] = np.clip(values["relative_humidity_pct"], 0.0, 100.0)
    return values, notes


def _check_units(values: dict[str, np.ndarray], name: str) -> None:
    """Refuse columns whose size betrays another unit, naming the likely one."""
    temp = values["temp_air_c"]
    if np.nanmedian(temp) > 150:
        raise WeatherFileError(
            f"{name}: air temperatures near {np.nanmedian(temp):.0f} look like kelvin; "
            "subtract 273.15 so that temp_air_c is in °C."
        )
    if np.nanmax(temp) > 60 or np.nanmin(temp) < -90:
        raise WeatherFileError(
            f"{name}: air temperatures from {np.nanmin(temp):.0f} to {np.nanmax(temp):.0f} are "
            "beyond any on Earth, perhaps °F; give temp_air_c in °C."
        )
    for column in SUNLIGHT:
        if column in values and np.nanmax(values[column]) > 1800:
            raise WeatherFileError(
                f"{name}: {column} up to {np.nanmax(values[column]):.0f} is more than the sun "
                "gives, perhaps kJ/m² per hour; divide by 3.6 to get W/m²."
            )
    humidity = values.get("relative_humidity_pct")
    if humidity is not None and (np.nanmax(humidity) <= 1.0 or np.nanmax(humidity) > 115):
        raise WeatherFileError(
            f"{name}: relative humidity up to {np.nanmax(humidity):g} is not in percent; "
            "give relative_humidity_pct from 0 to 100."
        )
    wind = values.get("wind_speed_m_s")
    if wind is not None and (np.nanmedian(wind) > 25 or np.nanmin(wind) < 0):
        raise WeatherFileError(
            f"{name}: wind speeds from {np.nanmin(wind):g} with a median of "
            f"{np.nanmedian(wind):.0f} cannot be m/s; give wind_speed_m_s in m/s."
        )


def _utc_hours(raw: RawHours) -> tuple[np.ndarray, float | None]:
    """UTC hour number (since 1970) that each row's centre falls in, and its minute in that hour."""
    stamps = raw.starts.to_numpy().astype("datetime64[s]").astype(np.int64)
    centre_s = 60.0 * (MID_HOUR_MIN if raw.centre_min is None else raw.centre_min)
    if not len(stamps):
        raise WeatherFileError(f"{raw.called}: has no hours; download or export it again.")
    centres = stamps - round(raw.utc_offset_h * 3600) + round(centre_s)
    if raw.typical or (raw.year_labels is None and _stitched(raw.starts)):
        centres = _in_common_year(raw.starts, stamps, centres)
    hours = centres // 3600
    minute = float(np.median(centres - hours * 3600)) / 60.0
    return hours, None if raw.centre_min is None else minute


def _in_common_year(
    starts: pd.DatetimeIndex, stamps: np.ndarray, centres: np.ndarray
) -> np.ndarray:
    """Centres moved to the hours 0..8759 of a 365-day year that wraps; 29 Feb rows get -1 h."""
    leap_day = np.asarray((starts.month == 2) & (starts.day == 29))
    month_day = starts.strftime("2001-%m-%d").to_numpy(str)
    month_day = np.where(leap_day, "2001-01-01", month_day)
    days = month_day.astype("datetime64[D]") - np.datetime64("2001-01-01")
    in_day_s = stamps % 86400
    in_year = (days.astype(np.int64) * 86400 + in_day_s + (centres - stamps)) % (YEAR_HOURS * 3600)
    return np.where(leap_day, in_year % 3600 - 3600, in_year)


def _stitched(starts: pd.DatetimeIndex) -> bool:
    """Whether rows form one year whose months come from several, out of order or far apart."""
    if not 8700 <= len(starts) <= 8784 or len(set(starts.year)) < 2:
        return False
    step_h = np.diff(starts.to_numpy()) / np.timedelta64(1, "h")
    return bool((step_h < -24).any() or (step_h > STRETCH_GAP_H).any())


def _grid(
    hours: np.ndarray,
    values: dict[str, np.ndarray],
    centre_min: float | None,
    typical: bool,
    label: int | None,
    notes: list[str],
    raw: RawHours,
) -> HourGrid:
    if typical:
        hours, values = _without_leap_day(hours, values)
    hours, values, dropped = _without_doubles(hours, values, raw.called)
    if dropped:
        notes = [*notes, f"{dropped} hours given twice with the same values were dropped."]
    if len(hours) < LEAST_H:
        raise WeatherFileError(
            f"{raw.called}: holds no usable day, only {len(hours)} hours; use a file "
            "with whole days."
        )
    first = 0 if typical else int(hours[0])
    length = YEAR_HOURS if typical else int(hours[-1]) - first + 1
    if length > 200 * 8784:
        raise WeatherFileError(f"{raw.called}: spans more than 200 years; correct its times.")
    present = np.zeros(length, bool)
    present[hours - first] = True
    spread = {}
    for column, cells in values.items():
        spread[column] = np.full(length, np.nan)
        spread[column][hours - first] = cells
    mended, said = _bridged(spread, present, first, typical, raw.called)
    if typical:
        first = int(np.datetime64(f"{TYPICAL_YEAR}-01-01", "h").astype(np.int64))
        mended = {column: with_leap_day(cells) for column, cells in mended.items()}
    return HourGrid(first, mended, centre_min, typical, label, (*notes, *said))


def with_leap_day(cells: np.ndarray) -> np.ndarray:
    """8760 hours with 28 Feb repeated as 29 Feb: 8784 hours."""
    after = 59 * 24
    return np.concatenate([cells[:after], cells[after - 24 : after], cells[after:]])


def _without_leap_day(
    hours: np.ndarray, values: dict[str, np.ndarray]
) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    kept = hours >= 0
    return hours[kept], {column: cells[kept] for column, cells in values.items()}


def _without_doubles(
    hours: np.ndarray, values: dict[str, np.ndarray], name: str
) -> tuple[np.ndarray, dict[str, np.ndarray], int]:
    """Rows in time order, second copies dropped; two different rows of one hour are refused."""
    order = np.argsort(hours, kind="stable")
    hours = hours[order]
    values = {column: cells[order] for column, cells in values.items()}
    again = np.flatnonzero(np.diff(hours) == 0) + 1
    for column, limit in (("ghi_w_m2", 20.0), ("temp_air_c", 1.0)):
        if column not in values:
            continue
        apart = np.abs(values[column][again] - values[column][again - 1])
        if (apart > limit).any():
            clash = hours[again[np.flatnonzero(apart > limit)[0]]]
            raise WeatherFileError(
                f"{name}: the hour {_when(clash)} is there twice with different {column}; remove "
                "one, or write times with their offset from UTC if clocks were changed."
            )
    kept = np.ones(len(hours), bool)
    kept[again] = False
    return hours[kept], {column: cells[kept] for column, cells in values.items()}, len(again)


def _when(hour: int) -> str:
    return str(np.datetime64(int(hour), "h").astype("datetime64[m]")).replace("T", " ") + " UTC"


def gaps(cells: np.ndarray) -> list[tuple[int, int]]:
    """(start, end) of each run of NaN, end exclusive."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], np.isnan(cells), [False]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _bridge(cells: np.ndarray, limit_h: int, wraps: bool) -> tuple[np.ndarray, int]:
    """Straight lines over gaps of up to ``limit_h`` hours; over the year's end if it wraps."""
    size = len(cells)
    row = np.tile(cells, 3) if wraps else cells
    good = np.flatnonzero(~np.isnan(row))
    if not len(good) or len(good) == len(row):
        return cells, 0
    fill = np.zeros(len(row), bool)
    for start, end in gaps(row):
        fill[start:end] = start > 0 and end < len(row) and end - start <= limit_h
    out = row.copy()
    out[fill] = np.interp(np.flatnonzero(fill), good, row[good])
    middle = slice(size, 2 * size) if wraps else slice(None)
    return out[middle], int(fill[middle].sum())


def _bridged(
    values: dict[str, np.ndarray], present: np.ndarray, first: int, typical: bool, name: str
) -> tuple[dict[str, np.ndarray], list[str]]:
    """All gaps closed or refused, absent columns filled with defaults, and the sentences."""
    out, notes = dict(values), []
    for column in ("ghi_w_m2", "temp_air_c"):
        if column not in values:
            continue
        out[column], filled = _bridge(values[column], SHORT_GAP_H, typical)
        if filled:
            notes.append(f"{filled} missing hours of {column} were bridged by straight lines.")
        if filled > MOST_BRIDGED_SHARE * present.sum():
            raise WeatherFileError(
                f"{name}: {filled} of {int(present.sum())} hours of {column} are missing, too many "
                "to bridge; use a more complete file."
            )
        _refuse_gaps(out[column], present, first, typical, column, name)
    recorded = ~np.isnan(out["temp_air_c"])
    for column, default in (("wind_speed_m_s", "wind"), ("relative_humidity_pct", "humidity")):
        if column not in values:
            continue
        out[column], filled = _bridge(values[column], LONG_GAP_H, typical)
        left = [end - start for start, end in gaps(out[column]) if recorded[start:end].any()]
        if left and max(left) > LONG_GAP_H:
            raise WeatherFileError(
                f"{name}: {column} is missing for {max(left)} hours on end; remove the column to "
                f"use the default {default} instead."
            )
        out[column] = _nearest(out[column], recorded)
        if filled:
            notes.append(f"{filled} missing hours of {column} were bridged by straight lines.")
    if "wind_speed_m_s" not in values:
        out["wind_speed_m_s"] = np.where(recorded, WIND_DEFAULT_M_S, np.nan)
        notes.append(f"No wind in the file: {WIND_DEFAULT_M_S:g} m/s assumed throughout.")
    if "relative_humidity_pct" not in values:
        out["relative_humidity_pct"] = humidity_from_minimum(out["temp_air_c"], first)
        notes.append(
            "No humidity in the file: the dew point is assumed to be the day's lowest temperature."
        )
    return out, notes


def _nearest(cells: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Remaining holes at the ends of a record take the nearest value."""
    good = np.flatnonzero(~np.isnan(cells))
    filled = np.interp(np.arange(len(cells)), good, cells[good])
    return np.where(wanted, filled, np.nan)


def _refuse_gaps(
    cells: np.ndarray, present: np.ndarray, first: int, typical: bool, column: str, name: str
) -> None:
    for start, end in gaps(cells):
        at_an_end = not typical and (start == 0 or end == len(cells))
        between_records = (
            not typical and end - start > STRETCH_GAP_H and not present[start:end].any()
        )
        if at_an_end or between_records:
            continue
        if typical:
            raise WeatherFileError(
                f"{name}: {int(np.isnan(cells).sum())} of the {YEAR_HOURS} hours a typical year "
                f"needs are missing ({column}); use a complete file."
            )
        raise WeatherFileError(
            f"{name}: {end - start} hours are missing from {_when(first + start)} on ({column}), "
            f"more than the {SHORT_GAP_H} that can be bridged; use a complete file."
        )


def saturation_kpa(temp_c: np.ndarray) -> np.ndarray:
    """Saturation vapour pressure over water [kPa] (FAO-56 eq. 11); holds about -30..50 °C."""
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))


def humidity_from_minimum(temp_air_c: np.ndarray, first_hour: int) -> np.ndarray:
    """Relative humidity [%] if the dew point is each day's lowest temperature (FAO-56 eq. 48)."""
    day = (first_hour + np.arange(len(temp_air_c))) // 24
    lowest = pd.Series(temp_air_c).groupby(day).transform("min").to_numpy()
    return 100.0 * saturation_kpa(lowest) / saturation_kpa(temp_air_c)
