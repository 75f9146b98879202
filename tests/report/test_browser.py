"""The page in a real browser: phone and desk, light and dark, with scripts and without, offline."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from offgrid_sim.report.look import INKS

pytestmark = pytest.mark.browser

ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking",
        "--disable-component-update", "--disable-sync"]  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome")
WIDTHS = (390, 1440)
COLOUR_RULES = {"runOnly": ["color-contrast"]}
LEAST_TARGET_PX = 44
"""WCAG 2.2, 2.5.5 (AAA); AA asks for 24."""


def _unavailable(reason: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{reason}; CI must have it")
    pytest.skip(reason)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Headless Chromium of the system."""
    path = next((found for name in NAMES if (found := shutil.which(name))), None)
    if path is None:
        _unavailable("no Chromium on this machine")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        chromium = tool.chromium.launch(executable_path=path, args=ARGS)
        yield chromium
        chromium.close()


@dataclass
class Opened:
    """A page with what it complained of and what it asked the network for."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """Opens a page's text in a context of its own, offline."""
    contexts = []

    def start(text: str, width: int = 390, scripts: bool = True, **how: Any) -> Opened:
        file = tmp_path / "report.html"
        file.write_text(text, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": width, "height": 844}, java_script_enabled=scripts, **how
        )
        contexts.append(context)
        context.set_offline(True)
        found = Opened(context.new_page())
        found.page.on("console", lambda m: found.complaints.append(m.text))
        found.page.on("pageerror", lambda e: found.complaints.append(str(e)))
        found.page.on("request", lambda r: found.requests.append(r.url))
        found.page.goto(file.as_uri())
        if scripts:
            found.page.wait_for_selector("#plot[data-ready=yes]", timeout=30_000)
        return found

    yield start
    for context in contexts:
        context.close()


def overflow_px(page: Any) -> int:
    return int(page.evaluate("document.scrollingElement.scrollWidth - innerWidth"))


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_quietly_and_fits_in_light_and_dark(
    opened: Any, winter_text: str, width: int
) -> None:
    found = opened(winter_text, width, color_scheme="light")
    page = found.page
    page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    colours = []
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(200)
        assert page.locator("#plot .scatterlayer .trace").count() >= 10
        assert page.locator("#plot .shapelayer path").count() >= 3
        assert page.locator("#still").is_hidden()
        assert overflow_px(page) <= 0
        colours.append(page.evaluate("document.getElementById('plot').layout.font.color"))
    assert colours == [INKS["soft"].light, INKS["soft"].dark]
    assert found.complaints == []
    assert len(found.requests) == 1, "only the file itself"


@pytest.mark.parametrize("width", WIDTHS)
def test_without_scripts_it_still_answers(opened: Any, december_text: str, width: int) -> None:
    found = opened(december_text, width, scripts=False)
    page = found.page
    for part in ("#verdict", ".facts", ".reasons", "table.events", "#still svg", ".flow svg",
                 ".month", ".cautions"):  # fmt: skip
        assert page.locator(part).first.is_visible(), part
    assert page.locator("#live").is_hidden()
    assert found.complaints == []
    assert page.locator("#still .curve").first.bounding_box()["width"] > 0.7 * min(width, 1000)


def test_no_overflow_with_long_names(opened: Any, nasty_text: str) -> None:
    found = opened(nasty_text)
    assert overflow_px(found.page) <= 0
    assert found.page.locator("img").count() == 0
    assert found.complaints == []
    shown = found.page.locator("#plot .barlayer text").all_text_contents()
    assert any("<b>Bold</b>" in text for text in shown), "plotly shows the name as it is"
    assert "<b>Bold</b>" in found.page.locator("#hour-when").text_content()


@pytest.mark.parametrize("width", WIDTHS)
def test_an_event_jumps_to_its_hour(opened: Any, december_text: str, width: int) -> None:
    page = opened(december_text, width, reduced_motion="reduce").page
    link = page.locator("table.events a.jump").nth(1)
    hour = int(float(link.get_attribute("data-from")))
    before = page.evaluate("document.getElementById('plot').layout.xaxis.range.slice()")
    link.click()
    page.wait_for_function("document.getElementById('timeline').getBoundingClientRect().top < 60")
    after = page.evaluate("document.getElementById('plot').layout.xaxis.range.slice()")
    assert after != before
    assert page.locator("#hour").input_value() == str(hour)
    assert page.evaluate("document.activeElement.id") == "hour"
    assert "blackout" in page.locator("#hour-when").text_content()
    assert page.locator("#cursor").is_visible()


def test_time_buttons_and_slider(opened: Any, december_text: str) -> None:
    page = opened(december_text).page

    def shown_days() -> float:
        first, last = page.evaluate("document.getElementById('plot').layout.xaxis.range.slice()")
        return (last - first) / 86_400_000

    for name, days in (("Week", 7), ("Day", 1), ("Trip", 31)):
        page.get_by_role("button", name=name, exact=True).click()
        assert shown_days() == days
        assert page.locator("[aria-pressed=true]").text_content() == name
    page.locator("#hour").focus()
    page.keyboard.press("Home")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    assert page.locator("#hour-when").text_content().startswith("1 December 03:00")
    assert page.locator("#hour").get_attribute("aria-valuetext")


def test_pointing_at_the_figure_tells_the_hour(opened: Any, december_text: str) -> None:
    page = opened(december_text, 1440).page
    page.locator("#plot").scroll_into_view_if_needed()
    box = page.locator("#plot .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.wait_for_function("document.getElementById('hour-when').textContent.startsWith('16 Dec')")


def test_the_hours_download_as_csv(opened: Any, december: Any, december_text: str) -> None:
    import pandas as pd

    page = opened(december_text).page
    with page.expect_download() as waiting:
        page.locator("#download").click()
    table = pd.read_csv(waiting.value.path(), parse_dates=["local_time", "utc"])
    hourly = december[1].hourly
    assert (table["local_time"].to_numpy() == hourly.index.to_numpy()).all()
    assert (table["utc"].to_numpy() == hourly["utc"].to_numpy()).all()
    for name in ("soc", "solar_w", "temp_freezer_c"):
        assert table[name].to_numpy() == pytest.approx(hourly[name].to_numpy(), rel=1e-5, abs=1e-5)


def test_touch_scrolls_over_the_figure(opened: Any, december_text: str) -> None:
    page = opened(december_text, has_touch=True, is_mobile=True, reduced_motion="reduce").page
    page.evaluate("document.getElementById('plot').scrollIntoView()")
    before = page.evaluate("scrollY")
    finger = page.context.new_cdp_session(page)
    finger.send("Input.dispatchTouchEvent",
                {"type": "touchStart", "touchPoints": [{"x": 200, "y": 600}]})  # fmt: skip
    for step in range(1, 13):
        points = [{"x": 200, "y": 600 - 25 * step}]
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": points})
        page.wait_for_timeout(16)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_function(f"scrollY > {before} + 150")


def test_targets_are_large_enough(opened: Any, december_text: str) -> None:
    page = opened(december_text).page
    small = page.evaluate(
        """least => [...document.querySelectorAll('button, summary, .contents a, a.jump, #hour')]
        .filter(e => e.checkVisibility())
        .map(e => [e.textContent.trim(), e.getBoundingClientRect()])
        .filter(([_, r]) => r.height < least - 0.5 || r.width < least - 3).map(([t, r]) =>
        `${t} ${r.width}x${r.height}`)""",
        LEAST_TARGET_PX,
    )
    assert small == []


def test_no_violation_of_accessibility_rules(opened: Any, december_text: str) -> None:
    """axe-core: WCAG 2 A and AA and its best practices; in the dark, what depends on it."""
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        _unavailable("axe-playwright-python is not installed")
    page = opened(december_text, color_scheme="light", bypass_csp=True).page
    page.evaluate("document.querySelector('details').open = true")
    for scheme, options, least in (("light", None, 20), ("dark", COLOUR_RULES, 1)):
        page.emulate_media(color_scheme=scheme)
        result = Axe().run(page, options=options).response
        assert len(result["passes"]) >= least
        found = [(v["id"], v["impact"], v["nodes"][0]["html"]) for v in result["violations"]]
        assert found == []


def test_print_fits_a_few_pages(opened: Any, winter_text: str) -> None:
    page = opened(winter_text, 1440).page
    page.emulate_media(media="print")
    assert page.locator("#still").is_visible()
    assert page.locator("#live").is_hidden()
    pdf = page.pdf(format="A4")
    assert 3 <= pdf.count(b"/Type /Page\n") <= 5
