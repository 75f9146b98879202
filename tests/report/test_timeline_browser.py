"""The live timeline of a run in a real browser: years, jumps, sliders, downloads, touch, paper."""

from __future__ import annotations

import io
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.report.look import INKS
from offgrid_sim.report.reread import Answer, Earlier
from offgrid_sim.report.run_page import run_page
from offgrid_sim.studies.causes import find_causes
from offgrid_sim.studies.cures import find_cures, usual_cures

pytestmark = pytest.mark.browser

RANGE = "document.getElementById('plot').layout.xaxis.range.slice()"


def shown_days(page: Any) -> float:
    first, last = page.evaluate(RANGE)
    return (last - first) / 86_400_000


@pytest.fixture(scope="module")
def desk(opened: Any, december_text: str) -> Any:
    """A month's page on a desk, opened once."""
    return opened(december_text, 1440, reduced_motion="reduce", color_scheme="light").page


@pytest.fixture(scope="module")
def phone(opened: Any, run_text: str) -> Any:
    """A short trip with nasty names on a phone with a touch screen, opened once."""
    return opened(run_text, has_touch=True, is_mobile=True, reduced_motion="reduce").page


@pytest.fixture(scope="module")
def season(opened: Any, winter_text: str) -> Any:
    """The page of ninety days and several weather years, opened once."""
    return opened(winter_text, 1440, reduced_motion="reduce").page


def test_the_figure_is_drawn_and_changes_its_colours(desk: Any) -> None:
    colours = []
    for scheme in ("dark", "light"):
        desk.emulate_media(color_scheme=scheme)
        desk.wait_for_timeout(200)
        assert desk.locator("#plot .scatterlayer .trace").count() >= 10
        assert desk.locator("#plot .shapelayer path").count() >= 2
        colours.append(desk.evaluate("document.getElementById('plot').layout.font.color"))
    assert colours == [INKS["soft"].dark, INKS["soft"].light]
    assert desk.locator("#still").is_hidden()


def test_names_stay_text_in_the_figure(phone: Any) -> None:
    phone.get_by_role("button", name="Week", exact=True).click()
    drawn = phone.locator("#lane-texts span:visible").all_text_contents()
    assert any("<b>Bold</b>" in text for text in drawn)
    phone.locator("#hour").fill("1")
    assert "<b>Bold</b>" in phone.locator("#hour-when").text_content()


@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_an_event_jumps_to_its_hour(request: pytest.FixtureRequest, screen: str) -> None:
    page = request.getfixturevalue(screen)
    link = page.locator("table.events a.jump").nth(1)
    hour = int(float(link.get_attribute("data-from")))
    page.get_by_role("button", name="Trip", exact=True).click()
    before = page.evaluate(RANGE)
    link.click()
    page.wait_for_function("document.getElementById('timeline').getBoundingClientRect().top < 60")
    assert page.evaluate(RANGE) != before
    assert page.locator("#hour").input_value() == str(hour)
    assert page.evaluate("document.activeElement.id") == "hour"
    assert "blackout" in page.locator("#hour-when").text_content()
    assert page.locator("#cursor").is_visible()


def test_buttons_slider_and_pointer_tell_the_hour(desk: Any, december: Any) -> None:
    page = desk
    for name, days in (("Week", 7), ("Day", 1), ("Trip", 31)):
        page.get_by_role("button", name=name, exact=True).click()
        assert shown_days(page) == days
        assert page.locator("[aria-pressed=true]").text_content() == name
    page.locator("#hour").focus()
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert page.locator("#hour-when").text_content().startswith("1 December 03:00, Sand Point")
    now = december[1].hourly.iloc[3]
    words = page.locator("#hour-what").text_content()
    assert f"Battery {now['soc'] * 100:.0f} %, {now['battery_v']:.1f} V." in words
    assert f"Out: {now['load_w']:.0f} W" in words
    assert f"Fresh {now['fresh_l']:.0f} l" in words
    assert words in page.locator("#hour").get_attribute("aria-valuetext")
    page.locator("#plot").scroll_into_view_if_needed()
    box = page.locator("#plot .bglayer rect, #plot .gridlayer").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function("document.getElementById('hour-when').textContent.startsWith('16 Dec')")


AT_THE_MARK = """new PerformanceObserver(() => {
  const shown = () => document.getElementById('plot').layout.xaxis.range;
  const days = () => (shown()[1] - shown()[0]) / 86400e3;
  const plot = document.getElementById('plot'), box = plot.getBoundingClientRect();
  document.querySelector('[data-days="7"]').click();
  plot.dispatchEvent(new PointerEvent('pointermove',
    {clientX: box.left + 41, clientY: box.top + 300, pointerType: 'mouse'}));
  window.answered = [days(), document.querySelectorAll('#plot .scatterlayer .trace').length,
    document.getElementById('hour-when').textContent];
}).observe({type: 'mark', buffered: true});"""


def test_it_answers_at_the_mark_and_not_later(opened: Any, december_text: str) -> None:
    """The mark that the benchmark reads: zoom and pointer are answered in that very moment."""
    text = december_text.replace("<head>", f"<head><script>{AT_THE_MARK}</script>", 1)
    page = opened(text, reduced_motion="reduce").page
    page.wait_for_function("window.answered")
    days, curves, when = page.evaluate("window.answered")
    assert days == 7
    assert curves >= 10
    first = pd.Timestamp(page.evaluate(RANGE)[0], unit="ms")
    assert when.startswith(f"{first:%-d %B %H:00}")


def test_zoomed_out_the_extremes_are_drawn(season: Any, winter: Any) -> None:
    """However many hours share a pixel, none of the least and the most is lost."""
    season.get_by_role("button", name="Trip", exact=True).click()
    assert "lowest and highest of every" in season.locator("#together").text_content()
    drawn = season.evaluate(
        "document.getElementById('plot').data.filter(one => one.meta)"
        ".map(one => [one.meta.column, one.meta.scale, one.y.length,"
        " Math.min(...one.y), Math.max(...one.y)])"
    )
    hourly = winter[1].hourly
    stacked = {"solar_w", "alternator_w", "shore_w", "curtailed_w"}
    for column, scale, points, least, most in drawn:
        assert points < len(hourly)
        if column in hourly and column not in stacked:
            values = hourly[column] * scale
            assert [least, most] == pytest.approx([values.min(), values.max()], rel=1e-6)
    season.get_by_role("button", name="Week", exact=True).click()
    assert season.locator("#together").text_content() == "The curves show every hour."
    hours = season.evaluate("document.getElementById('plot').data.find(one => one.meta).x.length")
    assert 7 * 24 <= hours <= 7 * 24 + 3
    season.get_by_role("button", name="Trip", exact=True).click()


def test_once_it_answers_the_whole_page_is_laid_out(desk: Any) -> None:
    desk.wait_for_function("!document.documentElement.classList.contains('starting')")
    assert desk.evaluate(
        "[...document.querySelectorAll('main>section')]"
        ".every(one => getComputedStyle(one).contentVisibility === 'visible')"
    )


def test_touch_scrolls_over_the_figure(phone: Any) -> None:
    phone.evaluate("document.getElementById('plot').scrollIntoView()")
    before = phone.evaluate("scrollY")
    finger = phone.context.new_cdp_session(phone)
    finger.send("Input.dispatchTouchEvent",
                {"type": "touchStart", "touchPoints": [{"x": 200, "y": 600}]})  # fmt: skip
    for step in range(1, 13):
        points = [{"x": 200, "y": 600 - 25 * step}]
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": points})
        phone.wait_for_timeout(16)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    phone.wait_for_function(f"scrollY > {before} + 150")


def test_another_year_can_be_chosen_and_downloaded(season: Any, winter: Any) -> None:
    """CSV by pandas and Parquet by Apache Arrow give back the chosen year's trace."""
    arrow = pytest.importorskip("pyarrow.parquet")
    page, outcome = season, winter[1]
    best = next(one for one in outcome.traced if one.name == "best")
    page.locator("#hour").fill("700")
    worst_words = page.locator("#hour-what").text_content()
    page.get_by_role("button", name="Best", exact=True).click()
    assert page.locator("[data-year][aria-pressed=true]").text_content() == "Best"
    assert f"Year {outcome.ready.years[best.index]}," in page.locator("#year-told").text_content()
    assert page.locator("#year-note").is_visible()
    assert page.locator("#hour-what").text_content() != worst_words
    for button, read in (("#download", _read_csv), ("#download-parquet", arrow.read_table)):
        with page.expect_download() as waiting:
            page.locator(button).click()
        assert waiting.value.suggested_filename.startswith("hours-best-year.")
        table = read(waiting.value.path())
        table = table if isinstance(table, pd.DataFrame) else _checked_arrow(table)
        assert (table["local_time"].to_numpy() == best.hourly.index.to_numpy()).all()
        assert (table["utc"].to_numpy() == best.hourly["utc"].to_numpy()).all()
        assert list(table)[2:] == [name for name in best.hourly if name != "utc"]
        for name in list(table)[2:]:
            np.testing.assert_allclose(table[name], best.hourly[name], rtol=1e-5, atol=1e-5)
    page.locator("a.jump").first.click()
    assert page.locator("[data-year][aria-pressed=true]").text_content() == "Worst"
    assert page.locator("#year-note").is_hidden()


def _read_csv(path: Any) -> pd.DataFrame:
    return pd.read_csv(path, parse_dates=["local_time", "utc"])


def _checked_arrow(table: Any) -> pd.DataFrame:
    kinds = {column.name: str(column.type) for column in table.schema}
    assert kinds["local_time"] == "timestamp[ms]"
    assert kinds["utc"] == "timestamp[ms, tz=UTC]"
    assert {kind for name, kind in kinds.items() if name not in ("local_time", "utc")} == {"float"}
    frame = table.to_pandas()
    return frame.assign(utc=frame["utc"].dt.tz_localize(None))


MOST_PAGES = 4


def printed_pages(page: Any) -> int:
    pdf = io.BytesIO(page.pdf(prefer_css_page_size=True)).getvalue()
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


def test_paper_shows_the_still_chart(season: Any) -> None:
    season.emulate_media(media="print")
    assert season.locator("#still").is_visible()
    assert season.locator("#live").is_hidden()
    assert not season.locator(".tools, .contents, .screen").locator("visible=true").count()
    assert printed_pages(season) <= MOST_PAGES
    season.emulate_media(media="screen")


def _everything(now: Any, before: Any) -> str:
    """A run's page with causes, cures and all that changed since another plan."""
    earlier = Earlier(before[0], Answer("holds", "It held.", {"Dark": "never"}))
    cures = find_cures(now[0], usual_cures())
    return run_page(*now, earlier=earlier, causes=find_causes(*now), cures=cures)


def test_a_run_of_any_length_prints_four_pages(
    opened: Any, made_text: dict[str, str], winter: Any, dark_winter: Any, december: Any
) -> None:
    """Short trips, and seasons with all that a page can hold: a long difference, much trouble."""
    everything = _everything(winter, december)
    dark = _everything(dark_winter, winter)
    for text in (everything, dark, made_text["run"], made_text["run_holds"]):
        found = opened(text, scripts=False)
        assert found.overflow_px() <= 0
        assert printed_pages(found.page) <= MOST_PAGES
