"""The flat numbers the engine runs on: one record per thing, each field with its unit.

``VAN`` and ``CLOCK`` come from the plan, ``SKY`` from the weather, ``ASK`` from habits and loads.
``STATE`` is what one step hands to the next, ``FLOW`` is what happened in one step (and is the
trace when it is kept), ``TOTALS`` is what a whole run adds up to.

Where a quantity is only ever divided by, its inverse is kept (``_k_per_wh``, ``_k_per_w``): the
step spends most of its time in divisions.
"""

from __future__ import annotations

import numpy as np

MAX_ARRAYS = 4
AWAY, ASLEEP, AWAKE = 0.0, 1.0, 2.0
PWM_LOW_V, PWM_HIGH_V = 12.0, 14.4


def _floats(names: str) -> list[tuple]:
    return [(name, "f8") for name in names.split()]


VAN = np.dtype(
    [
        *_floats("""
    array_count controller_pwm controller_efficiency controller_limit_a controller_idle_w
    alternator_a shore_a
    controller_cable_per_w controller_ohm controller_siemens alternator_siemens shore_siemens

    lead capacity_ah resistance_25c_ohm charge_rate_a charge_min_c absorption_v
    disconnect_v reconnect_v peukert_exponent peukert_from_a drain_per_h
    cells_cabin_share cell_hours cell_k_per_w pad_heater_w initial_soc
    comfort_below_soc normal_below_soc

    has_fridge has_freezer has_fresh upright fresh_ua_w_k cooled_ua_w_k between_ua_w_k
    fresh_k_per_wh frozen_k_per_wh melting_k_per_wh thawed_k_per_wh melt_heat_wh
    frozen_kg fresh_kg set_fresh_c set_cooled_c band_k setback_k
    compressor_w fan_w start_w refrigerant_factor evaporator_drop_k condenser_rise_k
    condenser_cabin_share min_off_h cutout_v restart_v cable_ohm fridge_cable_w main_ohm slow_share
    initial_fresh_c initial_cooled_c
    door_free_m3 door_share door_wall_m2 door_s loaded_kj_k loaded_fixed_kj
    plate_m2 frost_k_per_kg_w tray_l defrost_h

    cabin_ua_w_k cabin_heat_wh_k closed_air_w_k vent_air_w_k vent_above_c vent_when_away
    roof_w_k roof_absorptance glass_gain_m2 heater_w heater_electric_share heater_cable_per_w
    heater_away_c heater_night_c heater_awake_c initial_cabin_c

    fresh_tank_l grey_tank_l initial_fresh_l initial_grey_l pump_wh_l pump_cable_wh_l grey_tap_open
    fresh_tank_cabin_share grey_tank_cabin_share tank_ua_w_k frozen_at_ice_share
        """),
        ("array_w", "f8", (MAX_ARRAYS,)),
        ("panel_cable_per_w", "f8", (MAX_ARRAYS,)),
        ("panel_ohm", "f8", (MAX_ARRAYS,)),
    ],
    align=True,
)
"""One van. Flags are 0 or 1; ``*_cabin_share`` is the cabin's share in what surrounds a thing.
``*_cable_per_w`` is the share of a power that its cable loses, per watt of it."""

SKY = np.dtype(
    [
        *_floats("temp_air_c roof_w_m2 glass_w_m2"),
        ("solar_w_per_w", "f8", (MAX_ARRAYS,)),
        ("pwm_low_a_per_w", "f8", (MAX_ARRAYS,)),
        ("pwm_high_a_per_w", "f8", (MAX_ARRAYS,)),
    ],
    align=True,
)
"""One hour of one weather year: outside air, sun on roof and glass, and what one nameplate watt of
each array would give at its best point (W) or tied to PWM_LOW_V and PWM_HIGH_V (A)."""

CLOCK = np.dtype(
    _floats(
        "driving_share shore fill_fresh dump_grey people occupancy night door_openings loaded_kg"
    ),
    align=True,
)
"""One hour of the trip, the same in every weather year: driving, services, who is aboard."""

ASK = np.dtype(
    _floats("vital_w normal_w comfort_w cable_share heat_share draw_l grey_l"), align=True
)
"""One step of the trip: watts asked for at the fuse box by priority, water asked for.
``cable_share`` of the watts is lost on the way to the consumers, ``heat_share`` of what arrives
there ends as heat in the cabin."""

STATE = np.dtype(
    _floats("""
    soc cell_c volts load_on fridge_locked
    fresh_c cooled_heat_wh warming_w running rest_h on_share from_cabin_w
    frost_kg frost_age_h dripped_share melted_l tray_l floor_l
    cabin_c gains_w heater_w
    fresh_l grey_l fresh_tank_wh_l grey_tank_wh_l
    blackout_run_h since_full_h
    cell_ohm_25c per_cold_share charger_ohm
    panel_w panel_low_a panel_high_a door_w door_water_kg_h set_raised_k cold_low_wh cold_high_wh
    emf_v slope_v ohm bus_ohm drift_ohm cold_v cell_heat_w fridge_cable_w cabin_k_h
    """),
    align=True,
)
"""What one step hands to the next. ``cell_ohm_25c`` ... ``cold_high_wh`` are renewed each hour,
``emf_v slope_v ohm bus_ohm drift_ohm cold_v`` (the battery at this moment, alone and behind its
cable), ``cell_heat_w``, ``fridge_cable_w`` (lost in the fridge's cable) and ``cabin_k_h`` (how fast
the cabin warms) each step. ``volts`` are those of the fuse box."""

PACE = np.dtype(
    _floats("h per_h half_step_per_ah cell_kept cabin_kept cabin_k_per_w hold_w_per_k"), align=True
)
"""One length of step, ``h`` hours, and what follows from it and the van alone for a whole run."""

FLOW = np.dtype(
    _floats("""
    soc volts bus_volts fridge_volts battery_a cell_c cooled_mean_c
    solar_w curtailed_w alternator_w shore_w load_w fridge_w heater_electric_w unserved_w
    battery_loss_w cable_loss_w
    fresh_c freezer_c ice_share frost_kg meltwater_l floor_water_l running_share
    cabin_c outside_c heater_w
    fresh_l grey_l drawn_l to_grey_l unmet_l grey_lost_l filled_l dumped_l
    blackout cutout cold_lockout thaw thawed warm_food dry grey_full frozen_water
    """),
    align=True,
)
"""One step: states at its end, means over it, flags 0/1 (``blackout`` ... ``frozen_water``).
``volts`` is the battery's at the end, ``bus_volts`` and ``fridge_volts`` are those of the fuse box
and of the fridge's terminals in the middle, with the compressor on if it runs at all. Powers are
those at the consumers and, of the sources, at the fuse box; the cables of consumers and battery
stand between, in ``cable_loss_w``. The cooled zone is the freezer, or all of a fridge without
one."""

TOTALS = np.dtype(
    _floats("""
    hours blackout_hours blackout_events longest_blackout_h first_blackout_h
    unserved_wh fridge_cutout_hours thaw_hours lost_food first_thaw_h meltwater_l floor_water_l
    food_above_5c_hours min_soc solar_wh alternator_wh shore_wh load_wh fridge_wh heater_electric_wh
    curtailed_wh battery_loss_wh cable_loss_wh stored_start_wh stored_end_wh energy_residual_wh
    throughput_wh
    fresh_start_l fresh_end_l grey_start_l grey_end_l filled_l dumped_l
    fresh_used_l grey_l unmet_l grey_lost_l dry_hours first_dry_h grey_full_hours
    cold_lockout_hours frozen_water_hours heat_wh coldest_cell_c discharged_ah cell_c_h
    longest_without_full_h
    """),
    align=True,
)
"""One run. ``first_*_h`` is -1 where it never happened; ``lost_food`` is 0 or 1."""


def view(array: np.ndarray) -> np.ndarray:
    """The array with its fields as attributes, in plain Python as in compiled code."""
    return array.view(np.recarray)
