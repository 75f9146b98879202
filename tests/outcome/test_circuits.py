"""What each circuit's cable loses, against drops worked by hand and the limits advised.

Sheet values E1 and E3: class 5 copper of IEC 60228, dV = 2 L R I, in per cent of 12 V.
"""

import json
from pathlib import Path

import pytest

from offgrid_sim.cli.main import run_cli
from offgrid_sim.outcome.verdict import verdict
from offgrid_sim.outcome.wiring import circuits, thin_words
from offgrid_sim.plan.habits import Use
from offgrid_sim.plan.load import load_trip
from offgrid_sim.plan.van import Alternator, Battery, Load, Shore, Solar, Van
from offgrid_sim.studies.run import simulate

TRIPS = Path(__file__).parents[2] / "configs" / "trips"
DARK_CABLE = TRIPS / "story_dark_cable.toml"


def named(name, uses=(), people=1, **parts):
    """The circuit of that name in a van made of ``parts``."""
    van = Van(battery=parts.pop("battery", Battery(capacity_ah=100)), **parts)
    return next((c for c in circuits(van, uses, people) if c.name == name), None)


@pytest.mark.parametrize(
    ("area_mm2", "drop_v", "share"),
    [(1.5, 1.064, 0.089), (2.5, 0.638, 0.053), (4.0, 0.396, 0.033), (6.0, 0.264, 0.022)],
)
def test_ten_amperes_over_four_metres(area_mm2, drop_v, share):
    # E1; 1.5 mm2 meets 10 %
    lamp = Load(name="lamp", power_w=120, cable_mm2=area_mm2, cable_length_m=4, cable_temp_c=20)
    circuit = named("lamp", loads=(lamp,))
    assert circuit.current_a == pytest.approx(10.0)
    assert circuit.drop_v == pytest.approx(drop_v, abs=0.0006)
    assert circuit.drop_share == pytest.approx(share, abs=0.0006)
    assert (circuit.needed_mm2, circuit.thin) == (1.5, False)


@pytest.mark.parametrize(
    ("area_mm2", "temp_c", "share"), [(10.0, 20, 0.048), (16.0, 20, 0.030), (10.0, 50, 0.053)]
)
def test_thirty_amperes_of_a_charger_over_five_metres(area_mm2, temp_c, share):
    # E3; a charger is critical: 3 %
    charger = Alternator(current_a=30, cable_mm2=area_mm2, cable_length_m=5, cable_temp_c=temp_c)
    circuit = named("alternator charger", alternator=charger)
    assert circuit.drop_share == pytest.approx(share, abs=0.0006)
    assert circuit.limit_share == 0.03
    assert circuit.thin == (area_mm2 < 16)


def test_the_named_size_meets_the_limit_and_the_one_below_does_not():
    panel = {"panel_w": 500, "working_v": 18, "cable_length_m": 6}
    circuit = named("roof panels to controller", solar=(Solar(cable_mm2=2.5, **panel),))
    assert circuit.thin
    better = Solar(cable_mm2=circuit.needed_mm2, **panel)
    assert not named("roof panels to controller", solar=(better,)).thin
    assert circuit.needed_mm2 == 16.0
    assert named("roof panels to controller", solar=(Solar(cable_mm2=10, **panel),)).thin


def test_no_standard_size_is_said():
    far = Shore(current_a=300, cable_length_m=30, cable_mm2=50)
    circuit = named("mains charger", shore=far)
    assert circuit.needed_mm2 is None
    assert "no standard size meets it" in thin_words(circuit)


def test_circuits_without_current_are_left_out():
    assert named("alternator charger", alternator=Alternator(current_a=0)) is None
    assert named("mains charger") is None
    assert named("inverter") is None


def test_mains_loads_run_through_the_inverter_and_the_main_cable():
    kettle = Use(name="kettle", hour=7, power_w=528, mains=True, per_person=False)
    circuit = named("inverter", uses=(kettle,))
    assert circuit.current_a == pytest.approx(528 / 0.88 / 12)
    without, with_it = named("battery to fuse box"), named("battery to fuse box", uses=(kettle,))
    assert with_it.current_a - without.current_a == pytest.approx(circuit.current_a)


def test_check_tells_the_circuits(capsys):
    assert run_cli(["check", str(DARK_CABLE), "--json"]) == 0
    told = {c["key"]: c for c in json.loads(capsys.readouterr().out)["circuits"]}
    assert told["van.fridge"]["thin"]
    assert told["van.fridge"]["needed_mm2"] == 4.0
    assert run_cli(["check", str(DARK_CABLE)]) == 0
    words = " ".join(capsys.readouterr().out.split())
    assert "“fridge” (8 m of 1.5 mm²) loses 7.5 % at 4 A, more than the 3 % advised" in words
    assert "4 mm² meets it." in words


def test_check_of_a_route_has_no_circuits(capsys):
    assert (
        run_cli(["check", str(TRIPS.parent / "routes" / "greensboro_30_nights.toml"), "--json"])
        == 0
    )
    assert "circuits" not in json.loads(capsys.readouterr().out)


def test_a_thicker_wire_cures_the_dark_cable():
    thin, thick = (
        simulate(load_trip(DARK_CABLE, [f"van.fridge.cable_mm2={area}"])) for area in (1.5, 10)
    )
    assert thin.summary["fridge_cutout_hours"] > 24
    assert thick.summary["fridge_cutout_hours"] == 0
    assert any("cable problem" in reason for reason in verdict(thin).reasons)
    assert not any("cable" in reason for reason in verdict(thick).reasons)


def test_a_thin_cable_elsewhere_is_named_in_the_verdict():
    loaded = load_trip(DARK_CABLE, ["van.fridge.cable_mm2=10", "van.battery.cable_mm2=0.75"])
    reasons = verdict(simulate(loaded)).reasons
    assert any("battery to fuse box" in reason for reason in reasons)
