"""Reader of a monthly climate table: a CSV of twelve lines with the usual weather of a place.

Its columns are those of the gardener's own weather file, with `month` instead of `date`. Each
figure is the mean day of the month; rain is the sum of the month. Half a table is of no use: every
fault is named with its line and column, and then nothing of the table is used.
"""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.errors import WeatherFileError
from controller.weather.day import WARMEST_C, ClearSky, WeatherDay, check_day, unit_suspicions
from controller.weather.files.table import (
    BY_NAME,
    DATE,
    Column,
    bytes_of,
    figure,
    nearest,
    numbered_lines,
    utf8_text,
)

MONTH = "month"
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
YEAR = 2001  # the year whose days stand for any year's: it has 365
_NOT_FOR_MONTHS = frozenset({"rain_chance_pct"})
_NEEDED = {"tmin_c": "tmin_c or tmin_f", "tmax_c": "tmax_c or tmax_f"}
_RAIN = "rain_mm"
MOST_RAIN_MM = 5000.0  # in a month; our choice: over twice what the wettest places have on average


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthlyTable:
    """The mean day of each month, January first, dated on the 15th, with the months' rain.

    `rain_mm` is empty if the table has no rain. `remarks` name what was not used.
    """

    days: tuple[WeatherDay, ...]
    rain_mm: tuple[float, ...]
    remarks: tuple[str, ...] = ()


def read_months(
    path: Path | str, *, wind_height_m: float = 2.0, clear_sky_mj_m2: ClearSky | None = None
) -> MonthlyTable:
    """Read a monthly climate table.

    Raises
    ------
    WeatherFileError
        If there is no such file, it is not text, or there is any fault in it: one line for each
        fault, with the file's line, the column, what was found and what is allowed.
    """
    path = Path(path)
    lines = numbered_lines(utf8_text(bytes_of(path), path))
    if not lines:
        raise WeatherFileError(f"{path.name}: nothing in it; the first line must name the columns")
    reading = _Reading(path.name)
    header_line, separator, names, columns = reading.header(*lines[0])
    cells_of: dict[int, tuple[int, dict[str, str]]] = {}
    by_month: dict[int, dict[str, float | None]] = {}
    for number, line in lines[1:]:
        found = reading.row(number, line, separator, names, columns)
        if found is None:
            continue
        month, values, cells = found
        if month in by_month:
            reading.fault(
                number, MONTH, cells[MONTH], f"line {cells_of[month][0]} has {_name(month)} already"
            )
            continue
        by_month[month], cells_of[month] = values, (number, cells)
    missing = [_name(month) for month in range(1, 13) if month not in by_month]
    if missing and not reading.faults:
        reading.faults.append(
            f"{path.name}: no line for {', '.join(missing)}; allowed is one line for each month"
        )
    reading.stop_at_faults()
    days = []
    for month in range(1, 13):
        values = {name: v for name, v in by_month[month].items() if name != _RAIN}
        day = WeatherDay(
            day=date(YEAR, month, 15), wind_height_m=wind_height_m, source=path.name
        ).with_(**values)
        reading.check(day, *cells_of[month], columns, clear_sky_mj_m2)
        days.append(day)
    reading.check_units(days, header_line, columns, clear_sky_mj_m2)
    reading.stop_at_faults()
    rain = [by_month[month].get(_RAIN) for month in range(1, 13)]
    return MonthlyTable(
        days=tuple(days),
        rain_mm=tuple(mm for mm in rain if mm is not None),
        remarks=tuple(reading.remarks),
    )


class _Reading:
    """One reading of a file, with its faults and remarks."""

    def __init__(self, file: str) -> None:
        self._file = file
        self.faults: list[str] = []
        self.remarks: list[str] = []

    def fault(self, line: int, column: str, found: str, allowed: str) -> None:
        self.faults.append(f"{self._file}, line {line}, {column}: found {found}; {allowed}")

    def stop_at_faults(self) -> None:
        if self.faults:
            raise WeatherFileError("\n".join(self.faults))

    def header(self, number: int, line: str) -> tuple[int, str, list[str], dict[str, Column]]:
        """The line's number, the separator, all names, and the used columns."""
        separator = next((s for s in (";", "\t") if s in line), ",")
        names = [cell.strip().lower() for cell in _cells(line, separator)]
        if names.count(MONTH) != 1:
            days = "; a file of days is named with normals" if DATE in names else ""
            raise WeatherFileError(
                f"{self._file}, line {number}: found the columns {', '.join(names)[:200]}; "
                f"the first line must name the columns, and one of them is month{days}"
            )
        columns: dict[str, Column] = {}
        for name in names:
            column = BY_NAME.get(name)
            if column is None or column.field in _NOT_FOR_MONTHS:
                if name not in ("", MONTH):
                    self.remarks.append(
                        f"{self._file}, line {number}: column {name} is not used{nearest(name)}"
                    )
            elif column.field in columns:
                self.fault(
                    number,
                    f"{columns[column.field].name} and {name}",
                    "the same quantity twice",
                    "allowed is once",
                )
            else:
                columns[column.field] = column
        for field, needed in _NEEDED.items():
            if field not in columns:
                self.fault(number, field, "no such column", f"needed is {needed}")
        self.stop_at_faults()
        return number, separator, names, columns

    def row(
        self, number: int, line: str, separator: str, names: list[str], columns: dict[str, Column]
    ) -> tuple[int, dict[str, float | None], dict[str, str]] | None:
        """Month, figures and cells of a line; None if its month is unknown."""
        found = [cell.strip() for cell in _cells(line, separator)]
        if len(found) < len(names) or any(found[len(names) :]):
            comma = "; is a decimal comma among them?" if len(found) > len(names) else ""
            self.fault(
                number,
                "the line",
                f"{len(found)} cells",
                f"allowed are {len(names)}, as in the header{comma}",
            )
            return None
        cells = dict(zip(names, found, strict=False))
        month = _month_of(cells[MONTH])
        if month is None:
            self.fault(number, MONTH, repr(cells[MONTH]), "allowed is 1 to 12, or a month's name")
            return None
        values: dict[str, float | None] = {}
        for field, column in columns.items():
            try:
                values[field] = figure(cells[column.name], column, decimal_comma=separator == ";")
            except WeatherFileError as fault:
                allowed = str(fault).replace(", or an empty cell", "")
                self.fault(number, column.name, repr(cells[column.name]), allowed)
                continue
            if values[field] is None:
                self.fault(
                    number,
                    column.name,
                    repr(cells[column.name]) if cells[column.name] else "nothing",
                    "allowed is a figure in every month, or no such column",
                )
        rain_mm = values.get(_RAIN)
        if rain_mm is not None and not 0.0 <= rain_mm <= MOST_RAIN_MM:
            name = columns[_RAIN].name
            self.fault(number, name, cells[name], f"allowed is 0 to {MOST_RAIN_MM:g} mm a month")
        return month, values, cells

    def check(
        self,
        day: WeatherDay,
        line: int,
        cells: dict[str, str],
        columns: dict[str, Column],
        clear_sky: ClearSky | None,
    ) -> None:
        """Report figures that no month can have."""
        for finding in check_day(day, clear_sky_mj_m2=clear_sky)[1]:
            used = [columns[field].name for field in finding.fields if field in columns]
            hint = ""
            if finding.fields == ("sunshine_h",):
                hint = "; it is a mean day's: divide a month's sum by its days"
            self.fault(
                line,
                " and ".join(used),
                " and ".join(cells[name] for name in used),
                f"allowed is {finding.allowed}{hint}",
            )

    def check_units(
        self,
        days: Sequence[WeatherDay],
        line: int,
        columns: dict[str, Column],
        clear_sky: ClearSky | None,
    ) -> None:
        """Report columns that look like another unit."""
        names = {field: column.name for field, column in columns.items() if field != _RAIN}
        for odd in unit_suspicions(days, names, clear_sky_mj_m2=clear_sky):
            self.fault(line, names[odd.field], odd.found, "name the column for its true unit")
        warmest_c = max(day.tmax_c for day in days if day.tmax_c is not None)
        if names["tmax_c"] == "tmax_f" and warmest_c < WARMEST_C:
            self.fault(
                line,
                "tmax_f",
                f"no month above {warmest_c:.1f} °C once converted, which looks like degrees "
                "Celsius",
                "name the column for its true unit",
            )


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator))
    except csv.Error:
        return []  # a cell beyond all bounds: too few cells, and so a fault


def _month_of(cell: str) -> int | None:
    """The month of a cell: its number, or at least three letters of its name."""
    if cell.isascii() and cell.isdigit():
        return int(cell) if len(cell) <= 2 and 1 <= int(cell) <= 12 else None
    month = cell.lower().rstrip(".")
    if len(month) < 3:
        return None
    return next((n for n, name in enumerate(MONTHS, 1) if name.lower().startswith(month)), None)


def _name(month: int) -> str:
    return MONTHS[month - 1]
