"""What one day of weather may say; `series` looks at many days, `unitchecks` at whole columns.

An impossible figure is taken out and named; an odd one stays and is named. Nothing is put right:
whoever wrote the figure knows better than we do what was meant.

Limits "(daily limits)" are those of agweather-qaqc, an open checking tool for daily records of farm
weather stations (Apache-2.0, its documentation and settings); where ours are narrower, it says why.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from controller.weather.day import WeatherDay

ClearSky = Callable[[date], float]  # what a cloudless day brings [MJ/m2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The range a figure may have, ends included."""

    low: float
    high: float
    unit: str

    def __str__(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}".rstrip()


LIMITS: Mapping[str, Limit] = {
    # (daily limits)
    "tmin_c": Limit(low=-50.0, high=60.0, unit="°C"),
    "tmax_c": Limit(low=-50.0, high=60.0, unit="°C"),
    "wind_m_s": Limit(low=0.0, high=35.0, unit="m/s"),
    "rain_mm": Limit(low=0.0, high=610.0, unit="mm"),
    "vapour_pressure_kpa": Limit(low=0.0, high=8.0, unit="kPa"),
    # A share of what the air can hold; the daily limits allow 110, which no air can have.
    "rh_mean_pct": Limit(low=0.0, high=100.0, unit="%"),
    "rh_min_pct": Limit(low=0.0, high=100.0, unit="%"),
    "rh_max_pct": Limit(low=0.0, high=100.0, unit="%"),
    # Our choice: the cold end as for air; the warm end is 7.4 kPa, just within the vapour limit.
    "dewpoint_c": Limit(low=-50.0, high=40.0, unit="°C"),
    # What reaches the top of the air at the pole at midsummer, the most anywhere on any day:
    # 1440/pi * 0.0820 * 1.033 * pi * sin(23.45 deg) = 48.5 (FAO-56 eq. 21 with sunset angle pi).
    "solar_mj_m2": Limit(low=0.0, high=48.5, unit="MJ/m2"),
    "sunshine_h": Limit(low=0.0, high=24.0, unit="h"),
    "rain_chance_pct": Limit(low=0.0, high=100.0, unit="%"),
}
# Two sensors, each rounded, may disagree by this much before one is called wrong: our choice.
SLACK_C = 1.0
SLACK_PCT = 1.0
# Above 1.05 of a clear day the sun sensor is in doubt (envelope check of FAO-56 annex 5 and
# ASCE-EWRI 2005 appendix D, their tolerance from memory).
CLEAR_SKY_SLACK = 1.05
# A clear day brings at least 0.75 of what reaches the top of the air (FAO-56 eq. 37), so more than
# 1/0.75 of it cannot come from the sun.
ABOVE_THE_AIR = 1.0 / 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing wrong, or odd, with a day; `dropped` says its fields were taken out."""

    fields: tuple[str, ...]
    found: str
    allowed: str
    dropped: bool


def check_day(
    day: WeatherDay, *, clear_sky_mj_m2: ClearSky | None = None
) -> tuple[WeatherDay, tuple[Finding, ...]]:
    """The day without its impossible figures, and what was found."""
    findings: list[Finding] = []
    for name, limit in LIMITS.items():
        value = day.value(name)
        if value is not None and not limit.low <= value <= limit.high:  # also for NaN
            findings.append(_dropped((name,), f"{value:.4g} {limit.unit}", str(limit)))
            day = day.with_(**{name: None})
    for rule in (_temperatures, _humidities, _dew, _vapour):
        finding = rule(day)
        if finding is not None:
            findings.append(finding)
            day = day.with_(**dict.fromkeys(finding.fields))
    if clear_sky_mj_m2 is not None:
        finding = _sun(day, clear_sky_mj_m2(day.day))
        if finding is not None:
            findings.append(finding)
            if finding.dropped:
                day = day.with_(solar_mj_m2=None)
    return day, tuple(findings)


def _dropped(names: tuple[str, ...], found: str, allowed: str) -> Finding:
    return Finding(fields=names, found=found, allowed=allowed, dropped=True)


def _temperatures(day: WeatherDay) -> Finding | None:
    if day.tmin_c is None or day.tmax_c is None or day.tmin_c <= day.tmax_c:
        return None
    return _dropped(
        ("tmin_c", "tmax_c"),
        f"lowest {day.tmin_c:.4g} °C above highest {day.tmax_c:.4g} °C",
        "lowest up to highest; which of the two is wrong cannot be told, so neither is used",
    )


def _humidities(day: WeatherDay) -> Finding | None:
    low, mean, high = day.rh_min_pct, day.rh_mean_pct, day.rh_max_pct
    known = [
        (n, v) for n, v in (("lowest", low), ("mean", mean), ("highest", high)) if v is not None
    ]
    rising = all(a[1] <= b[1] + SLACK_PCT for a, b in pairwise(known))
    if rising and (low is None or high is None or low <= high):
        return None
    return _dropped(
        ("rh_min_pct", "rh_mean_pct", "rh_max_pct"),
        ", ".join(f"{n} {v:.4g} %" for n, v in known),
        "lowest, mean, highest in rising order; which is wrong cannot be told, so none is used",
    )


def _dew(day: WeatherDay) -> Finding | None:
    if day.dewpoint_c is None or day.tmax_c is None or day.dewpoint_c <= day.tmax_c + SLACK_C:
        return None
    return _dropped(
        ("dewpoint_c",),
        f"dew point {day.dewpoint_c:.4g} °C, highest temperature {day.tmax_c:.4g} °C",
        "at most the highest temperature",
    )


def _vapour(day: WeatherDay) -> Finding | None:
    if day.vapour_pressure_kpa is None or day.tmax_c is None:
        return None
    most = saturation_kpa(day.tmax_c + SLACK_C)
    if day.vapour_pressure_kpa <= most:
        return None
    return _dropped(
        ("vapour_pressure_kpa",),
        f"{day.vapour_pressure_kpa:g} kPa",
        f"at most {most:.2f} kPa, what the air can hold at {day.tmax_c:.4g} °C",
    )


def saturation_kpa(air_temp_c: float) -> float:
    """FAO-56 eq. 11; here, not from the demand room, which stands below this one."""
    return 0.6108 * math.exp(17.27 * air_temp_c / (air_temp_c + 237.3))


def _sun(day: WeatherDay, clear_mj_m2: float) -> Finding | None:
    if day.solar_mj_m2 is None or day.solar_mj_m2 <= CLEAR_SKY_SLACK * clear_mj_m2:
        return None
    impossible = day.solar_mj_m2 > ABOVE_THE_AIR * clear_mj_m2
    return Finding(
        fields=("solar_mj_m2",),
        found=f"{day.solar_mj_m2:.1f} MJ/m2",
        allowed=f"about {clear_mj_m2:.1f} MJ/m2 on a cloudless day"
        + (", and this is more than reaches the top of the air" if impossible else ""),
        dropped=impossible,
    )
