"""The logbook, open for writing: pulses, weather, the ledger, and people's notes.

Intent before water, truth after it, each in one transaction. Every method returns only when its
rows are on disk, or raises LogbookError.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime
from typing import Any

from controller.demand.climate.snow import MOST_MM
from controller.demand.records import LedgerDay, Observation
from controller.errors import LogbookError, require_range
from controller.logbook.entries import ENTRIES
from controller.logbook.pulses import PulseWriter
from controller.logbook.queries import (
    GAUGE,
    METER,
    MORE_RAIN,
    PIN_GAUGE,
    PIN_GAUGE_HOURS,
)
from controller.logbook.records import FlowStretch, utc_text
from controller.logbook.schema import Book
from controller.logbook.totals import NEW_METER
from controller.logbook.writer import Row, enter, insert, write_note
from controller.weather.day import WeatherDay


class FieldTestWriter(PulseWriter):
    """Writes field tests."""

    def keep_measurement(
        self,
        values: Mapping[str, Any],
        *,
        at: datetime | None = None,
        who: str = "",
        corrects: int | None = None,
    ) -> int:
        """Write down a field test; `at` is now by default. Returns the note's number."""
        row: Row = {"said": _text("field test", values), "who": who}
        at_text = None if at is None else utc_text(at)
        return self.write(
            lambda book, now: write_note(
                book,
                now,
                "measurements",
                row | {"written_utc": now, "at_utc": at_text or now},
                corrects,
            )
        )

    def keep_fit(self, found: Mapping[str, Any], measurements: Iterable[int]) -> int:
        """Write down what was fitted to these field tests, by id; the latest fit is in force."""
        row: Row = {
            "found": _text("fit", found),
            "measurements": json.dumps(sorted(measurements)),
        }
        return self.write(lambda book, now: insert(book, "fits", row | {"written_utc": now}))


class ObservationWriter(FieldTestWriter):
    """Writes observations."""

    def observe(self, seen: Observation, who: str = "", *, corrects: int | None = None) -> int:
        """Write down what a person saw; returns the note's number."""
        row: Row = {
            "day": seen.day.isoformat(),
            "zone": seen.zone,
            "event": seen.event,
            "crop": seen.crop,
            "who": who,
        }
        return self.write(
            lambda book, now: write_note(
                book, now, "observations", row | {"written_utc": now}, corrects
            )
        )


class Logbook(ObservationWriter):
    """The logbook at a path. Threads may share one; close it, or use it in a `with`."""

    def __enter__(self) -> Logbook:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def keep_weather(self, days: Iterable[WeatherDay]) -> None:
        """Keep days of weather; a source's newer row of a day replaces its older one."""
        kept = list(days)
        self.write(lambda book, now: _upsert(book, "weather", kept, now, ("day", "source")))

    def keep_ledger(self, days: Iterable[LedgerDay]) -> None:
        """Keep days of the ledger; a zone's newer account of a day replaces the older one whole.

        Give all parts of a zone's day together: a part that is not among them is gone.
        """
        kept = list(days)
        places = sorted({(day.zone, day.day.isoformat()) for day in kept})

        def work(book: Book, now: str) -> None:
            book.db.conn.executemany("DELETE FROM ledger WHERE zone = ? AND day = ?", places)
            _upsert(book, "ledger", kept, now, ("zone", "day", "part"))

        self.write(work)

    def watched(self, day: date) -> None:
        """Write that a daemon ran on this day."""
        self.write(
            lambda book, now: book.db.execute(
                "INSERT OR IGNORE INTO watched_days (day) VALUES (?)", [day.isoformat()]
            )
        )

    def withdraw(self, number: int, *, who: str = "", why: str = "") -> int:
        """Take a note back; it stays on record and counts no more. Returns the withdrawal's number.

        Raises
        ------
        LogbookError
            If no note has that number, or it was taken back already.
        """

        def work(book: Book, now: str) -> int:
            back = enter(book, now, ENTRIES, number, who=who, takes_back=number)
            book.db.table(ENTRIES).update(back, {"why": why})
            return back

        return self.write(work)

    def rain_gauge(
        self, day: date, mm: float, who: str = "", *, corrects: int | None = None
    ) -> int:
        """Write down all the rain of a day, in place of what was noted for it before."""
        require_range("rain_mm", mm, 0.0, MOST_MM)
        return self.reading(GAUGE, mm, "mm", day=day, who=who, corrects=corrects)

    def more_rain(self, day: date, mm: float, who: str = "", *, corrects: int | None = None) -> int:
        """Write down one reading of a gauge that is then emptied; it adds to the day's rain."""
        require_range("rain_mm", mm, 0.0, MOST_MM)
        return self.reading(MORE_RAIN, mm, "mm", day=day, who=who, corrects=corrects)

    def gauge_on_pin(self, day: date, mm: float, hours: float) -> None:
        """Add what a gauge on a pin has counted of a day since the last time, and the hours
        watched.

        That makes two rows a day, however often it is called.
        """
        require_range("rain_mm", mm, 0.0, MOST_MM)
        require_range("hours", hours, 0.0, 100.0)

        def work(book: Book, now: str) -> None:
            for kind, value, unit in ((PIN_GAUGE, mm, "mm"), (PIN_GAUGE_HOURS, hours, "h")):
                added = book.db.execute(
                    "UPDATE readings SET value = value + ?, at_utc = ?, written_utc = ? "
                    "WHERE kind = ? AND day = ?",
                    [float(value), now, now, kind, day.isoformat()],
                )
                if not added.rowcount:
                    row = {"kind": kind, "value": float(value), "unit": unit, "who": ""}
                    row |= {"day": day.isoformat(), "written_utc": now, "at_utc": now}
                    insert(book, "readings", row)

        self.write(work)

    def meter_reading(
        self,
        litres: float,
        at: datetime,
        who: str = "",
        *,
        day: date | None = None,
        new_meter: bool = False,
        corrects: int | None = None,
    ) -> int:
        """Write down what the water meter showed, and of which day in the garden.

        `new_meter`: the meter was exchanged since the reading before.
        """
        unit = NEW_METER if new_meter else "L"
        return self.reading(METER, litres, unit, day=day, at=at, who=who, corrects=corrects)

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
        corrects: int | None = None,
    ) -> int:
        """Write down a person's reading; `at` is now by default. Returns the note's number."""
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
        return self.write(
            lambda book, now: write_note(
                book,
                now,
                "readings",
                row | {"written_utc": now, "at_utc": at_text or now},
                corrects,
            )
        )

    def flow_stretch(self, seen: FlowStretch) -> int:
        """Write down what the meter saw of an open set."""
        row = {
            "day": seen.day.isoformat(),
            "zones": json.dumps(sorted(seen.zones)),
            "seconds": float(seen.seconds),
            "litres": float(seen.litres),
            "computed_l_s": float(seen.computed_l_s),
        }
        return self.write(lambda book, now: insert(book, "flow_stretches", row | {"at_utc": now}))

    def note(
        self,
        words: str,
        zone: str | None = None,
        who: str = "",
        *,
        at: datetime | None = None,
        corrects: int | None = None,
    ) -> int:
        """Write down a free text; `at` is now by default. Returns the note's number."""
        row = {"words": words, "zone": zone, "who": who}
        at_text = None if at is None else utc_text(at)
        return self.write(
            lambda book, now: write_note(
                book, now, "notes", row | {"at_utc": at_text or now}, corrects
            )
        )

    def hold(
        self,
        begins: datetime,
        ends: datetime,
        zones: Iterable[str] = (),
        reason: str = "",
    ) -> int:
        """Write down a hold, its end excluded; no zones mean all. Returns its id."""
        if ends <= begins:
            raise LogbookError("a hold must end after it begins")
        row = {
            "begins_utc": utc_text(begins),
            "ends_utc": utc_text(ends),
            "zones": json.dumps(sorted(zones)),
            "reason": reason,
        }
        return self.write(lambda book, now: insert(book, "holds", row | {"written_utc": now}))

    def lift_hold(self, which: int | str) -> int:
        """Lift one hold by its id, or "all" that are not over; how many were lifted."""
        where, values = ("", []) if which == "all" else (" AND id = ?", [which])

        def work(book: Book, now: str) -> int:
            lifted = book.db.execute(
                f"UPDATE holds SET lifted_utc = ? WHERE lifted_utc IS NULL AND ends_utc > ?{where}",
                [now, now, *values],
            )
            return lifted.rowcount

        return self.write(work)

    def happening(
        self, kind: str, words: str, zone: str | None = None, line: int | None = None
    ) -> int:
        """Write down a fault or an event."""
        row = {"kind": kind, "words": words, "zone": zone, "line": line}
        return self.write(lambda book, now: insert(book, "happenings", row | {"at_utc": now}))


def _row_of(value: WeatherDay | LedgerDay, now: str) -> Row:
    """A frozen value as a row: its fields are the columns."""
    row: Row = {"kept_utc": now}
    for field in fields(value):
        if not field.compare:
            continue  # worked with, and not kept
        cell = getattr(value, field.name)
        if isinstance(cell, datetime):
            cell = utc_text(cell)
        row[field.name] = cell.isoformat() if isinstance(cell, date) else cell
    return row


def _upsert(
    book: Book,
    table: str,
    days: Sequence[WeatherDay | LedgerDay],
    now: str,
    keys: tuple[str, ...],
) -> None:
    if days:
        # Made into rows as they are written: those of many days are much to hold at once.
        book.db.table(table).upsert_all((_row_of(day, now) for day in days), pk=keys)


def _text(what: str, plain: Mapping[str, Any]) -> str:
    try:
        return json.dumps(plain, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise LogbookError(f"a {what} that cannot be written down: {error}") from error
