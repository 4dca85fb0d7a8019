"""Reference ET of a day at a garden's site, and a station's file as the garden has it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import lru_cache
from pathlib import Path

from controller.demand.eto import ReferenceEt, reference_et
from controller.demand.radiation import clear_sky_mj_m2
from controller.demand.sun import day_of_year, extraterrestrial_mj_m2
from controller.garden.model import Garden, Site
from controller.weather.day import WeatherDay
from controller.weather.file import WeatherFile, read_weather

_DAYS_REMEMBERED = 20_000  # some fifty years of days, so that a plan reckons only what is new


@lru_cache(maxsize=_DAYS_REMEMBERED)
def eto_of(weather: WeatherDay, site: Site) -> ReferenceEt | None:
    """Reference ET of one day of weather; None where even its temperatures are missing.

    Raises
    ------
    OutOfRange
        If a figure is one that no weather has.
    """
    if weather.tmin_c is None or weather.tmax_c is None:
        return None
    return reference_et(
        day=weather.day,
        latitude_deg=site.latitude_deg,
        elevation_m=site.elevation_m,
        tmin_c=weather.tmin_c,
        tmax_c=weather.tmax_c,
        dewpoint_c=weather.dewpoint_c,
        rh_max_pct=weather.rh_max_pct,
        rh_min_pct=weather.rh_min_pct,
        rh_mean_pct=weather.rh_mean_pct,
        vapour_pressure_kpa=weather.vapour_pressure_kpa,
        wind_m_s=weather.wind_m_s,
        wind_height_m=weather.wind_height_m,
        solar_mj_m2=weather.solar_mj_m2,
        sunshine_h=weather.sunshine_h,
        coastal=site.coastal,
    )


def clear_sky_of(site: Site) -> Callable[[date], float]:
    """The sun of a clear day at this place, by which a sensor's figures are judged. [MJ/m2]"""

    def clear_sky(day: date) -> float:
        above_the_air = extraterrestrial_mj_m2(
            latitude_deg=site.latitude_deg, day_of_year=day_of_year(day)
        )
        return clear_sky_mj_m2(extraterrestrial_mj_m2=above_the_air, elevation_m=site.elevation_m)

    return clear_sky


def read_station(path: Path, garden: Garden) -> WeatherFile:
    """A station's file as this garden has it: its kind, its anemometer's height, its clear sky.

    Raises
    ------
    WeatherFileError
        If the file cannot be read as weather.
    """
    return read_weather(
        path,
        kind=garden.weather.file_kind,
        wind_height_m=garden.weather.wind_height_m,
        clear_sky_mj_m2=clear_sky_of(garden.site),
        timezone=garden.site.timezone,
    )
