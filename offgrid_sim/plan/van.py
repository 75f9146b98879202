"""The van: the machine that is planned, table by table as it stands in a van file.

Defaults and their sources hang together in docs/physics.md; each names its origin here.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from offgrid_sim.plan.cable import cable_area, cable_length, cable_temp
from offgrid_sim.plan.parts import Parts
from offgrid_sim.plan.quantity import PlanModel, quantity

SpotInVan = Literal["cabin", "under_floor", "outside"]
"""Where a battery or a tank stands: heated room, under the floor, or in the open air."""


def _hours_of_one_day(pair: tuple[float, float]) -> tuple[float, float]:
    if not all(0 <= hour <= 24 for hour in pair):
        raise ValueError("hours must lie between 0 and 24")
    if pair[0] == pair[1]:
        raise ValueError("the two hours must differ, [0, 24] is the whole day")
    return pair


HourRange = Annotated[tuple[float, float], AfterValidator(_hours_of_one_day)]
"""From and to on the local clock, both 0 to 24; [22, 6] runs over midnight."""


class Solar(PlanModel):
    """One array of panels: ``[[solar]]``."""

    name: str = quantity("roof panels", "what this array is called", origin="name only")
    panel_w: float = quantity(..., "nameplate power, W at 1000 W/m2 and 25 C", limits=(0, 20000))
    tilt_deg: float = quantity(0.0, "tilt from horizontal", limits=(0, 90), likely=(0, 30))
    azimuth_deg: float = quantity(
        180.0, "compass direction the tilted array faces, 180 = south", limits=(0, 360)
    )
    mounting: Literal["roof_gap", "glued", "open_rack"] = quantity(
        "roof_gap",
        "how air reaches the back: 20-50 mm gap, glued down, or free standing",
        origin="pvlib pvsyst_cell heat loss 20 / 15 / 29 W/m2K",
    )
    deployed: Literal["always", "camp"] = quantity(
        "always", "fixed panels work always; ground panels only in camp"
    )
    beam_shade_share: float = quantity(
        0.0, "share of the beam lost to vents, racks and boxes", limits=(0, 1), likely=(0, 0.3)
    )
    bypass_groups: int = quantity(3, "bypass diode groups per module", limits=(1, 6))
    shaded_groups: int = quantity(
        0, "groups with at least one cell in full shade all day", limits=(0, 6)
    )
    power_coefficient_per_k: float = quantity(
        -0.0035,
        "change of power per kelvin of cell temperature",
        limits=(-0.01, 0),
        likely=(-0.0045, -0.0026),
        origin="typical silicon modules, from memory",
    )
    soiling_share: float = quantity(
        0.02,
        "share lost to dirt",
        limits=(0, 0.5),
        likely=(0, 0.10),
        origin="flat panels 2.0 %, Cano, ASU thesis 2011",
    )
    mismatch_share: float = quantity(
        0.02, "nameplate and mismatch loss", limits=(0, 0.3), likely=(0.01, 0.04)
    )
    working_v: float = quantity(
        18.0,
        "voltage of the whole array at its best point; panels in series add theirs",
        limits=(10, 500),
        origin="a module of 36 cells, common practice",
    )
    cable_mm2: float = cable_area(6.0, "cable from panels to controller")
    cable_length_m: float = cable_length(4.0, "cable from panels to controller")
    cable_temp_c: float = cable_temp("cable from panels to controller")
    price: float | None = quantity(None, "price of the array, any currency", limits=(0, 1e6))
    mass_kg: float | None = quantity(None, "mass with brackets", limits=(0, 1e4))
    area_m2: float | None = quantity(None, "roof area it covers", limits=(0, 200))

    @model_validator(mode="after")
    def _shaded_groups_exist(self) -> Solar:
        if self.shaded_groups > self.bypass_groups:
            raise ValueError("shaded_groups must not exceed bypass_groups")
        return self


class Controller(PlanModel):
    """The solar charge controller: ``[controller]``."""

    kind: Literal["mppt", "pwm"] = quantity(
        "mppt", "tracks the best operating point, or ties the panel to the battery voltage"
    )
    current_limit_a: float = quantity(30.0, "largest charge current", limits=(0, 1000))
    efficiency: float = quantity(
        0.95,
        "conversion times tracking (mppt), or the switch (pwm)",
        limits=(0.3, 1),
        likely=(0.90, 0.98),
        origin="0.96 x 0.99, from memory",
    )
    pwm_drop_v: float = quantity(
        0.3, "drop between panel and battery with pwm", limits=(0, 2), likely=(0.2, 0.5)
    )
    idle_w: float = quantity(0.2, "own use, day and night", limits=(0, 20), likely=(0.1, 0.5))
    cable_mm2: float = cable_area(10.0, "cable from controller to fuse box")
    cable_length_m: float = cable_length(1.0, "cable from controller to fuse box")
    cable_temp_c: float = cable_temp("cable from controller to fuse box")


class Battery(PlanModel):
    """The house battery, 12 V: ``[battery]``. None takes the default of the chemistry."""

    chemistry: Literal["lfp", "agm"] = quantity("lfp", "lithium iron phosphate or AGM lead")
    capacity_ah: float = quantity(..., "nameplate capacity at 25 C", limits=(1, 10000))
    health_share: float = quantity(
        1.0, "capacity left of the nameplate", limits=(0.2, 1), likely=(0.8, 1.0)
    )
    place: SpotInVan = quantity("cabin", "where it stands: decides the cells' temperature")
    initial_soc: float = quantity(1.0, "state of charge at the start", limits=(0, 1))
    disconnect_v: float | None = quantity(
        None, "loads are cut below this voltage; lfp 12.0, agm 11.7", limits=(8, 13)
    )
    reconnect_v: float | None = quantity(
        None, "loads come back above this voltage; lfp 12.9, agm 12.6", limits=(8, 14)
    )
    absorption_v: float | None = quantity(
        None, "charge voltage; lfp 14.2, agm 14.4", limits=(12, 16)
    )
    resistance_mohm: float | None = quantity(
        None,
        "resistance of the whole bank at 25 C with links; lfp 8, agm 12 per 100 Ah",
        limits=(0.05, 500),
        origin="typical, from memory",
    )
    charge_limit_c_rate: float | None = quantity(
        None, "largest charge current per Ah; lfp 0.5, agm 0.2", limits=(0.01, 5)
    )
    charge_min_temp_c: float | None = quantity(
        None, "no charge with cells below this; lfp 0, agm -40", limits=(-60, 30)
    )
    pad_heater_w: float = quantity(
        0.0, "pad that warms cold cells while there is charge to be had", limits=(0, 500)
    )
    standby_a: float | None = quantity(
        None,
        "battery's own electronics; lfp 0.02, agm 0",
        limits=(0, 5),
        likely=(0.005, 0.03),
    )
    cable_mm2: float = cable_area(35.0, "main cable from battery to fuse box")
    cable_length_m: float = cable_length(1.5, "main cable from battery to fuse box")
    cable_temp_c: float = cable_temp("main cable from battery to fuse box")
    thermal_hours: float = quantity(
        8.0, "hours in which the cells follow their surroundings", limits=(0.2, 100), likely=(6, 12)
    )
    price: float | None = quantity(None, "price of the bank", limits=(0, 1e6))
    mass_kg: float | None = quantity(None, "mass of the bank", limits=(0, 1e4))

    @model_validator(mode="after")
    def _voltages_in_order(self) -> Battery:
        if (
            self.disconnect_v is not None
            and self.reconnect_v is not None
            and self.reconnect_v <= self.disconnect_v
        ):
            raise ValueError("reconnect_v must be above disconnect_v")
        return self


class Alternator(PlanModel):
    """Charging while driving through a DC-DC charger: ``[alternator]``."""

    current_a: float = quantity(
        30.0, "output of the charger; 0 = none", limits=(0, 500), likely=(15, 60)
    )
    efficiency: float = quantity(0.90, "of the charger", limits=(0.3, 1), likely=(0.85, 0.95))
    cable_mm2: float = cable_area(16.0, "cable from charger to fuse box")
    cable_length_m: float = cable_length(2.0, "cable from charger to fuse box")
    cable_temp_c: float = cable_temp("cable from charger to fuse box")


class Shore(PlanModel):
    """Mains charger used at stops with a hook-up: ``[shore]``."""

    current_a: float = quantity(0.0, "output of the mains charger; 0 = none", limits=(0, 500))
    efficiency: float = quantity(0.90, "of the charger", limits=(0.3, 1), likely=(0.85, 0.95))
    cable_mm2: float = cable_area(10.0, "cable from charger to fuse box")
    cable_length_m: float = cable_length(2.0, "cable from charger to fuse box")
    cable_temp_c: float = cable_temp("cable from charger to fuse box")


class Fridge(PlanModel):
    """Compressor fridge: ``[fridge]``. The heat leak is given, or worked out from the walls."""

    shape: Literal["upright", "chest"] = quantity("upright", "front door or lid")
    volume_l: float = quantity(50.0, "inner volume", limits=(5, 1000))
    freezer_share: float = quantity(
        0.15, "share of the volume that is freezer; 0 = none, 1 = all", limits=(0, 1)
    )
    ua_w_k: float | None = quantity(
        None, "heat leak of the closed cabinet; else from the walls", limits=(0.02, 50)
    )
    wall_mm: float | None = quantity(
        None, "foam thickness; upright 35, chest 55", limits=(5, 300), likely=(30, 60)
    )
    foam_w_m_k: float = quantity(
        0.024,
        "conductivity of aged foam",
        limits=(0.003, 0.1),
        likely=(0.020, 0.030),
        origin="aged polyurethane, from memory",
    )
    set_fridge_c: float = quantity(5.0, "fridge set-point", limits=(-2, 15))
    set_freezer_c: float = quantity(-12.0, "freezer set-point", limits=(-30, -3))
    band_k: float = quantity(
        3.0, "full width of the thermostat's band", limits=(0.5, 8), likely=(2, 4)
    )
    compressor_w: float = quantity(
        45.0, "electric power while running", limits=(5, 1000), likely=(30, 60)
    )
    speed: Literal["fixed", "variable"] = quantity(
        "fixed", "compressor at one speed, or slow while it only holds the set-point"
    )
    fan_share: float = quantity(0.08, "fan and electronics on top of it", limits=(0, 1))
    start_w: float = quantity(
        120.0, "power in the first moment of a start, checked apart", limits=(5, 5000)
    )
    efficiency_factor: float = quantity(
        1.0, "multiplies the modelled efficiency", limits=(0.3, 2), likely=(0.8, 1.2)
    )
    condenser_rise_k: float = quantity(
        15.0, "condenser above the air that reaches it", limits=(2, 40), likely=(10, 25)
    )
    condenser_air: Literal["cabin", "vented", "outside"] = quantity(
        "cabin", "air at the condenser: cabin, half vented, or baffled to outside"
    )
    refrigerant: Literal["r134a", "r600a"] = quantity("r134a", "decides a few per cent")
    min_off_minutes: float = quantity(3.0, "shortest rest of the compressor", limits=(0, 30))
    cutout_v: float = quantity(
        10.4, "drive stops below this voltage at its own terminals", limits=(8, 13)
    )
    restart_v: float = quantity(11.7, "drive starts again above this voltage", limits=(8, 14))
    cable_mm2: float = cable_area(4.0, "cable from fuse box to fridge")
    cable_length_m: float = cable_length(4.0, "cable from fuse box to fridge")
    cable_temp_c: float = cable_temp("cable from fuse box to fridge")
    openings_per_day: float = quantity(
        12.0, "door openings, spread over waking hours", limits=(0, 500), likely=(5, 30)
    )
    opening_s: float = quantity(15.0, "seconds the door stays open", limits=(1, 3600))
    fresh_kg: float = quantity(6.0, "food in the fridge part", limits=(0, 500))
    drinks_kg: float = quantity(0.0, "bottles and cans in the fridge part", limits=(0, 500))
    frozen_kg: float = quantity(1.5, "frozen food", limits=(0, 500))
    loaded_kg_per_day: float = quantity(
        1.5, "fresh food put in at cabin temperature per day", limits=(0, 100), likely=(0.5, 4)
    )
    tray_l: float = quantity(0.3, "what the drip tray holds", limits=(0, 10), likely=(0, 1))
    defrost_every_days: float = quantity(
        30.0, "people scrape the frost off this often", limits=(1, 10000), likely=(14, 90)
    )
    night_setback_k: float = quantity(
        0.0, "set-points raised by this much from 22 to 7 h", limits=(0, 10)
    )
    price: float | None = quantity(None, "price", limits=(0, 1e6))
    mass_kg: float | None = quantity(None, "mass", limits=(0, 1e4))

    @model_validator(mode="after")
    def _restart_above_cutout(self) -> Fridge:
        if self.restart_v <= self.cutout_v:
            raise ValueError("restart_v must be above cutout_v")
        return self

    @model_validator(mode="after")
    def _freezer_colder_than_fridge(self) -> Fridge:
        if self.set_freezer_c >= self.set_fridge_c:
            raise ValueError("set_freezer_c must be below set_fridge_c")
        return self


class Cabin(PlanModel):
    """The living space as one node: ``[cabin]``."""

    ua_w_k: float = quantity(
        60.0,
        "heat leak of the closed body without air change",
        limits=(2, 1000),
        likely=(35, 150),
        origin="worked example 63 W/K for a 11 m3 box with 30 mm walls",
    )
    heat_capacity_kj_k: float = quantity(
        600.0, "heat capacity with furniture", limits=(13, 20000), likely=(300, 1200)
    )
    volume_m3: float = quantity(11.0, "air volume", limits=(1, 100))
    closed_air_changes_h: float = quantity(
        0.5, "air changes per hour with all shut", limits=(0, 60), likely=(0.3, 2)
    )
    vent_air_changes_h: float = quantity(
        8.0, "air changes per hour with the roof vent open", limits=(0, 100), likely=(5, 40)
    )
    vent_above_c: float = quantity(
        24.0, "people open the vent above this cabin temperature", limits=(0, 60)
    )
    vent_when_away: bool = quantity(False, "vent also works while nobody is aboard")
    roof_m2: float = quantity(6.0, "roof area in the sun", limits=(0, 50))
    roof_u_w_m2_k: float = quantity(
        1.0, "heat transfer of the roof", limits=(0.1, 8), origin="30 mm foam with ribs, ISO 6946"
    )
    roof_colour: Literal["white", "grey", "dark"] = quantity(
        "white", "solar absorptance 0.25 / 0.6 / 0.9", origin="from memory"
    )
    glass_m2: float = quantity(1.2, "windows", limits=(0, 20))
    blinds_share: float = quantity(
        0.15, "sun let in with blinds shut, 0.75 when open", limits=(0, 1), likely=(0.15, 0.75)
    )
    heater_w: float = quantity(2000.0, "heat of the air heater; 0 = none", limits=(0, 20000))
    heater_set_c: float = quantity(18.0, "kept while people are awake", limits=(-10, 30))
    heater_night_c: float = quantity(12.0, "kept at night", limits=(-20, 30))
    heater_away_c: float = quantity(
        -20.0, "kept while nobody is aboard; -20 = off", limits=(-20, 30)
    )
    heater_electric_w: float = quantity(
        20.0, "fan and pump at full heat", limits=(0, 500), likely=(10, 40)
    )
    initial_temp_c: float | None = quantity(
        None, "cabin at the start; else the outside air", limits=(-40, 60)
    )
    cable_mm2: float = cable_area(2.5, "cable from fuse box to heater")
    cable_length_m: float = cable_length(3.0, "cable from fuse box to heater")
    cable_temp_c: float = cable_temp("cable from fuse box to heater")


class Water(PlanModel):
    """Tanks and pump: ``[water]``."""

    fresh_l: float = quantity(70.0, "fresh tank", limits=(0, 2000))
    grey_l: float = quantity(35.0, "grey tank", limits=(0, 2000))
    initial_fresh_share: float = quantity(1.0, "how full at the start", limits=(0, 1))
    initial_grey_share: float = quantity(0.0, "how full at the start", limits=(0, 1))
    pump_w: float = quantity(
        58.0, "electric power of the pump", limits=(0, 1000), origin="2 bar x 7 l/min / 0.40"
    )
    pump_l_min: float = quantity(7.0, "flow of the pump", limits=(0.1, 100))
    fresh_place: SpotInVan = quantity("cabin", "where the fresh tank stands")
    grey_place: SpotInVan = quantity("under_floor", "where the grey tank hangs")
    tank_ua_w_k: float = quantity(
        3.0, "heat leak of each tank to its surroundings", limits=(0.1, 50), likely=(1, 6)
    )
    frozen_at_ice_share: float = quantity(
        0.1, "pipes and pump count as frozen from this ice share", limits=(0.01, 1)
    )
    grey_tap_open: bool = quantity(False, "grey drains as it comes, where that is allowed")
    cable_mm2: float = cable_area(2.5, "cable from fuse box to pump")
    cable_length_m: float = cable_length(3.0, "cable from fuse box to pump")
    cable_temp_c: float = cable_temp("cable from fuse box to pump")


class Load(PlanModel):
    """One electric consumer: ``[[loads]]``."""

    name: str = quantity(..., "what it is")
    power_w: float = quantity(..., "power while on, at its own plug", limits=(0, 20000))
    hours: tuple[HourRange, ...] = quantity(
        ((0.0, 24.0),), "local clock hours between which it may be on, [[18, 23]]"
    )
    duty: float = quantity(1.0, "share of those hours it is really on", limits=(0, 1))
    priority: Literal[1, 2, 3] = quantity(
        2, "1 vital, 2 normal, 3 comfort: comfort is given up first when charge is low"
    )
    mains: bool = quantity(False, "runs through the inverter")
    when: Literal["always", "camp", "driving"] = quantity("always", "in which situation")
    heats_cabin: bool = quantity(True, "its power ends as heat in the cabin")
    cable_mm2: float = cable_area(2.5, "cable to this load; mains loads have none")
    cable_length_m: float = cable_length(4.0, "cable to this load; mains loads have none")
    cable_temp_c: float = cable_temp("cable to this load; mains loads have none")


class Inverter(PlanModel):
    """12 V to mains: ``[inverter]``."""

    efficiency: float = quantity(0.88, "at usual load", limits=(0.3, 1), likely=(0.80, 0.93))
    idle_w: float = quantity(12.0, "use with nothing plugged in", limits=(0, 200), likely=(6, 20))
    left_on: bool = quantity(False, "idles day and night instead of only while used")
    cable_mm2: float = cable_area(50.0, "cable from fuse box to inverter")
    cable_length_m: float = cable_length(1.0, "cable from fuse box to inverter")
    cable_temp_c: float = cable_temp("cable from fuse box to inverter")


class Rationing(PlanModel):
    """What people switch off themselves when the monitor reads low: ``[rationing]``."""

    comfort_below_soc: float = quantity(
        0.0, "priority 3 is given up below this state of charge", limits=(0, 1)
    )
    normal_below_soc: float = quantity(
        0.0, "priority 2 is given up below this state of charge", limits=(0, 1)
    )


def _usual_loads() -> tuple[Load, ...]:
    return (
        Load(name="lights", power_w=10.0, hours=((18.0, 22.0),), priority=1),
        Load(name="standby of monitor and alarms", power_w=2.0, priority=1, heats_cabin=True),
    )


class Van(PlanModel):
    """Everything in one van file."""

    name: str = quantity("unnamed van", "shown in the report", origin="name only")
    solar: tuple[Solar, ...] = Field(
        default=(), description="arrays of panels, at most four", max_length=4
    )
    controller: Controller = Field(default_factory=Controller)
    battery: Battery
    alternator: Alternator = Field(default_factory=Alternator)
    shore: Shore = Field(default_factory=Shore)
    fridge: Fridge | None = Field(default_factory=Fridge, description="the fridge, if any")
    cabin: Cabin = Field(default_factory=Cabin)
    water: Water = Field(default_factory=Water)
    loads: tuple[Load, ...] = Field(default_factory=_usual_loads)
    inverter: Inverter = Field(default_factory=Inverter)
    rationing: Rationing = Field(default_factory=Rationing)
    parts: Parts = Field(default_factory=Parts)
