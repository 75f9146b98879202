"""How every page looks: colours for light and dark, bands and levels with their shapes.

Colours differ in hue and in lightness, and nothing is told by colour alone: levels have a shape
and a word, bands have a hatch and a row of their own, lines have a dash. Contrast follows WCAG
2.2 AA (4.5:1 for text, 3:1 for lines and areas that carry meaning); a test measures it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Ink:
    """One colour of the page, as #rrggbb in light and in dark."""

    light: str
    dark: str


INKS: dict[str, Ink] = {
    "paper": Ink("#f3f5f4", "#11171a"),
    "card": Ink("#fdfefd", "#1a2226"),
    "ink": Ink("#16232a", "#e9eff0"),
    "soft": Ink("#4b5b63", "#a9b8bd"),
    "rule": Ink("#cdd6d8", "#36444a"),
    "edge": Ink("#75858c", "#7d8d94"),
    "link": Ink("#0a587f", "#86cbee"),
    "holds": Ink("#0b664f", "#5fd3b0"),
    "tight": Ink("#855300", "#f1bf5c"),
    "fails": Ink("#a11547", "#ff8fae"),
    "battery": Ink("#1a5fa6", "#79b6f5"),
    "volts": Ink("#7f4796", "#cda2e6"),
    "solar": Ink("#b06c00", "#f3bb4a"),
    "alternator": Ink("#5f6b12", "#c3cf62"),
    "shore": Ink("#8e3a72", "#e79ccb"),
    "refused": Ink("#8f7d56", "#b9a67c"),
    "loads": Ink("#5c6770", "#a3b0b8"),
    "fridge": Ink("#007d78", "#56cfc6"),
    "freezer": Ink("#3c50bd", "#9fadff"),
    "ice": Ink("#5b8fb5", "#6d9fc6"),
    "fresh": Ink("#0e74ab", "#62bdf0"),
    "grey": Ink("#7a6c5f", "#b8a999"),
    "outside": Ink("#56707f", "#9db8c7"),
    "cabin": Ink("#b84a2e", "#f39a7f"),
    "night": Ink("#66758c", "#8d9cb3"),
    "driving": Ink("#6d6a1c", "#cdc763"),
    "blackout": Ink("#a11548", "#ff8fad"),
    "thaw": Ink("#5443b5", "#ab9fff"),
    "dry": Ink("#a84c12", "#ffab6b"),
    "other": Ink("#4c6168", "#9fb3ba"),
}
"""By role; light values are all different, so that a script can swap light for dark."""


@dataclass(frozen=True)
class Band:
    """A kind of hours marked in every figure.

    ``flag`` is the column of the hourly trace that says in which share of the hour it held;
    ``ink`` a key of INKS; ``hatch`` a plotly pattern shape, drawn alike in our own charts;
    ``tint`` how strongly it colours the background of a figure, 0 = only a row of its own.
    """

    name: str
    title: str
    flag: str
    ink: str
    hatch: str
    tint: float


BANDS: tuple[Band, ...] = (
    Band("night", "Night", "night_share", "night", "", 0.1),
    Band("driving", "Driving", "driving_share", "driving", "|", 0.16),
    Band("blackout", "Blackout", "blackout_share", "blackout", "x", 0.22),
    Band("thaw", "Thaw", "thaw_share", "thaw", "/", 0.14),
    Band("dry", "Dry tank", "dry_share", "dry", ".", 0.2),
    Band("fridge_cutout", "Fridge cut-out", "cutout_share", "other", "\\", 0.0),
    Band("food_warm", "Food above 5 °C", "warm_food_share", "cabin", "-", 0.0),
    Band("grey_full", "Grey full", "grey_full_share", "grey", "+", 0.0),
    Band("cold_lockout", "Cold lockout", "cold_lockout_share", "battery", "-", 0.0),
    Band("frozen_water", "Frozen water", "frozen_water_share", "freezer", "/", 0.0),
)
"""The one legend, in the order in which figures draw and list it."""

BAND_OF = {band.name: band for band in BANDS}

HATCH_PATHS = {
    "": "",
    "|": "M2 0V8M6 0V8",
    "-": "M0 2H8M0 6H8",
    "+": "M4 0V8M0 4H8",
    "x": "M0 0L8 8M8 0L0 8",
    "/": "M-1 1L1 -1M0 8L8 0M7 9L9 7",
    "\\": "M-1 7L1 9M0 0L8 8M7 -1L9 1",
    ".": "M2 1.2V2.8M6 5.2V6.8",
}
"""The hatches as SVG paths on a tile of 8 x 8, for the charts that need no script."""


@dataclass(frozen=True)
class Level:
    """How a verdict is shown: a word and a shape (points of a 24 x 24 drawing), and a colour."""

    word: str
    gloss: str
    ink: str
    shape: str


LEVELS: dict[str, Level] = {
    "holds": Level("Holds", "the van gets through", "holds", "circle"),
    "tight": Level("Tight", "it gets through with little to spare", "tight", "triangle"),
    "fails": Level("Fails", "something runs out", "fails", "square"),
}


def css_variables() -> str:
    """The inks as CSS custom properties: light, dark by preference, light on paper."""
    light = "".join(f"--{name}:{ink.light};" for name, ink in INKS.items())
    dark = "".join(f"--{name}:{ink.dark};" for name, ink in INKS.items())
    return f":root{{{light}}}\n@media screen and (prefers-color-scheme: dark){{:root{{{dark}}}}}"


def light_to_dark() -> dict[str, str]:
    """What a script swaps in a figure for a dark screen."""
    return {ink.light: ink.dark for ink in INKS.values()}


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two #rrggbb colours, 1..21 (WCAG 2.2, relative luminance)."""
    bright, dim = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (bright + 0.05) / (dim + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
