"""The run command on a report: its plan runs again, and what changed is told first."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest

from offgrid_sim.cli.main import run_cli
from offgrid_sim.errors import PlanError
from offgrid_sim.report.coarse import HIDDEN
from offgrid_sim.report.page import json_island
from offgrid_sim.report.reread import load_trip_or_report

TRIP = str(Path(__file__).parents[2] / "configs" / "trips" / "sandpoint_december.toml")
STATION_FILE = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
"""The TMY3 file of Sand Point that comes with pvlib."""
SETS = ["--set", "route.stops.0.nights=4"]


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("reports") / "december.html"
    assert run_cli(["run", TRIP, *SETS, "--out", str(path)]) == 0
    return path


def numbers(capsys, *words: str) -> dict:
    capsys.readouterr()
    assert run_cli(["run", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def page(plan: object) -> str:
    return f'<script type="application/json" id="plan">{json_island(plan)}</script>'


def test_a_report_runs_again_to_the_same_bytes(report, capsys, tmp_path):
    again = tmp_path / "again.html"
    told = numbers(capsys, str(report), "--out", str(again))
    assert told["summary"] == numbers(capsys, TRIP, *SETS, "--no-report")["summary"]
    assert again.read_bytes() == report.read_bytes()


def test_words_of_the_command_lie_over_the_plan_of_a_report(report):
    loaded = load_trip_or_report(
        report, ("people=1",), season="summer", weather={"file": "here.epw", "source": "file"}
    )
    assert loaded.trip.people == 1
    assert loaded.trip.first_day.month == 6
    assert loaded.origins["people"].kind == "yours"
    assert loaded.weather_path() == Path("here.epw")


def test_a_plan_of_a_report_names_no_folder(tmp_path, report):
    plan = load_trip_or_report(report).document
    plan["weather"] |= {"source": "file", "file": "/etc/../secret/w.epw"}
    plan["route"]["stops"][0]["weather"] = "..\\up\\w.csv"
    other = tmp_path / "other.html"
    other.write_text(page(plan), encoding="utf-8")
    loaded = load_trip_or_report(other)
    assert loaded.weather_path() == Path("w.epw")
    assert loaded.weather_path("route.stops.0.weather") == Path("w.csv")


def test_changes_come_first_on_page_and_terminal(report, capsys, tmp_path):
    out = tmp_path / "new.html"
    words = ["run", str(report), "--set", "van.battery.capacity_ah=3000", "--diff", str(report)]
    assert run_cli([*words, "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.index("van.battery.capacity_ah") < said.index("Hours dark")
    text = out.read_text(encoding="utf-8")
    assert text.index('id="changed"') < text.index('id="trouble"')
    assert "<code>van.battery.capacity_ah</code>" in text
    told = numbers(capsys, *words[1:], "--no-report")["changed"]
    assert [(one["title"], one["now"]) for one in told["assumptions"]] == [
        ("van.battery.capacity_ah", "3000")
    ]
    assert told["facts"][0]["title"] == "Lowest charge"
    same = numbers(capsys, str(report), "--diff", str(report), "--no-report")["changed"]
    assert same["before"] == same["now"]
    assert not same["assumptions"]
    assert not same["facts"]


def test_coarse_places_keep_the_earlier_place_secret_too(report, capsys, tmp_path):
    out = tmp_path / "coarse.html"
    words = ["run", str(report), "--diff", str(report), "--coarse-places", "--out", str(out)]
    told = numbers(capsys, *words[1:])
    for text in (json.dumps(told), out.read_text(encoding="utf-8")):
        assert "Sand Point" not in text
        assert "sand_point" not in text


@pytest.fixture
def coarse_report(tmp_path: Path) -> tuple[Path, Path]:
    """A coarse report of a run with a weather file whose path and name nobody should see."""
    folder = tmp_path / "home_of_ana"
    folder.mkdir()
    weather = folder / "anas_valley.csv"
    shutil.copyfile(STATION_FILE, weather)
    out = tmp_path / "coarse.html"
    words = ["run", TRIP, *SETS, "--weather", str(weather), "--coarse-places", "--out", str(out)]
    assert run_cli(words) == 0
    return out, weather


def test_a_coarse_report_with_a_weather_file_runs_again_when_given_it(
    coarse_report, capsys, tmp_path
):
    report, weather = coarse_report
    text = report.read_text(encoding="utf-8")
    for secret in ("anas_valley", "home_of_ana", str(tmp_path), "Sand Point"):
        assert secret not in text
    assert "give the same file with --weather FILE" in text
    again = numbers(capsys, str(report), "--weather", str(weather), "--no-report")["summary"]
    first = numbers(capsys, TRIP, *SETS, "--weather", str(weather), "--no-report")["summary"]
    assert again["hours"] == first["hours"]
    assert again["solar_wh"] == pytest.approx(first["solar_wh"], rel=0.05)
    assert numbers(capsys, str(report), "--weather", "climate", "--no-report")["summary"]["hours"]


def test_a_coarse_report_says_what_to_give(coarse_report, capsys):
    report, _ = coarse_report
    capsys.readouterr()
    for more in ((), ("--years", "1")):
        assert run_cli(["run", str(report), *more]) == 2
        said = capsys.readouterr().err
        assert said.count("\n") == 1
        assert said.rstrip().endswith(
            "Give the file with --weather FILE, or use --weather climate."
        )
    assert run_cli(["run", str(report), "--weather", "nowhere.epw"]) == 2
    assert "nowhere.epw" in capsys.readouterr().err


def test_weather_of_single_stops_hidden_in_a_coarse_report(report, tmp_path):
    plan = load_trip_or_report(report).document
    plan["route"]["stops"][0]["weather"] = HIDDEN
    plan["weather"] |= {"source": "climate", "file": HIDDEN}
    other = tmp_path / "other.html"
    other.write_text(page(plan), encoding="utf-8")
    with pytest.raises(PlanError, match=r"route.stops.0.weather = not shown") as told:
        load_trip_or_report(other)
    assert "--set route.stops.0.weather=FILE" in str(told.value)
    one = load_trip_or_report(other, ("route.stops.0.weather=here.epw",))
    assert one.weather_path("route.stops.0.weather") == Path("here.epw")
    everywhere = load_trip_or_report(other, weather={"source": "file", "file": "all.epw"})
    assert everywhere.trip.route.stops[0].weather is None
    assert everywhere.weather_path() == Path("all.epw")


def test_a_weather_file_beside_the_report_is_found(report, tmp_path, monkeypatch):
    plan = load_trip_or_report(report).document
    plan["weather"] |= {"source": "file", "file": "w.csv"}
    folder = tmp_path / "sent"
    folder.mkdir()
    other = folder / "other.html"
    other.write_text(page(plan), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    (folder / "w.csv").touch()
    assert load_trip_or_report(other).weather_path() == folder / "w.csv"
    (tmp_path / "w.csv").touch()
    assert load_trip_or_report(other).weather_path() == Path("w.csv"), "the current folder first"


def test_no_report_that_was_read_is_replaced_unasked(report, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "reports"
    folder.mkdir()
    mine = folder / "mine.html"
    mine.write_bytes(report.read_bytes())
    assert run_cli(["run", str(mine), "--set", "people=1"]) == 0
    assert mine.read_bytes() == report.read_bytes()
    assert sorted(one.name for one in folder.iterdir()) == ["mine.html", "mine_new.html"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<html>hello</html>", "no plan can be read"),
        (b"", "no plan can be read"),
        (b"\xff\xfe\x00", "no plan can be read"),
        (b'<script type="application/json" id="plan">{"van":</script>', "no plan can be read"),
        (page({"van": "a.toml", "route": "b.toml"}).encode(), "no plan can be read"),
        (page([{}, {}]).encode(), "several plans"),
        (None, "there is no such file"),
    ],
)
@pytest.mark.parametrize("option", [(), ("--diff",)])
def test_a_broken_or_foreign_page_gets_one_sentence(content, said, option, capsys, tmp_path):
    path = tmp_path / "page.html"
    if content is not None:
        path.write_bytes(content)
    words = ["run", TRIP, *option, str(path)] if option else ["run", str(path)]
    assert run_cli([*words, "--no-report"]) == 2
    told = capsys.readouterr().err.strip()
    assert said in told
    assert "\n" not in told


def test_a_report_cut_short_is_refused(report, tmp_path):
    text = report.read_text(encoding="utf-8")
    cut = tmp_path / "cut.html"
    cut.write_text(text[: text.index('id="plan"') + 500], encoding="utf-8")
    with pytest.raises(PlanError, match="cut short"):
        load_trip_or_report(cut)


def test_a_wrong_value_in_a_report_is_told_with_its_key(report, capsys, tmp_path):
    plan = load_trip_or_report(report).document
    plan["van"]["battery"]["capacity_ah"] = -5
    bad = tmp_path / "bad.html"
    bad.write_text(page(plan), encoding="utf-8")
    assert run_cli(["run", str(bad), "--no-report"]) == 2
    assert "van.battery.capacity_ah" in capsys.readouterr().err


def test_the_trace_as_parquet_is_the_trace_as_csv(tmp_path):
    csv, parquet = tmp_path / "h.csv", tmp_path / "h.parquet"
    words = ["run", TRIP, *SETS, "--no-report", "--csv", str(csv), "--parquet", str(parquet)]
    assert run_cli([*words, "--no-why", "--no-cures"]) == 0
    one = pd.read_csv(csv, parse_dates=["local_time", "utc"])
    other = pd.read_parquet(parquet)
    assert list(one) == list(other)
    for name in one:
        if one[name].dtype.kind == "M":
            assert (one[name] == other[name]).all()
        else:
            np.testing.assert_allclose(one[name], other[name], atol=5.1e-5)


def test_without_pyarrow_the_next_step_is_said(capsys, monkeypatch, tmp_path):
    def missing(*_args, **_kinds):
        raise ImportError("no pyarrow")

    monkeypatch.setattr(pd.DataFrame, "to_parquet", missing)
    path = tmp_path / "h.parquet"
    assert run_cli(["run", TRIP, *SETS, "--no-report", "--parquet", str(path)]) == 2
    assert "write --csv instead" in capsys.readouterr().err
    assert not path.exists()


def test_a_folder_for_the_report_is_refused_before_any_work(tmp_path, capsys):
    assert run_cli(["run", "not_read.toml", "--out", str(tmp_path)]) == 2
    assert "is a folder; name a file in it with --out." in capsys.readouterr().err
