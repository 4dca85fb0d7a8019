"""The weather source a garden file names: a station's file beside it, or the public one."""

from __future__ import annotations

from pathlib import Path

from controller.clock import Clock
from controller.daemon.weatherdesk import WeatherAnswer
from controller.errors import NoWeather, RowgateError
from controller.garden.model import Garden
from controller.timetable.days import read_station
from controller.weather.online import OnlineWeather

PAST_DAYS = 92  # as far back as the public source gives in one request
FORECAST_DAYS = 3


class GardenWeather:
    """The source a garden file names: a station's file beside it, or the public one."""

    def __init__(self, base_dir: Path, cache_dir: Path, clock: Clock) -> None:
        self._base, self._clock = base_dir, clock
        self._online = OnlineWeather(cache_dir, clock)

    def __call__(self, garden: Garden) -> WeatherAnswer:
        """Ask the source; a fault becomes an answer without days."""
        try:
            if garden.weather.file is not None:
                return self._from_file(garden, garden.weather.file)
            if garden.weather.online:
                return self._from_net(garden)
            return self._nothing("none", "the garden file names no weather source")
        except RowgateError as fault:
            return self._nothing(garden.weather.file or "online", str(fault))

    def _from_file(self, garden: Garden, name: str) -> WeatherAnswer:
        found = read_station(self._base / name, garden)
        return WeatherAnswer(
            days=tuple(found.days),
            source=name,
            asked_utc=self._clock.now_utc(),
            remarks=(*found.faults, *found.remarks),
        )

    def _from_net(self, garden: Garden) -> WeatherAnswer:
        site = garden.site
        answer = self._online.days(
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            timezone=site.timezone,
            past_days=PAST_DAYS,
            forecast_days=FORECAST_DAYS,
        )
        if not answer.days:
            raise NoWeather("the public source gave no days")
        return WeatherAnswer(
            days=tuple(answer.days),
            source="online",
            asked_utc=answer.fetched_utc,
            remarks=tuple(answer.remarks),
            failed=not answer.fresh,
            credit=answer.credit,
        )

    def _nothing(self, source: str, why: str) -> WeatherAnswer:
        return WeatherAnswer(
            days=(),
            source=source,
            asked_utc=self._clock.now_utc(),
            remarks=(f"no weather from {source}: {why}",),
            failed=True,
        )
