"""Light, cell temperature and panel power, against pvlib and values from its papers.

S13 ... S19 are checks of the project's physics sheet; each names what stands behind it.
"""

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.physics.solar import (
    HEAT_LOSS_W_M2_K,
    Sun,
    cell_temp_c,
    on_panel,
    power_per_watt,
    sun_at_mid_hour,
    vertical_w_m2,
)
from offgrid_sim.weather.climate.hourly import split_beam

FLAT = {"tilt_deg": 0.0, "azimuth_deg": 180.0}


def sun_at(zenith_deg, azimuth_deg=180.0):
    zenith = np.atleast_1d(np.asarray(zenith_deg, float))
    return Sun(zenith, np.full(zenith.shape, azimuth_deg), np.full(zenith.shape, 1361.0))


def erbs_share(kt):
    """Diffuse share printed in Erbs, Klein & Duffie 1982."""
    if kt <= 0.22:
        return 1 - 0.09 * kt
    if kt <= 0.80:
        return 0.9511 - 0.1604 * kt + 4.388 * kt**2 - 16.638 * kt**3 + 12.336 * kt**4
    return 0.165


def split_at(kt, zenith_deg=60.0, doy=172):
    top = pvlib.irradiance.get_extra_radiation(doy) * np.cos(np.radians(zenith_deg))
    ghi = np.full((1, 1, 24), kt * top)
    dni, dhi = split_beam(ghi, np.full((1, 24), zenith_deg), np.array([doy]))
    return ghi[0, 0, 0], dni[0, 0, 0], dhi[0, 0, 0]


@pytest.mark.parametrize(
    ("kt", "share"), [(0.1, 0.9910), (0.3, 0.9486), (0.5, 0.65915), (0.7, 0.24398), (0.9, 0.165)]
)
def test_s13_diffuse_share_is_that_of_erbs(kt, share):
    ghi, _, dhi = split_at(kt)
    assert erbs_share(kt) == pytest.approx(share, abs=6e-5)
    assert dhi / ghi == pytest.approx(erbs_share(kt), rel=1e-9)


def test_s14_split_of_one_hour():
    ghi, dni, dhi = split_at(0.5)
    assert ghi == pytest.approx(330.406, abs=2e-3)
    assert dhi == pytest.approx(217.787, abs=2e-3)
    assert dni == pytest.approx(225.238, abs=5e-3)
    assert dni * np.cos(np.radians(60.0)) + dhi == pytest.approx(ghi, rel=1e-12)


@pytest.mark.parametrize(
    ("mounting", "expected_c"), [("open_rack", 52.93), ("roof_gap", 65.50), ("glued", 79.00)]
)
def test_s15_cell_temperature_by_mounting(mounting, expected_c):
    cell_c = cell_temp_c(np.array([1000.0]), np.array([25.0]), mounting)
    assert cell_c[0] == pytest.approx(expected_c, abs=0.006)
    # Faiman/PVsyst by hand: Ta + G alpha (1 - eta) / u_c
    by_hand_c = 25.0 + 1000.0 * 0.9 * (1 - 0.1) / HEAT_LOSS_W_M2_K[mounting]
    assert cell_c[0] == pytest.approx(by_hand_c, rel=1e-12)


def test_s17_power_of_a_hot_panel():
    watts = 200.0 * power_per_watt(np.array([800.0]), np.array([60.0]), -0.0035)
    assert watts[0] == pytest.approx(140.4, abs=1e-9)


def test_an_impossibly_hot_panel_gives_nothing_rather_than_less():
    assert power_per_watt(np.array([100.0]), np.array([400.0]), -0.0035)[0] == 0.0


@pytest.mark.parametrize(
    ("zenith_deg", "passes"), [(45.0, 0.9880), (60.0, 0.9460), (75.0, 0.7741), (80.0, 0.6341)]
)
def test_s18_beam_through_the_glass_of_a_flat_panel(zenith_deg, passes):
    sun, dni, none = sun_at(zenith_deg), np.array([700.0]), np.array([0.0])
    light = on_panel(sun, dni * np.cos(np.radians(zenith_deg)), dni, none, **FLAT)
    assert light.effective_w_m2[0] / light.total_w_m2[0] == pytest.approx(passes, abs=6e-5)


def test_sky_light_through_the_glass_of_a_flat_panel():
    # Marion 2017 as in pvlib: 0.944 at tilt 0.
    light = on_panel(sun_at(50.0), np.array([100.0]), np.zeros(1), np.array([100.0]), **FLAT)
    assert light.effective_w_m2[0] == pytest.approx(94.4, abs=0.1)


def test_a_flat_panel_sees_exactly_the_global_light():
    zenith_deg = np.array([10.0, 45.0, 80.0, 86.0])
    dni, dhi = np.array([900.0, 700.0, 300.0, 50.0]), np.array([80.0, 120.0, 60.0, 20.0])
    ghi = dni * np.cos(np.radians(zenith_deg)) + dhi
    light = on_panel(sun_at(zenith_deg), ghi, dni, dhi, **FLAT)
    np.testing.assert_allclose(light.total_w_m2, ghi, rtol=1e-12)


def test_beam_near_the_horizon_is_dropped():
    light = on_panel(
        sun_at([88.0, 95.0]), np.array([5.0, 0.0]), np.array([500.0, 9.0]), np.zeros(2), **FLAT
    )
    assert light.total_w_m2.tolist() == [0.0, 0.0]


def test_a_tilted_panel_agrees_with_pvlib_hay_davies():
    zenith_deg, azimuth_deg = np.array([30.0, 55.0, 70.0]), 150.0
    sun = sun_at(zenith_deg, azimuth_deg)
    dni, dhi = np.array([800.0, 600.0, 250.0]), np.array([100.0, 90.0, 60.0])
    ghi = dni * np.cos(np.radians(zenith_deg)) + dhi
    light = on_panel(sun, ghi, dni, dhi, tilt_deg=30.0, azimuth_deg=180.0)
    reference = pvlib.irradiance.get_total_irradiance(
        30.0, 180.0, sun.zenith_deg, sun.azimuth_deg, dni, ghi, dhi, dni_extra=sun.extra_w_m2,
        albedo=0.2, model="haydavies",
    )  # fmt: skip
    np.testing.assert_allclose(light.total_w_m2, reference["poa_global"], rtol=1e-9)


def test_shade_takes_beam_and_sky_apart():
    sun, ghi, dni, dhi = sun_at([40.0]), np.array([700.0]), np.array([783.2]), np.array([100.0])
    no_beam = on_panel(sun, ghi, dni, dhi, **FLAT, beam_share=0.0)
    no_sky = on_panel(sun, ghi, dni, dhi, **FLAT, diffuse_share=0.0)
    both = on_panel(sun, ghi, dni, dhi, **FLAT)
    assert no_beam.total_w_m2[0] == pytest.approx(100.0)
    assert no_beam.total_w_m2 + no_sky.total_w_m2 == pytest.approx(both.total_w_m2)


def test_a_window_all_around_sees_the_mean_of_many_windows():
    sun, ghi, dni, dhi = sun_at([50.0]), np.array([600.0]), np.array([700.0]), np.array([150.0])
    facing = pvlib.irradiance.aoi_projection(90.0, np.arange(0.5, 360), 50.0, 180.0)
    mean_beam = 700.0 * np.mean(np.maximum(facing, 0.0))
    expected = mean_beam + 0.5 * 150.0 + 0.5 * 0.2 * 600.0
    assert vertical_w_m2(sun, ghi, dni, dhi)[0] == pytest.approx(expected, rel=1e-4)


def test_the_sun_is_placed_at_the_middle_of_the_hour():
    # Longitude 0 on 15 April: the equation of time is 0 (within 10 s), the sun is due south at
    # 12:00 UTC, so the hours that start at 11 and 12 see it at mirrored azimuths.
    hours = pd.date_range("2019-04-15 11:00", periods=2, freq="h", tz="UTC")
    sun = sun_at_mid_hour(hours, 45.0, 0.0)
    assert sun.azimuth_deg[0] + sun.azimuth_deg[1] == pytest.approx(360.0, abs=0.2)
    assert sun.azimuth_deg[0] < 180.0 < sun.azimuth_deg[1]
    # zenith = latitude - declination at noon; 7.5 deg of hour angle adds 0.7 deg
    assert sun.zenith_deg[0] == pytest.approx(45.0 - 9.7 + 0.7, abs=0.3)


@pytest.mark.parametrize(
    ("day", "air_c", "ghi_kwh_m2", "kwh", "ratio"),
    [("2019-06-21", 20.0, 8.71, 2.07, 0.79), ("2019-12-21", 5.0, 1.21, 0.29, 0.80)],
)
def test_s19_clear_day_of_300_w_at_50_north(day, air_c, ghi_kwh_m2, kwh, ratio):
    hours = pd.date_range(day, periods=24, freq="h", tz="UTC")
    sun = sun_at_mid_hour(hours, 50.0, 0.0)
    ghi = pvlib.clearsky.haurwitz(pd.Series(sun.zenith_deg))["ghi"].to_numpy()
    split = pvlib.irradiance.erbs(ghi, sun.zenith_deg, hours.day_of_year, max_zenith=87.0)
    light = on_panel(sun, ghi, split["dni"], split["dhi"], **FLAT)
    cell_c = cell_temp_c(light.total_w_m2, np.full(24, air_c), "glued")
    watts = 300.0 * power_per_watt(light.effective_w_m2, cell_c, -0.0035) * 0.97 * 0.96
    assert ghi.sum() / 1000 == pytest.approx(ghi_kwh_m2, rel=0.01)
    assert watts.sum() / 1000 == pytest.approx(kwh, abs=0.03)
    assert watts.sum() / 300.0 / (ghi.sum() / 1000) == pytest.approx(ratio, abs=0.02)
