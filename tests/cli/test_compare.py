"""The compare command: words, JSON, page, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from offgrid_sim.cli.main import run_cli

ROOT = Path(__file__).parents[2] / "configs"
TRIP = str(ROOT / "trips" / "greensboro_june.toml")
VANS = [str(ROOT / "vans" / f"winter_{shape}.toml") for shape in ("upright", "chest")]


def test_words_and_page(capsys, tmp_path):
    page = tmp_path / "c.html"
    assert run_cli(["compare", *VANS, "--trip", TRIP, "--out", str(page)]) == 0
    out, err = capsys.readouterr()
    assert "winter_upright" in out
    assert "van.fridge.shape" in out
    assert str(page) in out
    assert err == ""
    text = page.read_text(encoding="utf-8")
    assert "<code>van.fridge.shape</code>" in text
    assert text.index('id="changed"') < text.index('id="outcome"')
    assert len(text) < 300_000


def test_json_alone_on_stdout(capsys, tmp_path):
    words = ["compare", TRIP, "--change", "van.solar.0.panel_w=50", "--json", "--no-report"]
    assert run_cli(words) == 0
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert err == ""
    assert [one["key"] for one in told["changed"]] == ["van.solar.0.panel_w"]
    assert told["best"] == "greensboro_june"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([TRIP], "name a second trip or van file"),
        (VANS, "name one with --trip"),
        ([TRIP, str(ROOT / "routes" / "greensboro_30_nights.toml")], "this is a route file"),
    ],
)
def test_refusals(words, said, capsys):
    assert run_cli(["compare", *words, "--no-report"]) == 2
    assert said in capsys.readouterr().err


def test_all_broken_plans_are_told_together(capsys, tmp_path):
    files = []
    for k, key in enumerate(("capacity_ha", "chemistri")):
        path = tmp_path / f"{k}.toml"
        path.write_text(f"[battery]\ncapacity_ah = 100\n{key} = 1\n", encoding="utf-8")
        files.append(str(path))
    assert run_cli(["compare", *files, "--trip", TRIP, "--no-report"]) == 2
    err = capsys.readouterr().err
    assert "capacity_ha" in err
    assert "chemistri" in err
