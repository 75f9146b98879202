"""How good the embedded climate is: every figure of its goals, against sites it never saw.

    python benchmarks/climate_goals.py SITES.csv WEATHER_FOLDER

SITES.csv: columns site, latitude, longitude, altitude_m, ghi_01_kwh_m2_d.., temp_01_c..
WEATHER_FOLDER: measured hourly years potsdam_YYYY.csv with time (ISO, hour start), ghi_w_m2 and
temp_air_c. Nothing here is tuned per site; docs/climate.md shows the figures.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
from rich.console import Console
from rich.table import Table

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.climate import ClimateWeather, prepare
from offgrid_sim.weather.climate.daily import solar_offset_h
from offgrid_sim.weather.climate.pack import load_pack, monthly_climate
from offgrid_sim.weather.climate.summary import run_lengths, share_of_runs
from offgrid_sim.weather.climate.sun import (
    clear_hours,
    extraterrestrial_wh_m2_d,
    month_of_doy,
)
from offgrid_sim.weather.table import Place, WeatherBlock

POTSDAM = Place("Potsdam", 52.38, 13.06, 81.0)
N_YEARS = 100
SEED = 20
DULL = 0.25


@dataclass(frozen=True)
class Row:
    """One line of the table: what, the goal in words, the measured figure, whether it is met."""

    what: str
    goal: str
    measured: str
    met: bool | None


@dataclass(frozen=True)
class Sites:
    """Real and modelled monthly means, (sites, 12); ``above`` is extraterrestrial."""

    names: list[str]
    latitude_deg: np.ndarray
    ghi: np.ndarray
    temp_c: np.ndarray
    model_ghi: np.ndarray
    model_temp_c: np.ndarray
    above: np.ndarray
    refused: list[str]


def main() -> None:
    """Measure everything and print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("sites", type=Path)
    parser.add_argument("weather", type=Path)
    arguments = parser.parse_args()
    sites = read_sites(pd.read_csv(arguments.sites, encoding="utf-8"))
    rows = radiation_rows(sites) + temperature_rows(sites)
    rows += potsdam_rows(read_measured(arguments.weather)) + station_rows() + time_rows()
    show(rows)
    show_sites(sites)


def read_sites(frame: pd.DataFrame) -> Sites:
    """The sites within reach of the pack, with what the pack says of them."""
    models, above, kept, refused = [], [], [], []
    doy = np.arange(1, 366)
    for number, site in frame.iterrows():
        place = Place(site.site, site.latitude, site.longitude, site.altitude_m)
        try:
            models.append(monthly_climate(place))
        except WeatherUnavailable:
            refused.append(site.site)
            continue
        daily = extraterrestrial_wh_m2_d(site.latitude, doy) / 1000.0
        above.append([daily[month_of_doy(doy) == m].mean() for m in range(12)])
        kept.append(number)
    frame, extraterrestrial = frame.loc[kept], np.array(above)
    return Sites(
        names=list(frame.site),
        latitude_deg=frame.latitude.to_numpy(),
        ghi=frame.filter(like="ghi_").to_numpy(),
        temp_c=frame.filter(like="temp_").to_numpy(),
        model_ghi=np.array([m.clearness_index for m in models]) * extraterrestrial,
        model_temp_c=np.array([m.temp_air_c for m in models]),
        above=extraterrestrial,
        refused=refused,
    )


def dark_months(sites: Sites, values: np.ndarray) -> np.ndarray:
    """The four months with the least sun above the atmosphere, (sites, 4)."""
    return np.take_along_axis(values, np.argsort(sites.above, axis=1)[:, :4], axis=1)


def radiation_rows(sites: Sites) -> list[Row]:
    """Monthly means of GHI against the sites'."""
    error = sites.model_ghi - sites.ghi
    rmse = np.sqrt((error**2).mean()) / sites.ghi.mean()
    dark, dark_error = dark_months(sites, sites.ghi), dark_months(sites, error)
    dark_rmse = np.sqrt((dark_error**2).mean()) / dark.mean()
    bias = error.mean() / sites.ghi.mean()
    annual = np.abs(error.mean(axis=1) / sites.ghi.mean(axis=1)) <= 0.15
    dark_ok = np.abs(dark_error.sum(axis=1) / dark.sum(axis=1)) <= 0.25
    return [
        Row("monthly GHI, RMSE over mean", "≤ 12 %", f"{rmse:.1%}", rmse <= 0.12),
        Row("four darkest months, RMSE over mean", "≤ 15 %", f"{dark_rmse:.1%}", dark_rmse <= 0.15),
        Row("mean bias", "within ±3 %", f"{bias:+.1%}", abs(bias) <= 0.03),
        Row("sites with annual bias ≤ 15 %", "≥ 90 %", share(annual), annual.mean() >= 0.9),
        Row("sites with dark months ≤ 25 %", "≥ 90 %", share(dark_ok), dark_ok.mean() >= 0.9),
    ]


def share(good: np.ndarray) -> str:
    """ "35 of 38 (92 %)"."""
    return f"{good.sum()} of {good.size} ({good.mean():.0%})"


def temperature_rows(sites: Sites) -> list[Row]:
    """Monthly mean temperature against the sites'."""
    error = sites.model_temp_c - sites.temp_c
    rmse = float(np.sqrt((error**2).mean()))
    return [
        Row("monthly mean temperature, RMSE", "≤ 1.5 K", f"{rmse:.2f} K", rmse <= 1.5),
        Row("  its bias", "—", f"{error.mean():+.2f} K", None),
    ]


def read_measured(folder: Path) -> pd.DataFrame:
    """Measured days of Potsdam: ghi and above in Wh/m2, temp in °C, year and month."""
    files = sorted(folder.glob("potsdam_*.csv"))
    if not files:
        raise SystemExit(f"{folder} holds no potsdam_*.csv: name the folder that does.")
    frame = pd.concat([pd.read_csv(f, encoding="utf-8") for f in files], ignore_index=True)
    utc = pd.DatetimeIndex(pd.to_datetime(frame["time"], utc=True))
    return daily_frame(utc, frame["ghi_w_m2"].to_numpy(), frame["temp_air_c"].to_numpy(), POTSDAM)


def daily_frame(
    utc: pd.DatetimeIndex, ghi_w_m2: np.ndarray, temp_air_c: np.ndarray, place: Place
) -> pd.DataFrame:
    """Days (by solar time, whole hours) of one hourly series, those with 24 hours."""
    above = clear_hours(
        utc, place.latitude_deg, place.longitude_deg, place.altitude_m or 0.0
    ).extraterrestrial_w_m2
    local = utc.tz_localize(None) + pd.Timedelta(hours=solar_offset_h(place.longitude_deg))
    hours = pd.DataFrame({"day": local.floor("D"), "ghi": ghi_w_m2, "above": above})
    hours["temp"] = temp_air_c
    days = hours.groupby("day").agg(
        ghi=("ghi", "sum"), above=("above", "sum"), temp=("temp", "mean"), hours=("temp", "size")
    )
    days = days[days["hours"] == 24]
    return days.assign(year=days.index.year, month=days.index.month)


def winter(days: pd.DataFrame) -> pd.DataFrame:
    """November to February."""
    return days[days["month"].isin([11, 12, 1, 2])]


def worst_five_days_wh(days: pd.DataFrame) -> np.ndarray:
    """Lowest mean of five days in a row in each calendar year's winter months."""
    return np.array([
        part["ghi"].asfreq("D").rolling(5).mean().min() for _, part in winter(days).groupby("year")
    ])  # fmt: skip


def dull_runs(days: pd.DataFrame, months: list[int]) -> np.ndarray:
    """Lengths of the runs of days with clearness below 0.25 within ``months``."""
    dull = (days["ghi"] < DULL * days["above"]) & days["month"].isin(months)
    return np.concatenate([run_lengths(part.to_numpy()) for _, part in dull.groupby(days["year"])])


def synthetic_days(n_years: int) -> pd.DataFrame:
    """Generated days of Potsdam in the same form, one nominal year per weather year."""
    hours = pd.date_range("2001-01-01", periods=8760, freq="h", tz="UTC")
    block = generated(POTSDAM, hours, n_years)
    frames = [
        daily_frame(hours, block.ghi_w_m2[k], block.temp_air_c[k], POTSDAM).assign(year=k)
        for k in range(n_years)
    ]
    return pd.concat(frames)


def generated(place: Place, hours: pd.DatetimeIndex, n_years: int) -> WeatherBlock:
    """The benchmark's weather years at a place."""
    weather = ClimateWeather(n_years, SEED)
    return weather.block(place, hours, weather.years(place, hours))


def potsdam_rows(real: pd.DataFrame) -> list[Row]:
    """Dull spells, spreads and temperature's memory at Potsdam, generated against measured."""
    made = synthetic_days(N_YEARS)
    worst = np.median(worst_five_days_wh(made)) / np.median(worst_five_days_wh(real))
    rows = [
        Row("Potsdam: worst 5 winter days, made ÷ real", "0.85–1.15", f"{worst:.2f}",
            0.85 <= worst <= 1.15),
    ]  # fmt: skip
    for name, months in (("winter, Dec–Feb", [12, 1, 2]), ("Nov–Feb", [11, 12, 1, 2]),
                         ("all year", list(range(1, 13)))):  # fmt: skip
        of_real, of_made = dull_runs(real, months), dull_runs(made, months)
        three = share_of_runs(of_made, 3)
        met = 0.22 <= three <= 0.32 if months == [12, 1, 2] else None
        rows.append(Row(
            f"Potsdam dull runs, {name}: share ≥ 3 days", "27 ± 5 %" if met is not None else "—",
            f"{three:.1%} (measured {share_of_runs(of_real, 3):.1%})", met,
        ))  # fmt: skip
        rows.append(Row(
            f"  share ≥ 5 days, {name}", "—",
            f"{share_of_runs(of_made, 5):.1%} (measured {share_of_runs(of_real, 5):.1%})", None,
        ))  # fmt: skip
    return rows + spread_rows(real, made)


STATIONS = {
    "723170TYA.CSV": Place("Greensboro", 36.1, -79.95, 273.0),
    "703165TY.csv": Place("Sand Point", 55.317, -160.517, 7.0),
    "12839.tm2": Place("Miami", 25.8, -80.267, 2.0),
}
"""Typical years that pvlib carries; their dull days are brighter than a real year's."""


def station_ghi_w_m2(name: str) -> np.ndarray:
    """8760 hours in local standard time."""
    path = Path(pvlib.__file__).parent / "data" / name
    if name.endswith(".tm2"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # pvlib's reader uses names that pandas will drop
            return pvlib.iotools.read_tmy2(path)[0]["GHI"].to_numpy(float)
    return pd.read_csv(path, skiprows=1, encoding="utf-8")["GHI (W/m^2)"].to_numpy(float)


def station_rows() -> list[Row]:
    """Worst five days of November to February against pvlib's three typical years."""
    hours = pd.date_range("2001-01-01", periods=8760, freq="h", tz="UTC")
    ratios = []
    for name, place in STATIONS.items():
        utc = hours - pd.Timedelta(hours=solar_offset_h(place.longitude_deg))
        real = daily_frame(utc, station_ghi_w_m2(name), np.zeros(8760), place)
        ghi = generated(place, utc, 40).ghi_w_m2
        made = [worst_five_days_wh(daily_frame(utc, year, year, place)) for year in ghi]
        ratios.append(np.median(made) / worst_five_days_wh(real)[0])
    words = ", ".join(f"{p.name} {r:.2f}" for p, r in zip(STATIONS.values(), ratios, strict=True))
    good = all(0.65 <= ratio <= 1.45 for ratio in ratios)
    return [Row("pvlib's stations: worst 5 winter days", "80 % in 0.65–1.45", words, good)]


def spread_rows(real: pd.DataFrame, made: pd.DataFrame) -> list[Row]:
    """Between-year spread of monthly GHI, and lag-1 of the daily temperature anomaly."""

    def spread(days: pd.DataFrame) -> str:
        monthly = days.groupby(["month", "year"])["ghi"].mean().unstack()
        relative = monthly.std(axis=1) / monthly.mean(axis=1)
        return f"{relative.min():.0%}–{relative.max():.0%}, mean {relative.mean():.0%}"

    def memory(days: pd.DataFrame) -> str:
        anomaly = days["temp"] - days.groupby("month")["temp"].transform("mean")
        pairs = [
            (part.to_numpy()[:-1], part.to_numpy()[1:]) for _, part in anomaly.groupby(days["year"])
        ]
        before, after = (np.concatenate(side) for side in zip(*pairs, strict=True))
        return f"sd {anomaly.std():.1f} K, lag-1 {np.corrcoef(before, after)[0, 1]:.2f}"

    return [
        Row("Potsdam: spread of monthly GHI between years", "—",
            f"{spread(made)} (measured {spread(real)})", None),
        Row("Potsdam: daily temperature anomaly", "—",
            f"{memory(made)} (measured {memory(real)})", None),
    ]  # fmt: skip


def time_rows() -> list[Row]:
    """Set-up of a place, marginal time of a year, and ten stops by thirty years."""
    load_pack()
    hours = pd.date_range("2026-01-01", periods=8760, freq="h", tz="UTC")
    generated(POTSDAM, hours, 1)
    set_up, one = [], []
    for k in range(5):
        place = Place("elsewhere", 40.0 + k, 2.0, 300.0)
        set_up.append(seconds(lambda place=place: prepare(place)))
        one.append(seconds(lambda place=place: ClimateWeather(1, SEED).block(place, hours, (1,))))
    many = [
        seconds(lambda seed=seed: ClimateWeather(40, seed).block(POTSDAM, hours, range(1, 41)))
        for seed in (101, 102, 103)
    ]
    first_ms = 1000.0 * (np.median(set_up) + np.median(one))
    per_year_ms = 1000.0 * (np.median(many) - np.median(one)) / 39.0
    return [
        Row("set-up of a place and its first year", "≤ 50 + 3 ms", f"{first_ms:.0f} ms",
            first_ms <= 53.0),
        Row("each further year, new seed", "≤ 3 ms", f"{per_year_ms:.1f} ms", per_year_ms <= 3.0),
        Row("10 stops × 30 years, 9 days each", "< 1 s", f"{seconds(ten_stops):.2f} s", None),
    ]  # fmt: skip


def seconds(work: Callable[[], object]) -> float:
    """Wall time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def ten_stops() -> None:
    """A route of ten stops in a 90-day winter, thirty weather years."""
    for k in range(10):
        start = pd.Timestamp("2026-12-01", tz="UTC") + pd.Timedelta(days=9 * k)
        hours = pd.date_range(start, periods=9 * 24, freq="h")
        ClimateWeather(30, 555).block(Place(f"stop {k}", 37.0 + 0.6 * k, -6.0 + 0.7 * k), hours,
                                      range(1, 31))  # fmt: skip


def show(rows: list[Row]) -> None:
    """The goals table."""
    table = Table("figure", "goal", "measured", "")
    for row in rows:
        mark = "" if row.met is None else ("met" if row.met else "MISSED")
        table.add_row(row.what, row.goal, row.measured, mark)
    Console(width=130).print(table)


def show_sites(sites: Sites) -> None:
    """Each site's biases, worst dark months first."""
    error = sites.model_ghi - sites.ghi
    annual = error.mean(axis=1) / sites.ghi.mean(axis=1)
    dark = dark_months(sites, error).sum(axis=1) / dark_months(sites, sites.ghi).sum(axis=1)
    temp = np.sqrt(((sites.model_temp_c - sites.temp_c) ** 2).mean(axis=1))
    table = Table("site", "annual GHI", "four dark months", "temperature RMSE")
    for k in np.argsort(-np.abs(dark)):
        table.add_row(sites.names[k], f"{annual[k]:+.0%}", f"{dark[k]:+.0%}", f"{temp[k]:.1f} K")
    Console(width=130).print(table)
    if sites.refused:
        print("refused, no cell within reach: " + ", ".join(sites.refused))


if __name__ == "__main__":
    main()
