"""From the readings of a station's log to the daily values of complete local days.

Decimal sign and times are found from the file. All thresholds are our choice. A quantity is known
for a day if at most four of its hours have no reading and no gap is longer than three hours. Solar
radiation needs smaller gaps while the sun shines. A rain counter only needs a reading near both
midnights, because it counts on in a gap.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from math import isfinite
from pathlib import Path
from typing import NamedTuple
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


HOURS_OFF = 4
LONGEST_GAP_S = 3 * 3600.0
LONGEST_SUN_GAP_S = 1.5 * 3600.0
SUN_UP_W_M2 = 20.0
NEAR_MIDNIGHT_S = 3600.0
JOINED_S = 3700.0  # readings across midnight so close together are hourly or better
MOST_STEP_MM = 100.0  # a larger step between two readings is a fault of the counter, not rain
# A counter that falls so far, but soon is as high as before, had a glitch and did not restart.
GLITCH_MM, GLITCH_READINGS = 5.0, 3
# A reading so far from both its neighbours, while they agree, is a sensor error.
SPIKE_C, AGREE_C = 8.0, 4.0
# A counter keeps its value for hours, an amount falls after a shower; in between we ask.
COUNTS_UP, DOES_NOT_COUNT_UP = 0.9, 0.75
HOURS_OF_A_COUNTER, HOURS_OF_A_SHOWER = 6.0, 3.0
LEAST_PAIRS = 20  # so many pairs of readings are needed to show that a counter does not count


class LogPoint(NamedTuple):
    """One reading of one quantity; a tuple, because a year has a hundred thousand."""

    at_s: float
    value: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LogDay:
    """A local day on the log's clock. [s]"""

    day: date
    start_s: float
    end_s: float


def spans_of(first_s: float, last_s: float, clock: LogClock) -> list[LogDay]:
    """The local days from that of the first reading to that of the last."""
    day = datetime.fromtimestamp(first_s, UTC).date() - timedelta(days=2)
    found = []
    while (start := clock.start_s(day)) <= last_s:
        end = clock.start_s(day + timedelta(days=1))
        if end > first_s:
            found.append(LogDay(day=day, start_s=start, end_s=end))
        day += timedelta(days=1)
    return found


def by_span(points: Sequence[LogPoint], spans: Sequence[LogDay]) -> dict[date, list[LogPoint]]:
    """The points of each day; midnight belongs to the next day."""
    found: dict[date, list[LogPoint]] = {span.day: [] for span in spans}
    at = 0
    for span in spans:
        while at < len(points) and points[at].at_s < span.end_s:
            found[span.day].append(points[at])
            at += 1
    return found


def is_complete(points: Sequence[LogPoint], span: LogDay) -> bool:
    """Whether the readings cover enough of the day for its extremes and means."""
    if not points:
        return False
    hours = {int((p.at_s - span.start_s) // 3600.0) for p in points}
    edges = [span.start_s, *(p.at_s for p in points), span.end_s]
    needed = (span.end_s - span.start_s) / 3600.0 - HOURS_OFF
    return len(hours) >= needed and max(b - a for a, b in pairwise(edges)) <= LONGEST_GAP_S


def sun_is_complete(points: Sequence[LogPoint], span: LogDay) -> bool:
    """As `is_complete`, and without a long gap while the sun is up."""
    return is_complete(points, span) and all(
        b.at_s - a.at_s <= LONGEST_SUN_GAP_S or max(a.value, b.value) <= SUN_UP_W_M2
        for a, b in pairwise(points)
    )


def integral(points: Sequence[LogPoint], span: LogDay) -> float:
    """Integral of the value over the day: linear between readings, constant at both ends."""
    total = points[0].value * (points[0].at_s - span.start_s)
    total += points[-1].value * (span.end_s - points[-1].at_s)
    return total + sum((b.at_s - a.at_s) * (a.value + b.value) / 2.0 for a, b in pairwise(points))


def mean_of(points: Sequence[LogPoint], span: LogDay) -> float:
    """The mean over the day, weighted by time."""
    return integral(points, span) / (span.end_s - span.start_s)


def without_spikes(points: Sequence[LogPoint]) -> list[LogPoint]:
    """Temperatures without single readings far from both neighbours."""
    return [
        p
        for n, p in enumerate(points)
        if not (0 < n < len(points) - 1 and _is_spike(points[n - 1], p, points[n + 1]))
    ]


def share_that_holds(points: Sequence[LogPoint], spans: Sequence[LogDay]) -> tuple[float, int]:
    """Share of the readings above 0 whose next one that day is not lower, and their number."""
    held = pairs = 0
    for day in by_span(points, spans).values():
        for a, b in pairwise(day):
            if a.value > 0.0:
                pairs += 1
                held += b.value >= a.value
    return (held / pairs if pairs else 1.0), pairs


def counts_up(points: Sequence[LogPoint], spans: Sequence[LogDay]) -> bool | None:
    """Whether the figures are those of a counter, not amounts; None if that is not clear.

    It depends on how long figures above 0 go on without falling. If midnight or the end of the file
    cuts all of these times short, it depends on how often the figures fall.
    """
    midnights = [span.end_s for span in spans]
    runs: list[list[LogPoint]] = []
    for p in points:
        if p.value > 0.0 and runs and runs[-1] and p.value >= runs[-1][-1].value:
            runs[-1].append(p)
        else:
            runs.append([p] if p.value > 0.0 else [])
    lasted = [
        (run[-1].at_s - run[0].at_s) / 3600.0
        for run in runs
        if run and not _is_cut_short(run[-1].at_s, midnights, points[-1].at_s)
    ]
    if not lasted:
        holds, _ = share_that_holds(points, spans)
        return None if DOES_NOT_COUNT_UP < holds < COUNTS_UP else holds >= COUNTS_UP
    hours = sum(lasted) / len(lasted)
    if HOURS_OF_A_SHOWER < hours < HOURS_OF_A_COUNTER:
        return None
    return hours >= HOURS_OF_A_COUNTER


def amounts_by_day(
    points: Sequence[LogPoint], spans: Sequence[LogDay]
) -> tuple[dict[date, float], list[date]]:
    """Daily sums of amounts since the reading before, and the incomplete days."""
    # An amount read at midnight belongs to the day before.
    found = by_span([LogPoint(at_s=p.at_s - 1.0, value=p.value) for p in points], spans)
    complete = {
        s.day: sum(p.value for p in found[s.day]) for s in spans if is_complete(found[s.day], s)
    }
    return complete, [s.day for s in spans if s.day not in complete]


def counts_by_day(
    points: Sequence[LogPoint], spans: Sequence[LogDay], *, from_midnight: bool
) -> tuple[dict[date, float], list[date]]:
    """The rise of a counter on each day, and the days for which it is unknown.

    `from_midnight`: it starts again at each midnight, so its first reading of a day has all of that
    day so far. Any fall is a restart from 0.
    """
    if not from_midnight:
        points = _without_glitches(points)
    # A reading at midnight belongs to the day before.
    found = by_span([LogPoint(at_s=p.at_s - 1.0, value=p.value) for p in points], spans)
    rises: dict[date, float] = {}
    unknown: set[date] = {span.day for span in spans}
    before: LogPoint | None = None
    waiting: list[date] = []  # days since then without a reading near their end
    for span in spans:
        today = found[span.day]
        if not today:
            waiting.append(span.day)
            continue
        first = today[0]
        rise, start_known = _since(before, first, span, from_midnight=from_midnight)
        if waiting and before is not None and first.value == before.value and not from_midnight:
            unknown -= set(waiting)  # it did not change in the gap
            for day in waiting:
                rises.setdefault(day, 0.0)
        waiting = []
        steps = [_rise(a.value, b.value) for a, b in pairwise(today)]
        rises[span.day] = rise + sum(steps)
        before = today[-1]
        if start_known and max([rise, *steps]) <= MOST_STEP_MM:
            if span.end_s - before.at_s <= NEAR_MIDNIGHT_S + 1.0:
                unknown.discard(span.day)
            else:
                waiting.append(span.day)
    return {day: rises[day] for day in sorted(rises) if day not in unknown}, sorted(unknown)


def starts_at_midnight(points: Sequence[LogPoint], spans: Sequence[LogDay]) -> bool:
    """Whether a counter that had risen had restarted on most of the next days."""
    found = by_span(points, spans)
    falls = risen = 0
    for a, b in pairwise(spans):
        if found[a.day] and len(found[b.day]) > 1 and found[a.day][-1].value > 0.0:
            risen += 1
            falls += found[b.day][1].value < found[a.day][-1].value
    return risen > 0 and falls * 2 > risen


def _is_cut_short(at_s: float, midnights: Sequence[float], last_s: float) -> bool:
    near = midnights[min(bisect_left(midnights, at_s), len(midnights) - 1)]
    return last_s - at_s < NEAR_MIDNIGHT_S or 0.0 <= near - at_s < NEAR_MIDNIGHT_S


def _since(
    before: LogPoint | None, first: LogPoint, span: LogDay, *, from_midnight: bool
) -> tuple[float, bool]:
    """The rise up to the day's first reading, and whether all of it belongs to this day."""
    joined = before is not None and first.at_s - before.at_s <= JOINED_S
    if from_midnight and not joined:
        return first.value, True
    if before is None:
        return 0.0, first.at_s - span.start_s <= NEAR_MIDNIGHT_S
    rise = _rise(before.value, first.value)
    if joined or rise == 0.0 or span.start_s - before.at_s <= NEAR_MIDNIGHT_S + 1.0:
        return rise, True
    return 0.0, first.at_s - span.start_s <= NEAR_MIDNIGHT_S


def _rise(before: float, after: float) -> float:
    return after - before if after >= before else after


def _without_glitches(points: Sequence[LogPoint]) -> list[LogPoint]:
    good: list[LogPoint] = []
    for n, p in enumerate(points):
        if good and good[-1].value - p.value >= GLITCH_MM:
            coming = points[n + 1 : n + 1 + GLITCH_READINGS]
            if any(good[-1].value <= c.value <= good[-1].value + GLITCH_MM for c in coming):
                continue
        good.append(p)
    return good


def _is_spike(before: LogPoint, p: LogPoint, after: LogPoint) -> bool:
    low, high = sorted((before.value, after.value))
    near = after.at_s - before.at_s <= 2 * 3600.0 + 1.0
    off = p.value > high + SPIKE_C or p.value < low - SPIKE_C
    return near and off and high - low <= AGREE_C
