"""A gardener's own weather file: one line a day, comma or semicolon between the columns.

Nothing is filled in and nothing is converted on a guess. A figure that cannot be is left out, a
day given twice over is left out, and each such thing is named with its line.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

from controller.errors import WeatherFileError
from controller.weather.atomic import write_whole
from controller.weather.checks import ClearSky, stuck_figures
from controller.weather.columns import DATE, MEASURED
from controller.weather.columns import column_help as column_help
from controller.weather.day import VALUES, WeatherDay
from controller.weather.rows import Header, Notes, Row

MOST_BYTES = 50_000_000  # our choice: a thousand years of days; anything larger is another file


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherFile:
    """What a file holds: its usable days in order, and what there is to say about the rest.

    `missing_days` are those between the first and the last day for which there is none.
    """

    days: tuple[WeatherDay, ...]
    remarks: tuple[str, ...]
    faults: tuple[str, ...]
    missing_days: tuple[date, ...]


def read_weather_csv(
    path: Path | str, *, wind_height_m: float = 2.0, clear_sky_mj_m2: ClearSky | None = None
) -> WeatherFile:
    """Read days of weather; `clear_sky_mj_m2` lets the sun's figures be held to the season.

    Raises
    ------
    WeatherFileError
        If there is no such file, it is no text, or it has no header with a date column.
    """
    path = Path(path)
    lines = _numbered_lines(_text_of(path), path)
    if not lines:
        raise WeatherFileError(f"{path}: nothing in it; the first line must name the columns")
    notes = Notes(file=path.name)
    header = Header.of(*lines[0], path=path, notes=notes)
    rows = [
        row
        for number, line in lines[1:]
        if (row := header.row(number, line, path.name, wind_height_m, notes)) is not None
    ]
    notes.remarks += [f"{path.name}: {text}" for text in header.suspicions(rows)]
    if not rows:
        notes.faults.append((0, f"{path.name}: no line with a day under the header"))
    for row in rows:
        row.check(clear_sky_mj_m2, header, notes)
    days = _without_doubles(rows, notes)
    missing = _missing_days(rows, days, notes)
    notes.remarks += [f"{path.name}: {text}" for text in header.empty_cells(rows)]
    notes.remarks += [f"{path.name}: {text}" for text in stuck_figures(days)]
    return WeatherFile(
        days=tuple(days),
        remarks=tuple(notes.remarks),
        faults=tuple(text for _, text in sorted(notes.faults, key=lambda fault: fault[0])),
        missing_days=missing,
    )


def write_weather_csv(path: Path | str, days: Iterable[WeatherDay]) -> None:
    """Write days so that `read_weather_csv` reads the same figures back; whole or not at all.

    Raises
    ------
    WeatherFileError
        If the wind was not measured at one height, or the file cannot be written.
    """
    ordered = sorted(days, key=lambda day: day.day)
    heights = {day.wind_height_m for day in ordered if day.wind_m_s is not None}
    if len(heights) > 1:
        raise WeatherFileError(
            f"{path}: wind from {min(heights):g} m and {max(heights):g} m above the ground; "
            "a weather file has one height for all days"
        )
    out = io.StringIO()
    for height in heights:
        out.write(f"# wind at {height:g} m above the ground\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow((DATE, *VALUES, MEASURED))
    for day in ordered:
        cells = ("" if (v := day.value(name)) is None else repr(float(v)) for name in VALUES)
        writer.writerow((day.day.isoformat(), *cells, "yes" if day.measured else "no"))
    try:
        write_whole(Path(path), out.getvalue().encode("utf-8"))
    except OSError as fault:
        raise WeatherFileError(f"{path}: cannot be written: {fault.strerror}") from fault


def _text_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise WeatherFileError(f"{path}: there is no such file") from None
    except OSError as fault:
        raise WeatherFileError(f"{path}: cannot be read: {fault.strerror}") from fault
    if len(raw) > MOST_BYTES:
        raise WeatherFileError(f"{path}: larger than {MOST_BYTES // 1_000_000} MB; is it weather?")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise WeatherFileError(
            f"{path}, line {line}: not UTF-8 text; save it as CSV in UTF-8"
        ) from None


def _numbered_lines(text: str, path: Path) -> list[tuple[int, str]]:
    if "\0" in text:
        raise WeatherFileError(f"{path}: not a text file; save it as CSV in UTF-8")
    return [
        (number, line)
        for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]


def _without_doubles(rows: Sequence[Row], notes: Notes) -> list[WeatherDay]:
    by_day: dict[date, list[Row]] = {}
    for row in rows:
        by_day.setdefault(row.written.day, []).append(row)
    days = []
    for day, same in sorted(by_day.items()):
        lines = " and ".join(str(row.line) for row in same)
        if len(same) > 1 and any(row.written != same[0].written for row in same):
            notes.fault(
                same[-1].line,
                DATE,
                f"{day} with other figures on lines {lines}",
                "allowed is one line a day; none of them is used",
            )
            continue
        if len(same) > 1:
            notes.remark(same[-1].line, f"{day} stands alike on lines {lines}; used once")
        days.append(same[0].checked)
    return days


def _missing_days(
    rows: Sequence[Row], days: Sequence[WeatherDay], notes: Notes
) -> tuple[date, ...]:
    """Days between the first and the last line that gave none, each gap in one remark."""
    there = {day.day for day in days}
    dates = sorted({row.written.day for row in rows})
    line_of = {row.written.day: row.line for row in rows}
    missing = [day for day in dates if day not in there]
    for before, after in pairwise(dates):
        gap = [before + timedelta(days=n) for n in range(1, (after - before).days)]
        if gap:
            span = f"{gap[0]}" if len(gap) == 1 else f"{gap[0]} to {gap[-1]} ({len(gap)} days)"
            notes.remark(line_of[after], f"no usable line for {span}, before {after}")
        missing += gap
    return tuple(sorted(missing))
