"""Writes how far each pulse has come: planned, intended, open, ended.

The table NEXT says how far a pulse may go from where; anything else is refused, and changes
nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, timedelta

from controller.errors import LogbookError, require_range
from controller.garden.plumbing import ValveKind
from controller.logbook.entries import gone
from controller.logbook.records import HowKnown, PulseState, utc_text
from controller.logbook.row_rules import LONGEST_OPEN_S, MOST_LITRES, sweep
from controller.logbook.schema import Book
from controller.logbook.writer import LogbookWriter, Row, insert, write_note
from controller.timetable.records import Pulse

# From where a pulse may come to each state. What a person notes is closed from the first.
NEXT: Mapping[PulseState, frozenset[PulseState]] = {
    PulseState.INTENDED: frozenset({PulseState.PLANNED}),
    PulseState.OPEN: frozenset({PulseState.INTENDED}),
    # Straight from intended: the row that the valve opened may be the one the disk did not take.
    PulseState.CLOSED: frozenset({PulseState.INTENDED, PulseState.OPEN}),
    PulseState.CUT: frozenset({PulseState.INTENDED, PulseState.OPEN}),
    PulseState.REFUSED: frozenset({PulseState.PLANNED, PulseState.INTENDED}),
    PulseState.MISSED: frozenset({PulseState.PLANNED, PulseState.INTENDED}),
    PulseState.ASSUMED: frozenset({PulseState.PLANNED}),
}


class PulseWriter(LogbookWriter):
    """Writes pulses."""

    def plan_day(self, day: date, pulses: Iterable[Pulse]) -> int:
        """Replace the day's planned pulses by these; how many are planned now.

        Pulses that went further stay, and a key that went further is not planned again.
        """
        planned = list(pulses)
        for pulse in planned:
            if pulse.day != day:
                raise LogbookError(f"{pulse.key} is not of {day}; a day is planned by itself")

        def work(book: Book, now: str) -> int:
            book.db.execute(
                "DELETE FROM pulses WHERE day = ? AND state = ?",
                [day.isoformat(), PulseState.PLANNED],
            )
            gone_further = {
                row["key"]
                for row in book.db.query("SELECT key FROM pulses WHERE day = ?", [day.isoformat()])
            }
            rows = [_planned_row(pulse, now) for pulse in planned if pulse.key not in gone_further]
            for row in rows:
                book.db.table("pulses").insert(row)
            return len(rows)

        return self.write(work)

    def intend(self, pulse: Pulse) -> int:
        """Write that this pulse is about to open; its id: it runs once, or never.

        Raises
        ------
        LogbookError
            If what its key names has gone past planning already, or it cannot be written.
        """

        def work(book: Book, now: str) -> int:
            intent = {
                "state": PulseState.INTENDED,
                "intended_utc": now,
                "boot_id": self.clock.boot_id(),
            }
            found = _by_key(book, pulse.key, now)
            if found is None:
                return insert(book, "pulses", _planned_row(pulse, now) | intent)
            _check_step(found, PulseState.INTENDED)
            book.db.table("pulses").update(found["id"], _planned_row(pulse, now) | intent)
            return int(found["id"])

        return self.write(work)

    def opened(self, pulse_id: int, mono_s: float) -> None:
        """Write that the valve is open since this moment of the monotonic clock."""
        self._step(
            pulse_id,
            PulseState.OPEN,
            lambda now: {
                "opened_utc": now,
                "opened_mono_s": float(mono_s),
                "boot_id": self.clock.boot_id(),
            },
        )

    def beat(self, pulse_id: int, open_s: float, litres: float) -> None:
        """Write a heartbeat: how long it is open by now, and how much water came."""
        _check_amounts(open_s, litres)

        def work(book: Book, now: str) -> None:
            found = _by_id(book, pulse_id, now)
            if found["state"] != PulseState.OPEN:
                raise LogbookError(f"{found['key']} is {found['state']}, not open; no sign of life")
            book.db.table("pulses").update(
                pulse_id,
                {"beat_utc": now, "beat_open_s": float(open_s), "beat_litres": float(litres)},
            )

        self.write(work)

    def ended(
        self,
        pulse: Pulse,
        *,
        opened_utc: datetime,
        opened_mono_s: float,
        open_s: float,
        litres: float,
        how: HowKnown | str,
        why: str = "",
    ) -> None:
        """Write the true end of a pulse: open time, litres, and how those are known.

        A logbook that was begun anew while the pulse was open does not know it, or still plans it:
        there all of it is entered, so that its water is not given again. The same end reported
        twice is written once: a slow disk may have taken it after the caller had given up.
        """
        ending = _ending(open_s, litres, how, why)

        def work(book: Book, now: str) -> None:
            found = _by_key(book, pulse.key, now)
            if found is not None and _is_same_end(found, float(open_s), float(litres)):
                return
            if found is None or found["state"] == PulseState.PLANNED:
                row = _planned_row(pulse, now) | {
                    "intended_utc": utc_text(opened_utc),
                    "opened_utc": utc_text(opened_utc),
                    "opened_mono_s": float(opened_mono_s),
                    "boot_id": self.clock.boot_id(),
                }
                if found is None:
                    pulse_id = insert(book, "pulses", row)
                else:
                    pulse_id = int(found["id"])
                    book.db.table("pulses").update(pulse_id, row)
            else:
                _check_step(found, PulseState.CLOSED)
                pulse_id = int(found["id"])
            book.db.table("pulses").update(pulse_id, ending(now) | {"state": PulseState.CLOSED})

        self.write(work)

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

    def assumed(self, key: int | str, why: str) -> None:
        """Write that this pulse of a hand valve counts as done as planned."""
        self._step(key, PulseState.ASSUMED, lambda now: {"closed_utc": now, "why": why})

    def hand_watering(
        self,
        zone: str,
        day: date,
        litres: float,
        minutes: float | None,
        who: str,
        at: datetime,
        *,
        corrects: int | None = None,
    ) -> int:
        """Write down water given by hand; returns the note's number.

        It has a row of its own, zone|day|h1 and on, beside what was planned or printed for that
        day: of a day with a note readers count the notes alone. It takes from the printed pulse in
        its place what a credit needs: the line's filling, and the uniformity.
        """
        open_s = None if minutes is None else minutes * 60.0
        _check_amounts(open_s or 0.0, litres)
        row: Row = {
            "zone": zone,
            "day": day.isoformat(),
            "valve": ValveKind.HAND,
            "state": PulseState.CLOSED,
            "opened_utc": None if open_s is None else utc_text(at - timedelta(seconds=open_s)),
            "closed_utc": utc_text(at),
            "open_s": open_s,
            "litres": float(litres),
            "how_known": HowKnown.BY_HAND,
            "who": who,
        }

        def work(book: Book, now: str) -> int:
            key = _next_hand_key(book, zone, day)
            credit = _credit_of_printed(book, zone, day, corrects)
            return write_note(book, now, "pulses", row | {"key": key} | credit, corrects)

        return self.write(work)

    def _end(
        self,
        pulse_id: int,
        state: PulseState,
        open_s: float,
        litres: float,
        how: HowKnown | str,
        why: str,
    ) -> None:
        self._step(pulse_id, state, _ending(open_s, litres, how, why))

    def _step(self, id_or_key: int | str, state: PulseState, changes: Callable[[str], Row]) -> None:
        def work(book: Book, now: str) -> None:
            if isinstance(id_or_key, str):
                found = _by_key(book, id_or_key, now)
                if found is None:
                    raise LogbookError(f"no pulse has the key {id_or_key!r}")
            else:
                found = _by_id(book, id_or_key, now)
            _check_step(found, state)
            book.db.table("pulses").update(found["id"], changes(now) | {"state": state})

        self.write(work)


def _ending(open_s: float, litres: float, how: HowKnown | str, why: str) -> Callable[[str], Row]:
    """The cells of an end, once its moment is known."""
    _check_amounts(open_s, litres)
    if how not in set(HowKnown):
        raise LogbookError(f"found {how!r}; allowed are: {', '.join(HowKnown)}")
    return lambda now: {
        "closed_utc": now,
        "open_s": float(open_s),
        "litres": float(litres),
        "how_known": str(how),
        "why": why,
    }


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
        "line_litres": pulse.line_litres,
        "uniformity": pulse.uniformity,
    }


def _by_key(book: Book, key: str, now: str) -> Row | None:
    return _sound(book, "key = ?", key, now)


def _by_id(book: Book, pulse_id: int, now: str) -> Row:
    found = _sound(book, "id = ?", pulse_id, now)
    if found is None:
        raise LogbookError(f"no pulse has the number {pulse_id}")
    return found


def _sound(book: Book, where: str, value: object, now: str) -> Row | None:
    """The row, if there is one; an impossible state is mended first, or the row set aside."""
    asked = f"SELECT id, key, state, open_s, litres FROM pulses WHERE {where}"
    found: Row | None = next(iter(book.db.query(asked, [value])), None)
    if found is not None and found["state"] not in set(PulseState):
        sweep(book.db.conn, now)
        found = next(iter(book.db.query(asked, [value])), None)
    return found


def _is_same_end(found: Row, open_s: float, litres: float) -> bool:
    """Whether this same end is written already."""
    written = (found["state"], found["open_s"], found["litres"])
    return written == (PulseState.CLOSED, open_s, litres)


def _check_step(found: Row, state: PulseState) -> None:
    if found["state"] not in NEXT[state]:
        raise LogbookError(
            f"{found['key']} is {found['state']} already; what a key names runs once, or never "
            f"(asked: {state})"
        )


def _check_amounts(open_s: float, litres: float) -> None:
    require_range("open_s", open_s, 0.0, LONGEST_OPEN_S)
    require_range("litres", litres, 0.0, MOST_LITRES)


def _credit_of_printed(book: Book, zone: str, day: date, corrects: int | None) -> Row:
    """The line's filling and the uniformity of the printed pulse that the next note stands for."""
    of_day = [zone, day.isoformat(), ValveKind.HAND]
    printed = list(
        book.db.query(
            "SELECT line_litres, uniformity FROM pulses WHERE zone = ? AND day = ? AND valve = ? "
            "AND state IN (?, ?) ORDER BY planned_opens_utc",
            [*of_day, PulseState.PLANNED, PulseState.ASSUMED],
        )
    )
    notes = book.db.conn.execute(
        "SELECT count(*) FROM pulses WHERE zone = ? AND day = ? AND valve = ? AND how_known = ? "
        f"AND slot IS NULL AND id NOT IN ({gone('pulses', corrects)})",
        [*of_day, HowKnown.BY_HAND],
    ).fetchone()[0]
    return dict(printed[notes]) if notes < len(printed) else {}


def _next_hand_key(book: Book, zone: str, day: date) -> str:
    stem = f"{zone}|{day.isoformat()}|h"
    rows = book.db.query(
        "SELECT key FROM pulses WHERE zone = ? AND day = ? AND slot IS NULL",
        [zone, day.isoformat()],
    )
    return f"{stem}{max((int(row['key'].removeprefix(stem)) for row in rows), default=0) + 1}"
