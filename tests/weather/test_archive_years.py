"""Past years as weather: the same hours whichever archive, leap years, and what is not there.

Outside references: NREL SPA and simplified Solis (Ineichen 2008), with which tests/conftest.py
makes the servers' answers; the package uses neither.
"""

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.archive import SERVICES, ArchiveWeather
from offgrid_sim.weather.archive.fetch import fetch, wanted_years
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import Web
from offgrid_sim.weather.table import COLUMNS, Place

TORLA = Place("Torla", 42.63, -0.11, 1030.0)
MAIPO = Place("Maipo", -33.64, -70.35, 960.0)
JANUARY = pd.date_range("2025-01-05", periods=20 * 24, freq="h", tz="UTC")
NEW_YEAR = pd.date_range("2025-12-20", periods=20 * 24, freq="h", tz="UTC")
FEBRUARY_LEAP = pd.date_range("2024-02-20", periods=14 * 24, freq="h", tz="UTC")


@pytest.fixture
def cache(tmp_path):
    return ArchiveCache(tmp_path / "archive", 10**8)


@pytest.fixture
def bring(cache, archive_server):
    def brought(name, places, years):
        service = SERVICES[name]
        with Web(cache, 5.0, lambda seconds: None) as web:
            done = fetch(
                service, wanted_years(service, places, years, (0,)), cache, web, archive_server.url
            )
        assert done.here == done.wanted

    return brought


def rows_of(year, times):
    """Rows of a calendar year's hours that have the month, day and hour of ``times``."""
    first = pd.Timestamp(f"{year}-01-01", tz="UTC")
    return [
        int((pd.Timestamp(year, t.month, t.day, t.hour, tz="UTC") - first) / pd.Timedelta("1h"))
        for t in times
    ]


@pytest.mark.parametrize("place", [TORLA, MAIPO], ids=["north", "south"])
def test_power_hours_come_through_as_they_were_given(bring, cache, archive_server, place):
    bring("power", [place], (2015,))
    weather = ArchiveWeather([place], cache)
    assert weather.years(place, JANUARY) == (2015,)
    block = weather.block(place, JANUARY, (2015,))
    starts, ghi, dni, dhi, _ = archive_server.sky(2015, place.latitude_deg, place.longitude_deg, 30)
    rows = rows_of(2015, JANUARY)
    assert block.ghi_w_m2.max() > 200
    np.testing.assert_allclose(block.ghi_w_m2[0], ghi[rows], atol=0.006)  # rounded to 0.01
    np.testing.assert_allclose(block.dni_w_m2[0], dni[rows], atol=0.006)
    np.testing.assert_allclose(block.dhi_w_m2[0], dhi[rows], atol=0.006)
    air = archive_server.air(starts, place.latitude_deg).to_numpy()
    np.testing.assert_allclose(block.temp_air_c[0], air[rows], atol=0.006)
    assert (block.wind_speed_m_s == 3.3).all()
    assert (block.relative_humidity_pct == 71.0).all()
    assert block.source.kind == "archive"
    assert block.source.years == "2015"
    assert "NASA POWER" in block.source.licence
    assert any("340 m below Torla" in n or "270 m below Maipo" in n for n in block.source.notes)


def test_pvgis_moments_are_moved_to_mid_hour(bring, cache, archive_server):
    bring("pvgis", [TORLA], (2015,))
    block = ArchiveWeather([TORLA], cache).block(TORLA, JANUARY, (2015,))
    _, ghi, _, dhi, _ = archive_server.sky(2015, 42.63, -0.11, 30)
    rows = rows_of(2015, JANUARY)
    assert np.abs(block.ghi_w_m2[0] - ghi[rows]).max() < 5.0
    assert block.ghi_w_m2.sum() == pytest.approx(ghi[rows].sum(), rel=0.005)
    assert block.dhi_w_m2.sum() == pytest.approx(dhi[rows].sum(), rel=0.02)
    beam = block.ghi_w_m2 - block.dhi_w_m2  # on the horizontal
    assert beam.sum() == pytest.approx((ghi - dhi)[rows].sum(), rel=0.02)
    assert "PVGIS-SARAH3" in block.source.name
    assert not np.isnan([getattr(block, name) for name in COLUMNS]).any()


@pytest.mark.parametrize("name", ["pvgis", "power"])
def test_leap_years_keep_their_day(bring, cache, archive_server, name):
    bring(name, [TORLA], (2015, 2016))
    weather = ArchiveWeather([TORLA], cache)
    years = weather.years(TORLA, FEBRUARY_LEAP)
    block = weather.block(TORLA, FEBRUARY_LEAP, years)
    leap_day = FEBRUARY_LEAP.strftime("%m-%d") == "02-29"
    day_before = FEBRUARY_LEAP.strftime("%m-%d") == "02-28"
    ghi = block.ghi_w_m2
    assert years == (2015, 2016)
    np.testing.assert_array_equal(ghi[0, leap_day], ghi[0, day_before])  # 2015 repeats the 28th
    assert np.abs(ghi[1, leap_day] - ghi[1, day_before]).max() > 20.0
    starts, given, *_ = archive_server.sky(2016, 42.63, -0.11, 30)
    own = given[np.asarray(starts.strftime("%m-%d") == "02-29")]
    assert ghi[1, leap_day].sum() == pytest.approx(own.sum(), rel=0.03)


def test_a_span_over_new_year_takes_the_next_year(bring, cache, archive_server):
    bring("power", [TORLA], (2013, 2014, 2016))
    weather = ArchiveWeather([TORLA], cache)
    assert weather.years(TORLA, NEW_YEAR) == (2013,)
    assert weather.years(TORLA, JANUARY) == (2013, 2014, 2016)
    block = weather.block(TORLA, NEW_YEAR, (2013,))
    after = NEW_YEAR.year == 2026
    _, ghi, *_ = archive_server.sky(2014, 42.63, -0.11, 30)
    np.testing.assert_allclose(block.ghi_w_m2[0, after], ghi[: after.sum()], atol=0.006)
    with pytest.raises(WeatherUnavailable, match="2016 was not fetched yet"):
        weather.block(TORLA, NEW_YEAR, (2016,))


def test_no_year_with_its_next_is_said(bring, cache):
    bring("power", [TORLA], (2013,))
    with pytest.raises(WeatherUnavailable, match="over the new year"):
        ArchiveWeather([TORLA], cache).years(TORLA, NEW_YEAR)


def test_nothing_fetched_names_the_command(cache):
    with pytest.raises(WeatherUnavailable) as caught:
        ArchiveWeather([TORLA], cache).years(TORLA, JANUARY)
    assert caught.value.exit_code == 3
    assert "not fetched yet; run offgrid-sim weather fetch TRIP --years" in str(caught.value)
    assert "Torla (42.63, -0.11)" in str(caught.value)
    assert not cache.files.folder.exists()  # reading leaves no trace


def test_only_years_that_every_stop_has(bring, cache):
    bring("pvgis", [TORLA], (2013, 2014))
    bring("power", [MAIPO], (2014,))
    weather = ArchiveWeather([TORLA, MAIPO], cache)
    assert weather.years(TORLA, JANUARY) == weather.years(MAIPO, JANUARY) == (2014,)
    alone = ArchiveWeather([TORLA], cache)
    assert alone.years(TORLA, JANUARY) == (2013, 2014)
    lost = Place("Elsewhere", 10.0, 10.0)
    with pytest.raises(WeatherUnavailable, match="Elsewhere"):
        ArchiveWeather([TORLA, lost], cache).years(TORLA, JANUARY)


def test_the_archive_with_more_years_is_taken(bring, cache):
    bring("pvgis", [TORLA], (2014,))
    bring("power", [TORLA], (2013, 2014))
    weather = ArchiveWeather([TORLA], cache)
    assert weather.years(TORLA, JANUARY) == (2013, 2014)
    assert "POWER" in weather.block(TORLA, JANUARY, (2013, 2014)).source.name


def test_a_damaged_year_is_one_sentence_and_the_next_run_does_without(bring, cache):
    bring("power", [TORLA], (2013, 2014))
    cache.files.path("power-hourly_+42.63_-000.11_2013").write_bytes(b"spoiled")
    weather = ArchiveWeather([TORLA], cache)
    with pytest.raises(WeatherUnavailable, match="was damaged") as caught:
        weather.block(TORLA, JANUARY, weather.years(TORLA, JANUARY))
    assert "2013 at 42.63, -0.11" in str(caught.value)
    assert "set aside" in str(caught.value)
    again = ArchiveWeather([TORLA], cache)
    assert again.years(TORLA, JANUARY) == (2014,)
    assert again.block(TORLA, JANUARY, (2014,)).ghi_w_m2.shape == (1, len(JANUARY))
