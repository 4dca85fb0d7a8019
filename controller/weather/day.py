"""One day of weather from one source, and the checks of its figures.

A figure that a source does not give is None, never a guess. An impossible figure is removed and
named; an odd one stays and is named. Nothing is corrected, and nothing is converted by a guess: the
person who wrote the figure knows better than we do what was meant.

Limits "(daily limits)" are those of agweather-qaqc, an open checking tool for daily records of farm
weather stations (Apache-2.0, its documentation and settings). Where ours are narrower, a comment
says why. The thresholds for a column in a wrong unit are our choice: such figures are common in the
other unit and almost unknown in ours.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, datetime
from itertools import pairwise
from statistics import median
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherDay:
    """One local civil day at one place.

    `rain_mm` is None if it is unknown, which is not the same as 0. `wind_m_s` is the day's mean at
    `wind_height_m` above the ground.

    `measured`: from an instrument. `modelled`: a past day of a weather model. Neither: a forecast.
    `given_utc` is when the source gave a figure that may still change; None if it is final, or if
    the time is unknown.
    """

    day: date
    tmin_c: float | None = None
    tmax_c: float | None = None
    rh_mean_pct: float | None = None
    rh_min_pct: float | None = None
    rh_max_pct: float | None = None
    dewpoint_c: float | None = None
    vapour_pressure_kpa: float | None = None
    wind_m_s: float | None = None
    wind_height_m: float = 2.0
    solar_mj_m2: float | None = None
    sunshine_h: float | None = None
    rain_mm: float | None = None
    rain_chance_pct: float | None = None
    source: str = ""
    measured: bool = True
    modelled: bool = False
    given_utc: datetime | None = None

    @property
    def is_forecast(self) -> bool:
        """Whether it is a forecast: neither measured nor a model's past day."""
        return not (self.measured or self.modelled)

    @property
    def settles(self) -> bool:
        """Whether it is a model's past day that may still change."""
        return self.modelled and self.given_utc is not None

    def with_(self, **changes: Any) -> WeatherDay:
        """The same day with some fields changed."""
        return replace(self, **changes)

    def value(self, name: str) -> float | None:
        """The figure of a field; KeyError for a name that is not in `VALUES`."""
        if name not in VALUES:
            raise KeyError(name)
        found: float | None = getattr(self, name)
        return found

    def known(self) -> dict[str, float]:
        """The known figures, by field name."""
        return {name: v for name in VALUES if (v := self.value(name)) is not None}


# The fields with a figure of the weather, in the order of printing.
VALUES: tuple[str, ...] = tuple(
    f.name
    for f in fields(WeatherDay)
    if f.name not in {"day", "wind_height_m", "source", "measured", "modelled", "given_utc"}
)


ClearSky = Callable[[date], float]  # solar radiation of a clear day [MJ/m2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The range of a figure, with both ends."""

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
    # Relative humidity; the daily limits allow 110, which is impossible.
    "rh_mean_pct": Limit(low=0.0, high=100.0, unit="%"),
    "rh_min_pct": Limit(low=0.0, high=100.0, unit="%"),
    "rh_max_pct": Limit(low=0.0, high=100.0, unit="%"),
    # Our choice: the cold end as for air; the warm end is 7.4 kPa, just within the vapour limit.
    "dewpoint_c": Limit(low=-50.0, high=40.0, unit="°C"),
    # Radiation above the atmosphere at the pole at midsummer, the highest of any place and day:
    # 1440/pi * 0.0820 * 1.033 * pi * sin(23.45 deg) = 48.5 (FAO-56 eq. 21 with sunset angle pi).
    "solar_mj_m2": Limit(low=0.0, high=48.5, unit="MJ/m2"),
    "sunshine_h": Limit(low=0.0, high=24.0, unit="h"),
    "rain_chance_pct": Limit(low=0.0, high=100.0, unit="%"),
}
# Two sensors, each rounded, may disagree by this much before one is called wrong: our choice.
SLACK_C = 1.0
SLACK_PCT = 1.0
# Above 1.05 of a clear day the sun sensor is doubtful (envelope check of FAO-56 annex 5 and
# ASCE-EWRI 2005 appendix D, their tolerance from memory).
CLEAR_SKY_SLACK = 1.05
# A clear day has at least 0.75 of the radiation above the air (FAO-56 eq. 37), so more than
# 1/0.75 of it cannot come from the sun.
ABOVE_THE_AIR = 1.0 / 0.75


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFinding:
    """One fault or oddity of a day; `dropped` says that its fields were removed."""

    fields: tuple[str, ...]
    found: str
    allowed: str
    dropped: bool


def check_day(
    day: WeatherDay, *, clear_sky_mj_m2: ClearSky | None = None
) -> tuple[WeatherDay, tuple[DayFinding, ...]]:
    """The day without its impossible figures, with all findings."""
    findings: list[DayFinding] = []
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


def _dropped(names: tuple[str, ...], found: str, allowed: str) -> DayFinding:
    return DayFinding(fields=names, found=found, allowed=allowed, dropped=True)


def _temperatures(day: WeatherDay) -> DayFinding | None:
    if day.tmin_c is None or day.tmax_c is None or day.tmin_c <= day.tmax_c:
        return None
    return _dropped(
        ("tmin_c", "tmax_c"),
        f"lowest {day.tmin_c:.4g} °C above highest {day.tmax_c:.4g} °C",
        "lowest up to highest; which of the two is wrong is not known, so neither is used",
    )


def _humidities(day: WeatherDay) -> DayFinding | None:
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
        "lowest, mean, highest in rising order; which is wrong is not known, so none is used",
    )


def _dew(day: WeatherDay) -> DayFinding | None:
    if day.dewpoint_c is None or day.tmax_c is None or day.dewpoint_c <= day.tmax_c + SLACK_C:
        return None
    return _dropped(
        ("dewpoint_c",),
        f"dew point {day.dewpoint_c:.4g} °C, highest temperature {day.tmax_c:.4g} °C",
        "at most the highest temperature",
    )


def _vapour(day: WeatherDay) -> DayFinding | None:
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
    """Saturation vapour pressure; the weather room does not import the demand room.

    Parameters
    ----------
    air_temp_c : float
        Air temperature, above -237.3. [°C]

    Returns
    -------
    float
        Above 0. [kPa]

    Source
    ------
    FAO-56 eq. 11; Annex 2, Table 2.3 prints 2.338 kPa at 20 °C.

    Examples
    --------
    >>> round(saturation_kpa(20.0), 3)
    2.338
    """
    return 0.6108 * math.exp(17.27 * air_temp_c / (air_temp_c + 237.3))


def _sun(day: WeatherDay, clear_mj_m2: float) -> DayFinding | None:
    if day.solar_mj_m2 is None or day.solar_mj_m2 <= CLEAR_SKY_SLACK * clear_mj_m2:
        return None
    impossible = day.solar_mj_m2 > ABOVE_THE_AIR * clear_mj_m2
    return DayFinding(
        fields=("solar_mj_m2",),
        found=f"{day.solar_mj_m2:.1f} MJ/m2",
        allowed=f"about {clear_mj_m2:.1f} MJ/m2 on a cloudless day"
        + (", and this is more than reaches the top of the air" if impossible else ""),
        dropped=impossible,
    )


LEAST_DAYS = 5  # our choice: a median of fewer days says little
LEAST_DAYS_FOR_A_TENTH = 30
# Sun as a part of a clear day's. Ten weeks of the dullest winter of 24 years in the Netherlands had
# a median of 0.3, so a median below 0.1 over that long is another unit: kWh/m2 come to 0.1 to 0.3.
MOST_OF_A_CLEAR_DAY = 1.3
LEAST_OF_A_CLEAR_DAY = 0.1
LEAST_DAYS_FOR_LITTLE_SUN = 60
# Degrees Celsius in a column named for Fahrenheit come out as -18 to 4 °C; a garden with no warmer
# day in so many is none.
WARMEST_C = 8.0
LEAST_DAYS_FOR_COLD = 150
LEAST_WET_DAYS = 20  # with fewer, small rain may be real: a remark, not a fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspicion:
    """One field that seems to be in another unit; `refused` says that it must not be used."""

    field: str
    found: str
    refused: bool


def unit_suspicions(
    days: Sequence[WeatherDay],
    names: Mapping[str, str],
    *,
    clear_sky_mj_m2: ClearSky | None = None,
) -> tuple[Suspicion, ...]:
    """The fields that look mislabelled; `names` has the file's column for each field."""
    found = []
    for name, column in names.items():
        figures = [v for d in days if (v := d.value(name)) is not None]
        if len(figures) < LEAST_DAYS:
            continue
        odd = _by_size(name, column, figures)
        if odd is None and name == "solar_mj_m2" and clear_sky_mj_m2 is not None:
            odd = _by_clear_sky(days, clear_sky_mj_m2)
        if odd is not None:
            found.append(odd)
    return tuple(found)


def _by_size(name: str, column: str, figures: Sequence[float]) -> Suspicion | None:
    if column == "tmax_f" and len(figures) >= LEAST_DAYS_FOR_COLD and max(figures) < WARMEST_C:
        return Suspicion(
            field=name,
            found=f"no day of {len(figures)} above {max(figures):.1f} °C once converted, "
            "which looks like degrees Celsius (tmax_c) under a Fahrenheit name",
            refused=True,
        )
    if name == "rain_mm" and column == name and _small_with_hundredths(figures):
        wet = sum(v > 0.0 for v in figures)
        return Suspicion(
            field=name,
            found=f"never more than {max(figures):g} on {wet} wet days, written to hundredths, "
            "which looks like inches (rain_in)",
            refused=wet >= LEAST_WET_DAYS,
        )
    for field, is_odd, likely in _OTHER_UNITS:
        if field == name and is_odd(figures):
            if column != field:
                likely = "another unit than its heading says"
            usual = median([v for v in figures if v] or figures)
            return Suspicion(
                field=name,
                found=f"a usual figure of {usual:.4g} and up to {max(figures):.4g}, "
                f"which looks like {likely}",
                refused=True,
            )
    return None


def _by_clear_sky(days: Sequence[WeatherDay], clear_sky: ClearSky) -> Suspicion | None:
    parts = [
        d.solar_mj_m2 / clear
        for d in days
        if d.solar_mj_m2 is not None and (clear := clear_sky(d.day)) > 1.0
    ]
    if len(parts) < LEAST_DAYS:
        return None
    usual = median(parts)
    too_little = usual < LEAST_OF_A_CLEAR_DAY and len(parts) >= LEAST_DAYS_FOR_LITTLE_SUN
    if usual <= MOST_OF_A_CLEAR_DAY and not (too_little and any(parts)):
        return None
    return Suspicion(
        field="solar_mj_m2",
        found=f"a usual day with {usual:.2g} of a clear day's sun, which looks like another unit",
        refused=True,
    )


def _over(middle: float, tenth: float) -> Callable[[Sequence[float]], bool]:
    """Whether the median is over the first limit, or a tenth of the figures over the second."""
    return lambda figures: (
        median(figures) > middle
        or (
            len(figures) >= LEAST_DAYS_FOR_A_TENTH
            and sorted(figures)[-(len(figures) // 10)] > tenth
        )
    )


def _all_fractions(figures: Sequence[float]) -> bool:
    return 0.0 < max(figures) <= 1.0


def _small_with_hundredths(figures: Sequence[float]) -> bool:
    """Rain in inches is small and written to 0.01; rain in millimetres to 0.1 or 0.2."""
    wet = [v for v in figures if v > 0.0]
    return (
        len(wet) >= LEAST_DAYS
        and max(wet) < 3.0
        and sum(abs(v * 10.0 - round(v * 10.0)) > 0.01 for v in wet) * 2 >= len(wet)
    )


# The tenth highest of a hundred differs where the median of a cold year does not.
_OTHER_UNITS: tuple[tuple[str, Callable[[Sequence[float]], bool], str], ...] = (
    ("tmin_c", _over(38.0, 40.0), "degrees Fahrenheit (tmin_f)"),
    ("tmax_c", _over(45.0, 52.0), "degrees Fahrenheit (tmax_f)"),
    ("dewpoint_c", _over(32.0, 34.0), "degrees Fahrenheit (dewpoint_f)"),
    ("solar_mj_m2", _over(45.0, 45.0), "W/m2 or langley (solar_w_m2, solar_langley)"),
    ("wind_m_s", _over(12.0, 25.0), "kilometres an hour (wind_km_h)"),
    ("vapour_pressure_kpa", _over(8.0, 6.5), "hectopascal (vapour_pressure_hpa)"),
    ("rh_mean_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
    ("rh_max_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
    ("rh_min_pct", _all_fractions, "a fraction, 0 to 1, not percent"),
)
