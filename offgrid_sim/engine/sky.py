"""From weather to SKY: sun on roof, windows and each array, stop by stop, for all weather years."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from offgrid_sim.engine.flat import PWM_HIGH_V, PWM_LOW_V, SKY
from offgrid_sim.engine.timeline import Timeline
from offgrid_sim.physics.horizon import open_sky_share, sun_above
from offgrid_sim.physics.solar import (
    REFERENCE_MODULE_VMP,
    Sun,
    cell_temp_c,
    current_per_watt,
    on_panel,
    power_per_watt,
    sun_at_mid_hour,
    vertical_w_m2,
)
from offgrid_sim.plan.route import Stop
from offgrid_sim.plan.trip import Trip
from offgrid_sim.plan.van import Solar
from offgrid_sim.weather.horizon import Horizon
from offgrid_sim.weather.table import WeatherBlock


@dataclass(frozen=True)
class Stay:
    """The hours in which one stop's weather counts, the drives to and from it included."""

    stop: Stop
    first: int
    last: int
    weight: np.ndarray
    """Share of this stop in the weather of each hour, shape (last - first,)."""
    horizon: Horizon | None = None
    """What hides sun and sky while parked here; None where nothing does."""


def stays(trip: Trip, line: Timeline) -> list[Stay]:
    """Cut the trip into stays; on a drive the weather passes evenly from one stop to the next."""
    result = []
    on_way = line.toward > 0
    for k, stop in enumerate(trip.route.stops):
        weight = np.where(line.stop == k, np.where(on_way, 1 - line.toward, 1.0), 0.0)
        weight = weight + np.where((line.stop == k - 1) & on_way, line.toward, 0.0)
        hours = np.flatnonzero(weight > 0)
        if len(hours):
            first, last = int(hours[0]), int(hours[-1]) + 1
            result.append(Stay(stop, first, last, weight[first:last]))
    return result


def sky_numbers(
    trip: Trip, line: Timeline, blocks: list[tuple[Stay, WeatherBlock]]
) -> tuple[np.ndarray, np.ndarray]:
    """SKY of shape (Y, H) and GHI in W/m2 of the same shape, summed over the stays' weights."""
    years = max(len(block.years) for _, block in blocks)
    sky = np.zeros((years, line.hours), SKY)
    ghi = np.zeros((years, line.hours))
    for stay, block in blocks:
        part = _stay_sky(trip, line, stay, block)
        hours = slice(stay.first, stay.last)
        for name in SKY.names or ():
            weight = stay.weight if part[name].ndim == 2 else stay.weight[:, None]
            sky[name][:, hours] += part[name] * weight
        ghi[:, hours] += block.ghi_w_m2 * stay.weight
    return sky, ghi


def _stay_sky(trip: Trip, line: Timeline, stay: Stay, block: WeatherBlock) -> np.ndarray:
    """SKY of one stay, shape (Y, hours of the stay).

    The sun is taken where the weather says it was measured: beam and sun must belong together.
    """
    hours = slice(stay.first, stay.last)
    driving = line.driving_share[hours]
    source = block.source
    sun = sun_at_mid_hour(
        block.times_utc, source.latitude_deg, source.longitude_deg, source.altitude_m
    )
    above, open_sky = _over_horizon(stay.horizon, sun)
    beam = driving + (1 - driving) * stay.stop.sky_beam_share * above
    diffuse = driving + (1 - driving) * stay.stop.sky_diffuse_share * open_sky
    part = np.zeros(block.ghi_w_m2.shape, SKY)
    part["temp_air_c"] = block.temp_air_c
    seen_dni, seen_dhi = block.dni_w_m2 * beam, block.dhi_w_m2 * diffuse
    up = np.clip(np.cos(np.radians(sun.zenith_deg)), 0, None)
    ground_ghi = block.ghi_w_m2 - (1 - driving) * (1 - above) * block.dni_w_m2 * up
    part["roof_w_m2"] = seen_dni * up + seen_dhi
    part["glass_w_m2"] = vertical_w_m2(sun, part["roof_w_m2"], seen_dni, seen_dhi)
    controller = trip.van.controller
    drop_v = controller.pwm_drop_v if controller.kind == "pwm" else None
    for k, array in enumerate(trip.van.solar):
        open_share = 1.0 if array.deployed == "always" else 1 - driving
        _fill_array(part, k, array, block, ground_ghi, sun, beam, diffuse, open_share, drop_v)
    return part


def _over_horizon(horizon: Horizon | None, sun: Sun) -> tuple[np.ndarray | float, float]:
    """1 where the sun stands above the horizon, else 0, per hour; and the share of open sky."""
    if horizon is None:
        return 1.0, 1.0
    return sun_above(horizon, sun.azimuth_deg, 90.0 - sun.zenith_deg), open_sky_share(horizon)


def _fill_array(
    part: np.ndarray,
    k: int,
    array: Solar,
    block: WeatherBlock,
    ground_ghi_w_m2: np.ndarray,
    sun: Sun,
    beam: np.ndarray,
    diffuse: np.ndarray,
    open_share: float | np.ndarray,
    pwm_drop_v: float | None,
) -> None:
    """What one nameplate watt of array ``k`` gives in each hour; ``pwm_drop_v`` None for MPPT."""
    light = on_panel(
        sun,
        ground_ghi_w_m2,
        block.dni_w_m2,
        block.dhi_w_m2,
        tilt_deg=array.tilt_deg,
        azimuth_deg=array.azimuth_deg,
        beam_share=beam * (1 - array.beam_shade_share) * lit_groups(array, pwm_drop_v),
        diffuse_share=diffuse,
    )
    cell_c = cell_temp_c(light.total_w_m2, block.temp_air_c, array.mounting)
    kept = (1 - array.soiling_share) * (1 - array.mismatch_share)
    effective = light.effective_w_m2 * kept
    watts = power_per_watt(effective, cell_c, array.power_coefficient_per_k)
    part["solar_w_per_w"][..., k] = watts * open_share
    if pwm_drop_v is not None:
        for name, volts in (("pwm_low_a_per_w", PWM_LOW_V), ("pwm_high_a_per_w", PWM_HIGH_V)):
            amps = current_per_watt(effective, cell_c, volts + pwm_drop_v)
            part[name][..., k] = amps * open_share


def lit_groups(array: Solar, pwm_drop_v: float | None) -> float:
    """Share of the beam that still counts when bypass groups are shaded (common practice rule).

    One shaded cell loses its whole group. A tracking controller takes what the others give; a
    panel tied to the battery gives all its current as long as the voltage left is enough, else
    none of the beam.
    """
    lit = 1.0 - min(array.shaded_groups, array.bypass_groups) / array.bypass_groups
    if pwm_drop_v is None:
        return lit
    return 1.0 if lit * REFERENCE_MODULE_VMP >= PWM_LOW_V + pwm_drop_v else 0.0
