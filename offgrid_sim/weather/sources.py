"""Which weather a trip asked for: one provider per stop, from what the plan names."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from offgrid_sim.plan.loaded import STATION, LoadedTrip
from offgrid_sim.plan.route import Stop
from offgrid_sim.weather.climate import ClimateWeather
from offgrid_sim.weather.files import open_weather_file, packaged_station
from offgrid_sim.weather.table import Place, WeatherProvider


def providers(loaded: LoadedTrip) -> Callable[[Stop], WeatherProvider]:
    """A function from stop to its weather source.

    A stop's own file comes first, then what serves all stops: a file, the fetched past years or
    the climate. Raises WeatherFileError where a file is unusable.
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
        return archive()

    @cache
    def archive() -> WeatherProvider:
        from offgrid_sim.weather.archive import ArchiveWeather  # requests: only where wanted

        return ArchiveWeather(archive_places(loaded))

    return provider_of


def archive_places(loaded: LoadedTrip) -> list[Place]:
    """The stops without a weather file of their own, as places to ask an archive for."""
    return [
        Place(stop.place, stop.latitude_deg, stop.longitude_deg, stop.altitude_m)
        for stop in loaded.trip.route.stops
        if stop.weather is None
    ]


def horizon_places(loaded: LoadedTrip) -> list[Place]:
    """The stops that ask for an archive's horizon, whatever their weather."""
    return [
        Place(stop.place, stop.latitude_deg, stop.longitude_deg, stop.altitude_m)
        for stop in loaded.trip.route.stops
        if stop.horizon == "archive"
    ]


@cache
def _opened(path: Path) -> WeatherProvider:
    return open_weather_file(path)


@cache
def _climate(years: int, seed: int) -> WeatherProvider:
    return ClimateWeather(years, seed)
