"""The sizing page in a real browser: sliders by keyboard, phone width, no script, no network."""

from __future__ import annotations

import pytest

from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.report.size_page import size_page
from offgrid_sim.studies.size import Question, SizeStudy, size
from offgrid_sim.studies.size_grid import battery_axis, panel_axis, tilt_axis
from offgrid_sim.studies.size_words import answer

pytestmark = pytest.mark.browser

NASTY = "</script><img src=x onerror=alert(1)>"
DOCUMENT = {
    "name": NASTY,
    "van": {"battery": {"capacity_ah": 100}, "solar": [{"panel_w": 200}], "name": NASTY},
    "route": {"stops": [{"place": NASTY, "latitude_deg": 42.7, "longitude_deg": -0.5,
                         "altitude_m": 1000, "nights": 8}]},
    "season": "winter",
    "weather": {"years": 20},
}  # fmt: skip


@pytest.fixture(scope="module")
def study() -> SizeStudy:
    loaded = load_trip_document(DOCUMENT)
    axes = (panel_axis(loaded.trip, "50:800:50"), battery_axis("40:240:40"),
            tilt_axis(loaded.trip, "0,45"))  # fmt: skip
    return size(loaded, Question(axes, 0.2, ("blackout",), 20, 20, True), resume=False)


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("scripts", [True, False])
def test_the_page_fits_complains_of_nothing_and_asks_nobody(
    study, browser, tmp_path, width, scripts
):
    file = tmp_path / "size.html"
    file.write_text(size_page(study), encoding="utf-8")
    context = browser.new_context(
        viewport={"width": width, "height": 800}, java_script_enabled=scripts, offline=True
    )
    page = context.new_page()
    complaints, asked = [], []
    page.on("console", lambda said: complaints.append(said.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda dialog: complaints.append("a dialog opened"))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    assert page.locator(".sentence").inner_text() == answer(study)
    assert page.locator("#grid-map td").count() == 16 * 6
    assert page.locator("#whatif").is_visible() == scripts
    if scripts:
        assert page.evaluate("document.documentElement.scrollWidth") == width
    assert complaints == []
    assert asked == [file.as_uri()]
    context.close()


def test_sliders_work_by_keyboard_and_change_verdict_map_and_curves(study, browser, tmp_path):
    file = tmp_path / "size.html"
    file.write_text(size_page(study), encoding="utf-8")
    page = browser.new_page(viewport={"width": 390, "height": 800})
    page.goto(file.as_uri())
    for k, wanted in enumerate((0, 0, 1)):
        page.locator(f"#knob-{k}").focus()
        page.keyboard.press("End" if wanted else "Home")
    worst = next(c for c in study.candidates if c.design.at == (0, 0, 1))
    says = page.locator("#says").inner_text()
    assert worst.design.name in says
    assert f"of {worst.risk.years} winters" in says
    assert ("Fails" in says) == (worst.risk.standing == "misses")
    line = page.locator(".curves .line.on").get_attribute("d")
    page.locator("#knob-1").focus()
    page.keyboard.press("End")
    assert page.locator(".curves .line.on").get_attribute("d") != line
    best = next(c for c in study.candidates if c.design.at == (0, 5, 1))
    assert best.design.name in page.locator("#says").inner_text()
    assert page.locator("#grid-map td.chosen").count() == 1
    limits = page.locator("#grid-map td.limit-left, #grid-map td.limit-below").count()
    page.locator("#knob-accept").focus()
    page.keyboard.press("Home")
    assert page.locator("#shows-accept").inner_text() == "0.5 %"
    assert "accepted is 0.5 %" in page.locator("#says").inner_text()
    assert limits > 0
    page.close()


def test_the_script_draws_what_the_page_was_written_with(study, browser, tmp_path):
    """Cells, marks, limit and lines are the same before and after the script has run."""
    file = tmp_path / "size.html"
    file.write_text(size_page(study), encoding="utf-8")
    seen = []
    for scripts in (False, True):
        context = browser.new_context(java_script_enabled=scripts)
        page = context.new_page()
        page.goto(file.as_uri())
        cells = page.locator("#grid-map td").all()
        classes = [set((cell.get_attribute("class") or "").split()) for cell in cells]
        lines = [line.get_attribute("d") for line in page.locator(".curves .line").all()]
        seen.append((page.locator("#grid-map td").all_text_contents(), classes, lines))
        context.close()
    assert seen[0] == seen[1]
