"""Plausibility of notes: rain, hand watering, a meter reading, a date.

A typing error (a missing decimal point, inches for millimetres, last year's date) would be credited
to the soil and keep a bed dry for weeks. A note that looks like one gives a question, or is written
only if the person insists; an impossible one is refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from controller.demand.climate.snow import MOST_MM
from controller.demand.soil.soil_water import taw_mm
from controller.garden.model import Zone
from controller.garden.show import show_depth, show_volume
from controller.timetable.need.jobs import Grounds
from controller.units import l_from_m3, m3_from_l, mm_from_litres

# Rain of one day. The most ever measured in 24 hours: Foc-Foc, La Reunion, 7 and 8 January 1966,
# 1,825 mm (archive of weather extremes of the World Meteorological Organization; from memory).
RECORD_RAIN_MM = 1825.0
# 5 in: our choice. In most gardens of the temperate zone so much falls in a day once in some
# decades (from memory).
UNLIKELY_RAIN_MM = 127.0
# Of a dose of so many times what the root zone holds, nearly all drains; our choice.
UNLIKELY_TAW = 3.0
MOST_MOISTURE_PCT = 55.0
BARE_DEPTH_M = 1.0  # of the soil, if nothing was ever planted; our choice
DAYS_LATE = 300  # a note is seldom later, and last year's date by mistake is; our choice
# In a day and a night: what a house meter of 2.5 m3/h (Q3) bears for short at most, Q4 = 1.25 Q3
# (ISO 4064-1; from memory), so 24 h x 3.125 m3/h. That a garden never draws more: our choice.
UNLIKELY_METER_L_DAY = 75_000.0
_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A doubtful note: what was found, what is usual, whether a person may insist on it."""

    words: str
    may_be: bool = True


def of_rain(mm: float, before_mm: float, day: date, *, us_units: bool) -> Doubt | None:
    """The doubt about a note of rain, together with earlier notes of that day. [mm]"""

    def shown(depth_mm: float) -> str:
        return show_depth(depth_mm, us_units)

    if not mm >= 0.0:
        return Doubt(words=f"found {shown(mm)} of rain; allowed is 0 or more", may_be=False)
    total_mm = before_mm + mm
    found = f"found {shown(mm)} of rain on {day}"
    if before_mm > 0.0:
        found += f", {shown(total_mm)} with what was noted for that day before"
    if total_mm > RECORD_RAIN_MM:
        return Doubt(
            words=f"{found}; the most that ever fell in a day, anywhere, is "
            f"{shown(RECORD_RAIN_MM)}: look at the unit and the point",
            may_be=False,
        )
    if total_mm > UNLIKELY_RAIN_MM:
        return Doubt(
            words=f"{found}; over {shown(UNLIKELY_RAIN_MM)} in a day is seldom seen. If it fell "
            "over several days, note each with its own --on"
        )
    return None


def of_moisture(percent: float, zone: Zone, *, grounds: Grounds) -> Doubt | None:
    """The doubt about a soil moisture in the root zone. [% by volume]

    Roots dry no soil much below its wilting point; evaporation dries only the surface, down to half
    of it (FAO-56 (1998), eq. 73). No mineral soil holds more than `MOST_MOISTURE_PCT` of water
    (saturated clay; from memory).
    """
    soil = grounds.soil(zone.bed.soil)
    least_pct = 50.0 * soil.wilting_point
    found = f"found {percent:g} % of the soil's volume for {zone.name}"
    if percent < least_pct:
        words = f"{found}; {zone.bed.soil} among roots is never under about {least_pct:.0f} %"
        if percent <= 1.0:
            words += f". A probe that shows a share means {100.0 * percent:g} %"
        return Doubt(words=words)
    if percent > MOST_MOISTURE_PCT:
        return Doubt(
            words=f"{found}; soil full of water has {MOST_MOISTURE_PCT:g} % at most. A probe whose "
            "scale ends at 100 shows no percent by volume: see its leaflet, or note how the soil "
            "feels"
        )
    return None


def of_watering(
    litres: float, before_l: float, zone: Zone, day: date, *, grounds: Grounds, flow_m3_s: float
) -> Doubt | None:
    """The doubt about litres given by hand, together with earlier ones of that day. [L]

    `flow_m3_s` is the zone's flow alone, with its valve as it is now; 0 if it is unknown.
    """
    us, total_l, ground_m2 = grounds.garden.us_units, before_l + litres, zone.ground_m2
    found = f"found {show_volume(m3_from_l(litres), us)} for {zone.name} on {day}"
    if before_l > 0.0:
        found += f", {show_volume(m3_from_l(total_l), us)} with what it got that day before"
    if not litres >= 0.0:
        return Doubt(words=f"{found}; allowed is 0 or more", may_be=False)
    if ground_m2 <= 0.0:
        return None
    depth_mm = mm_from_litres(total_l, ground_m2)
    found += f": {show_depth(depth_mm, us)} over its ground"
    if depth_mm > MOST_MM:
        return Doubt(
            words=f"{found}; no ground takes more than {show_depth(MOST_MM, us)} in a day: look at "
            "the unit and the point",
            may_be=False,
        )
    holds_l = ground_m2 * _root_zone_mm(zone, day, grounds)
    most_l = max(UNLIKELY_TAW * holds_l, l_from_m3(zone.daily_cap_m3))
    if total_l > most_l:
        return Doubt(
            words=f"{found}; its root zone holds {show_volume(m3_from_l(holds_l), us)} when it is "
            f"dry, and more than {show_volume(m3_from_l(most_l), us)} in a day is seldom given"
        )
    through_l = l_from_m3(flow_m3_s) * _DAY_S
    if total_l > through_l > 0.0:
        return Doubt(
            words=f"{found}; open day and night its valve passes "
            f"{show_volume(m3_from_l(through_l), us)}"
        )
    return None


def of_meter(
    litres: float,
    before: tuple[float, date] | None,
    after: tuple[float, date] | None = None,
    *,
    day: date,
    us_units: bool,
) -> Doubt | None:
    """The doubt about a meter reading of a day, between the readings before and after it. [L]"""

    def shown(amount_l: float) -> str:
        return show_volume(m3_from_l(amount_l), us_units)

    if not litres >= 0.0:
        return Doubt(words=f"found {shown(litres)}; a meter reads 0 or more", may_be=False)
    odd = before if before is not None and litres < before[0] else None
    if odd is None and after is not None and litres > after[0]:
        odd = after
    if odd is None:
        return None if before is None else _of_meter_rise(litres, *before, day, us_units)
    return Doubt(
        words=f"found {shown(litres)}; on {odd[1]} the meter read {shown(odd[0])}, and it does not "
        "run back. If it was exchanged in between, say so with the first reading of the new one: "
        "--new-meter; if that other reading was wrong, withdraw it",
        may_be=False,
    )


def _of_meter_rise(
    litres: float, before_l: float, before_day: date, day: date, us: bool
) -> Doubt | None:
    """The doubt about a rise of the meter that no house draws, as by a digit too many. [L]"""
    days = max((day - before_day).days, 1)
    if litres - before_l <= UNLIKELY_METER_L_DAY * days:
        return None
    rise, read = (show_volume(m3_from_l(each), us) for each in (litres - before_l, before_l))
    most = show_volume(m3_from_l(UNLIKELY_METER_L_DAY), us)
    return Doubt(
        words=f"found {show_volume(m3_from_l(litres), us)}; on {before_day} the meter read {read}: "
        f"{rise} since then, and a house meter passes {most} in a day and a night at most"
    )


def of_day(day: date, today: date) -> Doubt | None:
    """The doubt about the date of a note."""
    late = (today - day).days
    if late <= DAYS_LATE:
        return None
    return Doubt(
        words=f"found --on {day}, {late} days ago; a note is seldom so late: is it the year?"
    )


def _root_zone_mm(zone: Zone, day: date, grounds: Grounds) -> float:
    """Available water of the root zone, for the full-grown crops of the zone. [mm]"""
    standing = [p for p in zone.plantings if p.start <= day <= p.until] or list(zone.plantings)
    depth_m = max((grounds.crop(p.crop).root_max_m for p in standing), default=BARE_DEPTH_M)
    if zone.bed.rooting_limit_m is not None:
        depth_m = min(depth_m, zone.bed.rooting_limit_m)
    soil = grounds.soil(zone.bed.soil)
    return taw_mm(
        field_capacity=soil.field_capacity, wilting_point=soil.wilting_point, root_depth_m=depth_m
    )
