"""The shared noise: variance, fall with distance, memory, and independence of what is asked."""

import numpy as np
import pytest

from offgrid_sim.weather.climate.daily import (
    AIR_WAVES,
    OTHER_PERSISTENCE,
    SKY_WAVES,
    WINTER_PERSISTENCE,
)
from offgrid_sim.weather.climate.field import memory_taps, noise, remember
from offgrid_sim.weather.climate.hourly import HOUR_WAVES
from offgrid_sim.weather.climate.summary import run_lengths

YEARS = tuple(range(1, 41))


def sky(latitude_deg, longitude_deg, first_day=20_000, days=365, years=YEARS, seed=7):
    return noise(SKY_WAVES, latitude_deg, longitude_deg, seed, years, first_day, days)


@pytest.mark.parametrize("waves", [SKY_WAVES, AIR_WAVES, HOUR_WAVES])
def test_unit_variance_everywhere(waves):
    for place in ((42.5, 1.5), (-33.4, -70.8), (69.6, 19.0)):
        values = noise(waves, *place, 3, YEARS[:10], 20_000, 365)
        assert values.mean() == pytest.approx(0.0, abs=0.05)
        assert values.std() == pytest.approx(1.0, abs=0.05)


def test_noise_is_all_but_normal():
    """Tails of a standard normal: 2.28 % below -2, 0.62 % below -2.5."""
    values = sky(42.5, 1.5)
    assert (values < -2.0).mean() == pytest.approx(0.0228, rel=0.1)
    assert (values < -2.5).mean() == pytest.approx(0.0062, rel=0.2)


@pytest.mark.parametrize(
    ("distance_km", "expected"),
    # Baker & Skaggs 1984 (doi 10.1002/joc.3370040203): 0.88 below 60 km, then -0.12 per 100 km to
    # about 550 km, divided by 0.88, the instruments' own scatter.
    [(60, 1.0), (150, 0.877), (300, 0.673), (550, 0.332)],
)
def test_correlation_falls_with_distance_as_measured(distance_km, expected):
    found = []
    for latitude_deg, longitude_deg in ((45.0, 5.0), (38.0, -95.0), (-30.0, 25.0), (60.0, 90.0)):
        east = distance_km / (111.195 * np.cos(np.radians(latitude_deg)))
        found.append(
            SKY_WAVES.at(latitude_deg, longitude_deg)
            @ SKY_WAVES.at(latitude_deg, longitude_deg + east)
        )
        found.append(
            SKY_WAVES.at(latitude_deg, longitude_deg)
            @ SKY_WAVES.at(latitude_deg + distance_km / 111.195, longitude_deg)
        )
    assert np.mean(found) == pytest.approx(expected, abs=0.12)


def test_the_waves_product_is_the_correlation():
    one, other = sky(42.0, 0.0), sky(42.0, 3.0)
    measured = np.corrcoef(one.ravel(), other.ravel())[0, 1]
    assert measured == pytest.approx(
        float(SKY_WAVES.at(42.0, 0.0) @ SKY_WAVES.at(42.0, 3.0)), abs=0.02
    )


def test_continents_do_not_share_their_weather():
    pairs = [((42.0, 0.0), (40.0, -100.0)), ((52.0, 13.0), (-33.0, 151.0))]
    for one, other in pairs:
        assert abs(float(SKY_WAVES.at(*one) @ SKY_WAVES.at(*other))) < 0.4


def test_independent_of_span_and_years():
    whole = sky(42.0, 0.0, first_day=-30, days=400, years=(1, 2, 9))
    part = sky(42.0, 0.0, first_day=190, days=3, years=(9,))
    assert np.array_equal(part[:, 0], whole[:, 2, 220:223])


def test_seeds_and_years_differ():
    base = sky(42.0, 0.0, years=(1,)).ravel()
    for other in (sky(42.0, 0.0, years=(2,)), sky(42.0, 0.0, years=(1,), seed=8)):
        assert abs(np.corrcoef(base, other.ravel())[0, 1]) < 0.15


@pytest.mark.parametrize("phi", [0.29, 0.54, 0.75])
def test_ar1_lag_and_variance(phi):
    """S11: AR(1) of unit variance shows its phi as lag-1, each within 0.01."""
    white = np.random.default_rng(1).standard_normal(200_000)
    chain = remember(white, memory_taps(phi, 40))
    assert np.corrcoef(chain[1:], chain[:-1])[0, 1] == pytest.approx(phi, abs=0.01)
    assert chain.var() == pytest.approx(1.0, abs=0.015)


@pytest.mark.parametrize(
    ("phi", "mean_days", "four_or_more"),
    [(0.0, 1.43, 0.027), (0.29, 1.73, 0.078), (0.5, 2.10, 0.147)],
)
def test_runs_of_the_darkest_days(phi, mean_days, four_or_more):
    """S12: runs of the darkest 30 % of days; persistence triples the long ones."""
    white = np.random.default_rng(2).standard_normal(200_000)
    chain = remember(white, memory_taps(phi, 40))
    runs = run_lengths(chain < np.quantile(chain, 0.3))
    assert runs.mean() == pytest.approx(mean_days, abs=0.02)
    assert (runs >= 4).mean() == pytest.approx(four_or_more, abs=0.005)


def test_two_memories_give_the_measured_lag():
    """Lag-1 of measured daily clearness: 0.26 in winter, 0.38 in spring and summer."""
    rng = np.random.default_rng(3)
    fast, slow = rng.standard_normal((2, 200_000))
    for persistence, lag in ((WINTER_PERSISTENCE, 0.26), (OTHER_PERSISTENCE, 0.38)):
        chain = persistence.chain(fast, slow)
        assert np.corrcoef(chain[1:], chain[:-1])[0, 1] == pytest.approx(lag, abs=0.01)
        assert chain.var() == pytest.approx(1.0, abs=0.02)
    winter, other = WINTER_PERSISTENCE.chain(fast, slow), OTHER_PERSISTENCE.chain(fast, slow)
    likeness = WINTER_PERSISTENCE.likeness(OTHER_PERSISTENCE)
    assert np.corrcoef(winter, other)[0, 1] == pytest.approx(likeness, abs=0.005)
