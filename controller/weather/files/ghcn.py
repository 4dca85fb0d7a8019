"""Reader of the global daily climate network's files: fixed-width .dly, or CSV by element.

The format is described in its readme (GHCN-Daily, NOAA/NCEI): tenths of degrees, of millimetres and
of metres per second; -9999 for no value; three flags beside each value. The column positions in
.dly and the letters of the flags are from memory of that readme.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from controller.errors import WeatherFileError
from controller.weather.day import ClearSky, WeatherDay
from controller.weather.files.finish import FileForm, WeatherFile, finished
from controller.weather.files.table import YEARS, Notes, Row, numbered_lines
from controller.weather.series_checks import spans

NOTHING = -9999
_ID = r"[A-Z]{2}[A-Z0-9_\-]{9}"
_DLY = re.compile(_ID + r"[0-9]{4}[0-9]{2}[A-Z][A-Z0-9]{3}[ 0-9\-]{5}.*")
_CSV = re.compile(r'"?' + _ID + r'"?,"?[0-9]{8}"?,"?[A-Z][A-Z0-9]{3}"?,"? *-?[0-9]+"?(,.*)?')
_HEADING = re.compile(r'"?(ID|STATION)"?,"?DATE"?,"?ELEMENT"?,.*', re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """One element of one day, in the format's own unit, with its flags."""

    line: int
    station: str
    day: date
    element: str
    value: int
    measure: str
    quality: str
    hour: int | None


def is_ghcn(lines: Sequence[tuple[int, str]]) -> bool:
    """Whether the first lines have the shape of this format."""
    first = [line for _, line in lines[:2]]
    return any(_DLY.fullmatch(line) or _CSV.fullmatch(line.strip()) for line in first)


def values_of(
    lines: Sequence[tuple[int, str]], notes: Notes, known: Collection[str]
) -> Iterator[Value]:
    """Every value of the known elements; lines of neither format give a fault."""
    for number, line in lines:
        if _DLY.fullmatch(line):
            if line[17:21] in known:
                yield from _month(number, line, notes)
        elif _CSV.fullmatch(line.strip()):
            yield from _one(number, line.strip(), notes, known)
        elif not _HEADING.fullmatch(line.strip()):
            notes.fault(
                number,
                "the line",
                repr(line.strip()[:40]),
                "allowed is a line as the format has it; it is left out",
            )


def _month(number: int, line: str, notes: Notes) -> Iterator[Value]:
    """One line of .dly: a station, a month, an element, and 31 times a value with three flags."""
    element = line[17:21]
    year, month = int(line[11:15]), int(line[15:17])
    if not (1 <= month <= 12 and YEARS[0] <= year <= YEARS[1]):
        notes.fault(number, element, line[11:17], "allowed is a year and a month, as 203106")
        return
    length = ((date(year + month // 12, month % 12 + 1, 1)) - date(year, month, 1)).days
    for day in range(1, 32):
        cell = line[21 + 8 * (day - 1) : 21 + 8 * day]
        text = cell[:5]
        if len(text) < 5 and day <= length:
            notes.fault(
                number, element, f"a line that ends at day {day - (not text.strip())}",
                f"allowed are {length} days; the rest is unknown",
            )  # fmt: skip
            return
        if day > length:
            if text.strip() not in {"", str(NOTHING)}:
                notes.fault(number, element, f"a value for day {day} of a month of {length}",
                            "allowed is -9999 there")  # fmt: skip
            continue
        if re.fullmatch(r" *-?[0-9]+", text) is None:
            notes.fault(number, element, f"{text!r} on day {day}", "allowed is a whole number")
            continue
        flags = cell[5:8].ljust(3)
        yield Value(
            line=number, station=line[:11], day=date(year, month, day), element=element,
            value=int(text), measure=flags[0].strip(), quality=flags[1].strip(), hour=None,
        )  # fmt: skip


def _one(number: int, line: str, notes: Notes, known: Collection[str]) -> Iterator[Value]:
    """One line of the CSV: station, date, element, value, three flags, hour of the reading."""
    try:
        cells = [cell.strip() for cell in next(csv.reader([line]))]
    except csv.Error:
        cells = []
    if len(cells) < 4 or re.fullmatch(r"-?[0-9]{1,6}", cells[3]) is None:
        notes.fault(number, "the line", repr(line[:40]), "allowed is a line as the format has it")
        return
    if cells[2] not in known:
        return
    try:
        day = date(int(cells[1][:4]), int(cells[1][4:6]), int(cells[1][6:]))
    except ValueError:
        notes.fault(number, "date", repr(cells[1]), "allowed is a date as 20310601")
        return
    if not YEARS[0] <= day.year <= YEARS[1]:
        notes.fault(number, "date", cells[1], f"allowed are the years {YEARS[0]} to {YEARS[1]}")
        return
    if len(cells) < 7:  # we cannot see whether the value failed a check
        notes.fault(number, cells[2], f"{len(cells)} cells", "allowed are 7 or 8; it is left out")
        return
    hour = cells[7] if len(cells) > 7 else ""
    is_hour = re.fullmatch(r"[0-9]{3,4}", hour) is not None and int(hour) <= 2400
    yield Value(
        line=number, station=cells[0], day=day, element=cells[2], value=int(cells[3]),
        measure=cells[4], quality=cells[5], hour=int(hour) // 100 if is_hour else None,
    )  # fmt: skip


def is_fixed_width(lines: Sequence[tuple[int, str]]) -> bool:
    """Whether the first lines are those of a .dly file."""
    return any(_DLY.fullmatch(line) for _, line in lines[:2])


KIND = "ghcn-daily"
_MULTI_DAY_RAIN, _MULTI_DAYS = "MDPR", "DAPR"
MOST_MULTI_DAYS = 60  # our choice: a total of more days is a slip
MORNING_H = (4, 11)  # an observer's hours; an automatic station files at midnight


@dataclass(frozen=True, slots=True, kw_only=True)
class _Element:
    field: str
    to_si: Callable[[float], float]


# Two elements for one field: the first named wins.
_ELEMENTS = {
    "TMAX": _Element(field="tmax_c", to_si=lambda v: v / 10.0),
    "TMIN": _Element(field="tmin_c", to_si=lambda v: v / 10.0),
    "PRCP": _Element(field="rain_mm", to_si=lambda v: v / 10.0),
    "ADPT": _Element(field="dewpoint_c", to_si=lambda v: v / 10.0),
    "RHAV": _Element(field="rh_mean_pct", to_si=float),
    "RHMX": _Element(field="rh_max_pct", to_si=float),
    "RHMN": _Element(field="rh_min_pct", to_si=float),
    "AWND": _Element(field="wind_m_s", to_si=lambda v: v / 10.0),
    "WDMV": _Element(field="wind_m_s", to_si=lambda km: km * 1000.0 / 86_400.0),
    "TSUN": _Element(field="sunshine_h", to_si=lambda minutes: minutes / 60.0),
}
_KNOWN = {*_ELEMENTS, _MULTI_DAY_RAIN, _MULTI_DAYS, "SNOW"}
_FAILED = {
    "D": "given twice", "G": "a gap to its neighbours", "I": "at odds with itself",
    "K": "a streak of one same value", "L": "over too many days", "M": "too large",
    "N": "beyond nature", "O": "far from its climate", "R": "behind its limits",
    "S": "at odds with stations near", "T": "at odds with its time", "W": "too warm for snow",
    "X": "out of bounds", "Z": "by a person's judgement",
}  # fmt: skip


@dataclass(slots=True, kw_only=True)
class _Collected:
    """What the lines hold, collected for one report at the end."""

    values: dict[tuple[date, str], float] = field(default_factory=dict)
    first_line: dict[date, int] = field(default_factory=dict)
    failed: Counter[tuple[str, str]] = field(default_factory=Counter)
    twice: set[tuple[date, str]] = field(default_factory=set)
    presumed: set[date] = field(default_factory=set)
    traces: set[date] = field(default_factory=set)
    hours: Counter[int] = field(default_factory=Counter)


def read_ghcn(
    text: str,
    path: Path,
    *,
    wind_height_m: float = 2.0,
    clear_sky_mj_m2: ClearSky | None = None,
) -> WeatherFile:
    """The days of one station, from either format.

    Raises
    ------
    WeatherFileError
        If no line has the format, or there are several stations in the file.
    """
    notes = Notes(file=path.name)
    lines = numbered_lines(text)
    found = list(values_of(lines, notes, _KNOWN))
    if not found:
        raise WeatherFileError(
            f"{path}: no line as the daily climate network writes it (.dly, or CSV of station, "
            "date, element, value and flags)" + "".join(f"\n{f}" for _, f in notes.faults[:3])
        )
    stations = sorted({value.station for value in found})
    if len(stations) > 1:
        raise WeatherFileError(
            f"{path}: {len(stations)} stations in one file ({', '.join(stations[:4])}"
            f"{', ...' if len(stations) > 4 else ''}); keep the lines of the one you want"
        )
    collected = _Collected()
    for value in found:
        _sift(value, collected)
    _multi_day_rain(collected, notes)
    _report(collected, notes, fixed_width=is_fixed_width(lines))
    rows = _rows(collected, path.name, wind_height_m)
    names = {
        element.field: name
        for name, element in reversed(_ELEMENTS.items())
        if any(known == name for _, known in collected.values)
    }
    if "wind_m_s" in names:
        notes.remarks.append(
            f"{path.name}: wind is taken as measured {wind_height_m:g} m above the ground; at "
            "airports it is 10 m (wind_height in [weather])"
        )
    form = FileForm(kind=KIND, names=names, own_units=False)
    return finished(rows, notes, form, clear_sky_mj_m2)


def _sift(value: Value, collected: _Collected) -> None:
    collected.first_line.setdefault(value.day, value.line)
    if value.value == NOTHING:
        return
    if value.quality:
        collected.failed[value.element, value.quality] += 1
        return
    rain = value.element == "PRCP"
    if rain and value.measure == "P":
        collected.presumed.add(value.day)  # "missing, presumed zero": nobody saw it
        return
    if rain and value.measure == "T":
        collected.traces.add(value.day)
    if value.hour is not None and value.element in _ELEMENTS:
        collected.hours[value.hour] += 1
    key = (value.day, value.element)
    known = float(value.value)  # a trace is written as 0
    if collected.values.get(key, known) != known:
        collected.twice.add(key)
    collected.values[key] = known


def _multi_day_rain(collected: _Collected, notes: Notes) -> None:
    """Leave the rain of days unknown that have only a total of several days."""
    for (day, element), amount in sorted(collected.values.items()):
        if element != _MULTI_DAY_RAIN:
            continue
        count = int(collected.values.get((day, _MULTI_DAYS), 0))
        span = [day - timedelta(days=n) for n in range(max(1, min(count, MOST_MULTI_DAYS)))]
        for one in span:
            collected.values.pop((one, "PRCP"), None)
        over = f"over {count} days" if count else "over days of which the number is not given"
        notes.remark(
            collected.first_line[day],
            f"MDPR: {amount / 10.0:g} mm on {day} {over}; "
            f"the rain of {spans(span)} is left unknown",
        )


def _report(collected: _Collected, notes: Notes, *, fixed_width: bool) -> None:
    for key in sorted(collected.twice):
        day, element = key
        collected.values.pop(key, None)
        notes.fault(collected.first_line[day], element, f"two values for {day}",
                    "allowed is one; neither is used")  # fmt: skip
    for element in sorted({element for element, _ in collected.failed}):
        flags = {flag: n for (e, flag), n in sorted(collected.failed.items()) if e == element}
        why = ", ".join(f"{_FAILED.get(flag, flag)} {n}" for flag, n in flags.items())
        notes.remarks.append(
            f"{notes.file}: {element}: {sum(flags.values())} values failed the archive's own "
            f"checks ({why}) and are not used"
        )
    if collected.presumed:
        notes.remarks.append(
            f"{notes.file}: PRCP: no reading, presumed zero by the archive, on "
            f"{spans(collected.presumed)}; left unknown"
        )
    if collected.traces:
        notes.remarks.append(
            f"{notes.file}: PRCP: a trace, taken as 0, on {spans(collected.traces)}"
        )
    snow = [day for (day, element), v in collected.values.items() if element == "SNOW" and v > 0.0]
    if snow:
        notes.remarks.append(
            f"{notes.file}: SNOW: fresh snow on {spans(snow)}; its water is in PRCP, and reaches "
            "the soil when it melts"
        )
    _report_hours(collected, notes, fixed_width=fixed_width)


def _report_hours(collected: _Collected, notes: Notes, *, fixed_width: bool) -> None:
    morning = {h: n for h, n in collected.hours.items() if MORNING_H[0] <= h <= MORNING_H[1]}
    if morning:
        usual = max(morning, key=lambda h: morning[h])
        part = f"{sum(morning.values())} of {collected.hours.total()} values"
        notes.remarks.append(
            f"{notes.file}: {part} were read in the "
            f"morning, mostly at {usual:02d}:00: they are for the 24 hours before, so rain and the "
            "day's highest belong mostly to the day before the one they are filed under. They are "
            "left where the file has them"
        )
    elif fixed_width:
        notes.remarks.append(
            f"{notes.file}: a .dly file does not say at what hour the observer read; a reader at "
            "07:00 files rain and the highest of the day before under today"
        )


def _rows(collected: _Collected, file: str, wind_height_m: float) -> list[Row]:
    days: dict[date, dict[str, float]] = {day: {} for day in collected.first_line}
    for (day, name), value in collected.values.items():
        element = _ELEMENTS.get(name)
        if element is None or (name == "WDMV" and (day, "AWND") in collected.values):
            continue
        days[day][element.field] = element.to_si(value)
    rows = []
    for day, values in sorted(days.items()):
        if not values:
            continue
        written = WeatherDay(day=day, wind_height_m=wind_height_m, source=file).with_(**values)
        rows.append(Row(line=collected.first_line[day], written=written, cells={}, checked=written))
    return rows
