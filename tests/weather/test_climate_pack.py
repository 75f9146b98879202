"""The pack: its size, what it says at a point, where it refuses, and that it can be rebuilt."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import offgrid_sim
from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.climate.pack import (
    great_circle_km,
    load_pack,
    monthly_climate,
    table_altitude_m,
)
from offgrid_sim.weather.climate.region import bright_bias_factor
from offgrid_sim.weather.table import Place

FOLDER = Path(offgrid_sim.__file__).parent / "data" / "climate"
BUILD_SCRIPT = Path(__file__).parents[2] / "tools" / "build_climate_pack.py"


def test_pack_is_small_and_names_its_sources():
    assert sum(f.stat().st_size for f in FOLDER.iterdir()) <= 1_000_000
    sources = (FOLDER / "SOURCES.md").read_text(encoding="utf-8")
    for words in ("MERRA-2", "10.1175/JCLI-D-16-0758.1", "10.1016/j.energy.2016.08.060",
                  "P.1510-1", "ERA-Interim", "modified",
                  "Permission is hereby granted"):  # fmt: skip
        assert words in sources


def test_curves_rise_and_keep_their_mean():
    pack = load_pack()
    assert np.all(np.diff(pack.curves, axis=1) > 0)
    assert np.abs(pack.curves.mean(axis=1) - pack.curve_mean).max() < 0.001


def test_great_circle_distance():
    """A quarter of the equator, and one degree of a meridian: 10,007.5 and 111.19 km."""
    assert great_circle_km(0.0, 0.0, np.array([0.0]), np.array([90.0]))[0] == pytest.approx(
        10007.5, abs=1
    )
    assert great_circle_km(40.0, 9.0, np.array([41.0]), np.array([9.0]))[0] == pytest.approx(
        111.19, abs=0.1
    )


@pytest.mark.parametrize(
    ("name", "latitude_deg", "longitude_deg"),
    [("Hawaii", 21.3, -157.9), ("Azores", 37.8, -25.5), ("South Pole", -90.0, 0.0),
     ("Spitsbergen", 78.2, 15.6)],
)  # fmt: skip
def test_out_of_reach_is_refused_in_words(name, latitude_deg, longitude_deg):
    with pytest.raises(WeatherUnavailable) as refusal:
        monthly_climate(Place(name, latitude_deg, longitude_deg, 0.0))
    words = str(refusal.value)
    assert name in words
    assert "350 km" in words
    assert words.endswith("while online.")
    assert "own weather file" in words
    assert refusal.value.exit_code == 3


def test_temperature_falls_with_altitude():
    """6.5 K per km, ISO 2533."""
    low, high = (monthly_climate(Place("x", 42.6, 1.5, z)) for z in (500.0, 2500.0))
    assert low.temp_air_c - high.temp_air_c == pytest.approx(np.full(12, 13.0), abs=1e-9)
    assert np.array_equal(low.clearness_index, high.clearness_index)


def test_altitude_from_the_table_is_said():
    known = monthly_climate(Place("x", 42.6, 1.5, 1000.0))
    assumed = monthly_climate(Place("x", 42.6, 1.5, None))
    assert known.notes == ()
    assert any("give altitude_m" in note for note in assumed.notes)


def test_table_altitude():
    """Mexico City lies at 2,240 m, Denver at 1,600 m; open sea is 0 m (general knowledge)."""
    assert table_altitude_m(19.43, -99.13) == pytest.approx(2240, abs=100)
    assert table_altitude_m(39.74, -104.99) == pytest.approx(1600, abs=100)
    assert table_altitude_m(30.0, -40.0) == 0.0


def test_far_north_says_which_months_it_lacks():
    polar = monthly_climate(Place("x", 70.5, 25.0, 50.0))
    assert np.isfinite(polar.clearness_index).all()
    (note,) = polar.notes
    assert "December" in note
    assert note.endswith("give the stop its own weather file.")
    assert monthly_climate(Place("x", 60.0, 25.0, 50.0)).notes == ()


def test_nothing_jumps_on_the_way():
    """Steps of 0.02° (2 km) across cells, coasts and region borders, at a fixed altitude."""
    for start, end in (((36.0, -9.4), (48.0, 8.0)), ((43.3, -2.0), (43.3, 3.2)),
                       ((62.0, 10.0), (71.0, 25.0)), ((20.0, -105.0), (60.0, -110.0))):  # fmt: skip
        path = np.linspace(start, end, 600)
        along = [monthly_climate(Place("x", *point, 200.0)) for point in path]
        clearness = np.array([c.clearness_index for c in along])[:, 1:11]
        temperature = np.array([c.temp_air_c for c in along])
        step_deg = np.abs(np.diff(path, axis=0)).max()
        assert np.abs(np.diff(clearness, axis=0)).max() < 0.25 * step_deg
        assert np.abs(np.diff(temperature, axis=0)).max() < 12.0 * step_deg


def test_longitudes_wrap():
    one = monthly_climate(Place("x", 66.0, 179.99, 0.0))
    same = monthly_climate(Place("x", 66.0, -180.01, 0.0))
    beyond = monthly_climate(Place("x", 66.0, -179.99, 0.0))
    assert one.clearness_index == pytest.approx(same.clearness_index, abs=1e-9)
    assert one.clearness_index == pytest.approx(beyond.clearness_index, abs=0.005)
    assert one.temp_air_c == pytest.approx(beyond.temp_air_c, abs=0.2)


def test_region_factors():
    """Inside each region, away from the blends: the factor measured for it."""
    assert bright_bias_factor(52.0, 13.0) == pytest.approx([0.80, 0.80] + 9 * [0.83] + [0.80])
    assert bright_bias_factor(40.0, -4.0) == pytest.approx(np.full(12, 0.89))
    assert bright_bias_factor(38.0, -95.0) == pytest.approx(np.full(12, 0.94))
    assert bright_bias_factor(-2.0, 37.0) == pytest.approx(np.full(12, 0.96))
    assert bright_bias_factor(-34.0, 150.0) == pytest.approx(np.full(12, 0.88))
    assert bright_bias_factor(64.0, 100.0) == pytest.approx(np.ones(12))


def load_build_script():
    spec = importlib.util.spec_from_file_location("build_climate_pack", BUILD_SCRIPT)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.skipif(
    importlib.util.find_spec("gsee_climate_data") is None,
    reason="gsee-climate-data is not installed: pip install gsee-climate-data to rebuild the pack",
)
def test_rebuilt_radiation_is_the_same():
    rebuilt = load_build_script().build_radiation()
    with np.load(FOLDER / "monthly_means.npz") as packed:
        for name, values in rebuilt.items():
            assert np.array_equal(values, packed[name]), name


@pytest.mark.skipif(
    importlib.util.find_spec("itur") is None,
    reason="itur is not installed: pip install --no-deps itur to rebuild the pack",
)
def test_rebuilt_temperature_slice_is_the_same():
    build = load_build_script()
    january_c = build.itur_array("v1_t_month01")[:, :] - 273.15
    latitude = build.itur_array("v1_lat")[:, 0]
    with np.load(FOLDER / "monthly_means.npz") as packed:
        rows = np.isin(latitude, packed["temp_latitude_deg"])
        decoded = np.cumsum(packed["temp_row_delta_dk"][0], axis=1) * 0.1
        altitude = build.box_altitude_step(latitude[rows][80:90], packed["temp_longitude_deg"])
        assert np.array_equal(altitude, packed["temp_altitude_step"][80:90])
    assert np.abs(decoded - january_c[rows]).max() <= 0.05 + 1e-9
