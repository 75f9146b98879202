"""Standard weather formats, told apart by content and read by pvlib's own readers.

What each reader's label means, found by closure (GHI = DHI + DNI cos z is tightest when the sun is
taken where the file took it; docs/weather-files.md has the figures):

- ``read_tmy3`` keeps the file's hour-ending label: the row at 01:00 is the mean of 00:00-01:00.
- ``read_tmy2`` and ``read_epw`` subtract the hour themselves: their index is the hour's start.
- ``read_pvgis_hourly`` and ``read_pvgis_tmy`` leave the stamp as it stands, UTC. Satellite data are
  moments (stamp minutes, or the header's irradiance time offset); reanalysis stamps are mid-hour.
"""

from __future__ import annotations

import io
import json
import re
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
from pvlib import iotools, solarposition

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.plain_csv import read_plain_csv
from offgrid_sim.weather.raw_hours import MID_HOUR_MIN, RawHours

MAX_FILE_BYTES = 200_000_000
TYPICAL_WORDS = re.compile(r"TMY|IWEC|CWEC|WYEC|\bTRY\b|\bRMY|\bDSY\b|SWEC|ISHRAE|CSWD|[Tt]ypical")
PUBLIC_US = "public domain: US National Renewable Energy Laboratory"
PVGIS_LICENCE = "PVGIS (c) European Union; free to reuse with this credit"
_TMY2_HEADER = re.compile(
    r"^\s*(\d{5})\s+(.*?)\s+([A-Z]{2})\s+(-?\d+)\s+([NS]\s+\d+\s+\d+\s+[EW]\s+\d+\s+\d+\s+-?\d+)\s*$"
)
_PVLIB_NAMES = {
    "ghi": "ghi_w_m2",
    "dni": "dni_w_m2",
    "dhi": "dhi_w_m2",
    "temp_air": "temp_air_c",
    "wind_speed": "wind_speed_m_s",
    "relative_humidity": "relative_humidity_pct",
}


def read_weather_file(path: str | Path) -> RawHours:
    """Rows of the weather file at ``path``, whatever its format; WeatherFileError if unusable."""
    return read_weather_text(read_text(path), Path(path).name)


def read_weather_text(text: str, name: str) -> RawHours:
    """Rows of a weather file's text; ``name`` is what errors call it."""
    kind = format_of(text, name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            return _sane(replace(_READERS[kind](text, name), file_name=name))
        except WeatherFileError:
            raise
        except Exception:  # a reader may fail in any way on damaged content
            raise WeatherFileError(
                f"{name}: begins like a {kind} file but its rows cannot be read, so it is damaged "
                "or was edited; download or export it again."
            ) from None


def read_text(path: str | Path) -> str:
    """The file as text (UTF-8, else Latin-1); WeatherFileError if it is not a text file at all."""
    name = Path(path).name
    try:
        if Path(path).stat().st_size > MAX_FILE_BYTES:
            raise WeatherFileError(
                f"{name}: larger than {MAX_FILE_BYTES // 1_000_000} MB; cut it to the years wanted."
            )
        content = Path(path).read_bytes()
    except FileNotFoundError:
        raise WeatherFileError(
            f"{name}: no such file; check the path of the weather file."
        ) from None
    except IsADirectoryError:
        raise WeatherFileError(f"{name}: is a folder; name one weather file inside it.") from None
    except PermissionError:
        raise WeatherFileError(
            f"{name}: may not be read; change its permissions or copy it to your own folder."
        ) from None
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or "the path is not valid"
        raise WeatherFileError(f"{name}: cannot be read ({reason}); check the path.") from None
    if content[:2] in (b"PK", b"\x1f\x8b"):
        raise WeatherFileError(
            f"{name}: is a packed archive or a spreadsheet; unpack it, or save it as CSV."
        )
    if b"\x00" in content:
        raise WeatherFileError(
            f"{name}: is not a text file; give an EPW, TMY2, TMY3, PVGIS or CSV file."
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def format_of(text: str, name: str) -> str:
    """Format of a weather file, from its first lines only (the suffix is not trusted)."""
    lines = [line.strip() for line in text[:4000].splitlines() if line.strip()]
    if not lines:
        raise WeatherFileError(f"{name}: is empty; download or export the weather file again.")
    first, second = lines[0], lines[1] if len(lines) > 1 else ""
    if first.startswith("<"):
        raise WeatherFileError(
            f"{name}: is a web page, not weather; open it in a browser to see what the server "
            "said, then download the file again."
        )
    if first.upper().startswith("LOCATION,"):
        return "EPW"
    if first.startswith("{"):
        return "PVGIS json"
    if first.startswith("Latitude (decimal degrees)"):
        return "PVGIS typical-year csv" if "time(UTC)" in text[:4000] else "PVGIS hourly csv"
    if second.startswith("Date (MM/DD/YYYY)"):
        return "TMY3"
    if _TMY2_HEADER.match(first):
        return "TMY2"
    heads = [line for line in lines if not line.startswith("#")][:1]
    if heads and re.search(r"(^|[,;\t])\"?time\"?([,;\t]|$)", heads[0], re.I):
        return "plain CSV"
    raise WeatherFileError(
        f"{name}: not a known weather format (its first line is {first[:40]!r}); give an EPW, "
        "TMY2, TMY3 or PVGIS file, or a CSV whose header has time, ghi_w_m2 and temp_air_c."
    )


def _sane(raw: RawHours) -> RawHours:
    """Refuse rows without a time, and a header whose numbers cannot be on Earth."""
    untimed = np.flatnonzero(raw.starts.isna())
    if len(untimed):
        raise WeatherFileError(
            f"{raw.called}: row {untimed[0] + 1} of the data has no date that can be read; "
            "download or export the file again."
        )
    limits = {"latitude_deg": 90.0, "longitude_deg": 180.0, "altitude_m": 9000.0}
    wrong = [
        f"{key} {value:g}"
        for key, limit in limits.items()
        if (value := getattr(raw, key)) is not None and not abs(value) <= limit
    ]
    if not abs(raw.utc_offset_h) <= 15.0:
        wrong.append(f"an offset of {raw.utc_offset_h:g} h from UTC")
    if wrong:
        raise WeatherFileError(
            f"{raw.called}: its header gives {', '.join(wrong)}; correct it or download it again."
        )
    return raw


def _refuse_cut(lines: list[str], name: str, separator: str = ",") -> None:
    """Refuse a table whose last line has fewer fields than the line before it."""
    full = [line for line in lines if line.strip()]
    if len(full) > 2 and full[-1].count(separator) < full[-2].count(separator):
        raise WeatherFileError(
            f"{name}: stops in the middle of its last line, so the file is cut off; "
            "download or copy it again."
        )


def _columns(table: pd.DataFrame) -> dict[str, np.ndarray]:
    """The contract's columns of a table with pvlib's names, as float64, NaN where not a number."""
    return {
        ours: pd.to_numeric(table[theirs], errors="coerce").to_numpy(float)
        for theirs, ours in _PVLIB_NAMES.items()
        if theirs in table
    }


def _read_tmy3(text: str, name: str) -> RawHours:
    lines = text.splitlines()
    _refuse_cut(lines[2:], name)
    kept = [line for line in lines if not line.startswith("02/29")]  # pvlib moves it to 1 March
    table, meta = iotools.read_tmy3(io.StringIO("\n".join(kept)), map_variables=True)
    ends = pd.DatetimeIndex(table.index.tz_localize(None))
    starts = ends - pd.Timedelta(hours=1)
    leap_eve = (starts.month == 2) & (starts.day == 29)  # 28 Feb 24:00, moved a day on by pvlib
    starts = starts.where(~leap_eve, starts - pd.Timedelta(days=1))
    station = str(meta["Name"]).strip(' "').title()
    return RawHours(
        format_name="TMY3",
        name=f"{station}, {meta['State']} (TMY3 station {meta['USAF']})",
        starts=starts,
        values=_columns(table),
        utc_offset_h=meta["TZ"],
        latitude_deg=meta["latitude"],
        longitude_deg=meta["longitude"],
        altitude_m=meta["altitude"],
        typical=len(set(starts.year)) > 1,
        licence=PUBLIC_US,
    )


def _read_tmy2(text: str, name: str) -> RawHours:
    """TMY2 through pvlib, which takes only a path and only a one-word city."""
    lines = [line for line in text.splitlines() if line.strip()]
    if len({len(line) for line in lines[-3:]}) > 1:
        raise WeatherFileError(
            f"{name}: its last line is cut off; download or copy the file again."
        )
    header = _TMY2_HEADER.match(lines[0])
    assert header is not None  # format_of has matched it
    wban, city, state, zone, place = header.groups()
    one_word = f" {wban} {'_'.join(city.split())} {state} {zone} {place}"
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "station.tm2"
        copy.write_text(
            "\n".join([one_word, *lines[1:]]) + "\n", encoding="ascii", errors="replace"
        )
        table, meta = iotools.read_tmy2(copy)
    years = 1900 + table["year"].to_numpy(int)
    tenths = {"DryBulb": "temp_air_c", "Wspd": "wind_speed_m_s"}
    whole = {"GHI": "ghi_w_m2", "DNI": "dni_w_m2", "DHI": "dhi_w_m2"}
    values = {ours: table[theirs].to_numpy(float) for theirs, ours in whole.items()}
    for theirs, ours in tenths.items():
        units = table[theirs].to_numpy(float)
        values[ours] = np.where(units >= 999, np.nan, units / 10.0)
    values["relative_humidity_pct"] = table["RHum"].to_numpy(float)
    return RawHours(
        format_name="TMY2",
        name=f"{city.title()}, {state} (TMY2 station {wban}, {years.min()}–{years.max()})",
        starts=pd.DatetimeIndex(table.index.tz_localize(None)),
        values=values,
        utc_offset_h=float(meta["TZ"]),
        latitude_deg=meta["latitude"],
        longitude_deg=meta["longitude"],
        altitude_m=meta["altitude"],
        typical=True,
        licence=PUBLIC_US,
    )


def _read_epw(text: str, name: str) -> RawHours:
    lines = text.splitlines()
    if len(lines) < 9 or not lines[7].upper().startswith("DATA PERIODS"):
        raise WeatherFileError(
            f"{name}: an EPW file has eight header lines and the eighth is DATA PERIODS; "
            "this one differs, so download it again."
        )
    _refuse_cut(lines[8:], name)
    table, meta = iotools.read_epw(io.StringIO("\n".join(lines)))
    starts = pd.DatetimeIndex(table.index.tz_localize(None))
    notes: tuple[str, ...] = ()
    offset_h, centre_min = meta["TZ"], MID_HOUR_MIN
    pvgis = re.search(r"Irradiance Time Offset \(h\):\s*(-?\d+\.?\d*)", "".join(lines[5:7]))
    if pvgis:  # PVGIS writes UTC rows under a header that names the local zone
        offset_h, centre_min = 0.0, 60.0 * (1.0 + float(pvgis[1]))
        notes = ("PVGIS writes its EPW rows in UTC whatever the header's zone; read as UTC.",)
    return RawHours(
        format_name="EPW",
        name=f"{meta['city'].title()}, {meta['country']} (EPW, {meta['data_type']})",
        starts=starts,
        values=_columns(table),
        utc_offset_h=offset_h,
        centre_min=centre_min,
        latitude_deg=meta["latitude"],
        longitude_deg=meta["longitude"],
        altitude_m=meta["altitude"],
        typical=len(set(starts.year)) > 1
        or bool(TYPICAL_WORDS.search(",".join([lines[0], *lines[5:7]]))),
        licence=PVGIS_LICENCE if pvgis else "as stated by the publisher of the EPW file",
        notes=notes,
    )


def _read_pvgis_tmy_csv(text: str, name: str) -> RawHours:
    rows = [line for line in text.splitlines() if re.match(r"\d{8}:\d{4}", line)]
    _refuse_cut(rows, name)
    if len(rows) < 8760:
        raise WeatherFileError(
            f"{name}: has {len(rows)} of the 8760 hours of a typical year; download it again."
        )
    table, meta = iotools.read_pvgis_tmy(io.BytesIO(text.encode()), pvgis_format="csv")
    inputs = meta["inputs"]
    offset_h = inputs.get("irradiance time offset")
    return _pvgis_tmy(table, inputs, offset_h, "PVGIS typical year (csv)")


def _read_pvgis_json(text: str, name: str) -> RawHours:
    try:
        return _read_pvgis_outputs(text, name)
    except json.JSONDecodeError:
        raise WeatherFileError(
            f"{name}: is not complete JSON, so it is cut off or was edited; download it again."
        ) from None


def _read_pvgis_outputs(text: str, name: str) -> RawHours:
    """JSON is parsed once only, by pvlib, where its kind shows: it is most of the time."""
    if '"tmy_hourly"' in text:
        table, meta = iotools.read_pvgis_tmy(io.StringIO(text), pvgis_format="json")
        inputs = meta["inputs"]["location"]
        offset_h = inputs.get("irradiance_time_offset")
        return _pvgis_tmy(table, inputs, offset_h, "PVGIS typical year (json)")
    if '"hourly"' in text:
        table, meta = iotools.read_pvgis_hourly(io.StringIO(text), pvgis_format="json")
        fixed = meta["inputs"].get("mounting_system", {}).get("fixed", {})
        database = meta["inputs"].get("meteo_data", {}).get("radiation_db", "")
        slope = fixed.get("slope", {}).get("value")
        return _pvgis_hourly(table, meta["inputs"]["location"], slope, database, name)
    json.loads(text)
    raise WeatherFileError(
        f"{name}: JSON without hourly rows (outputs.hourly or outputs.tmy_hourly); in PVGIS choose "
        "the hourly or the typical-year download."
    )


def _read_pvgis_hourly_csv(text: str, name: str) -> RawHours:
    _refuse_cut([line for line in text.splitlines() if re.match(r"\d{8}:", line)], name)
    table, meta = iotools.read_pvgis_hourly(io.StringIO(text), pvgis_format="csv")
    inputs = meta["inputs"]
    found = re.match(r"\s*(-?\d+\.?\d*)", str(inputs.get("Slope", "")))
    slope = float(found[1]) if found else None
    return _pvgis_hourly(table, inputs, slope, inputs["radiation_database"], name)


def _pvgis_tmy(
    table: pd.DataFrame, where: dict, offset_h: float | None, format_name: str
) -> RawHours:
    return RawHours(
        format_name=format_name,
        name=f"PVGIS typical year at {where['latitude']:.3f}, {where['longitude']:.3f}",
        starts=pd.DatetimeIndex(table.index.tz_localize(None)),
        values=_columns(table),
        centre_min=None if offset_h is None else 60.0 * float(offset_h),
        latitude_deg=float(where["latitude"]),
        longitude_deg=float(where["longitude"]),
        altitude_m=float(where["elevation"]),
        typical=True,
        licence=PVGIS_LICENCE,
    )


def _pvgis_hourly(
    table: pd.DataFrame, where: dict, slope_deg: float | None, database: str, name: str
) -> RawHours:
    """PVGIS hourly rows of a horizontal plane, where Gb(i) is beam on the horizontal.

    A tilted plane cannot be turned back into GHI exactly, so it is refused; on a horizontal plane
    the azimuth (180° off between PVGIS and pvlib) does not matter.
    """
    if slope_deg is None or abs(float(slope_deg)) > 0.01:
        raise WeatherFileError(
            f"{name}: irradiance is on a tilted or tracking plane; download it again from PVGIS "
            "with slope 0, azimuth 0, fixed mounting and components."
        )
    stamps = pd.DatetimeIndex(table.index)
    latitude, longitude = float(where["latitude"]), float(where["longitude"])
    values = _columns(table)
    if "poa_global" in table:
        values["ghi_w_m2"] = table["poa_global"].to_numpy(float)
    else:
        beam, diffuse, ground = (
            table[key].to_numpy(float)
            for key in ("poa_direct", "poa_sky_diffuse", "poa_ground_diffuse")
        )
        values["ghi_w_m2"], values["dhi_w_m2"] = beam + diffuse + ground, diffuse + ground
        sun = solarposition.get_solarposition(stamps, latitude, longitude, method="ephemeris")
        cos_zenith = np.cos(np.radians(sun["zenith"].to_numpy()))
        high = cos_zenith > np.cos(np.radians(87.0))
        values["dni_w_m2"] = np.where(high, beam / np.where(high, cos_zenith, 1.0), np.nan)
    return RawHours(
        format_name="PVGIS hourly",
        name=f"PVGIS hourly ({database}) at {latitude:.3f}, {longitude:.3f}",
        starts=pd.DatetimeIndex(stamps.tz_localize(None)),
        values=values,
        centre_min=0.0,
        latitude_deg=latitude,
        longitude_deg=longitude,
        altitude_m=float(where["elevation"]),
        licence=PVGIS_LICENCE,
    )


_READERS: dict[str, Callable[[str, str], RawHours]] = {
    "EPW": _read_epw,
    "TMY3": _read_tmy3,
    "TMY2": _read_tmy2,
    "PVGIS json": _read_pvgis_json,
    "PVGIS hourly csv": _read_pvgis_hourly_csv,
    "PVGIS typical-year csv": _read_pvgis_tmy_csv,
    "plain CSV": read_plain_csv,
}
