"""The skeleton that every page shares: one file, nothing fetched, the plotly script at most once.

A page is a title, a verdict and sections; each section is HTML from a template of its own. All
text is escaped by jinja2; data travel in JSON islands that cannot end their own element.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from offgrid_sim import __version__
from offgrid_sim.report.look import (
    BAND_OF,
    BANDS,
    HATCH_PATHS,
    LEVELS,
    css_variables,
    light_to_dark,
)
from offgrid_sim.report.tables import KIND_WORDS

TEMPLATES = "templates"
WRAPPED = re.compile(
    r"(?P<licence>/\*\*.*?\*/\n)\(.*?\(\) => \{\n(?P<body>\"use strict\";var Plotly=.*)"
    r"window\.Plotly = Plotly;\nreturn Plotly;\n\}\)\);\s*",
    re.DOTALL,
)


@dataclass(frozen=True)
class Section:
    """A part of the page; the contents list links to it by its ``short`` name."""

    anchor: str
    title: str
    short: str
    body: Markup


@dataclass(frozen=True)
class Page:
    """All that the skeleton needs. ``level`` is a key of LEVELS; ``about`` says what is judged.

    ``gloss`` explains the level where a whole van is not what is judged.
    ``islands`` become JSON elements by id; ``plan`` is one of them by custom. ``interactive``
    embeds the plotly script.
    """

    title: str
    kicker: str
    about: str
    level: str
    sentence: str
    sections: tuple[Section, ...]
    islands: Mapping[str, Any] = field(default_factory=dict)
    interactive: bool = True
    gloss: str = ""


def render_page(page: Page) -> str:
    """The whole page as one string, ending in a line break; the same page gives the same text."""
    return (
        environment()
        .get_template("page.html.j2")
        .render(
            page=page,
            version=__version__,
            style=Markup(css_variables() + "\n" + _asset("style.css")),
            script=Markup(_asset("parquet.js") + _asset("page.js") if page.interactive else ""),
            start=Markup(_asset("start.js") if page.interactive else ""),
            plotly=Markup(plotly_script()) if page.interactive else "",
            islands={key: json_island(value) for key, value in page.islands.items()},
            colours=json_island(light_to_dark()),
        )
        + "\n"
    )


def section(anchor: str, title: str, short: str, template: str, **values: Any) -> Section:
    """A section from its template; ``values`` are dataclasses, never figures still to compute."""
    text = environment().get_template(template).render(**values)
    return Section(anchor, title, short, Markup(text))


def json_island(value: Any) -> Markup:
    """JSON that stays text inside a script element, whatever strings it holds."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for unsafe in "<>&\u2028\u2029":
        text = text.replace(unsafe, f"\\u{ord(unsafe):04x}")
    return Markup(text)


@cache
def environment() -> Environment:
    """jinja2 with everything escaped and unknown names refused."""
    found = Environment(
        loader=PackageLoader("offgrid_sim.report", TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.globals |= {
        "BANDS": BANDS, "BAND_OF": BAND_OF, "HATCH_PATHS": HATCH_PATHS, "LEVELS": LEVELS,
        "KIND_WORDS": KIND_WORDS,
    }  # fmt: skip
    return found


@cache
def plotly_script() -> str:
    """The plotly script, lines and bars only, to be embedded once (data/plotly/README.md).

    Without the module wrapper round it, which makes a browser read all of it twice.
    """
    script = files("offgrid_sim") / "data" / "plotly" / "plotly-basic.min.js"
    found = WRAPPED.fullmatch(script.read_text(encoding="utf-8"))
    if found is None:
        raise RuntimeError("data/plotly/plotly-basic.min.js has another wrapper; see page.WRAPPED")
    return found["licence"] + found["body"]


def _asset(name: str) -> str:
    return (files("offgrid_sim.report") / TEMPLATES / name).read_text(encoding="utf-8")
