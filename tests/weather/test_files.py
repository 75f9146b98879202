"""Formats, label conventions and year labels of weather files.

Reference data: the TMY3 and TMY2 station years that pvlib carries (NREL/TP-581-43156 and NREL TMY2
User's Manual, doi 10.2172/87130: irradiance is received during the 60 minutes before the stamp).
EPW: EnergyPlus Auxiliary Programs, hour 1 is 00:01 to 01:00. PVGIS layouts: the Joint Research
Centre's csv and json downloads.
"""

import json
import time
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.files import PACKAGED, open_weather_file, packaged_station
from offgrid_sim.weather.table import COLUMNS, Place

DATA = Path(pvlib.__file__).parent / "data"
STATIONS = {
    "greensboro": Place("Greensboro", 36.10, -79.95, 273.0),
    "sand_point": Place("Sand Point", 55.317, -160.517, 7.0),
    "miami": Place("Miami", 25.8, -80.2667, 2.0),
}
LAT, LON, ALT = 45.0, 8.0, 250.0
HERE = Place("vineyard", LAT, LON, ALT)


def hours(start, days):
    return pd.date_range(start, periods=24 * days, freq="h", tz="UTC")


def sun(times, latitude=LAT, longitude=LON):
    """Cosine of the zenith by NREL SPA, an algorithm the package does not use for files."""
    zenith = pvlib.solarposition.spa_python(times, latitude, longitude)["zenith"]
    return np.maximum(np.cos(np.radians(zenith.to_numpy())), 0.0)


def clear_sky(times):
    """Invented clear days: simplified Solis (Ineichen 2008), which the package does not use."""
    cos_z = sun(times)
    extra = pvlib.irradiance.get_extra_radiation(times.day_of_year).to_numpy()
    sky = pvlib.clearsky.simplified_solis(np.degrees(np.arcsin(cos_z)), 0.1, 1.5, 98000.0, extra)
    ghi, dhi = (np.where(cos_z > 0, sky[key], 0.0) for key in ("ghi", "dhi"))
    dhi = np.where(cos_z > 0.06, np.minimum(dhi, ghi), ghi)
    return ghi, np.where(cos_z > 0.06, (ghi - dhi) / np.maximum(cos_z, 0.06), 0.0), dhi


def temperature(times):
    return 10.0 + 8.0 * np.sin(2 * np.pi * (times.hour.to_numpy() - 9) / 24)


# ---------------------------------------------------------------- writers of each format


@cache
def pvgis_tmy_rows(offset_h):
    stamps = hours("2018-01-01", 365)
    ghi, dni, dhi = clear_sky(stamps + pd.Timedelta(hours=offset_h))
    temp = temperature(stamps)
    return [
        {
            "time(UTC)": f"{stamp:%Y%m%d:%H%M}",
            "T2m": round(float(t), 2),
            "RH": 60.0,
            "G(h)": round(float(g), 2),
            "Gb(n)": round(float(b), 2),
            "Gd(h)": round(float(d), 2),
            "IR(h)": 300.0,
            "WS10m": 2.5,
            "WD10m": 180.0,
            "SP": 99000.0,
        }
        for stamp, t, g, b, d in zip(stamps, temp, ghi, dni, dhi, strict=True)
    ]


@cache
def pvgis_tmy_csv(offset_h=0.1761, say_offset=True):
    rows = pvgis_tmy_rows(offset_h)
    head = [
        f"Latitude (decimal degrees): {LAT:.3f}",
        f"Longitude (decimal degrees): {LON:.3f}",
        f"Elevation (m): {ALT}",
    ]
    head += [f"Irradiance Time Offset (h): {offset_h}"] if say_offset else []
    head += ["month,year", *[f"{m},2018" for m in range(1, 13)], ",".join(rows[0])]
    body = [",".join(str(cell) for cell in row.values()) for row in rows]
    return "\r\n".join([*head, *body, "", "T2m: 2-m air temperature (degree Celsius)", ""])


@cache
def pvgis_tmy_json(offset_h=0.1761):
    where = {"latitude": LAT, "longitude": LON, "elevation": ALT}
    content = {
        "inputs": {"location": {**where, "irradiance_time_offset": offset_h}},
        "outputs": {"months_selected": [], "tmy_hourly": pvgis_tmy_rows(offset_h)},
        "meta": {"inputs": {}},
    }
    return json.dumps(content)


@cache
def pvgis_hourly_rows(minute):
    stamps = hours("2015-01-01", 365) + pd.Timedelta(minutes=minute)
    ghi, _, dhi = clear_sky(stamps)
    return [
        {
            "time": f"{stamp:%Y%m%d:%H%M}",
            "Gb(i)": round(float(g - d), 2),
            "Gd(i)": round(float(d), 2),
            "Gr(i)": 0.0,
            "H_sun": 0.0,
            "T2m": 12.0,
            "WS10m": 1.5,
            "Int": 0.0,
        }
        for stamp, g, d in zip(stamps, ghi, dhi, strict=True)
    ]


@cache
def pvgis_hourly_csv(minute=10, slope=0):
    rows = pvgis_hourly_rows(minute)
    head = [
        f"Latitude (decimal degrees):\t{LAT:.3f}",
        f"Longitude (decimal degrees):\t{LON:.3f}",
        f"Elevation (m):\t{ALT:.0f}",
        "Radiation database:\tPVGIS-SARAH2",
        "",
        "",
        f"Slope: {slope} deg. ",
        "Azimuth: 0 deg. ",
        ",".join(rows[0]),
    ]
    body = [",".join(str(cell) for cell in row.values()) for row in rows]
    return "\n".join([*head, *body, "", "H_sun: Sun height (degree)", ""])


@cache
def pvgis_hourly_json(minute=10):
    slope = {"slope": {"value": 0, "optimal": False}, "azimuth": {"value": 0, "optimal": False}}
    content = {
        "inputs": {
            "location": {"latitude": LAT, "longitude": LON, "elevation": ALT},
            "meteo_data": {"radiation_db": "PVGIS-SARAH2"},
            "mounting_system": {"fixed": slope},
        },
        "outputs": {"hourly": pvgis_hourly_rows(minute)},
        "meta": {"inputs": {}},
    }
    return json.dumps(content)


def tmy3_text():
    return (DATA / PACKAGED["greensboro"]).read_text(encoding="utf-8")


def tmy2_text():
    return (DATA / PACKAGED["miami"]).read_text(encoding="ascii")


@cache
def epw_text(city="GREENSBORO", kind="TMY3", comment="", zone=-5.0, year=None):
    """The Greensboro TMY3 rewritten row by row: both formats stamp the end of the hour."""
    rows = pd.read_csv(DATA / PACKAGED["greensboro"], skiprows=1)
    head = [
        f"LOCATION,{city},NC,USA,{kind},723170,36.10,-79.95,{zone},273.0",
        "DESIGN CONDITIONS,0",
        "TYPICAL/EXTREME PERIODS,0",
        "GROUND TEMPERATURES,0",
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,made for a test",
        f"COMMENTS 2,{comment}",
        "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31",
    ]
    body = []
    for row in rows.to_dict("records"):
        month, day, own_year = row["Date (MM/DD/YYYY)"].split("/")
        cells = [
            year or own_year,
            int(month),
            int(day),
            int(row["Time (HH:MM)"][:2]),
            60,
            "?9?9?9?9E0?9?9",
            row["Dry-bulb (C)"],
            row["Dew-point (C)"],
            row["RHum (%)"],
            101300,
            9999,
            9999,
            300,
            row["GHI (W/m^2)"],
            row["DNI (W/m^2)"],
            row["DHI (W/m^2)"],
            *[999999] * 3,
            9999,
            180,
            row["Wspd (m/s)"],
            *[99, 99, 9999, 99999, 9, 999999999, 999, 0.999, 999, 99, 999, 999, 99],
        ]
        body.append(",".join(map(str, cells)))
    return "\n".join([*head, *body]) + "\n"


@cache
def plain_csv(start="2005-01-01", end="2005-12-31", offset="+01:00", located=True):
    """A measured year in the layout of a national service: hour starting, UTC+1, no beam."""
    local = pd.date_range(start, f"{end}T23:00", freq="h")
    utc = (local - pd.Timedelta(hours=1)).tz_localize("UTC")
    ghi, _, dhi = clear_sky(utc + pd.Timedelta(minutes=30))
    about = [f"# latitude_deg: {LAT}", f"# longitude_deg: {LON}", f"# altitude_m: {ALT}"]
    rows = [
        f"{stamp:%Y-%m-%dT%H:%M}{offset},{g:.1f},{d:.1f},{t:.1f},{2.0 + stamp.month / 10}"
        for stamp, g, d, t in zip(local, ghi, dhi, temperature(utc), strict=True)
    ]
    header = "time,ghi_w_m2,dhi_w_m2,temp_air_c,wind_speed_m_s"
    return "\n".join([*(about if located else []), header, *rows]) + "\n"


def opened(folder, text, name="weather.txt"):
    path = folder / name
    path.write_text(text, encoding="utf-8", newline="")
    return open_weather_file(path)


def mid_hour_agrees(block, ghi, dni, dhi, cos_z):
    """Within 8 W/m² above 3° of sun and 3 % above 20°; unmoved moments are off by up to 90 W/m²."""
    low, high = cos_z > 0.06, cos_z > np.sin(np.radians(20))
    np.testing.assert_allclose(block.ghi_w_m2[0][low], ghi[low], atol=8.0)
    np.testing.assert_allclose(block.ghi_w_m2[0][high], ghi[high], rtol=0.03)
    np.testing.assert_allclose(block.dni_w_m2[0][high], dni[high], rtol=0.03)
    np.testing.assert_allclose(block.dhi_w_m2[0][high], dhi[high], rtol=0.03)


def whole(weather, place, start="2025-01-01", days=365):
    times = hours(start, days)
    return weather.block(place, times, weather.years(place, times))


# ---------------------------------------------------------------- labels, against the sun


@pytest.mark.parametrize("name", sorted(PACKAGED))
def test_packaged_station_light_is_centred_on_solar_noon(name):
    """Sunlight and the mid-hour sun must have the same daily phase: half an hour shows clearly."""
    place = STATIONS[name]
    block = whole(packaged_station(name), place)
    mid = block.times_utc + pd.Timedelta(minutes=30)
    turn = np.exp(2j * np.pi * block.times_utc.hour.to_numpy() / 24)
    cos_z = sun(mid, place.latitude_deg, place.longitude_deg)
    light = np.angle(np.sum(block.ghi_w_m2[0] * turn)) * 24 / (2 * np.pi)
    sky = np.angle(np.sum(cos_z * turn)) * 24 / (2 * np.pi)
    assert abs(light - sky) < 0.15  # afternoon clouds: minutes; a wrong label: 0.5 or 1 h
    rest = block.ghi_w_m2[0] - block.dhi_w_m2[0] - block.dni_w_m2[0] * cos_z
    assert np.sqrt(np.mean(rest**2)) < 7.0  # whole-W rounding; half an hour off gives 19 and more


def test_tmy3_row_ending_at_13_is_the_hour_from_12():
    raw = pd.read_csv(DATA / PACKAGED["greensboro"], skiprows=1)
    row = raw[(raw["Date (MM/DD/YYYY)"].str[:5] == "07/04") & (raw["Time (HH:MM)"] == "13:00")]
    block = whole(packaged_station("greensboro"), STATIONS["greensboro"], "2025-07-04", 2)
    at = block.times_utc.get_loc(pd.Timestamp("2025-07-04T17:00", tz="UTC"))  # 12:00 EST
    assert block.ghi_w_m2[0, at] == row["GHI (W/m^2)"].item()
    assert block.dni_w_m2[0, at] == row["DNI (W/m^2)"].item()
    assert block.temp_air_c[0, at] == row["Dry-bulb (C)"].item()
    assert not block.source.notes  # whole year there: nothing to mend


def test_tmy2_hour_13_is_the_hour_from_12_in_whole_units():
    lines = (DATA / PACKAGED["miami"]).read_text(encoding="ascii").splitlines()
    line = next(row for row in lines[1:] if row[3:9] == "070413")
    block = whole(packaged_station("miami"), STATIONS["miami"], "2025-07-04", 2)
    at = block.times_utc.get_loc(pd.Timestamp("2025-07-04T17:00", tz="UTC"))
    # TMY2 User's Manual table 3-2: global, direct and diffuse in columns 18-21, 24-27, 30-33;
    # dry bulb (tenths) 68-71; wind speed (tenths) 96-98 (1-based, after the leading blank).
    assert block.ghi_w_m2[0, at] == float(line[17:21])
    assert block.dni_w_m2[0, at] == float(line[23:27])
    assert block.dhi_w_m2[0, at] == float(line[29:33])
    assert block.temp_air_c[0, at] == pytest.approx(float(line[67:71]) / 10)
    assert block.wind_speed_m_s[0, at] == pytest.approx(float(line[95:98]) / 10)


def test_epw_and_tmy3_of_the_same_hours_agree(tmp_path):
    place = STATIONS["greensboro"]
    ours = whole(opened(tmp_path, epw_text()), place)
    theirs = whole(packaged_station("greensboro"), place)
    for column in COLUMNS:
        np.testing.assert_allclose(getattr(ours, column), getattr(theirs, column), atol=1e-9)
    assert ours.source.typical
    assert ours.source.name == "Greensboro, USA (EPW, TMY3)"


def test_epw_of_one_year_is_that_year(tmp_path):
    weather = opened(tmp_path, epw_text(kind="AMY", year=2011))
    times = hours("2026-06-01", 30)
    assert weather.years(STATIONS["greensboro"], times) == (2011,)


def test_epw_header_half_an_hour_wrong_is_seen_by_closure(tmp_path):
    """Seen in published files for India: rows on the half-hour clock under a whole-hour header."""
    place = STATIONS["greensboro"]
    ours = whole(opened(tmp_path, epw_text(zone=-5.5)), place)
    theirs = whole(packaged_station("greensboro"), place)
    assert any("agree best 30 minutes earlier" in note for note in ours.source.notes)
    assert ours.ghi_w_m2.sum() == pytest.approx(theirs.ghi_w_m2.sum(), rel=0.01)
    mid = ours.times_utc + pd.Timedelta(minutes=30)
    record = pd.DatetimeIndex([t.replace(year=2000) for t in mid])  # where typical years are kept
    cos_z = sun(record, 36.1, -79.95)
    rest = ours.ghi_w_m2[0] - ours.dhi_w_m2[0] - ours.dni_w_m2[0] * cos_z
    assert np.abs(rest).max() < 1.0


@pytest.mark.parametrize("offset_h", [0.0, 0.1761, 0.5, 0.93])
@pytest.mark.parametrize("text", [pvgis_tmy_csv, pvgis_tmy_json])
def test_pvgis_typical_year_moves_to_mid_hour(tmp_path, text, offset_h):
    block = whole(opened(tmp_path, text(offset_h)), HERE)
    ghi, dni, dhi = clear_sky(block.times_utc + pd.Timedelta(minutes=30))
    mid_hour_agrees(block, ghi, dni, dhi, sun(block.times_utc + pd.Timedelta(minutes=30)))
    assert block.ghi_w_m2.sum() == pytest.approx(ghi.sum(), rel=0.005)
    assert block.source.typical
    assert block.relative_humidity_pct.min() == 60.0


def test_pvgis_typical_year_without_offset_finds_it_by_closure(tmp_path):
    block = whole(opened(tmp_path, pvgis_tmy_csv(0.1761, say_offset=False)), HERE)
    assert any("agree best 10 minutes" in note for note in block.source.notes)


@pytest.mark.parametrize("text", [pvgis_hourly_csv, pvgis_hourly_json])
@pytest.mark.parametrize("minute", [10, 30])
def test_pvgis_hourly_of_a_horizontal_plane(tmp_path, text, minute):
    weather = opened(tmp_path, text(minute))
    times = hours("2026-01-01", 365)
    assert weather.years(HERE, times) == (2015,)
    block = weather.block(HERE, times, (2015,))
    mid = pd.DatetimeIndex([t.replace(year=2015) for t in times]) + pd.Timedelta(minutes=30)
    mid_hour_agrees(block, *clear_sky(mid), sun(mid))
    assert any("No humidity" in note for note in block.source.notes)


def test_pvgis_tilted_plane_is_refused(tmp_path):
    with pytest.raises(WeatherFileError, match="tilted or tracking plane; download it again"):
        opened(tmp_path, pvgis_hourly_csv(10, slope=30))


def test_pvgis_epw_rows_are_utc_under_a_local_header(tmp_path):
    """PVGIS EPW: row hour h+1 holds the UTC hour h, header zone and offset notwithstanding."""
    comment = "Irradiance Time Offset (h):-0.5"
    weather = opened(tmp_path, epw_text(comment=comment, zone=2.0).replace("-79.95", "-4.95"))
    place = Place("moved", 36.1, -4.95)
    block = whole(weather, place, "2025-07-04", 1)
    theirs = whole(packaged_station("greensboro"), STATIONS["greensboro"], "2025-07-04", 2)
    np.testing.assert_allclose(block.ghi_w_m2[0], theirs.ghi_w_m2[0, 5:29])  # UTC-5 -> UTC


# ---------------------------------------------------------------- plain CSV


def test_plain_csv_keeps_global_and_diffuse_and_closes_the_beam(tmp_path):
    weather = opened(tmp_path, plain_csv(), "odd.suffix")
    times = hours("2026-05-31T22:00", 20)
    block = weather.block(HERE, times, weather.years(HERE, times))
    mid = pd.DatetimeIndex([t.replace(year=2005) for t in times]) + pd.Timedelta(minutes=30)
    ghi, dni, dhi = clear_sky(mid)
    high = sun(mid) > 0.1
    np.testing.assert_allclose(block.ghi_w_m2[0], ghi, atol=0.06)
    np.testing.assert_allclose(block.dhi_w_m2[0][high], dhi[high], atol=0.06)
    np.testing.assert_allclose(block.dni_w_m2[0][high], dni[high], atol=2.0)
    assert block.source.altitude_m == ALT
    assert any("beam from global and diffuse by closure" in note for note in block.source.notes)


def test_plain_csv_with_global_alone_follows_erbs(tmp_path):
    lines = plain_csv().splitlines()
    lean = [",".join(np.array(line.split(","))[[0, 1, 3]]) for line in lines[3:]]
    block = whole(opened(tmp_path, "\n".join(lines[:3] + lean) + "\n"), HERE, "2026-06-01", 30)
    mid = pd.DatetimeIndex([t.replace(year=2005) for t in block.times_utc + pd.Timedelta("30min")])
    zenith = pvlib.solarposition.spa_python(mid, LAT, LON)["zenith"].to_numpy()
    erbs = pvlib.irradiance.erbs(block.ghi_w_m2[0], zenith, mid.day_of_year)  # physics.md S13, S14
    high = zenith < 80
    np.testing.assert_allclose(block.dhi_w_m2[0][high], erbs["dhi"][high], rtol=0.01)
    assert any("Erbs" in note for note in block.source.notes)
    assert any("No wind in the file: 1 m/s" in note for note in block.source.notes)
    assert (block.wind_speed_m_s == 1.0).all()


def test_plain_csv_with_global_and_beam_closes_the_diffuse(tmp_path):
    times = hours("2005-06-01", 40)
    ghi, dni, dhi = clear_sky(times + pd.Timedelta(minutes=30))
    rows = [f"{t:%Y-%m-%dT%H:%MZ},{g},{b},15" for t, g, b in zip(times, ghi, dni, strict=True)]
    text = "\n".join(["time,ghi_w_m2,dni_w_m2,temp_air_c", *rows])
    block = opened(tmp_path, text).block(HERE, hours("2026-06-01", 40), (2005,))
    high = sun(times + pd.Timedelta(minutes=30)) > 0.1
    np.testing.assert_allclose(block.dhi_w_m2[0][high], dhi[high], atol=1.0)


def test_humidity_default_is_the_dew_point_of_the_days_minimum(tmp_path):
    block = whole(opened(tmp_path, plain_csv()), HERE, "2026-03-01", 10)
    # FAO-56 annex 2, table 2.3: saturation vapour pressure 0.872 kPa at 5 °C, 1.228 at 10 °C
    temp, humid = block.temp_air_c[0].reshape(-1, 24), block.relative_humidity_pct[0]
    warmest = temp[3].argmax()
    pressures = {t: 0.6108 * np.exp(17.27 * t / (t + 237.3)) for t in (temp[3].min(), 5.0, 10.0)}
    assert pressures[5.0] == pytest.approx(0.872, abs=0.001)
    assert pressures[10.0] == pytest.approx(1.228, abs=0.001)
    top = temp[3][warmest]
    expected = 100 * pressures[temp[3].min()] / (0.6108 * np.exp(17.27 * top / (top + 237.3)))
    assert humid.reshape(-1, 24)[3, warmest] == pytest.approx(expected)


def test_semicolons_and_decimal_commas(tmp_path):
    lines = plain_csv().splitlines()
    european = lines[:3] + [line.replace(",", ";").replace(".", ",") for line in lines[3:]]
    ours = whole(opened(tmp_path, "\n".join(european)), HERE, "2026-06-01", 5)
    theirs = whole(opened(tmp_path, plain_csv()), HERE, "2026-06-01", 5)
    np.testing.assert_array_equal(ours.ghi_w_m2, theirs.ghi_w_m2)


def test_half_hourly_rows_become_hourly_means(tmp_path):
    times = pd.date_range("2005-06-01", periods=48 * 30, freq="30min", tz="UTC")
    ghi, _, _ = clear_sky(times + pd.Timedelta(minutes=15))
    rows = [f"{t:%Y-%m-%dT%H:%MZ},{g},15" for t, g in zip(times, ghi, strict=True)]
    text = "\n".join(["time,ghi_w_m2,temp_air_c", *rows])
    block = opened(tmp_path, text).block(HERE, hours("2026-06-01", 30), (2005,))
    np.testing.assert_allclose(block.ghi_w_m2[0], ghi.reshape(-1, 2).mean(axis=1))


def test_exported_weather_years_are_read_back(tmp_path):
    """An export writes year,time,...: labels of weather years over the nominal times of a trip."""
    times = hours("2026-12-20", 30)
    ghi, dni, dhi = clear_sky(times + pd.Timedelta(minutes=30))
    about = [f"# latitude_deg: {LAT}", f"# longitude_deg: {LON}", "# name: my winter"]
    lines = [*about, "year,time," + ",".join(COLUMNS)]
    for label, factor in ((1, 1.0), (2, 0.5)):
        for t, g, b, d in zip(times, ghi, dni, dhi, strict=True):
            cells = [g * factor, b * factor, d * factor, label, 2, 70]
            lines.append(f"{label},{t:%Y-%m-%dT%H:%M}Z," + ",".join(map(str, cells)))
    weather = opened(tmp_path, "\n".join(lines))
    assert weather.years(HERE, times) == (1, 2)
    block = weather.block(HERE, times, (2, 1))
    assert block.source.name == "my winter"
    np.testing.assert_allclose(block.ghi_w_m2[0], 0.5 * ghi)
    np.testing.assert_allclose(block.ghi_w_m2[1], ghi)
    assert (block.temp_air_c[0] == 2).all()
    later = weather.block(HERE, hours("2030-12-22", 20), (1,))  # another nominal year
    np.testing.assert_allclose(later.ghi_w_m2[0], ghi[48:-192])


# ---------------------------------------------------------------- spans and years


def test_typical_year_wraps_over_new_year_and_says_so():
    weather, place = packaged_station("greensboro"), STATIONS["greensboro"]
    times = hours("2026-12-30", 4)
    block = weather.block(place, times, weather.years(place, times))
    year = whole(weather, place)
    np.testing.assert_array_equal(block.temp_air_c[0, :48], year.temp_air_c[0, -48:])
    np.testing.assert_array_equal(block.temp_air_c[0, 48:], year.temp_air_c[0, :48])
    assert block.source.typical
    assert any("typical year begins again" in note for note in block.source.notes)


def test_leap_day_repeats_28_february():
    weather, place = packaged_station("greensboro"), STATIONS["greensboro"]
    block = weather.block(place, hours("2028-02-28", 3), (1,))
    np.testing.assert_array_equal(block.temp_air_c[0, :24], block.temp_air_c[0, 24:48])
    assert not np.array_equal(block.temp_air_c[0, 48:], block.temp_air_c[0, :24])
    assert any("29 February repeats" in note for note in block.source.notes)


def test_measured_years_serve_the_winter_they_begin(tmp_path):
    for name, start, end in (("a", "2003-01-01", "2004-12-31"), ("b", "2006-01-01", "2006-12-31")):
        (tmp_path / f"{name}.csv").write_text(plain_csv(start, end), encoding="utf-8")
    weather = open_weather_file(tmp_path / "b.csv", tmp_path / "a.csv")
    times = hours("2026-11-30T23:00", 62)  # from local midnight, 1 December, UTC+1
    assert weather.years(HERE, times) == (2003, 2004, 2006)
    block = weather.block(HERE, times, (2003, 2006))
    # 2003 runs on into January 2004; after 2006 nothing follows, so January 2006 stands in
    january = weather.block(HERE, hours("2026-01-01", 31), (2004, 2006))
    np.testing.assert_array_equal(block.ghi_w_m2[:, 745:], january.ghi_w_m2[:, :743])
    notes = " ".join(block.source.notes)
    assert "same year (weather years 2006)" in notes
    assert weather.block(HERE, times, (2003,)).source.notes == tuple(
        note for note in block.source.notes if "same year" not in note
    )


def test_local_midnight_of_new_year_belongs_to_the_new_year(tmp_path):
    weather = opened(tmp_path, plain_csv())
    assert weather.years(HERE, hours("2026-12-31T23:00", 365)) == (2005,)


def test_a_span_outside_the_record_has_no_year_and_says_what_there_is(tmp_path):
    weather = opened(tmp_path, plain_csv("2005-10-01", "2005-12-31"))
    summer = hours("2026-06-01", 30)
    assert weather.years(HERE, summer) == ()
    with pytest.raises(WeatherFileError, match=r"2005 does not cover 01 Jun to 30 Jun.*choose"):
        weather.block(HERE, summer, (2005,))


def test_weather_from_elsewhere_is_moved_so_that_noon_is_noon():
    place = Place("Zaragoza", 41.65, -0.88)
    block = whole(packaged_station("greensboro"), place, "2025-06-01", 60)
    assert block.source.longitude_deg == pytest.approx(-79.95 + 75.0)
    notes = " ".join(block.source.notes)
    assert "moved by 5 h" in notes
    assert "km away from Zaragoza" in notes
    mid = block.times_utc + pd.Timedelta(minutes=30)
    cos_z = sun(mid, block.source.latitude_deg, block.source.longitude_deg)
    rest = block.ghi_w_m2[0] - block.dhi_w_m2[0] - block.dni_w_m2[0] * cos_z
    assert np.sqrt(np.mean(rest**2)) < 3.0  # the source's coordinates give the right sun


def test_files_of_two_places_or_two_kinds_are_refused(tmp_path):
    (tmp_path / "a.csv").write_text(plain_csv(), encoding="utf-8")
    (tmp_path / "b.csv").write_text(plain_csv().replace(f"{LAT}\n", "46.5\n"), encoding="utf-8")
    with pytest.raises(WeatherFileError, match="167 km from"):
        open_weather_file(tmp_path / "a.csv", tmp_path / "b.csv")
    with pytest.raises(WeatherFileError, match="cannot be mixed"):
        open_weather_file(tmp_path / "a.csv", DATA / PACKAGED["greensboro"])


def test_unknown_station_and_empty_span():
    with pytest.raises(WeatherFileError, match="choose one of greensboro, miami, sand_point"):
        packaged_station("atlantis")
    with pytest.raises(ValueError, match="at least one hour"):
        packaged_station("miami").years(STATIONS["miami"], hours("2026-01-01", 0))


def test_block_invariants():
    block = whole(packaged_station("sand_point"), STATIONS["sand_point"])
    for column in COLUMNS:
        cells = getattr(block, column)
        assert cells.shape == (1, 8760)
        assert cells.dtype == np.float64
        assert np.isfinite(cells).all()
    assert (block.dhi_w_m2 >= 0).all()
    assert (block.dhi_w_m2 <= block.ghi_w_m2).all()
    cos_z = sun(block.times_utc + pd.Timedelta(minutes=30), 55.317, -160.517)
    assert (block.dni_w_m2[0][cos_z < np.cos(np.radians(87.02))] == 0).all()
    assert block.source.kind == "file"
    assert "/" not in block.source.name


def test_speed_of_opening_and_slicing():
    opening, slicing = [], []
    times = hours("2026-11-15", 90)
    for _ in range(4):
        begin = time.perf_counter()
        weather = open_weather_file(DATA / PACKAGED["greensboro"])
        opening.append(time.perf_counter() - begin)
        begin = time.perf_counter()
        weather.block(STATIONS["greensboro"], times, (1,))
        slicing.append(time.perf_counter() - begin)
    assert min(opening) < 0.3
    assert min(slicing) < 0.02


# ---------------------------------------------------------------- damage


FORMATS = {
    "epw": epw_text,
    "tmy3": tmy3_text,
    "pvgis_tmy_csv": pvgis_tmy_csv,
    "pvgis_tmy_json": pvgis_tmy_json,
    "pvgis_hourly_csv": pvgis_hourly_csv,
    "pvgis_hourly_json": pvgis_hourly_json,
    "plain": plain_csv,
}
damage = st.fixed_dictionaries(
    {
        "keep": st.one_of(st.just(1.0), st.floats(0.0, 1.0)),
        "drop": st.lists(st.floats(0.0, 0.9999), max_size=6),
        "drop_head": st.lists(st.integers(0, 20), max_size=1),
        "flip": st.lists(
            st.tuples(st.floats(0.0, 0.9999), st.binary(min_size=1, max_size=3)), max_size=4
        ),
    }
)


def damaged(content, how):
    lines = content.split(b"\n")
    gone = {int(share * len(lines)) for share in how["drop"]} | set(how["drop_head"])
    content = bytearray(b"\n".join(line for n, line in enumerate(lines) if n not in gone))
    for share, junk in how["flip"]:
        at = int(share * len(content))
        content[at : at + len(junk)] = junk
    return bytes(content[: int(how["keep"] * len(content))])


def loads_or_is_refused(path):
    """True if it loaded whole; a refusal is one line that ends with a next step."""
    try:
        weather = open_weather_file(path)
        times = hours("2026-02-01", 5)
        block = weather.block(HERE, times, weather.years(HERE, times))
    except WeatherFileError as problem:
        message = str(problem)
        assert "\n" not in message
        assert "; " in message
        assert message.endswith(".")
        return False
    assert all(np.isfinite(getattr(block, column)).all() for column in COLUMNS)
    return True


@pytest.mark.parametrize("name", sorted(FORMATS))
def test_damaged_files_load_or_are_refused(name, tmp_path):
    content = FORMATS[name]().encode()
    path = tmp_path / "weather.dat"
    outcomes = []

    @settings(
        max_examples=14,
        deadline=None,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(damage)
    def run(how):
        path.write_bytes(damaged(content, how))
        outcomes.append(loads_or_is_refused(path))

    run()
    path.write_bytes(content)
    assert loads_or_is_refused(path)
    assert False in outcomes  # some damage was seen at all


@pytest.mark.parametrize("keep", [0.0002, 0.31, 0.99999])
def test_cut_tmy2_is_refused(keep, tmp_path):
    path = tmp_path / "cut.tm2"
    content = (DATA / PACKAGED["miami"]).read_bytes()
    path.write_bytes(content[: int(keep * len(content))])
    assert not loads_or_is_refused(path)


def test_tmy2_city_of_several_words(tmp_path):
    text = tmy2_text().replace("MIAMI          ", "NEW MIAMI BEACH", 1)
    weather = opened(tmp_path, text, "x.tm2")
    block = weather.block(STATIONS["miami"], hours("2026-01-01", 1), (1,))
    assert block.source.name.startswith("New Miami Beach, FL")
