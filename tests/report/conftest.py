"""What the report tests share: trips, one page of each kind from a tiny study, and a browser.

The tiny studies bear names that try to break out of the page, so every page is held to that.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from offgrid_sim.engine.prepare import get_weather
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.verdict import verdict
from offgrid_sim.plan.load import load_trip, load_trip_document
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.van import Battery, Fridge
from offgrid_sim.report.chamber_page import chamber_page
from offgrid_sim.report.compare_page import compare_page
from offgrid_sim.report.difference import answer_island
from offgrid_sim.report.reread import Answer, Earlier
from offgrid_sim.report.run_page import run_page
from offgrid_sim.report.size_page import size_page
from offgrid_sim.report.stress_page import stress_page
from offgrid_sim.studies.causes import find_causes
from offgrid_sim.studies.chamber import chamber_test
from offgrid_sim.studies.compare import compare
from offgrid_sim.studies.cures import find_cures, usual_cures
from offgrid_sim.studies.run import simulate
from offgrid_sim.studies.size import Question, size
from offgrid_sim.studies.size_grid import battery_axis, panel_axis
from offgrid_sim.studies.stress import Pair, stress, usual_cases
from offgrid_sim.weather.sources import providers

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
NASTY = "</script><img src=x onerror=alert(1)>"
NASTY_PLACE = "<b>Bold</b> & 'Co' \u2028 {{ 7*7 }}"

Ran = tuple[LoadedTrip, RunOutcome]


def ran(name: str, *sets: str) -> Ran:
    """A trip of the configs and its outcome."""
    loaded = load_trip(TRIPS / f"{name}.toml", sets)
    return loaded, simulate(loaded)


@pytest.fixture(scope="session")
def june() -> Ran:
    return ran("greensboro_june", "van.battery.capacity_ah=300")


@pytest.fixture(scope="session")
def december() -> Ran:
    return ran("sandpoint_december")


@pytest.fixture(scope="session")
def winter() -> Ran:
    return ran("pyrenees_winter", "weather.years=6")


@pytest.fixture(scope="session")
def dark_winter() -> Ran:
    """The same season under small panels: many events, each with several causes and cures."""
    return ran("pyrenees_winter", "weather.years=6", "van.solar.0.panel_w=250")


@pytest.fixture(scope="session")
def nasty() -> Ran:
    loaded, outcome = ran("sandpoint_december")
    stop = loaded.trip.route.stops[0].model_copy(update={"place": NASTY_PLACE})
    trip = loaded.trip.model_copy(
        update={
            "name": NASTY,
            "van": loaded.trip.van.model_copy(update={"name": NASTY}),
            "route": loaded.trip.route.model_copy(update={"stops": (stop,)}),
        }
    )
    events = tuple(replace(event, place=NASTY_PLACE) for event in outcome.events)
    document = {**loaded.document, **trip.model_dump(mode="json")}
    return (
        replace(loaded, trip=trip, document=document),
        replace(outcome, ready=replace(outcome.ready, trip=trip), events=events),
    )


@pytest.fixture(scope="session")
def winter_text(winter: Ran) -> str:
    return run_page(*winter)


@pytest.fixture(scope="session")
def december_text(december: Ran) -> str:
    return run_page(*december)


@pytest.fixture(scope="session")
def nasty_text(nasty: Ran) -> str:
    return run_page(*nasty)


TINY = {
    "name": NASTY,
    "van": {
        "name": NASTY,
        "battery": {"capacity_ah": 40},
        "solar": [{"panel_w": 60}],
        "fridge": {},
        "loads": [{"name": NASTY, "power_w": 30}],
    },
    "route": {"stops": [
        {"place": NASTY_PLACE, "latitude_deg": 52.1, "longitude_deg": 5.2, "nights": 3},
        {"place": "Inn", "latitude_deg": 51.6, "longitude_deg": 4.9, "nights": 3,
         "drive": {"hours": 2}},
    ]},
    "season": "winter",
    "weather": {"years": 5},
}  # fmt: skip


@cache
def tiny(*sets: str) -> LoadedTrip:
    return load_trip_document(TINY, sets)


def _run_text() -> str:
    """A run with everything a run can show."""
    loaded = tiny()
    outcome = simulate(loaded)
    before = simulate(tiny("van.battery.capacity_ah=300"))
    island = answer_island(before, verdict(before))
    answer = Answer(island["level"], NASTY, dict(island["facts"]))
    return run_page(
        loaded, outcome, earlier=Earlier(tiny("van.battery.capacity_ah=300"), answer),
        causes=find_causes(loaded, outcome), cures=find_cures(loaded, usual_cures()[:4]),
    )  # fmt: skip


def _coarse_text() -> str:
    return run_page(tiny(), simulate(tiny()), coarse_places=True)


def _holds_text() -> str:
    return run_page(
        *ran("greensboro_june", "route.stops.0.nights=3", "van.battery.capacity_ah=300")
    )


def _chamber_text() -> str:
    loaded = tiny()
    return chamber_page(chamber_test(Fridge(), (5.0, 43.0)), loaded.origins, (NASTY,))


def _compare_text() -> str:
    sources = get_weather(tiny().trip, providers(tiny()), 1).sources
    other = tiny("van.solar.0.panel_w=600", "van.fridge.shape=chest")
    return compare_page(compare([(NASTY, tiny()), ("chest", other)]), sources)


def _size_text() -> str:
    axes = (panel_axis(tiny().trip, "100:400:100"), battery_axis("60,120,240"))
    return size_page(size(tiny(), Question(axes, 0.2, ("blackout",), 8, 8, True), resume=False))


def _stress_text(*pairs: Pair) -> str:
    sources = get_weather(tiny().trip, providers(tiny()), 1).sources
    return stress_page(stress(tiny("weather.years=2"), usual_cases(), pairs), sources)


def _pairs_text() -> str:
    fridges = {NASTY: Fridge(shape="chest", volume_l=40), "upright": Fridge()}
    batteries = {NASTY: Battery(capacity_ah=100), "lead": Battery(chemistry="agm", capacity_ah=100)}
    return _stress_text(*(
        Pair(name, other, fridge, battery)
        for name, fridge in fridges.items() for other, battery in batteries.items()
    ))  # fmt: skip


MAKERS: dict[str, Callable[[], str]] = {
    "run": _run_text, "run_coarse": _coarse_text, "run_holds": _holds_text,
    "chamber": _chamber_text, "compare": _compare_text, "size": _size_text,
    "stress": _stress_text, "stress_pairs": _pairs_text,
}  # fmt: skip


@cache
def made(name: str) -> str:
    return MAKERS[name]()


@pytest.fixture(params=list(MAKERS))
def page_text(request: pytest.FixtureRequest) -> str:
    """A page of each kind in turn, and of a run in all its ways."""
    return made(request.param)


@pytest.fixture(params=[name for name in MAKERS if not name.startswith("run_")])
def kind_text(request: pytest.FixtureRequest) -> str:
    """A page of each kind in turn."""
    return made(request.param)


@pytest.fixture(scope="session")
def made_text() -> dict[str, str]:
    """Pages of all kinds by name."""
    return {name: made(name) for name in MAKERS}


@pytest.fixture(scope="session")
def run_text() -> str:
    return made("run")


ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking",
        "--disable-component-update", "--disable-sync"]  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome")


def unavailable(reason: str) -> None:
    if os.environ.get("CI") == "true":
        pytest.fail(f"{reason}; CI must have it")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Headless Chromium of the system, one for all tests."""
    path = next((found for name in NAMES if (found := shutil.which(name))), None)
    if path is None:
        unavailable("no Chromium on this machine")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as tool:
        chromium = tool.chromium.launch(executable_path=path, args=ARGS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def axe() -> Any:
    """axe-core: WCAG 2 A and AA and its best practices."""
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        unavailable("axe-playwright-python is not installed")
    return Axe()


@dataclass
class Opened:
    """A page with what it complained of and what it asked the network for."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def asked(self, address: str) -> None:
        """Note what the page asks for; a blob is part of the page, and no network serves it."""
        if not address.startswith("blob:"):
            self.requests.append(address)

    def overflow_px(self) -> int:
        """How much wider than the screen the page is."""
        return int(self.page.evaluate("document.scrollingElement.scrollWidth - innerWidth"))


@pytest.fixture(scope="module")
def opened(
    browser: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[..., Opened]]:
    """Opens a page's text in a context of its own, offline; all are closed after the module."""
    contexts = []

    def start(text: str, width: int = 390, scripts: bool = True, **how: Any) -> Opened:
        file = tmp_path_factory.mktemp("page") / "report.html"
        file.write_text(text, encoding="utf-8")
        context = browser.new_context(
            viewport={"width": width, "height": 844}, java_script_enabled=scripts, **how
        )
        contexts.append(context)
        context.set_offline(True)
        found = Opened(context.new_page())
        found.page.on("console", lambda m: found.complaints.append(m.text))
        found.page.on("pageerror", lambda e: found.complaints.append(str(e)))
        found.page.on("dialog", lambda d: found.complaints.append("a dialog"))
        found.page.on("request", lambda r: found.asked(r.url))
        found.page.goto(file.as_uri())
        if scripts and 'id="plot"' in text:
            found.page.wait_for_selector("#plot[data-ready=yes]", timeout=60_000)
        return found

    yield start
    for context in contexts:
        context.close()
