"""The common part of all services' answers: JSON, units, and the garden's local days.

There are two kinds of figures. A point is true at one moment; points are joined by straight lines.
A stretch has one figure for all of its time. Figures that do not cover a whole day give nothing for
that day: part of a day's rain is not the day's rain.

An answer in another form is refused. A figure that a service does not give is None, never a guess.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from controller import units
from controller.errors import NoWeather
from controller.weather.day import WeatherDay, check_day

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A span of time, without its end."""

    begins_utc: datetime
    ends_utc: datetime

    @property
    def seconds(self) -> float:
        """Its length. [s]"""
        return (self.ends_utc - self.begins_utc).total_seconds()

    @property
    def middle_utc(self) -> datetime:
        """Its middle."""
        return self.begins_utc + (self.ends_utc - self.begins_utc) / 2

    def holds(self, at_utc: datetime) -> bool:
        """Whether this moment lies in it."""
        return self.begins_utc <= at_utc < self.ends_utc

    def shared_s(self, other: Span) -> float:
        """Length of the overlap with another span. [s]"""
        begins_utc = max(self.begins_utc, other.begins_utc)
        return max(0.0, (min(self.ends_utc, other.ends_utc) - begins_utc).total_seconds())


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """One figure for a whole span: a sum over it, or a state that lasts for all of it."""

    span: Span
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One figure at one moment."""

    at_utc: datetime
    value: float


def local_day(day: date, zone: ZoneInfo) -> Span:
    """From one local midnight to the next: 24 h, or 23 or 25 when the clocks change."""
    return Span(begins_utc=_midnight_utc(day, zone), ends_utc=_midnight_utc(day + _DAY, zone))


def sum_over(day: Span, parts: Sequence[Interval]) -> float | None:
    """The day's sum, with each stretch's sum spread evenly over it; None if they leave a gap."""
    if not is_covered(day, parts):
        return None
    return sum(p.value * p.span.shared_s(day) / p.span.seconds for p in parts)


def mean_over(day: Span, parts: Sequence[Interval]) -> float | None:
    """The day's mean of a state, weighted by time; None if the stretches leave a gap."""
    if not is_covered(day, parts):
        return None
    return sum(p.value * p.span.shared_s(day) for p in parts) / day.seconds


def within(day: Span, parts: Sequence[Interval]) -> list[float]:
    """The figures of all stretches that overlap the day."""
    return [p.value for p in parts if p.span.shared_s(day) > 0.0]


def centred_in(day: Span, parts: Sequence[Interval]) -> list[float]:
    """The figures of the stretches whose middle lies in the day.

    The highest or lowest of a stretch across midnight belongs to one day only: the one with the
    larger part. Our choice.
    """
    return [p.value for p in parts if day.holds(p.span.middle_utc)]


def is_covered(day: Span, parts: Sequence[Interval]) -> bool:
    """Whether stretches that do not overlap each other cover the whole day."""
    left_out_s = day.seconds - sum(p.span.shared_s(day) for p in parts)
    return day.seconds > 0.0 and abs(left_out_s) < 1.0


def mean_of_points(day: Span, points: Sequence[Point], *, longest_gap: timedelta) -> float | None:
    """The day's mean along straight lines from point to point (trapezoidal rule).

    `points` are in order of time. None if no point stands at or before the beginning of the day, or
    at or after its end, or if two are further apart than `longest_gap`.
    """
    if not reaches(day, points):
        return None
    area = 0.0
    for left, right in pairwise(points):
        gap = Span(begins_utc=left.at_utc, ends_utc=right.at_utc)
        shared_s = gap.shared_s(day)
        if shared_s == 0.0:
            continue
        if right.at_utc - left.at_utc > longest_gap:
            return None
        ends = [_between(left, right, max(left.at_utc, day.begins_utc))]
        ends.append(_between(left, right, min(right.at_utc, day.ends_utc)))
        area += sum(ends) / 2.0 * shared_s
    return area / day.seconds


def reaches(day: Span, points: Sequence[Point]) -> bool:
    """Whether there are points at or before the beginning of the day, and at or after its end."""
    return (
        bool(points)
        and day.seconds > 0.0  # a few time zones have skipped a date
        and points[0].at_utc <= day.begins_utc
        and points[-1].at_utc >= day.ends_utc
    )


def in_turn(stretches: Sequence[Interval], *, sums: bool) -> list[Interval]:
    """The stretches in order, each cut at the beginning of the next, so that no time counts twice.

    A sum that is cut keeps its share by time.
    """
    ordered = sorted(stretches, key=lambda s: s.span.begins_utc)
    found: list[Interval] = []
    following = [*ordered[1:], None][: len(ordered)]
    for one, after in zip(ordered, following, strict=True):
        span = one.span
        if after is not None and after.span.begins_utc < span.ends_utc:
            span = Span(begins_utc=span.begins_utc, ends_utc=after.span.begins_utc)
        if span.seconds > 0.0:
            share = span.seconds / one.span.seconds if sums else 1.0
            found.append(Interval(span=span, value=one.value * share))
    return found


def _midnight_utc(day: date, zone: ZoneInfo) -> datetime:
    """Local midnight; if the clocks skip it, the jump; if it comes twice, the first."""
    return datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)


def _between(left: Point, right: Point, at_utc: datetime) -> float:
    share = (at_utc - left.at_utc) / (right.at_utc - left.at_utc)
    return left.value + share * (right.value - left.value)


Convert = Callable[[float], float]
MOST_PAST_DAYS, MOST_FORECAST_DAYS = 92, 16  # the most that any service documents
# The models run every six hours, and their results take some hours more: our choice.
LONGEST_MAKING = timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """The place of a request; its days are those of its time zone."""

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    timezone: str

    @property
    def zone(self) -> ZoneInfo:
        """The time zone."""
        return ZoneInfo(self.timezone)

    def date_at(self, at_utc: datetime) -> date:
        """The local date at this time."""
        return at_utc.astimezone(self.zone).date()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The place and the days of a request; `today` is the date by this clock."""

    place: Place
    today: date
    past_days: int
    forecast_days: int

    def days_to_come(self, given_on: date) -> tuple[date, ...]:
        """From the day on which a forecast was given to the last requested day."""
        last = max(given_on, self.today) + timedelta(days=self.forecast_days - 1)
        # A clock that has run far ahead must not make a list of years.
        count = min((last - given_on).days + 1, MOST_FORECAST_DAYS)
        return tuple(given_on + timedelta(days=n) for n in range(count))


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """One list of an answer: its name, our field, and the units it may have."""

    name: str
    field: str
    units: Mapping[str, Convert]
    needed: bool = True  # a day without it is not complete


@dataclass(frozen=True, slots=True, kw_only=True)
class ParsedAnswer:
    """A parsed answer; `asked_on` is the local date on which it was given.

    `made_utc` is when the forecast was made, if the service gives that: it may repeat an old one.
    """

    days: tuple[WeatherDay, ...]
    asked_on: date
    remarks: tuple[str, ...] = ()
    made_utc: datetime | None = None


def same(value: float) -> float:
    """The same figure, for units that are ours."""
    return value


# The units of figures, by the names that these services use, with their conversion to ours.
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
    """The remark on a figure with an unknown unit; None if the unit is known."""
    if isinstance(unit, str) and unit in known:
        return None
    return f"{name} not used: its unit is {unit!r:.40}, known is {' or '.join(known)}"


def parsed(body: str) -> Mapping[str, object]:
    """The JSON object in a body.

    Raises
    ------
    NoWeather
        If there is none.
    """
    try:
        answer = json.loads(body, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise NoWeather("the weather service's answer is cut short or garbled") from None
    if not isinstance(answer, Mapping):
        raise NoWeather("the weather service's answer is not for one place")
    return answer


def inner(answer: Mapping[str, object], *names: str) -> Mapping[str, object]:
    """The inner object under these names; NoWeather if there is none."""
    found: object = answer
    for name in names:
        found = found.get(name) if isinstance(found, Mapping) else None
    if not isinstance(found, Mapping):
        raise NoWeather(f"the weather service's answer has no {'.'.join(names)} in it")
    return found


def number(name: str, value: object) -> float:
    """A figure; NoWeather for anything else."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not _finite(value):
        raise NoWeather(f"the weather service's {name} has {value!r:.40} where a number belongs")
    return float(value)


def number_or_none(name: str, value: object) -> float | None:
    """A figure, or None if it is empty."""
    return None if value is None else number(name, value)


def instant_utc(value: object) -> datetime:
    """A time in ISO 8601 with its zone; NoWeather for anything else."""
    try:
        read = datetime.fromisoformat(value) if isinstance(value, str) else None
        if read is not None and read.tzinfo is not None and 1900 < read.year < 2200:
            return read.astimezone(UTC)
    except (ValueError, OverflowError):
        pass
    raise NoWeather(f"the weather service has {value!r:.40} where a time belongs")


def checked(day: WeatherDay, remarks: list[str]) -> WeatherDay:
    """The day without its impossible figures; each gives a remark."""
    sound, findings = check_day(day)
    remarks += [
        f"{day.day}, {' and '.join(f.fields)}: found {f.found}; allowed is {f.allowed}; not used"
        for f in findings
    ]
    return sound


def under_way_remarks(asked_on: date, begins_utc: datetime, place: Place) -> list[str]:
    """Remark on a forecast that begins after midnight of the day on which it was given."""
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
    """The time from which a forecast's age counts, in comparison with other services.

    Usually it is when the forecast was given. If it was made more than `LONGEST_MAKING` before, the
    service repeats an old one, and the time counts when it was made. A later time does not count.
    """
    if made_utc is None or made_utc > given_utc or given_utc - made_utc <= LONGEST_MAKING:
        return given_utc
    return made_utc


def only_parts(days: list[date]) -> list[str]:
    """Remark on days that are incomplete."""
    named = ", ".join(str(day) for day in days)
    return [f"left out, being only part of a day: {named}"] if days else []


def reason_in(body: str) -> str:
    """The reason in the body of an error answer, shortened; empty if there is none.

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
