"""Cures in words and as plain numbers."""

from __future__ import annotations

from typing import Any

import numpy as np

from offgrid_sim.studies.cures import Cures, Tried


def cures_sentence(found: Cures) -> str:
    """What to buy or change first."""
    if found.usual_failing_years == 0:
        return "Nothing to cure: no weather year goes dark, thaws or runs dry."
    if not found.helping:
        return "None of the changes tried helps; look for the cause first."
    best = found.helping[0]
    text = f"Best value: {best.name}, {_saves(best)}{_for(best)}"
    whole = found.cheapest
    if whole is not None:
        if whole.name == best.name:
            return f"{text}; with that alone no year of {found.years} fails."
        return f"{text}. With {whole.name},{_for(whole)}, no year of {found.years} fails."
    if found.best_pair is not None:
        pair = found.best_pair
        left = f"{pair.failing_years} of {found.years} years still fail"
        return f"{text}. Best pair: {pair.name}, {_saves(pair)}{_for(pair)}; {left}."
    return f"{text}. {best.failing_years} of {found.years} years still fail."


def cure_words(one: Tried) -> str:
    """``saves 21 h a trip``, ``does not help`` or ``makes it 3 h worse``."""
    if one.helps:
        return _saves(one)
    if one.saved_h <= -0.05:
        return f"makes it {-one.saved_h:.1f} h worse"
    return "does not help"


def _saves(one: Tried) -> str:
    return f"saves {one.saved_h:.1f} h of trouble a trip"


def _for(one: Tried) -> str:
    price = f" for {one.price:.0f}" if one.price else " at no cost"
    return f"{price} and {one.mass_kg:g} kg" if one.mass_kg else price


def cures_numbers(found: Cures) -> dict[str, Any]:
    """The machine interface of the cures."""

    def numbers(one: Tried) -> dict[str, Any]:
        gap = one.interval
        return {
            "names": list(one.names), "changes": list(one.changes), "price": one.price,
            "mass_kg": one.mass_kg, "effort": "; ".join(one.efforts),
            "saved_h": round(one.saved_h, 4),
            "low_h": None if gap.low is None else round(gap.low, 4),
            "high_h": None if gap.high is None else round(gap.high, 4),
            "dark_saved_h": round(one.dark_saved_h, 4),
            "thaw_saved_h": round(one.thaw_saved_h, 4),
            "dry_saved_h": round(one.dry_saved_h, 4),
            "saved_h_per_100": None if one.per_100 == np.inf else round(one.per_100, 4),
            "saved_h_per_kg": None if one.per_kg == np.inf else round(one.per_kg, 4),
            "failing_years": one.failing_years, "lowest_soc": round(one.lowest_soc, 4),
            "helps": one.helps, "words": cure_words(one),
        }  # fmt: skip

    return {
        "sentence": cures_sentence(found),
        "years": found.years,
        "usual_h": round(found.usual_h, 4),
        "usual_failing_years": found.usual_failing_years,
        "tried": [numbers(one) for one in found.tried],
        "best_pair": None if found.best_pair is None else numbers(found.best_pair),
        "cheapest_that_holds": None if found.cheapest is None else numbers(found.cheapest),
        "skipped": list(found.skipped),
    }
