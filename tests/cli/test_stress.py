"""The stress command: words, JSON, page, own cases, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from offgrid_sim.cli.main import run_cli

ROOT = Path(__file__).parents[2] / "configs"
TRIP = str(ROOT / "trips" / "greensboro_june.toml")


def test_words_and_page(capsys, tmp_path):
    page = tmp_path / "s.html"
    assert run_cli(["stress", TRIP, "--out", str(page)]) == 0
    out, err = capsys.readouterr()
    assert "of 14 hard cases hold" in " ".join(out.split())
    assert err == ""
    text = page.read_text(encoding="utf-8")
    assert "What gives way first" in text
    assert "van.inverter.left_on" in text
    assert len(text) < 300_000


def test_matrix_as_json(capsys, tmp_path):
    own = tmp_path / "cases.toml"
    own.write_text('[[cases]]\nname = "dark"\nfor_days = 9\nsun_share = 0\n', encoding="utf-8")
    battery = tmp_path / "battery.toml"
    battery.write_text('chemistry = "agm"\ncapacity_ah = 90\n', encoding="utf-8")
    page = tmp_path / "m.html"
    words = ["--fridge", "chest:40", "--fridge", str(ROOT / "vans" / "winter_upright.toml"),
             "--battery", "lfp:200", "--battery", str(battery), "--ambient", "15",
             "--cases", str(own), "--json", "--out", str(page)]  # fmt: skip
    assert run_cli(["stress", TRIP, *words]) == 0
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert err == f"Report: {page}\n"
    assert {(r["fridge"], r["battery"]) for r in told["results"]} == {
        (fridge, battery)
        for fridge in ("chest 40 l", "upright 65 l")
        for battery in ("LFP 200 Ah", "AGM 90 Ah")
    }
    assert {r["case"] for r in told["results"]} == {"as planned", "dark"}
    assert "Which pair holds" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--fridge", "box:9"], "write upright:65"),
        (["--battery", "lfp:0"], "write lfp:200"),
        (["--battery", "nowhere.toml"], "there is no such file"),
        (["--ambient", "99"], "--ambient"),
    ],
)
def test_refusals(words, said, capsys):
    assert run_cli(["stress", TRIP, "--no-report", *words]) == 2
    assert said in capsys.readouterr().err


def test_problems_of_cases_and_parts_are_told_together(capsys, tmp_path):
    own = tmp_path / "cases.toml"
    own.write_text('[[cases]]\nname = "x"\nsunshare = 0\n', encoding="utf-8")
    words = ["--cases", str(own), "--battery", "lead:9", "--fridge", "box:9"]
    assert run_cli(["stress", TRIP, "--no-report", *words]) == 2
    err = capsys.readouterr().err
    assert all(said in err for said in ("sun_share", "lead:9", "box:9"))
