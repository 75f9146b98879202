"""What is mended in a weather file and said, and what is refused and why.

Physical limits used here: air temperature record 56.7 °C (WMO archive, Furnace Creek 1913); clear
sun at the ground about 1000 W/m² (common knowledge). The limits of repair are the package's own.
"""

import os

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.errors import WeatherFileError
from offgrid_sim.weather.files import open_weather_file
from offgrid_sim.weather.table import Place

LAT, LON = 47.0, 11.0
HERE = Place("valley", LAT, LON, 600.0)
HEAD = f"# latitude_deg: {LAT}\n# longitude_deg: {LON}\n# altitude_m: 600\n"
FULL = ["ghi_w_m2", "dni_w_m2", "dhi_w_m2", "temp_air_c", "wind_speed_m_s"]


def table(days=60, start="2009-03-01"):
    """Sixty invented days: Haurwitz 1945 clear sky, every third day at a third of it."""
    times = pd.date_range(start, periods=24 * days, freq="h", tz="UTC")
    mid = times + pd.Timedelta(minutes=30)
    zenith = pvlib.solarposition.spa_python(mid, LAT, LON)["zenith"].to_numpy()
    ghi = pvlib.clearsky.haurwitz(pd.Series(zenith, index=mid))["ghi"].to_numpy()
    ghi = np.where(np.arange(len(ghi)) // 24 % 3 == 0, ghi / 3, ghi)
    beam = np.where((zenith < 80) & (np.arange(len(ghi)) // 24 % 3 > 0), 0.8 * ghi, 0.0)
    hour = times.hour.to_numpy()
    return pd.DataFrame(
        {
            "time": times.strftime("%Y-%m-%dT%H:%MZ"),
            "ghi_w_m2": ghi.round(2),
            "dni_w_m2": (beam / np.cos(np.radians(np.minimum(zenith, 80)))).round(2),
            "dhi_w_m2": (ghi - beam).round(2),
            "temp_air_c": 5 + 6 * np.sin((hour - 9) / 24 * 2 * np.pi),
            "wind_speed_m_s": 2.0 + hour / 10,
            "relative_humidity_pct": 70.0 - hour,
        }
    )


def opened(folder, rows, head=HEAD):
    path = folder / "valley.csv"
    path.write_text(head + rows.to_csv(index=False), encoding="utf-8")
    return open_weather_file(path)


def read(folder, rows, head=HEAD):
    times = pd.date_range("2009-03-01", periods=24 * 60, freq="h", tz="UTC")
    return opened(folder, rows, head).block(HERE, times, (2009,))


def refused(folder, rows, words, head=HEAD):
    with pytest.raises(WeatherFileError) as caught:
        opened(folder, rows, head).block(
            HERE, pd.date_range("2009-03-01", periods=24, freq="h", tz="UTC"), (2009,)
        )
    message = str(caught.value)
    assert words in message
    assert message.startswith("valley.csv")
    assert "; " in message
    assert message.endswith(".")
    assert "\n" not in message
    assert str(folder) not in message


# ---------------------------------------------------------------- mended, and said


def test_a_sound_file_passes_unchanged_and_without_notes(tmp_path):
    rows = table()
    block = read(tmp_path, rows)
    assert block.source.notes == ()
    np.testing.assert_array_equal(block.temp_air_c[0], rows["temp_air_c"])
    np.testing.assert_array_equal(block.ghi_w_m2[0], rows["ghi_w_m2"])
    high = rows["dni_w_m2"] > 0
    np.testing.assert_array_equal(block.dni_w_m2[0][high], rows["dni_w_m2"][high])


@pytest.mark.parametrize("mark", [-99, -999, -9999, 9999, np.nan])
def test_missing_marks_become_gaps_and_short_gaps_are_bridged(tmp_path, mark):
    rows = table()
    rows.loc[700:702, ["ghi_w_m2", "dni_w_m2", "dhi_w_m2", "temp_air_c"]] = mark
    block = read(tmp_path, rows)
    np.testing.assert_allclose(
        block.temp_air_c[0, 699:704],
        np.linspace(rows["temp_air_c"][699], rows["temp_air_c"][703], 5),
    )
    assert "3 missing hours of ghi_w_m2 were bridged by straight lines." in block.source.notes
    assert "3 missing hours of temp_air_c were bridged by straight lines." in block.source.notes


def test_absent_rows_are_gaps_too(tmp_path):
    block = read(tmp_path, table().drop(index=[700, 701]))
    assert "2 missing hours of temp_air_c were bridged by straight lines." in block.source.notes
    refused(
        tmp_path, table().drop(index=range(700, 704)), "4 hours are missing from 2009-03-30 04:00"
    )


def test_a_gap_of_four_hours_is_refused(tmp_path):
    rows = table()
    rows.loc[700:703, "ghi_w_m2"] = np.nan
    refused(tmp_path, rows, "4 hours are missing")


def test_wind_and_humidity_bridge_a_day_but_not_more(tmp_path):
    rows = table()
    rows.loc[700:723, ["wind_speed_m_s", "relative_humidity_pct"]] = -999
    notes = read(tmp_path, rows).source.notes
    assert "24 missing hours of wind_speed_m_s were bridged by straight lines." in notes
    assert "24 missing hours of relative_humidity_pct were bridged by straight lines." in notes
    rows.loc[724, "wind_speed_m_s"] = -999
    refused(tmp_path, rows, "wind_speed_m_s is missing for 25 hours on end; remove the column")


def test_many_short_gaps_are_too_many(tmp_path):
    rows = table()
    rows.loc[np.arange(10, 1400, 12), "temp_air_c"] = np.nan
    refused(tmp_path, rows, "too many to bridge")


def test_two_winters_in_one_file_are_two_records(tmp_path):
    rows = pd.concat([table(60, "2009-01-01"), table(60, "2010-01-01")])
    weather = opened(tmp_path, rows)
    assert weather.years(HERE, pd.date_range("2026-01-10", periods=480, freq="h", tz="UTC")) == (
        2009,
        2010,
    )


def test_small_negatives_are_zero_and_large_ones_are_gaps(tmp_path):
    rows = table()
    rows.loc[[1, 25], "ghi_w_m2"] = -3.5
    block = read(tmp_path, rows)
    assert block.ghi_w_m2.min() == 0
    assert any(n == "2 slightly negative ghi_w_m2 hours were set to 0." for n in block.source.notes)
    rows.loc[700:705, "ghi_w_m2"] = -400
    refused(tmp_path, rows, "6 hours are missing")


def test_doubled_hours_are_dropped_only_if_alike(tmp_path):
    rows = table()
    twice = pd.concat([rows, rows.iloc[100:110]])
    block = read(tmp_path, twice)
    assert "10 hours given twice with the same values were dropped." in block.source.notes
    np.testing.assert_array_equal(block.temp_air_c[0], rows["temp_air_c"])
    other = rows.iloc[100:101].assign(temp_air_c=30.0)
    refused(tmp_path, pd.concat([rows, other]), "2009-03-05 04:00 UTC is there twice")


def test_beam_is_cut_near_the_horizon_and_kept_as_diffuse(tmp_path):
    rows = table()
    rows["dni_w_m2"] = np.where(rows["ghi_w_m2"] > 0, rows["dni_w_m2"].clip(lower=60.0), 0.0)
    block = read(tmp_path, rows)
    mid = block.times_utc + pd.Timedelta(minutes=30)
    zenith = pvlib.solarposition.spa_python(mid, LAT, LON)["zenith"].to_numpy()
    low = (zenith > 87.02) & (block.ghi_w_m2[0] > 0)
    assert low.any()
    assert (block.dni_w_m2[0][low] == 0).all()
    np.testing.assert_array_equal(block.dhi_w_m2[0][low], block.ghi_w_m2[0][low])


def test_beam_by_closure_stays_below_a_clean_dry_sky(tmp_path):
    rows = table().drop(columns="dni_w_m2")
    low = (rows["ghi_w_m2"] > 20) & (rows["ghi_w_m2"] < 90)
    rows.loc[low, "dhi_w_m2"] = 0.0
    block = read(tmp_path, rows)
    assert block.dni_w_m2.max() < 1150  # 1361·exp(-0.105 …) at the zenith is the very most
    mid = block.times_utc + pd.Timedelta(minutes=30)
    cos_z = np.cos(np.radians(pvlib.solarposition.spa_python(mid, LAT, LON)["zenith"].to_numpy()))
    rest = block.ghi_w_m2[0] - block.dhi_w_m2[0] - block.dni_w_m2[0] * np.maximum(cos_z, 0)
    assert np.abs(rest).max() < 2.0


def test_components_that_do_not_add_up_are_said(tmp_path):
    rows = table()
    rows["dhi_w_m2"] *= 0.2
    notes = " ".join(read(tmp_path, rows).source.notes)
    assert "components do not add up" in notes


def test_unread_columns_and_missing_offsets_are_said(tmp_path):
    rows = table().assign(rain_mm=0.0)
    rows["time"] = rows["time"].str.rstrip("Z")
    notes = read(tmp_path, rows).source.notes
    assert "Columns left unread: rain_mm." in notes
    assert "Times carry no offset and are read as UTC." in notes


# ---------------------------------------------------------------- refused, with the likely cause


def scaled(column, factor, plus=0.0):
    rows = table()
    return rows.assign(**{column: rows[column] * factor + plus})


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (scaled("temp_air_c", 1, 273.15), "look like kelvin; subtract 273.15"),
        (scaled("temp_air_c", 1.8, 52.0), "perhaps °F"),
        (scaled("ghi_w_m2", 3.6), "perhaps kJ/m² per hour; divide by 3.6"),
        (scaled("ghi_w_m2", 0.001), "perhaps kW/m² or MJ/m²"),
        (scaled("ghi_w_m2", 0.0036), "perhaps kW/m² or MJ/m²"),
        (scaled("ghi_w_m2", 0.0), "perhaps kW/m² or MJ/m²"),
        (scaled("relative_humidity_pct", 0.01), "not in percent"),
        (scaled("wind_speed_m_s", 20.0), "give wind_speed_m_s in m/s"),
        (scaled("ghi_w_m2", 1.75), "of what reaches the top of the atmosphere"),
    ],
)
def test_wrong_units_are_named(tmp_path, rows, words):
    if words.startswith(("perhaps", "of what")) and "°F" not in words:
        rows = rows.drop(columns=["dni_w_m2", "dhi_w_m2"])
    refused(tmp_path, rows, words)


@pytest.mark.parametrize("shift_h", [-6, -2, -1, 1, 2, 5, 11])
@pytest.mark.parametrize("measured", [True, False])
def test_shifted_hours_are_refused_with_their_number(tmp_path, shift_h, measured):
    rows = table()
    rows[FULL] = np.roll(rows[FULL].to_numpy(), shift_h, axis=0)
    if not measured:
        rows = rows.drop(columns=["dni_w_m2", "dhi_w_m2"])
    way = "late" if shift_h > 0 else "early"
    refused(tmp_path, rows, f"about {abs(shift_h)} h too {way}")


def test_a_clock_with_summer_time_is_refused(tmp_path):
    rows = table(364, "2009-01-01").drop(columns=["dni_w_m2", "dhi_w_m2"])
    utc = pd.DatetimeIndex(rows["time"]).tz_convert("Europe/Vienna")
    rows["time"] = utc.strftime("%Y-%m-%dT%H:%M") + "+01:00"
    rows = rows[~rows["time"].duplicated()]
    refused(tmp_path, rows, "sunlight")


def test_coordinates_borrowed_from_a_far_stop_are_refused(tmp_path):
    weather = opened(tmp_path, table(), head="")
    times = pd.date_range("2009-03-01", periods=48, freq="h", tz="UTC")
    notes = weather.block(HERE, times, (2009,)).source.notes
    assert "The file names no coordinates: those of the stop were used." in notes
    with pytest.raises(WeatherFileError, match=r"about 2 h too late .*latitude and longitude"):
        weather.years(Place("far east", LAT, LON + 30.0), times)


def test_rows_further_apart_than_an_hour(tmp_path):
    refused(tmp_path, table().iloc[::3], "one row every 3 hours; hourly rows are needed")


def test_missing_columns_name_the_nearest(tmp_path):
    refused(
        tmp_path,
        table().rename(columns={"ghi_w_m2": "ghi", "temp_air_c": "temp_air_f"}),
        "missing column ghi_w_m2 (perhaps your 'ghi'), temp_air_c (perhaps your 'temp_air_f')",
    )


def test_cells_that_are_no_numbers_or_times(tmp_path):
    rows = table().astype({"temp_air_c": object})
    rows.loc[10, "temp_air_c"] = "warm"
    refused(tmp_path, rows, "line 15: temp_air_c is 'warm', not a number")
    rows = table()
    rows.loc[10, "time"] = "5 March"
    refused(tmp_path, rows, "line 15: time '5 March' is not ISO 8601")


def test_bad_comment_lines_and_year_labels(tmp_path):
    refused(tmp_path, table(), "not a number within ±90", head="# latitude_deg: north\n")
    rows = table()
    rows.insert(0, "year", 1.5)
    refused(tmp_path, rows, "year column must hold a whole number")


EPW_ROW = b"2001,1,1,1" + b",0" * 31 + b"\n"
CONTENT = {
    "empty": (b"", "is empty"),
    "blank": (b"\n\n  \n", "is empty"),
    "web page": (b"<!DOCTYPE html><html>404</html>", "is a web page"),
    "zip": (b"PK\x03\x04rest", "unpack it"),
    "gzip": (b"\x1f\x8brest", "unpack it"),
    "binary": (bytes(range(256)) * 40, "not a text file"),
    "prose": (b"It was a dark and stormy night.\n", "not a known weather format"),
    "header only": (b"time,ghi_w_m2,temp_air_c\n", "has a header but no hours"),
    "json": (b'{"outputs": {"monthly": []}}', "JSON without hourly rows"),
    "half json": (b'{"outputs": {"hourly": [{"ti', "is not complete JSON"),
    "list json": (b'{"outputs": []}', "JSON without hourly rows"),
    "cut": (b"time,ghi_w_m2,temp_air_c\n2009-01-01T00:00Z,0,1\n2009-01-01T01", "cut off"),
    "commas": (b"time,ghi_w_m2,temp_air_c\n2009-01-01T00:00Z,0,1,5\n", "4 values for 3 columns"),
    "epw head": (b"LOCATION,a,b,c,d,e,1,2,3,4\n2001,1,1,1\n", "eight header lines"),
    "off the globe": (
        b"LOCATION,a,b,c,d,e,91,2,3,4\n" + b"x\n" * 6 + b"DATA PERIODS\n" + EPW_ROW * 30,
        "header gives latitude_deg 91",
    ),
    "no date": (
        b"LOCATION,a,b,c,d,e,1,2,3,4\n" + b"x\n" * 6 + b"DATA PERIODS\n" + EPW_ROW + b"\n,,,,,,,\n",
        "damaged",
    ),
    "one row": (b"time,ghi_w_m2,temp_air_c\n2009-01-01T00:00Z,0,1\n", "holds no usable day"),
}


@pytest.mark.parametrize("kind", sorted(CONTENT))
def test_content_that_is_no_weather(tmp_path, kind):
    content, words = CONTENT[kind]
    path = tmp_path / "weather.csv"
    path.write_bytes(content)
    with pytest.raises(WeatherFileError) as caught:
        open_weather_file(path)
    assert words in str(caught.value)
    assert str(caught.value).endswith(".")
    assert caught.value.exit_code == 2


def test_paths_that_are_no_files(tmp_path):
    with pytest.raises(WeatherFileError, match=r"no such file; check the path"):
        open_weather_file(tmp_path / "gone.epw")
    with pytest.raises(WeatherFileError, match="is a folder"):
        open_weather_file(tmp_path)
    with pytest.raises(WeatherFileError, match="check the path"):
        open_weather_file("nul\x00byte")
    with pytest.raises(WeatherFileError, match="name at least one"):
        open_weather_file()


def test_permission_denied(tmp_path, monkeypatch):
    path = tmp_path / "secret.epw"
    path.write_text("LOCATION", encoding="utf-8")
    path.chmod(0)
    if os.geteuid() == 0:  # root may read anything: let the system call refuse instead

        def deny(_):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr("pathlib.Path.read_bytes", deny)
    with pytest.raises(WeatherFileError, match="may not be read; change its permissions"):
        open_weather_file(path)


def test_wrong_year_length_of_a_typical_year(tmp_path):
    source = os.path.join(os.path.dirname(pvlib.__file__), "data", "723170TYA.CSV")
    with open(source, encoding="utf-8") as file:
        lines = file.read().splitlines(keepends=True)
    path = tmp_path / "short.csv"
    path.write_text("".join(lines[: 2 + 8000]), encoding="utf-8")
    with pytest.raises(WeatherFileError, match=r"760 of the 8760 hours a typical year needs"):
        open_weather_file(path)
    path.write_text("".join(lines[:4000] + lines[4002:]), encoding="utf-8")
    block = open_weather_file(path).block(
        Place("G", 36.1, -79.95), pd.date_range("2026-01-01", periods=9, freq="h", tz="UTC"), (1,)
    )
    assert "2 missing hours of ghi_w_m2 were bridged by straight lines." in block.source.notes
