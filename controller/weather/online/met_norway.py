"""MET Norway's Locationforecast 2.0: its request, and days from its answer.

Source of the format: MET Norway's pages on Locationforecast, its data model and JSON form, and its
terms of service (api.met.no/doc, api.met.no/weatherapi/locationforecast/2.0/documentation).

It is a forecast for the whole world, for about nine days, without past days and radiation. Its
times are in UTC; here they become the garden's local days. Steps are one hour for some two and a
half days, then six hours. Rain comes from `next_1_hours` if that leads to the next step, else from
`next_6_hours`; both describe the same water, so never from both. If steps are more than three hours
apart, only the highest and lowest of `next_6_hours` show what happens between them; a day without
these is incomplete.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from urllib.parse import urlencode

from controller.errors import NoWeather
from controller.weather.day import WeatherDay
from controller.weather.online.answers import (
    PERCENT,
    RAIN,
    TEMPERATURE,
    WIND,
    Convert,
    Interval,
    ParsedAnswer,
    Place,
    Point,
    Question,
    Span,
    checked,
    forecast_given_utc,
    in_turn,
    inner,
    instant_utc,
    local_day,
    mean_of_points,
    number,
    only_parts,
    parsed,
    reaches,
    sum_over,
    under_way_remarks,
    unit_trouble,
    within,
)

FORECAST = "met-norway forecast"
WIND_HEIGHT_M = 10.0
# Between times so close together the air has no extreme that matters: our choice.
LONGEST_PLAIN_STEP = timedelta(hours=3)
LONGEST_STEP = timedelta(hours=6)
# Each figure of a time, and the field for its mean over the day.
_MEANS: Mapping[str, str] = {
    "dew_point_temperature": "dewpoint_c",
    "relative_humidity": "rh_mean_pct",
    "wind_speed": "wind_m_s",
}
_UNITS: Mapping[str, Mapping[str, Convert]] = {
    "air_temperature": TEMPERATURE,
    "dew_point_temperature": TEMPERATURE,
    "relative_humidity": PERCENT,
    "wind_speed": WIND,
    "precipitation_amount": RAIN,
    # Some regions lack these three.
    "probability_of_precipitation": PERCENT,
    "air_temperature_max": TEMPERATURE,
    "air_temperature_min": TEMPERATURE,
}
_ALWAYS = ("air_temperature", *_MEANS, "precipitation_amount")
Figures = Mapping[str, float]


def query(place: Place) -> str:
    """The query string; the service refuses more than four decimals."""
    return urlencode(
        {
            "lat": f"{place.latitude_deg:.4f}",
            "lon": f"{place.longitude_deg:.4f}",
            "altitude": f"{place.elevation_m:.0f}",
        }
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """One time of the answer, with its figures for the hour and the six hours after it."""

    at_utc: datetime
    instant: Figures
    hour: Figures
    six_hours: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wide:
    """A step so long that its ends do not show the highest and lowest in it."""

    span: Span
    high_c: float | None
    low_c: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Air:
    """The whole answer, by figure."""

    points: Mapping[str, Sequence[Point]]
    wide: Sequence[_Wide]
    rain: Sequence[Interval]
    chance: Sequence[Interval]


def read_forecast(body: str, question: Question, *, given_utc: datetime) -> ParsedAnswer:
    """The garden's complete forecast days, from the body of an answer.

    Raises
    ------
    NoWeather
        If the body is not the expected answer, or has no complete day.
    """
    properties = inner(parsed(body), "properties")
    remarks: list[str] = []
    units = _units(properties, remarks)
    air = _air(_steps(properties, units), units.keys(), remarks)
    place, asked_on = question.place, question.place.date_at(given_utc)
    days: list[WeatherDay] = []
    partial = []
    made = inner(properties, "meta").get("updated_at")
    made_utc = None if made is None else instant_utc(made)
    dated_utc = forecast_given_utc(given_utc, made_utc)
    for day in question.days_to_come(asked_on):
        span = local_day(day, place.zone)
        if not reaches(span, air.points["air_temperature"]):
            continue  # today, or beyond the end of the forecast
        values = _values(span, air)
        if values is None:
            partial.append(day)
            continue
        written = WeatherDay(
            day=day, wind_height_m=WIND_HEIGHT_M, source=FORECAST, measured=False
        ).with_(given_utc=dated_utc, **values)
        days.append(checked(written, remarks))
    remarks += only_parts(partial)
    if not days:
        raise NoWeather("the weather service gave no day whole")
    remarks += under_way_remarks(asked_on, air.points["air_temperature"][0].at_utc, place)
    return ParsedAnswer(
        days=tuple(days), asked_on=asked_on, remarks=tuple(remarks), made_utc=made_utc
    )


def _units(properties: Mapping[str, object], remarks: list[str]) -> Mapping[str, Convert]:
    """The conversion of each figure; one in an unknown unit is left out, with a remark."""
    named = inner(properties, "meta", "units")
    found = {}
    for name, known in _UNITS.items():
        if name not in named and name not in _ALWAYS:
            continue
        trouble = unit_trouble(name, named.get(name), known)
        if trouble is None:
            found[name] = known[str(named[name])]
        else:
            remarks.append(trouble)
    if "air_temperature" not in found:
        raise NoWeather("the weather service gave no temperatures: " + "; ".join(remarks))
    return found


def _steps(properties: Mapping[str, object], units: Mapping[str, Convert]) -> list[_Step]:
    series = properties.get("timeseries")
    if not isinstance(series, list) or not series:
        raise NoWeather("the weather service's answer has no timeseries in it")
    steps = []
    for found in series:
        if not isinstance(found, Mapping) or not isinstance(data := found.get("data"), Mapping):
            raise NoWeather("the weather service's timeseries has a step that does not read")
        steps.append(
            _Step(
                at_utc=instant_utc(found.get("time")),
                instant=_figures(data, "instant", units),
                hour=_figures(data, "next_1_hours", units),
                six_hours=_figures(data, "next_6_hours", units),
            )
        )
    if any(a.at_utc >= b.at_utc for a, b in pairwise(steps)):
        raise NoWeather("the weather service's times do not follow one another")
    return steps


def _figures(data: Mapping[str, object], part: str, units: Mapping[str, Convert]) -> Figures:
    """The figures of one part of a step in our units; empty if the part is missing."""
    if data.get(part) is None:
        return {}
    details = inner(data, part).get("details")
    if not isinstance(details, Mapping):
        return {}
    return {
        name: to_ours(number(name, details[name]))
        for name, to_ours in units.items()
        if details.get(name) is not None
    }


def _air(steps: Sequence[_Step], usable: Collection[str], remarks: list[str]) -> _Air:
    points = {
        name: [
            Point(at_utc=step.at_utc, value=step.instant[name])
            for step in steps
            if name in step.instant
        ]
        for name in ("air_temperature", *_MEANS)
    }
    rain, chance, wide = [], [], []
    for step, after in zip(steps, [*steps[1:], None], strict=True):
        ends_utc = after.at_utc if after is not None else None
        span, figures = _ahead(step, ends_utc)
        if "precipitation_amount" in figures:
            rain.append(Interval(span=span, value=figures["precipitation_amount"]))
        if "probability_of_precipitation" in figures:
            chance.append(Interval(span=span, value=figures["probability_of_precipitation"]))
        if ends_utc is not None and ends_utc - step.at_utc > LONGEST_PLAIN_STEP:
            known = ends_utc - step.at_utc <= LONGEST_STEP
            wide.append(
                _Wide(
                    span=Span(begins_utc=step.at_utc, ends_utc=ends_utc),
                    high_c=step.six_hours.get("air_temperature_max") if known else None,
                    low_c=step.six_hours.get("air_temperature_min") if known else None,
                )
            )
    empty = [name for name, found in points.items() if not found]
    empty += [] if rain else ["precipitation_amount"]
    remarks += [f"the weather service gave no {name}" for name in empty if name in usable]
    return _Air(points=points, wide=wide, rain=in_turn(rain, sums=True), chance=chance)


def _ahead(step: _Step, ends_utc: datetime | None) -> tuple[Span, Figures]:
    """The one of its two stretches ahead that leads to the next step, with its figures."""
    hour_ends_utc = step.at_utc + timedelta(hours=1)
    by_the_hour = bool(step.hour) and (ends_utc is None or ends_utc <= hour_ends_utc)
    if by_the_hour or not step.six_hours:
        return Span(begins_utc=step.at_utc, ends_utc=hour_ends_utc), step.hour
    return Span(begins_utc=step.at_utc, ends_utc=step.at_utc + LONGEST_STEP), step.six_hours


def _values(day: Span, air: _Air) -> dict[str, float | None] | None:
    """The values of a day; None if any figure does not cover it."""
    wide = [step for step in air.wide if step.span.shared_s(day) > 0.0]
    high_c = [s.high_c for s in wide if s.high_c is not None and day.holds(s.span.middle_utc)]
    low_c = [s.low_c for s in wide if s.low_c is not None and day.holds(s.span.middle_utc)]
    if any(step.high_c is None or step.low_c is None for step in wide):
        return None
    air_c = _inside(day, air.points["air_temperature"])
    values: dict[str, float | None] = {
        "tmin_c": min([*air_c, *low_c]),
        "tmax_c": max([*air_c, *high_c]),
    }
    for name, field in _MEANS.items():
        if air.points[name]:
            values[field] = mean_of_points(day, air.points[name], longest_gap=LONGEST_STEP)
    if air.rain:
        values["rain_mm"] = sum_over(day, air.rain)
    if None in values.values():
        return None
    chances, humidities = within(day, air.chance), _inside(day, air.points["relative_humidity"])
    values["rain_chance_pct"] = max(chances, default=None)  # the highest of any one step
    if not wide and humidities:
        values["rh_min_pct"], values["rh_max_pct"] = min(humidities), max(humidities)
    return values


def _inside(day: Span, points: Sequence[Point]) -> list[float]:
    """The figures at the times of a day, with both midnights."""
    return [p.value for p in points if day.begins_utc <= p.at_utc <= day.ends_utc]
