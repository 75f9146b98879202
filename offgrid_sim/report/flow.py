"""Where energy or water came from and went: bands as thick as what flows through them.

Only the shapes are drawn; titles and figures stand beside them as text. What could not flow
(refused, not served) is told as an outline of the same scale.
"""

from __future__ import annotations

from dataclasses import dataclass

from offgrid_sim.outcome.balance import EnergyBalance, WaterBalance
from offgrid_sim.report.words import energy, in_a_row, number, percent

THICKEST_PX, SLOT_PX, GAP_PX, THINNEST_PX = 150.0, 54.0, 8.0, 1.5
THINNEST_MISSING_PX = 6.0
LEFT_END, RIGHT_START, RIGHT_END = 44.0, 56.0, 100.0


@dataclass(frozen=True)
class Amount:
    """What flows: ``missing`` marks what was wanted or offered but never flowed."""

    title: str
    value: float
    text: str
    ink: str
    missing: bool = False


@dataclass(frozen=True)
class Branch:
    """An amount as placed: pixels from the top of the picture, and its SVG path."""

    amount: Amount
    top_px: float
    thick_px: float
    path: str


@dataclass(frozen=True)
class FlowPicture:
    """Sources left, uses right, the store between them. Drawing units: 100 wide, pixels high."""

    title: str
    middle: str
    height_px: float
    middle_top_px: float
    middle_thick_px: float
    left: tuple[Branch, ...]
    right: tuple[Branch, ...]
    finding: str


def energy_flow(balance: EnergyBalance, hours: float) -> FlowPicture:
    """Energy at the battery of the whole trip, told in Wh a day and shares."""
    days = hours / 24
    stored = balance.stored_change_wh
    flowing = balance.in_wh + max(-stored, 0.0)

    def amount(title: str, wh: float, ink: str, missing: bool = False) -> Amount:
        share = "" if missing or not flowing else f", {percent(wh / flowing)}"
        return Amount(title, wh, f"{energy(wh / days)} a day{share}", ink, missing)

    sources = [
        amount("Solar", balance.solar_wh, "solar"),
        amount("Alternator", balance.alternator_wh, "alternator"),
        amount("Shore", balance.shore_wh, "shore"),
        amount("Taken from the battery", max(-stored, 0.0), "battery"),
        amount("Solar refused", balance.curtailed_wh, "refused", True),
    ]
    uses = [
        amount("Fridge", balance.fridge_wh, "fridge"),
        amount("Heater fan and pump", balance.heater_electric_wh, "cabin"),
        amount("Other loads", balance.other_load_wh, "loads"),
        amount("Lost in the battery", balance.battery_loss_wh, "outside"),
        amount("Lost in cables", balance.cable_loss_wh, "volts"),
        amount("Left in the battery", max(stored, 0.0), "battery"),
        amount("Not served", balance.unserved_wh, "blackout", True),
    ]
    return _picture("Energy", "battery", sources, uses, 0.5)


def water_flow(balance: WaterBalance, hours: float) -> FlowPicture:
    """Fresh water of the whole trip in litres."""

    def amount(title: str, litres: float, ink: str, missing: bool = False) -> Amount:
        text = f"{number(litres)}\u00a0l, {number(litres * 24 / hours, 1)} a day"
        return Amount(title, litres, text, ink, missing)

    sources = [
        amount("In the tank at the start", balance.fresh_start_l, "fresh"),
        amount("Filled on the way", balance.filled_l, "fresh"),
    ]
    uses = [
        amount("Drunk, cooked, dried up", balance.consumed_l, "fresh"),
        amount("To the grey tank", balance.to_grey_l, "grey"),
        amount("Over the grey tank\u2019s brim", balance.over_brim_l, "dry"),
        amount("Left in the tank", balance.fresh_end_l, "ice"),
        amount("Wanted, not drawn", balance.unmet_l, "dry", True),
    ]
    return _picture("Water", "fresh tank", sources, uses, 0.05)


def _picture(
    title: str, middle: str, sources: list[Amount], uses: list[Amount], least: float
) -> FlowPicture:
    left = [a for a in sources if a.value >= least]
    right = [a for a in uses if a.value >= least]
    most = max(sum(a.value for a in left), sum(a.value for a in right), least)
    scale = THICKEST_PX / most
    height = max(_column_px(left, scale), _column_px(right, scale))
    flowing = max(_flowing(left), _flowing(right)) * scale
    top = (height - flowing) / 2
    return FlowPicture(
        title=title,
        middle=middle,
        height_px=round(height, 1),
        middle_top_px=round(top, 1),
        middle_thick_px=round(max(flowing, THINNEST_PX), 1),
        left=_branches(left, scale, height, top, True),
        right=_branches(right, scale, height, top, False),
        finding=f"{title}: in, {_told(left)}; out, {_told(right)}.",
    )


def _flowing(amounts: list[Amount]) -> float:
    return sum(a.value for a in amounts if not a.missing)


def _told(amounts: list[Amount]) -> str:
    return in_a_row([f"{a.title.lower()} {a.text}" for a in amounts]) or "nothing"


def _slot_px(amount: Amount, scale: float) -> float:
    return max(amount.value * scale, SLOT_PX) + GAP_PX


def _column_px(amounts: list[Amount], scale: float) -> float:
    return sum(_slot_px(a, scale) for a in amounts)


def _branches(
    amounts: list[Amount], scale: float, height: float, middle: float, into: bool
) -> tuple[Branch, ...]:
    """Slots under each other, the column centred, each bent to its place at the middle."""
    placed = []
    y = (height - _column_px(amounts, scale)) / 2
    for amount in amounts:
        slot = _slot_px(amount, scale)
        thick = max(amount.value * scale, THINNEST_MISSING_PX if amount.missing else THINNEST_PX)
        top = y + (slot - thick) / 2
        if amount.missing:
            path = _stub(top, thick, into)
        else:
            path = _ribbon(top, middle, thick, into)
            middle += amount.value * scale
        placed.append(Branch(amount, round(y + slot / 2, 1), round(thick, 1), path))
        y += slot
    return tuple(placed)


def _ribbon(outer: float, inner: float, thick: float, into: bool) -> str:
    """A band from the outer edge of the picture to its middle, of even height."""
    a, b = (0.0, LEFT_END) if into else (RIGHT_END, RIGHT_START)
    half = (a + b) / 2
    return (
        f"M{a:.0f} {outer:.1f}C{half:.0f} {outer:.1f} {half:.0f} {inner:.1f} {b:.0f} {inner:.1f}"
        f"V{inner + thick:.1f}C{half:.0f} {inner + thick:.1f} {half:.0f} {outer + thick:.1f} "
        f"{a:.0f} {outer + thick:.1f}Z"
    )


def _stub(top: float, thick: float, into: bool) -> str:
    """A block that stops short of the middle."""
    a, b = (0.5, 18.0) if into else (99.5, 82.0)
    return f"M{a:.1f} {top:.1f}H{b:.0f}V{top + thick:.1f}H{a:.1f}Z"
