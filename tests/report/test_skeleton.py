"""Every kind of page as text: one skeleton, whole, self-contained, safe, the same each time."""

from __future__ import annotations

import getpass
import hashlib
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

from offgrid_sim.report.look import BANDS, LEVELS
from offgrid_sim.report.page import plotly_script

HERE = Path(__file__).parent


class Outline(HTMLParser):
    """Elements with their attributes, and the visible text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._hidden = False
        self.feed(text.replace(plotly_script(), ""))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._hidden = tag in ("script", "style")

    def handle_endtag(self, tag: str) -> None:
        self._hidden = False

    def handle_data(self, data: str) -> None:
        self.text += "" if self._hidden else data

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def test_one_skeleton(page_text: str) -> None:
    page = Outline(page_text)
    sections = [attrs.get("id") for attrs in page.all("section")]
    assert sections[0] == "verdict"
    assert sections[-1] == "cautions"
    assert len(page.all("h1")) == len(page.all("main")) == len(page.all("nav")) == 1
    assert page.all("html") == [{"lang": "en"}]
    linked = [a["href"] for a in page.all("a") if a.get("href", "#")[1:] in sections[1:]]
    assert [f"#{name}" for name in sections[1:]] == list(dict.fromkeys(linked))[: len(sections) - 1]
    assert any(f"level-{level}" in (page.all("section")[0]["class"] or "") for level in LEVELS)


def test_one_legend(page_text: str) -> None:
    """Hatches are defined once, and every swatch uses one of them."""
    page = Outline(page_text)
    assert [a["id"] for a in page.all("pattern")] == [f"hatch-{band.name}" for band in BANDS]
    used = set(re.findall(r"url\(#hatch-(\w+)\)", page_text))
    assert used <= {band.name for band in BANDS}


def test_whole_and_sends_nothing(page_text: str) -> None:
    page, bare = Outline(page_text), page_text.replace(plotly_script(), "")
    ids = [attrs["id"] for _, attrs in page.tags if attrs.get("id")]
    assert len(ids) == len(set(ids))
    assert {a["href"][1:] for a in page.all("a")} <= {*ids, ""}
    assert not {"link", "img", "iframe", "object", "form"} & {tag for tag, _ in page.tags}
    assert not [n for _, attrs in page.tags for n in attrs if n in ("src", "srcset")]
    assert not [n for _, attrs in page.tags for n in attrs if n.startswith("on")]
    assert not re.search(r"@import|url\((?!#)|https?://", bare)
    assert "default-src 'none'" in bare
    assert page_text.count(plotly_script()) <= 1


def test_nothing_of_machine_or_moment(page_text: str) -> None:
    bare = page_text.replace(plotly_script(), "")
    assert str(Path.home()) not in bare
    assert str(HERE.parents[1]) not in bare
    if len(getpass.getuser()) > 4:
        assert getpass.getuser() not in bare
    assert not re.search(r"20\d\d-\d\d-\d\dT\d\d:\d\d:\d\d", bare), "a moment of making"


def test_same_bytes_in_another_process(made_text: dict[str, str]) -> None:
    """Whatever the hash seed: sets and dicts of names must not order anything."""
    names = ["run", "compare", "size", "stress"]
    code = (
        f"import sys, hashlib; sys.path.insert(0, {str(HERE)!r}); import conftest\n"
        f"for name in {names!r}:\n"
        "    print(name, hashlib.sha256(conftest.made(name).encode('utf-8')).hexdigest())"
    )
    seed = "1" if os.environ.get("PYTHONHASHSEED") != "1" else "2"
    told = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONHASHSEED": seed},
    ).stdout.split()  # fmt: skip
    here = {
        n: hashlib.sha256(t.encode("utf-8")).hexdigest() for n, t in made_text.items() if n in names
    }
    assert dict(zip(told[::2], told[1::2], strict=True)) == here
