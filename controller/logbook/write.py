"""Writing: intent before water, truth after it, each in one transaction.

Every method comes back only when its rows are on disk, or raises LogbookError. How far a pulse may
go from where is a table, NEXT; what is not in it is refused and changes nothing.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sqlite_utils import Database

from controller.clock import Clock
from controller.demand.records import LedgerDay
from controller.errors import LogbookError, require_range
from controller.garden.model import ValveKind
from controller.logbook.faults import plain
from controller.logbook.records import HowKnown, PulseState, utc_text
from controller.logbook.schema import Book, open_book
from controller.logbook.writer import Writer
from controller.timetable.records import Pulse

if TYPE_CHECKING:
    from controller.weather.day import WeatherDay

T = TypeVar("T")
Row = dict[str, Any]

# From where a pulse may come to each state; a new row is made by `intend` and `hand_watering` only.
NEXT: Mapping[PulseState, frozenset[PulseState]] = {
    PulseState.INTENDED: frozenset({PulseState.PLANNED}),
    PulseState.OPEN: frozenset({PulseState.INTENDED}),
    # Straight from intended: the row that the valve opened may be the one the disk did not take.
    PulseState.CLOSED: frozenset({PulseState.INTENDED, PulseState.OPEN}),
    PulseState.CUT: frozenset({PulseState.INTENDED, PulseState.OPEN}),
    PulseState.REFUSED: frozenset({PulseState.PLANNED, PulseState.INTENDED}),
    PulseState.MISSED: frozenset({PulseState.PLANNED, PulseState.INTENDED}),
}
LONGEST_OPEN_S = 7 * 86_400.0  # more in one pulse is a slip of the pen; our choice
MOST_LITRES = 1e6  # the same
BUSY_SHARE = 0.8  # of the time-out: a lock is reported by SQLite before the asker gives up


class Logbook:
    """The logbook, open for writing. Threads may share one; close it, or use it in a `with`."""

    def __init__(self, path: Path, clock: Clock, *, timeout_s: float = 5.0) -> None:
        self.path, self._clock = Path(path), clock
        self._writer: Writer[Book] = Writer(
            lambda: open_book(self.path, clock, wait_s=BUSY_SHARE * timeout_s), timeout_s=timeout_s
        )
        try:
            # Where a damaged logbook lies now, if this one was begun in its place.
            self.set_aside: Path | None = self._do(lambda book: book.set_aside)
        except LogbookError:
            self._writer.close()
            raise

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Finish what was asked and close the file."""
        self._writer.close()

    # Pulses ---------------------------------------------------------------------------------

    def plan_day(self, day: date, pulses: Iterable[Pulse]) -> int:
        """Put these pulses in place of the day's planned ones; how many are planned now.

        Pulses that went further stay, and a key that went further is not planned again.
        """
        planned = list(pulses)
        for pulse in planned:
            if pulse.day != day:
                raise LogbookError(f"{pulse.key} is not of {day}; a day is planned by itself")

        def work(db: Database, now: str) -> int:
            db.execute(
                "DELETE FROM pulses WHERE day = ? AND state = ?",
                [day.isoformat(), PulseState.PLANNED],
            )
            gone_further = {
                row["key"]
                for row in db.query("SELECT key FROM pulses WHERE day = ?", [day.isoformat()])
            }
            rows = [_planned_row(pulse, now) for pulse in planned if pulse.key not in gone_further]
            for row in rows:
                db.table("pulses").insert(row)
            return len(rows)

        return self._write(work)

    def intend(self, pulse: Pulse) -> int:
        """Write that this pulse is about to open, and give back its id: it runs once, or never.

        Raises
        ------
        LogbookError
            If what its key names has gone past planning already, or it cannot be written.
        """

        def work(db: Database, now: str) -> int:
            intent = {
                "state": PulseState.INTENDED,
                "intended_utc": now,
                "boot_id": self._clock.boot_id(),
            }
            found = _by_key(db, pulse.key)
            if found is None:
                return _insert(db, "pulses", _planned_row(pulse, now) | intent)
            _check_step(found, PulseState.INTENDED)
            db.table("pulses").update(found["id"], _planned_row(pulse, now) | intent)
            return int(found["id"])

        return self._write(work)

    def opened(self, pulse_id: int, mono_s: float) -> None:
        """Write that the valve is open since this moment of the monotonic clock."""
        self._step(
            pulse_id,
            PulseState.OPEN,
            lambda now: {
                "opened_utc": now,
                "opened_mono_s": float(mono_s),
                "boot_id": self._clock.boot_id(),
            },
        )

    def beat(self, pulse_id: int, open_s: float, litres: float) -> None:
        """Write a sign of life: open for so long by now, and so much water."""
        _check_amounts(open_s, litres)

        def work(db: Database, now: str) -> None:
            found = _by_id(db, pulse_id)
            if found["state"] != PulseState.OPEN:
                raise LogbookError(f"{found['key']} is {found['state']}, not open; no sign of life")
            db.table("pulses").update(
                pulse_id,
                {"beat_utc": now, "beat_open_s": float(open_s), "beat_litres": float(litres)},
            )

        self._write(work)

    def closed(
        self, pulse_id: int, open_s: float, litres: float, how: HowKnown | str, why: str = ""
    ) -> None:
        """Write the true end of a pulse: open time, litres, and how those are known."""
        self._end(pulse_id, PulseState.CLOSED, open_s, litres, how, why)

    def cut(
        self, pulse_id: int, open_s: float, litres: float, how: HowKnown | str, why: str = ""
    ) -> None:
        """Write that a crash ended a pulse, and what is known of it."""
        self._end(pulse_id, PulseState.CUT, open_s, litres, how, why)

    def refused(self, id_or_key: int | str, why: str) -> None:
        """Write that the valve may not open for this pulse."""
        self._step(id_or_key, PulseState.REFUSED, lambda now: {"closed_utc": now, "why": why})

    def missed(self, key: int | str, why: str) -> None:
        """Write that the time of this pulse went by."""
        self._step(key, PulseState.MISSED, lambda now: {"closed_utc": now, "why": why})

    def hand_watering(
        self,
        zone: str,
        day: date,
        litres: float,
        minutes: float | None,
        who: str,
        at: datetime,
    ) -> int:
        """Write down water given by hand; the id of its pulse.

        Where a hand pulse of that zone and day is planned, the earliest of them has now been done
        and takes these figures; otherwise the watering gets a key of its own, zone|day|h1 and on.
        """
        open_s = None if minutes is None else minutes * 60.0
        _check_amounts(open_s or 0.0, litres)
        end_text = utc_text(at)
        done: Row = {
            "state": PulseState.CLOSED,
            "opened_utc": None if open_s is None else utc_text(at - timedelta(seconds=open_s)),
            "closed_utc": end_text,
            "open_s": open_s,
            "litres": float(litres),
            "how_known": HowKnown.BY_HAND,
            "who": who,
        }

        def work(db: Database, now: str) -> int:
            planned = list(
                db.query(
                    "SELECT id FROM pulses WHERE zone = ? AND day = ? AND valve = ? AND state = ? "
                    "ORDER BY planned_opens_utc LIMIT 1",
                    [zone, day.isoformat(), ValveKind.HAND, PulseState.PLANNED],
                )
            )
            if planned:
                db.table("pulses").update(planned[0]["id"], done)
                return int(planned[0]["id"])
            row = {
                "key": _next_hand_key(db, zone, day),
                "zone": zone,
                "day": day.isoformat(),
                "valve": ValveKind.HAND,
            }
            return _insert(db, "pulses", row | done)

        return self._write(work)

    # Weather, ledger, what people say -------------------------------------------------------

    def keep_weather(self, days: Iterable[WeatherDay]) -> None:
        """Keep days of weather; a source's newer word on a day replaces its older one."""
        rows = [_row_of(day) for day in days]
        self._write(
            lambda db, now: _upsert(
                db, "weather", [row | {"kept_utc": now} for row in rows], ("day", "source")
            )
        )

    def keep_ledger(self, days: Iterable[LedgerDay]) -> None:
        """Keep days of the ledger; a zone's newer account of a day replaces the older one."""
        rows = [_row_of(day) for day in days]
        self._write(
            lambda db, now: _upsert(
                db, "ledger", [row | {"kept_utc": now} for row in rows], ("zone", "day")
            )
        )

    def rain_gauge(self, day: date, mm: float, who: str = "") -> int:
        """Write down the rain of a day; the latest word on a day stands."""
        require_range("rain_mm", mm, 0.0, 2000.0)
        return self.reading("rain gauge", mm, "mm", day=day, who=who)

    def meter_reading(self, litres: float, at: datetime, who: str = "") -> int:
        """Write down what the water meter shows."""
        return self.reading("meter", litres, "L", at=at, who=who)

    def reading(
        self,
        kind: str,
        value: float,
        unit: str,
        *,
        day: date | None = None,
        zone: str | None = None,
        who: str = "",
        at: datetime | None = None,
    ) -> int:
        """Write down another reading; `at` is now where nobody says otherwise."""
        if not math.isfinite(value):
            raise LogbookError(f"{kind}: found {value!r}; a reading is a number")
        row = {
            "kind": kind,
            "value": float(value),
            "unit": unit,
            "day": None if day is None else day.isoformat(),
            "zone": zone,
            "who": who,
        }
        at_text = None if at is None else utc_text(at)
        return self._write(
            lambda db, now: _insert(
                db, "readings", row | {"written_utc": now, "at_utc": at_text or now}
            )
        )

    def note(self, words: str, zone: str | None = None, who: str = "") -> int:
        """Write down free words."""
        row = {"words": words, "zone": zone, "who": who}
        return self._write(lambda db, now: _insert(db, "notes", row | {"at_utc": now}))

    def hold(
        self,
        begins: datetime,
        ends: datetime,
        zones: Iterable[str] = (),
        reason: str = "",
    ) -> int:
        """Write down a hold, the end excluded; no zones mean all. Gives back its id."""
        if ends <= begins:
            raise LogbookError("a hold must end after it begins")
        row = {
            "begins_utc": utc_text(begins),
            "ends_utc": utc_text(ends),
            "zones": json.dumps(sorted(zones)),
            "reason": reason,
        }
        return self._write(lambda db, now: _insert(db, "holds", row | {"written_utc": now}))

    def lift_hold(self, which: int | str) -> int:
        """Lift one hold by its id, or "all" that are not over; how many were lifted."""
        where, values = ("", []) if which == "all" else (" AND id = ?", [which])

        def work(db: Database, now: str) -> int:
            lifted = db.execute(
                f"UPDATE holds SET lifted_utc = ? WHERE lifted_utc IS NULL AND ends_utc > ?{where}",
                [now, now, *values],
            )
            return lifted.rowcount

        return self._write(work)

    def happening(
        self, kind: str, words: str, zone: str | None = None, line: int | None = None
    ) -> int:
        """Write down a fault or an event."""
        row = {"kind": kind, "words": words, "zone": zone, "line": line}
        return self._write(lambda db, now: _insert(db, "happenings", row | {"at_utc": now}))

    # How ------------------------------------------------------------------------------------

    def _end(
        self,
        pulse_id: int,
        state: PulseState,
        open_s: float,
        litres: float,
        how: HowKnown | str,
        why: str,
    ) -> None:
        _check_amounts(open_s, litres)
        if how not in set(HowKnown):
            raise LogbookError(f"found {how!r}; allowed are: {', '.join(HowKnown)}")
        self._step(
            pulse_id,
            state,
            lambda now: {
                "closed_utc": now,
                "open_s": float(open_s),
                "litres": float(litres),
                "how_known": str(how),
                "why": why,
            },
        )

    def _step(self, id_or_key: int | str, state: PulseState, changes: Callable[[str], Row]) -> None:
        def work(db: Database, now: str) -> None:
            if isinstance(id_or_key, str):
                found = _by_key(db, id_or_key)
                if found is None:
                    raise LogbookError(f"no pulse has the key {id_or_key!r}")
            else:
                found = _by_id(db, id_or_key)
            _check_step(found, state)
            db.table("pulses").update(found["id"], changes(now) | {"state": state})

        self._write(work)

    def _write(self, work: Callable[[Database, str], T]) -> T:
        """Run the work in one transaction, at one moment."""
        now = utc_text(self._clock.now_utc())
        return self._do(lambda book: work(book.db, now))

    def _do(self, work: Callable[[Book], T]) -> T:
        try:
            return self._writer.do(work)
        except (sqlite3.Error, OSError) as error:
            raise plain(error, self.path) from error


def _planned_row(pulse: Pulse, now: str) -> Row:
    return {
        "key": pulse.key,
        "zone": pulse.zone,
        "day": pulse.day.isoformat(),
        "slot": pulse.slot,
        "valve": pulse.valve,
        "relay_line": pulse.relay_line,
        "together": json.dumps(list(pulse.together)),
        "state": PulseState.PLANNED,
        "planned_utc": now,
        "planned_opens_utc": utc_text(pulse.opens_utc),
        "planned_open_s": float(pulse.open_s),
        "planned_litres": float(pulse.litres),
    }


def _row_of(value: WeatherDay | LedgerDay) -> Row:
    """A frozen value as a row: its fields are the columns."""
    row: Row = {}
    for field in fields(value):
        cell = getattr(value, field.name)
        row[field.name] = cell.isoformat() if isinstance(cell, date) else cell
    return row


def _by_key(db: Database, key: str) -> Row | None:
    return next(
        iter(list(db.query("SELECT id, key, state FROM pulses WHERE key = ?", [key]))), None
    )


def _by_id(db: Database, pulse_id: int) -> Row:
    rows = list(db.query("SELECT id, key, state FROM pulses WHERE id = ?", [pulse_id]))
    if not rows:
        raise LogbookError(f"no pulse has the number {pulse_id}")
    return rows[0]


def _check_step(found: Row, state: PulseState) -> None:
    if found["state"] not in NEXT[state]:
        raise LogbookError(
            f"{found['key']} is {found['state']} already; what a key names runs once, or never "
            f"(asked: {state})"
        )


def _check_amounts(open_s: float, litres: float) -> None:
    require_range("open_s", open_s, 0.0, LONGEST_OPEN_S)
    require_range("litres", litres, 0.0, MOST_LITRES)


def _next_hand_key(db: Database, zone: str, day: date) -> str:
    stem = f"{zone}|{day.isoformat()}|h"
    rows = db.query(
        "SELECT key FROM pulses WHERE zone = ? AND day = ? AND slot IS NULL",
        [zone, day.isoformat()],
    )
    return f"{stem}{max((int(row['key'].removeprefix(stem)) for row in rows), default=0) + 1}"


def _insert(db: Database, table: str, row: Row) -> int:
    new_id = db.table(table).insert(row).last_rowid
    if new_id is None:
        raise LogbookError(f"the row for {table} got no number")
    return int(new_id)


def _upsert(db: Database, table: str, rows: list[Row], keys: tuple[str, ...]) -> None:
    if rows:
        db.table(table).upsert_all(rows, pk=keys)
