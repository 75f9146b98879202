"""What can be taken out of a trip, one influence at a time, to see what caused a failure.

An influence is a change to the plan, or to the flat sun where no plan can say it, that makes one
thing harmless and leaves all else as it was. Only influences that a trip has are listed; those
that people can change come before the weather, which decides ties.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from offgrid_sim.engine.prepare import Prepared
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Load
from offgrid_sim.studies.variants import Variant

NOTHING_W = 1e-6
"""Stands for no power where a use must do something."""

STANDBY_W = 10.0
"""A load that is on day and night and takes at most this counts as standby (a choice of ours)."""

WARM_C = 20.0
"""Surroundings of the fridge above this count as warm; with none, the outside air is cut here."""

ENOUGH_DAYS = 20
"""Days times years that a mean hour at one stop needs; else all stops under the same kind of sky
are taken together."""

SUN_FIELDS = ("roof_w_m2", "glass_w_m2", "solar_w_per_w", "pwm_low_a_per_w", "pwm_high_a_per_w")


@dataclass(frozen=True)
class Influence:
    """One thing taken out: ``cause`` follows "because of", ``remedy`` follows "would hold"."""

    key: str
    cause: str
    remedy: str
    without: Variant


def influences(trip: Trip) -> tuple[Influence, ...]:
    """All influences that this trip has."""
    makers = (_cable, _main_cable, _cold, _inverter, _standby, _habits, _camp_shade, _roof_shade,
              _doors, _old_battery, _start, _warm, _dull)  # fmt: skip
    return tuple(found for maker in makers if (found := maker(trip)) is not None)


def together(one: Variant, other: Variant) -> Variant:
    """Both changes at once."""

    def sky(ready: Prepared, skies: np.ndarray) -> np.ndarray:
        for change in (one.sky_change, other.sky_change):
            skies = skies if change is None else change(ready, skies)
        return skies

    has_sky = one.sky_change is not None or other.sky_change is not None
    return Variant(
        f"{one.name} + {other.name}",
        {**one.sets, **other.sets},
        sky_change=sky if has_sky else None,
    )


def average_sun(ready: Prepared, skies: np.ndarray) -> np.ndarray:
    """SKY in which each hour has its month's mean sun at that stop; air temperature stays.

    The mean is over all weather years at hand and over the days that the same stop, month and
    hour of day (at the wheel or not) share.
    """
    line = ready.line
    month = line.local_times().month.to_numpy()
    hour = line.local_hour.astype(int)
    rolling = line.driving_share > 0
    moment = (month * 24 + hour) * 2 + rolling
    code, wide_code = _codes(line.stop, moment), _codes(_alike(ready.trip)[line.stop], moment)
    changed = skies.copy()
    years = len(skies)
    few = np.bincount(code)[code] * years < ENOUGH_DAYS
    for name in SUN_FIELDS:
        mean = skies[name].mean(axis=0)
        here, there = _group_mean(mean, code), _group_mean(mean, wide_code)
        mask = few if mean.ndim == 1 else few[:, None]
        changed[name] = np.where(mask, there, here)
    return changed


def cool_surroundings(ready: Prepared, skies: np.ndarray) -> np.ndarray:
    """SKY with no sun on roof and windows and no air above WARM_C; panels keep their sun."""
    changed = skies.copy()
    changed["roof_w_m2"] = 0.0
    changed["glass_w_m2"] = 0.0
    changed["temp_air_c"] = np.minimum(skies["temp_air_c"], WARM_C)
    return changed


def _alike(trip: Trip) -> np.ndarray:
    """A number for each stop that is the same for stops with the same view of the sky."""
    views = [
        (stop.sky_beam_share, stop.sky_diffuse_share, stop.horizon)
        + ((stop.latitude_deg, stop.longitude_deg) if stop.horizon == "archive" else ())
        for stop in trip.route.stops
    ]
    distinct = list(dict.fromkeys(views))
    return np.array([distinct.index(view) for view in views])


def _codes(place: np.ndarray, moment: np.ndarray) -> np.ndarray:
    """A group number for each hour (H,): the same where place and moment are."""
    both = place * (moment.max() + 1) + moment
    return np.unique(both, return_inverse=True)[1].reshape(-1)


def _group_mean(values: np.ndarray, code: np.ndarray) -> np.ndarray:
    """Each hour's value (H,) or (H, A) replaced by the mean of its group."""
    sums = np.zeros((code.max() + 1, *values.shape[1:]))
    np.add.at(sums, code, values)
    count = np.bincount(code).reshape(-1, *[1] * (values.ndim - 1))
    return (sums / count)[code]


def _influence(
    key: str,
    cause: str,
    remedy: str,
    sets: dict[str, Any],
    sky: Callable[[Prepared, np.ndarray], np.ndarray] | None = None,
) -> Influence:
    return Influence(key, cause, remedy, Variant(f"without {key}", sets, sky_change=sky))


def _dull(trip: Trip) -> Influence | None:
    if not trip.van.solar:
        return None
    return _influence("dull_run", "too little sun", "with average sun", {}, average_sun)


def _camp_shade(trip: Trip) -> Influence | None:
    shaded = [
        k
        for k, stop in enumerate(trip.route.stops)
        if min(stop.sky_beam_share, stop.sky_diffuse_share) < 1.0 or stop.horizon != "flat"
    ]
    if not shaded or not trip.van.solar:
        return None
    bare = {"beam_share": 1.0, "diffuse_share": 1.0, "horizon": "flat"}
    sets = {f"route.stops.{k}.{name}": value for k in shaded for name, value in bare.items()}
    return _influence("camp_shade", "shaded camps", "under an open sky", sets)


def _roof_shade(trip: Trip) -> Influence | None:
    sets: dict[str, Any] = {}
    for k, array in enumerate(trip.van.solar):
        if array.shaded_groups or array.beam_shade_share:
            sets |= {f"van.solar.{k}.shaded_groups": 0, f"van.solar.{k}.beam_shade_share": 0.0}
    if not sets:
        return None
    return _influence("panel_shade", "shadows on the panels", "with no shadow on the panels", sets)


def _cold(trip: Trip) -> Influence | None:
    battery = trip.van.battery
    limit_c = battery.charge_min_temp_c
    if limit_c is None and battery.chemistry == "agm":
        return None
    return _influence(
        "cold_lockout",
        "cells too cold to charge",
        "if cold cells took charge",
        {"van.battery.charge_min_temp_c": -60.0},
    )


def _cable(trip: Trip) -> Influence | None:
    fridge = trip.van.fridge
    if fridge is None or fridge.cable_length_m == 0:
        return None
    return _influence(
        "cable",
        f"the fridge's cable ({fridge.cable_length_m:g} m of {fridge.cable_mm2:g} mm²)",
        "with no loss in the fridge's cable",
        {"van.fridge.cable_length_m": 0.0},
    )


def _main_cable(trip: Trip) -> Influence | None:
    battery = trip.van.battery
    if battery.cable_length_m == 0:
        return None
    return _influence(
        "main_cable",
        f"the main cable ({battery.cable_length_m:g} m of {battery.cable_mm2:g} mm²)",
        "with no loss in the main cable",
        {"van.battery.cable_length_m": 0.0},
    )


def _inverter(trip: Trip) -> Influence | None:
    if not trip.van.inverter.left_on or trip.van.inverter.idle_w == 0:
        return None
    return _influence(
        "inverter",
        "the inverter left on",
        "with the inverter off while unused",
        {"van.inverter.left_on": False},
    )


def _standby(trip: Trip) -> Influence | None:
    van = trip.van
    sets: dict[str, Any] = {}
    for k, load in enumerate(van.loads):
        if _is_standby(load):
            sets[f"van.loads.{k}.power_w"] = 0.0
    if van.controller.idle_w:
        sets["van.controller.idle_w"] = 0.0
    if van.battery.standby_a is None or van.battery.standby_a > 0:
        sets["van.battery.standby_a"] = 0.0
    if not sets:
        return None
    return _influence("standby", "small loads on day and night", "with no standby loads", sets)


def _is_standby(load: Load) -> bool:
    whole_day = sum((end - start) % 24 or 24.0 for start, end in load.hours) >= 24.0
    return whole_day and load.duty == 1.0 and 0.0 < load.power_w <= STANDBY_W


def _habits(trip: Trip) -> Influence | None:
    """Power that people could do without: what they use by habit, and comfort loads."""
    sets: dict[str, Any] = {}
    names = []
    for k, use in enumerate(trip.habits.uses):
        if use.power_w > 0 and use.priority > 1:
            sets[f"habits.uses.{k}.power_w"] = 0.0 if use.litres else NOTHING_W
            names.append(use.name)
    for k, load in enumerate(trip.van.loads):
        if load.power_w > 0 and load.priority == 3 and not _is_standby(load):
            sets[f"van.loads.{k}.power_w"] = 0.0
            names.append(load.name)
    if not sets:
        return None
    shown = ", ".join(names[:3]) + (" and more" if len(names) > 3 else "")
    return _influence("habits", f"comfort loads ({shown})", "without comfort loads", sets)


def _doors(trip: Trip) -> Influence | None:
    """Doors opened more, longer or for more warm food than usual."""
    fridge = trip.van.fridge
    usual = {"openings_per_day": 12.0, "opening_s": 15.0, "loaded_kg_per_day": 1.5}
    if fridge is None:
        return None
    sets = {f"van.fridge.{k}": v for k, v in usual.items() if getattr(fridge, k) > v}
    if not sets:
        return None
    return _influence("doors", "a busy fridge door", "with usual use of its door", sets)


def _old_battery(trip: Trip) -> Influence | None:
    share = trip.van.battery.health_share
    if share >= 1.0:
        return None
    return _influence(
        "old_battery",
        f"a battery at {share * 100:.0f} % of its capacity",
        "with a new battery",
        {"van.battery.health_share": 1.0},
    )


def _start(trip: Trip) -> Influence | None:
    soc = trip.van.battery.initial_soc
    if soc >= 0.95:
        return None
    return _influence(
        "start",
        f"a start at {soc * 100:.0f} % charge",
        "starting full",
        {"van.battery.initial_soc": 1.0},
    )


def _warm(trip: Trip) -> Influence | None:
    if trip.van.fridge is None:
        return None
    cabin = trip.van.cabin
    sets = {
        "van.cabin.vent_above_c": min(cabin.vent_above_c, WARM_C),
        "van.cabin.vent_air_changes_h": max(cabin.vent_air_changes_h, 40.0),
        "van.cabin.vent_when_away": True,
    }
    return _influence(
        "warm_cabin",
        "warmth around the fridge",
        f"with no more than {WARM_C:.0f} °C around the fridge",
        sets,
        cool_surroundings,
    )
