"""A local server that speaks the archives' documented answers, and can be told to fail.

Layouts: PVGIS ``seriescalc`` JSON as pvlib's ``read_pvgis_hourly`` takes it apart (inputs.location,
inputs.meteo_data, inputs.mounting_system, outputs.hourly) and ``printhorizon`` JSON as its
``get_pvgis_horizon`` does (south 0, west positive, north twice); NASA POWER hourly point GeoJSON as
pvlib's ``get_nasa_power`` does. Weather: simplified Solis (Ineichen 2008) under NREL SPA suns,
dimmed day by day; nothing in the package makes it that way.
"""

import json
import threading
import time
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pandas as pd
import pvlib
import pytest


@cache
def sky(year, latitude, longitude, minute):
    """Stamps, GHI, DNI, DHI and the sun's height of a calendar year in UTC."""
    starts = pd.date_range(f"{year}-01-01", f"{year}-12-31 23:00", freq="h", tz="UTC")
    seen = starts + pd.Timedelta(minutes=minute)
    zenith = pvlib.solarposition.spa_python(seen, latitude, longitude)["zenith"].to_numpy()
    cos_z = np.maximum(np.cos(np.radians(zenith)), 0.0)
    extra = pvlib.irradiance.get_extra_radiation(seen.day_of_year).to_numpy()
    clear = pvlib.clearsky.simplified_solis(90.0 - zenith, 0.1, 1.5, 98000.0, extra)
    day = starts.day_of_year.to_numpy() + 366 * year
    dim = 0.55 + 0.4 * np.sin(2.4 * day) * np.cos(0.7 * day)
    ghi = np.where(cos_z > 0.03, clear["ghi"] * dim, 0.0)
    dhi = np.minimum(np.where(cos_z > 0.06, clear["dhi"] * (1.3 - 0.3 * dim), ghi), ghi)
    dni = np.where(cos_z > 0.06, (ghi - dhi) / np.maximum(cos_z, 0.06), 0.0)
    return starts, ghi, dni, dhi, 90.0 - zenith


def air(starts, latitude):
    """Invented air temperature [°C]: a yearly and a daily wave."""
    season = -8.0 * np.cos(2 * np.pi * (starts.day_of_year - 20) / 365.25) * np.sign(latitude)
    return 10.0 + season + 4.0 * np.sin(2 * np.pi * (starts.hour - 9) / 24)


def pvgis_answer(query, minute=10):
    lat, lon = float(query["lat"]), float(query["lon"])
    first, last = int(query["startyear"]), int(query["endyear"])
    rows = []
    for year in range(first, last + 1):
        starts, ghi, _, dhi, height = sky(year, lat, lon, minute)
        stamps = (starts + pd.Timedelta(minutes=minute)).strftime("%Y%m%d:%H%M")
        cells = np.round([ghi - dhi, dhi, np.maximum(height, 0.0), air(starts, lat)], 2).tolist()
        rows += [
            {
                "time": stamp,
                "Gb(i)": beam,
                "Gd(i)": diffuse,
                "Gr(i)": 0.0,
                "H_sun": sun,
                "T2m": temp,
                "WS10m": 2.1,
                "Int": 0.0,
            }
            for stamp, beam, diffuse, sun, temp in zip(stamps, *cells, strict=True)
        ]
    angle = {"value": int(query["angle"]), "optimal": False}
    fixed = {"slope": angle, "azimuth": {"value": 0, "optimal": False}, "type": "free-standing"}
    return {
        "inputs": {
            "location": {"latitude": lat, "longitude": lon, "elevation": 700.0},
            "meteo_data": {
                "radiation_db": "PVGIS-SARAH3",
                "meteo_db": "ERA5",
                "year_min": first,
                "year_max": last,
                "use_horizon": query["usehorizon"] == "1",
                "horizon_db": None,
                "horizon_data": "DEM-calculated",
            },
            "mounting_system": {"fixed": fixed},
            "pv_module": {"technology": None, "peak_power": None, "system_loss": None},
        },
        "outputs": {"hourly": rows},
        "meta": {"inputs": {}, "outputs": {}},
    }


def power_answer(query):
    lat, lon = float(query["latitude"]), float(query["longitude"])
    starts, ghi, dni, dhi, _ = sky(int(query["start"][:4]), lat, lon, 30)
    stamps = starts.strftime("%Y%m%d%H")
    series = {
        "ALLSKY_SFC_SW_DWN": (ghi, "Wh/m^2"),
        "ALLSKY_SFC_SW_DNI": (dni, "Wh/m^2"),
        "ALLSKY_SFC_SW_DIFF": (dhi, "Wh/m^2"),
        "T2M": (air(starts, lat).to_numpy(), "C"),
        "WS10M": (np.full(len(starts), 3.3), "m/s"),
        "RH2M": (np.full(len(starts), 71.0), "%"),
    }
    wanted = query["parameters"].split(",")
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [lon, lat, 690.5]},
        "properties": {
            "parameter": {
                name: dict(zip(stamps, np.round(series[name][0], 2).tolist(), strict=True))
                for name in wanted
            }
        },
        "header": {
            "title": "NASA/POWER Source Native Resolution Hourly Data",
            "api": {"version": "v2.8.0", "name": "POWER Hourly API"},
            "sources": ["SYN1DEG", "MERRA2"],
            "fill_value": -999.0,
            "time_standard": query["time-standard"],
            "start": query["start"],
            "end": query["end"],
        },
        "messages": [],
        "parameters": {n: {"units": series[n][1], "longname": n} for n in wanted},
        "times": {"data": 1.0, "process": 0.1},
    }


def skyline(azimuth_from_north):
    """Invented: a ridge 20° high and wide due east, level land elsewhere."""
    return max(0.0, 20.0 - abs(azimuth_from_north - 90.0))


def horizon_answer(query):
    from_south = [-180.0 + 7.5 * k for k in range(49)]
    rows = [{"A": a, "H_hor": skyline((a + 180.0) % 360.0)} for a in from_south]
    location = {"latitude": float(query["lat"]), "longitude": float(query["lon"])}
    return {
        "inputs": {"location": location, "horizon_db": "DEM-calculated"},
        "outputs": {
            "horizon_profile": rows,
            "winter_solstice": [{"A_sun(w)": 0.0, "H_sun(w)": 23.9}],
            "summer_solstice": [{"A_sun(s)": 0.0, "H_sun(s)": 70.8}],
        },
        "meta": {"inputs": {}, "outputs": {}},
    }


MAKERS = {"seriescalc": pvgis_answer, "printhorizon": horizon_answer, "point": power_answer}


@cache
def answer_text(path, items):
    return json.dumps(MAKERS[path.rsplit("/", 1)[-1]](dict(items)))


class ArchiveServer:
    """``faults`` are used up one per request; each is a function of the handler or None."""

    sky = staticmethod(sky)
    air = staticmethod(air)

    def __init__(self):
        self.faults = []
        self.always = None
        self.asked = []
        handler = type("Handler", (_Handler,), {"owner": self})
        self._http = ThreadingHTTPServer(("127.0.0.1", 0), handler)
        self._http.daemon_threads = True
        self.url = f"http://127.0.0.1:{self._http.server_address[1]}"
        self._thread = threading.Thread(
            target=self._http.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True
        )
        self._thread.start()

    def stop(self):
        """The server is gone for good."""
        if self._thread.is_alive():
            self._http.shutdown()
            self._http.server_close()
            self._thread.join()


class _Handler(BaseHTTPRequestHandler):
    owner = None
    protocol_version = "HTTP/1.1"

    def log_message(self, *args):
        pass

    def do_GET(self):
        parts = urlsplit(self.path)
        query = {key: values[0] for key, values in parse_qs(parts.query).items()}
        self.owner.asked.append((parts.path, query))
        fault = self.owner.faults.pop(0) if self.owner.faults else self.owner.always
        self.text = answer_text(parts.path, tuple(sorted(query.items())))
        if fault is None:
            self.reply(200, self.text)
        else:
            fault(self)

    def reply(self, status, text, kind="application/json", length=None, **headers):
        body = text.encode("utf-8")
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body) if length is None else length))
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        try:
            self.wfile.write(body)
        except (BrokenPipeError, ConnectionResetError):
            self.close_connection = True

    def trickle(self, pause_s, times):
        """A body that never ends in time, a byte now and then."""
        self.send_response(200)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(times))
        self.end_headers()
        try:
            for _ in range(times):
                self.wfile.write(b" ")
                self.wfile.flush()
                time.sleep(pause_s)
        except (BrokenPipeError, ConnectionResetError):
            self.close_connection = True


@pytest.fixture(scope="session")
def new_archive_server():
    """Makes servers for fixtures that outlive a test; whoever calls it stops it."""
    return ArchiveServer


@pytest.fixture
def archive_server():
    server = ArchiveServer()
    yield server
    server.stop()
