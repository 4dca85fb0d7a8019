"""Reader of a weather station's log: many readings a day, aggregated to complete local days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from controller.errors import WeatherFileError
from controller.weather.day import LIMITS, ClearSky, WeatherDay
from controller.weather.files.finish import FileForm, WeatherFile, finished
from controller.weather.files.table import Notes, Row, all_lines
from controller.weather.series_checks import spans as day_spans
from controller.weather.station_log import daily_values
from controller.weather.station_log import layout as hd
from controller.weather.station_log.daily_values import Log, LogDay, LogPoint, read_log
from controller.weather.station_log.layout import Layout, cells_of, layout_of

KIND = "station-log"
# The limits of one reading; a day's mean has narrower ones.
_READING_LIMITS: Mapping[str, tuple[float, float]] = {
    hd.TEMP: (LIMITS["tmin_c"].low, LIMITS["tmax_c"].high),
    hd.DEW: (LIMITS["dewpoint_c"].low, LIMITS["dewpoint_c"].high),
    hd.HUMIDITY: (0.0, 105.0),  # a good sensor in fog reads a little over 100
    hd.WIND: (0.0, 75.0),  # limits of automatic stations, from memory; also those of the sun
    hd.SUN: (-20.0, 1600.0),  # at night a sensor reads a little below 0
    hd.SUN_ENERGY: (0.0, 50.0),
}
# A column with a larger share of impossible readings has another meaning or unit: our choice.
WRONG_SHARE = 0.05
_FIELD = {
    hd.TEMP: ("tmin_c", "tmax_c"),
    hd.DEW: ("dewpoint_c",),
    hd.HUMIDITY: ("rh_min_pct", "rh_mean_pct", "rh_max_pct"),
    hd.WIND: ("wind_m_s",),
    hd.SUN: ("solar_mj_m2",),
    hd.SUN_ENERGY: ("solar_mj_m2",),
}


def is_station_log(text: str) -> bool:
    """Whether it has a header with a time, and a time of day in the line below it."""
    lines = all_lines(text)
    layout = layout_of(lines)
    if layout is None:
        return False
    cells = cells_of(lines[layout.body_at][1], layout.separator)
    return layout.stamp(cells + [""] * layout.width) is not None


def read_station_log(
    text: str,
    path: Path,
    *,
    wind_height_m: float = 2.0,
    clear_sky_mj_m2: ClearSky | None = None,
    timezone: str | None = None,
) -> WeatherFile:
    """The complete local days of a log.

    Raises
    ------
    WeatherFileError
        If there is no header with a time and a reading, or the order of the dates is unclear.
    """
    lines = all_lines(text)
    layout = layout_of(lines)
    if layout is None:
        raise WeatherFileError(
            f"{path}: no header of a station's log in its first lines; it names a column of date "
            "and time and at least one reading with its unit, as 'Time, Temp (°C), Rain (mm)'"
        )
    notes = Notes(file=path.name)
    log = read_log(lines, layout, path, notes, _zone(timezone, path))
    if not log.headings or not log.readings:
        raise WeatherFileError(
            f"{path}: no column of it can be used"
            + "".join(f"\n{fault}" for _, fault in notes.faults)
            + "".join(f"\n{remark}" for remark in notes.remarks)
        )
    _missing_kinds(layout, log, notes)
    spans = daily_values.spans_of(log.readings[0].at_s, log.readings[-1].at_s, log.clock)
    days, incomplete = _days(log, spans, notes)
    _report_incomplete(incomplete, log, notes)
    rows = _rows(days, log, spans, path.name, wind_height_m)
    names = _names(log, days)
    if not rows:
        notes.faults.append((0, f"{path.name}: no day with enough readings to be a whole one"))
        return WeatherFile(
            days=(),
            remarks=tuple(notes.remarks),
            faults=tuple(text for _, text in sorted(notes.faults, key=lambda fault: fault[0])),
            kind=KIND,
        )
    form = FileForm(
        kind=KIND, names=names, own_units=True, header_line=layout.header_line, count_empty=False
    )
    return finished(rows, notes, form, clear_sky_mj_m2)


def _days(
    log: Log, spans: Sequence[LogDay], notes: Notes
) -> tuple[dict[date, dict[str, float]], dict[str, list[date]]]:
    """The figures of each day, and by quantity its incomplete days."""
    days: dict[date, dict[str, float]] = {span.day: {} for span in spans}
    incomplete: dict[str, list[date]] = {}
    for name in log.headings:
        points = _points(log, name, notes)
        if name.startswith("rain") or name == hd.SUN_ENERGY:
            sums = _sums(name, points, spans, log, notes)
            if sums is None:
                continue
            amounts, incomplete[name] = sums
            field = "rain_mm" if name.startswith("rain") else "solar_mj_m2"
            for day, amount in amounts.items():
                days[day][field] = amount
            continue
        covered = daily_values.sun_is_complete if name == hd.SUN else daily_values.is_complete
        found = daily_values.by_span(points, spans)
        for span in spans:
            if covered(found[span.day], span):
                days[span.day] |= _figures(name, found[span.day], span)
            else:
                incomplete.setdefault(name, []).append(span.day)
    return days, incomplete


def _figures(name: str, points: Sequence[LogPoint], span: LogDay) -> dict[str, float]:
    values = [p.value for p in points]
    if name == hd.TEMP:
        return {"tmin_c": min(values), "tmax_c": max(values)}
    if name == hd.HUMIDITY:
        return {
            "rh_min_pct": min(values),
            "rh_mean_pct": daily_values.mean_of(points, span),
            "rh_max_pct": max(values),
        }
    if name == hd.SUN:
        return {"solar_mj_m2": daily_values.integral(points, span) / 1e6}
    return {_FIELD[name][0]: daily_values.mean_of(points, span)}


def _points(log: Log, name: str, notes: Notes) -> list[LogPoint]:
    """The readings of one quantity, without impossible ones."""
    low, high = _READING_LIMITS.get(name, (0.0, float("inf")))
    points, beyond = [], []
    for reading in log.readings:
        value = reading.values.get(name)
        if value is None:
            continue
        if not low <= value <= high:
            beyond.append((reading.line, value))
            continue
        if name == hd.HUMIDITY:
            value = min(value, 100.0)
        points.append(
            LogPoint(at_s=reading.at_s, value=max(value, 0.0) if name == hd.SUN else value)
        )
    heading = log.headings[name].text
    if len(beyond) > WRONG_SHARE * (len(points) + len(beyond)):
        notes.fault(
            log.header_line,
            heading,
            f"{len(beyond)} of {len(points) + len(beyond)} readings beyond {low:g} to {high:g} "
            "once in our unit",
            "the column is not used; is it in another unit than its heading says?",
        )
        return []
    if beyond:
        notes.fault(
            beyond[0][0],
            heading,
            f"{beyond[0][1]:.4g} in our unit",
            f"allowed is {low:g} to {high:g}"
            + (f"; {len(beyond)} readings are left out so" if len(beyond) > 1 else ""),
        )
    if name in (hd.TEMP, hd.DEW):
        good = daily_values.without_spikes(points)
        if len(good) < len(points):
            notes.remarks.append(
                f"{notes.file}: {heading}: {len(points) - len(good)} single readings far from "
                "those before and after are left out"
            )
        return good
    return points


def _sums(
    name: str, points: Sequence[LogPoint], spans: Sequence[LogDay], log: Log, notes: Notes
) -> tuple[dict[date, float], list[date]] | None:
    """The daily sums of a column of rain or radiation; None if it is unclear how it counts."""
    heading = log.headings[name]
    holds, pairs = daily_values.share_that_holds(points, spans)
    counter = name in (hd.RAIN_DAY, hd.RAIN_TOTAL)
    if counter and holds < daily_values.DOES_NOT_COUNT_UP and pairs >= daily_values.LEAST_PAIRS:
        notes.fault(
            log.header_line,
            heading.text,
            "a counter by its name whose figures fall again and again",
            "what it counts is not known; it is not used",
        )
        return None
    if not counter and name != hd.RAIN_AMOUNT:
        is_counter = daily_values.counts_up(points, spans)
        if is_counter is None:
            notes.fault(
                log.header_line,
                heading.text,
                "figures that are neither plainly a counter nor amounts",
                "name it 'since midnight', 'total' or 'per interval'",
            )
            return None
        counter = is_counter
        how = "a counter" if counter else "amounts since the reading before"
        if any(p.value > 0.0 for p in points):
            notes.remarks.append(f"{notes.file}: {heading.text}: its figures are {how}")
    if not counter:
        return daily_values.amounts_by_day(points, spans)
    midnight = name == hd.RAIN_DAY or (
        name != hd.RAIN_TOTAL and daily_values.starts_at_midnight(points, spans)
    )
    return daily_values.counts_by_day(points, spans, from_midnight=midnight)


def _report_incomplete(incomplete: Mapping[str, list[date]], log: Log, notes: Notes) -> None:
    """Report the incomplete days, once for all columns with the same ones."""
    by_days: dict[tuple[date, ...], list[str]] = {}
    for name, gone in incomplete.items():
        if gone:
            by_days.setdefault(tuple(gone), []).append(log.headings[name].text)
    for gone_days, columns in by_days.items():
        count = f"{len(gone_days)} day{'s' if len(gone_days) > 1 else ''}"
        notes.remarks.append(
            f"{notes.file}: {', '.join(columns)}: too little read on {count} for a whole day, so "
            f"unknown: {day_spans(gone_days)}"
        )


def _missing_kinds(layout: Layout, log: Log, notes: Notes) -> None:
    gust = any("gust" in h.text.lower() for h in layout.headings)
    if gust and hd.WIND not in log.headings:
        notes.remark(layout.header_line, "only gusts, no mean wind; the wind is unknown")
    humid = [h for h in layout.headings if h.meaning == hd.HUMIDITY]
    if hd.TEMP not in log.headings:
        notes.remark(layout.header_line, "no usable column of the outdoor temperature")
    if not any(name.startswith("rain") for name in log.headings):
        notes.remark(layout.header_line, "no usable column of rain; unknown rain is not none")
    if humid and hd.HUMIDITY not in log.headings:
        notes.remark(layout.header_line, "no usable column of the outdoor humidity")


def _rows(
    days: Mapping[date, Mapping[str, float]],
    log: Log,
    spans: Sequence[LogDay],
    file: str,
    wind_height_m: float,
) -> list[Row]:
    rows, at = [], 0
    for span in spans:
        while at < len(log.readings) - 1 and log.readings[at].at_s < span.start_s:
            at += 1
        if not days[span.day]:
            continue
        written = WeatherDay(day=span.day, wind_height_m=wind_height_m, source=file)
        written = written.with_(**days[span.day])
        rows.append(Row(line=log.readings[at].line, written=written, cells={}, checked=written))
    return rows


def _names(log: Log, days: Mapping[date, Mapping[str, float]]) -> dict[str, str]:
    known = {field for values in days.values() for field in values}
    names = {}
    for name, heading in log.headings.items():
        for field in ("rain_mm",) if name.startswith("rain") else _FIELD[name]:
            if field in known:
                names[field] = heading.text
    return names


def _zone(timezone: str | None, path: Path) -> ZoneInfo | None:
    if timezone is None:
        return None
    try:
        return ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise WeatherFileError(f"{path}: no time zone is called {timezone!r}") from None
