"""One flipped bit in a row of the logbook: the daemon starts, plans, and says what it set aside."""

from __future__ import annotations

import shutil
import sqlite3
import struct
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from unittest import mock

import pytest
from support.daemon import World
from support.daemon_faults import a_slow_garden

from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import PulseState

pytestmark = pytest.mark.usefixtures("seldom_looks")

DAY = date(2031, 6, 1)
EVENING = datetime(2031, 6, 1, 18, 0, tzinfo=UTC)
NEXT_NOON = datetime(2031, 6, 2, 10, 0, tzinfo=UTC)
SAID = {"rows set aside", "logbook damaged", "log damaged"}


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What a daemon that was killed in the evening left of a day on which a zone was watered."""
    folder = tmp_path_factory.mktemp("evening")
    with mock.patch("controller.daemon.engine.GARDEN_EVERY_S", 300.0):
        world = World(folder, a_slow_garden())
        world.run_until(EVENING)
    world.kill()
    return folder


@pytest.fixture
def watered(evening: Path, tmp_path: Path) -> World:
    """That daemon started again, with a hold of long ago and a person's reading."""
    folder = tmp_path / "watered"
    shutil.copytree(evening, folder)
    world = World(folder, a_slow_garden(), now_utc=EVENING)
    long_ago = datetime(2031, 5, 1, tzinfo=UTC)
    world.logbook.hold(long_ago, datetime(2031, 5, 2, tzinfo=UTC), ["a"], "away")
    world.logbook.rain_gauge(date(2031, 5, 30), 2.0)
    world.logbook.happening("test", "so that there is one")
    return world


def _changed(world: World, *sql: str) -> None:
    """Change the file as a flipped bit would: past what its tables would refuse."""
    world.kill()
    with sqlite3.connect(world.logbook.path) as book:
        book.execute("PRAGMA ignore_check_constraints = ON")
        for one in sql:
            assert book.execute(one).rowcount, one
    book.close()
    world.clock.advance(60.0)


# A bit, or the byte it lies in, of what a running daemon has written.
CHANGES = {
    "a day of a pulse": "UPDATE pulses SET day = '2031-0v-01' WHERE state = 'closed'",
    "a day of the weather": "UPDATE weather SET day = '2031-05-3!' WHERE rowid = 1",
    "a day of the ledger": "UPDATE ledger SET day = '2031-05-s0' WHERE rowid = 1",
    "a day of a reading": "UPDATE readings SET day = '2031-0-530'",
    "a day a daemon watched": "UPDATE watched_days SET day = 'R031-05-30' WHERE day = '2031-05-30'",
    "a state": "UPDATE pulses SET state = 'clos%d' WHERE state = 'closed'",
    "a list of zones": "UPDATE pulses SET together = '[\"b' WHERE state = 'closed'",
    "a list that is none": "UPDATE pulses SET together = '{}' WHERE state = 'closed'",
    "litres that are NULL": "UPDATE pulses SET litres = NULL WHERE state = 'closed'",
    "litres without end": "UPDATE pulses SET litres = 9e999 WHERE state = 'closed'",
    "a ledger without end": "UPDATE ledger SET depletion_mm = -9e999",
    "an end that is NULL": "UPDATE pulses SET closed_utc = NULL WHERE state = 'closed'",
    "a moment": "UPDATE pulses SET opened_utc = '2031-06-01T2:00:00.000000Z'",
    "how it is known": "UPDATE pulses SET how_known = 'timmd' WHERE state = 'closed'",
    "a kind of valve": "UPDATE pulses SET valve = 'rulay' WHERE state = 'closed'",
    "a key": "UPDATE pulses SET key = 'b' || substr(key, 2) WHERE state = 'closed'",
    "a text that is none": "UPDATE pulses SET why = CAST(x'c328b2' AS TEXT)",
    "zones of a hold": "UPDATE holds SET zones = '[\"a'",
    "the end of a hold": "UPDATE holds SET ends_utc = 'Z'",
    "a happening's moment": "UPDATE happenings SET at_utc = ''",
    "a step's moment": "UPDATE _sqlite_migrations SET applied_at = '2020-01-0' WHERE id = 2",
    "every step's moment": "UPDATE _sqlite_migrations SET applied_at = ''",
    "a step's name": "UPDATE _sqlite_migrations SET name = '3 fielf tests' WHERE id = 3",
    "a step's set": "UPDATE _sqlite_migrations SET migration_set = 'rowgate' WHERE id = 1",
    "the number of the next row": "UPDATE sqlite_sequence SET seq = 9223372036854775807",
    "a column's name": "PRAGMA user_version = 1",  # by the file itself, below
}


@pytest.mark.parametrize("what", CHANGES)
def test_the_daemon_starts_plans_and_forgets_no_water_without_a_word(
    watered: World, what: str
) -> None:
    given = watered.litres()
    if what == "a column's name":
        watered.kill()
        watered.clock.advance(60.0)
        _in_the_file(watered.logbook.path, b"beat_litres REAL", b"beat_litren REAL")
    else:
        _changed(watered, CHANGES[what])
    assert sum(given.values()) > 10.0
    watered.start_anew()
    status = watered.ask(ask="status")
    assert status["ok"]
    assert watered.engine.timetable is not None
    assert not status["plan_fault"]
    if watered.litres() != given:
        assert SAID & {kind for kind, _ in watered.happenings()}, watered.happenings()
    watered.run_until(NEXT_NOON)
    assert not watered.ask(ask="status")["plan_fault"]
    assert watered.engine.timetable.pulses
    # The file is sound again: a second start says nothing more.
    said = [words for kind, words in watered.happenings() if kind in SAID]
    watered.restart()
    assert [words for kind, words in watered.happenings() if kind in SAID] == said


def _in_the_file(path: Path, was: bytes, is_now: bytes) -> None:
    """Change bytes of the file itself, where they come first."""
    found = path.read_bytes()
    assert was in found
    path.write_bytes(found.replace(was, is_now, 1))


@pytest.mark.parametrize(
    "what",
    [
        "a day of a pulse",
        "a state",
        "a list of zones",
        "a list that is none",
        "a moment",
        "an end that is NULL",
        "how it is known",
    ],
)
def test_water_counts_on_where_the_rest_of_its_row_tells_what_changed(
    watered: World, what: str
) -> None:
    given = watered.litres()
    _changed(watered, CHANGES[what])
    watered.start_anew()
    assert watered.litres() == given
    words = [words for kind, words in watered.happenings() if kind == "rows set aside"]
    assert any("put right" in one for one in words)
    status = watered.ask(ask="status")
    assert status["rows_set_aside"] >= 1


SLOW = pytest.mark.slow
OPEN_CHANGES = {
    "a day": "day = '2031-0v-01'",
    "a state": "state = 'op%n'",
    "a list of zones": "together = '[\"b'",
    "a plan that is NULL": "planned_open_s = NULL",
    "litres planned without end": "planned_litres = 9e999",
    "a moment": "planned_opens_utc = '2031-06-01T2:00:00.000000Z'",
    "a slot": "slot = -1",
}


@pytest.mark.parametrize(
    "what",
    [
        what if what in ("a state", "a plan that is NULL") else pytest.param(what, marks=SLOW)
        for what in OPEN_CHANGES
    ],
)
def test_a_pulse_that_was_open_at_a_kill_counts_to_its_last_heartbeat(
    tmp_path: Path, what: str
) -> None:
    """Before, its row was set aside with what had run, and all of the dose was given once more."""
    world = World(tmp_path, a_slow_garden())
    world.run_until_open()
    world.run_for(25.0)
    _changed(world, f"UPDATE pulses SET {OPEN_CHANGES[what]} WHERE state = 'open'")
    world.start_anew()
    (row,) = [row for row in world.pulses() if row.state is PulseState.CUT]
    # 3 L/min, as the garden says; a heartbeat each ten seconds, so 20 s at least. WORKED.
    assert 1.0 <= row.litres <= 1.3
    assert row.day == DAY and row.slot == 1
    assert "rows set aside" in {kind for kind, _ in world.happenings()}
    planned = [pulse.key for pulse in world.engine.pending]
    assert row.key not in planned
    world.run_until(NEXT_NOON)
    assert not world.ask(ask="status")["plan_fault"]


def test_a_state_that_is_none_keeps_no_end_from_being_written(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until_open()
    with sqlite3.connect(world.logbook.path) as book:
        book.execute("UPDATE pulses SET state = 'op%n' WHERE state = 'open'")
    book.close()
    while world.openings.running:
        world.run_for(5.0)
    assert world.openings.all_written
    assert sum(world.litres().values()) > 1.0


def test_water_whose_litres_are_gone_counts_by_its_open_time(watered: World) -> None:
    """Table and index both: 3 L/min over the time it was open, as was planned."""
    given = watered.litres()
    _changed(watered, CHANGES["litres that are NULL"])
    watered.start()
    assert watered.litres() == pytest.approx(given, rel=0.01)
    words = next(words for kind, words in watered.happenings() if kind == "rows set aside")
    assert "L by its open time" in words


def test_litres_that_cannot_be_are_named_with_zone_and_day_and_the_row_is_kept(
    watered: World,
) -> None:
    keys = [row.key for row in watered.pulses() if row.state is PulseState.CLOSED]
    _changed(watered, CHANGES["litres without end"])
    watered.start_anew()
    words = next(words for kind, words in watered.happenings() if kind == "rows set aside")
    assert all(key in words for key in keys) and "litres" in words
    with sqlite3.connect(watered.logbook.path) as book:
        rows = book.execute("SELECT source, wrong, cells FROM rows_set_aside").fetchall()
    book.close()
    assert {(source, wrong) for source, wrong, _ in rows} == {("pulses", "litres")}
    assert all(f"key = '{key}'" in row[2] for key, row in zip(keys, rows, strict=True))


def test_a_row_that_changes_while_the_daemon_runs_is_found_before_the_next_plan(
    watered: World,
) -> None:
    given = watered.litres()
    with sqlite3.connect(watered.logbook.path) as book:
        book.execute("UPDATE pulses SET together = '[' WHERE state = 'closed'")
    book.close()
    assert watered.litres() != given  # not seen before it is put right
    watered.engine.request_plan("test")
    watered.run_for(60.0)
    assert watered.litres() == given
    assert "rows set aside" in {kind for kind, _ in watered.happenings()}


def _litres_in_the_file(path: Path, change: Callable[[float], float]) -> None:
    """Change the litres of the closed pulse in its table alone; its index keeps them."""
    with sqlite3.connect(path) as book:
        rows = book.execute("SELECT litres, how_known FROM pulses WHERE state = 'closed'")
        litres, how_known = rows.fetchall()[0]
    book.close()
    # SQLite stores a REAL as eight bytes, the highest first, and the cells of a row in the order of
    # its columns: sqlite.org/fileformat2.html, 2.1. In the index another column comes next.
    found, was = path.read_bytes(), struct.pack(">d", litres)
    assert was + how_known.encode() in found
    changed = struct.pack(">d", change(litres)) + how_known.encode()
    path.write_bytes(found.replace(was + how_known.encode(), changed))


def test_litres_that_changed_to_what_they_could_be_are_told_by_their_second_copy(
    watered: World,
) -> None:
    given = watered.litres()
    watered.kill()
    _litres_in_the_file(watered.logbook.path, lambda litres: litres / 4.0)
    watered.start_anew()
    assert watered.litres() == given  # the copy nearer to what its open time gives counts
    words = next(words for kind, words in watered.happenings() if kind == "rows set aside")
    assert "two copies" in words


def test_litres_that_cannot_be_come_back_from_their_second_copy(watered: World) -> None:
    given = watered.litres()
    watered.kill()
    _litres_in_the_file(watered.logbook.path, lambda litres: litres * 2.0**900)
    watered.start_anew()
    assert watered.litres() == given
    assert "rows set aside" in {kind for kind, _ in watered.happenings()}


def test_writings_lost_from_a_damaged_log_are_counted_and_the_log_is_kept(
    watered: World, tmp_path: Path
) -> None:
    for number in range(5):
        watered.logbook.note(f"note {number}")
    later = tmp_path / "later"
    later.mkdir()
    book, log = watered.logbook.path, watered.logbook.path.with_name("logbook.db-wal")
    found = bytearray(log.read_bytes())
    place = found.index(b"note 2")
    found[place] ^= 0x10
    (later / "logbook.db").write_bytes(book.read_bytes())
    (later / "logbook.db-wal").write_bytes(found)
    watered.kill()
    # Who may write in this folder may put a link where the copy goes.
    (later / "other").write_bytes(b"years")
    now = f"{watered.clock.now_utc():%Y-%m-%dT%H%M%SZ}"
    (later / f"logbook-log-damaged-{now}.db-wal").symlink_to(later / "other")
    with Logbook(later / "logbook.db", watered.clock):
        with Questions(later / "logbook.db") as ask:
            (said,) = [h.words for h in ask.happenings() if h.kind == "log damaged"]
            assert {note.words for note in ask.notes()} == {"note 0", "note 1"}
        assert "the last 3 do not read" in said
        (kept,) = later.glob("logbook-log-damaged-*.db-wal")
        assert kept.read_bytes() == bytes(found)
        assert (later / "other").read_bytes() == b"years"
    Logbook(later / "logbook.db", watered.clock).close()
    with Questions(later / "logbook.db") as ask:
        assert len([h for h in ask.happenings() if h.kind == "log damaged"]) == 1


def test_a_log_that_was_left_whole_says_nothing(watered: World, tmp_path: Path) -> None:
    later = tmp_path / "later"
    later.mkdir()
    for name in ("logbook.db", "logbook.db-wal"):
        (later / name).write_bytes((tmp_path / "watered" / name).read_bytes())
    given = watered.litres()
    watered.kill()
    Logbook(later / "logbook.db", watered.clock).close()
    with Questions(later / "logbook.db") as ask:
        assert not SAID & {h.kind for h in ask.happenings()}
        assert ask.litres_by_zone_day() == given
    assert not list(later.glob("*damaged*"))
