"""The trip: van + route + habits + season + people, and where its weather comes from."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field, model_validator

from offgrid_sim.plan.habits import Habits
from offgrid_sim.plan.quantity import PlanModel, quantity
from offgrid_sim.plan.route import Route
from offgrid_sim.plan.van import Van

Season = Literal["spring", "summer", "autumn", "winter"]

NORTHERN_START_MONTH: dict[str, int] = {"spring": 3, "summer": 6, "autumn": 9, "winter": 12}
"""Meteorological seasons start on the first of these months north of the equator."""

NOMINAL_YEAR = 2025
"""Calendar year a season is placed in when only the season is given; not a leap year."""


class WeatherChoice(PlanModel):
    """Where the weather comes from: ``[weather]``."""

    source: Literal["climate", "file", "archive"] = quantity(
        "climate", "generated from the built-in climate, a file, or fetched past years"
    )
    file: str | None = quantity(None, "weather file for every stop that names none")
    years: int = quantity(30, "weather years to run", limits=(1, 2000))
    seed: int = quantity(1, "start of the random numbers", limits=(0, 2**31 - 1))

    @model_validator(mode="after")
    def _file_is_named(self) -> WeatherChoice:
        if self.source == "file" and not self.file:
            raise ValueError("source = 'file' needs file = 'PATH'")
        return self


class Trip(PlanModel):
    """Everything that one run needs, with nothing left to look up in other files."""

    name: str = quantity("unnamed trip", "shown in the report", origin="name only")
    van: Van
    route: Route
    habits: Habits = Field(default_factory=Habits)
    season: Season | None = quantity(None, "first day of this season where the trip starts")
    start: dt.date | None = quantity(None, "first day, instead of a season")
    people: int = quantity(2, "people aboard", limits=(1, 12))
    weather: WeatherChoice = Field(default_factory=WeatherChoice)

    @model_validator(mode="after")
    def _season_or_start(self) -> Trip:
        if self.season is None and self.start is None:
            raise ValueError("give season = 'winter' or start = 2026-12-01")
        if self.season is not None and self.start is not None:
            raise ValueError("give season or start, not both")
        return self

    @property
    def first_day(self) -> dt.date:
        """Local date on which the trip starts; a season knows the first stop's hemisphere."""
        if self.start is not None:
            return self.start
        assert self.season is not None
        month = NORTHERN_START_MONTH[self.season]
        if self.route.stops[0].latitude_deg < 0:
            month = (month + 6 - 1) % 12 + 1
        return dt.date(NOMINAL_YEAR, month, 1)

    @property
    def nights(self) -> int:
        """Nights of the whole trip."""
        return sum(stop.nights for stop in self.route.stops)
