"""Three real station years that pvlib carries: monthly means within the project's goals.

Typical meteorological years of Greensboro NC (723170, TMY3), Sand Point AK (703165, TMY3) and
Miami FL (12839, TMY2), United States National Renewable Energy Laboratory. The climate was never
tuned to a site.
"""

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.weather.climate import ClimateWeather
from offgrid_sim.weather.climate.pack import monthly_climate
from offgrid_sim.weather.climate.sun import extraterrestrial_wh_m2_d, month_of_doy
from offgrid_sim.weather.table import Place

DATA = Path(pvlib.__file__).parent / "data"
STATIONS = {
    "Greensboro": Place("Greensboro", 36.1, -79.95, 273.0),
    "Sand Point": Place("Sand Point", 55.317, -160.517, 7.0),
    "Miami": Place("Miami", 25.8, -80.267, 2.0),
}
FILES = {"Greensboro": "723170TYA.CSV", "Sand Point": "703165TY.csv", "Miami": "12839.tm2"}


def station_hours(name):
    """GHI and temperature of 8760 hours, January first."""
    if name == "Miami":
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # pvlib's reader uses old pandas names
            frame, _ = pvlib.iotools.read_tmy2(DATA / FILES[name])
        return frame["GHI"].to_numpy(float), frame["DryBulb"].to_numpy(float) / 10.0
    frame = pd.read_csv(DATA / FILES[name], skiprows=1, encoding="utf-8")
    return frame["GHI (W/m^2)"].to_numpy(float), frame["Dry-bulb (C)"].to_numpy(float)


def monthly(hours, per_day):
    days = hours.reshape(365, 24).sum(axis=1) / per_day
    month = month_of_doy(np.arange(1, 366))
    return np.array([days[month == m].mean() for m in range(12)])


def model_ghi_kwh(place):
    doy = np.arange(1, 366)
    above = extraterrestrial_wh_m2_d(place.latitude_deg, doy) / 1000.0
    month = month_of_doy(doy)
    return monthly_climate(place).clearness_index * [above[month == m].mean() for m in range(12)]


@pytest.mark.parametrize("name", STATIONS)
def test_radiation_within_goals(name):
    """Annual mean within 15 %, the four darkest months within 25 %."""
    real = monthly(station_hours(name)[0], 1000.0)
    model = model_ghi_kwh(STATIONS[name])
    dark = np.argsort(real)[:4]
    assert model.mean() == pytest.approx(real.mean(), rel=0.15)
    assert model[dark].sum() == pytest.approx(real[dark].sum(), rel=0.25)


def test_bias_and_temperature_over_the_stations():
    """Mean bias of GHI within ±3 %, monthly temperature within 1.5 K RMSE.

    The third goal, a monthly RMSE of 12 % over many sites, is measured by benchmarks/: these
    three alone, two of them hard (an Alaskan island, Florida's summer), have 15 %.
    """
    real = np.array([monthly(station_hours(n)[0], 1000.0) for n in STATIONS])
    model = np.array([model_ghi_kwh(p) for p in STATIONS.values()])
    assert model.mean() == pytest.approx(real.mean(), rel=0.03)
    real_c = np.array([monthly(station_hours(n)[1], 24.0) for n in STATIONS])
    model_c = np.array([monthly_climate(p).temp_air_c for p in STATIONS.values()])
    assert np.sqrt(((model_c - real_c) ** 2).mean()) <= 1.5


def test_greensboro_month_by_month():
    """An inland station: the goal for many sites holds for it alone, monthly RMSE <= 12 %."""
    real = monthly(station_hours("Greensboro")[0], 1000.0)
    model = model_ghi_kwh(STATIONS["Greensboro"])
    assert np.sqrt(((model - real) ** 2).mean()) / real.mean() <= 0.12


@pytest.mark.parametrize("name", STATIONS)
def test_generated_years_keep_the_monthly_means(name):
    """Sixty generated years average to the pack's own means but for chance.

    Between years a month of GHI spreads by 10-14 % and of temperature by about 2 K, so the mean
    of 60 years has a standard error of 1.8 % and 0.26 K; four of those are allowed.
    """
    place = STATIONS[name]
    hours = pd.date_range("2025-01-01", periods=8760, freq="h", tz="UTC")
    block = ClimateWeather(60, 4).block(place, hours, range(1, 61))
    expected = model_ghi_kwh(place)
    month = hours.month.to_numpy()
    for m in range(12):
        here = month == m + 1
        kwh = block.ghi_w_m2[:, here].mean() * 0.024
        assert kwh == pytest.approx(expected[m], rel=0.072)
        air = block.temp_air_c[:, here].mean()
        assert air == pytest.approx(monthly_climate(place).temp_air_c[m], abs=1.04)


@pytest.mark.parametrize("name", STATIONS)
def test_worst_five_days_of_the_dark_months(name):
    """Typical years have too bright dull days: within the goal for single sites, 0.65-1.45."""
    hours = pd.date_range("2025-01-01", periods=8760, freq="h", tz="UTC")
    block = ClimateWeather(30, 4).block(STATIONS[name], hours, range(1, 31))
    offset_h = {"Greensboro": 5, "Sand Point": 9, "Miami": 5}[name]
    dark = np.r_[0:59, 304:365]

    def worst(ghi):
        days = ghi.reshape(365, 24).sum(axis=1)[dark]
        return min(days[k : k + 5].mean() for k in range(len(dark) - 5) if k not in range(55, 59))

    local = np.roll(block.ghi_w_m2, -offset_h, axis=1)
    made = np.median([worst(year) for year in local])
    assert 0.65 <= made / worst(station_hours(name)[0]) <= 1.45
