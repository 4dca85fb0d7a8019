"""The lines of the daily climate network's files, of either shape, as one value after another."""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from controller.weather.rows import YEARS, Notes

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
    """Every value of the elements known; lines that are of neither shape are named."""
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
    if len(cells) < 7:  # whether the value failed a check cannot be seen any more
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
