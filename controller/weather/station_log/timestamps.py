"""Dates and times of station logs, on one clock that never goes back.

Local times jump in spring and come twice in autumn; day and month have either order. If the file
does not show which, we ask the gardener and never guess.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from controller.errors import WeatherFileError
from controller.weather.files.table import YEARS

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DATES = (
    ("ymd", re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")),
    ("ymd", re.compile(r"(\d{4})(\d{2})(\d{2})")),
    ("?", re.compile(r"(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})")),
    ("named", re.compile(r"(\d{1,2})[-. ]+([a-z]{3})[a-z]*[-., ]+(\d{4}|\d{2})")),
    ("named us", re.compile(r"([a-z]{3})[a-z]*[-. ]+(\d{1,2})[., ]+(\d{4})")),
)
_PLAIN = re.compile(r"(\d{4})-(\d\d)-(\d\d) (\d\d):(\d\d)(?::00)?")  # most logs, read quickly
_TIME = re.compile(
    r"(\d{1,2})[:.h](\d{2})(?::(\d{2})(?:[.,]\d+)?)?\s*([ap])?\.?(?:m\.?)?\s*"
    r"(z|utc|gmt|[+-]\d{2}:?\d{2})?"
)
_EPOCH = re.compile(r"\d{10}")
_HOUR_S = 3600.0
# The clocks are put back by about an hour, early in the morning, in one of these months.
_CLOCK_MONTHS = {3, 4, 9, 10, 11}
_STEP_BACK_S = (600.0, 3700.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenTime:
    """A date and time of day as written; `first` and `second` are day and month, or the reverse.

    `style` is "ymd" if the order is clear, else "?". `time_s` is None if there is no time of day;
    `utc_offset_s` is None if there is no offset.
    """

    style: str
    year: int
    first: int
    second: int
    dotted: bool
    time_s: int | None
    utc_offset_s: int | None


def written_of(text: str) -> WrittenTime | None:
    """The date, and the time of day if there is one; None if it is not a date."""
    plain = _PLAIN.fullmatch(text)
    if plain is not None and int(plain[4]) < 24 and int(plain[5]) < 60:
        return WrittenTime(
            style="ymd", year=int(plain[1]), first=int(plain[2]), second=int(plain[3]),
            dotted=False, time_s=int(plain[4]) * 3600 + int(plain[5]) * 60, utc_offset_s=None,
        )  # fmt: skip
    cell = " ".join(text.strip().strip('"').lower().split())
    if _EPOCH.fullmatch(cell):
        moment = datetime.fromtimestamp(int(cell), UTC)
        return WrittenTime(
            style="ymd", year=moment.year, first=moment.month, second=moment.day, dotted=False,
            time_s=moment.hour * 3600 + moment.minute * 60 + moment.second, utc_offset_s=0,
        )  # fmt: skip
    for style, pattern in _DATES:
        match = pattern.match(cell)
        if match is None:
            continue
        rest = cell[match.end() :].strip().lstrip("t,").strip()
        time = _TIME.fullmatch(rest)
        if rest and time is None:
            continue
        year, first, second = _parts(style, match)
        if first is None:
            return None
        time_s = None if time is None else _time_s(time)
        if time is not None and time_s is None:
            return None
        return WrittenTime(
            style="?" if style == "?" else "ymd",
            year=year,
            first=first,
            second=second,
            dotted=style == "?" and match[2] == ".",
            time_s=time_s,
            utc_offset_s=_offset_s(time[5]) if time is not None else None,
        )
    return None


def day_first(written: Sequence[WrittenTime]) -> bool:
    """Whether the day stands before the month, from the dates themselves.

    Raises
    ------
    WeatherFileError
        If they contradict each other, or do not show it.
    """
    unsure = [w for w in written if w.style == "?"]
    over_first = any(w.first > 12 for w in unsure)
    over_second = any(w.second > 12 for w in unsure)
    if over_first and over_second:
        raise WeatherFileError(
            "its dates have the day first in some lines and the month first in others; write them "
            "as 2031-06-01"
        )
    if over_first or over_second:
        return over_first
    order = list(dict.fromkeys((w.year, w.first, w.second) for w in unsure))
    steps = list(pairwise(order))
    by_day = sum(a[0] == b[0] and a[2] == b[2] and abs(a[1] - b[1]) == 1 for a, b in steps)
    by_month = sum(a[0] == b[0] and a[1] == b[1] and abs(a[2] - b[2]) == 1 for a, b in steps)
    if by_day != by_month:
        return by_day > by_month  # neighbouring lines are neighbouring days, not months
    if any(w.dotted for w in unsure):
        return True  # in all countries that write dates with dots, the day stands first
    raise WeatherFileError(
        "its dates do not show whether the day or the month stands first; write them as 2031-06-01"
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class LogClock:
    """A clock in seconds that never goes back, with the start of each local day."""

    zone: ZoneInfo | None
    steps_back: tuple[datetime, ...]  # without a zone: local times at which an hour came twice

    def start_s(self, day: date) -> float:
        """The start of a local day. [s]"""
        midnight = datetime(day.year, day.month, day.day)  # noqa: DTZ001
        if self.zone is not None:
            return midnight.replace(tzinfo=self.zone).timestamp()
        return _plain_s(midnight) + _HOUR_S * sum(step < midnight for step in self.steps_back)


def on_one_clock(
    local: Sequence[datetime], zone: ZoneInfo | None
) -> tuple[list[float], LogClock, list[str]]:
    """Each local time in seconds on one clock, oldest line first, with remarks.

    Times count in the order of the lines: an hour that comes again is the second one.
    """
    remarks: list[str] = []
    unreal = [t for t in local if zone is not None and _is_unreal(t, zone)]
    if zone is not None and unreal:
        remarks.append(
            f"readings at {unreal[0]:%Y-%m-%d %H:%M}, an hour that the clocks of {zone.key} leave "
            "out: the station seems to keep one time all year; its days are taken as it has them"
        )
        zone = None
    moments: list[float] = []
    steps_back: list[datetime] = []
    latest, last = float("-inf"), None
    for time in local:
        if zone is not None:
            moment = time.replace(tzinfo=zone).timestamp()
            again = time.replace(tzinfo=zone, fold=1).timestamp()
            if again > moment and moment <= latest - 1.0 and latest - moment <= 2 * _HOUR_S:
                moment = again
        else:
            if last is not None and _is_step_back(last, time):
                steps_back.append(time)
            moment = _plain_s(time) + _HOUR_S * len(steps_back)
        latest, last = max(latest, moment), time
        moments.append(moment)
    if steps_back:
        at = ", ".join(f"{step:%Y-%m-%d}" for step in steps_back[:5])
        remarks.append(f"an hour comes twice on {at}, taken as the clocks put back")
    return moments, LogClock(zone=zone, steps_back=tuple(steps_back)), remarks


def local_time(written: WrittenTime, *, day_first: bool, zone: ZoneInfo | None) -> datetime | None:
    """The local time, without zone; None if there is no such date.

    Raises
    ------
    WeatherFileError
        If it is in UTC and no time zone is known.
    """
    month, day = written.first, written.second
    if written.style == "?" and day_first:
        month, day = day, month
    try:
        found = datetime(written.year, month, day) + timedelta(seconds=written.time_s or 0)  # noqa: DTZ001
    except (ValueError, OverflowError):
        return None
    if not YEARS[0] <= found.year <= YEARS[1]:
        return None
    if written.utc_offset_s is None:
        return found
    if zone is None:
        if written.utc_offset_s == 0:
            raise WeatherFileError("its times are UTC; the garden's time zone must be known for it")
        return found
    moment = (found - timedelta(seconds=written.utc_offset_s)).replace(tzinfo=UTC)
    return moment.astimezone(zone).replace(tzinfo=None)


def _parts(style: str, match: re.Match[str]) -> tuple[int, int, int] | tuple[int, None, int]:
    if style == "?":
        return _year(match[4]), int(match[1]), int(match[3])
    if style == "ymd":
        return int(match[1]), int(match[2]), int(match[3])
    name, day = (match[2], match[1]) if style == "named" else (match[1], match[2])
    if name not in _MONTHS:
        return 0, None, 0
    return _year(match[3]), _MONTHS.index(name) + 1, int(day)


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _time_s(match: re.Match[str]) -> int | None:
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if match[4] == "p" else 0)
    if minute > 59 or second > 59 or hour > 24 or (hour == 24 and minute + second):
        return None
    return hour * 3600 + minute * 60 + second


def _offset_s(text: str | None) -> int | None:
    if text is None:
        return None
    if text in {"z", "utc", "gmt"}:
        return 0
    digits = text[1:].replace(":", "")
    size = int(digits[:2]) * 3600 + int(digits[2:]) * 60
    return -size if text[0] == "-" else size


def _plain_s(time: datetime) -> float:
    return (time - datetime(1970, 1, 1)).total_seconds()  # noqa: DTZ001


def _is_unreal(time: datetime, zone: ZoneInfo) -> bool:
    there = time.replace(tzinfo=zone)
    back = there.astimezone(UTC).astimezone(zone).replace(tzinfo=None)
    return back != time


def _is_step_back(last: datetime, time: datetime) -> bool:
    back_s = (last - time).total_seconds()
    return (
        _STEP_BACK_S[0] <= back_s <= _STEP_BACK_S[1]
        and time.month in _CLOCK_MONTHS
        and time.hour <= 3
    )
