"""The new command: a starter that checks out, and that never overwrites."""

from __future__ import annotations

from click.testing import CliRunner

from offgrid_sim.cli.main import cli, run_cli
from offgrid_sim.plan.starter import STARTER_FILES


def test_new_then_check(tmp_path):
    folder = tmp_path / "my trip"
    made = CliRunner().invoke(cli, ["new", str(folder)])
    assert made.exit_code == 0
    assert "offgrid-sim run" in made.output
    assert sorted(p.name for p in folder.iterdir()) == sorted(STARTER_FILES)
    for name in STARTER_FILES:
        assert CliRunner().invoke(cli, ["check", str(folder / name)]).exit_code == 0


def test_new_twice_is_refused(tmp_path, capsys):
    assert run_cli(["new", str(tmp_path / "t")]) == 0
    before = {p.name: p.read_bytes() for p in (tmp_path / "t").iterdir()}
    capsys.readouterr()
    assert run_cli(["new", str(tmp_path / "t")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "already holds" in err
    assert {p.name: p.read_bytes() for p in (tmp_path / "t").iterdir()} == before


def test_new_where_a_file_stands(tmp_path, capsys):
    (tmp_path / "t").write_text("mine", encoding="utf-8")
    assert run_cli(["new", str(tmp_path / "t" / "deep")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert (tmp_path / "t").read_text(encoding="utf-8") == "mine"
