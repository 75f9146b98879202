"""What each circuit's cable loses at its usual largest current, beside the limit that is advised.

Estimates to compare designs with, not an installation design: every positive cable needs a fuse at
its source, chosen by local rules and a qualified person.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from offgrid_sim.physics.copper import cable_ohm, standard_area_mm2
from offgrid_sim.plan.cable import Wired
from offgrid_sim.plan.habits import Use
from offgrid_sim.plan.van import Van

SYSTEM_V = 12.0
"""Drops are told in per cent of 12 V, as the limits are; those of panels in per cent of theirs."""

CRITICAL_SHARE, OTHER_SHARE = 0.03, 0.10
"""Advised limits: 3 % for feeders, chargers, fridge and heater, 10 % for others (ISO 10133/13297,
from a secondary copy)."""


TOLD_TO = 0.0005
"""Shares are told to a tenth of a per cent: what reads 3.0 % meets 3 %."""

LOSS_ONLY = (
    "Loss of voltage only: what a cable may carry, and the fuse at its source, ask for more copper "
    "in some circuits. A qualified person decides by local rules."
)


@dataclass(frozen=True)
class Circuit:
    """One circuit: ``name`` as people call it, ``key`` its table in the plan, current (A), what the
    two conductors lose (V, and as share of the circuit's voltage), the advised share, and the
    smallest standard size that meets it (mm2; None where none does)."""

    name: str
    key: str
    cable_mm2: float
    cable_length_m: float
    cable_temp_c: float
    current_a: float
    drop_v: float
    drop_share: float
    limit_share: float
    needed_mm2: float | None

    @property
    def thin(self) -> bool:
        """Whether it loses more than advised."""
        return self.drop_share > self.limit_share + TOLD_TO


def circuits(van: Van, uses: Sequence[Use] = (), people: int = 1) -> tuple[Circuit, ...]:
    """All circuits of a van that carry a current, from the panels to the last load.

    Consumers are taken at their full power at 12 V, a solar array at its nameplate and working
    voltage, chargers at their rated current, the main cable with all consumers at once.
    """
    consumers = tuple(_consumers(van, uses, people))
    main_a = sum(circuit.current_a for circuit in consumers)
    main = _circuit("battery to fuse box", "van.battery", van.battery, main_a)
    return tuple(c for c in (main, *_chargers(van), *consumers) if c.current_a > 0.0)


def _chargers(van: Van) -> Iterator[Circuit]:
    for k, array in enumerate(van.solar):
        amps = array.panel_w / array.working_v
        yield _circuit(
            f"{array.name} to controller", f"van.solar.{k}", array, amps, volts=array.working_v
        )
    sun_a = min(sum(a.panel_w for a in van.solar) / SYSTEM_V, van.controller.current_limit_a)
    yield _circuit("solar controller", "van.controller", van.controller, sun_a)
    yield _circuit("alternator charger", "van.alternator", van.alternator, van.alternator.current_a)
    yield _circuit("mains charger", "van.shore", van.shore, van.shore.current_a)


def _consumers(van: Van, uses: Sequence[Use], people: int) -> Iterator[Circuit]:
    if van.fridge is not None:
        watts = van.fridge.compressor_w * (1.0 + van.fridge.fan_share)
        yield _circuit("fridge", "van.fridge", van.fridge, watts / SYSTEM_V)
    if van.cabin.heater_w > 0.0:
        yield _circuit("heater", "van.cabin", van.cabin, van.cabin.heater_electric_w / SYSTEM_V)
    if van.water.fresh_l > 0.0:
        yield _circuit("pump", "van.water", van.water, van.water.pump_w / SYSTEM_V, OTHER_SHARE)
    mains_w = sum(load.power_w for load in van.loads if load.mains) + max(
        (use.power_w * (people if use.per_person else 1) for use in uses if use.mains), default=0.0
    )
    inverter_a = mains_w / van.inverter.efficiency / SYSTEM_V
    yield _circuit("inverter", "van.inverter", van.inverter, inverter_a, OTHER_SHARE)
    for k, load in enumerate(van.loads):
        if not load.mains:
            amps = load.power_w / SYSTEM_V
            yield _circuit(load.name, f"van.loads.{k}", load, amps, OTHER_SHARE)


def _circuit(
    name: str,
    key: str,
    wired: Wired,
    current_a: float,
    limit_share: float = CRITICAL_SHARE,
    volts: float = SYSTEM_V,
) -> Circuit:
    drop_v = current_a * cable_ohm(wired.cable_mm2, wired.cable_length_m, wired.cable_temp_c)
    needed = None
    if current_a > 0.0:
        most_ohm = (limit_share + TOLD_TO) * volts / current_a
        needed = standard_area_mm2(wired.cable_length_m, wired.cable_temp_c, most_ohm)
    return Circuit(
        name, key, wired.cable_mm2, wired.cable_length_m, wired.cable_temp_c, current_a, drop_v,
        drop_v / volts, limit_share, needed,
    )  # fmt: skip


def thin_words(circuit: Circuit) -> str:
    """One sentence on a circuit that loses more than advised, with the size that would meet it."""
    cure = (
        "no standard size meets it, shorten the way"
        if circuit.needed_mm2 is None
        else f"{circuit.needed_mm2:g} mm² meets it"
    )
    return (
        f"The cable of the circuit “{circuit.name}” ({circuit.cable_length_m:g} m of "
        f"{circuit.cable_mm2:g} mm²) loses {circuit.drop_share * 100:.1f} % at "
        f"{circuit.current_a:.0f} A, more than the {circuit.limit_share * 100:.0f} % advised; "
        f"{cure}."
    )
