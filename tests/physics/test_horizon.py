"""What a skyline hides: NREL SPA suns, and sky view factors with a closed form.

A level plane in a basin with a rim at elevation H all round sees cos^2 H of an equally bright sky;
behind a rim over half the compass, the mean of 1 and cos^2 H (geometry: the integral of
sin h cos h over the elevations that are left, twice).
"""

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.physics.horizon import open_sky_share, skyline_deg, sun_above
from offgrid_sim.weather.horizon import Horizon, evenly_spaced

NORTH_EAST_SOUTH_WEST = (0.0, 10.0, 30.0, 20.0)
WALL_TO_THE_SOUTH = tuple(30.0 if 90 < 7.5 * k < 270 else 0.0 for k in range(48))


def noon(day):
    """Elevation and azimuth at solar noon at 52° N, 0° E by NREL SPA."""
    day_s = pd.date_range(day, periods=24 * 60, freq="min", tz="UTC")
    sun = pvlib.solarposition.spa_python(day_s, 52.0, 0.0)
    best = sun.loc[sun["elevation"].idxmax()]
    return np.array([best["azimuth"]]), np.array([best["elevation"]])


def test_a_wall_of_30_degrees_hides_december_noon_at_52_north_and_not_june():
    horizon = evenly_spaced(WALL_TO_THE_SOUTH, "test")
    december, june = noon("2025-12-21"), noon("2025-06-21")
    assert december[1][0] == pytest.approx(14.6, abs=0.1)  # 90 - 52 - 23.4
    assert june[1][0] == pytest.approx(61.4, abs=0.1)  # 90 - 52 + 23.4
    assert sun_above(horizon, *december) == 0.0
    assert sun_above(horizon, *june) == 1.0


def test_elevations_run_clockwise_from_north():
    horizon = evenly_spaced(NORTH_EAST_SOUTH_WEST, "test")
    at = np.array([0.0, 90.0, 180.0, 270.0, 45.0, 315.0, 360.0])
    np.testing.assert_allclose(skyline_deg(horizon, at), [0, 10, 30, 20, 5, 10, 0])


def test_points_need_not_begin_at_north():
    horizon = Horizon(np.array([90.0, 270.0]), np.array([10.0, 30.0]), "test")
    np.testing.assert_allclose(skyline_deg(horizon, np.array([0.0, 180.0])), [20.0, 20.0])


@pytest.mark.parametrize("rim_deg", [0.0, 15.0, 30.0, 60.0, 90.0])
def test_open_sky_in_a_round_basin(rim_deg):
    share = open_sky_share(evenly_spaced((rim_deg,) * 8, "test"))
    assert share == pytest.approx(np.cos(np.radians(rim_deg)) ** 2, abs=1e-12)


def test_open_sky_behind_a_wall_over_half_the_compass():
    steps = tuple(40.0 if k < 180 else 0.0 for k in range(360))
    share = open_sky_share(evenly_spaced(steps, "test"))
    # the wall's two ends slope over 1 degree each: within 0.001
    assert share == pytest.approx((1 + np.cos(np.radians(40.0)) ** 2) / 2, abs=1e-3)


def test_open_sky_by_adding_up_the_sky():
    """Against brute force over patches of sky, 0.25° high, for an uneven skyline."""
    horizon = evenly_spaced((5.0, 40.0, 12.0, 0.0, 25.0, 33.0, 8.0, 60.0), "test")
    height = np.radians(np.arange(0.125, 90, 0.25))
    azimuth = np.arange(0.25, 360, 0.5)
    light = np.sin(height) * np.cos(height)
    seen = np.degrees(height)[:, None] > skyline_deg(horizon, azimuth)[None, :]
    share = (seen * light[:, None]).sum() / (light.sum() * len(azimuth))
    assert open_sky_share(horizon) == pytest.approx(share, abs=1e-3)
