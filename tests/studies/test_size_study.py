"""A sizing study end to end on a short trip: pairing, order, cores, stopping and going on."""

import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from offgrid_sim.engine.loop import STEPS_PER_HOUR
from offgrid_sim.engine.prepare import get_weather
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.report.size_page import size_page
from offgrid_sim.studies import size_runs
from offgrid_sim.studies.size import Question, Silence, size
from offgrid_sim.studies.size_grid import (
    battery_axis,
    designs,
    panel_axis,
    tank_axis,
    tilt_axis,
    vary_axis,
)
from offgrid_sim.studies.size_ledger import KEPT, Ledger, ledger_path
from offgrid_sim.studies.size_runs import Runner
from offgrid_sim.studies.size_sensitivity import inputs_of
from offgrid_sim.studies.size_words import answer, notes, worksheet_reasons
from offgrid_sim.studies.variants import Bench
from offgrid_sim.weather.sources import providers

YEARS = 12


def trip_document(**van):
    return {
        "name": "short",
        "van": {"battery": {"capacity_ah": 100}, "solar": [{"panel_w": 200}], **van},
        "route": {"stops": [
            {"place": "A", "latitude_deg": 42.7, "longitude_deg": -0.5, "altitude_m": 1000,
             "nights": 6, "sky": "some_trees"},
            {"place": "B", "latitude_deg": 42.6, "longitude_deg": 0.5, "nights": 4,
             "drive": {"hours": 1}},
        ]},
        "season": "winter",
        "weather": {"years": YEARS, "seed": 3},
    }  # fmt: skip


@pytest.fixture
def loaded(tmp_path, monkeypatch):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path / "cache"))
    return load_trip_document(trip_document())


def grid(loaded):
    return (panel_axis(loaded.trip, "100:400:100"), battery_axis("60,120,240"))


def ask(loaded, **changes):
    usual = Question(grid(loaded), 0.2, ("blackout",), YEARS, YEARS, False)
    return replace(usual, **changes)


def table(study):
    return [(c.design.values, c.risk, c.bill) for c in study.candidates]


def lived(loaded, axes, years=YEARS):
    bench = Bench(loaded)
    found = designs(axes)
    ledger = Ledger(len(found), years)
    Runner(bench, found, ledger).run(range(len(found)), 0, years)
    return found, ledger


def test_risk_never_rises_with_watts_or_amp_hours(loaded):
    study = size(loaded, ask(loaded), resume=False)
    assert study.changes
    failures = [c.risk.blackout.happened for c in study.candidates]
    assert 0 < sum(failures) < len(failures) * YEARS, (
        "a grid on which nothing varies proves nothing"
    )
    for change in study.changes:
        assert change.added == 0, (
            study.candidates[change.smaller].design.name,
            study.candidates[change.larger].design.name,
        )


@settings(
    max_examples=6,
    deadline=None,
    database=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    chemistry=st.sampled_from(["lfp", "agm"]),
    place=st.sampled_from(["cabin", "under_floor", "outside"]),
    kind=st.sampled_from(["mppt", "pwm"]),
    limit_a=st.sampled_from([10, 30]),
    shape=st.sampled_from(["upright", "chest"]),
    heater_w=st.sampled_from([0, 2000]),
)
def test_risk_never_rises_on_random_vans(chemistry, place, kind, limit_a, shape, heater_w):
    document = trip_document(
        controller={"kind": kind, "current_limit_a": limit_a}, fridge={"shape": shape},
        cabin={"heater_w": heater_w},
    )  # fmt: skip
    document["van"]["battery"] |= {"chemistry": chemistry, "place": place}
    van = load_trip_document(document)
    found, ledger = lived(van, grid(van), years=4)
    dark = {d.at: ledger.kept["blackout_hours"][k] > 0 for k, d in enumerate(found)}
    for (w, a), flags in dark.items():
        for larger in ((w + 1, a), (w, a + 1)):
            if larger in dark:
                assert not (dark[larger] & ~flags).any(), ((w, a), larger)


def test_same_seed_same_answer_on_any_cores_in_any_blocks(loaded, monkeypatch):
    first = size(loaded, ask(loaded), resume=False)
    monkeypatch.setattr(os, "cpu_count", lambda: 1)
    monkeypatch.setattr(size_runs, "RUNS_PER_BLOCK", 7)
    monkeypatch.setattr(size_runs, "FIRST_YEARS", 3)
    monkeypatch.setattr(size_runs, "MOST_YEARS_AT_ONCE", 5)
    assert table(size(loaded, ask(loaded), resume=False)) == table(first)


def test_order_of_the_axes_changes_no_design(loaded):
    axes = grid(loaded)
    one = size(loaded, ask(loaded), resume=False)
    other = size(loaded, ask(loaded, axes=axes[::-1]), resume=False)
    by_value = {tuple(sorted(c.design.values.items())): c.risk for c in other.candidates}
    assert all(by_value[tuple(sorted(c.design.values.items()))] == c.risk for c in one.candidates)


class Stopper(Silence):
    """Ctrl-C after some runs."""

    def __init__(self, after):
        self.left = after

    def advance(self, runs):
        self.left -= runs
        if self.left < 0:
            raise KeyboardInterrupt


def test_ctrl_c_keeps_what_is_done_and_the_study_goes_on(loaded, monkeypatch):
    monkeypatch.setattr(size_runs, "RUNS_PER_BLOCK", 20)
    monkeypatch.setattr(size_runs, "FIRST_YEARS", 4)
    whole = size(loaded, ask(loaded), resume=False)
    with pytest.raises(KeyboardInterrupt):
        size(loaded, ask(loaded), Stopper(60))
    found = designs(ask(loaded).axes)
    path = ledger_path(loaded, found, STEPS_PER_HOUR)
    assert path.is_file()
    ledger = Ledger(len(found), YEARS, path)
    kept = ledger.load()
    assert 0 < kept < len(found) * YEARS
    lives = []
    monkeypatch.setattr(size_runs, "run_many", _counting(size_runs.run_many, lives))
    again = size(loaded, ask(loaded))
    assert table(again) == table(whole)
    assert sum(lives) == len(found) * YEARS - kept
    assert not path.exists(), "a finished study leaves nothing behind"


def _counting(run_many, lives):
    def counted(vans, clock, skies, ask_, jobs, *rest):
        lives.append(len(jobs))
        return run_many(vans, clock, skies, ask_, jobs, *rest)

    return counted


def test_a_damaged_or_foreign_ledger_is_as_good_as_none(loaded, tmp_path):
    path = tmp_path / "x.npz"
    ledger = Ledger(2, 3, path)
    path.write_bytes(b"PK\x03\x04 not a ledger")
    assert ledger.load() == 0
    ledger.done[:] = True
    ledger.save()
    path.write_bytes(path.read_bytes()[:-40])
    assert Ledger(2, 3, path).load() == 0


def test_the_ledger_knows_plan_weather_and_grid(loaded):
    one = designs(grid(loaded))
    other = designs((battery_axis("60,120"),))
    changed = load_trip_document(loaded.document, ["van.cabin.ua_w_k=61"])
    seed = load_trip_document(loaded.document, ["weather.seed=4"])
    years = load_trip_document(loaded.document, ["weather.years=99"])
    paths = [ledger_path(t, g, 4) for t, g in
             ((loaded, one), (loaded, other), (changed, one), (seed, one))]  # fmt: skip
    assert len(set(paths)) == 4
    assert ledger_path(years, one, 4) == paths[0], "more years go on from the same ledger"


def test_sizes_give_the_same_van_as_the_loader(loaded):
    axes = (*grid(loaded), tank_axis("fresh_l", "50,90"), tilt_axis(loaded.trip, "0,30"))
    found = designs(axes)
    bench = Bench(loaded)
    runner = Runner(bench, found, Ledger(len(found), YEARS))
    assert len(runner.setups) == 2, "only the tilt changes the sun"
    for k in (0, 17, len(found) - 1):
        slow = van_numbers(bench.loaded(found[k].variant).trip.van)
        assert (runner.vans[k : k + 1] == slow).all()


def test_runs_equal_the_bench_run_by_run(loaded):
    axes = (panel_axis(loaded.trip, "100,300"), vary_axis("van.cabin.ua_w_k=40,120"))
    found, ledger = lived(loaded, axes, years=3)
    totals = Bench(loaded).run([d.variant for d in found], slice(0, 3))
    for name in KEPT:
        np.testing.assert_array_equal(ledger.kept[name], totals[name].astype(np.float32))


def test_straddling_designs_get_more_years_until_the_budget_is_spent(loaded):
    study = size(loaded, ask(loaded, most_years=48), resume=False)
    assert study.looks == (12, 24, 48)
    years = {c.risk.years for c in study.candidates}
    assert min(years) == study.weather_years == 12
    for candidate in study.candidates:
        if candidate.risk.standing == "undecided":
            assert candidate.risk.years == 48
    fewer = size(loaded, ask(loaded), resume=False)
    for small, large in zip(fewer.candidates, study.candidates, strict=True):
        assert large.risk.blackout.happened >= small.risk.blackout.happened


def test_the_sentence_the_notes_and_the_page_agree(loaded):
    study = size(loaded, ask(loaded, most_years=24, with_sensitivity=True), resume=False)
    text = answer(study)
    assert "accepted 20 %" in text
    assert text.endswith(".")
    best = study.candidates[study.best]
    if study.recommended is not None:
        assert text.startswith(best.design.name) or best.design.name in text
        assert best.share <= 0.2
    assert f"of {best.risk.years} winters" in text
    assert all(note.endswith((".", "50.")) for note in (*notes(study), *worksheet_reasons(study)))
    assert len(study.sensitivity.swings) == len(inputs_of(loaded.trip, best.design.variant.sets))
    spans = [swing.span for swing in study.sensitivity.swings]
    assert spans == sorted(spans, reverse=True)
    page = size_page(study)
    assert page == size_page(study)
    assert len(page.encode()) < 7.5e6
    assert text.split(":")[0].split(";")[0] in page.replace("&#39;", "'")
    assert "http://" not in page.replace("http://www.w3.org", "")


def test_nothing_holds_is_said_plainly(loaded):
    axes = (panel_axis(loaded.trip, "10,20"),)
    study = size(loaded, ask(loaded, axes=axes), resume=False)
    assert study.recommended is None
    assert answer(study).startswith("None of the 2 designs holds the accepted 20 %")


def test_worksheet_sun_hours_of_a_flat_panel_are_mean_ghi(loaded):
    """Flat panels see the global horizontal irradiance, so a short trip's mean is its GHI."""
    study = size(loaded, ask(loaded), resume=False)
    weather = get_weather(loaded.trip, providers(loaded), YEARS)
    ghi = np.zeros(weather.line.hours)
    for stay, block in weather.blocks:
        ghi[stay.first : stay.last] += block.ghi_w_m2.mean(axis=0) * stay.weight
    assert study.worksheet.sun_hours == pytest.approx(ghi.mean() * 24 / 1000, rel=0.01)
