"""Every name of the machine interface is in the glossary."""

from __future__ import annotations

import re
from pathlib import Path

from offgrid_sim.outcome.run import SUMMARY_KEYS
from offgrid_sim.outcome.trace import FLAGS, LOWEST, MEANS, STATES, SUMS

GLOSSARY = Path(__file__).parents[2] / "docs" / "glossary.md"


def names_under(title: str) -> set[str]:
    text = GLOSSARY.read_text(encoding="utf-8")
    part = text.split(f"## Results: {title}", 1)[1].split("\n## ", 1)[0]
    heads = [line.split("|")[1] for line in part.splitlines() if line.startswith("| `")]
    return {name for head in heads for name in re.findall(r"`(\w+)`", head)}


def test_summary_keys_are_those_of_the_glossary() -> None:
    assert names_under("`summary`") == set(SUMMARY_KEYS)


def test_trace_columns_are_those_of_the_glossary() -> None:
    columns = {name for group in (STATES, MEANS, SUMS, FLAGS, LOWEST) for name in group.values()}
    assert names_under("the `hourly` trace") == columns | {
        "utc", "stop", "driving_share", "ghi_w_m2",
    }  # fmt: skip
