"""Weather of a day under the cover of a bed: less ETo, less rain or none, other air.

Weather is measured or forecast outside. A cover lets through a share of the reference ET and a
share of the water that reaches the ground, as rain or as melting snow. The shares of covers that
stand together (a shade cloth in a tunnel) are multiplied. Glass and film change the air to which
the crop coefficients are adjusted. A row cover warms the days whose heat units are summed; a stage
still needs the sum of the open garden, so it comes sooner. On days without a cover the weather is
unchanged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import prod

from controller.demand.records import DayInput
from controller.garden.model import Cover

# Air under glass or film, for the climate adjustment of the crop coefficients: our choice. It
# hardly moves (the equations of FAO-56 take at least 1 m/s) and is moist by day.
FILM_WIND_M_S = 1.0
FILM_RH_MIN_PCT = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelter:
    """What all covers of a day together leave of the weather, and add to it."""

    eto_factor: float
    rain_factor: float
    is_film: bool
    warmer_c: float


def shelter_on(covers: Sequence[Cover], day: date) -> Shelter | None:
    """What the covers that stand on a day together leave of the weather.

    `covers` are all that ever stand over the bed. Factors are multiplied, warmth [°C] is added;
    None if no cover stands.

    Source
    ------
    The factors: `controller.garden.covers`. That they multiply: our choice.

    Examples
    --------
    >>> tunnel = Cover(kind="tunnel", eto_factor=0.75, rain_factor=0.0, is_film=True)
    >>> shade = Cover(kind="shade cloth", eto_factor=0.5, rain_factor=1.0)
    >>> found = shelter_on([tunnel, shade], date(2031, 6, 1))
    >>> found.eto_factor, found.rain_factor
    (0.375, 0.0)
    """
    standing = [cover for cover in covers if cover.stands_on(day)]
    if not standing:
        return None
    return Shelter(
        eto_factor=prod(cover.eto_factor for cover in standing),
        rain_factor=prod(cover.rain_factor for cover in standing),
        is_film=any(cover.is_film for cover in standing),
        warmer_c=sum(cover.warmer_c for cover in standing),
    )


def day_under(covers: Sequence[Cover], today: DayInput) -> DayInput:
    """Weather of a day under the covers of a bed.

    `covers` are all that ever stand over the bed. Reference ET, what is usual of it, rain and snow
    [mm], wind [m/s], lowest relative humidity [%] and temperatures [°C] are those under the covers.
    If no rain passes the covers, rain is 0 even if nobody measured it.

    Source
    ------
    The factors are those of `controller.garden.covers`, with their sources.

    Examples
    --------
    >>> tunnel = Cover(kind="tunnel", eto_factor=0.75, rain_factor=0.0, is_film=True)
    >>> outside = DayInput(day=date(2031, 6, 1), eto_mm=4.0, method="given", rain_mm=None)
    >>> inside = day_under([tunnel], outside)
    >>> inside.eto_mm, inside.rain_mm, inside.rh_min_pct
    (3.0, 0.0, 60.0)
    """
    found = shelter_on(covers, today.day)
    if found is None:
        return today
    rain_mm = today.rain_mm
    if rain_mm is not None or found.rain_factor == 0.0:
        rain_mm = found.rain_factor * (rain_mm or 0.0)
    usual_mm = today.normal_eto_mm
    return replace(
        today,
        eto_mm=found.eto_factor * today.eto_mm,
        normal_eto_mm=None if usual_mm is None else found.eto_factor * usual_mm,
        rain_mm=rain_mm,
        snow_mm=found.rain_factor * today.snow_mm,
        wind_2m_m_s=FILM_WIND_M_S if found.is_film else today.wind_2m_m_s,
        rh_min_pct=FILM_RH_MIN_PCT if found.is_film else today.rh_min_pct,
        tmin_c=None if today.tmin_c is None else today.tmin_c + found.warmer_c,
        tmax_c=None if today.tmax_c is None else today.tmax_c + found.warmer_c,
    )


def days_under(covers: Sequence[Cover], days: Mapping[date, DayInput]) -> Mapping[date, DayInput]:
    """Weather of each day under the covers of a bed.

    The same mapping if there are no covers.

    Source
    ------
    As `day_under`.

    Examples
    --------
    >>> days_under([], {})
    {}
    """
    return {day: day_under(covers, today) for day, today in days.items()} if covers else days


def rain_under(covers: Sequence[Cover], rain_mm: Mapping[date, float]) -> Mapping[date, float]:
    """Rain under the covers of a bed by day, from a gauge or a forecast.

    Both in mm, 0 or more; the same mapping if there are no covers.

    Source
    ------
    As `day_under`.

    Examples
    --------
    >>> net = Cover(kind="net", eto_factor=0.8, rain_factor=0.5, until=date(2031, 6, 1))
    >>> rain = rain_under([net], {date(2031, 6, 1): 6.0, date(2031, 6, 2): 6.0})
    >>> list(rain.values())
    [3.0, 6.0]
    """
    if not covers:
        return rain_mm
    shelters = {day: shelter_on(covers, day) for day in rain_mm}
    return {
        day: mm if (found := shelters[day]) is None else found.rain_factor * mm
        for day, mm in rain_mm.items()
    }
