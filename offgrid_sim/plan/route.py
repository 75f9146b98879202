"""The route: stops with their services, and the drives that lead to them."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from offgrid_sim.plan.quantity import PlanModel, quantity

SkyView = Literal["open", "some_trees", "forest", "street", "deep_valley"]

SKY_BEAM_SHARE: dict[str, float] = {
    "open": 1.0, "some_trees": 0.6, "forest": 0.05, "street": 0.5, "deep_valley": 0.6,
}  # fmt: skip
"""Share of the sun's beam that reaches the roof; common practice, no source."""

SKY_DIFFUSE_SHARE: dict[str, float] = {
    "open": 1.0, "some_trees": 0.75, "forest": 0.35, "street": 0.7, "deep_valley": 0.8,
}  # fmt: skip
"""Share of the sky's diffuse light that reaches the roof; common practice, no source."""


Elevations = Annotated[
    tuple[Annotated[float, Field(ge=0, le=90)], ...], Field(min_length=4, max_length=360)
]
"""Elevations of the skyline in degrees, evenly spaced clockwise from north."""


class Drive(PlanModel):
    """The drive to a stop: ``[stop.drive]``. The first stop's drive is ignored."""

    hours: float = quantity(2.0, "hours at the wheel", limits=(0, 24))
    depart_hour: float = quantity(10.0, "local clock hour of departure", limits=(0, 23.99))


class Stop(PlanModel):
    """One place to stay: ``[[stops]]``."""

    place: str = quantity(..., "name of the place")
    latitude_deg: float = quantity(..., "north positive", limits=(-90, 90))
    longitude_deg: float = quantity(..., "east positive", limits=(-180, 180))
    altitude_m: float | None = quantity(
        None, "else from a coarse table, which misplaces valleys", limits=(-430, 6000)
    )
    nights: int = quantity(..., "nights spent there", limits=(1, 400))
    sky: SkyView = quantity("open", "what stands around the van")
    beam_share: float | None = quantity(None, "overrides sky: share of beam", limits=(0, 1))
    diffuse_share: float | None = quantity(None, "overrides sky: share of diffuse", limits=(0, 1))
    horizon: Literal["flat", "archive"] | Elevations = quantity(
        "flat", "hills that hide sun and sky while parked", origin="flat: nothing is hidden"
    )
    fresh_water: bool = quantity(False, "the fresh tank is filled on arrival and each morning")
    grey_dump: bool = quantity(False, "the grey tank is emptied on arrival and each morning")
    shore_power: bool = quantity(False, "a mains hook-up is used")
    weather: str | None = quantity(None, "own weather file of this stop")
    drive: Drive = Field(default_factory=Drive, description="the drive that leads here")

    @property
    def sky_beam_share(self) -> float:
        """Share of beam that reaches the roof here, as given or by the kind of sky."""
        return SKY_BEAM_SHARE[self.sky] if self.beam_share is None else self.beam_share

    @property
    def sky_diffuse_share(self) -> float:
        """Share of diffuse light that reaches the roof here, as given or by the kind of sky."""
        return SKY_DIFFUSE_SHARE[self.sky] if self.diffuse_share is None else self.diffuse_share


class Route(PlanModel):
    """Everything in one route file."""

    name: str = quantity("unnamed route", "shown in the report", origin="name only")
    stops: tuple[Stop, ...] = Field(min_length=1, description="in the order they are visited")
