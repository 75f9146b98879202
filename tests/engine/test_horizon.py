"""A stop's skyline in the simulation's sun: NREL SPA suns under a simplified Solis sky (pvlib).

At 52° N the noon sun stands 14.6° high on 21 December and 61.4° on 21 June.
"""

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.engine.prepare import prepare
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.weather.table import WeatherBlock, WeatherSource

WALL_TO_THE_SOUTH = [30.0 if 90 < 7.5 * k < 270 else 0.0 for k in range(48)]
MEAN_OF_SLOPE = 0.5 * (1 - np.sin(2 * np.pi / 6) / (2 * np.pi / 6))  # of sin^2 from 0 to 30°
OPEN_SKY = 1 - (165 * np.sin(np.pi / 6) ** 2 + 2 * 7.5 * MEAN_OF_SLOPE) / 360
"""165° of wall and a slope of 7.5° at either end."""
SUN_FIELDS = ("roof_w_m2", "glass_w_m2", "solar_w_per_w")
NOON = 36
"""Row of 12:00 UTC on the second day at 0° E, all in all."""


def clear_sky(times_utc):
    """GHI, DNI, DHI and beam on the level at mid-hour, 52° N 0° E (Solis: Ineichen 2008)."""
    sun = pvlib.solarposition.spa_python(times_utc + pd.Timedelta(minutes=30), 52.0, 0.0)
    height = sun["apparent_elevation"].to_numpy()
    clear = pvlib.clearsky.simplified_solis(height)
    beam = clear["dni"] * np.maximum(np.sin(np.radians(height)), 0.0)
    return clear["ghi"], clear["dni"], clear["dhi"], beam


class ClearSky:
    label_is_start_year = False

    def years(self, place, times_utc):
        return (1,)

    def block(self, place, times_utc, years):
        ghi, dni, dhi, _ = (cells[None, :] for cells in clear_sky(times_utc))
        ten = np.full(ghi.shape, 10.0)
        source = WeatherSource("file", "clear sky", 52.0, 0.0, 0.0, "1", "none")
        return WeatherBlock(times_utc, (1,), ghi, dni, dhi, ten, ten / 10, ten * 5, source)


def prepared(horizon, start="2025-12-20", **keys):
    here = {"latitude_deg": 52.0, "longitude_deg": 0.0, "nights": 2, "horizon": horizon, **keys}
    stops = [{"place": "One", **here}, {"place": "Two", **here, "drive": {"hours": 3}}]
    solar = [{"panel_w": 100, "tilt_deg": tilt_deg, "azimuth_deg": 180} for tilt_deg in (0, 40)]
    van = {"battery": {"capacity_ah": 100}, "solar": solar}
    document = {"start": start, "van": van, "route": {"stops": stops}}
    return prepare(load_trip_document(document).trip, lambda stop: ClearSky(), 1)


@pytest.mark.parametrize(("start", "beam_left"), [("2025-12-20", 0.0), ("2025-06-20", 1.0)])
def test_a_wall_to_the_south_takes_december_noon_and_leaves_june(start, beam_left):
    flat, wall = prepared("flat", start), prepared(WALL_TO_THE_SOUTH, start)
    _, _, dhi, beam = (cells[NOON] for cells in clear_sky(flat.line.times_utc))
    assert beam > 50
    assert flat.skies["roof_w_m2"][0, NOON] == pytest.approx(dhi + beam, rel=5e-3)
    expected = OPEN_SKY * dhi + beam_left * beam
    assert wall.skies["roof_w_m2"][0, NOON] == pytest.approx(expected, rel=5e-3)
    for name in SUN_FIELDS:
        lit, hidden = flat.skies[name][0, NOON], wall.skies[name][0, NOON]
        lit, hidden = (cells[cells > 0] for cells in (np.atleast_1d(lit), np.atleast_1d(hidden)))
        assert (hidden < lit).all()
        assert ((hidden < 0.6 * lit) == (beam_left == 0.0)).all()


def test_a_skyline_that_hides_nothing_changes_nothing():
    flat, zeros = prepared("flat"), prepared([0.0] * 8)
    for name in SUN_FIELDS:
        np.testing.assert_allclose(zeros.skies[name], flat.skies[name], rtol=1e-12)


def test_hills_count_at_camp_and_not_at_the_wheel():
    flat, basin = prepared("flat"), prepared([90.0] * 8)
    driving = flat.line.driving_share
    assert (driving == 1).sum() >= 2
    for name in SUN_FIELDS:
        np.testing.assert_array_equal(
            basin.skies[name][:, driving == 1], flat.skies[name][:, driving == 1]
        )
        assert np.abs(basin.skies[name][:, driving == 0]).max() < 1e-9


def test_sky_and_horizon_multiply_and_a_valley_told_twice_is_said():
    once = prepared(WALL_TO_THE_SOUTH)
    both = prepared(WALL_TO_THE_SOUTH, sky="deep_valley")
    assert both.skies["roof_w_m2"][0, NOON] == pytest.approx(
        0.8 * once.skies["roof_w_m2"][0, NOON]  # deep_valley's share of diffuse
    )
    assert any("hills up to 30°" in note and "12 %" in note for note in once.sources[0].notes)
    assert any("count twice" in note for note in both.sources[0].notes)
    assert not any("count twice" in note for note in once.sources[0].notes)
    assert prepared("flat").sources[0].notes == ()
