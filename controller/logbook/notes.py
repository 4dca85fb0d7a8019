"""Field tests and observations of plants: writing and reading them.

A test and a fit are kept as plain values; their meaning belongs to the rooms that made them.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from controller.demand.records import Observation
from controller.errors import LogbookError
from controller.logbook.pulses import PulseWriter
from controller.logbook.records import utc_from_text, utc_text
from controller.logbook.schema import Book
from controller.logbook.writer import Row, insert


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementRow:
    """A field test in its maker's own terms."""

    id: int
    at_utc: datetime
    said: Mapping[str, Any]
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FitRow:
    """What was fitted, and to which tests."""

    id: int
    measurements: tuple[int, ...]
    found: Mapping[str, Any]


class FieldTestWriter(PulseWriter):
    """Writes field tests."""

    def keep_measurement(
        self, said: Mapping[str, Any], *, at: datetime | None = None, who: str = ""
    ) -> int:
        """Write down a field test; `at` is now by default. Returns its id."""
        row: Row = {"said": _text("field test", said), "who": who}
        at_text = None if at is None else utc_text(at)
        return self.write(
            lambda book, now: insert(
                book, "measurements", row | {"written_utc": now, "at_utc": at_text or now}
            )
        )

    def take_back_measurement(self, measurement_id: int) -> None:
        """Take a field test back; it stays on record, and is not fitted any more."""

        def work(book: Book, now: str) -> None:
            changed = book.db.execute(
                "UPDATE measurements SET taken_back_utc = ? "
                "WHERE id = ? AND taken_back_utc IS NULL",
                [now, measurement_id],
            )
            if changed.rowcount != 1:
                raise LogbookError(f"no field test that stands has the number {measurement_id}")

        self.write(work)

    def keep_fit(self, found: Mapping[str, Any], measurements: Iterable[int]) -> int:
        """Write down what was fitted to these field tests, by id; the latest fit is in force."""
        row: Row = {
            "found": _text("fit", found),
            "measurements": json.dumps(sorted(measurements)),
        }
        return self.write(lambda book, now: insert(book, "fits", row | {"written_utc": now}))


class FieldTestReader:
    """Reads field tests."""

    def measurements(self) -> list[MeasurementRow]:
        """The field tests that were not taken back, in the order they were done."""
        if not self._has("measurements"):
            return []
        return [
            MeasurementRow(
                id=row["id"],
                at_utc=utc_from_text(row["at_utc"]),
                said=json.loads(row["said"], strict=False),
                who=row["who"],
            )
            for row in self._rows(
                "SELECT * FROM measurements WHERE taken_back_utc IS NULL ORDER BY at_utc, id"
            )
        ]

    def latest_fit(self) -> FitRow | None:
        """The fit in force; None where nothing was ever fitted."""
        if not self._has("fits"):
            return None
        for row in self._rows("SELECT * FROM fits ORDER BY id DESC LIMIT 1"):
            return FitRow(
                id=row["id"],
                measurements=tuple(json.loads(row["measurements"])),
                found=json.loads(row["found"], strict=False),
            )
        return None

    def _has(self, table: str) -> bool:
        """Whether the logbook has a table: a reader may come before the writer that adds it."""
        return bool(
            self._rows("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (table,))
        )

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        raise NotImplementedError


def _text(what: str, plain: Mapping[str, Any]) -> str:
    try:
        return json.dumps(plain, allow_nan=False, sort_keys=True)
    except (TypeError, ValueError) as error:
        raise LogbookError(f"a {what} that cannot be written down: {error}") from error


@dataclass(frozen=True, slots=True, kw_only=True)
class ObservationRow:
    """An observation with its number and who made it."""

    id: int
    seen: Observation
    who: str


class ObservationWriter(FieldTestWriter):
    """Writes observations."""

    def observe(self, seen: Observation, who: str = "") -> int:
        """Write down what a person saw; returns its number."""
        row: Row = {
            "day": seen.day.isoformat(),
            "zone": seen.zone,
            "event": seen.event,
            "crop": seen.crop,
            "who": who,
        }
        return self.write(
            lambda book, now: insert(book, "observations", row | {"written_utc": now})
        )

    def unobserve(self, number: int) -> None:
        """Take an observation back; it stays on record, and moves no stage any more."""

        def work(book: Book, now: str) -> None:
            changed = book.db.execute(
                "UPDATE observations SET taken_back_utc = ? "
                "WHERE id = ? AND taken_back_utc IS NULL",
                [now, number],
            )
            if changed.rowcount != 1:
                raise LogbookError(f"nothing seen that stands has the number {number}")

        self.write(work)


class ObservationReader(FieldTestReader):
    """Reads observations."""

    def observations(self) -> list[Observation]:
        """The observations that were not taken back, in order of days, then of writing."""
        return [row.seen for row in self.observation_rows()]

    def observation_rows(self) -> list[ObservationRow]:
        """The observations with numbers and names."""
        if not self._has("observations"):
            return []
        return [
            ObservationRow(
                id=row["id"],
                seen=Observation(
                    zone=row["zone"],
                    day=date.fromisoformat(row["day"]),
                    event=row["event"],
                    crop=row["crop"],
                ),
                who=row["who"],
            )
            for row in self._rows(
                "SELECT * FROM observations WHERE taken_back_utc IS NULL ORDER BY day, id"
            )
        ]
