"""Extraterrestrial radiation, sun and beam split of the climate, against published figures."""

import numpy as np
import pandas as pd
import pytest
from pvlib import solarposition
from pvlib.atmosphere import alt2pres
from pvlib.location import Location

from offgrid_sim.weather.climate.hourly import split_beam
from offgrid_sim.weather.climate.sun import clear_hours, extraterrestrial_wh_m2_d


@pytest.mark.parametrize(
    ("latitude_deg", "doy", "mj_m2_d", "tolerance"),
    [
        (-20.0, 246, 32.2, 0.05),  # S1: FAO-56 example 8, 3 September
        (-22.9, 135, 25.111, 0.05),  # S3: FAO-56 example 10, 15 May
        (50.8, 187, 41.088, 0.01),  # S4: FAO-56 example 18, 6 July
        (50.0, 355, 7.445, 0.005),  # S6: computed from FAO-56 eq. 21-25 elsewhere
        (36.0, 196, 40.805, 0.005),  # S6
    ],
)
def test_daily_extraterrestrial_radiation(latitude_deg, doy, mj_m2_d, tolerance):
    wh = extraterrestrial_wh_m2_d(latitude_deg, np.array([doy]))[0]
    assert wh * 3.6e-3 == pytest.approx(mj_m2_d, abs=tolerance)


def test_polar_night_and_midnight_sun():
    """75° N: nothing at the winter solstice, more than at the equator at the summer one."""
    winter, summer = extraterrestrial_wh_m2_d(75.0, np.array([355, 172]))
    equator = extraterrestrial_wh_m2_d(0.0, np.array([172]))[0]
    assert winter == 0.0
    assert summer > equator


@pytest.mark.parametrize("latitude_deg", [-54.8, 0.0, 42.5, 69.6])
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_sun_within_two_hundredths_of_a_degree_of_spa(latitude_deg):
    hours = pd.date_range("2026-01-01", periods=8760, freq="h", tz="UTC")[::37]
    ours = clear_hours(hours, latitude_deg, 8.0, 300.0)
    spa = solarposition.get_solarposition(hours + pd.Timedelta(minutes=30), latitude_deg, 8.0)
    assert np.abs(ours.zenith_deg - spa["zenith"].to_numpy()).max() < 0.02


def test_clear_day_near_haurwitz():
    """S19: Haurwitz clear day at 50° N, 8.71 kWh/m2 on 21 June and 1.21 on 21 December; Ineichen
    with monthly turbidity lies within 15 % of it."""
    for day, kwh in (("2026-06-21", 8.71), ("2026-12-21", 1.21)):
        hours = pd.date_range(day, periods=24, freq="h", tz="UTC")
        ghi = clear_hours(hours, 50.0, 0.0, 100.0).clear_ghi_w_m2.sum() / 1000.0
        assert ghi == pytest.approx(kwh, rel=0.15)


def test_erbs_split_of_one_hour():
    """S14: zenith 60°, day 172, GHI 330.406 gives DHI 217.787 and DNI 225.238 W/m2."""
    ghi = np.zeros((1, 1, 24))
    ghi[0, 0, 12] = 330.406
    zenith = np.full((1, 24), 100.0)
    zenith[0, 12] = 60.0
    dni, dhi = split_beam(ghi, zenith, np.array([172]))
    assert dhi[0, 0, 12] == pytest.approx(217.787, abs=0.01)
    assert dni[0, 0, 12] == pytest.approx(225.238, abs=0.01)
    assert dni.sum() == dni[0, 0, 12]


def test_no_beam_above_87_degrees():
    ghi = np.full((1, 1, 24), 20.0)
    zenith = np.full((1, 24), 87.01)
    zenith[0, 0] = 86.9
    dni, dhi = split_beam(ghi, zenith, np.array([10]))
    assert dni[0, 0, 0] > 0.0
    assert np.all(dni[0, 0, 1:] == 0.0)
    assert np.all(dhi[0, 0, 1:] == 20.0)


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_clear_sky_is_pvlib_s_own_on_both_sides_of_every_new_year():
    """Turbidity is kept by day of a common and of a leap year; pvlib's whole chain is the check."""
    for year in (2023, 2024, 2100):  # before a leap year, a leap year, a common one by the century
        hours = pd.date_range(f"{year}-12-28", periods=240, freq="h", tz="UTC")
        hours = hours.append(pd.date_range(f"{year}-02-27", periods=96, freq="h", tz="UTC"))
        place = Location(42.57, -0.55, altitude=820.0)
        middle = hours + pd.Timedelta(minutes=30)
        sun = solarposition.ephemeris(middle, 42.57, -0.55, pressure=alt2pres(820.0))
        expected = place.get_clearsky(middle, solar_position=sun)["ghi"].to_numpy()
        low = sun["apparent_zenith"].to_numpy() >= 89.9
        ours = clear_hours(hours, 42.57, -0.55, 820.0).clear_ghi_w_m2
        np.testing.assert_allclose(ours[~low], expected[~low], rtol=1e-12)
        assert (ours[low] == 0.0).all()
