"""Which weather a trip asked for: one provider per stop, from what the plan names."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from offgrid_sim.errors import OffgridError
from offgrid_sim.plan.loaded import STATION, LoadedTrip
from offgrid_sim.plan.route import Stop
from offgrid_sim.weather.climate import ClimateWeather
from offgrid_sim.weather.files import open_weather_file, packaged_station
from offgrid_sim.weather.table import WeatherProvider


def providers(loaded: LoadedTrip) -> Callable[[Stop], WeatherProvider]:
    """A function from stop to its weather source.

    A stop's own file comes first, then the file that serves all stops, then the climate. Raises
    WeatherFileError where a file is unusable.
    """
    choice = loaded.trip.weather

    def of_file(key: str, name: str) -> WeatherProvider:
        if name.startswith(STATION):
            return packaged_station(name.removeprefix(STATION))
        path = loaded.weather_path(key)
        assert path is not None
        return _opened(path)

    def provider_of(stop: Stop) -> WeatherProvider:
        if stop.weather is not None:
            return of_file(
                f"route.stops.{loaded.trip.route.stops.index(stop)}.weather", stop.weather
            )
        if choice.source == "file":
            assert choice.file is not None
            return of_file("weather.file", choice.file)
        if choice.source == "climate":
            return _climate(choice.years, choice.seed)
        raise OffgridError(f"weather source {choice.source!r} is not known; use climate or file.")

    return provider_of


@cache
def _opened(path: Path) -> WeatherProvider:
    return open_weather_file(path)


@cache
def _climate(years: int, seed: int) -> WeatherProvider:
    return ClimateWeather(years, seed)
