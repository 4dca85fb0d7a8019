"""The US National Weather Service: its two requests, and days from its answers.

Source of the format: the service's own pages on its interface (weather.gov/documentation/services-
web-api, and the general questions beside its source, weather-gov/api). By these `windSpeed` is the
highest steady wind of its stretch, so a mean made of it is on the high side, and water use with it.
Its height of 10 m is from memory: the pages do not say it.

The first request gives the grid square of a place, the second its forecast. It covers only the
United States, without past days and radiation. Each layer has stretches of time in UTC, each with
one figure; here they become the garden's local days. Rain is the sum of its stretch; across the
garden's midnight it is split evenly by time. The highest by day and the lowest by night are layers
of their own; each belongs to the day of the middle of its stretch.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

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
    Question,
    Span,
    centred_in,
    checked,
    forecast_given_utc,
    in_turn,
    inner,
    instant_utc,
    is_covered,
    local_day,
    mean_over,
    number,
    only_parts,
    parsed,
    sum_over,
    under_way_remarks,
    unit_trouble,
    within,
)

FORECAST = "nws forecast"
WIND_HEIGHT_M = 10.0
ELSEWHERE = "the US National Weather Service has no forecast here: it serves the United States only"
# Each layer, with its possible units.
_LAYERS: Mapping[str, Mapping[str, Convert]] = {
    "temperature": TEMPERATURE,
    "maxTemperature": TEMPERATURE,
    "minTemperature": TEMPERATURE,
    "dewpoint": TEMPERATURE,
    "relativeHumidity": PERCENT,
    "windSpeed": WIND,
    "probabilityOfPrecipitation": PERCENT,
    "quantitativePrecipitation": RAIN,
}
_GRID = re.compile(r"/gridpoints/[A-Z]{3}/\d{1,4},\d{1,4}$")
_DURATION = re.compile(r"P(?:(\d{1,2})D)?(?:T(?:(\d{1,3})H)?(?:(\d{1,4})M)?(?:(\d{1,5})S)?)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Square:
    """The grid square of a place, as the end of an address."""

    path: str
    asked_on: date


def point_path(place: Place) -> str:
    """The first request; NoWeather if the place is not near the United States.

    It has at most four decimals without zeros at the end; else the service sends a redirect.
    """
    # The outer limits of the States and their islands; the service knows them more exactly.
    latitude_deg, longitude_deg = place.latitude_deg, place.longitude_deg
    if not -15.0 <= latitude_deg <= 72.0 or -64.0 < longitude_deg < 144.0:
        raise NoWeather(ELSEWHERE)
    return f"/points/{_short(latitude_deg)},{_short(longitude_deg)}"


def read_square(body: str, question: Question, *, given_utc: datetime) -> Square:
    """The grid square, from the first answer; only an address of a square is accepted.

    Raises
    ------
    NoWeather
        If the answer names none.
    """
    named = inner(parsed(body), "properties").get("forecastGridData")
    found = _GRID.search(named) if isinstance(named, str) else None
    if found is None:
        raise NoWeather("the weather service names no square of its grid for this place")
    return Square(path=found.group(), asked_on=question.place.date_at(given_utc))


def read_forecast(body: str, question: Question, *, given_utc: datetime) -> ParsedAnswer:
    """The garden's complete forecast days, from the second answer.

    Raises
    ------
    NoWeather
        If the body is not the expected answer, or has no complete day.
    """
    properties = inner(parsed(body), "properties")
    remarks: list[str] = []
    layers = {
        name: layer for name in _LAYERS if (layer := _layer(name, properties, remarks)) is not None
    }
    if "temperature" not in layers:
        raise NoWeather("the weather service gave no temperatures: " + "; ".join(remarks))
    place, asked_on = question.place, question.place.date_at(given_utc)
    days: list[WeatherDay] = []
    partial, rainless = [], []
    ends_utc = layers["temperature"][-1].span.ends_utc
    begins_utc = layers["temperature"][0].span.begins_utc
    made = properties.get("updateTime")
    made_utc = None if made is None else instant_utc(made)
    dated_utc = forecast_given_utc(given_utc, made_utc)
    for day in question.days_to_come(asked_on):
        span = local_day(day, place.zone)
        if span.begins_utc < begins_utc or span.ends_utc > ends_utc:
            continue  # today, or beyond the end of the forecast
        values = _values(span, layers)
        if values is None:
            partial.append(day)
            continue
        if values["rain_mm"] is None:
            rainless.append(str(day))
        written = WeatherDay(
            day=day, wind_height_m=WIND_HEIGHT_M, source=FORECAST, measured=False
        ).with_(given_utc=dated_utc, **values)
        days.append(checked(written, remarks))
    remarks += only_parts(partial)
    if not days:
        raise NoWeather("the weather service gave no day whole")
    if rainless:
        remarks.append(f"its rain does not reach to {', '.join(rainless)}")
    remarks += under_way_remarks(asked_on, begins_utc, place)
    return ParsedAnswer(
        days=tuple(days), asked_on=asked_on, remarks=tuple(remarks), made_utc=made_utc
    )


def _short(degrees: float) -> str:
    text = f"{degrees:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _layer(
    name: str, properties: Mapping[str, object], remarks: list[str]
) -> Sequence[Interval] | None:
    """The stretches of a layer in our unit; None, with a remark, if it cannot be used."""
    found = properties.get(name)
    values = found.get("values") if isinstance(found, Mapping) else None
    if not isinstance(found, Mapping) or not values:
        remarks.append(f"the weather service gave no {name}")
        return None
    if not isinstance(values, list):
        raise NoWeather(f"the weather service's {name} does not read")
    uom = found.get("uom")
    unit = uom.rpartition(":")[2] if isinstance(uom, str) else uom
    trouble = unit_trouble(name, unit, _LAYERS[name])
    if trouble is not None:
        remarks.append(trouble)
        return None
    to_ours, stretches = _LAYERS[name][str(unit)], []
    for entry in values:
        if not isinstance(entry, Mapping):
            raise NoWeather(f"the weather service's {name} has a stretch that does not read")
        if entry.get("value") is not None:
            value = to_ours(number(name, entry["value"]))
            stretches.append(Interval(span=_span(entry.get("validTime")), value=value))
    if not stretches:
        remarks.append(f"the weather service left {name} empty")
        return None
    if name in ("maxTemperature", "minTemperature"):
        return stretches  # theirs are looked at by their middle
    return in_turn(stretches, sums=name == "quantitativePrecipitation")


def _span(text: object) -> Span:
    """A stretch written as its beginning, a slash and its ISO 8601 duration."""
    begins, _, lasts = text.partition("/") if isinstance(text, str) else ("", "", "")
    found = _DURATION.fullmatch(lasts)
    parts = [int(part or 0) for part in found.groups()] if found is not None else [0]
    if not any(parts):
        raise NoWeather(f"the weather service has {text!r:.60} where a stretch of time belongs")
    begins_utc = instant_utc(begins)
    days, hours, minutes, seconds = parts
    lasting = timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)
    return Span(begins_utc=begins_utc, ends_utc=begins_utc + lasting)


def _values(day: Span, layers: Mapping[str, Sequence[Interval]]) -> dict[str, float | None] | None:
    """The values of a day; None if a layer other than rain or its chance does not cover it."""
    air_c = layers["temperature"]
    if not is_covered(day, air_c):
        return None
    by_day, by_night = layers.get("maxTemperature", ()), layers.get("minTemperature", ())
    values: dict[str, float | None] = {
        "tmin_c": min([*within(day, air_c), *centred_in(day, by_night)]),
        "tmax_c": max([*within(day, air_c), *centred_in(day, by_day)]),
    }
    if "dewpoint" in layers:
        values["dewpoint_c"] = mean_over(day, layers["dewpoint"])
    if "windSpeed" in layers:
        values["wind_m_s"] = mean_over(day, layers["windSpeed"])
    if "relativeHumidity" in layers:
        humidity = layers["relativeHumidity"]
        values["rh_mean_pct"] = mean_over(day, humidity)
        values["rh_min_pct"] = min(within(day, humidity), default=None)
        values["rh_max_pct"] = max(within(day, humidity), default=None)
    if None in values.values():
        return None
    # Rain is forecast for fewer days than the rest; after them it is unknown, not 0.
    values["rain_mm"] = sum_over(day, layers.get("quantitativePrecipitation", ()))
    chance = layers.get("probabilityOfPrecipitation", ())
    values["rain_chance_pct"] = max(within(day, chance)) if is_covered(day, chance) else None
    return values
