"""NASA POWER's daily figures for one place: its request, and days from its answer.

Source of the format: the documentation of POWER's daily interface (power.larc.nasa.gov/docs).

It has only past days, for the whole world, on a grid of half a degree. Temperatures are those of a
wide area, and all figures come from models, so its days are never measured. They come some days
late, and radiation later still: the latest days may lack it, and are used without. A day runs from
one solar midnight to the next, by a 15-degree band of longitude, which may be hours away from the
garden's midnight. The answer itself names the figure for "none", and the units. Wind is at 2 m.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from urllib.parse import urlencode

from controller.errors import NoWeather
from controller.weather.day import WeatherDay
from controller.weather.online.answers import (
    PERCENT,
    RAIN,
    TEMPERATURE,
    WIND,
    Convert,
    ParsedAnswer,
    Place,
    Question,
    Series,
    checked,
    inner,
    number,
    only_parts,
    parsed,
    same,
    unit_trouble,
)

MODEL = "nasa-power model"
WIND_HEIGHT_M = 2.0
FIRST_DAY = date(1981, 1, 1)  # before it POWER has nothing (its documentation, from memory)
# It is about a week late; if its days end longer ago, this clock was wrong: our choice.
LONGEST_DELAY = timedelta(days=45)
_MJ_PER_KWH = 3.6  # exact
_RADIATION: Mapping[str, Convert] = {
    **dict.fromkeys(("MJ/m^2/day", "MJ/m2/day"), same),
    **dict.fromkeys(("kW-hr/m^2/day", "kWh/m^2/day", "kWh/m2/day"), lambda v: v * _MJ_PER_KWH),
}


_SERIES: tuple[Series, ...] = (
    Series(name="T2M_MIN", field="tmin_c", units=TEMPERATURE),
    Series(name="T2M_MAX", field="tmax_c", units=TEMPERATURE),
    Series(name="T2MDEW", field="dewpoint_c", units=TEMPERATURE),
    Series(name="RH2M", field="rh_mean_pct", units=PERCENT),
    Series(name="WS2M", field="wind_m_s", units=WIND),
    Series(name="PRECTOTCORR", field="rain_mm", units=RAIN),
    Series(name="ALLSKY_SFC_SW_DWN", field="solar_mj_m2", units=_RADIATION, needed=False),
)


def query(question: Question) -> str:
    """The query string: the days before today."""
    today = question.today - _days_ahead(question.place, question.today)
    first = max(today - timedelta(days=question.past_days), FIRST_DAY)
    last = today - timedelta(days=1)
    if first > last:
        raise NoWeather(f"this clock's date is {question.today}: is this clock right?")
    return urlencode(
        {
            "parameters": ",".join(series.name for series in _SERIES),
            "community": "AG",
            "longitude": f"{question.place.longitude_deg:.4f}",
            "latitude": f"{question.place.latitude_deg:.4f}",
            "start": f"{first:%Y%m%d}",
            "end": f"{last:%Y%m%d}",
            "format": "JSON",
            "time-standard": "LST",
        },
        safe=",",
    )


def read_days(body: str, question: Question, *, given_utc: datetime) -> ParsedAnswer:
    """Past days, from the body of an answer.

    Raises
    ------
    NoWeather
        If the body is not the expected answer, or has no complete day.
    """
    answer = parsed(body)
    header, columns = inner(answer, "header"), inner(answer, "properties", "parameter")
    if header.get("time_standard", "LST") != "LST":
        raise NoWeather(
            f"the weather service's days are in {header['time_standard']!r:.40}, asked for was LST"
        )
    fill = number("fill_value", header.get("fill_value"))
    asked_on = question.place.date_at(given_utc)
    ahead = _days_ahead(question.place, asked_on)
    remarks: list[str] = []
    read = {
        s.field: column
        for s in _SERIES
        if (column := _column(s, columns, answer, fill, remarks)) is not None
    }
    if not {"tmin_c", "tmax_c"} <= read.keys():
        raise NoWeather("the weather service gave no temperatures: " + "; ".join(remarks))
    empty = {field for field, column in read.items() if not any(_figures(column))}
    if not empty & {"tmin_c", "tmax_c"}:  # without these the answer has no day
        remarks += [
            f"the weather service left {s.name} empty on every day"
            for s in _SERIES
            if s.needed and s.field in empty
        ]
        read = {f: column for f, column in read.items() if f not in empty or f == "solar_mj_m2"}
    needed = [s.field for s in _SERIES if s.needed and s.field in read]
    days: list[WeatherDay] = []
    partial = []
    for its_day in sorted({day for column in read.values() for day in column}):
        day = its_day + ahead
        values = {field: column.get(its_day) for field, column in read.items()}
        missing = [field for field in needed if values[field] is None]
        if day >= asked_on or len(missing) == len(needed):
            continue  # not over, or not here yet
        if missing:
            partial.append(day)
            continue
        written = WeatherDay(day=day, wind_height_m=WIND_HEIGHT_M, source=MODEL, measured=False)
        days.append(checked(written.with_(modelled=True, **values), remarks))
    if not days:
        raise NoWeather("the weather service gave no day whole")
    if asked_on - days[-1].day > LONGEST_DELAY:
        raise NoWeather(f"its latest day is {days[-1].day}, long before {asked_on}")
    remarks += only_parts(partial)
    sunless = [str(d.day) for d in days if d.solar_mj_m2 is None]
    if sunless and "solar_mj_m2" in read:
        remarks.append(f"no radiation yet for {', '.join(sunless)}")
    remarks += _boundary_remarks(question.place, days[-1].day)
    return ParsedAnswer(days=tuple(days), asked_on=asked_on, remarks=tuple(remarks))


def _column(
    series: Series,
    columns: Mapping[str, object],
    answer: Mapping[str, object],
    fill: float,
    remarks: list[str],
) -> Mapping[date, float | None] | None:
    """The figures by day in our unit; None, with a remark, if they cannot be used."""
    found = columns.get(series.name)
    if found is None:
        remarks.append(f"the weather service gave no {series.name}")
        return None
    if not isinstance(found, Mapping):
        raise NoWeather(f"the weather service's {series.name} does not read")
    unit = inner(answer, "parameters", series.name).get("units")
    trouble = unit_trouble(series.name, unit, series.units)
    if trouble is not None:
        remarks.append(trouble)
        return None
    to_ours, column = series.units[str(unit)], {}
    for text, value in found.items():
        figure = fill if value is None else number(series.name, value)
        column[_date(text)] = None if figure == fill else to_ours(figure)
    return column


def _figures(column: Mapping[date, float | None]) -> list[bool]:
    """For each day, whether there is a figure."""
    return [figure is not None for figure in column.values()]


def _date(text: str) -> date:
    try:
        return datetime.strptime(text, "%Y%m%d").replace(tzinfo=UTC).date()
    except ValueError:
        raise NoWeather("the weather service gave dates that do not read") from None


def _hours_apart(place: Place, day: date) -> float:
    """How much later its midnight is than the garden's. [h]"""
    ours = datetime.combine(day, time(12), tzinfo=place.zone).utcoffset() or timedelta(0)
    return ours.total_seconds() / 3600.0 - round(place.longitude_deg / 15.0)


def _days_ahead(place: Place, day: date) -> timedelta:
    """Dates that the garden is ahead: 1 if its time zone has moved the date line, else 0.

    On islands west of 180 degrees by longitude and east of it by calendar, the solar day that
    covers most of the garden's day has the date before.
    """
    return timedelta(days=round(_hours_apart(place, day) / 24.0))


def _boundary_remarks(place: Place, day: date) -> list[str]:
    """Remark on the time between its midnight and the garden's, from one hour on."""
    apart_h = _hours_apart(place, day) - 24.0 * _days_ahead(place, day).days
    if abs(apart_h) < 1.0:
        return []
    return [
        f"its days are those of the sun: they begin about {abs(apart_h):g} h "
        f"{'after' if apart_h > 0.0 else 'before'} the garden's midnight"
    ]
