"""Every kind of page in a real browser: phone and desk, light and dark, no scripts, offline."""

from __future__ import annotations

from typing import Any

import pytest

pytestmark = pytest.mark.browser

WIDTHS = (390, 1440)
COLOUR_RULES = {"runOnly": ["color-contrast"]}
LEAST_TARGET_PX = 44
"""WCAG 2.2, 2.5.5 (AAA); AA asks for 24."""
TARGETS = "button, summary, .contents a, a.jump, input[type=range]"


@pytest.mark.parametrize("width", WIDTHS)
def test_opens_quietly_and_fits_in_light_and_dark(
    opened: Any, axe: Any, kind_text: str, width: int
) -> None:
    """At the phone's width also by axe-core, in the dark what depends on colours, and by thumb."""
    found = opened(kind_text, width, color_scheme="light", bypass_csp=True)
    found.page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
    assert found.overflow_px() <= 0
    if width == WIDTHS[0]:
        found.page.evaluate("document.querySelectorAll('details').forEach((d, k) => d.open = !k)")
        for scheme, options, least in (("light", None, 15), ("dark", COLOUR_RULES, 1)):
            found.page.emulate_media(color_scheme=scheme)
            result = axe.run(found.page, options=options).response
            assert len(result["passes"]) >= least
            wrong = [(v["id"], v["impact"], v["nodes"][0]["html"]) for v in result["violations"]]
            assert wrong == []
    else:
        found.page.emulate_media(color_scheme="dark")
        found.page.wait_for_timeout(50)
        assert found.overflow_px() <= 0
    assert found.page.locator("img").count() == 0, "no name became an element"
    assert found.complaints == []
    assert len(found.requests) == 1, "only the file itself"
    if width == WIDTHS[0]:
        assert small_targets(found.page) == []


@pytest.mark.parametrize("width", WIDTHS)
def test_without_scripts_it_still_answers(opened: Any, kind_text: str, width: int) -> None:
    found = opened(kind_text, width, scripts=False)
    for part in ("#verdict .sentence", ".contents", "table", "#cautions"):
        assert found.page.locator(part).first.is_visible(), part
    for hidden in found.page.locator("#live, #whatif").all():
        assert hidden.is_hidden()
    assert found.overflow_px() <= 0
    assert found.complaints == []


def small_targets(page: Any) -> list[str]:
    """What is there to be tapped and too small for it."""
    found: list[str] = page.evaluate(
        """([targets, least]) => [...document.querySelectorAll(targets)]
        .filter(e => e.checkVisibility())
        .map(e => [e.textContent.trim() || e.id, e.getBoundingClientRect()])
        .filter(([_, r]) => r.height < least - 0.5 || r.width < least - 3).map(([t, r]) =>
        `${t} ${r.width}x${r.height}`)""",
        [TARGETS, LEAST_TARGET_PX],
    )
    return found
