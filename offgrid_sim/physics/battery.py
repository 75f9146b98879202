"""House battery: open-circuit voltage, resistance, acceptance, one exact step at constant power.

State of charge counts from the nameplate at 25 C. Cold does not change it: it adds an
overpotential on discharge, so that the voltage falls early and less can be used. Energy in the
cells is the integral of the open-circuit voltage, which makes every loss explicit.
"""

from __future__ import annotations

from math import exp, sqrt

import numpy as np

from offgrid_sim.compiled import compiled

LFP, AGM = 0, 1
SMALL_POWER = 0.003
"""Below this R P / E^2 the current is taken from a series (error 132 x^6, 1e-13)."""

LFP_TAPER_SHARE = 0.03
"""Missing charge at which lithium starts to taper (common practice, no source)."""

GRID = 20
"""The open-circuit table has GRID + 1 evenly spaced states of charge."""

_TABLE_SOC = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0)
_LFP_CELL_V = (
    2.60, 2.95, 3.10, 3.20, 3.235, 3.265, 3.285, 3.300, 3.315, 3.325, 3.335, 3.340, 3.40,
)  # fmt: skip
"""Rested cell, from memory; within 45 mV of Prada 2013 as in PyBaMM between 20 and 95 %."""

_AGM_V = (
    11.79, 11.84, 11.90, 12.01, 12.11, 12.22, 12.33, 12.44, 12.55, 12.65, 12.76, 12.82, 12.87,
)  # fmt: skip
"""Six cells: density 1.12 -> 1.30 and the rule density + 0.845 V; Bode 1977 agrees to 0.1 V."""

_LFP_V = tuple(4.0 * volts for volts in _LFP_CELL_V)

_LFP_CAPACITY_SHARE = (
    (-20.0, 0.65), (-10.0, 0.80), (0.0, 0.90), (10.0, 0.96), (25.0, 1.0),
)  # fmt: skip
"""Capacity share by cell temperature (C), from memory."""

_AGM_CAPACITY_SHARE = (
    (-10.0, 1 / 1.717), (-3.9, 1 / 1.52), (-1.1, 1 / 1.43), (4.4, 1 / 1.30), (10.0, 1 / 1.19),
    (15.6, 1 / 1.11), (21.1, 1 / 1.04), (25.0, 1.0),
)  # fmt: skip
"""1/kT of IEEE 485 table 1 (from memory), extrapolated to -10 C at -0.032 per K."""

_CELL_GRID_C = np.arange(-40.0, 61.0, 1.0)


def _ocv_table_v(volts: tuple[float, ...]) -> np.ndarray:
    """Open-circuit voltage at GRID + 1 even states of charge, V, shape (21,)."""
    return np.interp(np.linspace(0, 1, GRID + 1), _TABLE_SOC, volts)


def _stored_table_v(table_v: np.ndarray) -> np.ndarray:
    """Integral of the open-circuit voltage from empty, V (times Ah = Wh), shape (21,)."""
    return np.concatenate(([0.0], np.cumsum((table_v[1:] + table_v[:-1]) / 2) / GRID))


def _capacity_share_table(points: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Share of the nameplate that cold cells can give, at -40..60 C by 1 K, shape (101,)."""
    temps_c, shares = zip(*points, strict=True)
    slope = (shares[1] - shares[0]) / (temps_c[1] - temps_c[0])
    below = shares[0] + slope * (_CELL_GRID_C - temps_c[0])
    inside = np.interp(_CELL_GRID_C, temps_c, shares)
    is_below = np.less(_CELL_GRID_C, temps_c[0])
    return np.maximum(np.where(is_below, below, inside), 0.1)


OCV_V = np.array([_ocv_table_v(volts) for volts in (_LFP_V, _AGM_V)])
"""Open-circuit voltage, shape (2 chemistries, 21)."""

STORED_V = np.array([_stored_table_v(row) for row in OCV_V])
"""Its integral from empty, shape (2, 21)."""

CAPACITY_SHARE = np.array(
    [_capacity_share_table(points) for points in (_LFP_CAPACITY_SHARE, _AGM_CAPACITY_SHARE)]
)
"""Usable share of the nameplate by cell temperature, shape (2, 101)."""


RESISTANCE_FACTOR = np.exp(0.0275 * (25.0 - _CELL_GRID_C))
"""Resistance over that at 25 C, by cell temperature, shape (101,); straight lines between."""


@compiled
def ocv_v(chemistry: int, soc: float) -> float:
    """Open-circuit voltage at ``soc``, straight lines; below empty it keeps falling."""
    position = soc * GRID
    k = min(max(int(position), 0), GRID - 1)
    return OCV_V[chemistry, k] + (position - k) * (OCV_V[chemistry, k + 1] - OCV_V[chemistry, k])


@compiled
def ocv_line(chemistry: int, soc: float) -> tuple[float, float]:
    """Open-circuit voltage at ``soc`` and its slope there, V and V per unit of charge."""
    position = soc * GRID
    k = min(max(int(position), 0), GRID - 1)
    rise = OCV_V[chemistry, k + 1] - OCV_V[chemistry, k]
    return OCV_V[chemistry, k] + (position - k) * rise, rise * GRID


@compiled
def stored_v(chemistry: int, soc: float) -> float:
    """Integral of the open-circuit voltage from empty to ``soc`` (0..1), V."""
    position = soc * GRID
    k = min(max(int(position), 0), GRID - 1)
    part = position - k
    rise = OCV_V[chemistry, k + 1] - OCV_V[chemistry, k]
    return STORED_V[chemistry, k] + part * (OCV_V[chemistry, k] + 0.5 * part * rise) * (1.0 / GRID)


@compiled
def capacity_share(chemistry: int, cell_temp_c: float) -> float:
    """Share of the nameplate that can be drawn at this cell temperature."""
    position = min(max(cell_temp_c + 40.0, 0.0), 99.999)
    k = int(position)
    low, high = CAPACITY_SHARE[chemistry, k], CAPACITY_SHARE[chemistry, k + 1]
    return low + (position - k) * (high - low)


@compiled
def resistance_ohm(resistance_25c_ohm: float, cell_temp_c: float) -> float:
    """Resistance grows to twice at 0 C and 3.5 times at -20 C, from memory."""
    position = min(max(cell_temp_c + 40.0, 0.0), 99.999)
    k = int(position)
    low, high = RESISTANCE_FACTOR[k], RESISTANCE_FACTOR[k + 1]
    return resistance_25c_ohm * (low + (position - k) * (high - low))


@compiled
def discharged_lead_factor(chemistry: int, soc: float) -> float:
    """Lead's resistance doubles towards 20 % charge (from memory); lithium's does not."""
    if chemistry == LFP:
        return 1.0
    return 1.0 + 1.5625 * (1.0 - soc) * (1.0 - soc)


@compiled
def cold_overpotential_v(chemistry: int, soc: float, emf_v: float, per_share: float) -> float:
    """Voltage lost on discharge because cold cells can give only a share of their capacity.

    ``emf_v`` is the open-circuit voltage at ``soc``, ``per_share`` the inverse of the share, >= 1.
    """
    if per_share <= 1.0:
        return 0.0
    return emf_v - ocv_v(chemistry, 1.0 - (1.0 - soc) * per_share)


@compiled
def coulombic_efficiency(chemistry: int, soc: float) -> float:
    """Charge kept of charge put in. Lead: 0.97 below 80 %, falling to 0.60 above 95 %.

    From memory; Stevens & Corey 1996 report about 91 % up to 84 % and 55 % near full for a
    flooded cell.
    """
    if chemistry == LFP:
        return 0.995
    if soc < 0.8:
        return 0.97
    return max(0.97 - 2.4667 * (soc - 0.8), 0.60)


@compiled
def peukert_factor(current_a: float, rated_a: float, exponent: float) -> float:
    """Charge drawn per charge delivered, (I H / C)^(k-1), never below 1.

    ``rated_a`` is C / H. Peukert in the normalised form t = H (C / (I H))^k; without the floor
    small currents would invent capacity.
    """
    if current_a <= rated_a:
        return 1.0
    return (current_a / rated_a) ** (exponent - 1.0)


@compiled
def charge_temperature_share(chemistry: int, cell_temp_c: float, lowest_c: float) -> float:
    """Share of the normal charge current that cells accept at this temperature, 0..1.

    Lithium: none below its limit (0 C), a fifth of C/2 up to 5 K above, all from 10 K above.
    Common practice against lithium plating, no source.
    """
    if cell_temp_c < lowest_c:
        return 0.0
    if chemistry == AGM or cell_temp_c >= lowest_c + 10.0:
        return 1.0
    return max(0.2, 0.2 + 0.16 * (cell_temp_c - lowest_c - 5.0))


@compiled
def acceptance_a(
    chemistry: int, soc: float, capacity_ah: float, rate_limit_a: float, headroom_v: float,
    resistance: float, per_h: float,
) -> float:  # fmt: skip
    """Largest mean charge current over a step of ``1 / per_h`` hours, A.

    The least of rate, taper and absorption voltage. Lead tapers as alpha (1 - soc) C with
    alpha = 1 per hour (kinetic-battery style, from memory); lithium over its last 3 %. The taper
    is followed exactly: full rate down to its start, then the charge still missing decays.
    ``headroom_v`` is absorption minus open-circuit voltage.
    """
    limit_a = rate_limit_a
    if rate_limit_a * resistance > headroom_v:
        limit_a = max(headroom_v, 0.0) / resistance
    missing_ah = max(1.0 - soc, 0.0) * capacity_ah
    taper_ah = rate_limit_a if chemistry == AGM else LFP_TAPER_SHARE * capacity_ah
    if limit_a <= 0.0 or (missing_ah - taper_ah) * per_h >= limit_a:
        return limit_a
    full_h = max(missing_ah - taper_ah, 0.0) / limit_a
    keep = coulombic_efficiency(chemistry, soc)
    decay = rate_limit_a / taper_ah * keep * (1.0 / per_h - full_h)
    tapered_ah = min(missing_ah, taper_ah) * (1.0 - exp(-decay)) / keep
    return min(limit_a, min(limit_a * full_h + tapered_ah, missing_ah) * per_h)


@compiled
def current_a(power_w: float, emf_v: float, resistance: float) -> float:
    """Current (+ charging) at which terminal power is ``power_w``; root of P = I (E + I R).

    Where a discharge asks for more than E^2 / 4R the largest possible current is returned; the
    protection has cut the load before that. Small powers take the root's own series in
    x = R P / E^2 (Catalan numbers), good to 1e-12 there and without a square root.
    """
    per_emf = 1.0 / emf_v
    plain = power_w * per_emf
    x = resistance * plain * per_emf
    if abs(x) < SMALL_POWER:
        return plain * (1.0 - x * (1.0 - x * (2.0 - x * (5.0 - x * (14.0 - x * 42.0)))))
    return (-emf_v + sqrt(max(emf_v * emf_v + 4.0 * resistance * power_w, 0.0))) / (
        2.0 * resistance
    )


@compiled
def advance(
    power_w: float, soc: float, step_h: float, chemistry: int, capacity_ah: float,
    resistance: float, cold_v: float, peukert_from_a: float, peukert_exponent: float,
) -> tuple[float, float, float]:  # fmt: skip
    """One step at constant mean terminal power (+ charging): new soc, current (A), loss (W).

    The open-circuit voltage moves along a straight piece of its table during the step, which
    acts like a resistance of slope x step / 2C: the current solves one quadratic. Only where a
    knot of the table is crossed, or Peukert's rule acts, is the mean voltage found by iteration.
    So terminal energy = change of stored energy + loss holds to rounding, whatever the step.
    """
    start_v, slope_v = ocv_line(chemistry, soc)
    return advance_on_line(
        power_w, soc, start_v, slope_v, step_h, chemistry, capacity_ah, resistance, cold_v,
        peukert_from_a, peukert_exponent,
    )  # fmt: skip


@compiled
def advance_on_line(
    power_w: float, soc: float, start_v: float, slope_v: float, step_h: float, chemistry: int,
    capacity_ah: float, resistance: float, cold_v: float, peukert_from_a: float,
    peukert_exponent: float,
) -> tuple[float, float, float]:  # fmt: skip
    """As :func:`advance`, where the line of the open-circuit voltage at ``soc`` is known."""
    keep = coulombic_efficiency(chemistry, soc) if power_w > 0.0 else 1.0
    per_ah = step_h / capacity_ah
    half_soc_per_a = 0.5 * keep * per_ah
    current = current_a(power_w, start_v - cold_v, resistance + slope_v * half_soc_per_a)
    change = 2.0 * half_soc_per_a * current
    mean_v = start_v + 0.5 * slope_v * change
    place = soc * GRID - min(max(int(soc * GRID), 0), GRID - 1)
    crossed = not 0.0 <= place + change * GRID <= 1.0
    if crossed or -current > peukert_from_a:
        change, current, keep, mean_v = _advance_across(
            power_w, soc, per_ah, chemistry, resistance, cold_v, peukert_from_a,
            peukert_exponent, keep, current,
        )  # fmt: skip
    heat_w = current * (current * resistance - cold_v)
    return soc + change, current, heat_w + abs(current) * mean_v * abs(1.0 - keep)


@compiled
def _advance_across(
    power_w: float, soc: float, per_ah: float, chemistry: int, resistance: float, cold_v: float,
    peukert_from_a: float, peukert_exponent: float, keep: float, current: float,
) -> tuple[float, float, float, float]:  # fmt: skip
    """Change of soc, current, charge moved per charge and mean voltage, by Newton's iteration.

    Solves P = I (mean OCV - cold + I R), where the mean depends on I through the charge moved;
    its derivative is OCV at the end - cold + 2 I R.
    """
    change, mean_v, final_v = 0.0, 0.0, 0.0
    start_v, before_v = ocv_v(chemistry, soc), stored_v(chemistry, soc)
    for _ in range(40):
        if current < 0.0:
            keep = peukert_factor(-current, peukert_from_a, peukert_exponent)
        change = current * keep * per_ah
        final_v = ocv_v(chemistry, soc + change)
        mean_v = 0.5 * (start_v + final_v)
        if abs(change) > 1e-5:
            mean_v = (stored_v(chemistry, soc + change) - before_v) / change
        miss_w = current * (mean_v - cold_v + current * resistance) - power_w
        if abs(miss_w) < 1e-11 * abs(power_w):
            break
        current -= miss_w / max(final_v - cold_v + 2.0 * current * resistance, 1.0)
    return change, current, keep, mean_v
