"""Many designs of one trip through the same weather years.

A :class:`Variant` is a name and the plan values it changes. A :class:`Bench` prepares each variant
and runs any of them through any weather years. What variants have in common is made once: weather
per stop and year, sun per array orientation, demand per habits. Years are paired: year ``k`` is
the same winter for every variant, so differences are not noise.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from offgrid_sim.engine.demand import ask_numbers, clock_numbers
from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_many
from offgrid_sim.engine.prepare import Prepared, Weather, get_weather
from offgrid_sim.engine.sky import sky_numbers, stays
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.load import load_trip_document
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.trip import Trip
from offgrid_sim.weather.sources import providers

YEARS_AT_ONCE = 64
"""Weather years held in memory together; bounds a study's memory, not its length."""

_SKY_ARRAY_KEYS = (
    "tilt_deg", "azimuth_deg", "mounting", "deployed", "beam_shade_share", "bypass_groups",
    "shaded_groups", "power_coefficient_per_k", "soiling_share", "mismatch_share",
)  # fmt: skip


@dataclass(frozen=True)
class Variant:
    """A change to a trip, in words and as plan values by dotted key.

    A value ``"none"`` removes an optional table. ``van_change`` may alter the flat VAN record
    after the plan, ``sky_change`` the flat sun and air, ``clock_change`` driving, services and
    doors: for what-ifs that no plan can express. What they are given must stay as it is. The plan
    values are laid over ``base``, a loaded variant of the bench's own trip, or over that trip.
    """

    name: str
    sets: Mapping[str, Any] = field(default_factory=dict)
    van_change: Callable[[np.ndarray], None] | None = None
    sky_change: Callable[[Prepared, np.ndarray], np.ndarray] | None = None
    clock_change: Callable[[Prepared, np.ndarray], np.ndarray] | None = None
    base: LoadedTrip | None = None

    def words(self) -> list[str]:
        """The change as ``key=value`` words for the loader."""
        return [f"{key}={_toml(value)}" for key, value in self.sets.items()]


AS_PLANNED = Variant("as planned")


def _toml(value: Any) -> str:
    """A plain value as the command line writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return value if isinstance(value, str) else json.dumps(value)


class Bench:
    """One trip and its variants, sharing weather, sun and demand."""

    def __init__(self, base: LoadedTrip, steps_per_hour: int = STEPS_PER_HOUR):
        """``base`` is the trip whose variants are run; its weather choice holds for all."""
        self.base = base
        self.steps_per_hour = steps_per_hour
        self._trips: dict[str, LoadedTrip] = {}
        self._bases: list[LoadedTrip] = []  # kept alive, so that no other trip gets their id
        self._weather: dict[str, Weather] = {}
        self._fetched: dict[str, Weather] = {}
        self._skies: dict[str, tuple[np.ndarray, np.ndarray]] = {}
        self._demand: dict[str, tuple[np.ndarray, np.ndarray]] = {}
        self._slice: tuple[int, int] = (0, 0)

    @cached_property
    def years(self) -> tuple[int, ...]:
        """Labels of all weather years that the base trip asks for."""
        return get_weather(
            self.base.trip, providers(self.base), self.base.trip.weather.years, only_labels=True
        ).years

    def loaded(self, variant: Variant) -> LoadedTrip:
        """The checked plan of a variant; PlanError if the change is impossible."""
        words = variant.words()
        base = self.base if variant.base is None else variant.base
        key = json.dumps([id(base), words])
        if key not in self._trips:
            self._bases.append(base)
            trip = base
            if words:
                trip = load_trip_document(base.document, words, label=variant.name)
            self._trips[key] = replace(trip, folders=self.base.folders)
        return self._trips[key]

    def prepared(self, variant: Variant, first: int, last: int) -> Prepared:
        """A variant in numbers, for weather years ``first`` to ``last`` (half-open indices)."""
        if self._slice != (first, last):
            self._weather.clear()
            self._fetched.clear()
            self._skies.clear()
            self._slice = (first, last)
        loaded = self.loaded(variant)
        weather = self._weather_of(loaded, first, last)
        skies, ghi = self._sky_of(loaded, weather)
        clock, ask = self._demand_of(loaded, weather)
        van = van_numbers(loaded.trip.van)
        if variant.van_change is not None:
            variant.van_change(van)
        ready = Prepared(
            trip=loaded.trip, line=weather.line, van=van, clock=clock, ask=ask, skies=skies,
            ghi_w_m2=ghi, years=weather.years, sources=weather.sources,
            steps_per_hour=self.steps_per_hour,
        )  # fmt: skip
        if variant.sky_change is not None:
            ready = replace(ready, skies=variant.sky_change(ready, skies))
        if variant.clock_change is not None:
            ready = replace(ready, clock=variant.clock_change(ready, clock))
        return ready

    def run(
        self,
        variants: Sequence[Variant],
        years: slice | None = None,
        on_done: Callable[[int], None] | None = None,
    ) -> np.ndarray:
        """TOTALS of shape (variants, years). ``on_done`` hears of runs as they finish."""
        wanted = range(len(self.years))[years or slice(None)]
        parts = []
        for first in range(wanted.start, wanted.stop, YEARS_AT_ONCE):
            last = min(first + YEARS_AT_ONCE, wanted.stop)
            parts.append(self._run_years(variants, first, last, on_done))
        return np.concatenate(parts, axis=1)

    def _run_years(
        self,
        variants: Sequence[Variant],
        first: int,
        last: int,
        on_done: Callable[[int], None] | None,
    ) -> np.ndarray:
        """All variants through some years; variants with equal sun and demand go together."""
        groups: dict[tuple[int, int, int], list[int]] = {}
        ready = []
        for k, variant in enumerate(variants):
            one = self.prepared(variant, first, last)
            ready.append(one)
            groups.setdefault((id(one.skies), id(one.clock), id(one.ask)), []).append(k)
        result: np.ndarray | None = None
        for members in groups.values():
            head = ready[members[0]]
            vans = np.concatenate([ready[k].van for k in members])
            years = len(head.years)
            jobs = np.indices((len(members), years)).reshape(2, -1).T.copy()
            totals = run_many(
                vans, head.clock, head.skies, head.ask, jobs, self.steps_per_hour, on_done
            )
            if result is None:
                result = np.empty((len(variants), years), totals.dtype)
            result[members] = totals.reshape(len(members), years)
        assert result is not None
        return result

    def _weather_of(self, loaded: LoadedTrip, first: int, last: int) -> Weather:
        trip = loaded.trip
        key = _key([trip.route, trip.first_day.isoformat(), trip.weather])
        if key in self._weather:
            return self._weather[key]
        where = _key([_journey(trip), trip.first_day.isoformat(), trip.weather])
        if where not in self._fetched:
            self._fetched[where] = get_weather(
                trip, providers(loaded), trip.weather.years, years=slice(first, last)
            )
        same = self._fetched[where]
        blocks = zip(stays(trip, same.line), (block for _, block in same.blocks), strict=True)
        self._weather[key] = replace(same, blocks=tuple(blocks))
        return self._weather[key]

    def _sky_of(self, loaded: LoadedTrip, weather: Weather) -> tuple[np.ndarray, np.ndarray]:
        trip = loaded.trip
        arrays = [[getattr(array, k) for k in _SKY_ARRAY_KEYS] for array in trip.van.solar]
        key = _key([id(weather), arrays, trip.van.controller.kind == "pwm"])
        if key not in self._skies:
            self._skies[key] = sky_numbers(trip, weather.line, list(weather.blocks))
        return self._skies[key]

    def _demand_of(self, loaded: LoadedTrip, weather: Weather) -> tuple[np.ndarray, np.ndarray]:
        trip = loaded.trip
        fridge = trip.van.fridge
        doors = None if fridge is None else [fridge.openings_per_day, fridge.loaded_kg_per_day]
        where = [trip.route, trip.first_day.isoformat(), trip.people, trip.habits]
        key = _key([where, doors, list(trip.van.loads), trip.van.inverter])
        if key not in self._demand:
            line = weather.line
            ask = ask_numbers(trip, line, self.steps_per_hour)
            self._demand[key] = (clock_numbers(trip, line), ask)
        return self._demand[key]


def _journey(trip: Trip) -> list[Any]:
    """What decides the weather of a route: places and times, not what stands around the van."""
    names = ("place", "latitude_deg", "longitude_deg", "altitude_m", "nights", "weather", "drive")
    return [[getattr(stop, name) for name in names] for stop in trip.route.stops]


def _key(parts: Any) -> str:
    """A text that is equal for equal plan parts."""
    return json.dumps(parts, default=lambda part: part.model_dump(mode="json"))
