"""Writing: the key rule, the steps of a pulse, hand watering, and a disk that says no."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.logbook import DAY, a_hand_pulse, a_ledger_day, a_pulse, close

from controller.errors import LogbookError, OutOfRange
from controller.logbook.files import plain
from controller.logbook.logbook import Logbook
from controller.logbook.pulses import NEXT
from controller.logbook.queries import Questions
from controller.logbook.records import HowKnown, PulseState
from controller.logbook.schema import Book


def _bring_to(book: Logbook, state: PulseState, slot: int = 1) -> int:
    """A pulse brought to that state by the methods that lead there; its id."""
    pulse = a_pulse(slot)
    if state in (PulseState.PLANNED, PulseState.MISSED, PulseState.ASSUMED):
        book.plan_day(DAY, [pulse])
        if state is PulseState.MISSED:
            book.missed(pulse.key, "late")
        if state is PulseState.ASSUMED:
            book.assumed(pulse.key, "as printed")
        with Questions(book.path) as ask:
            return next(p.id for p in ask.pulses(DAY, DAY) if p.slot == slot)
    pulse_id = book.intend(pulse)
    if state is PulseState.REFUSED:
        book.refused(pulse_id, "no")
    if state in (PulseState.OPEN, PulseState.CLOSED, PulseState.CUT):
        book.opened(pulse_id, 1000.0)
    if state is PulseState.CLOSED:
        close(book, pulse_id, 60.0, 5.0, "timed")
    if state is PulseState.CUT:
        book.cut(pulse_id, 30.0, 2.5, "heartbeat")
    return pulse_id


STEPS: dict[PulseState, Callable[[Logbook, int], object]] = {
    PulseState.INTENDED: lambda book, i: book.intend(a_pulse()),
    PulseState.OPEN: lambda book, i: book.opened(i, 1.0),
    PulseState.CLOSED: lambda book, i: close(book, i, 1.0, 1.0, "timed"),
    PulseState.CUT: lambda book, i: book.cut(i, 1.0, 1.0, "heartbeat"),
    PulseState.REFUSED: lambda book, i: book.refused(i, "no"),
    PulseState.MISSED: lambda book, i: book.missed(a_pulse().key, "late"),
    PulseState.ASSUMED: lambda book, i: book.assumed(a_pulse().key, "as printed"),
}


@pytest.mark.parametrize(("before", "after"), list(product(PulseState, STEPS)))
def test_a_pulse_goes_only_where_the_table_lets_it(
    book: Logbook, ask: Questions, before: PulseState, after: PulseState
) -> None:
    pulse_id = _bring_to(book, before)
    row = ask.pulse(pulse_id)
    assert row.state is before
    if before in NEXT[after]:
        STEPS[after](book, pulse_id)
        assert ask.pulse(pulse_id).state is after
    else:
        with pytest.raises(LogbookError, match=rf"is {before} already; .* runs once, or never"):
            STEPS[after](book, pulse_id)
        assert ask.pulse(pulse_id) == row


def test_only_a_planned_pulse_can_be_intended_and_nothing_leaves_an_end() -> None:
    assert NEXT[PulseState.INTENDED] == {PulseState.PLANNED}
    ends = {PulseState.CLOSED, PulseState.CUT, PulseState.REFUSED, PulseState.MISSED}
    ends.add(PulseState.ASSUMED)  # also where somebody notes what was given: that is another row
    assert not ends & frozenset().union(*NEXT.values())


@pytest.mark.parametrize("state", [s for s in PulseState if s is not PulseState.PLANNED])
def test_a_key_that_went_further_is_not_planned_again(
    book: Logbook, ask: Questions, state: PulseState
) -> None:
    pulse_id = _bring_to(book, state)
    row = ask.pulse(pulse_id)
    assert book.plan_day(DAY, [a_pulse(1), a_pulse(2)]) == 1
    assert [p.slot for p in ask.planned(DAY)] == [2]
    assert ask.pulse(pulse_id) == row
    assert ask.keys_past_planned(DAY) == {a_pulse(1).key}
    assert ask.slots_past_planned(DAY, DAY) == {("a", DAY): 1}


def test_a_new_plan_takes_the_place_of_the_old_one_on_its_day_only(
    book: Logbook, ask: Questions
) -> None:
    tomorrow = DAY + timedelta(days=1)
    book.plan_day(DAY, [a_pulse(1), a_pulse(2)])
    book.plan_day(tomorrow, [a_pulse(1, day=tomorrow)])
    book.plan_day(DAY, [a_pulse(3)])
    assert [p.slot for p in ask.planned(DAY)] == [3]
    assert [p.slot for p in ask.planned(tomorrow)] == [1]


def test_a_plan_with_a_fault_leaves_the_old_plan(book: Logbook, ask: Questions) -> None:
    book.plan_day(DAY, [a_pulse(1)])
    with pytest.raises(LogbookError, match="UNIQUE"):
        book.plan_day(DAY, [a_pulse(2), a_pulse(2)])
    with pytest.raises(LogbookError, match="not of 2031-06-02"):
        book.plan_day(date(2031, 6, 2), [a_pulse(2)])
    assert [p.slot for p in ask.planned(DAY)] == [1]


def test_the_number_of_a_pulse_taken_back_is_not_given_again(book: Logbook, ask: Questions) -> None:
    book.plan_day(DAY, [a_pulse(1)])
    (old,) = ask.planned(DAY)
    book.plan_day(DAY, [a_pulse(2)])
    (new,) = ask.planned(DAY)
    assert new.id > old.id
    with pytest.raises(LogbookError, match=f"no pulse has the number {old.id}"):
        book.opened(old.id, 1.0)


def test_a_planned_pulse_reads_back_as_it_was(book: Logbook, ask: Questions) -> None:
    pulse = a_pulse(open_s=97.3, closes_utc=datetime(2031, 6, 1, 5, 2, 37, 300_000, tzinfo=UTC))
    book.plan_day(DAY, [pulse])
    assert [row.as_pulse() for row in ask.planned(DAY)] == [pulse]


def test_the_life_of_a_pulse_is_written_with_its_moments(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    start = clock.now_utc()
    pulse_id = book.intend(a_pulse())
    clock.advance(0.25)
    book.opened(pulse_id, clock.mono_s())
    clock.advance(10.0)
    book.beat(pulse_id, 10.0, 0.8)
    (open_row,) = ask.unfinished()
    assert (open_row.beat_open_s, open_row.beat_litres) == (10.0, 0.8)
    clock.advance(50.0)
    close(book, pulse_id, 60.0, 4.875, HowKnown.TIMED, "its time was up")
    row = ask.pulse(pulse_id)
    assert row.intended_utc == start
    assert row.opened_utc == start + timedelta(seconds=0.25)
    assert (row.opened_mono_s, row.boot_id) == (1000.25, "boot-1")
    assert row.closed_utc == start + timedelta(seconds=60.25)
    assert (row.open_s, row.litres, row.how_known) == (60.0, 4.875, HowKnown.TIMED)
    assert row.why == "its time was up"
    assert ask.unfinished() == []


def test_an_end_that_was_taken_late_may_be_told_again_and_no_other_end(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    # A slow disk takes it after the asker has given up, and the asker tries again.
    book.plan_day(DAY, [a_pulse()])
    pulse_id = book.intend(a_pulse())
    book.opened(pulse_id, 1000.0)
    end: dict[str, Any] = {
        "opened_utc": clock.now_utc(),
        "opened_mono_s": 1000.0,
        "how": HowKnown.TIMED,
    }
    book.ended(a_pulse(), **end, open_s=59.7, litres=4.9, why="time is up")
    row = ask.pulse(pulse_id)
    clock.advance(15.0)
    book.ended(a_pulse(), **end, open_s=59.7, litres=4.9, why="time is up")
    assert ask.pulse(pulse_id) == row
    with pytest.raises(LogbookError, match="runs once, or never"):
        book.ended(a_pulse(), **end, open_s=12.0, litres=1.0, why="another")
    assert ask.pulse(pulse_id) == row


def test_a_sign_of_life_needs_an_open_pulse(book: Logbook) -> None:
    pulse_id = book.intend(a_pulse())
    with pytest.raises(LogbookError, match="intended, not open"):
        book.beat(pulse_id, 1.0, 1.0)


@pytest.mark.parametrize("bad", [-0.1, float("nan"), float("inf")])
def test_impossible_amounts_are_refused_and_change_nothing(
    book: Logbook, ask: Questions, bad: float
) -> None:
    pulse_id = _bring_to(book, PulseState.OPEN)
    row = ask.pulse(pulse_id)
    for write in (
        lambda: close(book, pulse_id, 1.0, bad, "timed"),
        lambda: close(book, pulse_id, bad, 1.0, "timed"),
        lambda: book.cut(pulse_id, 1.0, bad, "heartbeat"),
        lambda: book.beat(pulse_id, bad, 1.0),
        lambda: book.hand_watering("a", DAY, bad, None, "Odile", book.clock.now_utc()),
        lambda: book.rain_gauge(DAY, bad, "Odile"),
    ):
        with pytest.raises(OutOfRange):
            write()
    with pytest.raises(LogbookError, match="allowed are: timed, metered, by hand"):
        close(book, pulse_id, 1.0, 1.0, "guessed")
    assert ask.pulses(DAY, DAY) == [row]


def test_hand_watering_has_a_row_of_its_own_beside_what_was_planned(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    book.plan_day(DAY, [a_hand_pulse(2), a_hand_pulse(1), a_hand_pulse(1, "b")])
    book.hand_watering("a", DAY, 6.5, 2.0, "Odile", clock.now_utc())
    done = [p for p in ask.pulses(DAY, DAY) if p.state is PulseState.CLOSED]
    assert [(p.key, p.litres, p.open_s, p.who) for p in done] == [
        ("a|2031-06-01|h1", 6.5, 120.0, "Odile")
    ]
    assert done[0].opened_utc == clock.now_utc() - timedelta(minutes=2)
    planned = {p.key for p in ask.planned(DAY)}
    assert planned == {"a|2031-06-01|1", "a|2031-06-01|2", "b|2031-06-01|1"}
    assert ask.litres_by_zone_day() == {("a", DAY): 6.5}


def test_hand_watering_beside_the_plan_gets_keys_of_its_own(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    book.plan_day(DAY, [a_pulse(1)])  # a relay pulse, which a can does not replace
    for litres in (1.0, 2.0):
        book.hand_watering("a", DAY, litres, None, "Odile", clock.now_utc())
    rows = [p for p in ask.pulses(DAY, DAY) if p.slot is None]
    assert [p.key for p in rows] == ["a|2031-06-01|h1", "a|2031-06-01|h2"]
    assert all(p.how_known is HowKnown.BY_HAND and p.open_s is None for p in rows)
    assert [p.slot for p in ask.planned(DAY)] == [1]
    assert ask.slots_past_planned(DAY, DAY) == {}
    with pytest.raises(LogbookError, match="note of hand watering"):
        rows[0].as_pulse()


def test_a_moment_without_its_zone_is_refused(book: Logbook, ask: Questions) -> None:
    with pytest.raises(LogbookError, match="no time zone"):
        book.hand_watering("a", DAY, 1.0, None, "Odile", datetime(2031, 6, 1, 6, 0))
    assert ask.pulses(DAY, DAY) == []


def test_no_writing_method_makes_a_table(book: Logbook, ask: Questions, clock: HandClock) -> None:
    def tables() -> list[str]:
        rows = ask._rows("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
        return [row["name"] for row in rows]

    before = tables()
    now = clock.now_utc()
    for state in PulseState:
        _bring_to(book, state, slot=list(PulseState).index(state) + 1)
    book.hand_watering("a", DAY, 1.0, None, "Odile", now)
    book.keep_ledger([a_ledger_day()])
    book.rain_gauge(DAY, 1.0, "Odile")
    book.meter_reading(1234.5, now)
    book.note("the leeks look well", "a", "Odile")
    book.lift_hold(book.hold(now, now + timedelta(hours=1), ["a"], "a party"))
    book.happening("fault", "line 17 did not answer", "a", 17)
    assert tables() == before


# A disk, a lock, a thread that say no ------------------------------------------------------------


def test_a_locked_logbook_is_an_error_within_the_time_out(tmp_path: Path, clock: HandClock) -> None:
    path = tmp_path / "logbook.db"
    with Logbook(path, clock, timeout_s=0.25) as book:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(LogbookError, match="another program keeps it locked"):
            book.intend(a_pulse())
        other.execute("ROLLBACK")
        other.close()
        with Questions(path) as ask:
            assert ask.pulses(DAY, DAY) == []
        assert book.intend(a_pulse()) == 1  # and all is well afterwards


def test_a_full_disk_is_an_error_and_leaves_no_half_row(book: Logbook, ask: Questions) -> None:
    # SQLite's own page limit stands in for the disk: it fails with the same SQLITE_FULL.
    book.plan_day(DAY, [a_pulse(1)])
    pages = book._do(lambda b: next(iter(b.db.execute("PRAGMA page_count")))[0])
    book._do(lambda b: b.db.execute(f"PRAGMA max_page_count = {pages}").fetchall())
    many = [a_pulse(slot, zone="z" * 200) for slot in range(1, 200)]
    with pytest.raises(LogbookError, match="the disk is full"):
        book.plan_day(DAY, many)
    assert [p.key for p in ask.pulses(DAY, DAY)] == [a_pulse(1).key]  # the old plan stands
    with pytest.raises(LogbookError, match="the disk is full"):
        for slot in range(2, 1000):
            book.intend(a_pulse(slot, zone="y" * 200))
    rows = ask.pulses(DAY, DAY)
    assert all(p.state is PulseState.INTENDED and p.intended_utc for p in rows if p.zone != "a")
    book._do(lambda b: b.db.execute("PRAGMA max_page_count = 100000").fetchall())
    assert book.plan_day(DAY, many) == len(many)


def test_a_read_only_logbook_is_said_in_words(book: Logbook) -> None:
    read_only = sqlite3.connect(f"{book.path.as_uri()}?mode=ro", uri=True)
    with pytest.raises(sqlite3.OperationalError) as caught:
        read_only.execute("DELETE FROM pulses")
    read_only.close()
    assert "it is read-only" in str(plain(caught.value, book.path))


def test_a_row_read_in_a_transaction_cannot_be_changed_by_another_program(book: Logbook) -> None:
    other = sqlite3.connect(book.path, timeout=0.0, isolation_level=None, check_same_thread=False)

    def work(b: Book) -> None:
        assert list(b.db.query("SELECT * FROM notes")) == []
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("INSERT INTO notes (at_utc, words, who) VALUES ('', 'mine', '')")
        b.db.execute("INSERT INTO notes (at_utc, words, who) VALUES ('', 'ours', '')")

    book._do(work)
    assert [row[0] for row in other.execute("SELECT words FROM notes")] == ["ours"]
    other.close()


def test_a_more_exact_code_of_sqlite_has_the_same_words(book: Logbook) -> None:
    late = sqlite3.connect(book.path, isolation_level=None)
    late.execute("BEGIN")
    late.execute("SELECT * FROM notes").fetchall()
    book.note("in between")
    with pytest.raises(sqlite3.OperationalError) as caught:
        late.execute("DELETE FROM notes")
    late.close()
    assert caught.value.sqlite_errorname == "SQLITE_BUSY_SNAPSHOT"
    assert "another program keeps it locked" in str(plain(caught.value, book.path))


def test_a_killed_writer_thread_costs_one_row_and_no_more(book: Logbook, ask: Questions) -> None:
    def die(_: object) -> None:
        raise SystemExit

    with pytest.raises(LogbookError, match="was stopped"):
        book._do(die)
    assert [p.id for p in ask.unfinished()] == []
    pulse_id = book.intend(a_pulse())
    assert [p.id for p in ask.unfinished()] == [pulse_id]


def test_a_logbook_moved_away_while_open_is_begun_anew(
    book: Logbook, tmp_path: Path, clock: HandClock
) -> None:
    book.note("before")
    book.path.rename(tmp_path / "moved.db")
    book.note("after")
    with Questions(book.path) as ask:
        assert [note.words for note in ask.notes()] == ["after"]


def test_two_threads_lose_no_row(book: Logbook, ask: Questions) -> None:
    def write(zone: str) -> None:
        for slot in range(1, 41):
            pulse_id = book.intend(a_pulse(slot, zone))
            book.opened(pulse_id, 1.0)
            close(book, pulse_id, 60.0, 0.1, "timed")

    threads = [threading.Thread(target=write, args=(zone,)) for zone in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30.0)
    assert len({p.key for p in ask.pulses(DAY, DAY) if p.state is PulseState.CLOSED}) == 80


def test_of_two_threads_that_want_one_key_one_gets_it(book: Logbook) -> None:
    outcomes: list[str] = []
    ready = threading.Barrier(2)

    def want() -> None:
        ready.wait()
        try:
            book.intend(a_pulse())
            outcomes.append("opens")
        except LogbookError:
            outcomes.append("refused")

    threads = [threading.Thread(target=want) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30.0)
    assert sorted(outcomes) == ["opens", "refused"]


def test_two_programs_may_write_in_turn(book: Logbook, ask: Questions, clock: HandClock) -> None:
    with Logbook(book.path, clock) as other:
        other.note("from the other program")
        book.note("from this one")
    assert [note.words for note in ask.notes()] == ["from this one", "from the other program"]


_INTEND_AND_WAIT = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
from support.clock import HandClock
from support.logbook import a_pulse
from controller.logbook.logbook import Logbook
book = Logbook(Path(sys.argv[1]), HandClock())
print(book.intend(a_pulse()), flush=True)
sys.stdin.read()
"""


def test_an_intent_is_on_disk_when_the_program_is_killed_right_after(tmp_path: Path) -> None:
    path, tests = tmp_path / "logbook.db", Path(__file__).parents[1]
    program = subprocess.Popen(
        [sys.executable, "-c", _INTEND_AND_WAIT, str(path), str(tests)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert program.stdout is not None
    assert program.stdout.readline().strip() == "1"
    program.kill()
    program.communicate()
    with Questions(path) as ask:
        assert [p.state for p in ask.unfinished()] == [PulseState.INTENDED]
    with Logbook(path, HandClock()) as book:
        assert book.set_aside is None
        with pytest.raises(LogbookError, match="runs once, or never"):
            book.intend(a_pulse())
