"""Why it went dark: the shown weather year again and again, each time without one influence.

The hours of trouble that vanish when one influence is taken out are what it caused. Two influences
are also taken out together: what they save then, against the sum of both alone, is their
interaction. All of it is counterfactual: an influence "caused" hours if they would not have been
without it, all else equal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd

from offgrid_sim.engine.loop import run_one
from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.outcome.events import spells
from offgrid_sim.outcome.run import RunOutcome
from offgrid_sim.outcome.trace import step_times
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.studies.causes_influences import Influence, average_sun, influences, together
from offgrid_sim.studies.changes import laid
from offgrid_sim.studies.variants import AS_PLANNED, YEARS_AT_ONCE, Bench, Variant

TROUBLES = {
    "blackout": ("blackout", "soc", 1.0),
    "thaw": ("thaw", "freezer_c", -1.0),
    "fridge_cutout": ("cutout", "fridge_volts", 1.0),
}
"""Kind of trouble to its flag in the trace, and what its margin is measured by, with its sign."""

MEAN_YEARS = 12
"""Weather years of which the mean of the sun is made where not all fit in memory together."""

BRIDGED_H = 36.0
"""Trouble that comes back within a day and a half is one episode."""

MOST_EPISODES = 6
PAIRED = 4
"""Influences that are also tried two by two."""

WORTH_H, WORTH_SHARE = 0.5, 0.05
"""An influence is told from this many hours, or this share of the episode, saved."""

DULL_SHARE = 0.7
"""A day with less than this share of its mean sun counts as dull (a choice of ours)."""


@dataclass(frozen=True)
class Effect:
    """Hours of an episode that would not have been without one influence.

    ``margin`` tells how far from trouble it would have stayed (charge, kelvin of the freezer or
    volts at the fridge; then charge); it decides between influences that save as much.
    """

    key: str
    cause: str
    remedy: str
    saved_h: float
    held: bool
    margin: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Interaction:
    """Two influences taken out together. ``extra_h`` is what they save beyond both alone."""

    keys: tuple[str, str]
    remedies: tuple[str, str]
    alone_h: tuple[float, float]
    both_h: float
    held_alone: tuple[bool, bool]
    held: bool

    @property
    def extra_h(self) -> float:
        """Positive: they need each other's absence; negative: either does the same work."""
        return self.both_h - sum(self.alone_h)


@dataclass(frozen=True)
class Episode:
    """Trouble of one kind with short gaps bridged; steps are half open, times local."""

    kind: str
    first: int
    last: int
    start: pd.Timestamp
    end: pd.Timestamp
    hours: float
    place: str
    dull_days: int


@dataclass(frozen=True)
class Why:
    """One episode with its causes, most hours first, and what two of them do together."""

    episode: Episode
    effects: tuple[Effect, ...]
    interactions: tuple[Interaction, ...]


@dataclass(frozen=True)
class Causes:
    """The causes in one weather year; empty for a van that does not fail.

    ``whole_year`` ranks the influences by all hours of trouble they caused in that year.
    """

    year: int
    whys: tuple[Why, ...]
    whole_year: tuple[Effect, ...]


def find_causes(loaded: LoadedTrip, outcome: RunOutcome, bench: Bench | None = None) -> Causes:
    """Causes of every blackout, thaw and fridge cut-out of the shown weather year."""
    shown = outcome.totals[outcome.shown_index]
    hours = shown["blackout_hours"] + shown["thaw_hours"] + shown["fridge_cutout_hours"]
    if hours == 0:
        return Causes(outcome.shown_year, (), ())
    lab = _Lab(bench or Bench(loaded), outcome.shown_index, len(outcome.ready.years))
    usual = lab.lived(AS_PLANNED)
    found = episodes(lab.prepared(AS_PLANNED), lab.local_index, usual)
    singles = influences(loaded.trip)
    without = {one.key: lab.lived(one.without) for one in singles}
    total = {one.key: _saved_in_all(usual, without[one.key], lab.h) for one in singles}
    ranked = sorted(singles, key=lambda one: -total[one.key])[:PAIRED]
    pairs = [(a, b) for a, b in combinations(ranked, 2) if total[a.key] > 0 or total[b.key] > 0]
    both = {(a.key, b.key): lab.lived(together(a.without, b.without)) for a, b in pairs}
    whys = tuple(_why(k, found, usual, singles, without, pairs, both, lab.h)
                 for k in range(len(found)))  # fmt: skip
    year = [
        Effect(
            one.key,
            one.cause,
            one.remedy,
            total[one.key],
            _none_left(without[one.key]),
            (0.0, without[one.key]["blackout"].least(slice(None))[1]),
        )
        for one in singles
        if total[one.key] >= WORTH_H
    ]
    worst = sorted(whys, key=lambda why: -why.episode.hours)[:MOST_EPISODES]
    in_order = tuple(why for why in whys if why in worst)
    return Causes(outcome.shown_year, in_order, tuple(sorted(year, key=_rank)))


def episodes(ready: Prepared, year_index: int, usual: Mapping[str, Lived]) -> tuple[Episode, ...]:
    """Episodes of each kind of trouble, by kind and time; a blackout stops the fridge as well."""
    times = step_times(ready)
    per_h = ready.steps_per_hour
    dull = _dull_days(ready, year_index)
    found = []
    for kind, flag in ((kind, lived.flag) for kind, lived in usual.items()):
        for first, last in spells(flag, BRIDGED_H * per_h):
            stop = ready.trip.route.stops[int(ready.line.stop[first // per_h])]
            end = times[last - 1] + pd.Timedelta(hours=1 / per_h)
            days = _run_before(dull, first // per_h // 24, (last - 1) // per_h // 24)
            hours = float(flag[first:last].sum()) / per_h
            found.append(Episode(kind, first, last, times[first], end, hours, stop.place, days))
    return tuple(found)


@dataclass(frozen=True)
class Lived:
    """One kind of trouble in one run, by step: whether it held, and the margin to it."""

    flag: np.ndarray
    margin: np.ndarray
    soc: np.ndarray

    def least(self, window: slice) -> tuple[float, float]:
        """Smallest margin to trouble, and smallest state of charge, in a span of steps."""
        return round(float(self.margin[window].min()), 1), float(self.soc[window].min())


class _Lab:
    """The shown year, run with any variant; other years are kept for the mean of the sun."""

    def __init__(self, bench: Bench, year_index: int, years: int):
        self.bench = bench
        whole = years <= YEARS_AT_ONCE
        first = min(year_index // MEAN_YEARS * MEAN_YEARS, max(years - MEAN_YEARS, 0))
        self.first = 0 if whole else first
        self.last = years if whole else first + MEAN_YEARS
        self.local_index = year_index - self.first
        self.h = 1.0 / bench.steps_per_hour

    def prepared(self, variant: Variant) -> Prepared:
        return self.bench.prepared(laid(variant, self.bench.base), self.first, self.last)

    def lived(self, variant: Variant) -> dict[str, Lived]:
        """Each kind of trouble by step of the shown year."""
        ready = self.prepared(variant)
        sky = ready.skies[self.local_index]
        trace, _ = run_one(ready.van, ready.clock, sky, ready.ask, ready.steps_per_hour)
        return {
            kind: Lived(trace[flag] > 0.5, sign * trace[measure], trace["soc"])
            for kind, (flag, measure, sign) in TROUBLES.items()
        }


def _why(
    k: int,
    found: Sequence[Episode],
    usual: Mapping[str, Lived],
    singles: Sequence[Influence],
    without: Mapping[str, Mapping[str, Lived]],
    pairs: Sequence[tuple[Influence, Influence]],
    both: Mapping[tuple[str, str], Mapping[str, Lived]],
    h: float,
) -> Why:
    """Effects on episode ``k``: its own hours, and whether the time around it stays clear."""
    episode = found[k]
    window = _window(k, found, len(usual[episode.kind].flag))

    def judge(run: Mapping[str, Lived]) -> tuple[float, bool]:
        left = run[episode.kind].flag[window].sum() * h
        return float(episode.hours - left), bool(left == 0)

    effects = []
    alone: dict[str, tuple[float, bool]] = {}
    for one in singles:
        saved_h, held = alone[one.key] = judge(without[one.key])
        if held or saved_h >= max(WORTH_H, WORTH_SHARE * episode.hours):
            margin = without[one.key][episode.kind].least(window)
            effects.append(Effect(one.key, one.cause, one.remedy, saved_h, held, margin))
    told = []
    for a, b in pairs:
        both_h, held = judge(both[a.key, b.key])
        pair = Interaction(
            (a.key, b.key), (a.remedy, b.remedy), (alone[a.key][0], alone[b.key][0]), both_h,
            (alone[a.key][1], alone[b.key][1]), held,
        )  # fmt: skip
        if _is_interaction(pair, episode.hours):
            told.append(pair)
    told.sort(key=lambda one: (not one.held, -abs(one.extra_h)))
    return Why(episode, tuple(sorted(effects, key=_rank)), tuple(told))


def _is_interaction(one: Interaction, hours: float) -> bool:
    """Both together do clearly more, or less, than both alone, and neither is enough alone."""
    if any(one.held_alone) or (min(one.alone_h) < WORTH_H and one.extra_h <= 0):
        return False
    return one.held or abs(one.extra_h) >= max(1.0, 0.1 * hours)


def _window(k: int, found: Sequence[Episode], steps: int) -> slice:
    """From the end of the episode before to the start of the next of the same kind."""
    episode = found[k]
    before = [one.last for one in found if one.kind == episode.kind and one.last <= episode.first]
    after = [one.first for one in found if one.kind == episode.kind and one.first >= episode.last]
    return slice(max(before, default=0), min(after, default=steps))


def _saved_in_all(usual: Mapping[str, Lived], run: Mapping[str, Lived], h: float) -> float:
    return float(sum(usual[kind].flag.sum() - run[kind].flag.sum() for kind in usual)) * h


def _none_left(run: Mapping[str, Lived]) -> bool:
    return not any(lived.flag.any() for lived in run.values())


def _rank(effect: Effect) -> tuple[bool, float, float, float]:
    room, soc = effect.margin
    return (not effect.held, -round(effect.saved_h, 6), -room, -round(soc, 3))


def _dull_days(ready: Prepared, year_index: int) -> np.ndarray:
    """Which days of the shown year had much less sun than that month's mean, shape (days,)."""
    usual = average_sun(ready, ready.skies)["roof_w_m2"][year_index]
    own = ready.skies["roof_w_m2"][year_index]
    by_day = (sun[: len(sun) // 24 * 24].reshape(-1, 24).sum(axis=1) for sun in (own, usual))
    return next(by_day) < DULL_SHARE * next(by_day)


def _run_before(dull: np.ndarray, first_day: int, last_day: int) -> int:
    """Length of the run of dull days that leads into an episode and goes on through it."""
    end = min(last_day, len(dull) - 1)
    while end >= first_day and not dull[end]:
        end -= 1
    end = end if end >= first_day else first_day - 1
    start = end
    while start >= 0 and dull[start]:
        start -= 1
    return max(end - start, 0)
