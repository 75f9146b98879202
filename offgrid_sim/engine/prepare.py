"""A trip and its weather as flat numbers, ready for any number of runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from offgrid_sim.engine.demand import ask_numbers, clock_numbers
from offgrid_sim.engine.loop import STEPS_PER_HOUR
from offgrid_sim.engine.sky import Stay, sky_numbers, stays
from offgrid_sim.engine.timeline import Timeline, place_of, timeline
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.physics.horizon import open_sky_share
from offgrid_sim.plan.route import Stop
from offgrid_sim.plan.trip import Trip
from offgrid_sim.weather.horizon import Horizon, horizon_of
from offgrid_sim.weather.table import COLUMNS, WeatherBlock, WeatherProvider, WeatherSource

ALL_YEARS = slice(None)


@dataclass(frozen=True)
class Prepared:
    """Everything the engine needs for one trip.

    ``van`` is VAN (1,), ``clock`` CLOCK (H,), ``ask`` ASK (H * steps_per_hour,), ``skies`` SKY
    (Y, H), ``ghi_w_m2`` (Y, H); ``years`` labels the Y weather years; ``sources`` has one entry
    for each stop that was visited.
    """

    trip: Trip
    line: Timeline
    van: np.ndarray
    clock: np.ndarray
    ask: np.ndarray
    skies: np.ndarray
    ghi_w_m2: np.ndarray
    years: tuple[int, ...]
    sources: tuple[WeatherSource, ...]
    steps_per_hour: int = STEPS_PER_HOUR


@dataclass(frozen=True)
class Weather:
    """A trip laid out in time with the weather of each stay; ``years`` labels Y weather years."""

    line: Timeline
    blocks: tuple[tuple[Stay, WeatherBlock], ...]
    years: tuple[int, ...]

    @property
    def sources(self) -> tuple[WeatherSource, ...]:
        """Where the weather of each stay came from."""
        return tuple(block.source for _, block in self.blocks)


def get_weather(
    trip: Trip,
    provider_of: Callable[[Stop], WeatherProvider],
    most_years: int,
    *,
    years: slice = ALL_YEARS,
    only_labels: bool = False,
) -> Weather:
    """Lay out the trip and fetch its weather stop by stop.

    ``provider_of`` names the weather source of a stop. Weather years common to all stops are
    used, at most ``most_years``, of these the ones in ``years``. With ``only_labels`` no weather
    is fetched.
    """
    line = timeline(trip)
    parts = stays(trip, line)
    labels = _common_years(parts, line, provider_of)[:most_years][years]
    if only_labels:
        return Weather(line, (), labels)
    blocks = tuple(
        _behind_hills(stay, _block(stay, line, provider_of(stay.stop), labels)) for stay in parts
    )
    return Weather(line, blocks, labels)


def prepare(
    trip: Trip,
    provider_of: Callable[[Stop], WeatherProvider],
    most_years: int,
    steps_per_hour: int = STEPS_PER_HOUR,
) -> Prepared:
    """Lay out the trip, fetch its weather and turn both into numbers."""
    weather = get_weather(trip, provider_of, most_years)
    skies, ghi = sky_numbers(trip, weather.line, list(weather.blocks))
    return Prepared(
        trip=trip,
        line=weather.line,
        van=van_numbers(trip.van),
        clock=clock_numbers(trip, weather.line),
        ask=ask_numbers(trip, weather.line, steps_per_hour),
        skies=skies,
        ghi_w_m2=ghi,
        years=weather.years,
        sources=weather.sources,
        steps_per_hour=steps_per_hour,
    )


def _behind_hills(stay: Stay, block: WeatherBlock) -> tuple[Stay, WeatherBlock]:
    """The stay with its stop's horizon, and the block's source with a sentence about it."""
    horizon = horizon_of(stay.stop)
    if horizon is None:
        return stay, block
    source = replace(block.source, notes=(*block.source.notes, *horizon_notes(horizon, stay.stop)))
    return replace(stay, horizon=horizon), replace(block, source=source)


def horizon_notes(horizon: Horizon, stop: Stop) -> list[str]:
    """What a horizon takes away at a stop, and that a valley may count twice."""
    notes = [
        f"At {stop.place} hills up to {horizon.elevation_deg.max():.0f}° high ({horizon.origin}) "
        f"hide the sun behind them and {100 * (1 - open_sky_share(horizon)):.0f} % of the sky's "
        "diffuse light while parked."
    ]
    if stop.sky == "deep_valley" and None in (stop.beam_share, stop.diffuse_share):
        notes.append(
            f'At {stop.place} sky = "deep_valley" takes away sun for hills as well: they count '
            "twice unless sky tells only of what stands nearer."
        )
    return notes


def _common_years(
    parts: list[Stay], line: Timeline, provider_of: Callable[[Stop], WeatherProvider]
) -> tuple[int, ...]:
    """Weather years that every stop has; a stop with one year goes with any."""
    common: list[int] | None = None
    single: tuple[int, ...] = ()
    for stay in parts:
        years = provider_of(stay.stop).years(place_of(stay.stop), line.times_utc)
        if len(years) == 1:
            single = single or years
        else:
            common = list(years) if common is None else [y for y in common if y in years]
    return tuple(common) if common else single


def _block(
    stay: Stay, line: Timeline, provider: WeatherProvider, years: tuple[int, ...]
) -> WeatherBlock:
    """Weather of one stay; a single year stands for each of ``years``."""
    place, times = place_of(stay.stop), line.times_utc
    hours = slice(stay.first, stay.last)
    if not provider.label_is_start_year:
        return provider.block(place, times[hours], years)
    own = provider.years(place, times)
    block = provider.block(place, times, own if len(own) == 1 else years)
    cut = {name: getattr(block, name)[:, hours] for name in COLUMNS}
    return replace(block, times_utc=times[hours], **cut)
