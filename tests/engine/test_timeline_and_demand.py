"""The trip in local time, and what habits and loads ask for, by hand-worked days."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from offgrid_sim.engine.demand import ask_numbers, clock_numbers, share_of_steps
from offgrid_sim.engine.flat import ASLEEP, AWAKE, AWAY
from offgrid_sim.engine.timeline import timeline
from offgrid_sim.plan.trip import Trip

MADRID = {"latitude_deg": 40.4, "longitude_deg": -3.7}
LISBON = {"latitude_deg": 38.7, "longitude_deg": -9.1}
PER_H = 4


def trip_of(stops, van=None, uses=None, **more):
    uses = [{"name": "drink", "hour": 8, "litres": 1.0}] if uses is None else uses
    van = {"battery": {"capacity_ah": 100}, "loads": []} | (van or {})
    tables = {
        "van": van, "route": {"stops": stops}, "habits": {"uses": uses}, "start": "2025-05-01",
    }  # fmt: skip
    tables |= more
    if "season" in more:
        del tables["start"]
    return Trip.model_validate(tables)


def stop(nights, place=MADRID, **more):
    return {"place": "somewhere", "nights": nights} | place | more


# ---- timeline ------------------------------------------------------------------------------


def test_a_trip_starts_at_local_midnight_and_lasts_its_nights():
    line = timeline(trip_of([stop(3)]))
    assert line.hours == 72
    assert line.times_utc[0] == pd.Timestamp("2025-04-30 22:00", tz="UTC")
    assert line.local_hour[0] == 0.0
    assert line.local_day.tolist() == [0] * 24 + [1] * 24 + [2] * 24


def test_a_drive_leaves_at_its_local_hour_after_the_last_night_and_arrives():
    drive = {"hours": 2.5, "depart_hour": 10}
    line = timeline(trip_of([stop(2), stop(1, drive=drive)]))
    leave = 48 + 10
    np.testing.assert_allclose(line.driving_share[leave - 1 : leave + 4], [0, 1, 1, 0.5, 0])
    assert line.driving_share.sum() == pytest.approx(2.5)
    assert np.flatnonzero(line.arrival).tolist() == [0, leave + 2]
    assert line.stop[leave - 1] == 0
    assert line.stop[leave + 3] == 1
    np.testing.assert_allclose(line.toward[leave : leave + 2], [0.2, 0.6])


def test_a_drive_may_start_and_end_within_the_hour():
    drive = {"hours": 0.5, "depart_hour": 9.75}
    line = timeline(trip_of([stop(1), stop(1, drive=drive)]))
    np.testing.assert_allclose(line.driving_share[24 + 9 : 24 + 12], [0.25, 0.25, 0])


def test_clocks_go_forward_on_the_last_sunday_of_march_in_europe():
    line = timeline(trip_of([stop(3)], start="2025-03-29"))
    hours = line.local_hour.tolist()
    assert 2.0 not in hours[24:48]
    assert hours[25:27] == [1.0, 3.0]
    madrid = line.times_utc.tz_convert(ZoneInfo("Europe/Madrid"))
    assert hours == [t.hour for t in madrid]
    # seventy-two hours from midnight end an hour late on the clock
    assert line.local_times()[-1] == pd.Timestamp("2025-04-01 00:00")


def test_clocks_go_back_on_the_last_sunday_of_october():
    line = timeline(trip_of([stop(2)], start="2025-10-26"))
    assert line.local_hour[:5].tolist() == [0.0, 1.0, 2.0, 2.0, 3.0]


def test_a_zone_crossed_on_the_way_changes_the_clock_on_arrival():
    drive = {"hours": 4.0, "depart_hour": 10}
    line = timeline(trip_of([stop(1), stop(1, LISBON, drive=drive)]))
    arrived = 24 + 14
    assert line.local_hour[arrived - 1] == 13.0
    assert line.local_hour[arrived] == 13.0, "an hour is won going west"
    assert np.all(np.diff(line.times_utc) == np.timedelta64(1, "h"))


def test_seasons_know_the_hemisphere_of_the_first_stop():
    south = {"latitude_deg": -33.9, "longitude_deg": 18.4}
    assert trip_of([stop(1)], season="winter").first_day == dt.date(2025, 12, 1)
    assert trip_of([stop(1, south)], season="winter").first_day == dt.date(2025, 6, 1)
    assert trip_of([stop(1, south)], season="summer").first_day == dt.date(2025, 12, 1)


def test_services_are_used_on_arrival_and_each_morning_where_offered():
    drive = {"hours": 1.0, "depart_hour": 10}
    trip = trip_of([stop(1), stop(2, fresh_water=True, drive=drive)])
    clock = clock_numbers(trip, timeline(trip))
    assert np.flatnonzero(clock["fill_fresh"]).tolist() == [24 + 10, 48 + 9]
    assert not clock["dump_grey"].any()


# ---- demand --------------------------------------------------------------------------------


def test_share_of_steps_cuts_a_range_to_the_step_and_runs_over_midnight():
    share = share_of_steps([(22.25, 6.0)], 2)
    assert share.sum() / 2 == pytest.approx(7.75)
    assert share[44] == pytest.approx(0.5), "22:00-22:30 is half covered"
    assert share[0] == 1.0
    assert share[12] == 0.0
    assert share_of_steps([(1.0, 4.0), (2.0, 5.0)], 1).sum() == pytest.approx(4.0), (
        "no overlap twice"
    )


def day_wh(ask, name):
    return ask[name].reshape(-1, 24 * PER_H).mean(axis=1) * 24


SHORT = {"cable_length_m": 0}


def test_loads_sum_to_power_times_hours_times_duty_by_priority():
    van = {
        "loads": [
            {"name": "lights", "power_w": 10, "hours": [[18, 23.5]], "priority": 1, **SHORT},
            {"name": "fan", "power_w": 30, "hours": [[22, 6]], "duty": 0.5, "priority": 3, **SHORT},
        ]
    }
    trip = trip_of([stop(2)], van=van)
    ask = ask_numbers(trip, timeline(trip), PER_H)
    np.testing.assert_allclose(day_wh(ask, "vital_w"), 55.0)
    np.testing.assert_allclose(day_wh(ask, "comfort_w"), 120.0)
    assert not ask["normal_w"].any()


def test_mains_loads_pay_the_inverter_and_its_idle_only_while_they_run():
    van = {
        "loads": [{"name": "kettle", "power_w": 880, "hours": [[8, 9]], "mains": True}],
        "inverter": {"efficiency": 0.88, "idle_w": 12.0, **SHORT},
    }
    trip = trip_of([stop(1)], van=van)
    ask = ask_numbers(trip, timeline(trip), PER_H)
    np.testing.assert_allclose(day_wh(ask, "normal_w"), 1000.0 + 12.0)
    left_on = trip_of(
        [stop(1)], van=van | {"inverter": {"efficiency": 0.88, "left_on": True, **SHORT}}
    )
    ask = ask_numbers(left_on, timeline(left_on), PER_H)
    np.testing.assert_allclose(day_wh(ask, "normal_w"), 1000.0 + 12.0 * 24)


def test_loads_pay_for_their_cables_and_mains_loads_for_the_inverters():
    # IEC 60228 class 5 at 20 C: 7.98 ohm/km of 2.5 mm2, 0.386 of 50. Joule and Kirchhoff: the
    # current that brings the power to the end of the cable, from 12.8 V at the fuse box.
    cable = {"cable_mm2": 2.5, "cable_length_m": 4, "cable_temp_c": 20}
    van = {
        "loads": [
            {"name": "lamp", "power_w": 60, "hours": [[8, 9]], "priority": 1, **cable},
            {"name": "kettle", "power_w": 900, "hours": [[10, 11]], "mains": True, **cable},
        ],
        "inverter": {"efficiency": 0.9, "idle_w": 0, "cable_mm2": 50, "cable_length_m": 1,
                     "cable_temp_c": 20},
    }  # fmt: skip
    trip = trip_of([stop(1)], van=van)
    ask = ask_numbers(trip, timeline(trip), PER_H)
    for name, watts, ohm in (("vital_w", 60.0, 8 * 7.98e-3), ("normal_w", 1000.0, 2 * 0.386e-3)):
        amps = min(np.roots([ohm, -12.8, watts]))
        on = ask[name] > 0
        np.testing.assert_allclose(ask[name][on], 12.8 * amps)
        np.testing.assert_allclose((ask["cable_share"] * ask[name])[on], amps**2 * ohm)


def test_uses_count_per_person_and_every_so_many_days():
    uses = [
        {"name": "shower", "hour": 20, "minutes": 20, "litres": 9, "grey_share": 0.95,
         "every_days": 3},
        {"name": "radio", "hour": 23.5, "minutes": 60, "power_w": 6, "per_person": False},
    ]  # fmt: skip
    trip = trip_of([stop(6)], uses=uses, people=2)
    ask = ask_numbers(trip, timeline(trip), PER_H)
    litres = ask["draw_l"].reshape(6, -1).sum(axis=1)
    np.testing.assert_allclose(litres, [18, 0, 0, 18, 0, 0])
    np.testing.assert_allclose(ask["grey_l"].sum(), 0.95 * 36)
    assert ask["normal_w"].sum() / PER_H == pytest.approx(6 * 6.0)


def test_the_usual_habits_ask_for_12_and_a_half_litres_of_which_62_per_cent_turn_grey():
    # physics sheet section 6: 12.5 l a person and day, grey 7.8 l (common practice, no source)
    trip = trip_of([stop(4)], uses=None, habits={})
    ask = ask_numbers(trip, timeline(trip), PER_H)
    assert ask["draw_l"].sum() == pytest.approx(4 * 2 * 12.5)
    assert ask["grey_l"].sum() / ask["draw_l"].sum() == pytest.approx(0.62, abs=0.01)


def test_camp_and_driving_loads_share_the_hour_of_a_drive():
    van = {
        "loads": [
            {"name": "router", "power_w": 10, "when": "camp", "priority": 1, **SHORT},
            {"name": "dash fridge", "power_w": 40, "when": "driving", "priority": 3, **SHORT},
        ]
    }
    trip = trip_of([stop(1), stop(1, drive={"hours": 1.5, "depart_hour": 10})], van=van)
    ask = ask_numbers(trip, timeline(trip), PER_H)
    assert ask["comfort_w"].sum() / PER_H == pytest.approx(60.0)
    assert ask["vital_w"].sum() / PER_H == pytest.approx(10 * (48 - 1.5))


def test_people_sleep_wake_and_are_away_only_in_camp():
    trip = trip_of(
        [stop(1), stop(1, drive={"hours": 2, "depart_hour": 10})],
        habits={"uses": [], "away": [[10, 12]], "wake_hour": 7, "sleep_hour": 22},
    )
    clock = clock_numbers(trip, timeline(trip))
    assert clock["occupancy"][[3, 8, 10, 23]].tolist() == [ASLEEP, AWAKE, AWAY, ASLEEP]
    assert clock["people"][[8, 10]].tolist() == [2.0, 0.0]
    assert clock["people"][24 + 10] == 2.0, "at the wheel they are aboard"
    assert clock["door_openings"][:24].sum() == pytest.approx(12.0)
    assert clock["loaded_kg"][:24].sum() == pytest.approx(1.5)
