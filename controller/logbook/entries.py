"""People's notes are entries of one numbering; one is taken back by another entry alone.

An entry says which row of which table a person wrote, and when. A withdrawal is an entry, too; so
is a correction, which is a new note that takes an older one back. No row is changed or deleted by
it: readers leave out what was taken back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from controller.logbook.records import (
    MeasurementRow,
    Note,
    ObservationRow,
    PulseRow,
    Reading,
    measurement_of,
    note_of,
    observation_of,
    pulse_of,
    reading_of,
    utc_from_text,
)

What = PulseRow | Reading | Note | MeasurementRow | ObservationRow  # the row of a note
NOTED = ("pulses", "readings", "notes", "measurements", "observations")
ENTRIES = "entries"  # the table; and the source of an entry that only takes another back
# The three below are part of a migration: never edited.
COLUMNS = """(
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    written_utc TEXT NOT NULL, source TEXT NOT NULL, row INTEGER NOT NULL, who TEXT NOT NULL,
    takes_back INTEGER, why TEXT NOT NULL DEFAULT '') STRICT"""
_WRITTEN_BEFORE: Mapping[str, tuple[str, str]] = {
    "pulses": ("closed_utc", "how_known = 'by hand' AND state = 'closed'"),
    "readings": (
        "written_utc",
        "kind NOT IN ('gauge on pin', 'gauge on pin, hours watched', 'soil start taken back')",
    ),
    "notes": ("at_utc", "TRUE"),
    "measurements": ("written_utc", "TRUE"),
    "observations": ("written_utc", "TRUE"),
}
_TAKEN_BACK_BEFORE = (
    ("measurements", "b.taken_back_utc", "''", "e.row = b.id"),
    ("observations", "b.taken_back_utc", "''", "e.row = b.id"),
    (
        "readings",
        "b.written_utc",
        "b.who",
        "b.kind = 'soil start taken back' AND e.row = CAST(round(b.value) AS INTEGER)",
    ),
)


def number_all(connection: sqlite3.Connection, schema: str) -> None:
    """Enter every note of a logbook that has no entries yet, in the order of writing."""
    asked = "SELECT name FROM main.sqlite_master WHERE type = 'table'"
    here = {row[0] for row in connection.execute(asked)}
    found = [
        f"SELECT {when} AS written, '{table}' AS source, id AS row, "
        f"CASE WHEN typeof(who) = 'text' THEN who ELSE '' END AS who FROM main.{table} "
        f"WHERE {which} AND typeof({when}) = 'text'"
        for table, (when, which) in _WRITTEN_BEFORE.items()
        if table in here
    ]
    connection.execute(
        f"INSERT INTO {schema}.entries (written_utc, source, row, who) SELECT * FROM "
        f"({' UNION ALL '.join(found)}) ORDER BY written, source, row"
    )
    for table, when, who, which in _TAKEN_BACK_BEFORE:
        if table in here:
            connection.execute(
                f"INSERT INTO {schema}.entries (written_utc, source, row, who, takes_back) "
                f"SELECT min({when}), 'entries', e.id, {who}, e.id FROM main.{table} AS b "
                f"JOIN {schema}.entries AS e ON e.source = '{table}' AND {which} "
                f"WHERE typeof({when}) = 'text' AND typeof({who}) = 'text' "
                "GROUP BY e.id ORDER BY e.id"
            )


def gone(table: str, without: int | None = None) -> str:
    """The rows of a table that were taken back, as SQL; `without` is one more such entry."""
    asked = (
        "SELECT e.row FROM entries AS back JOIN entries AS e ON e.id = back.takes_back "
        f"WHERE back.takes_back IS NOT NULL AND e.source = '{table}'"
    )
    if without is not None:
        asked += f" UNION SELECT row FROM entries WHERE id = {without:d} AND source = '{table}'"
    return asked


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenBack:
    """Which entry took a note back: a withdrawal, or the note that corrects it."""

    number: int
    written_utc: datetime
    who: str
    why: str
    is_correction: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A person's note with its number. `corrects` is the number of the note it stands for."""

    number: int
    written_utc: datetime
    who: str
    what: What
    corrects: int | None = None
    taken_back: TakenBack | None = None

    def day(self, zone_info: ZoneInfo) -> date:
        """The day in the garden that it is of."""
        if isinstance(self.what, ObservationRow):
            return self.what.seen.day
        if isinstance(self.what, PulseRow):
            return self.what.day
        if isinstance(self.what, Reading) and self.what.day is not None:
            return self.what.day
        return self.what.at_utc.astimezone(zone_info).date()

    @property
    def zones(self) -> tuple[str, ...]:
        """The zones it is about; none where it is about the garden."""
        if isinstance(self.what, MeasurementRow):
            return tuple(sorted(map(str, self.what.said.get("zones", ()))))
        zone = self.what.seen.zone if isinstance(self.what, ObservationRow) else self.what.zone
        return (zone,) if zone else ()


class EntryReader:
    """Reads people's notes by their numbers, those that were taken back among them."""

    def entries(self) -> list[Entry]:
        """Every note, in the order of writing."""
        rows = self._rows("SELECT * FROM entries ORDER BY id")
        backs = {
            row["takes_back"]: TakenBack(
                number=row["id"],
                written_utc=utc_from_text(row["written_utc"]),
                who=row["who"],
                why=row["why"],
                is_correction=row["source"] != ENTRIES,
            )
            for row in rows
            if row["takes_back"] is not None
        }
        written = self._written()
        return [
            Entry(
                number=row["id"],
                written_utc=utc_from_text(row["written_utc"]),
                who=row["who"],
                what=what,
                corrects=row["takes_back"],
                taken_back=backs.get(row["id"]),
            )
            for row in rows
            if (what := written.get((row["source"], row["row"]))) is not None
        ]

    def entry(self, number: int) -> Entry | None:
        """The note of that number; None where there is none, or where it is a withdrawal."""
        return next((one for one in self.entries() if one.number == number), None)

    def next_number(self) -> int:
        """The number that the next note gets."""
        rows = self._rows("SELECT coalesce(max(id), 0) + 1 AS number FROM entries")
        return int(rows[0]["number"])

    def _written(self) -> dict[tuple[str, int], What]:
        made: Mapping[str, Callable[[sqlite3.Row], What]] = {
            "pulses": pulse_of,
            "readings": reading_of,
            "notes": note_of,
            "measurements": measurement_of,
            "observations": observation_of,
        }
        found: dict[tuple[str, int], What] = {}
        for table, make in made.items():
            if self._has(table):
                where = "WHERE how_known = 'by hand'" if table == "pulses" else ""
                for row in self._rows(f"SELECT * FROM all_{table} {where}"):
                    found[table, row["id"]] = make(row)
        return found

    def _has(self, table: str) -> bool:
        raise NotImplementedError

    def _rows(self, sql: str, values: Iterable[object] = ()) -> list[sqlite3.Row]:
        raise NotImplementedError
