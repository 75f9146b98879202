"""The chamber command: what it reads, what it prints, what it writes."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from offgrid_sim.cli.chamber import command

FRIDGE = 'shape = "chest"\nvolume_l = 40\nfreezer_share = 0.3\n'


def run(*words: str) -> tuple[int, str, str]:
    result = CliRunner().invoke(command, list(words))
    return result.exit_code, result.stdout, result.stderr


def test_a_fridge_file_of_its_own_gives_json_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "chest.toml"
    path.write_text(FRIDGE, encoding="utf-8")
    code, out, _ = run(str(path), "--ambient", "25", "--json", "--no-report")
    numbers = json.loads(out)
    assert code == 0
    assert numbers["fridge"]["shape"] == "chest"
    assert [row["ambient_c"] for row in numbers["ambients"]] == [25.0]


def test_the_same_fridge_inside_a_van_gives_the_same_numbers(tmp_path: Path) -> None:
    alone, van = tmp_path / "chest.toml", tmp_path / "van.toml"
    alone.write_text("[fridge]\n" + FRIDGE, encoding="utf-8")
    van.write_text("[battery]\ncapacity_ah = 100\n[fridge]\n" + FRIDGE, encoding="utf-8")
    one, two = (
        json.loads(run(str(path), "--ambient", "32", "--json", "--no-report")[1])
        for path in (alone, van)
    )
    assert one == two


def test_report_is_written_whole_without_scripts_from_elsewhere(tmp_path: Path) -> None:
    path, out = tmp_path / "chest.toml", tmp_path / "page.html"
    path.write_text(FRIDGE, encoding="utf-8")
    code, told, _ = run(str(path), "--ambient", "25", "--out", str(out))
    page = out.read_text(encoding="utf-8")
    assert code == 0
    assert "Report:" in told
    assert "In use" in page
    assert "src=" not in page
    assert [file.name for file in tmp_path.iterdir() if file.name.startswith(".")] == []


def test_a_van_without_a_fridge_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "van.toml"
    path.write_text('fridge = "none"\n[battery]\ncapacity_ah = 100\n', encoding="utf-8")
    result = CliRunner().invoke(command, [str(path)])
    assert result.exit_code != 0
    assert "no fridge to test" in str(result.exception)
