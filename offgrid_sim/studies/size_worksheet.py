"""The trade's own worksheet beside the simulated answer: stand-alone PV by daily means.

Array by the sun-hour method of IEEE 1562, battery by days of autonomy after IEEE 1013 (formulas
from memory of the standards' structure; not checked against the printed text). Both were written
for lead batteries with PV as the only source. They are a check, not the answer: they know no
alternator, no run of dark days and no chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pvlib

from offgrid_sim.engine.prepare import get_weather
from offgrid_sim.physics.battery import AGM, LFP, capacity_share
from offgrid_sim.physics.solar import sun_at_mid_hour
from offgrid_sim.plan.loaded import LoadedTrip
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Battery
from offgrid_sim.weather.sources import providers
from offgrid_sim.weather.table import WeatherBlock

ARRAY_TO_LOAD = 1.2
"""IEEE 1562 gives 1.1-1.2 for loads that may fail, 1.3-1.4 for critical ones; from memory."""

SYSTEM_LOSS_SHARE = 0.15
"""Dirt, heat, mismatch, cables: 0.10-0.20 in IEEE 1562, from memory."""

AUTONOMY_DAYS = 3.0
MARGIN, END_OF_LIFE = 1.1, 0.8
DEPTHS = {"agm": (0.5, 0.2), "lfp": (0.8, 0.8)}
"""Deepest discharge and deepest daily one; lead: IEEE 1013 ranges from memory; lithium: common
practice, no source (the standard is for lead)."""

NOMINAL_V = 12.8
DESIGN_DAYS = 30
MOST_YEARS = 30


@dataclass(frozen=True)
class Worksheet:
    """The lines of the sheet, in its own units, and what it leaves out of this trip."""

    load_wh_day: float
    load_ah_day: float
    sun_hours: float
    sun_years: int
    array_to_load: float
    system_loss_share: float
    controller_efficiency: float
    autonomy_days: float
    deepest_share: float
    daily_share: float
    end_of_life_share: float
    temperature_factor: float
    cell_temp_c: float
    margin: float
    array_w: float
    battery_ah: float


def battery_ah(
    load_ah_day: float, autonomy_days: float, deepest_share: float, daily_share: float,
    end_of_life_share: float, temperature_factor: float, margin: float,
) -> float:  # fmt: skip
    """Nameplate Ah: the largest of autonomy, daily and end-of-life needs, times kT and margin.

    >>> round(battery_ah(45, 3, 0.5, 0.2, 0.8, 1.19, 1.1))
    353
    """
    autonomy_ah = load_ah_day * autonomy_days
    need_ah = max(
        autonomy_ah / deepest_share, load_ah_day / daily_share, autonomy_ah / end_of_life_share
    )
    return need_ah * temperature_factor * margin


def array_current_a(
    load_ah_day: float, array_to_load: float, system_loss_share: float, sun_hours: float
) -> float:
    """Rated array current: Np x Imp of the sun-hour method.

    >>> round(array_current_a(45, 1.3, 0.10, 4.0) / 5.56, 2)
    2.92
    """
    return array_to_load * load_ah_day / ((1 - system_loss_share) * sun_hours)


def array_w(current_a: float, controller_efficiency: float, nominal_v: float = NOMINAL_V) -> float:
    """Nameplate watts behind a tracking controller: Imp is replaced by efficiency x Pmp / V."""
    return current_a * nominal_v / controller_efficiency


def sun_hours(loaded: LoadedTrip, most_years: int = MOST_YEARS) -> tuple[float, int]:
    """Peak-sun hours a day at the panels' tilt in the darkest 30 days of the trip, and years used.

    Open sky, isotropic diffuse light, by pvlib; mean over weather years first, then the darkest
    stretch: the design month of the method.
    """
    trip = loaded.trip
    weather = get_weather(trip, providers(loaded), trip.weather.years, years=slice(0, most_years))
    plane = np.zeros(weather.line.hours)
    for stay, block in weather.blocks:
        plane[stay.first : stay.last] += _plane_w_m2(trip, block) * stay.weight
    window = min(DESIGN_DAYS * 24, len(plane))
    sums = np.convolve(plane, np.ones(window), "valid")
    return float(sums.min() / window * 24 / 1000), len(weather.years)


def _plane_w_m2(trip: Trip, block: WeatherBlock) -> np.ndarray:
    """Light on the first array under an open sky, mean over years, shape (hours,).

    Isotropic transposition is linear, so the mean may be taken first.
    """
    source = block.source
    sun = sun_at_mid_hour(
        block.times_utc, source.latitude_deg, source.longitude_deg, source.altitude_m
    )
    array = trip.van.solar[0] if trip.van.solar else None
    light = pvlib.irradiance.get_total_irradiance(
        array.tilt_deg if array else 0.0,
        array.azimuth_deg if array else 180.0,
        sun.zenith_deg,
        sun.azimuth_deg,
        block.dni_w_m2.mean(axis=0),
        block.ghi_w_m2.mean(axis=0),
        block.dhi_w_m2.mean(axis=0),
        model="isotropic",
    )
    return np.nan_to_num(np.asarray(light["poa_global"], float))


def worksheet(
    loaded: LoadedTrip, battery: Battery, load_wh_day: float, cell_temp_c: float
) -> Worksheet:
    """Fill in the sheet for a trip with a known daily load and coldest usual cell temperature."""
    hours, years = sun_hours(loaded)
    deepest, daily = DEPTHS[battery.chemistry]
    chemistry = AGM if battery.chemistry == "agm" else LFP
    factor = 1.0 / max(float(capacity_share(chemistry, cell_temp_c)), 0.1)
    load_ah = load_wh_day / NOMINAL_V
    efficiency = loaded.trip.van.controller.efficiency
    current = array_current_a(load_ah, ARRAY_TO_LOAD, SYSTEM_LOSS_SHARE, max(hours, 0.05))
    return Worksheet(
        load_wh_day=load_wh_day,
        load_ah_day=load_ah,
        sun_hours=hours,
        sun_years=years,
        array_to_load=ARRAY_TO_LOAD,
        system_loss_share=SYSTEM_LOSS_SHARE,
        controller_efficiency=efficiency,
        autonomy_days=AUTONOMY_DAYS,
        deepest_share=deepest,
        daily_share=daily,
        end_of_life_share=END_OF_LIFE,
        temperature_factor=factor,
        cell_temp_c=cell_temp_c,
        margin=MARGIN,
        array_w=array_w(current, efficiency),
        battery_ah=battery_ah(
            load_ah, AUTONOMY_DAYS, deepest, daily, END_OF_LIFE, factor, MARGIN
        ),
    )  # fmt: skip
