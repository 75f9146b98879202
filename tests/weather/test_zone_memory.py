"""Zones kept on disk: what the finder says, never older than the finder, and never needed.

Zone names from the IANA time zone database (zone1970.tab: country and principal place).
"""

import json
import os
import subprocess
import sys

import pytest

from offgrid_sim.weather import zone_memory
from offgrid_sim.weather.zone_memory import MOST_PLACES, remembered_zone, zones_file

MADRID = (41.65, -0.88)


@pytest.fixture(autouse=True)
def _own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path / "cache"))


class Finder:
    """Says one zone and counts how often it is asked."""

    def __init__(self, zone="Europe/Madrid"):
        self.zone, self.asked = zone, 0

    def __call__(self, latitude_deg, longitude_deg):
        self.asked += 1
        return self.zone


def test_a_place_is_looked_up_once_and_a_near_one_is_another_place():
    finder = Finder()
    assert [remembered_zone(*MADRID, finder) for _ in range(3)] == ["Europe/Madrid"] * 3
    assert finder.asked == 1
    remembered_zone(41.65, -0.8800001, finder)
    assert finder.asked == 2


def test_a_new_finder_or_new_polygons_are_asked_again(monkeypatch):
    remembered_zone(*MADRID, Finder("Europe/Paris"))
    monkeypatch.setattr(zone_memory, "_finder_version", lambda: "another")
    assert remembered_zone(*MADRID, Finder()) == "Europe/Madrid"
    assert remembered_zone(*MADRID, Finder("Europe/Paris")) == "Europe/Madrid"


def test_the_version_named_is_that_of_the_finder_in_use():
    import timezonefinder

    assert f"timezonefinder {timezonefinder.__version__}," in zone_memory._finder_version()


def _held(zones, finder=None):
    return json.dumps({"finder": finder or zone_memory._finder_version(), "zones": zones})


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "\x00\xff",
        "[" * 100_000,
        "{}",
        _held([]),
        _held(None),
        _held({"41.65,-0.88": 5}),
        _held({"41.65,-0.88": ""}),
        _held({"41.65,-0.88": "Europe/Atlantis"}),
        _held({"41.65,-0.88": "../../etc/passwd"}),
        _held({"41.65,-0.88": "Europe"}),
    ],
)
def test_a_file_that_holds_nonsense_is_ignored_and_made_anew(text):
    zones_file().parent.mkdir(parents=True)
    zones_file().write_bytes(text.encode("latin-1"))
    assert remembered_zone(*MADRID, Finder()) == "Europe/Madrid"
    assert remembered_zone(*MADRID, Finder("Europe/Paris")) == "Europe/Madrid"


def test_a_folder_that_cannot_be_made_or_a_folder_in_the_files_place_does_no_harm(tmp_path):
    (tmp_path / "cache").write_text("a file where the folder should be", encoding="utf-8")
    assert remembered_zone(*MADRID, Finder()) == "Europe/Madrid"
    (tmp_path / "cache").unlink()
    zones_file().mkdir(parents=True)
    assert remembered_zone(*MADRID, Finder()) == "Europe/Madrid"
    assert os.listdir(tmp_path / "cache") == ["zones.json"]


def test_a_disk_that_refuses_does_no_harm(monkeypatch):
    def refuse(path, data):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(zone_memory, "write_whole", refuse)
    finder = Finder()
    assert [remembered_zone(*MADRID, finder) for _ in range(2)] == ["Europe/Madrid"] * 2
    assert finder.asked == 2


def test_the_file_stays_small(monkeypatch):
    zones = {f"{k}.0,0.0": "Etc/GMT" for k in range(MOST_PLACES)}
    zones_file().parent.mkdir(parents=True)
    zones_file().write_text(_held(zones), encoding="utf-8")
    remembered_zone(*MADRID, Finder())
    kept = json.loads(zones_file().read_text(encoding="utf-8"))["zones"]
    assert len(kept) == MOST_PLACES
    assert "0.0,0.0" not in kept
    assert kept["41.65,-0.88"] == "Europe/Madrid"


def test_a_known_place_does_not_load_the_finder():
    program = (
        "import sys; from offgrid_sim.weather.clock import zone_at; "
        "print(zone_at(41.65, -0.88), 'timezonefinder' in sys.modules)"
    )
    said = [
        subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True
        ).stdout.split()
        for _ in range(2)
    ]
    assert said == [["Europe/Madrid", "True"], ["Europe/Madrid", "False"]]
