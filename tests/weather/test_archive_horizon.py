"""A place's skyline from PVGIS: read as pvlib reads it, refused when it is not one, kept for later.

Outside reference: pvlib's ``get_pvgis_horizon``, asked against the same local server.
"""

import json

import numpy as np
import pytest
from pvlib import iotools

from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.physics.horizon import skyline_deg
from offgrid_sim.plan.route import Stop
from offgrid_sim.weather.archive import SERVICES, held_horizons, held_years
from offgrid_sim.weather.archive.asked import from_key, horizon_from_key
from offgrid_sim.weather.archive.fetch import fetch, wanted_horizons
from offgrid_sim.weather.archive.horizon import asked_at, read_horizon, stored_horizon
from offgrid_sim.weather.archive.store import ArchiveCache
from offgrid_sim.weather.archive.web import Web
from offgrid_sim.weather.horizon import horizon_of
from offgrid_sim.weather.table import Place

TORLA = Place("Torla", 42.634, -0.112)
PVGIS, POWER = SERVICES["pvgis"], SERVICES["power"]


@pytest.fixture
def cache(tmp_path):
    return ArchiveCache(tmp_path / "archive", 10**7)


@pytest.fixture
def bring(cache, archive_server):
    def brought(service=PVGIS, **options):
        with Web(cache, 5.0, lambda seconds: None) as web:
            wanted = wanted_horizons([TORLA, TORLA])
            return fetch(service, wanted, cache, web, archive_server.url, **options)

    return brought


def rows(*points):
    profile = [{"A": azimuth, "H_hor": elevation} for azimuth, elevation in points]
    return json.dumps({"outputs": {"horizon_profile": profile}})


@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore:The inplace keyword")
def test_the_skyline_is_that_which_pvlib_reads(bring, cache, archive_server):
    assert bring().fetched == 1
    ours = stored_horizon(TORLA, cache)
    theirs, _ = iotools.get_pvgis_horizon(
        42.63, -0.11, url=f"{archive_server.url}/api/v5_3/", timeout=5
    )
    np.testing.assert_allclose(ours.azimuth_deg, theirs.index)
    np.testing.assert_allclose(ours.elevation_deg, theirs.to_numpy())
    east = np.array([90.0, 270.0, 82.5, 86.25])
    np.testing.assert_allclose(skyline_deg(ours, east), [20.0, 0.0, 12.5, 16.25])


def test_south_is_zero_and_west_positive_in_an_answer():
    steps = range(-180, 181, 15)
    horizon = read_horizon(rows(*((a, {0: 5.0, 90: 9.0, -90: 7.0}.get(a, 0.0)) for a in steps)))
    at = np.array([180.0, 270.0, 90.0, 0.0])
    np.testing.assert_allclose(skyline_deg(horizon, at), [5.0, 9.0, 7.0, 0.0])


@pytest.mark.parametrize(
    "text",
    [
        '{"outputs": {}}',
        '{"outputs": {"horizon_profile": []}}',
        '{"outputs": {"horizon_profile": [{"A": 0}]}}',
        "[]",
        rows((0, 5.0)),
        rows(*((a, 5.0) for a in range(-180, 90, 15))),
        rows(*((a, 95.0) for a in range(-180, 181, 15))),
        rows(*((a, None) for a in range(-180, 181, 15))),
        rows(*((a, float("nan")) for a in range(-180, 181, 15))),
    ],
)
def test_what_is_no_skyline_is_refused_and_not_kept(bring, cache, archive_server, text):
    archive_server.always = lambda handler: handler.reply(200, text)
    done = bring()
    assert "horizon is not usable" in done.missing[0].reason
    assert held_horizons(cache) == []


def test_a_cut_answer_is_asked_for_again(bring, archive_server):
    archive_server.faults = [lambda handler: handler.reply(200, handler.text[:500])]
    assert bring().fetched == 1
    assert bring().already == 1
    assert len(archive_server.asked) == 2


def test_horizons_and_years_are_told_apart(bring, cache):
    bring()
    (held,) = held_horizons(cache)
    assert held == asked_at(TORLA) == horizon_from_key(held.key)
    assert held.key == "pvgis-v5-3-horizon_+42.63_-000.11"
    assert from_key(held.key) is None
    assert horizon_from_key("pvgis-v5-3_+42.63_-000.11_2015") is None
    assert held_years(cache) == []


def test_with_another_archive_the_mirror_is_not_asked_for_a_horizon(
    bring, archive_server, monkeypatch
):
    monkeypatch.setenv("OFFGRID_SIM_PVGIS_URL", "http://127.0.0.1:9")  # discard: nobody listens
    assert "127.0.0.1:9" in bring(POWER).missing[0].reason
    assert archive_server.asked == []


def test_a_damaged_horizon_is_set_aside_and_said(bring, cache):
    bring()
    cache.files.path(asked_at(TORLA).key).write_bytes(b"spoiled")
    with pytest.raises(WeatherUnavailable, match="was damaged in the cache") as caught:
        stored_horizon(TORLA, cache)
    assert caught.value.exit_code == 3
    assert bring().fetched == 1


def test_a_stop_without_hills_reads_nothing(monkeypatch, tmp_path):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path))
    here = {"place": "a", "latitude_deg": 42.0, "longitude_deg": 0.0, "nights": 1}
    assert horizon_of(Stop(**here)) is None
    given = horizon_of(Stop(**here, horizon=(1.0, 2.0, 3.0, 4.0)))
    np.testing.assert_array_equal(given.azimuth_deg, [0.0, 90.0, 180.0, 270.0])
    with pytest.raises(WeatherUnavailable, match="not fetched yet"):
        horizon_of(Stop(**here, horizon="archive"))
