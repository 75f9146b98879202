"""From irradiance to what one nameplate watt of panel can give, hour by hour, through pvlib.

Everything here is vectorised over weather years and hours: arrays are (Y, H) or broadcast to it.
The sun is placed once per place and shared by all years; beam and diffuse are used as the source
measured them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib

HEAT_LOSS_W_M2_K = {"roof_gap": 20.0, "glued": 15.0, "open_rack": 29.0}
"""u_c of pvlib's pvsyst_cell with u_v = 0: semi-integrated, insulated back, free standing."""

CELL_ABSORPTION, CELL_EFFICIENCY = 0.9, 0.1
"""pvlib's defaults of pvsyst_cell (alpha_absorption, module_efficiency)."""

GROUND_ALBEDO = 0.2
LOWEST_SUN_DEG = 87.0
"""Beam is dropped beyond this zenith, where GHI - DHI over cos(zenith) explodes."""


@dataclass(frozen=True)
class Sun:
    """Sun at the middle of each hour: apparent zenith and azimuth in degrees, shape (H,)."""

    zenith_deg: np.ndarray
    azimuth_deg: np.ndarray
    extra_w_m2: np.ndarray


def sun_at_mid_hour(
    times_utc: pd.DatetimeIndex, latitude_deg: float, longitude_deg: float, altitude_m: float = 0.0
) -> Sun:
    """Where the sun stands at the middle of each hour that starts at ``times_utc``.

    ``times_utc`` are contiguous hours; the last answers are kept.
    """
    return _sun(times_utc[0], len(times_utc), latitude_deg, longitude_deg, altitude_m)


@lru_cache(maxsize=128)
def _sun(
    first_utc: pd.Timestamp, hours: int, latitude_deg: float, longitude_deg: float,
    altitude_m: float,
) -> Sun:  # fmt: skip
    middle = pd.date_range(first_utc, periods=hours, freq="h") + pd.Timedelta(minutes=30)
    place = pvlib.solarposition.get_solarposition(
        middle, latitude_deg, longitude_deg, altitude=altitude_m
    )
    return Sun(
        zenith_deg=place["apparent_zenith"].to_numpy(),
        azimuth_deg=place["azimuth"].to_numpy(),
        extra_w_m2=np.asarray(pvlib.irradiance.get_extra_radiation(middle.day_of_year)),
    )


@lru_cache(maxsize=64)
def _diffuse_incidence(tilt_deg: float) -> tuple[float, float]:
    """Share of sky and ground diffuse light that passes the glass (Marion 2017, by pvlib)."""
    shares = pvlib.iam.marion_diffuse("physical", tilt_deg)
    return float(shares["sky"]), float(np.nan_to_num(shares["ground"]))


@dataclass(frozen=True)
class Irradiance:
    """Light that passes the glass of a panel and light that heats it, W/m2, shape (Y, H)."""

    effective_w_m2: np.ndarray
    total_w_m2: np.ndarray


def on_panel(
    sun: Sun,
    ghi_w_m2: np.ndarray,
    dni_w_m2: np.ndarray,
    dhi_w_m2: np.ndarray,
    *,
    tilt_deg: float,
    azimuth_deg: float,
    beam_share: float | np.ndarray = 1.0,
    diffuse_share: float | np.ndarray = 1.0,
) -> Irradiance:
    """Light on a flat or tilted panel (Hay & Davies sky, incidence by ``pvlib.iam.physical``).

    ``beam_share`` and ``diffuse_share`` are what surroundings let through; the circumsolar part
    of a tilted panel's sky light goes with the beam.
    """
    dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, dni_w_m2, 0.0)
    aoi_deg = pvlib.irradiance.aoi(tilt_deg, azimuth_deg, sun.zenith_deg, sun.azimuth_deg)
    facing = np.maximum(np.cos(np.radians(aoi_deg)), 0.0)
    up = np.maximum(np.cos(np.radians(sun.zenith_deg)), np.cos(np.radians(LOWEST_SUN_DEG)))
    around_sun = np.clip(dni / sun.extra_w_m2, 0.0, 1.0) if tilt_deg > 0 else 0.0
    beam = (dni * facing + dhi_w_m2 * around_sun * facing / up) * beam_share
    view_of_sky = (1 + np.cos(np.radians(tilt_deg))) / 2
    sky = dhi_w_m2 * (1 - around_sun) * view_of_sky * diffuse_share
    ground = ghi_w_m2 * GROUND_ALBEDO * (1 - view_of_sky) * diffuse_share
    sky_passes, ground_passes = _diffuse_incidence(round(tilt_deg, 3))
    beam_passes = np.nan_to_num(pvlib.iam.physical(aoi_deg))
    return Irradiance(
        effective_w_m2=beam * beam_passes + sky * sky_passes + ground * ground_passes,
        total_w_m2=beam + sky + ground,
    )


def cell_temp_c(total_w_m2: np.ndarray, temp_air_c: np.ndarray, mounting: str) -> np.ndarray:
    """Cell temperature for the mounting, without wind (pvlib ``pvsyst_cell``)."""
    return pvlib.temperature.pvsyst_cell(
        total_w_m2,
        temp_air_c,
        wind_speed=1.0,
        u_c=HEAT_LOSS_W_M2_K[mounting],
        u_v=0.0,
        module_efficiency=CELL_EFFICIENCY,
        alpha_absorption=CELL_ABSORPTION,
    )


def power_per_watt(
    effective_w_m2: np.ndarray, cell_c: np.ndarray, power_coefficient_per_k: float
) -> np.ndarray:
    """W at the best operating point per nameplate W (pvlib ``pvwatts_dc``)."""
    watts = pvlib.pvsystem.pvwatts_dc(effective_w_m2, cell_c, 1.0, power_coefficient_per_k)
    return np.maximum(watts, 0.0)


REFERENCE_MODULE = {
    "alpha_sc": 0.0029750,
    "a_ref": 0.92493,
    "I_L_ref": 5.9541,
    "I_o_ref": 3.4157e-10,
    "R_sh_ref": 300.0,
    "R_s": 0.2076,
}
"""Illustrative 100 W, 36-cell single-diode module (invented figures of a usual size)."""

REFERENCE_MODULE_W = 100.0
REFERENCE_MODULE_VMP = 17.90
"""Its voltage at the best operating point, 1000 W/m2 and 25 C (check C1)."""


def diode_parameters(effective_w_m2: np.ndarray, cell_c: np.ndarray) -> tuple:
    """Single-diode parameters of the reference module (De Soto 2006, by pvlib)."""
    return pvlib.pvsystem.calcparams_desoto(
        effective_w_m2, cell_c, EgRef=1.121, dEgdT=-0.0002677, **REFERENCE_MODULE
    )


def current_per_watt(effective_w_m2: np.ndarray, cell_c: np.ndarray, panel_v: float) -> np.ndarray:
    """A per nameplate W of a 36-cell panel held at ``panel_v`` (pvlib ``i_from_v``)."""
    lit = effective_w_m2 > 1.0
    current = np.zeros(np.broadcast(effective_w_m2, cell_c).shape)
    if lit.any():
        parameters = diode_parameters(effective_w_m2[lit], np.broadcast_to(cell_c, lit.shape)[lit])
        volts = np.full(np.count_nonzero(lit), panel_v)
        current[lit] = pvlib.pvsystem.i_from_v(volts, *parameters, method="newton")
    return np.maximum(current, 0.0) / REFERENCE_MODULE_W


def vertical_w_m2(
    sun: Sun, ghi_w_m2: np.ndarray, dni_w_m2: np.ndarray, dhi_w_m2: np.ndarray
) -> np.ndarray:
    """Mean light on a vertical window over all compass directions, W/m2.

    Geometry: a random azimuth sees DNI sin(zenith) / pi of beam, half the sky, half the ground.
    """
    beam = dni_w_m2 * np.sin(np.radians(np.minimum(sun.zenith_deg, 90.0))) / np.pi
    beam = np.where(sun.zenith_deg < LOWEST_SUN_DEG, beam, 0.0)
    return beam + 0.5 * dhi_w_m2 + 0.5 * GROUND_ALBEDO * ghi_w_m2
