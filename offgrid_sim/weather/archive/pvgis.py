"""PVGIS hourly: satellite and reanalysis years of the European Commission's Joint Research Centre.

Tool ``seriescalc`` of the non-interactive service, version pinned in the path. A horizontal plane
(angle 0), where beam and diffuse come apart exactly, and no horizon: what stands around the stop is
the route's business. Documented at joint-research-centre.ec.europa.eu, "API non-interactive
service": GET only, 30 calls a second, 429 beyond, 529 when overloaded.
"""

from __future__ import annotations

import json

from offgrid_sim.weather.archive.asked import PlaceYear
from offgrid_sim.weather.archive.service import Service
from offgrid_sim.weather.readers import read_weather_text

API = "v5_3"


def _params(asked: PlaceYear) -> dict[str, str]:
    return {
        "lat": f"{asked.latitude_deg:.2f}",
        "lon": f"{asked.longitude_deg:.2f}",
        "startyear": str(asked.year),
        "endyear": str(asked.year),
        "components": "1",
        "angle": "0",
        "aspect": "0",
        "usehorizon": "0",
        "pvcalculation": "0",
        "outputformat": "json",
    }


def _refusal(text: str) -> str:
    """PVGIS explains a 400 in ``{"message": ...}``."""
    try:
        message = json.loads(text)["message"]
    except (ValueError, KeyError, TypeError):
        return ""
    return f": {' '.join(str(message).split())[:200].rstrip('. ')}"


PVGIS = Service(
    name="pvgis",
    archive=f"pvgis-{API.replace('_', '-')}",
    title="PVGIS",
    server="https://re.jrc.ec.europa.eu",
    server_env="OFFGRID_SIM_PVGIS_URL",
    path=f"/api/{API}/seriescalc",
    params=_params,
    read=read_weather_text,
    refusal=_refusal,
)
