"""What people saw, written down, taken back, and a ledger from before it read on."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database
from support.clock import HandClock
from support.logbook import DAY, a_ledger_day

from controller.demand.records import LedgerDay, Observation
from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.schema import MIGRATIONS, migrate

FULL = Observation(zone="leeks", day=date(2031, 7, 3), event="full", crop="leek")
KEPT = "2031-06-02T03:00:00.000000Z"
UP = Observation(zone="carrots", day=date(2031, 5, 2), event="up")


def _old_logbook(path: Path, clock: HandClock) -> LedgerDay:
    """A logbook as it was before parts and observations, with one day of leeks in its ledger."""
    known = a_ledger_day()
    then = {f.name: getattr(known, f.name) for f in fields(LedgerDay)}
    db = Database(sqlite3.connect(path))
    db.enable_wal()
    migrate(db, clock, stop_before=[m.name for m in MIGRATIONS.pending(db)][3])
    columns = {column.name for column in db.table("ledger").columns}
    row = {name: value for name, value in then.items() if name in columns}
    db.table("ledger").insert(
        row | {"day": DAY.isoformat(), "kept_utc": "2031-06-02T03:00:00.000000Z"}
    )
    db.close()
    assert "part" not in columns and len(columns) == 27
    return known


def test_what_was_seen_reads_back_in_order_of_days(book: Logbook, ask: Questions) -> None:
    assert ask.observations() == []
    second = book.observe(FULL, "Odile")
    first = book.observe(UP)
    assert ask.observations() == [UP, FULL]
    assert [(row.id, row.seen, row.who) for row in ask.observation_rows()] == [
        (first, UP, ""),
        (second, FULL, "Odile"),
    ]


def test_what_is_taken_back_stands_no_more_and_stays_on_record(
    book: Logbook, ask: Questions
) -> None:
    number = book.observe(FULL)
    book.observe(UP)
    book.withdraw(number)
    assert ask.observations() == [UP]
    with pytest.raises(LogbookError, match=f"note {number} was taken back already, by note 3"):
        book.withdraw(number)
    assert ask._rows("SELECT count(*) AS n FROM all_observations")[0]["n"] == 2


def test_a_number_that_was_never_given_is_refused(book: Logbook) -> None:
    with pytest.raises(LogbookError, match="has the number 7"):
        book.withdraw(7)


def test_observations_count_among_the_newest_moments(
    book: Logbook, ask: Questions, clock: HandClock
) -> None:
    writes: list[Callable[[], int]] = [lambda: book.observe(FULL), lambda: book.withdraw(1)]
    for write in writes:
        clock.advance(1.0)
        write()
        assert ask.last_written_utc() == clock.now_utc()


def test_a_logbook_from_before_is_read_as_it_is(tmp_path: Path, clock: HandClock) -> None:
    path = tmp_path / "old.db"
    known = _old_logbook(path, clock)
    with Questions(path) as ask:
        assert ask.ledger() == [known]
        assert ask.observations() == [] and ask.last_written_utc() is not None


def test_a_logbook_from_before_keeps_its_ledger_and_takes_parts_beside_it(
    tmp_path: Path, clock: HandClock
) -> None:
    path = tmp_path / "old.db"
    known = _old_logbook(path, clock)
    with Logbook(path, clock) as book, Questions(path) as ask:
        (kept,) = ask.ledger()
        assert kept == known
        assert (kept.part, kept.coefficients, kept.exposure) == ("", "single", 1.0)
        (row,) = ask._rows("SELECT * FROM ledger")
        unknown = {name for name in row.keys() if row[name] is None}  # noqa: SIM118
        assert unknown == {
            "kcb", "ke", "transpired_mm", "evaporated_mm", "snow_mm", "surface_depletion_mm",
            "wetted_fraction", "exposed_fraction", "cover", "plants", "ground_m2", "passed_mm",
            "water_from", "wet_depletion_mm", "rest_depletion_mm", "rest_surface_depletion_mm",
            "wet_kc", "wet_drained_mm", "kc_max_base", "dry_days",
        }  # fmt: skip
        assert row["kept_utc"] == KEPT
        (said,) = ask.happenings()
        assert said.kind == "ledger computed anew"
        assert "follows the driest quarter" in said.words
        tomorrow = replace(known, day=DAY + timedelta(days=1), coefficients="dual")
        parts = [replace(tomorrow, part=part, kcb=0.4) for part in ("row 1", "row 2")]
        book.keep_ledger(parts)
        assert ask.ledger() == [known, *parts]
        assert book.observe(FULL) == 1
