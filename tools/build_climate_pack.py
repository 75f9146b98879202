"""Build the embedded climate pack from its registry packages (build time only).

    pip install gsee-climate-data itur
    python tools/build_climate_pack.py                     # rewrites offgrid_sim/data/climate/

The `itur` package is read from its files alone (its own requirements are not needed), so
``pip install --no-deps itur`` is enough. Provenance, licences and what was changed are in
offgrid_sim/data/climate/SOURCES.md. The quantile curves in the same folder are figures and are
not rebuilt here.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import tempfile
from pathlib import Path

import h5py
import numpy as np

from offgrid_sim.weather.climate.sun import extraterrestrial_wh_m2_d, month_of_doy

PACK_FOLDER = Path(__file__).resolve().parents[1] / "offgrid_sim" / "data" / "climate"
PACK_FILE = "monthly_means.npz"

KT_SCALE = 1e4
"""Monthly clearness index is kept as int16 in steps of 1e-4; -1 stands for "no value"."""

DARK_WH_M2_D = 100.0
"""Below this mean daily extraterrestrial radiation a month has no usable clearness index."""

KT_LIMITS = (0.05, 0.85)
"""Clearness of a monthly mean outside these is not physical; raw high deserts reach 0.86."""

TEMP_STEP_K = 0.1
LATITUDE_SPAN_DEG = (-60.0, 78.0)
"""The temperature grid is cut to latitudes within reach of a radiation cell."""


def main() -> None:
    """Read the source packages, build the arrays, write the pack whole or not at all."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--out", type=Path, default=PACK_FOLDER / PACK_FILE)
    out = parser.parse_args().out
    arrays = build_radiation() | build_temperature()
    write_whole(out, arrays)
    print(f"{out}: {out.stat().st_size / 1000:.0f} kB")


def build_radiation() -> dict[str, np.ndarray]:
    """Monthly clearness index of the land cells, from the cells' monthly mean GHI only.

    The histograms are smoothed and have negative bins, so nothing but their first moment is used.
    """
    from gsee_climate_data import load

    with load() as source:
        latitude_deg, longitude_deg = source["lat"], source["lon"]
        bins_w_m2, share = source["xk"].astype(float), source["pk"].astype(float)
    total = np.nan_to_num(share.sum(axis=-1))
    ghi_wh_m2_d = 24.0 * (bins_w_m2 * share).sum(axis=-1) / np.where(total > 0.5, total, np.nan)
    extraterrestrial = monthly_extraterrestrial_wh_m2_d(latitude_deg)[:, None, :]
    usable = (total > 0.5) & (extraterrestrial > DARK_WH_M2_D)
    kt = np.clip(ghi_wh_m2_d / np.maximum(extraterrestrial, 1.0), *KT_LIMITS)
    coded = np.where(usable, np.round(kt * KT_SCALE), -1).astype(np.int16)
    land = (total > 0.5).any(axis=-1)
    return {
        "kt_latitude_deg": np.repeat(latitude_deg, land.sum(axis=1)).astype(np.float32),
        "kt_longitude_deg": np.broadcast_to(longitude_deg, land.shape)[land].astype(np.float32),
        "kt_e4": coded[land],
    }


def monthly_extraterrestrial_wh_m2_d(latitude_deg: np.ndarray) -> np.ndarray:
    """Mean daily extraterrestrial radiation of each month of a 365-day year, shape (n, 12)."""
    doy = np.arange(1, 366)
    daily = extraterrestrial_wh_m2_d(latitude_deg[:, None], doy)
    return np.stack([daily[:, month_of_doy(doy) == m].mean(axis=1) for m in range(12)], axis=1)


def build_temperature() -> dict[str, np.ndarray]:
    """Monthly mean 2 m temperature (delta-coded) and the mean altitude of each of its boxes."""
    latitude, longitude = itur_array("v1_lat")[:, 0], itur_array("v1_lon")[0]
    rows = (latitude >= LATITUDE_SPAN_DEG[0]) & (latitude <= LATITUDE_SPAN_DEG[1])
    months = [itur_array(f"v1_t_month{m:02d}")[rows] - 273.15 for m in range(1, 13)]
    steps = np.round(np.stack(months) / TEMP_STEP_K).astype(np.int16)
    return {
        "temp_latitude_deg": latitude[rows].astype(np.float32),
        "temp_longitude_deg": longitude.astype(np.float32),
        "temp_row_delta_dk": np.diff(steps, axis=2, prepend=np.int16(0)),
        "temp_altitude_step": box_altitude_step(latitude[rows], longitude),
    }


def itur_array(name: str) -> np.ndarray:
    """One array of Recommendation ITU-R P.1510-1, read without importing the package's code."""
    spec = importlib.util.find_spec("itur")
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError("itur is not installed: pip install --no-deps itur")
    folder = Path(spec.submodule_search_locations[0]) / "data" / "1510"
    with np.load(folder / f"{name}.npz") as stored:
        return stored["arr_0"]


def box_altitude_step(latitude_deg: np.ndarray, longitude_deg: np.ndarray) -> np.ndarray:
    """Mean of pvlib's altitude table over 0.75° boxes, in its own 28 m steps from -450 m.

    255 is no-data (open sea) and counts as 0 m. Boxes are centred on the grid points.
    """
    import pvlib

    with h5py.File(Path(pvlib.__file__).parent / "data" / "Altitude.h5") as table:
        step = table["Altitude"][:]
    altitude_m = np.where(step == 255, 0.0, step * 28.0 - 450.0)
    by_row = box_means(altitude_m, 90.0 - (np.arange(2160) + 0.5) / 12.0, latitude_deg)
    pixel_lon = -180.0 + (np.arange(4320) + 0.5) / 12.0
    wrapped = np.concatenate([pixel_lon - 360.0, pixel_lon, pixel_lon + 360.0])
    by_box = box_means(np.tile(by_row.T, (3, 1)), wrapped, longitude_deg).T
    return np.round((by_box + 450.0) / 28.0).astype(np.uint8)


def box_means(values: np.ndarray, at_deg: np.ndarray, centre_deg: np.ndarray) -> np.ndarray:
    """Mean of the rows of ``values`` whose coordinate lies within 0.375° of each centre."""
    return np.stack([values[np.abs(at_deg - c) <= 0.375].mean(axis=0) for c in centre_deg])


def write_whole(path: Path, arrays: dict[str, np.ndarray]) -> None:
    """Write the compressed pack beside its place, then move it there."""
    handle, name = tempfile.mkstemp(dir=path.parent, suffix=".npz")
    os.close(handle)
    try:
        np.savez_compressed(name, allow_pickle=False, **arrays)
        os.chmod(name, 0o644)
        os.replace(name, path)
    finally:
        Path(name).unlink(missing_ok=True)


if __name__ == "__main__":
    main()
