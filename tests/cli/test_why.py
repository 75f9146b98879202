"""Causes and cures as ``run`` tells them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from offgrid_sim.cli.main import run_cli

ROOT = Path(__file__).parents[2] / "configs"
DARK = str(ROOT / "trips" / "sandpoint_december.toml")
LIGHT = str(ROOT / "trips" / "greensboro_june.toml")


def test_json_of_a_failing_van_names_cause_and_cure(capsys):
    assert run_cli(["run", DARK, "--json", "--no-report"]) == 0
    told = json.loads(capsys.readouterr().out)
    first = told["causes"]["episodes"][0]
    assert first["kind"] == "blackout"
    assert first["causes"][0]["saved_h"] > 0
    assert first["causes"][0]["cause"] in first["words"]
    assert told["cures"]["tried"][0]["helps"] is True


def test_a_van_that_holds_has_neither(capsys):
    assert run_cli(["run", LIGHT, "--json", "--no-report"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["causes"]["episodes"], told["causes"]["whole_year"]) == ([], [])
    assert told["cures"]["tried"] == []


def test_neither_when_not_asked_for(capsys):
    assert run_cli(["run", DARK, "--json", "--no-report", "--no-why", "--no-cures"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert "causes" not in told
    assert "cures" not in told


def test_words_at_the_terminal(capsys):
    assert run_cli(["run", DARK, "--no-report"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "Best value: " in out
    assert "Dark 7 December" in out


@pytest.mark.parametrize("text", ['[[cures]]\nname = "x"\nprize = 1\n', "x = 1\n"])
def test_a_broken_list_of_cures_is_refused(text, capsys, tmp_path):
    file = tmp_path / "cures.toml"
    file.write_text(text, encoding="utf-8")
    assert run_cli(["run", DARK, "--no-report", "--cures-file", str(file)]) == 2
    assert str(file) in capsys.readouterr().err
