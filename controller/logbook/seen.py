"""The page of what people saw of the plants, by which a planting's stages are moved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from controller.demand.records import Observation
from controller.errors import LogbookError
from controller.logbook.fieldtests import FieldTestPages, FieldTestQuestions
from controller.logbook.pen import Row, insert
from controller.logbook.schema import Book


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenRow:
    """An observation with its number and who made it."""

    id: int
    seen: Observation
    who: str


class SeenPages(FieldTestPages):
    """Writing what was seen."""

    def observe(self, seen: Observation, who: str = "") -> int:
        """Write down what a person saw; gives back its number."""
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


class SeenQuestions(FieldTestQuestions):
    """Asking for what was seen."""

    def observations(self) -> list[Observation]:
        """What was seen and stands, in order of days, then of writing."""
        return [row.seen for row in self.seen_rows()]

    def seen_rows(self) -> list[SeenRow]:
        """The same with numbers and names."""
        if not self._has("observations"):
            return []
        return [
            SeenRow(
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
