"""Habits: who does what at which local hour, in watts, minutes and litres."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from offgrid_sim.plan.quantity import PlanModel, quantity
from offgrid_sim.plan.van import HourRange


class Use(PlanModel):
    """One thing that is done every day: ``[[uses]]``."""

    name: str = quantity(..., "what is done")
    hour: float = quantity(..., "local clock hour at which it starts", limits=(0, 23.99))
    minutes: float = quantity(30.0, "how long it lasts", limits=(0.1, 1440))
    power_w: float = quantity(0.0, "electric power meanwhile", limits=(0, 20000))
    mains: bool = quantity(False, "runs through the inverter")
    priority: Literal[1, 2, 3] = quantity(2, "1 vital, 2 normal, 3 comfort")
    litres: float = quantity(0.0, "water drawn", limits=(0, 1000))
    grey_share: float = quantity(0.0, "share of it that reaches the grey tank", limits=(0, 1))
    per_person: bool = quantity(True, "watts and litres count once per person")
    every_days: int = quantity(1, "done every so many days", limits=(1, 60))
    heats_cabin: bool = quantity(True, "its power ends as heat in the cabin")

    @model_validator(mode="after")
    def _does_something(self) -> Use:
        if self.power_w == 0 and self.litres == 0:
            raise ValueError("give power_w or litres, this use does nothing")
        return self


def usual_uses() -> tuple[Use, ...]:
    """What people do when nothing is said: 12.5 l and 60 Wh per person and day.

    Litres and grey shares: common practice, no source, within the 7.5-15 l that Sphere and WHO
    give as basic need.
    """
    return (
        Use(name="drink, morning", hour=8.0, minutes=30, litres=1.0),
        Use(name="drink, rest of the day", hour=13.0, minutes=300, litres=1.5),
        Use(name="cook", hour=18.0, minutes=60, litres=2.0, grey_share=0.1),
        Use(name="dishes", hour=19.5, minutes=30, litres=4.0, grey_share=0.95),
        Use(name="wash, morning", hour=7.5, minutes=30, litres=2.0, grey_share=0.95),
        Use(name="wash, evening", hour=21.5, minutes=30, litres=2.0, grey_share=0.95),
        Use(name="phones and laptop", hour=19.0, minutes=180, power_w=20.0),
    )


class Habits(PlanModel):
    """Everything in one habits file."""

    name: str = quantity("usual habits", "shown in the report", origin="name only")
    wake_hour: float = quantity(7.0, "local clock hour", limits=(0, 23.99))
    sleep_hour: float = quantity(22.0, "local clock hour", limits=(0, 23.99))
    away: tuple[HourRange, ...] = quantity(
        ((10.0, 12.0), (15.0, 17.0)), "local clock hours with nobody aboard, in camp"
    )
    uses: tuple[Use, ...] = Field(default_factory=usual_uses)
