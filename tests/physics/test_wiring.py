"""Cables, against IEC 60228, ASTM B258, Kirchhoff's law and voltage drops worked by hand."""

import csv
import doctest
import math
from pathlib import Path

import pytest
from scipy.optimize import brentq

from offgrid_sim.physics import copper, wiring
from offgrid_sim.physics.copper import (
    CLASS5_OHM_PER_KM,
    awg_area_mm2,
    cable_ohm,
    standard_area_mm2,
)
from offgrid_sim.physics.wiring import cable_loss_w, load_v, tracked_share

REFERENCE = Path(__file__).parents[1] / "reference"
MM2_PER_CIRCULAR_MIL = math.pi / 4 * 0.0254**2


def rows(name):
    with open(REFERENCE / name, encoding="utf-8", newline="") as handle:
        return [{key: float(text) for key, text in row.items()} for row in csv.DictReader(handle)]


IEC = [(row["area_mm2"], row["plain_copper_ohm_per_km"]) for row in rows("iec_60228_class5.csv")]


def test_class_5_resistances_are_those_printed_in_iec_60228():
    assert dict(IEC) == CLASS5_OHM_PER_KM


@pytest.mark.parametrize(("area_mm2", "ohm_per_km"), IEC)
def test_a_cable_of_standard_size_has_the_printed_resistance_both_ways(area_mm2, ohm_per_km):
    assert cable_ohm(area_mm2, 500.0) == pytest.approx(ohm_per_km, rel=1e-12)


@pytest.mark.parametrize("row", rows("astm_b258.csv"), ids=lambda row: f"AWG{row['gauge']:.0f}")
def test_american_gauges_follow_astm_b258(row):
    # The table prints diameters to 0.1 mil and areas to 0.01 kcmil or four digits (from memory).
    area_mm2 = awg_area_mm2(int(row["gauge"]))
    diameter_in = (4 * area_mm2 / math.pi) ** 0.5 / 25.4
    assert diameter_in == pytest.approx(row["diameter_in"], abs=0.51e-4)
    assert area_mm2 / MM2_PER_CIRCULAR_MIL / 1000 == pytest.approx(
        row["area_kcmil"], rel=1e-3, abs=0.005
    )


@pytest.mark.parametrize(
    ("gauge", "area_mm2", "solid_ohm_per_km"),
    [
        (16, 1.309, 13.17), (14, 2.081, 8.285), (12, 3.309, 5.211), (10, 5.261, 3.277),
        (8, 8.366, 2.061), (6, 13.30, 1.296), (4, 21.15, 0.815), (2, 33.63, 0.513),
        (0, 53.48, 0.322),
    ],
)  # fmt: skip
def test_gauge_areas_and_solid_copper(gauge, area_mm2, solid_ohm_per_km):
    # 17.241 ohm mm2/km is the International Annealed Copper Standard (IEC 60028).
    assert awg_area_mm2(gauge) == pytest.approx(area_mm2, rel=5e-4)
    assert 17.241 / awg_area_mm2(gauge) == pytest.approx(solid_ohm_per_km, rel=2e-3)


@pytest.mark.parametrize(
    ("area_mm2", "drop_v", "percent"),
    [(1.5, 1.064, 8.9), (2.5, 0.638, 5.3), (4.0, 0.396, 3.3), (6.0, 0.264, 2.2)],
)
def test_e1_drop_of_10_a_over_4_m(area_mm2, drop_v, percent):
    drop = 10.0 * cable_ohm(area_mm2, 4.0)
    assert drop == pytest.approx(drop_v, abs=6e-4)
    assert 100 * drop / 12.0 == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize(("share", "area_mm2"), [(0.03, 6.0), (0.10, 1.5)])
def test_e1_smallest_size_that_keeps_to_the_limit(share, area_mm2):
    fits = [area for area, _ in IEC if 10.0 * cable_ohm(area, 4.0) <= share * 12.0]
    assert min(fits) == area_mm2


@pytest.mark.parametrize(("share", "circular_mils", "gauge"), [(0.03, 7838, 10), (0.10, 2351, 16)])
def test_e2_the_american_rule_picks_a_gauge_of_like_copper(share, circular_mils, gauge):
    # ABYC E-11 (from memory): CM = 10.75 I L / dV, L in feet both ways; 8 m = 26.25 ft.
    needed = 10.75 * 10.0 * (8.0 / 0.3048) / (share * 12.0)
    assert needed == pytest.approx(circular_mils, abs=1.5)
    enough = [g for g in (16, 14, 12, 10, 8) if awg_area_mm2(g) >= needed * MM2_PER_CIRCULAR_MIL]
    assert enough[0] == gauge


def test_e3_charger_cable_cold_and_warm():
    assert 30 * cable_ohm(10.0, 5.0) / 12 == pytest.approx(0.048, abs=5e-4)
    assert 30 * cable_ohm(16.0, 5.0) / 12 == pytest.approx(0.030, abs=5e-4)
    warm_ohm = cable_ohm(10.0, 5.0, 50.0)
    assert 30 * warm_ohm / 12 == pytest.approx(0.053, abs=5e-4)
    assert 30**2 * warm_ohm == pytest.approx(19.2, abs=0.05)


def test_e4_a_thin_fridge_cable_cuts_the_drive_out_early():
    assert 11.70 - 5.0 * cable_ohm(2.5, 4.0) == pytest.approx(11.38, abs=0.005)


def test_e5_short_circuit_current_of_a_lithium_bank():
    # 13.2 V over 5 mohm of cells and 2 mohm of cable (1.8 m of 35 mm2) is 1886 A.
    assert 13.2 / (0.005 + cable_ohm(35.0, 1.805)) == pytest.approx(1886, rel=1e-3)


def test_between_sizes_more_copper_means_less_resistance():
    ohms = [cable_ohm(area, 5.0) for area in (0.5, 0.6, 1.2, 2.0, 3.0, 5.0, 12.0, 60.0, 95.0)]
    assert ohms == sorted(ohms, reverse=True)
    assert cable_ohm(3.0, 500.0) == pytest.approx(7.98 * (2.5 / 3.0), rel=0.02)


def test_examples_in_the_docstrings_hold():
    found = doctest.testmod(wiring)
    assert found.attempted == 3
    assert doctest.testmod(copper) == (0, 1)
    assert found.failed == 0


CIRCUITS = [(12.8, 5.0, 0.1), (12.8, 54.0, 0.0665), (11.9, 60.0, 0.22), (14.2, 900.0, 0.001)]


@pytest.mark.parametrize(("source_v", "power_w", "ohm"), CIRCUITS)
def test_constant_power_at_the_end_of_a_cable_is_kirchhoffs_law(source_v, power_w, ohm):
    # Solved by scipy's Brent for the current: source = current x cable + power / current.
    amps = brentq(lambda i: source_v - i * ohm - power_w / i, 1e-6, source_v / (2 * ohm))
    assert load_v(source_v, power_w, ohm) == pytest.approx(power_w / amps, rel=1e-9)
    assert cable_loss_w(source_v, power_w, ohm) == pytest.approx(amps**2 * ohm, rel=1e-7)
    assert source_v * amps == pytest.approx(power_w + cable_loss_w(source_v, power_w, ohm))


def test_a_cable_carries_at_most_a_quarter_of_the_short_circuit_power():
    # Maximum power transfer: E^2 / 4R at half the voltage, as much lost as delivered.
    most_w = 12.0**2 / (4 * 0.5)
    assert load_v(12.0, most_w, 0.5) == pytest.approx(6.0)
    assert load_v(12.0, 3 * most_w, 0.5) == 6.0
    assert cable_loss_w(12.0, 3 * most_w, 0.5) == pytest.approx(most_w)


def test_no_cable_loses_nothing():
    assert load_v(12.8, 100.0, 0.0) == 12.8
    assert cable_loss_w(12.8, 100.0, 0.0) == 0.0
    assert tracked_share(0.0) == 1.0


@pytest.mark.parametrize("power_w", [20.0, 150.0, 400.0, 2000.0])
def test_a_tracker_takes_the_most_that_a_cable_lets_through(power_w):
    # A source of 18 V up to P / 18 A through 0.2 ohm: the best of a fine grid of currents.
    source_v, ohm = 18.0, 0.2
    amps = [power_w / source_v * k / 20000 for k in range(20001)]
    best_w = max(i * (source_v - i * ohm) for i in amps)
    assert power_w * tracked_share(power_w * ohm / source_v**2) == pytest.approx(best_w, rel=1e-6)


@pytest.mark.parametrize(("share", "area_mm2"), [(0.03, 6.0), (0.10, 1.5)])
def test_e1_the_standard_size_that_meets_a_limit(share, area_mm2):
    assert standard_area_mm2(4.0, 20.0, share * 12.0 / 10.0) == area_mm2


def test_no_standard_size_meets_an_impossible_limit():
    assert standard_area_mm2(50.0, 30.0, 1e-4) is None
