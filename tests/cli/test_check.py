"""The check command and the front door: words, JSON, exit codes."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from offgrid_sim.cli import main as front
from offgrid_sim.cli.main import COMMANDS, cli, run_cli
from offgrid_sim.errors import WeatherUnavailable

ROOT = Path(__file__).parents[2]
TRIP = str(ROOT / "configs" / "trips" / "greensboro_june.toml")
VAN = str(ROOT / "configs" / "vans" / "small_agm.toml")


def test_the_table_shows_key_value_origin(capsys):
    assert run_cli(["check", TRIP, "--set", "van.battery.capacity_ah=123"]) == 0
    out, err = capsys.readouterr()
    lines = [line.split() for line in out.splitlines()]
    assert ["van.battery.capacity_ah", "123.0", "yours"] in lines
    assert ["people", "2", "file:", "greensboro_june.toml"] in lines
    assert "is a valid trip, 30 nights from 2025-06-01: 1 values are yours" in out
    assert err == ""


def test_hours_survive_the_table(capsys):
    assert run_cli(["check", VAN]) == 0
    assert "[[18.0, 22.0]]" in capsys.readouterr().out


def test_json_is_one_object_and_nothing_else(capsys):
    assert run_cli(["check", VAN, "--json"]) == 0
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert err == ""
    assert (told["ok"], told["kind"], told["files"]) == (True, "van", ["small_agm.toml"])
    assert told["plan"]["van"]["battery"]["chemistry"] == "agm"
    value = next(v for v in told["values"] if v["key"] == "van.battery.capacity_ah")
    assert value["origin"] == "file: small_agm.toml"


def test_problems_in_words_and_json(capsys, tmp_path):
    file = tmp_path / "v.toml"
    file.write_text("[battery]\ncapacity_ha = 1\n", encoding="utf-8")
    assert run_cli(["check", str(file), "--json"]) == 2
    out, err = capsys.readouterr()
    told = json.loads(out)
    assert told["ok"] is False
    assert {p["key"] for p in told["problems"]} == {
        "van.battery.capacity_ah",
        "van.battery.capacity_ha",
    }
    assert f"{file}: van.battery.capacity_ha = 1: there is no such key. Write capacity_ah" in err


def test_a_file_of_no_kind(capsys, tmp_path):
    file = tmp_path / "v.toml"
    file.write_text('colour = "red"\n', encoding="utf-8")
    assert run_cli(["check", str(file)]) == 2
    assert "no key of a van, route, habits or trip is in it" in capsys.readouterr().err


@pytest.mark.parametrize("kind", ["van", "route", "habits", "trip"])
def test_schema_is_printed(capsys, kind):
    assert run_cli(["check", "--schema", kind]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == f"{kind} file"


def test_wrong_usage_is_one_sentence(capsys):
    assert run_cli(["check"]) == 2
    assert capsys.readouterr().err == (
        "offgrid-sim: name the file to check; see offgrid-sim check --help.\n"
    )
    assert run_cli(["chekc"]) == 2
    assert "use check" in capsys.readouterr().err
    assert run_cli(["check", VAN, "--jsn"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_help_works_through_click_itself():
    result = CliRunner().invoke(cli, ["--help"])
    assert result.exit_code == 0
    assert all(name in result.output for name in COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_and_its_line_in_the_list(name):
    command = front.LazyCommands().get_command(None, name)
    assert command.help
    assert f"offgrid-sim {name}" in command.help
    assert command.get_short_help_str(200) == COMMANDS[name][1]


def test_help_and_check_import_nothing_heavy():
    code = (
        "import sys; from offgrid_sim.cli.main import run_cli; run_cli(['--help']);"
        f"assert run_cli(['check', {TRIP!r}, '--json']) == 0;"
        "heavy = {'numpy', 'pandas', 'pvlib', 'numba', 'plotly', 'scipy', 'requests'};"
        "sys.exit(' '.join(heavy & set(sys.modules)) or 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    ("error", "code", "words"),
    [
        (KeyboardInterrupt(), 130, "stopped before it was done"),
        (OSError(28, "No space left on device", "out.html"), 2, "out.html: the disk is full"),
        (OSError(30, "Read-only file system", "out.html"), 2, "the disk is read-only"),
        (PermissionError(13, "Permission denied", "out.html"), 2, "permission denied"),
        (OSError(5, "Input/output error"), 2, "input/output error; check the path and the disk"),
        (MemoryError(), 2, "not enough memory"),
        (WeatherUnavailable("never fetched; run weather fetch."), 3, "never fetched"),
        (BrokenPipeError(), 141, ""),
        (RuntimeError("boom"), 70, "a fault of the program itself"),
    ],
)
def test_every_failure_ends_in_words_and_a_code(monkeypatch, capsys, error, code, words):
    def fail(args):
        raise error

    monkeypatch.setattr(front, "_invoke", fail)
    monkeypatch.setattr(front, "_leave_quietly", lambda: front.PIPE_CLOSED)
    assert run_cli(["check", "x"]) == code
    err = capsys.readouterr().err
    assert words in err
    assert ("Traceback" in err) == (code == 70)
    assert err.count("\n") == (0 if code == 141 else 1) or code == 70


def test_a_reader_that_goes_away_is_met_with_silence():
    check = [sys.executable, "-m", "offgrid_sim.cli.main", "check", TRIP]
    with subprocess.Popen(
        check, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT
    ) as writer:
        assert writer.stdout is not None
        writer.stdout.close()
        assert writer.stderr is not None
        assert writer.stderr.read() == b""
        assert writer.wait(timeout=60) == 141
