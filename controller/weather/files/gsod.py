"""Reader of the global summary of the day: one CSV for each station and year.

The format is described in its readme (GSOD, NOAA/NCEI, 2020): degrees Fahrenheit, knots, inches,
days in UTC, and a code for no value that differs by field. The letters beside the rain are from
memory of it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from controller import units
from controller.errors import WeatherFileError
from controller.weather.day import ClearSky, WeatherDay
from controller.weather.files.finish import FileForm, WeatherFile, finished
from controller.weather.files.table import YEARS, Notes, Row, numbered_lines
from controller.weather.series_checks import odd_means, spans

KIND = "gsod"
_DATE, _STATION, _RAIN, _MEAN = "DATE", "STATION", "PRCP", "TEMP"
_LETTERS = f"{_RAIN}_ATTRIBUTES"
_NUMBER = re.compile(r"-?[0-9]{1,5}(\.[0-9]*)?|-?\.[0-9]+")
# Rain summed from fewer than 24 hours (A, B, C: one to three reports of 6 h; E: one of 12 h).
_PART_OF_DAY = {"A", "B", "C", "E"}
# H: zero, but the hourly reports had some; I: no report.
_NOT_REPORTED = {"H", "I"}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Field:
    field: str
    nothing: float
    to_si: Callable[[float], float]


_FIELDS = {
    "MAX": _Field(field="tmax_c", nothing=9999.9, to_si=units.c_from_f),
    "MIN": _Field(field="tmin_c", nothing=9999.9, to_si=units.c_from_f),
    "DEWP": _Field(field="dewpoint_c", nothing=9999.9, to_si=units.c_from_f),
    "WDSP": _Field(field="wind_m_s", nothing=999.9, to_si=units.m_s_from_knot),
    _RAIN: _Field(field="rain_mm", nothing=99.99, to_si=units.mm_from_in),
}
_MEAN_FIELD = _Field(field="", nothing=9999.9, to_si=units.c_from_f)


@dataclass(slots=True, kw_only=True)
class _Collected:
    stations: set[str] = field(default_factory=set)
    means_c: dict[date, float] = field(default_factory=dict)
    starred: set[date] = field(default_factory=set)
    part_rain: set[date] = field(default_factory=set)
    no_rain_report: set[date] = field(default_factory=set)


def is_gsod(lines: Sequence[tuple[int, str]]) -> bool:
    """Whether the first line is this format's header."""
    names = set(_header(lines[0][1]))
    return {_STATION, _DATE} <= names and len(names & {"DEWP", "WDSP", "MXSPD", "FRSHTT"}) >= 2


def read_gsod(
    text: str,
    path: Path,
    *,
    wind_height_m: float = 2.0,
    clear_sky_mj_m2: ClearSky | None = None,
) -> WeatherFile:
    """The days of one station.

    Raises
    ------
    WeatherFileError
        If the header is not the format's, or there are several stations in the file.
    """
    lines = numbered_lines(text)
    header = _header(lines[0][1]) if lines else []
    used = [name for name in _FIELDS if name in header]
    if _DATE not in header or not used:
        raise WeatherFileError(
            f"{path}: no header of the global summary of the day; it has DATE and MAX, MIN, DEWP, "
            "WDSP or PRCP in its first line"
        )
    notes, collected = Notes(file=path.name), _Collected()
    rows = []
    for number, line in lines[1:]:
        cells = _cells(line)
        if len(cells) != len(header):
            notes.fault(number, "the line", f"{len(cells)} cells",
                        f"allowed are {len(header)}, as in the header; it is left out")  # fmt: skip
            continue
        row = _row(number, dict(zip(header, cells, strict=True)), used, collected, notes)
        if row is not None:
            row.written = row.written.with_(wind_height_m=wind_height_m, source=path.name)
            row.checked = row.written
            rows.append(row)
    if len(collected.stations) > 1:
        some = ", ".join(sorted(collected.stations)[:4])
        raise WeatherFileError(
            f"{path}: {len(collected.stations)} stations in one file ({some}); "
            "keep the lines of one"
        )
    names = {_FIELDS[name].field: name for name in used}
    _report(collected, notes, wind_height_m if "WDSP" in used else None)
    form = FileForm(kind=KIND, names=names, own_units=False)
    found = finished(rows, notes, form, clear_sky_mj_m2)
    odd = odd_means(collected.means_c, found.days, _MEAN)
    return WeatherFile(
        days=found.days,
        remarks=(*found.remarks, *(f"{path.name}: {text}" for text in odd)),
        faults=found.faults,
        kind=KIND,
    )


def _row(
    number: int, cells: Mapping[str, str], used: Sequence[str], collected: _Collected, notes: Notes
) -> Row | None:
    try:
        day = date.fromisoformat(cells[_DATE])
    except ValueError:
        day = None
    if day is None or not YEARS[0] <= day.year <= YEARS[1]:
        notes.fault(number, _DATE, repr(cells[_DATE][:40]),
                    "allowed is a date as 2031-06-01; the line is left out")  # fmt: skip
        return None
    collected.stations.add(cells.get(_STATION, ""))
    values: dict[str, float | None] = {}
    for name in used:
        known = _FIELDS[name]
        values[known.field] = _figure(number, name, cells[name], known, notes)
        star = cells[name].endswith("*") or cells.get(f"{name}_ATTRIBUTES", "") == "*"
        if star and name in {"MAX", "MIN"}:
            collected.starred.add(day)
    if _MEAN in cells:
        mean = _figure(number, _MEAN, cells[_MEAN], _MEAN_FIELD, notes)
        if mean is not None:
            collected.means_c[day] = mean
    if _RAIN in used:
        values["rain_mm"] = _rain(day, values["rain_mm"], cells, collected)
    written = WeatherDay(day=day).with_(**values)
    texts = {_FIELDS[name].field: cells[name] for name in used}
    return Row(line=number, written=written, cells=texts, checked=written)


def _figure(number: int, name: str, cell: str, known: _Field, notes: Notes) -> float | None:
    text = cell.strip().rstrip("*").strip()
    if name == _RAIN and text[-1:].isalpha():
        text = text[:-1]  # older files have the letter behind the amount
    if not text:
        return None
    if _NUMBER.fullmatch(text) is None:
        notes.fault(number, name, repr(cell[:40]), "allowed is a number as the format has it")
        return None
    value = float(text)
    return None if abs(value - known.nothing) < 1e-6 else known.to_si(value)


def _rain(
    day: date, rain_mm: float | None, cells: Mapping[str, str], collected: _Collected
) -> float | None:
    """The day's rain; None if only part of the day was observed, and no rain in that part."""
    letter = cells.get(_LETTERS, "").strip().upper() or cells[_RAIN].strip()[-1:].upper()
    if letter in _NOT_REPORTED:
        collected.no_rain_report.add(day)
        return None
    if letter in _PART_OF_DAY and rain_mm is not None:
        collected.part_rain.add(day)
        return rain_mm if rain_mm > 0.0 else None
    return rain_mm


def _report(collected: _Collected, notes: Notes, wind_height_m: float | None) -> None:
    notes.remarks.append(
        f"{notes.file}: its days run from midnight to midnight UTC, not local time, and highest, "
        "lowest and rain may come from a window that reaches into another day"
    )
    if collected.no_rain_report:
        notes.remarks.append(
            f"{notes.file}: {_RAIN}: no whole report (letters H, I) on "
            f"{spans(collected.no_rain_report)}; left unknown"
        )
    if collected.part_rain:
        notes.remarks.append(
            f"{notes.file}: {_RAIN}: only part of the day was seen (letters A, B, C, E) on "
            f"{spans(collected.part_rain)}; what fell then is taken, nought is left unknown"
        )
    if collected.starred:
        notes.remarks.append(
            f"{notes.file}: highest or lowest taken from hourly reports (*), so perhaps short of "
            f"the true one, on {spans(collected.starred)}"
        )
    if wind_height_m is not None:
        notes.remarks.append(
            f"{notes.file}: wind is taken as measured {wind_height_m:g} m above the ground; at "
            "airports it is 10 m (wind_height in [weather])"
        )


def _header(line: str) -> list[str]:
    return [cell.upper() for cell in _cells(line)]


def _cells(line: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line]))]
    except (csv.Error, StopIteration):
        return []
