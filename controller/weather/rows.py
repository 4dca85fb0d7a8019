"""The header of a weather file and its lines, one day each; what is wrong is noted on the way."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from controller.errors import WeatherFileError
from controller.weather.checks import ClearSky, Finding, check_day
from controller.weather.columns import BY_NAME, DATE, MEASURED, Column, figure, nearest, truth
from controller.weather.day import WeatherDay

YEARS = (1800, 2200)  # our choice: a year outside is a slip of the keyboard
_ISO_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd:
    """A figure that is odd but not impossible."""

    line: int
    day: date
    column: str
    text: str


@dataclass(slots=True, kw_only=True)
class Notes:
    """What there is to say, gathered while reading."""

    file: str
    remarks: list[str] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    odd: list[Odd] = field(default_factory=list)

    def fault(self, line: int, column: str, found: str, allowed: str) -> None:
        """Something that keeps a figure or a day from being used."""
        text = f"{self.file}, line {line}, {column}: found {found}; {allowed}"
        self.faults.append((line, text))

    def remark(self, line: int, text: str) -> None:
        """Something the gardener should know, that costs nothing."""
        self.remarks.append(f"{self.file}, line {line}: {text}")


@dataclass(slots=True, kw_only=True)
class Row:
    """One day: as written, the same after its checks, and its cells by field where it has any."""

    line: int
    written: WeatherDay
    cells: Mapping[str, str]
    checked: WeatherDay

    def check(self, clear_sky: ClearSky | None, names: Mapping[str, str], notes: Notes) -> None:
        """Take out what cannot be, and name it; `names` has the file's word for each field."""
        self.checked, findings = check_day(self.written, clear_sky_mj_m2=clear_sky)
        for finding in findings:
            self._tell(finding, names, notes)

    def _tell(self, finding: Finding, names: Mapping[str, str], notes: Notes) -> None:
        columns = list(dict.fromkeys(names[f] for f in finding.fields if f in names))
        found = finding.found
        cell = self.cells.get(finding.fields[0]) if len(finding.fields) == 1 else None
        if cell is not None:
            found = cell if columns == list(finding.fields) else f"{cell} ({found})"
        place, allowed = " and ".join(columns), f"allowed is {finding.allowed}"
        if finding.dropped:
            notes.fault(self.line, place, found, allowed)
        else:
            text = f"{found} is odd; {allowed}"
            notes.odd.append(Odd(line=self.line, day=self.written.day, column=place, text=text))


@dataclass(slots=True, kw_only=True)
class Header:
    """What the first line says: which column fills which field, and what stands between columns."""

    separator: str
    width: int
    date_at: int
    measured_at: int | None
    columns: tuple[tuple[int, Column], ...]

    @classmethod
    def of(cls, number: int, line: str, *, path: Path, notes: Notes) -> Header:
        """Read the header; raise if there is no date in it or nothing besides."""
        separator = next((s for s in (";", "\t") if s in line), ",")
        names = [cell.strip().lower() for cell in _cells(line, separator)]
        if names.count(DATE) != 1:
            raise WeatherFileError(
                f"{path}, line {number}: found the columns {', '.join(names)[:200]}; "
                "the first line must name the columns, and one of them is date"
            )
        given: dict[str, list[tuple[int, Column]]] = {}
        for at, name in enumerate(names):
            if name in BY_NAME:
                given.setdefault(BY_NAME[name].field, []).append((at, BY_NAME[name]))
            elif name and name not in (DATE, MEASURED):
                notes.remark(number, f"column {name} is not known and not used{nearest(name)}")
        for doubled in [f for f, columns in given.items() if len(columns) > 1]:
            twice = " and ".join(column.name for _, column in given.pop(doubled))
            notes.fault(
                number, twice, "the same quantity twice", "allowed is once; neither column is used"
            )
        if not given and not notes.faults:
            raise WeatherFileError(
                f"{path}, line {number}: no column of weather besides the date"
                + "".join(f"\n{remark}" for remark in notes.remarks)
            )
        return cls(
            separator=separator,
            width=len(names),
            date_at=names.index(DATE),
            measured_at=names.index(MEASURED) if MEASURED in names else None,
            columns=tuple(columns[0] for columns in given.values()),
        )

    @property
    def names(self) -> dict[str, str]:
        """The column each field is read from, by its name."""
        return {column.field: column.name for _, column in self.columns}

    def row(
        self, number: int, line: str, file: str, wind_height_m: float, notes: Notes
    ) -> Row | None:
        """One day's line, or None where the line cannot be placed; then a fault says why."""
        cells = [cell.strip() for cell in _cells(line, self.separator)]
        if len(cells) < self.width or any(cells[self.width :]):
            notes.fault(
                number,
                "the line",
                f"{len(cells)} cells",
                f"allowed are {self.width}, as in the header; the line is left out"
                + ("; is a decimal comma among them?" if len(cells) > self.width else ""),
            )
            return None
        day = _day_of(cells[self.date_at], number, notes)
        if day is None:
            return None
        values: dict[str, float | None] = {}
        for at, column in self.columns:
            try:
                values[column.field] = figure(
                    cells[at], column, decimal_comma=self.separator == ";"
                )
            except WeatherFileError as fault:
                notes.fault(number, column.name, repr(cells[at]), str(fault))
        written = WeatherDay(
            day=day,
            wind_height_m=wind_height_m,
            source=file,
            measured=self._measured(cells, number, notes),
        ).with_(**values)
        texts = {column.field: cells[at] for at, column in self.columns}
        return Row(line=number, written=written, cells=texts, checked=written)

    def _measured(self, cells: Sequence[str], number: int, notes: Notes) -> bool:
        if self.measured_at is None:
            return True
        try:
            return truth(cells[self.measured_at])
        except WeatherFileError as fault:
            notes.fault(number, MEASURED, repr(cells[self.measured_at]), str(fault))
            return False  # what may be a forecast must not pass for a reading


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator))
    except csv.Error:
        return []  # a cell beyond all bounds: too few cells, and so a fault


def _day_of(cell: str, number: int, notes: Notes) -> date | None:
    allowed = "allowed is a date as 2031-06-01; the line is left out"
    try:
        day = date.fromisoformat(cell) if _ISO_DATE.fullmatch(cell) else None
    except ValueError:
        day = None
    if day is None:
        notes.fault(number, DATE, repr(cell), allowed)
        return None
    if not YEARS[0] <= day.year <= YEARS[1]:
        notes.fault(number, DATE, cell, f"allowed are the years {YEARS[0]} to {YEARS[1]}")
        return None
    return day
