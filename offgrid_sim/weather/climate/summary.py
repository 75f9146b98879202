"""What the climate of one place looks like in a few figures, for a person to judge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from offgrid_sim.weather.climate.daily import generate_days, place_climate, solar_offset_h
from offgrid_sim.weather.climate.pack import monthly_climate
from offgrid_sim.weather.climate.sun import Floats, clear_hours
from offgrid_sim.weather.table import Place

SUMMARY_FROM = {"north": np.datetime64("2001-07-01"), "south": np.datetime64("2001-01-01")}
"""Years run from summer to summer, so that no winter is cut in two."""
SUMMARY_DAYS = 365
DULL_CLEARNESS = 0.25
"""A dull day lets through less than a quarter of the radiation above the atmosphere."""
LIGHT_WH_M2_D = 500.0
"""Days with less above the atmosphere (polar night and its edges) count neither way."""


@dataclass(frozen=True)
class ClimateSummary:
    """Figures of one place; monthly tuples run from January.

    ``dull_day_share`` is the share of days with a clearness index below 0.25. Shares of runs are
    over all unbroken runs of dull days in the generated years, at least one day long.
    """

    place: Place
    altitude_m: float
    nearest_cell_km: float
    ghi_kwh_m2_d: tuple[float, ...]
    temp_air_c: tuple[float, ...]
    generated_years: int
    dull_day_share: float
    dull_runs_per_year: float
    dull_runs_3_days_share: float
    dull_runs_5_days_share: float
    longest_dull_run_median_days: float
    darkest_5_days_median_kwh_m2_d: float
    source: str
    notes: tuple[str, ...]


def climate_summary(place: Place, n_years: int = 30, seed: int = 1) -> ClimateSummary:
    """Monthly means of a place and its dull spells over ``n_years`` generated years.

    Raises WeatherUnavailable when no cell of the pack is within 350 km.
    """
    climate = place_climate(monthly_climate(place))
    at = climate.monthly
    start = SUMMARY_FROM["north" if at.latitude_deg >= 0 else "south"]
    first_day = int(start.astype(np.int64))
    days = generate_days(climate, seed, tuple(range(1, n_years + 1)), first_day, SUMMARY_DAYS)
    clear_wh, above_wh = _clear_days_wh_m2(start, *climate.position)
    ghi_wh = days.clear_sky_index * clear_wh
    mean_wh = days.expected_index * clear_wh
    dull = (ghi_wh < DULL_CLEARNESS * above_wh) & (above_wh > LIGHT_WH_M2_D)
    runs = [run_lengths(year) for year in dull]
    together = np.concatenate(runs)
    month = pd.date_range(start, periods=SUMMARY_DAYS).month.to_numpy()
    return ClimateSummary(
        place=place,
        altitude_m=at.altitude_m,
        nearest_cell_km=at.nearest_cell_km,
        ghi_kwh_m2_d=tuple(float(mean_wh[month == m].mean()) / 1000.0 for m in range(1, 13)),
        temp_air_c=tuple(float(t) for t in at.temp_air_c),
        generated_years=n_years,
        dull_day_share=float(dull.mean()),
        dull_runs_per_year=len(together) / n_years,
        dull_runs_3_days_share=share_of_runs(together, 3),
        dull_runs_5_days_share=share_of_runs(together, 5),
        longest_dull_run_median_days=float(np.median([max(r, default=0) for r in runs])),
        darkest_5_days_median_kwh_m2_d=float(np.median(darkest_mean(ghi_wh, 5))) / 1000.0,
        source="embedded climate (MERRA-2 radiation, ITU-R P.1510-1 temperature), modified",
        notes=at.notes,
    )


def _clear_days_wh_m2(
    start: np.datetime64, latitude_deg: float, longitude_deg: float, altitude_m: float
) -> tuple[Floats, Floats]:
    """Clear-sky and extraterrestrial radiation of each local solar day of the summary's year."""
    midnight = pd.Timestamp(start, tz="UTC") - pd.Timedelta(hours=solar_offset_h(longitude_deg))
    hours = pd.date_range(midnight, periods=SUMMARY_DAYS * 24, freq="h")
    clear = clear_hours(hours, latitude_deg, longitude_deg, altitude_m)
    return (
        clear.clear_ghi_w_m2.reshape(SUMMARY_DAYS, 24).sum(axis=1),
        clear.extraterrestrial_w_m2.reshape(SUMMARY_DAYS, 24).sum(axis=1),
    )


def run_lengths(dull: np.ndarray) -> np.ndarray:
    """Lengths of the unbroken runs of True in a boolean row."""
    edges = np.diff(np.concatenate([[0], dull.astype(np.int8), [0]]))
    return np.asarray(np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1))


def share_of_runs(lengths: np.ndarray, at_least_days: int) -> float:
    """Share of runs that last at least so many days; 0 when there is no run at all."""
    return float((lengths >= at_least_days).mean()) if lengths.size else 0.0


def darkest_mean(daily_wh_m2: Floats, window_days: int) -> Floats:
    """Lowest mean of ``window_days`` days in a row, per year (axis 0)."""
    total = np.cumsum(np.pad(daily_wh_m2, ((0, 0), (1, 0))), axis=1)
    return np.asarray((total[:, window_days:] - total[:, :-window_days]).min(axis=1) / window_days)
