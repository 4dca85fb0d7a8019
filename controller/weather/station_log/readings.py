"""The readings of a station's log, with decimal sign and times found from the file."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import isfinite
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.errors import WeatherFileError
from controller.weather.files.table import Notes
from controller.weather.station_log import layout as hd
from controller.weather.station_log.layout import Layout, cells_of, chosen_columns
from controller.weather.station_log.timestamps import (
    LogClock,
    WrittenTime,
    day_first,
    local_time,
    on_one_clock,
)

LINES_NAMED = 5  # so many lines with one kind of fault are named; the others are counted
_NOTHING = {"", "-", "--", "---", "–", "—", "nan", "na", "n/a", "null", "none", "-999", "-9999",
            "-999.0", "-9999.0", "-999.9"}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d{1,2})?)\s*([^\d\s].*)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class LogReading:
    """One line of the log: the time, and the values in our units."""

    line: int
    at_s: float
    values: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Log:
    """Readings in order of time, the heading of each quantity, and the clock of the file."""

    readings: tuple[LogReading, ...]
    header_line: int
    headings: Mapping[str, hd.Heading]
    clock: LogClock


def read_log(
    lines: Sequence[tuple[int, str]],
    layout: Layout,
    path: Path,
    notes: Notes,
    zone: ZoneInfo | None,
) -> Log:
    """All readings of the file; lines without one are reported.

    Raises
    ------
    WeatherFileError
        If the order of day and month is unclear, or times are UTC and no time zone is known.
    """
    chosen = chosen_columns(layout, notes)
    table: list[tuple[int, list[str], WrittenTime]] = []
    odd_lines: list[tuple[int, str, str]] = []
    for number, line in lines[layout.body_at :]:
        if line.lstrip().startswith("#"):
            continue
        cells = cells_of(line, layout.separator)
        if len(cells) > layout.width and not any(cells[layout.width :]):
            cells = cells[: layout.width]
        if len(cells) != layout.width:
            odd_lines.append((number, f"{len(cells)} cells", f"allowed are {layout.width}"))
            continue
        stamp = layout.stamp(cells)
        if stamp is None:
            odd_lines.append(
                (number, layout.stamp_text(cells), "allowed is a date and a time of day")
            )
            continue
        table.append((number, cells, stamp))
    if len(table) > 1 and _newest_first(table):
        table.reverse()
    try:
        first = day_first([stamp for *_, stamp in table]) if _any_unsure(table) else False
        local = [local_time(stamp, day_first=first, zone=zone) for *_, stamp in table]
    except WeatherFileError as fault:
        raise WeatherFileError(f"{path}: {fault}") from None
    for (number, cells, _), time in zip(table, local, strict=True):
        if time is None:
            odd_lines.append((number, layout.stamp_text(cells), "there is no such date"))
    _report_lines(odd_lines, notes)
    good = [(row, time) for row, time in zip(table, local, strict=True) if time is not None]
    moments, clock, remarks = on_one_clock([time for _, time in good], zone)
    notes.remarks += [f"{notes.file}: {text}" for text in remarks]
    columns = _figures([row for row, _ in good], chosen, layout, notes)
    readings = [
        LogReading(line=row[0], at_s=at_s, values=values)
        for (row, _), at_s, values in zip(good, moments, columns, strict=True)
    ]
    used = {name: h for name, h in chosen.items() if any(name in r.values for r in readings)}
    return Log(
        readings=tuple(_without_duplicates(readings, notes)),
        header_line=layout.header_line,
        headings=used,
        clock=clock,
    )


def _figures(
    rows: Sequence[tuple[int, list[str], WrittenTime]],
    chosen: dict[str, hd.Heading],
    layout: Layout,
    notes: Notes,
) -> list[dict[str, float]]:
    """The figures of each line in our units, without columns that have no unit or only zeros."""
    found: list[dict[str, float]] = [{} for _ in rows]
    for name, h in list(chosen.items()):
        texts = [row[1][h.at].strip() for row in rows]
        comma = _decimal_comma(texts, layout.separator)
        parsed = [_number(text, comma) for text in texts]
        odd = [(rows[n][0], texts[n]) for n, p in enumerate(parsed) if p == "odd"]
        figures = [p if isinstance(p, tuple) else None for p in parsed]
        endings = Counter(p[1] for p in figures if p is not None and p[1])
        to_si = h.to_si or hd.unit_of(name, [e for e, _ in endings.most_common(1)])
        if odd:
            more = f"; {len(odd)} cells are left out so" if len(odd) > 1 else ""
            notes.fault(odd[0][0], h.text, repr(odd[0][1][:40]), f"allowed is a number{more}")
        if to_si is None:
            del chosen[name]
            notes.fault(layout.header_line, h.text, "no unit", "the column is not used; write its "
                        f"unit into the heading, as {hd.unit_help(name)}")  # fmt: skip
            continue
        raw = [p[0] for p in figures if p is not None]
        if len(raw) >= 24 and not any(raw) and not name.startswith("rain"):
            del chosen[name]
            notes.remark(layout.header_line, f"column {h.text} is not used: it is 0 in all "
                         f"{len(raw)} lines, as where the sensor is not fitted")  # fmt: skip
            continue
        for n, p in enumerate(figures):
            if p is not None:
                found[n][name] = to_si(p[0])
    return found


def _decimal_comma(texts: Sequence[str], separator: str) -> bool:
    """Whether the comma is the decimal sign of this column."""
    if not any("," in text for text in texts):
        return False
    commas = sum(re.fullmatch(r"[+-]?\d*,\d+\D*", text) is not None for text in texts)
    points = sum("." in text for text in texts)
    # In a table with commas only quoted cells have one; three digits may be thousands.
    thousands = sum(re.fullmatch(r"[+-]?\d{1,3},\d{3}\D*", text) is not None for text in texts)
    return commas > 0 and points == 0 and (separator != "," or commas > thousands)


@lru_cache(maxsize=20_000)  # a year of readings has few different figures
def _number(text: str, comma: bool) -> tuple[float, str] | str | None:
    """The figure and its unit; None for an empty cell, "odd" for something else."""
    cell = text.replace("−", "-").replace("\u00a0", " ").strip().lower()
    if cell in _NOTHING:
        return None
    match = _NUMBER.fullmatch(cell)
    if match is None or ("," in match[1] and not comma):
        return "odd"
    value = float(match[1].replace(",", "."))
    return (value, (match[2] or "").strip()) if isfinite(value) else "odd"


def _without_duplicates(readings: Sequence[LogReading], notes: Notes) -> list[LogReading]:
    """Readings in order of time; of several with one time, one if they are alike, else none."""
    ordered = sorted(readings, key=lambda r: r.at_s)
    same: dict[float, list[LogReading]] = {}
    for reading in ordered:
        same.setdefault(reading.at_s, []).append(reading)
    differing = [
        group for group in same.values() if any(r.values != group[0].values for r in group)
    ]
    if differing:
        lines = " and ".join(str(r.line) for r in differing[0])
        more = f", and {len(differing) - 1} moments more" if len(differing) > 1 else ""
        notes.fault(differing[0][0].line, "time", f"other figures for one moment on lines {lines}"
                    f"{more}", "allowed is one line a moment; none of them is used")  # fmt: skip
    return [group[0] for group in same.values() if all(r.values == group[0].values for r in group)]


def _report_lines(odd: Sequence[tuple[int, str, str]], notes: Notes) -> None:
    for number, found, allowed in sorted(odd)[:LINES_NAMED]:
        notes.fault(number, "the line", found, f"{allowed}; it is left out")
    if len(odd) > LINES_NAMED:
        notes.fault(max(odd)[0], "the file", f"{len(odd) - LINES_NAMED} lines more like this",
                    "they are left out")  # fmt: skip


def _any_unsure(table: Sequence[tuple[int, list[str], WrittenTime]]) -> bool:
    return any(stamp.style == "?" for *_, stamp in table)


def _newest_first(table: Sequence[tuple[int, list[str], WrittenTime]]) -> bool:
    """Whether times fall from line to line within a date; day and month may be unknown yet."""
    falls = rises = 0
    for (*_, before), (*_, after) in pairwise(table):
        if (before.year, before.first, before.second) == (after.year, after.first, after.second):
            falls += (after.time_s or 0) < (before.time_s or 0)
            rises += (after.time_s or 0) > (before.time_s or 0)
        elif before.year != after.year:
            falls += after.year < before.year
            rises += after.year > before.year
    return falls > rises
