"""What the public weather service answers, read into days; whatever is not as agreed is refused.

Source of the shape: the documentation of Open-Meteo's forecast interface (open-meteo.com/en/docs).

Its days before the day of asking are the weather models' own analysis of what has been: nobody
read an instrument in the garden, but it will not change, so they count as measured. That day itself
and those after it are a forecast. Which is which is settled by the day of asking: yesterday's
forecast does not become a measurement by lying in a cache overnight.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from controller import units
from controller.errors import NoWeather
from controller.weather.checks import check_day
from controller.weather.day import WeatherDay

ANALYSIS = "open-meteo analysis"
FORECAST = "open-meteo forecast"
WIND_HEIGHT_M = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Which place and which days are asked about."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str
    past_days: int
    forecast_days: int

    def query(self) -> str:
        """The question as the part of an address behind the question mark."""
        return urlencode(
            {
                "latitude": f"{self.latitude_deg:.4f}",
                "longitude": f"{self.longitude_deg:.4f}",
                "elevation": f"{self.elevation_m:.0f}",
                "timezone": self.timezone,  # its days then begin at the garden's midnight
                "past_days": self.past_days,
                "forecast_days": self.forecast_days,
                "wind_speed_unit": "ms",
                "daily": ",".join(series.name for series in _SERIES),
            },
            safe=",/",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What an answer says. `asked_on` is the garden's date on which it was given."""

    days: tuple[WeatherDay, ...]
    asked_on: date
    remarks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Series:
    """One list of the answer: the field it fills, and the units it may come in."""

    name: str
    field: str
    units: Mapping[str, Callable[[float], float]]
    needed: bool = True  # for a day to count as whole


def _same(value: float) -> float:
    return value


_TEMPERATURE = {"°C": _same, "°F": units.c_from_f}
_PERCENT = {"%": _same}
_WIND = {
    "m/s": _same,
    "km/h": units.m_s_from_km_h,
    "mp/h": units.m_s_from_mph,
    "mph": units.m_s_from_mph,
    "kn": units.m_s_from_knot,
}
_SERIES: tuple[_Series, ...] = (
    _Series(name="temperature_2m_min", field="tmin_c", units=_TEMPERATURE),
    _Series(name="temperature_2m_max", field="tmax_c", units=_TEMPERATURE),
    _Series(name="dew_point_2m_mean", field="dewpoint_c", units=_TEMPERATURE),
    _Series(name="relative_humidity_2m_min", field="rh_min_pct", units=_PERCENT),
    _Series(name="relative_humidity_2m_max", field="rh_max_pct", units=_PERCENT),
    _Series(name="wind_speed_10m_mean", field="wind_m_s", units=_WIND),
    _Series(name="shortwave_radiation_sum", field="solar_mj_m2", units={"MJ/m²": _same}),
    _Series(
        name="precipitation_sum",
        field="rain_mm",
        units={"mm": _same, "inch": units.mm_from_in},
    ),
    # The highest chance of any one hour to bring more than 0.1 mm, not that of the whole day.
    _Series(
        name="precipitation_probability_max",
        field="rain_chance_pct",
        units=_PERCENT,
        needed=False,
    ),
)


def read_answer(body: str, question: Question, *, fetched_utc: datetime) -> Reading:
    """Days out of the body of an answer.

    A day with only part of its figures is left out: the service makes its highest and lowest from
    whatever hours there are, so on a day cut short they are not the day's.

    Raises
    ------
    NoWeather
        If the body is not what was asked for.
    """
    answer = _parsed(body)
    _require_zone(answer, question, fetched_utc)
    daily, named = answer.get("daily"), answer.get("daily_units")
    if not isinstance(daily, Mapping) or not isinstance(named, Mapping):
        raise NoWeather("the weather service's answer has no days in it")
    dates = _dates(daily.get("time"), question)
    remarks: list[str] = []
    columns = {
        series.field: column
        for series in _SERIES
        if (column := _column(series, daily, named, len(dates), remarks)) is not None
    }
    if not {"tmin_c", "tmax_c"} <= columns.keys():
        raise NoWeather("the weather service gave no temperatures: " + "; ".join(remarks))
    # The board's clock may be wrong; the answer's own dates tell when it was given, too.
    asked_on = dates[0] + timedelta(days=question.past_days)
    own_date = fetched_utc.astimezone(ZoneInfo(question.timezone)).date()
    if abs(own_date - asked_on) > timedelta(days=1):
        remarks.append(f"the weather service's date is {asked_on}, this clock's {own_date}")
    days = _days(dates, columns, min(asked_on, own_date), remarks)
    if not days:
        raise NoWeather("the weather service gave no day whole")
    return Reading(days=tuple(days), asked_on=asked_on, remarks=tuple(remarks))


def reason_in(body: str) -> str:
    """The reason an error answer gives, cut short; nothing where it gives none."""
    try:
        answer = _parsed(body)
    except NoWeather:
        return ""
    reason = answer.get("reason")
    return " ".join(reason.split())[:200] if isinstance(reason, str) else ""


def _parsed(body: str) -> Mapping[str, object]:
    try:
        answer = json.loads(body, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise NoWeather("the weather service's answer is cut short or garbled") from None
    if not isinstance(answer, Mapping):
        raise NoWeather("the weather service's answer is not for one place")
    return answer


def _refuse_constant(word: str) -> float:
    raise ValueError(word)


def _require_zone(answer: Mapping[str, object], question: Question, fetched_utc: datetime) -> None:
    """Its days must be the garden's days; another name for the same zone will do."""
    if answer.get("timezone") == question.timezone:
        return
    ours = fetched_utc.astimezone(ZoneInfo(question.timezone)).utcoffset()
    theirs = answer.get("utc_offset_seconds")
    if ours is None or theirs != ours.total_seconds():
        raise NoWeather(
            f"the weather service's days are those of {answer.get('timezone')!r:.60}, "
            f"asked for was {question.timezone}"
        )


def _dates(found: object, question: Question) -> tuple[date, ...]:
    asked = question.past_days + question.forecast_days
    if not isinstance(found, list) or len(found) != asked:
        count = len(found) if isinstance(found, list) else "no"
        raise NoWeather(f"the weather service gave {count} dates, asked for were {asked}")
    try:
        dates = tuple(date.fromisoformat(text) for text in found)
    except (ValueError, TypeError):
        raise NoWeather("the weather service gave dates that do not read") from None
    if any(d != dates[0] + timedelta(days=n) for n, d in enumerate(dates)):
        raise NoWeather("the weather service's dates do not follow one another")
    return dates


def _column(
    series: _Series,
    daily: Mapping[str, object],
    named: Mapping[str, object],
    count: int,
    remarks: list[str],
) -> Sequence[float | None] | None:
    """The list in our unit, or None with a remark where it cannot be used."""
    found, unit = daily.get(series.name), named.get(series.name)
    if found is None:
        remarks.append(f"the weather service gave no {series.name}")
        return None
    if not isinstance(found, list) or len(found) != count:
        raise NoWeather(f"the weather service's {series.name} does not fit its {count} dates")
    if unit not in series.units:
        allowed = " or ".join(series.units)
        remarks.append(f"{series.name} not used: its unit is {unit!r:.40}, known is {allowed}")
        return None
    if series.needed and all(value is None for value in found):
        remarks.append(f"the weather service left {series.name} empty on every day")
        return None
    to_si = series.units[str(unit)]
    return [None if value is None else to_si(_number(series.name, value)) for value in found]


def _number(name: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not _finite(value):
        raise NoWeather(f"the weather service's {name} has {value!r:.40} where a number belongs")
    return float(value)


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # an integer of hundreds of digits
        return False


def _days(
    dates: Sequence[date],
    columns: Mapping[str, Sequence[float | None]],
    first_forecast: date,
    remarks: list[str],
) -> list[WeatherDay]:
    needed = [s.field for s in _SERIES if s.needed and s.field in columns]
    days, partial = [], []
    for n, day in enumerate(dates):
        values = {name: column[n] for name, column in columns.items()}
        if any(values[name] is None for name in needed):
            partial.append(str(day))
            continue
        measured = day < first_forecast
        if measured:
            values["rain_chance_pct"] = None  # it rained, or it did not
        written = WeatherDay(
            day=day,
            wind_height_m=WIND_HEIGHT_M,
            source=ANALYSIS if measured else FORECAST,
            measured=measured,
        ).with_(**values)
        checked, findings = check_day(written)
        remarks += [
            f"{day}, {' and '.join(f.fields)}: found {f.found}; allowed is {f.allowed}; not used"
            for f in findings
        ]
        days.append(checked)
    if partial:
        remarks.append(f"left out, being only part of a day: {', '.join(partial)}")
    return days
