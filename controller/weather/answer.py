"""What the answers of all the services have in common: place and days asked, JSON, days read.

Whatever is not as agreed is refused; what a service does not give is None, never a guess.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from controller import units
from controller.errors import NoWeather
from controller.weather.checks import check_day
from controller.weather.day import WeatherDay

Convert = Callable[[float], float]
MOST_PAST_DAYS, MOST_FORECAST_DAYS = 92, 16  # the most any of them has, as documented
# The models behind the services run every six hours and take some more to come out: our choice.
LONGEST_MAKING = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the weather is wanted; its days are those of the time zone named."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str

    @property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.timezone)

    def date_at(self, at_utc: datetime) -> date:
        """The date there at that time."""
        return at_utc.astimezone(self.zone).date()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Which place and which days are asked about, by this clock's date `today`."""

    place: Place
    today: date
    past_days: int
    forecast_days: int

    def days_to_come(self, given_on: date) -> tuple[date, ...]:
        """From the day a forecast was given to the last one wanted, by the later of two dates."""
        last = max(given_on, self.today) + timedelta(days=self.forecast_days - 1)
        # A clock that has run far ahead must not make a list of years.
        count = min((last - given_on).days + 1, MOST_FORECAST_DAYS)
        return tuple(given_on + timedelta(days=n) for n in range(count))


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One list of an answer: its name there, the field it fills, the units it may come in."""

    name: str
    field: str
    units: Mapping[str, Convert]
    needed: bool = True  # for a day to count as whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What an answer says. `asked_on` is the garden's date on which it was given.

    `made_utc` is when the forecast was made, where the service says so: it may repeat an old one.
    """

    days: tuple[WeatherDay, ...]
    asked_on: date
    remarks: tuple[str, ...] = ()
    made_utc: datetime | None = None


def same(value: float) -> float:
    """A figure that is in our unit already."""
    return value


# The units figures may come in, by the names these services use, with what makes them ours.
TEMPERATURE: Mapping[str, Convert] = {
    **dict.fromkeys(("°C", "degC", "celsius", "C"), same),
    **dict.fromkeys(("°F", "degF", "fahrenheit", "F"), units.c_from_f),
}
PERCENT: Mapping[str, Convert] = {"%": same, "percent": same}
WIND: Mapping[str, Convert] = {
    **dict.fromkeys(("m/s", "m_s-1"), same),
    **dict.fromkeys(("km/h", "km_h-1"), units.m_s_from_km_h),
    **dict.fromkeys(("mp/h", "mph"), units.m_s_from_mph),
    **dict.fromkeys(("kn", "kt", "knots"), units.m_s_from_knot),
}
RAIN: Mapping[str, Convert] = {
    **dict.fromkeys(("mm", "mm/day"), same),
    **dict.fromkeys(("inch", "in"), units.mm_from_in),
}


def unit_trouble(name: str, unit: object, known: Mapping[str, Convert]) -> str | None:
    """What to say of a figure whose unit we do not know; None where we do."""
    if isinstance(unit, str) and unit in known:
        return None
    return f"{name} not used: its unit is {unit!r:.40}, known is {' or '.join(known)}"


def parsed(body: str) -> Mapping[str, object]:
    """The JSON object a body holds.

    Raises
    ------
    NoWeather
        If it holds none.
    """
    try:
        answer = json.loads(body, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise NoWeather("the weather service's answer is cut short or garbled") from None
    if not isinstance(answer, Mapping):
        raise NoWeather("the weather service's answer is not for one place")
    return answer


def inner(answer: Mapping[str, object], *names: str) -> Mapping[str, object]:
    """The object that lies within, under those names; NoWeather where there is none."""
    found: object = answer
    for name in names:
        found = found.get(name) if isinstance(found, Mapping) else None
    if not isinstance(found, Mapping):
        raise NoWeather(f"the weather service's answer has no {'.'.join(names)} in it")
    return found


def number(name: str, value: object) -> float:
    """A figure; NoWeather where there is something else in its place."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not _finite(value):
        raise NoWeather(f"the weather service's {name} has {value!r:.40} where a number belongs")
    return float(value)


def number_or_none(name: str, value: object) -> float | None:
    """A figure, or None where it was left empty."""
    return None if value is None else number(name, value)


def instant_utc(value: object) -> datetime:
    """A moment written as ISO 8601 with its zone; NoWeather for anything else."""
    try:
        read = datetime.fromisoformat(value) if isinstance(value, str) else None
        if read is not None and read.tzinfo is not None and 1900 < read.year < 2200:
            return read.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise NoWeather(f"the weather service has {value!r:.40} where a time belongs")


def checked(day: WeatherDay, remarks: list[str]) -> WeatherDay:
    """The day without its impossible figures; each is told of."""
    sound, findings = check_day(day)
    remarks += [
        f"{day.day}, {' and '.join(f.fields)}: found {f.found}; allowed is {f.allowed}; not used"
        for f in findings
    ]
    return sound


def under_way_words(asked_on: date, begins_utc: datetime, place: Place) -> list[str]:
    """What to say of a forecast that begins after the midnight of the day it was given on."""
    begins = begins_utc.astimezone(place.zone)
    if begins.replace(tzinfo=None) <= datetime.combine(asked_on, time()):
        return []
    if begins.date() > asked_on:
        return [f"it has nothing of the day under way, {asked_on}: it begins on {begins:%Y-%m-%d}"]
    return [
        f"of the day under way, {asked_on}, it lacks the hours before {begins:%H:%M}: that day is "
        "not taken from it, nor the rain it still has for it"
    ]


def forecast_given_utc(given_utc: datetime, made_utc: datetime | None) -> datetime:
    """What a forecast's age is counted from, against other services' forecasts.

    When it was given; one that was made more than `LONGEST_MAKING` before is being repeated, and
    counts from its making. A time to come is no time of making.
    """
    if made_utc is None or made_utc > given_utc or given_utc - made_utc <= LONGEST_MAKING:
        return given_utc
    return made_utc


def only_parts(days: list[date]) -> list[str]:
    """What to say of days that are not there whole."""
    named = ", ".join(str(day) for day in days)
    return [f"left out, being only part of a day: {named}"] if days else []


def reason_in(body: str) -> str:
    """The reason an error answer gives, cut short; nothing where it gives none.

    "reason" is Open-Meteo's, "detail" and "title" are those of problem details (RFC 9457) and of
    NASA POWER, "messages" is NASA POWER's too.
    """
    try:
        answer = parsed(body)
    except NoWeather:
        return ""
    for name in ("reason", "detail", "title", "messages"):
        reason = answer.get(name)
        if isinstance(reason, list):
            reason = reason[0] if reason else None
        if isinstance(reason, Mapping):
            reason = reason.get("msg")
        if isinstance(reason, str) and reason.strip():
            return " ".join(reason.split())[:200]
    return ""


def _refuse_constant(word: str) -> float:
    raise ValueError(word)


def _finite(value: float) -> bool:
    try:
        return math.isfinite(value)
    except OverflowError:  # an integer of hundreds of digits
        return False
