"""The cache on disk: shared, bounded, whole or not at all, and honest about damage."""

import gzip
import io
import json
import os
import shutil
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest

from offgrid_sim import whole_file
from offgrid_sim.errors import WeatherUnavailable
from offgrid_sim.weather.archive import SERVICES, ArchiveWeather, finished, held_years
from offgrid_sim.weather.archive.asked import (
    PlaceYear,
    from_key,
    labels_covered,
    year_offsets,
)
from offgrid_sim.weather.archive.fetch import fetch, wanted_years
from offgrid_sim.weather.archive.store import ArchiveCache, default_folder, default_limit_bytes
from offgrid_sim.weather.archive.web import Web
from offgrid_sim.weather.table import COLUMNS, Place

PVGIS = SERVICES["pvgis"]
HERE = Place("Torla", 42.63, -0.11, 1030.0)
JUNE = pd.date_range("2025-06-01", periods=30 * 24, freq="h", tz="UTC")


def bring(cache, url, years=(2015,)):
    with Web(cache, 5.0, lambda seconds: None) as web:
        return fetch(PVGIS, wanted_years(PVGIS, [HERE], years, (0,)), cache, web, url)


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "archive"


@pytest.fixture(scope="module")
def stock(tmp_path_factory, new_archive_server):
    """One year, fetched once for all tests that only need it to be there."""
    server, folder = new_archive_server(), tmp_path_factory.mktemp("stock") / "archive"
    bring(ArchiveCache(folder, 10**7), server.url)
    server.stop()
    return folder


@pytest.fixture
def filled(folder, stock):
    shutil.copytree(stock, folder)


def only_file(folder):
    (path,) = folder.glob("*.json.gz")
    return path


def test_keys_are_the_same_for_every_way_of_writing_a_number():
    at = PlaceYear.at("pvgis-v5-3", Place("a", 45, 8), 2015)
    assert at == PlaceYear.at("pvgis-v5-3", Place("b", 45.0, 8.0000001), 2015)
    assert at.key == "pvgis-v5-3_+45.00_+008.00_2015"
    assert PlaceYear.at("power-hourly", Place("c", -0.001, -0.004), 2015).key == (
        "power-hourly_+00.00_+000.00_2015"
    )
    for place in (Place("d", -33.4, -70.8), Place("e", 78.22, 179.999)):
        one = PlaceYear.at("power-hourly", place, 1999)
        assert from_key(one.key) == one
    assert from_key("notes") is None


@pytest.mark.usefixtures("filled")
def test_what_is_stored_is_packed_json_that_others_can_read(folder):
    stored = json.loads(gzip.decompress(only_file(folder).read_bytes()))
    assert stored["status_code"] == 200
    assert len(json.loads(stored["_content"])["outputs"]["hourly"]) == 8760
    assert b"pickle" not in only_file(folder).read_bytes()


@pytest.mark.usefixtures("filled")
def test_a_copied_folder_serves_another_machine(folder, tmp_path, archive_server):
    archive_server.stop()
    os.rename(folder, tmp_path / "elsewhere")
    done = bring(ArchiveCache(tmp_path / "elsewhere", 10**7), "https://another.invalid")
    assert (done.already, done.fetched) == (1, 0)


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "garbage", "other json"])
@pytest.mark.usefixtures("filled")
def test_a_damaged_file_is_set_aside_said_and_fetched_again(folder, archive_server, damage):
    path = only_file(folder)
    whole = path.read_bytes()
    middle = len(whole) // 2
    path.write_bytes(
        {
            "cut": whole[:middle],
            "bit": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
            "empty": b"",
            "garbage": b"\x00garbage" * 100,
            "other json": gzip.compress(b'{"a": 1}'),
        }[damage]
    )
    spoiled = path.read_bytes()
    done = bring(ArchiveCache(folder, 10**7), archive_server.url)
    assert done.fetched == 1
    assert done.set_aside == (path.name.removesuffix(".json.gz"),)
    assert (folder / "damaged" / path.name).read_bytes() == spoiled
    assert bring(ArchiveCache(folder, 10**7), archive_server.url).already == 1


@pytest.mark.usefixtures("filled")
def test_a_file_held_by_another_process_is_read_all_the_same(folder, archive_server):
    fcntl = pytest.importorskip("fcntl")
    with only_file(folder).open("rb+") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        assert bring(ArchiveCache(folder, 10**7), archive_server.url).already == 1


@pytest.mark.usefixtures("filled")
def test_a_file_that_may_not_be_read_is_one_sentence(folder, archive_server, monkeypatch):
    path = only_file(folder)

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patch:
        patch.setattr(type(path), "read_bytes", refuse)
        with pytest.raises(WeatherUnavailable, match="permission denied") as caught:
            bring(ArchiveCache(folder, 10**7), archive_server.url)
    assert caught.value.exit_code == 3
    assert path.is_file()


def test_a_full_disk_is_one_sentence_and_leaves_no_half_file(folder, archive_server, monkeypatch):
    def full(handle):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(WeatherUnavailable, match="no space left on device"):
            bring(ArchiveCache(folder, 10**7), archive_server.url)
    assert list(folder.iterdir()) == []


def test_a_file_in_place_of_the_folder_is_one_sentence(folder, archive_server):
    folder.write_text("in the way", encoding="utf-8")
    with pytest.raises(WeatherUnavailable, match="cannot be written"):
        bring(ArchiveCache(folder, 10**7), archive_server.url)
    assert folder.read_text(encoding="utf-8") == "in the way"


@pytest.mark.usefixtures("filled")
def test_the_limit_drops_what_was_longest_not_used(folder, archive_server):
    one = only_file(folder).stat().st_size
    cache = ArchiveCache(folder, int(3.5 * one))
    bring(cache, archive_server.url, (2013, 2014))
    for age_s, year in ((300, 2013), (200, 2014), (100, 2015)):
        path = folder / f"{PlaceYear.at(PVGIS.archive, HERE, year).key}.json.gz"
        os.utime(path, (path.stat().st_mtime - age_s,) * 2)
    assert cache.text(PlaceYear.at(PVGIS.archive, HERE, 2013).key)  # used just now
    done = bring(cache, archive_server.url, (2012,))
    assert [from_key(key).year for key in done.dropped] == [2014]
    assert [one.year for one in held_years(cache)] == [2012, 2013, 2015]
    assert cache.files.size_bytes() <= cache.files.limit_bytes


def test_two_processes_at_once_share_one_cache(folder, archive_server, tmp_path):
    script = tmp_path / "bring.py"
    script.write_text(
        "import sys\nfrom pathlib import Path\n"
        "from offgrid_sim.weather.archive import SERVICES\n"
        "from offgrid_sim.weather.archive.fetch import fetch, wanted_years\n"
        "from offgrid_sim.weather.archive.store import ArchiveCache\n"
        "from offgrid_sim.weather.archive.web import Web\n"
        "from offgrid_sim.weather.table import Place\n"
        "service, cache = SERVICES['pvgis'], ArchiveCache(Path(sys.argv[1]), 10**7)\n"
        "wanted = wanted_years(service, [Place('a', 42.63, -0.11)], (2014, 2015), (0,))\n"
        "with Web(cache) as web:\n"
        "    done = fetch(service, wanted, cache, web, sys.argv[2])\n"
        "assert done.here == 2, done\n",
        encoding="utf-8",
    )
    command = [sys.executable, "-W", "error", str(script), str(folder), archive_server.url]
    both = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    for process in both:
        _, said = process.communicate(timeout=60)
        assert process.returncode == 0, said
    assert len(held_years(ArchiveCache(folder, 10**7))) == 2
    assert not list(folder.glob(".writing-*"))
    again = bring(ArchiveCache(folder, 10**7), "http://gone.invalid", (2014, 2015))
    assert again.already == 2


def test_the_folder_and_the_limit_can_be_set(monkeypatch, tmp_path):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path))
    assert default_folder() == tmp_path / "archive"
    monkeypatch.setenv("OFFGRID_SIM_ARCHIVE_MB", "20")
    assert default_limit_bytes() == 20_000_000
    monkeypatch.setenv("OFFGRID_SIM_ARCHIVE_MB", "plenty")
    with pytest.raises(WeatherUnavailable, match="'plenty'"):
        default_limit_bytes()


def test_labels_need_every_year_of_the_span():
    assert labels_covered({2012, 2013, 2015}, (0,)) == (2012, 2013, 2015)
    assert labels_covered({2012, 2013, 2015}, (0, 1)) == (2012,)
    winter = pd.date_range("2025-11-30 23:00", periods=90 * 24, freq="h", tz="UTC")
    new_year_in_madrid = pd.date_range("2025-12-31 23:00", periods=10 * 24, freq="h", tz="UTC")
    year_end_in_lima = pd.date_range("2025-12-20 05:00", periods=12 * 24, freq="h", tz="UTC")
    assert year_offsets(winter) == (0, 1)
    assert year_offsets(JUNE) == (0,)
    assert year_offsets(new_year_in_madrid) == (0,)
    assert year_offsets(year_end_in_lima) == (0,)


# ---------------------------------------------------------------- copies


@pytest.fixture
def opened(folder):
    """A year's hours through a fresh cache, and what was read of answers meanwhile."""

    def block(limit_bytes=10**7):
        cache = ArchiveCache(folder, limit_bytes)
        texts = []
        cache.text = lambda key: texts.append(key) or ArchiveCache.text(cache, key)
        weather = ArchiveWeather([HERE], cache)
        return weather.block(HERE, JUNE, weather.years(HERE, JUNE)), texts

    return block


def copies(folder):
    return list(folder.glob("*.hours.npz"))


def same(one, other):
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    return one.source == other.source


@pytest.mark.usefixtures("filled")
def test_a_fetch_leaves_a_copy_that_is_read_instead_of_the_answer(folder, opened):
    (copy,) = copies(folder)
    quick, texts = opened()
    assert texts == []
    copy.unlink()
    slow, texts = opened()
    assert len(texts) == 1
    assert same(quick, slow)
    assert copies(folder) == [copy]  # made again
    assert opened()[1] == []


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "garbage", "another code", "pickle"])
@pytest.mark.usefixtures("filled")
def test_a_copy_that_is_damaged_or_old_is_made_again(folder, opened, damage, monkeypatch):
    before, _ = opened()
    (copy,) = copies(folder)
    whole = copy.read_bytes()
    middle = len(whole) // 2
    pickled = io.BytesIO()
    np.savez(pickled, label=np.array([{}], dtype=object), parts=np.zeros((6, 1), np.int32))
    spoiled = {
        "cut": whole[:middle],
        "bit": whole[:middle] + bytes([whole[middle] ^ 1]) + whole[middle + 1 :],
        "empty": b"",
        "garbage": b"\x00garbage" * 100,
        "another code": whole,
        "pickle": pickled.getvalue(),
    }[damage]
    copy.write_bytes(spoiled)
    if damage == "another code":
        monkeypatch.setattr(finished, "code_digest", lambda: "another")
    after, texts = opened()
    assert len(texts) == 1
    assert same(before, after)
    assert copy.read_bytes() != spoiled
    assert opened()[1] == []
    assert not (folder / "damaged").exists()


@pytest.mark.usefixtures("filled")
def test_a_refreshed_answer_is_not_served_from_the_old_copy(folder, archive_server, opened):
    def warmer(handler):
        content = json.loads(handler.text)
        for row in content["outputs"]["hourly"]:
            row["T2m"] += 5.0
        handler.reply(200, json.dumps(content))

    (copy,) = copies(folder)
    old = copy.read_bytes()
    before, _ = opened()
    archive_server.always = warmer
    with Web(ArchiveCache(folder, 10**7), 5.0, lambda seconds: None) as web:
        asked = wanted_years(PVGIS, [HERE], (2015,), (0,))
        fetch(PVGIS, asked, ArchiveCache(folder, 10**7), web, archive_server.url, refresh=True)
    copy.write_bytes(old)  # as another process might that had begun before
    after, _ = opened()
    np.testing.assert_allclose(after.temp_air_c - before.temp_air_c, 5.0, atol=1e-5)


@pytest.mark.usefixtures("filled")
def test_a_damaged_answer_is_found_though_its_copy_is_sound(folder, opened):
    only_file(folder).write_bytes(b"spoiled")
    with pytest.raises(WeatherUnavailable, match="was damaged"):
        opened()
    assert copies(folder) == []


@pytest.mark.usefixtures("filled")
def test_copies_count_in_the_limit_and_never_push_an_answer_out(folder, archive_server, opened):
    answer, copy = only_file(folder).stat().st_size, copies(folder)[0].stat().st_size
    assert ArchiveCache(folder, 10**7).files.size_bytes() == answer + copy
    tight = ArchiveCache(folder, int(2.2 * answer))
    done = bring(tight, archive_server.url, (2015, 2016))
    assert done.dropped == ()
    assert len(held_years(tight)) == 2
    assert tight.files.size_bytes() <= tight.files.limit_bytes
    assert len(copies(folder)) == int(0.2 * answer >= copy)
    assert opened(int(2.2 * answer))[0].ghi_w_m2.shape == (2, len(JUNE))


@pytest.mark.usefixtures("filled")
def test_where_nothing_can_be_written_weather_is_read_all_the_same(folder, opened, monkeypatch):
    before, _ = opened()
    copies(folder)[0].unlink()

    def refuse(*args, **kwargs):
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(whole_file.tempfile, "mkstemp", refuse)
    after, texts = opened()
    assert len(texts) == 1
    assert same(before, after)
    assert copies(folder) == []
