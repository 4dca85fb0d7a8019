"""Open-Meteo: its request, and days from its answer.

Source of the format: the documentation of Open-Meteo's forecast interface (open-meteo.com/en/docs).

Its days before the day of the request consist of the first hours of the weather models' runs. No
instrument was read, so they are a model's days and never measured. Later runs still change them for
about half a day, so a day is final only if it was given `SETTLES_AFTER` its end. The day of the
request and later days are a forecast. The day of the request decides: a cached forecast of
yesterday does not become a model's day overnight.

An hour's figure has the time of the hour's end, and a day has the times 00 to 23: so rain and sun
of a day are those from 23:00 to 23:00. All days of an answer have one offset from UTC, so after a
change of the clocks they begin an hour early or late. If a time zone's offset has half an hour, it
is cut to whole hours. Daily figures cannot be corrected for this: the days are used as they are,
and days after a change of the clocks are named.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from urllib.parse import urlencode

from controller.errors import NoWeather
from controller.weather.day import WeatherDay
from controller.weather.online.answers import (
    PERCENT,
    RAIN,
    TEMPERATURE,
    WIND,
    ParsedAnswer,
    Place,
    Question,
    Series,
    checked,
    local_day,
    number_or_none,
    only_parts,
    parsed,
    same,
    unit_trouble,
)

MODEL = "open-meteo model"
FORECAST = "open-meteo forecast"
WIND_HEIGHT_M = 10.0
# So long after a day's end its figures may still change: two runs of a model that starts every six
# hours (the service's description of how it joins runs; the figure is from memory).
SETTLES_AFTER = timedelta(hours=12)


def query(question: Question) -> str:
    """The query string."""
    place = question.place
    return urlencode(
        {
            "latitude": f"{place.latitude_deg:.4f}",
            "longitude": f"{place.longitude_deg:.4f}",
            "elevation": f"{place.elevation_m:.0f}",
            "timezone": place.timezone,  # its days then begin at the garden's midnight
            "past_days": question.past_days,
            "forecast_days": question.forecast_days,
            "wind_speed_unit": "ms",
            "daily": ",".join(series.name for series in _SERIES),
        },
        safe=",/",
    )


_SERIES: tuple[Series, ...] = (
    Series(name="temperature_2m_min", field="tmin_c", units=TEMPERATURE),
    Series(name="temperature_2m_max", field="tmax_c", units=TEMPERATURE),
    Series(name="dew_point_2m_mean", field="dewpoint_c", units=TEMPERATURE),
    Series(name="relative_humidity_2m_min", field="rh_min_pct", units=PERCENT),
    Series(name="relative_humidity_2m_max", field="rh_max_pct", units=PERCENT),
    Series(name="wind_speed_10m_mean", field="wind_m_s", units=WIND),
    Series(name="shortwave_radiation_sum", field="solar_mj_m2", units={"MJ/m²": same}),
    Series(name="precipitation_sum", field="rain_mm", units=RAIN),
    # The highest hourly chance of more than 0.1 mm, not the chance of the whole day.
    Series(
        name="precipitation_probability_max",
        field="rain_chance_pct",
        units=PERCENT,
        needed=False,
    ),
)


def settles_utc(given_utc: datetime, place: Place) -> datetime:
    """When the figures of the day before an answer become final."""
    return local_day(place.date_at(given_utc), place.zone).begins_utc + SETTLES_AFTER


def read_answer(
    body: str, question: Question, *, fetched_utc: datetime, given_utc: datetime | None = None
) -> ParsedAnswer:
    """Days from the body of an answer.

    `fetched_utc` is the time by this clock, `given_utc` by the service's, if it sent one. A day
    without some of its figures is left out: the service takes its highest and lowest from the hours
    that it has, so on an incomplete day they are not the day's.

    Raises
    ------
    NoWeather
        If the body is not the expected answer.
    """
    answer = parsed(body)
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
    # The board's clock may be wrong; the answer's own dates also show when it was given.
    asked_on = dates[0] + timedelta(days=question.past_days)
    own_date = question.place.date_at(fetched_utc)
    # It cannot have been given later than on the day that its dates show.
    asked_on_ends_utc = local_day(asked_on, question.place.zone).ends_utc
    given_utc = min(given_utc or fetched_utc, asked_on_ends_utc)
    days = [
        _dated(day, given_utc, question.place)
        for day in _days(dates, columns, min(asked_on, own_date), remarks)
    ]
    if not days:
        raise NoWeather("the weather service gave no day whole")
    remarks += _shifted_remarks(answer, asked_on, dates[-1], question.place)
    return ParsedAnswer(days=tuple(days), asked_on=asked_on, remarks=tuple(remarks))


def _require_zone(answer: Mapping[str, object], question: Question, fetched_utc: datetime) -> None:
    """NoWeather if its days are not the garden's; another name for the same zone is accepted."""
    if answer.get("timezone") == question.place.timezone:
        return
    ours = fetched_utc.astimezone(question.place.zone).utcoffset()
    theirs = answer.get("utc_offset_seconds")
    if ours is None or theirs != ours.total_seconds():
        raise NoWeather(
            f"the weather service's days are those of {answer.get('timezone')!r:.60}, "
            f"asked for was {question.place.timezone}"
        )


def _dated(day: WeatherDay, given_utc: datetime, place: Place) -> WeatherDay:
    """The day with the time when it was given, or without it if the day is final."""
    ends_utc = local_day(day.day, place.zone).ends_utc
    settled = day.modelled and given_utc >= ends_utc + SETTLES_AFTER
    return day if settled else day.with_(given_utc=given_utc)


def _shifted_remarks(
    answer: Mapping[str, object], asked_on: date, last: date, place: Place
) -> list[str]:
    """Remark on days from yesterday on that begin at another time than the garden's."""
    offset_s = answer.get("utc_offset_seconds")
    if isinstance(offset_s, bool) or not isinstance(offset_s, int | float):
        return []
    shifted = []
    for n in range((last - asked_on).days + 2):
        day = asked_on + timedelta(days=n - 1)
        noon = datetime.combine(day, time(12), tzinfo=place.zone)
        ours = noon.utcoffset()
        if ours is not None and ours.total_seconds() != offset_s:
            shifted.append(str(day))
    if not shifted:
        return []
    return [
        f"the clocks change: its days {', '.join(shifted)} do not begin at the garden's midnight, "
        "for one offset from Greenwich serves all days of its answer"
    ]


def _dates(found: object, question: Question) -> tuple[date, ...]:
    asked = question.past_days + question.forecast_days
    if not isinstance(found, list) or len(found) != asked:
        count = len(found) if isinstance(found, list) else "no"
        raise NoWeather(f"the weather service gave {count} dates, asked for were {asked}")
    try:
        dates = tuple(date.fromisoformat(text) for text in found)
        in_a_row = tuple(dates[0] + timedelta(days=n) for n in range(asked))
    except (ValueError, TypeError, OverflowError):
        raise NoWeather("the weather service gave dates that do not read") from None
    if dates != in_a_row:
        raise NoWeather("the weather service's dates do not follow one another")
    return dates


def _column(
    series: Series,
    daily: Mapping[str, object],
    named: Mapping[str, object],
    count: int,
    remarks: list[str],
) -> Sequence[float | None] | None:
    """The list in our unit; None, with a remark, if it cannot be used."""
    found, unit = daily.get(series.name), named.get(series.name)
    if found is None:
        remarks.append(f"the weather service gave no {series.name}")
        return None
    if not isinstance(found, list) or len(found) != count:
        raise NoWeather(f"the weather service's {series.name} does not fit its {count} dates")
    trouble = unit_trouble(series.name, unit, series.units)
    if trouble is not None:
        remarks.append(trouble)
        return None
    if series.needed and all(value is None for value in found):
        remarks.append(f"the weather service left {series.name} empty on every day")
        return None
    to_si = series.units[str(unit)]
    figures = [number_or_none(series.name, value) for value in found]
    return [None if figure is None else to_si(figure) for figure in figures]


def _days(
    dates: Sequence[date],
    columns: Mapping[str, Sequence[float | None]],
    first_forecast: date,
    remarks: list[str],
) -> list[WeatherDay]:
    needed = [s.field for s in _SERIES if s.needed and s.field in columns]
    days: list[WeatherDay] = []
    partial: list[date] = []
    for n, day in enumerate(dates):
        values = {name: column[n] for name, column in columns.items()}
        if any(values[name] is None for name in needed):
            partial.append(day)
            continue
        modelled = day < first_forecast
        if modelled:
            values["rain_chance_pct"] = None  # it rained, or it did not
        written = WeatherDay(
            day=day,
            wind_height_m=WIND_HEIGHT_M,
            source=MODEL if modelled else FORECAST,
            measured=False,
            modelled=modelled,
        ).with_(**values)
        days.append(checked(written, remarks))
    remarks += only_parts(partial)
    return days
