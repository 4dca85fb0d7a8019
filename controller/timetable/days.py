"""From days of weather to what the ledger asks of a day, with a stand-in where a day is missing.

A stand-in says it is one: its reference ET is the mean of the latest measured days, its rain is
unknown, never zero. The full ladder of sources is a later piece of work; this is its last rung
for a garden whose source is down for a while.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from controller.demand.eto import ReferenceEt, reference_et
from controller.demand.radiation import clear_sky_mj_m2
from controller.demand.records import DayInput
from controller.demand.sun import day_of_year, extraterrestrial_mj_m2
from controller.errors import NoWeather, OutOfRange
from controller.garden.model import Garden, Site
from controller.weather.day import WeatherDay
from controller.weather.file import WeatherFile, read_weather_csv

_DAY = timedelta(days=1)
STAND_IN_FROM_DAYS = 7  # measured days a stand-in is the mean of; our choice
STAND_IN_WITHIN_DAYS = 45  # and how far back they may lie; our choice
# FAO-56 wants stage means of wind and humidity for the climate adjustment of Kc (eq. 62); a running
# mean of this many days stands for them. Our choice, about the length of a stage.
CLIMATE_DAYS = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class DemandDays:
    """Days ready for the ledger, without gaps, and what has to be said about them."""

    days: Mapping[date, DayInput]
    remarks: tuple[str, ...]


def eto_of(weather: WeatherDay, site: Site) -> ReferenceEt | None:
    """Reference ET of one day of weather; None where even its temperatures are missing."""
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
    """A station's file as this garden has it: its anemometer's height, its clear sky."""
    return read_weather_csv(
        path,
        wind_height_m=garden.weather.wind_height_m,
        clear_sky_mj_m2=clear_sky_of(garden.site),
    )


def demand_days(
    weather: Iterable[WeatherDay],
    site: Site,
    *,
    last: date,
    rain_gauge_mm: Mapping[date, float] | None = None,
) -> DemandDays:
    """Every day from the first one measured up to `last`, in order and without gaps.

    A reading of the garden's own rain gauge outranks the source's rain.

    Raises
    ------
    NoWeather
        If no day at all has temperatures.
    """
    gauge = rain_gauge_mm or {}
    by_day = {w.day: w for w in weather if w.day <= last}
    known: dict[date, tuple[WeatherDay, ReferenceEt]] = {}
    remarks: list[str] = []
    for day in sorted(by_day):
        try:
            eto = eto_of(by_day[day], site)
        except OutOfRange as fault:
            remarks.append(f"{day}: {fault}; the day is treated as missing")
            continue
        if eto is not None:
            known[day] = (by_day[day], eto)
    if not known:
        raise NoWeather(f"no day up to {last} has both temperatures; a ledger needs at least one")
    return _without_gaps(known, by_day, gauge, last, remarks)


def _without_gaps(
    known: Mapping[date, tuple[WeatherDay, ReferenceEt]],
    by_day: Mapping[date, WeatherDay],
    gauge: Mapping[date, float],
    last: date,
    remarks: list[str],
) -> DemandDays:
    measured = sorted(known)
    days: dict[date, DayInput] = {}
    stood_in: list[date] = []
    day = measured[0]
    trail: list[ReferenceEt] = []
    while day <= last:
        given = by_day.get(day)
        rain = gauge.get(day, given.rain_mm if given is not None else None)
        if day in known:
            weather, eto = known[day]
            trail = [*trail[-(CLIMATE_DAYS - 1) :], eto]
            method, eto_mm = eto.method, eto.eto_mm_day
            is_measured, source = weather.measured, weather.source
        else:
            if day < measured[-1] or given is not None:
                stood_in.append(day)
            eto_mm, used = _stand_in_mm(day, known, measured)
            method, is_measured, source = f"stand-in: mean of {used} days", False, "stand-in"
        days[day] = DayInput(
            day=day,
            eto_mm=eto_mm,
            method=method,
            rain_mm=rain,
            wind_2m_m_s=_mean([e.wind_2m_m_s for e in trail]),
            rh_min_pct=_mean([e.rh_min_pct for e in trail]),
            measured=is_measured,
            source=source,
        )
        day += _DAY
    if stood_in:
        remarks.append(
            f"{_listed(stood_in)}: no usable weather; reference ET stands in as the mean of the "
            "days before, rain is unknown"
        )
    return DemandDays(days=days, remarks=tuple(remarks))


def _stand_in_mm(
    day: date, known: Mapping[date, tuple[WeatherDay, ReferenceEt]], measured: Sequence[date]
) -> tuple[float, int]:
    before = [d for d in measured if d < day and (day - d).days <= STAND_IN_WITHIN_DAYS][
        -STAND_IN_FROM_DAYS:
    ]
    if not before:
        raise NoWeather(
            f"{day}: no measured day within {STAND_IN_WITHIN_DAYS} days before it to stand in"
        )
    return _mean([known[d][1].eto_mm_day for d in before]), len(before)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _listed(days: Sequence[date]) -> str:
    if len(days) <= 3:
        return ", ".join(d.isoformat() for d in days)
    return f"{days[0].isoformat()} to {days[-1].isoformat()} ({len(days)} days)"
