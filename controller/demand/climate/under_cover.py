"""A day of weather as a bed has it under its cover: less ETo, less rain or none, other air.

Weather is measured or forecast outside. What stands over a bed on a day leaves a share of the
reference ET and a share of the water that reaches the ground, as rain or as melting snow; covers
that stand together (a shade cloth in a tunnel) leave the product. Glass and film change the air
that the crop coefficients are adjusted to; a row cover warms the days that heat units are summed
of: what is normal for a stage stays that of the open garden, so it comes sooner. On days without a
cover, and without covers at all, a day stays the very same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import prod

from controller.demand.records import DayInput
from controller.garden.model import Cover

# Air under glass or film, for the climate adjustment of the crop coefficients: our choice. It
# hardly moves (FAO-56 takes no wind below 1 m/s into its equations), and is moist by day.
FILM_WIND_M_S = 1.0
FILM_RH_MIN_PCT = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelter:
    """What all covers of a day come to together."""

    eto_factor: float
    rain_factor: float
    is_film: bool
    warmer_c: float


def shelter_on(covers: Sequence[Cover], day: date) -> Shelter | None:
    """What the covers that stand on that day come to; None where none stands."""
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
    """The day as a bed under these covers has it.

    Parameters
    ----------
    covers : sequence of Cover
        All that ever stand over the bed.
    today : DayInput
        The day as it is outside.

    Returns
    -------
    DayInput
        Reference ET, what is usual of it, rain and snow [mm], wind [m/s], lowest relative humidity
        [%] and temperatures [degree C] under the covers. Where no rain passes, rain that nobody
        measured is known: there is none.

    Source
    ------
    The factors are those of `controller.garden.covers`, with their sources. That rain measured
    outside is multiplied like any other, and that an unknown rain under a full cover is no rain,
    follows from what a cover is.
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
    """Every day as a bed under these covers has it; the same mapping where there are none."""
    return {day: day_under(covers, today) for day, today in days.items()} if covers else days


def rain_under(covers: Sequence[Cover], rain_mm: Mapping[date, float]) -> Mapping[date, float]:
    """Rain by day, of a gauge or of a forecast, as a bed under these covers has it. [mm]"""
    if not covers:
        return rain_mm
    shelters = {day: shelter_on(covers, day) for day in rain_mm}
    return {
        day: mm if (found := shelters[day]) is None else found.rain_factor * mm
        for day, mm in rain_mm.items()
    }
