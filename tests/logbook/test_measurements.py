"""Field tests and fits, written down and asked for."""

from __future__ import annotations

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database
from support.clock import HandClock

from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.schema import MIGRATIONS, migrate

METER = {"kind": "meter", "zones": ["a"], "before_m3": 7.0, "after_m3": 7.02, "time_s": 120.0}
CUPS = {"kind": "cups", "zones": ["a"], "volumes_m3": [1e-4, 1.1e-4], "time_s": 30.0}


def test_a_field_test_reads_back_as_it_was_said(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    before = clock.now_utc() - timedelta(days=2)
    second = book.keep_measurement(METER, who="Odile")
    first = book.keep_measurement(CUPS, at=before)
    assert [(t.id, t.said, t.who) for t in ask.measurements()] == [
        (first, CUPS, ""),
        (second, METER, "Odile"),
    ]
    assert [t.at_utc for t in ask.measurements()] == [before, clock.now_utc()]


def test_the_latest_fit_stands_until_there_is_another(book: Logbook, ask: Questions) -> None:
    assert ask.latest_fit() is None
    ids = [book.keep_measurement(METER), book.keep_measurement(CUPS)]
    book.keep_fit({"edition": 0}, ids[:1])
    fit_id = book.keep_fit({"edition": 1, "corrections": {"discharge": {"a": 1.1}}}, ids)
    found = ask.latest_fit()
    assert found is not None
    assert (found.id, found.measurements) == (fit_id, tuple(ids))
    assert found.found["corrections"]["discharge"]["a"] == 1.1
    book.withdraw(ids[1])
    assert [t.id for t in ask.measurements()] == ids[:1]
    assert ask.latest_fit() == found  # until the tests are fitted again


def test_a_test_is_taken_back_once_and_stays_on_record(book: Logbook, ask: Questions) -> None:
    number = book.keep_measurement(METER)
    book.withdraw(number)
    with pytest.raises(LogbookError, match=f"note {number} was taken back already, by note 2"):
        book.withdraw(number)
    assert ask._rows("SELECT count(*) AS n FROM all_measurements")[0]["n"] == 1


@pytest.mark.parametrize("said", [{"volume_m3": float("nan")}, {"zones": frozenset("a")}])
def test_what_no_page_can_hold_is_refused_and_changes_nothing(
    book: Logbook, ask: Questions, said: dict[str, object]
) -> None:
    with pytest.raises(LogbookError, match="cannot be written down"):
        book.keep_measurement(said)
    with pytest.raises(LogbookError, match="cannot be written down"):
        book.keep_fit(said, [])
    assert ask.measurements() == [] and ask.latest_fit() is None


def test_field_tests_count_among_the_newest_moments(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    numbers: list[int] = []
    for write in (
        lambda: numbers.append(book.keep_measurement(METER)),
        lambda: book.keep_fit({}, numbers),
        lambda: book.withdraw(numbers[0]),
    ):
        clock.advance(1.0)
        write()
        assert ask.last_written_utc() == clock.now_utc()


def test_a_logbook_from_before_field_tests_reads_and_then_takes_them(
    tmp_path: Path, clock: HandClock
) -> None:
    path = tmp_path / "old.db"
    db = Database(sqlite3.connect(path))
    migrate(db, clock, stop_before=[m.name for m in MIGRATIONS.pending(db)][2])
    db.close()
    with Questions(path) as ask:
        assert ask.measurements() == [] and ask.latest_fit() is None
        assert ask.last_written_utc() is None
        with Logbook(path, clock) as book:
            book.keep_measurement(METER)
        assert [t.said for t in ask.measurements()] == [METER]
