"""NASA POWER hourly: satellite sunlight (CERES SYN1deg, 1°) and MERRA-2 air (0.5° × 0.625°).

Temporal hourly API, point, JSON, UTC. A row's stamp is the start of its hour (pvlib,
``get_nasa_power``); values are hourly means; -999 (``header.fill_value``) marks what is missing.
pvlib has a getter but no reader, so the answer is read here.
"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.archive.asked import PlaceYear
from offgrid_sim.weather.archive.service import Service
from offgrid_sim.weather.raw_hours import RawHours

COLUMN_OF = {
    "ALLSKY_SFC_SW_DWN": "ghi_w_m2",
    "ALLSKY_SFC_SW_DNI": "dni_w_m2",
    "ALLSKY_SFC_SW_DIFF": "dhi_w_m2",
    "T2M": "temp_air_c",
    "WS10M": "wind_speed_m_s",
    "RH2M": "relative_humidity_pct",
}
LICENCE = "NASA POWER (NASA Langley Research Center); free to use with this credit"
_UNITS = {
    "ghi_w_m2": ("W/m^2", "Wh/m^2"),
    "dni_w_m2": ("W/m^2", "Wh/m^2"),
    "dhi_w_m2": ("W/m^2", "Wh/m^2"),
    "temp_air_c": ("C",),
    "wind_speed_m_s": ("m/s",),
    "relative_humidity_pct": ("%",),
}
"""Units of the renewable-energy community; Wh/m² in one hour is W/m² on average."""


def _params(asked: PlaceYear) -> dict[str, str]:
    return {
        "latitude": f"{asked.latitude_deg:.2f}",
        "longitude": f"{asked.longitude_deg:.2f}",
        "start": f"{asked.year}0101",
        "end": f"{asked.year}1231",
        "parameters": ",".join(COLUMN_OF),
        "community": "RE",
        "format": "JSON",
        "header": "true",
        "time-standard": "UTC",
    }


def read_power(text: str, name: str) -> RawHours:
    """Rows of an hourly POWER answer.

    ValueError if it is not JSON, WeatherFileError if it is something else, in other units or on
    another clock.
    """
    content = json.loads(text)
    try:
        series = content["properties"]["parameter"]
        lon, lat, *height = (float(number) for number in content["geometry"]["coordinates"])
        header = content.get("header", {})
        table = pd.DataFrame(series)
        starts = pd.to_datetime(table.index, format="%Y%m%d%H")
        values = {
            ours: table[theirs].to_numpy(float)
            for theirs, ours in COLUMN_OF.items()
            if theirs in table
        }
        _check_form(header, content.get("parameters", {}), name)
        fill = float(header.get("fill_value", -999.0))
    except (KeyError, TypeError, ValueError, AttributeError):
        raise WeatherFileError(
            f"{name}: is JSON but not an hourly NASA POWER answer; fetch it again."
        ) from None
    return RawHours(
        format_name="NASA POWER hourly",
        name=f"NASA POWER hourly at {lat:.3f}, {lon:.3f}",
        starts=pd.DatetimeIndex(starts),
        values={c: np.where(cells == fill, np.nan, cells) for c, cells in values.items()},
        latitude_deg=lat,
        longitude_deg=lon,
        altitude_m=height[0] if height else None,
        licence=LICENCE,
    )


def _check_form(header: dict, parameters: dict, name: str) -> None:
    """Refuse local solar time and units of other communities (MJ/hr)."""
    if str(header.get("time_standard", "UTC")).upper() != "UTC":
        raise WeatherFileError(
            f"{name}: its hours are {header['time_standard']}, not UTC; ask with UTC."
        )
    for theirs, ours in COLUMN_OF.items():
        unit = parameters.get(theirs, {}).get("units")
        if unit is not None and unit not in _UNITS[ours]:
            raise WeatherFileError(
                f"{name}: {theirs} comes in {unit}, not {_UNITS[ours][0]}; ask for community RE."
            )


def _refusal(text: str) -> str:
    """POWER explains a 422 in ``{"messages": [...]}``."""
    try:
        messages = json.loads(text)["messages"]
        words = " ".join(str(m) for m in messages) if isinstance(messages, list) else str(messages)
    except (ValueError, KeyError, TypeError):
        return ""
    return f": {' '.join(words.split())[:200].rstrip('. ')}" if words else ""


POWER = Service(
    name="power",
    archive="power-hourly",
    title="NASA POWER",
    server="https://power.larc.nasa.gov",
    server_env="OFFGRID_SIM_POWER_URL",
    path="/api/temporal/hourly/point",
    params=_params,
    read=read_power,
    refusal=_refusal,
)
