"""Text for people: paragraphs, days, times of day, open times; and cells for a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime

WIDTH = 80
_FIRST_HALF = ("January", "February", "March", "April", "May", "June")
_SECOND_HALF = ("July", "August", "September", "October", "November", "December")
_MONTHS = (*_FIRST_HALF, *_SECOND_HALF)
# A number and its per cent stay in one line.
_PER_CENT, _JOINED = re.compile(r"(?<=\d) %"), "\ue000%"


def paragraph(
    words: str, indent: str = "", then: str | None = None, *, at_hyphens: bool = True
) -> list[str]:
    """The words in lines of 80 columns; later lines begin with `then`, else two columns deeper.

    >>> paragraph("word " * 20, "  ! ")[1]
    '      word word word word word'
    """
    lines = textwrap.wrap(
        _PER_CENT.sub(_JOINED, words),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=" " * (len(indent) + 2) if then is None else then,
        break_on_hyphens=at_hyphens,
    )
    return [line.replace(_JOINED, " %") for line in lines]


def open_time(seconds: float) -> str:
    """Time open as m:ss, or h:mm:ss from an hour on; tenths below ten seconds.

    >>> open_time(97.5), open_time(4.26), open_time(3725)
    ('1:38', '0:04.3', '1:02:05')
    """
    if seconds < 9.95:
        return f"0:{seconds:04.1f}"
    minutes, rest = divmod(int(seconds + 0.5), 60)
    if minutes < 60:
        return f"{minutes}:{rest:02d}"
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"


def long_day(day: date) -> str:
    """As in "Sunday 6 July 2031", whatever the machine's language."""
    from controller.garden.show import WEEKDAYS

    return f"{WEEKDAYS[day.weekday()]} {short_day(day)}"


def short_day(day: date) -> str:
    """As in "6 July 2031"."""
    return f"{day_in_year(day)} {day.year}"


def day_in_year(day: date) -> str:
    """As in "6 July"."""
    return f"{day.day} {_MONTHS[day.month - 1]}"


def weekday_and_day(day: date) -> str:
    """As in "Sunday 6 July"."""
    from controller.garden.show import WEEKDAYS

    return f"{WEEKDAYS[day.weekday()]} {day_in_year(day)}"


def day_cell(day: date) -> str:
    """As in " 6 Jul": six characters, for a table."""
    return f"{day.day:>2} {_MONTHS[day.month - 1][:3]}"


def clock_time(moment: datetime, twelve_hours: bool = False) -> str:
    """A local time of day; seconds only where there are any.

    >>> clock_time(datetime(2031, 6, 1, 5, 0, 7)), clock_time(datetime(2031, 6, 1, 5, 0))
    ('05:00:07', '05:00')
    >>> clock_time(datetime(2031, 6, 1, 17, 36, 7), True), clock_time(datetime(2031, 6, 1), True)
    ('5:36:07 pm', '12:00 am')
    """
    seconds = f":{moment:%S}" if moment.second else ""
    if not twelve_hours:
        return f"{moment:%H:%M}{seconds}"
    half = "am" if moment.hour < 12 else "pm"
    return f"{(moment.hour + 11) % 12 + 1}:{moment:%M}{seconds} {half}"


def clock_cell(moment: datetime, twelve_hours: bool) -> str:
    """The same without the seconds: at most eight characters, for a table."""
    return clock_time(moment.replace(second=0), twelve_hours)


# What spreadsheets begin a formula with, and what they skip before one (common practice).
_BEGINS_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(header: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    """A header, then the rows; with no rows, the header alone."""
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=header, lineterminator="\n")
    writer.writeheader()
    writer.writerows(map(cells, rows))
    return out.getvalue()


def cells(row: Mapping[str, object]) -> dict[str, object]:
    """The row, with an apostrophe before each text that a spreadsheet would compute.

    Numbers stay as they are, also negative ones, and those written as text. Lists are joined with a
    plus sign.
    """
    return {name: _cell(value) for name, value in row.items()}


def _cell(value: object) -> object:
    if isinstance(value, list):
        value = "+".join(map(str, value))
    if not isinstance(value, str) or not value.startswith(_BEGINS_FORMULA) or _is_number(value):
        return value
    return f"'{value}"


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text == text.strip()
