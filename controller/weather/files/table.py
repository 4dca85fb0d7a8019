"""The parts of a weather file of one day a line: text, header, columns, rows."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from controller import units
from controller.errors import WeatherFileError
from controller.weather.day import ClearSky, DayFinding, WeatherDay, check_day

MOST_BYTES = 50_000_000  # our choice: a thousand years of days; anything larger is another file
_UTF16 = (b"\xff\xfe", b"\xfe\xff")


def bytes_of(path: Path) -> bytes:
    """All of the file.

    Raises
    ------
    WeatherFileError
        If there is no such file, it cannot be read, or it is far too large for weather.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise WeatherFileError(f"{path}: there is no such file") from None
    except OSError as fault:
        raise WeatherFileError(f"{path}: cannot be read: {fault.strerror}") from fault
    except ValueError as fault:  # a name with a null character in it
        raise WeatherFileError(f"{path}: cannot be read: {fault}") from fault
    if len(raw) > MOST_BYTES:
        raise WeatherFileError(f"{path}: larger than {MOST_BYTES // 1_000_000} MB; is it weather?")
    return raw


def utf8_text(raw: bytes, path: Path) -> str:
    """The text of a file that must be UTF-8, with or without a byte order mark.

    Raises
    ------
    WeatherFileError
        If it is in another encoding, with the line where that shows.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = raw.count(b"\n", 0, fault.start) + 1
        raise WeatherFileError(
            f"{path}, line {line}: not UTF-8 text; save it as CSV in UTF-8"
        ) from None
    return _without_nulls(text, path)


def any_text(raw: bytes, path: Path) -> str:
    """The text of a file in UTF-8, in UTF-16 with a byte order mark, or in code page 1252.

    Raises
    ------
    WeatherFileError
        If it is not text.
    """
    try:
        return _without_nulls(raw.decode("utf-16" if raw[:2] in _UTF16 else "utf-8-sig"), path)
    except UnicodeDecodeError:
        # Only a degree sign or a name depends on the code page; digits are the same in all.
        return _without_nulls(raw.decode("cp1252", errors="replace"), path)


def numbered_lines(text: str) -> list[tuple[int, str]]:
    """The lines with content, with their numbers; without comments, which begin with #."""
    return [(number, line) for number, line in all_lines(text) if line.lstrip()[0] != "#"]


def all_lines(text: str) -> list[tuple[int, str]]:
    """The lines that are not empty, with their numbers."""
    lines = enumerate(re.split(r"\r\n|\n|\r", text), start=1)
    return [(number, line) for number, line in lines if line.strip()]


def _without_nulls(text: str, path: Path) -> str:
    if "\0" in text:
        raise WeatherFileError(f"{path}: not a text file; save it as CSV in UTF-8")
    return text


DATE = "date"
MEASURED = "measured"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name, the field of the day, and the conversion to that field's unit."""

    name: str
    field: str
    means: str
    to_si: Callable[[float], float]


def _same(value: float) -> float:
    return value


def _column(name: str, field: str, means: str, to_si: Callable[[float], float] = _same) -> Column:
    return Column(name=name, field=field, means=means, to_si=to_si)


COLUMNS: tuple[Column, ...] = (
    _column("tmin_c", "tmin_c", "lowest air temperature, °C"),
    _column("tmin_f", "tmin_c", "lowest air temperature, °F", units.c_from_f),
    _column("tmax_c", "tmax_c", "highest air temperature, °C"),
    _column("tmax_f", "tmax_c", "highest air temperature, °F", units.c_from_f),
    _column("rh_mean_pct", "rh_mean_pct", "mean relative humidity, %"),
    _column("rh_min_pct", "rh_min_pct", "lowest relative humidity, %"),
    _column("rh_max_pct", "rh_max_pct", "highest relative humidity, %"),
    _column("dewpoint_c", "dewpoint_c", "mean dew point, °C"),
    _column("dewpoint_f", "dewpoint_c", "mean dew point, °F", units.c_from_f),
    _column("vapour_pressure_kpa", "vapour_pressure_kpa", "mean vapour pressure, kPa"),
    _column(
        "vapour_pressure_hpa",
        "vapour_pressure_kpa",
        "mean vapour pressure, hPa (= mbar)",
        lambda hpa: hpa / 10.0,
    ),
    _column("wind_m_s", "wind_m_s", "mean wind (not gusts), m/s"),
    _column("wind_km_h", "wind_m_s", "mean wind, km/h", units.m_s_from_km_h),
    _column("wind_mph", "wind_m_s", "mean wind, miles an hour", units.m_s_from_mph),
    _column("wind_knot", "wind_m_s", "mean wind, knots", units.m_s_from_knot),
    _column("solar_mj_m2", "solar_mj_m2", "sun on level ground over the day, MJ/m2"),
    _column(
        "solar_w_m2", "solar_mj_m2", "the same as a mean over 24 hours, W/m2", lambda w: w * 0.0864
    ),
    _column("solar_kwh_m2", "solar_mj_m2", "the same, kWh/m2", lambda kwh: kwh * 3.6),
    _column("solar_langley", "solar_mj_m2", "the same, langley", units.mj_m2_from_langley),
    _column("sunshine_h", "sunshine_h", "hours of bright sunshine"),
    _column("rain_mm", "rain_mm", "rain over the day, mm"),
    _column("rain_cm", "rain_mm", "rain over the day, cm", lambda cm: cm * 10.0),
    _column("rain_in", "rain_mm", "rain over the day, inches", units.mm_from_in),
    _column("rain_chance_pct", "rain_chance_pct", "chance of rain, for days to come, %"),
)
BY_NAME = {column.name: column for column in COLUMNS}
KNOWN_NAMES = (DATE, *BY_NAME, MEASURED)

# What people and loggers write if there is no figure. -999 and the like are below every limit, so
# they cannot be a reading.
_NOTHING = {"", "-", "--", "---", "–", "—", "nan", "na", "n/a", "null", "none", "missing", "m"}
_NOTHING |= {"-999", "-999.0", "-9999", "-9999.0", "-6999"}
_TRACE = {"t", "trace"}
_NUMBER = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")


def figure(text: str, column: Column, *, decimal_comma: bool) -> float | None:
    """The cell's figure in the field's own unit, or None for a cell without one.

    Raises
    ------
    WeatherFileError
        If it is neither.
    """
    cell = text.strip()
    if cell.lower() in _NOTHING:
        return None
    if column.field == "rain_mm" and cell.lower() in _TRACE:
        return 0.0  # it rained less than the gauge can measure
    number = cell.replace("−", "-")
    if decimal_comma and "." not in number:
        number = number.replace(",", ".", 1)
    if _NUMBER.fullmatch(number) is None:
        hint = "; a decimal comma needs ';' between the columns" if "," in number else ""
        raise WeatherFileError(f"allowed is a number without its unit, or an empty cell{hint}")
    return column.to_si(float(number))


def truth(text: str) -> bool:
    """The value of a cell of the column `measured`; an empty cell is true.

    Raises
    ------
    WeatherFileError
        If it is neither.
    """
    cell = text.strip().lower()
    if cell in {"", "yes", "true", "1"}:
        return True
    if cell in {"no", "false", "0"}:
        return False
    raise WeatherFileError("allowed is yes or no")


def nearest(name: str) -> str:
    """The most similar column names, as the end of a remark; empty if there is none."""
    close = get_close_matches(name, KNOWN_NAMES, n=2, cutoff=0.6)
    return f"; did you mean {' or '.join(close)}?" if close else ""


YEARS = (1800, 2200)  # our choice: a year outside is a typing error
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
    """The remarks and faults of one file."""

    file: str
    remarks: list[str] = field(default_factory=list)
    faults: list[tuple[int, str]] = field(default_factory=list)
    odd: list[Odd] = field(default_factory=list)

    def fault(self, line: int, column: str, found: str, allowed: str) -> None:
        """Add a fault: a figure or a day is not used."""
        text = f"{self.file}, line {line}, {column}: found {found}; {allowed}"
        self.faults.append((line, text))

    def remark(self, line: int, text: str) -> None:
        """Add a remark: all figures are used."""
        self.remarks.append(f"{self.file}, line {line}: {text}")


@dataclass(slots=True, kw_only=True)
class Row:
    """One day: as written, after its checks, and its cells by field, if it has any."""

    line: int
    written: WeatherDay
    cells: Mapping[str, str]
    checked: WeatherDay

    def check(self, clear_sky: ClearSky | None, names: Mapping[str, str], notes: Notes) -> None:
        """Remove and report impossible figures; `names` has the file's column for each field."""
        self.checked, findings = check_day(self.written, clear_sky_mj_m2=clear_sky)
        for finding in findings:
            self._report(finding, names, notes)

    def _report(self, finding: DayFinding, names: Mapping[str, str], notes: Notes) -> None:
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
    """The first line: the separator, and the field of each column."""

    separator: str
    width: int
    date_at: int
    measured_at: int | None
    columns: tuple[tuple[int, Column], ...]

    @classmethod
    def of(cls, number: int, line: str, *, path: Path, notes: Notes) -> Header:
        """Read the header; WeatherFileError if it has no date, or only a date."""
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
        """The name of the column of each field."""
        return {column.field: column.name for _, column in self.columns}

    def row(
        self, number: int, line: str, file: str, wind_height_m: float, notes: Notes
    ) -> Row | None:
        """The day of one line; None if the line cannot be used, with a fault."""
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
            return False  # a possible forecast must not count as a reading


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
