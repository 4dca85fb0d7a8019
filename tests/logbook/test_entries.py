"""Every note has a number; it is taken back by an entry of its own, and no row is changed."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from pytest import approx
from sqlite_utils import Database
from support.clock import HandClock
from support.logbook import DAY, a_hand_pulse

from controller.demand.records import Observation
from controller.errors import LogbookError
from controller.logbook.entries import NOTED
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import MENDED, PulseState
from controller.logbook.schema import MIGRATIONS, migrate

STEPS = [migration.name for migration in MIGRATIONS.pending(Database(memory=True))]
UTC_ZONE = ZoneInfo("UTC")
FULL = Observation(zone="a", day=DAY, event="full")


def rows_of(path: Path) -> dict[str, list[Any]]:
    """Each row that people wrote, as the file has it."""
    with sqlite3.connect(path) as connection:
        return {
            table: connection.execute(f"SELECT * FROM {table} ORDER BY id").fetchall()
            for table in NOTED
        }


def write_all(book: Logbook, clock: HandClock) -> list[int]:
    """One note of each kind; their numbers."""
    now = clock.now_utc()
    return [
        book.hand_watering("a", DAY, 38.0, 12.0, "Odile", now),
        book.rain_gauge(DAY, 4.0, "Odile"),
        book.meter_reading(81_234.0, now, "Bram", day=DAY),
        book.reading("soil moisture", 21.0, "% by volume", day=DAY, zone="a", who="Bram"),
        book.observe(FULL, "Odile"),
        book.keep_measurement({"kind": "bucket", "zones": ["a"]}, who="Odile"),
        book.note("all well", "a", "Bram"),
        book.reading(MENDED, 1.0, "", day=DAY, zone="a", who="Bram"),
    ]


def test_notes_of_every_kind_are_of_one_numbering(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    assert write_all(book, clock) == list(range(1, 9))
    found = ask.entries()
    assert [(one.number, one.who) for one in found] == [
        (1, "Odile"), (2, "Odile"), (3, "Bram"), (4, "Bram"),
        (5, "Odile"), (6, "Odile"), (7, "Bram"), (8, "Bram"),
    ]  # fmt: skip
    assert {one.day(UTC_ZONE) for one in found} == {DAY}
    assert [one.zones for one in found].count(("a",)) == 6
    assert all(one.taken_back is None and one.corrects is None for one in found)


def test_what_is_withdrawn_counts_no_more_and_no_row_is_changed(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    numbers = write_all(book, clock)
    before = rows_of(book.path)
    clock.advance(60.0)
    for number in numbers:
        assert book.withdraw(number, who="Tim", why="wrong garden") == 8 + number
    assert rows_of(book.path) == before
    assert ask.litres_by_zone_day() == {} and ask.noted_on(UTC_ZONE) == {}
    assert ask.gauge_by_day() == {} and ask.readings("meter") == []
    assert ask.readings("soil moisture") == [] and ask.readings(MENDED) == []
    assert ask.observations() == [] and ask.measurements() == [] and ask.notes() == []
    for entry in ask.entries():
        back = entry.taken_back
        assert back is not None and not back.is_correction
        assert (back.number, back.who, back.why) == (8 + entry.number, "Tim", "wrong garden")
        assert back.written_utc == clock.now_utc()
    assert ask.last_written_utc() == clock.now_utc()


def test_a_correction_is_a_note_that_takes_another_back(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    wrong = book.hand_watering("a", DAY, 380.0, 120.0, "Odile", clock.now_utc())
    right = book.hand_watering("a", DAY, 38.0, 12.0, "Odile", clock.now_utc(), corrects=wrong)
    assert ask.litres_by_zone_day() == {("a", DAY): 38.0}
    old, new = ask.entries()
    assert old.taken_back is not None and old.taken_back.is_correction
    assert (old.taken_back.number, new.corrects) == (right, wrong)
    # A withdrawn correction does not bring the first back.
    book.withdraw(right)
    assert ask.litres_by_zone_day() == {}


@pytest.mark.parametrize(
    ("number", "said"),
    [
        (99, "no note has the number 99"),
        (1, "note 1 was taken back already, by note 2"),
        (2, "2 is the withdrawal of 1; write that note anew"),
    ],
)
def test_what_does_not_stand_is_not_taken_back(book: Logbook, number: int, said: str) -> None:
    book.withdraw(book.note("all well"))
    before = rows_of(book.path)
    with pytest.raises(LogbookError, match=said):
        book.withdraw(number)
    with pytest.raises(LogbookError, match=said):
        book.note("all ill", corrects=number)
    assert rows_of(book.path) == before  # not half a correction either


def test_a_correction_is_of_the_same_kind(book: Logbook, ask: Questions) -> None:
    number = book.note("all well")
    with pytest.raises(LogbookError, match="a note of another kind"):
        book.rain_gauge(DAY, 3.0, corrects=number)
    assert ask.gauge_by_day() == {} and len(ask.notes()) == 1


def test_rain_of_a_day_is_the_sum_of_the_readings_that_stand(book: Logbook, ask: Questions) -> None:
    first = book.more_rain(DAY, 6.0)
    book.more_rain(DAY, 4.0)
    assert ask.gauge_by_day() == approx({DAY: 10.0})
    book.withdraw(first)
    assert ask.gauge_by_day() == approx({DAY: 4.0})
    whole = book.rain_gauge(DAY, 9.0)
    book.more_rain(DAY, 1.0)
    # WORKED: 9 + 1 mm.
    assert ask.gauge_by_day() == approx({DAY: 10.0})
    book.withdraw(whole)
    # WORKED: 4 + 1 mm, as if it had never been said.
    assert ask.gauge_by_day() == approx({DAY: 5.0})


def test_a_withdrawn_watering_leaves_what_was_printed(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    book.plan_day(DAY, [a_hand_pulse(1)])
    book.assumed(a_hand_pulse(1).key, "its day is over")
    number = book.hand_watering("a", DAY, 2.0, None, "Odile", clock.now_utc())
    book.withdraw(number)
    (row,) = ask.pulses(DAY, DAY)
    assert (row.state, row.litres) == (PulseState.ASSUMED, None)
    assert ask.record(UTC_ZONE).printed_litres == {("a", DAY): 5.0}


def test_a_note_takes_the_credit_of_the_printed_pulse_in_its_place(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    printed = [
        replace(a_hand_pulse(slot), line_litres=0.5 * slot, uniformity=0.8 + 0.01 * slot)
        for slot in (1, 2)
    ]
    book.plan_day(DAY, printed)
    wrong = book.hand_watering("a", DAY, 5.0, None, "Odile", clock.now_utc())
    book.hand_watering("a", DAY, 5.0, None, "Odile", clock.now_utc(), corrects=wrong)
    book.hand_watering("a", DAY, 5.0, None, "Odile", clock.now_utc())
    assert len(ask.planned(DAY)) == 2  # what was printed stays on record
    # WORKED: (5 - 0.5) x 0.81 + (5 - 1) x 0.82 L.
    assert ask.stored_by_zone_day() == approx({("a", DAY): 4.5 * 0.81 + 4.0 * 0.82})
    book.hand_watering("a", DAY, 5.0, None, "Odile", clock.now_utc())
    assert ask.stored_by_zone_day() == {}  # a third has no printed pulse: computed at the reading


# Logbooks of the version before ------------------------------------------------------------------


def an_old_logbook(path: Path, clock: HandClock) -> None:
    """A logbook as it was before notes had numbers; moments in the order of writing."""
    db = Database(sqlite3.connect(path))
    db.enable_wal()
    migrate(db, clock, stop_before=STEPS[9])
    assert "entries" not in db.table_names()

    def at(minute: int) -> str:
        return f"2031-06-01T06:{minute:02d}:00.000000Z"

    pulse: dict[str, Any] = {"zone": "a", "day": "2031-06-01", "valve": "hand"}
    pulse |= {"state": "closed"} | {"how_known": "by hand", "litres": 6.5, "who": "Odile"}
    # An older Rowgate wrote a note over the pulse that was printed.
    plan = {"slot": 1, "planned_opens_utc": at(0), "planned_open_s": 60.0, "planned_litres": 5.0}
    db.table("pulses").insert(pulse | plan | {"key": "a|2031-06-01|1", "closed_utc": at(5)})
    reading: dict[str, Any] = {
        "unit": "mm",
        "day": "2031-06-01",
        "who": "Bram",
        "kind": "rain gauge",
    }
    for minute, mm in ((1, 6.0), (3, 10.0)):  # the second holds the sum
        moment = {"written_utc": at(minute), "at_utc": at(minute)}
        db.table("readings").insert(reading | moment | {"value": mm})
    pin = reading | {"kind": "gauge on pin", "value": 3.0, "who": ""}
    db.table("readings").insert(pin | {"written_utc": at(9), "at_utc": at(9)})
    seen = {"day": "2031-06-01", "zone": "a", "event": "full", "crop": "", "who": "Odile"}
    db.table("observations").insert(seen | {"written_utc": at(2), "taken_back_utc": at(7)})
    db.table("notes").insert({"at_utc": at(4), "words": "all well", "zone": None, "who": ""})
    start: dict[str, Any] = {
        "kind": "soil moisture as the new start",
        "value": 17.0,
        "unit": "% by volume",
    }
    start |= {"day": "2031-06-01", "zone": "a", "who": "Bram"}
    number = db.table("readings").insert(start | {"written_utc": at(6), "at_utc": at(6)}).last_rowid
    back: dict[str, Any] = {
        "kind": "soil start taken back",
        "value": float(number or 0),
        "unit": "number",
    }
    db.table("readings").insert(start | back | {"written_utc": at(8), "at_utc": at(8)})
    db.close()


def of_old(ask: Questions) -> list[tuple[int, str, bool]]:
    return [(one.number, type(one.what).__name__, one.taken_back is None) for one in ask.entries()]


# By the moments of writing: rain, what was seen, rain, words, water, a new start of the soil.
OLD = [
    (1, "Reading", True),
    (2, "ObservationRow", False),
    (3, "Reading", True),
    (4, "Note", True),
    (5, "PulseRow", True),
    (6, "Reading", False),
]


def test_a_logbook_of_the_version_before_is_read_with_the_numbers_it_will_get(
    tmp_path: Path, clock: HandClock
) -> None:
    path = tmp_path / "old.db"
    an_old_logbook(path, clock)
    as_it_was = path.read_bytes()
    with Questions(path) as ask:
        assert of_old(ask) == OLD
        assert ask.gauge_by_day() == {DAY: 10.0}
        assert ask.litres_by_zone_day() == {("a", DAY): 6.5}
        assert ask.observations() == [] and ask.soil_starts() == []
    assert path.read_bytes() == as_it_was
    before = rows_of(path)
    with Logbook(path, clock) as book, Questions(path) as ask:
        assert of_old(ask) == OLD
        assert rows_of(path) == before
        assert ask.gauge_by_day() == {DAY: 10.0}
        assert book.note("a new one") == 9  # 7 and 8 are the two old withdrawals


def test_notes_of_the_version_before_are_taken_back_like_any_other(
    tmp_path: Path, clock: HandClock
) -> None:
    path = tmp_path / "old.db"
    an_old_logbook(path, clock)
    with Logbook(path, clock) as book, Questions(path) as ask:
        before = rows_of(path)
        book.withdraw(3)
        assert ask.gauge_by_day() == {DAY: 6.0}  # the word before it stands again
        assert ask.record(UTC_ZONE).printed_litres == {}
        book.withdraw(5)
        assert ask.litres_by_zone_day() == {}
        # What it was written over counts as printed, and its slot is not used again.
        assert ask.record(UTC_ZONE).printed_litres == {("a", DAY): 5.0}
        assert ask.slots_past_planned(DAY, DAY) == {("a", DAY): 1}
        with pytest.raises(LogbookError, match="note 2 was taken back already, by note 7"):
            book.withdraw(2)
        assert rows_of(path) == before


def test_a_logbook_with_an_entry_that_cannot_be_goes_on(book: Logbook, clock: HandClock) -> None:
    book.note("all well")
    book.note("still well")
    path = book.path
    book.close()
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE entries SET source = 'garbled' WHERE id = 1")
    with Questions(path) as ask:
        assert [one.number for one in ask.entries()] == [2]
        assert len(ask.notes()) == 2
    with Logbook(path, clock), Questions(path) as ask:
        assert ask.rows_set_aside() == 1
        assert "entries" in ask.happenings()[0].words


def test_the_day_of_a_note_is_the_garden_s(book: Logbook, ask: Questions) -> None:
    book.note("late", at=datetime(2031, 6, 1, 22, 30, tzinfo=UTC))
    (entry,) = ask.entries()
    # WORKED: half past ten in the evening of Greenwich is half past midnight in Zurich's summer.
    assert entry.day(ZoneInfo("Europe/Zurich")) == date(2031, 6, 2)


def test_an_entry_that_still_says_what_it_takes_back_is_put_right(
    book: Logbook, clock: HandClock
) -> None:
    number = book.hand_watering("a", DAY, 5.0, None, "Odile", clock.now_utc())
    book.withdraw(number, why="the other bed")
    path = book.path
    book.close()
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE entries SET written_utc = '2031-0v-01' WHERE id = 2")
    with Logbook(path, clock), Questions(path) as ask:
        assert ask.litres_by_zone_day() == {}  # it is still withdrawn
        (entry,) = ask.entries()
        assert entry.taken_back is not None and entry.taken_back.why == "the other bed"
        assert "put right" in ask.happenings()[0].words and ask.rows_set_aside() == 1
