"""The logbook's questions: what is owed and was given, weather, the last balance, sums.

They only read. Each instance has its own connection, of the thread that made it, and sees what was
committed when it asks.
"""

from __future__ import annotations

import math
import sqlite3
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from controller.demand.records import LedgerDay
from controller.demand.soil.zone_days import ZoneDays
from controller.errors import LogbookError
from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.logbook.entries import EntryReader, gone
from controller.logbook.files import REMEMBERED_KIB, is_damage, plain
from controller.logbook.records import (
    MENDED,
    FlowStretch,
    Happening,
    HoldRow,
    HowKnown,
    MeterSpan,
    Note,
    ObservationReader,
    PulseRow,
    PulseState,
    Reading,
    Sums,
    day_of,
    flow_stretch_of,
    happening_of,
    hold_of,
    note_of,
    pulse_of,
    reading_of,
    utc_from_text,
    utc_text,
    values_of,
)
from controller.logbook.row_rules import SET_ASIDE, is_moment, look_at_pulses, look_through
from controller.logbook.schema import NO_FILE, WERE_MEASURED, file_id, refuse_newer
from controller.logbook.totals import meter_spans, sum_up
from controller.timetable.unwritten import Record
from controller.weather.day import WeatherDay

GAUGE = "rain gauge"  # a person's word: all of a day's rain as it is known then
MORE_RAIN = "rain gauge, emptied"  # a person's reading that adds to the day's rain
METER = "meter"
PIN_GAUGE, PIN_GAUGE_HOURS = "gauge on pin", "gauge on pin, hours watched"
WATCHED_H = 22.0  # of a day, so that its sum is the day's rain; our choice


class DayReader:
    """Reads days of weather and of the ledger."""

    def weather_rows(self, first: date = date.min, last: date = date.max) -> list[WeatherDay]:
        """Every day that was kept, of every source, forecasts with them.

        In order of days; among the sources of one day, the one kept last comes first.
        """
        rows = self._rows(
            "SELECT * FROM weather WHERE day BETWEEN ? AND ? ORDER BY day, kept_utc DESC, source",
            span(first, last),
        )
        return [_weather_of(row) for row in rows]

    def gauge_by_day(self) -> dict[date, float]:
        """Rain by the garden's own gauge; the latest row of a day stands. [mm]

        A person's reading outranks the gauge on a pin. That gauge counts for a day only if it was
        watched nearly all of it; on the latest day it has rows of, as soon as rain has fallen.
        """
        on_pin, hours = self._pin_sums(PIN_GAUGE), self._pin_sums(PIN_GAUGE_HOURS)
        latest = max(hours, default=None)
        found = {
            day: mm
            for day, mm in on_pin.items()
            if hours.get(day, 0.0) >= WATCHED_H or (day == latest and mm > 0.0)
        }
        return found | self.rain_noted()

    def rain_noted(self) -> dict[date, float]:
        """Rain by people's notes: the last word on all of a day, and what was added since. [mm]"""
        rows = self._rows(
            "SELECT day, kind, value FROM readings WHERE kind IN (?, ?) AND day IS NOT NULL "
            "ORDER BY id",
            (GAUGE, MORE_RAIN),
        )
        found: dict[date, float] = {}
        for row in rows:
            day = date.fromisoformat(row["day"])
            before_mm = found.get(day, 0.0) if row["kind"] == MORE_RAIN else 0.0
            found[day] = before_mm + row["value"]
        return found

    def _pin_sums(self, kind: str) -> dict[date, float]:
        rows = self._rows(
            "SELECT day, sum(value) AS value FROM readings "
            "WHERE kind = ? AND day IS NOT NULL GROUP BY day",
            (kind,),
        )
        return {date.fromisoformat(row["day"]): row["value"] for row in rows}

    def ledger(
        self, zone: str | None = None, first: date = date.min, last: date = date.max
    ) -> list[LedgerDay]:
        """A zone's ledger as it was last kept, part by part, or that of every zone."""
        rows = self._rows(
            "SELECT * FROM ledger WHERE (? IS NULL OR zone = ?) AND day BETWEEN ? AND ? "
            "ORDER BY zone, day",
            (zone, zone, *span(first, last)),
        )
        days = [
            LedgerDay(**values_of(row, LedgerDay, truths=("measured", "rain_known")))
            for row in rows
        ]
        # Sorted here: a logbook from before there were parts has no such column to sort by.
        return sorted(days, key=lambda day: (day.zone, day.part, day.day))

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        raise NotImplementedError


def _weather_of(row: sqlite3.Row) -> WeatherDay:
    """A day of weather, also from a logbook that is not brought up to date yet."""
    if "modelled" in row.keys():  # noqa: SIM118 - a row's `in` looks at its values
        return WeatherDay(**values_of(row, WeatherDay, truths=("measured", "modelled")))
    day = WeatherDay(**values_of(row, WeatherDay, truths=("measured",)))
    now = WERE_MEASURED.get(day.source)
    return day if now is None else day.with_(source=now, measured=False, modelled=True)


def span(first: date, last: date) -> tuple[str, str]:
    """Two days as the logbook writes them."""
    return first.isoformat(), last.isoformat()


_UNFINISHED = (PulseState.INTENDED, PulseState.OPEN)
# Litres are written with these two states only; hand watering is a closed pulse like any other.
_GAVE = (PulseState.CLOSED, PulseState.CUT)
# Every column that holds a moment of our own clock; but not when the logbook was tended, which is
# done whether the clock is trusted or not.
_WRITTEN = (
    ("weather", "kept_utc"),
    ("ledger", "kept_utc"),
    ("pulses", "planned_utc"),
    ("pulses", "intended_utc"),
    ("pulses", "opened_utc"),
    ("pulses", "beat_utc"),
    ("pulses", "closed_utc"),
    ("readings", "written_utc"),
    ("notes", "at_utc"),
    ("holds", "written_utc"),
    ("holds", "lifted_utc"),
    ("happenings", "at_utc"),
    ("flow_stretches", "at_utc"),
    ("measurements", "written_utc"),
    ("measurements", "taken_back_utc"),
    ("observations", "written_utc"),
    ("observations", "taken_back_utc"),
    ("entries", "written_utc"),
    ("fits", "written_utc"),
)


# A reading of soil in percent by volume that its account starts anew from, and the taking back of
# one, whose value is its number.
SOIL_START, SOIL_START_BACK = "soil moisture as the new start", "soil start taken back"


class Questions(DayReader, ObservationReader, EntryReader):
    """The logbook, open for reading. What was taken back is seen by `entries` alone."""

    def __init__(
        self,
        path: Path,
        *,
        wait_s: float = 2.0,
        on_damage: Callable[[], None] | None = None,
        without: int | None = None,
    ) -> None:
        """`on_damage` is called when the file shows damage, before the error is raised. `without`
        is the number of a note that is read as taken back."""
        self.path, self._wait_s, self._on_damage = Path(path), wait_s, on_damage
        self._without = without
        if not self.path.is_file():
            raise LogbookError(f"logbook {path}: there is none yet")
        try:
            self._open()
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._logbook_error(error) from error

    def __enter__(self) -> Questions:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    # Pulses ---------------------------------------------------------------------------------

    def unfinished(self) -> list[PulseRow]:
        """Pulses that are intended or open: after a start, what a crash left behind."""
        return self._pulses("state IN (?, ?) ORDER BY id", _UNFINISHED)

    def planned(self, day: date) -> list[PulseRow]:
        """The day's pulses that are only planned, in order of opening."""
        return self._pulses(
            "day = ? AND state = ? ORDER BY planned_opens_utc, zone",
            (day.isoformat(), PulseState.PLANNED),
        )

    def left_planned(self, first: date, last: date) -> list[PulseRow]:
        """The pulses of these days that are only planned."""
        return self._pulses(
            "day BETWEEN ? AND ? AND state = ? ORDER BY day, id",
            (*span(first, last), PulseState.PLANNED),
        )

    def pulses(self, first: date, last: date) -> list[PulseRow]:
        """All pulses of these days, however far they came."""
        return self._pulses("day BETWEEN ? AND ? ORDER BY day, id", span(first, last))

    def pulse(self, pulse_id: int) -> PulseRow:
        """One pulse by its id."""
        for found in self._pulses("id = ?", (pulse_id,)):
            return found
        raise LogbookError(f"no pulse has the number {pulse_id}")

    def keys_past_planned(self, day: date) -> frozenset[str]:
        """The day's keys that may not be planned or run again."""
        rows = self._rows(
            "SELECT key FROM all_pulses WHERE day = ? AND state != ?",
            (day.isoformat(), PulseState.PLANNED),
        )
        return frozenset(row["key"] for row in rows)

    def slots_past_planned(self, first: date, last: date) -> dict[tuple[str, date], int]:
        """By zone and day the highest slot that is past planning."""
        rows = self._rows(
            "SELECT zone, day, max(slot) AS slot FROM all_pulses WHERE day BETWEEN ? AND ? "
            "AND state != ? AND slot IS NOT NULL GROUP BY zone, day",
            (*span(first, last), PulseState.PLANNED),
        )
        return {(row["zone"], date.fromisoformat(row["day"])): row["slot"] for row in rows}

    def litres_by_zone_day(self, first: date = date.min, last: date = date.max) -> ZoneDays[float]:
        """The litres that the ledger credits: of closed and cut pulses, and of hand watering."""
        found = self._by_zone_day(
            "SELECT zone, day, litres FROM pulses WHERE day BETWEEN ? AND ? AND +state IN "
            "(?, ?) ORDER BY day, zone",
            (*span(first, last), *_GAVE),
        )
        return ZoneDays(((key, math.fsum(litres)) for key, litres in found), kind=float)

    def stored_by_zone_day(self, first: date = date.min, last: date = date.max) -> ZoneDays[float]:
        """How much of those litres was logged as credited to the driest quarter.

        A day with a pulse that was logged without it is left out.
        """
        columns = self._rows("SELECT name FROM pragma_table_info('pulses')")
        if "uniformity" not in {row["name"] for row in columns}:
            return ZoneDays(kind=float)
        found = self._by_zone_day(
            "SELECT zone, day, max(litres - line_litres, 0.0) * uniformity FROM pulses "
            "WHERE day BETWEEN ? AND ? AND +state IN (?, ?) ORDER BY day, zone",
            (*span(first, last), *_GAVE),
        )
        return ZoneDays(
            ((key, math.fsum(stored)) for key, stored in found if None not in stored), kind=float
        )

    def noted_on(self, zone_info: ZoneInfo) -> dict[tuple[str, date], date]:
        """By zone and day, the day on which its last hand watering was written down."""
        rows = self._rows(
            "SELECT zone, day, max(closed_utc) AS written FROM pulses "
            "WHERE how_known = ? AND closed_utc IS NOT NULL GROUP BY zone, day",
            (HowKnown.BY_HAND,),
        )
        return {
            (row["zone"], date.fromisoformat(row["day"])): utc_from_text(row["written"])
            .astimezone(zone_info)
            .date()
            for row in rows
        }

    def record(self, zone_info: ZoneInfo) -> Record:
        """The days in the garden that this logbook knows."""
        begun_utc = self.begun_utc()
        begun = None if begun_utc is None else begun_utc.astimezone(zone_info).date()
        watched: list[date] = []
        if self._has("watched_days"):
            # A day before the logbook's own first is one of a clock that was wrong.
            rows = self._rows(
                "SELECT day FROM watched_days WHERE day >= ? ORDER BY day",
                ((begun or date.min).isoformat(),),
            )
            watched = [date.fromisoformat(row["day"]) for row in rows]
        by_relay = self._rows(
            "SELECT min(day) AS day FROM pulses WHERE valve = ? AND state IN (?, ?)",
            (ValveKind.RELAY, *_GAVE),
        )
        first_by_relay = day_of(by_relay[0]["day"])
        known = [day for day in (*watched[:1], first_by_relay) if day is not None]
        # An older Rowgate wrote a note over what was printed: once it is withdrawn, that counts.
        printed = self._by_zone_day(
            "SELECT zone, day, planned_litres FROM all_pulses WHERE state = ? OR (how_known = ? "
            f"AND slot IS NOT NULL AND id IN ({gone('pulses', self._without)})) "
            "ORDER BY day, zone",
            (PulseState.ASSUMED, HowKnown.BY_HAND),
        )
        return Record(
            begun=begun,
            daemon_from=min(known, default=None),
            watched=frozenset(watched),
            printed_litres={key: math.fsum(litres) for key, litres in printed},
        )

    def open_seconds_since(self, since_utc: datetime) -> dict[str, float]:
        """Seconds each zone's relay was open, by pulses that ended since then or are under way. [s]

        One under way counts up to its last heartbeat; one that began before counts whole.
        """
        parts: defaultdict[str, list[float]] = defaultdict(list)
        for row in self._rows(
            "SELECT zone, coalesce(open_s, beat_open_s, 0.0) AS open_s FROM pulses "
            "WHERE valve = ? AND ((state IN (?, ?) AND closed_utc >= ?) OR state IN (?, ?))",
            (ValveKind.RELAY, *_GAVE, utc_text(since_utc), *_UNFINISHED),
        ):
            parts[row["zone"]].append(row["open_s"])
        return {zone: math.fsum(seconds) for zone, seconds in parts.items()}

    def last_pulses(self) -> list[PulseRow]:
        """Each zone's latest pulse that gave water."""
        return self._pulses(
            "id IN (SELECT id FROM (SELECT id, max(closed_utc) FROM pulses "
            "WHERE state IN (?, ?) GROUP BY zone)) ORDER BY zone",
            _GAVE,
        )

    def first_day(self) -> date | None:
        """The earliest day on which water was given; None if none ever was."""
        rows = self._rows("SELECT min(day) AS day FROM pulses WHERE state IN (?, ?)", _GAVE)
        return day_of(rows[0]["day"])

    # What people said, and what happened ----------------------------------------------------

    def holds_from(self, now_utc: datetime) -> list[HoldRow]:
        """Holds in force or to come, in order of beginning, without lifted ones."""
        rows = self._rows(
            "SELECT * FROM holds WHERE lifted_utc IS NULL AND ends_utc > ? ORDER BY begins_utc, id",
            (utc_text(now_utc),),
        )
        return [hold_of(row) for row in rows]

    def happenings(self, limit: int = 50) -> list[Happening]:
        """The latest faults and events, newest first."""
        rows = self._rows("SELECT * FROM happenings ORDER BY id DESC LIMIT ?", (limit,))
        return [happening_of(row) for row in rows]

    def notes(self, limit: int = 50) -> list[Note]:
        """The latest free notes, newest first."""
        rows = self._rows("SELECT * FROM notes ORDER BY id DESC LIMIT ?", (limit,))
        return [note_of(row) for row in rows]

    def readings(self, kind: str) -> list[Reading]:
        """All readings of a kind, oldest first."""
        rows = self._rows("SELECT * FROM readings WHERE kind = ? ORDER BY at_utc, id", (kind,))
        return [reading_of(row) for row in rows]

    def flow_stretches(self) -> list[FlowStretch]:
        """What the meter saw of open sets, oldest first.

        Of each zone it has only what came after the last day on which its line was mended.
        """
        if not self._has("flow_stretches"):
            return []
        mended: dict[str, date] = {}
        for reading in self.readings(MENDED):
            if reading.zone is not None and reading.day is not None:
                mended[reading.zone] = max(reading.day, mended.get(reading.zone, date.min))
        found = [
            flow_stretch_of(row) for row in self._rows("SELECT * FROM flow_stretches ORDER BY id")
        ]
        return [one for one in found if all(one.day > mended.get(z, date.min) for z in one.zones)]

    def soil_starts(self) -> list[Reading]:
        """Readings of soil that are an account's new start, oldest first."""
        gone = {round(back.value) for back in self.readings(SOIL_START_BACK)}
        return [start for start in self.readings(SOIL_START) if start.id not in gone]

    def soil_starts_by_zone_day(self) -> dict[tuple[str, date], float]:
        """The same as shares of volume; of one day the last that was written."""
        return {
            (start.zone, start.day): start.value / 100.0
            for start in self.soil_starts()
            if start.zone is not None and start.day is not None
        }

    def begun_utc(self) -> datetime | None:
        """When this logbook was begun; water given before is not in it."""
        row = self._rows("SELECT min(applied_at) AS begun FROM _sqlite_migrations")[0]
        return None if row["begun"] is None else utc_from_text(row["begun"])

    def rows_set_aside(self) -> int:
        """How many rows were ever set aside as impossible."""
        if not self._has(SET_ASIDE):
            return 0
        return int(self._rows(f"SELECT count(*) AS many FROM {SET_ASIDE}")[0]["many"])

    def unsound(self) -> int:
        """How many pulses are impossible, and so are not read here.

        It looks at all pulses. Ask it before reading much of past days, which is quicker then.
        """
        try:
            return look_at_pulses(self._connection)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._logbook_error(error) from error

    def last_written_utc(self) -> datetime | None:
        """The newest moment of our own clock in the logbook; None in an empty one."""
        asked = " UNION ALL ".join(
            f"SELECT max({column}) AS newest FROM main.{table} WHERE {is_moment(column)}"
            for table, column in _WRITTEN
            if self._has(table)
        )
        newest = self._rows(f"SELECT max(newest) AS newest FROM ({asked})")[0]["newest"]
        return None if newest is None else utc_from_text(newest)

    def sums(
        self, by: str, first: date, last: date, garden: Garden, *, months: bool = False
    ) -> Sums:
        """A report's figures, by "zone", "bed", "keeper" or "month"; or by months besides."""
        return sum_up(
            self.pulses(first, last),
            self.ledger(None, first, last),
            by=by,
            first=first,
            last=last,
            garden=garden,
            months=months,
        )

    def meter_spans(self, first: date, last: date, zone_info: ZoneInfo) -> list[MeterSpan]:
        """What was given between the readings of the water meter of these days."""
        readings = [
            reading
            for reading in self.readings(METER)
            if first <= (reading.day or reading.at_utc.astimezone(zone_info).date()) <= last
        ]
        return meter_spans(readings, self.pulses(first, last), zone_info)

    # How ------------------------------------------------------------------------------------

    def _open(self) -> None:
        self._file_id = file_id(self.path)
        self._connection = sqlite3.connect(
            f"{self.path.resolve().as_uri()}?mode=ro",
            uri=True,
            timeout=self._wait_s,
            isolation_level=None,
        )
        self._connection.execute(f"PRAGMA cache_size=-{REMEMBERED_KIB}")
        refuse_newer(self._connection, self.path)
        look_through(self._connection, self._without)
        self._connection.row_factory = sqlite3.Row

    def _by_zone_day(
        self, sql: str, values: Iterable[object]
    ) -> Iterator[tuple[tuple[str, date], list[Any]]]:
        """The third column of the rows, by zone and day, in the rows' order.

        A season has ten thousand of them: no list of all rows is made, and each name and each day
        exists once. With `+state` SQLite uses the index of days, and sorts nothing in memory.
        """
        zones: dict[str, str] = {}
        try:
            found = self._asked(sql, values)
            for day_text, of_day in groupby(found, key=itemgetter(1)):
                day = date.fromisoformat(day_text)
                for zone, rows in groupby(of_day, key=itemgetter(0)):
                    yield (zones.setdefault(zone, zone), day), [row[2] for row in rows]
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._logbook_error(error) from error

    def _asked(self, sql: str, values: Iterable[object]) -> sqlite3.Cursor:
        # A damaged logbook may have been set aside, and another begun, since we looked.
        if file_id(self.path) not in (self._file_id, NO_FILE):
            self._connection.close()
            self._open()
        return self._connection.execute(sql, tuple(values))

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        try:
            return self._asked(sql, values).fetchall()
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._logbook_error(error) from error

    def _logbook_error(self, error: sqlite3.Error | UnicodeDecodeError) -> LogbookError:
        if isinstance(error, UnicodeDecodeError):  # SQLite's own words have a damaged name in them
            error = sqlite3.DatabaseError("the file is damaged; at the next start it is set aside")
        if self._on_damage is not None and is_damage(error):
            self._on_damage()
        return plain(error, self.path)

    def _pulses(self, where: str, values: Iterable[object]) -> list[PulseRow]:
        try:  # row by row: as SQLite gives them they take more than as we do
            found = self._asked(f"SELECT * FROM pulses WHERE {where}", values)
            return [pulse_of(row) for row in found]
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise self._logbook_error(error) from error
