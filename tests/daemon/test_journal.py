"""The logbook as the daemon uses it: only what changed is written, a little at a time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from support.clock import HandClock
from support.daemon import World
from support.logbook import DAY, a_ledger_day

from controller.daemon.journal import Journal, WriteLater
from controller.demand.records import LedgerDay, Observation
from controller.demand.soil.packed_days import JoinedRows, LedgerRows
from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.timetable.records import Timetable
from controller.weather.day import WeatherDay

FIRST = DAY + timedelta(days=30)


class Counting:
    """A logbook that counts the rows it is asked to write, and hands them on."""

    def __init__(self, book: Logbook) -> None:
        self._book = book
        self.ledger: list[list[Any]] = []
        self.weather: list[list[Any]] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._book, name)

    def keep_ledger(self, days: Any) -> None:
        self.ledger.append(list(days))
        self._book.keep_ledger(self.ledger[-1])

    def keep_weather(self, days: Any) -> None:
        self.weather.append(list(days))
        self._book.keep_weather(self.weather[-1])


@pytest.fixture
def logbook(tmp_path: Path) -> Iterator[Any]:
    with Logbook(tmp_path / "logbook.db", HandClock()) as book:
        yield Counting(book)


def _keep(journal: Journal, rows: list[LedgerDay], ledger_from: date = DAY) -> None:
    plan = Timetable(
        first=FIRST, last=FIRST, pulses=(), doses=(), not_fitted=(), remarks=(), ledger=tuple(rows)
    )
    journal.keep_plan(plan, FIRST, HandClock().now_utc(), ledger_from)


def _season(parts: tuple[str, ...] = ("",), zones: str = "ab", days: int = 20) -> list[LedgerDay]:
    return [
        a_ledger_day(zone, day=DAY + timedelta(days=n), part=part)
        for zone in zones
        for part in parts
        for n in range(days)
    ]


def test_a_ledger_that_did_not_change_is_not_written_again(logbook: Any) -> None:
    journal, rows = Journal(logbook), _season(("row 1", "row 2"))
    _keep(journal, rows)
    _keep(journal, rows)
    assert [len(some) for some in logbook.ledger] == [80]
    assert sorted(journal._ask.ledger(), key=rows.index) == rows
    journal.close()


def test_neither_is_it_after_a_restart(logbook: Any) -> None:
    rows = _season()
    weather = [WeatherDay(day=DAY, tmin_c=9.0, tmax_c=20.0, source="x")]
    for _ in range(2):
        journal = Journal(logbook)
        _keep(journal, rows)
        journal.keep_weather(weather)
        journal.close()
    assert len(logbook.ledger) == len(logbook.weather) == 1


def test_of_a_changed_day_all_parts_are_written_and_nothing_else(logbook: Any) -> None:
    journal, rows = Journal(logbook), _season(("row 1", "row 2"))
    _keep(journal, rows)
    rows[25] = replace(rows[25], rain_mm=9.0)
    _keep(journal, rows)
    assert logbook.ledger[1] == [rows[5], rows[25]]
    assert (rows[25].zone, rows[25].part) == ("a", "row 2")
    journal.close()


def test_a_zone_whose_rows_become_unlike_leaves_no_account_of_the_whole(logbook: Any) -> None:
    journal = Journal(logbook)
    _keep(journal, _season())
    _keep(journal, _season(("row 1", "row 2")))
    assert {row.part for row in journal._ask.ledger()} == {"row 1", "row 2"}
    assert len(journal._ask.ledger()) == 80
    journal.close()


def test_days_before_the_logbook_and_days_to_come_are_not_kept(logbook: Any) -> None:
    journal = Journal(logbook)
    rows = _season(zones="a", days=40)
    _keep(journal, rows, ledger_from=DAY + timedelta(days=3))
    assert [row.day for row in journal._ask.ledger()] == [r.day for r in rows[3:30]]
    journal.close()


def test_a_long_season_is_written_in_several_goes(logbook: Any) -> None:
    journal, rows = Journal(logbook), _season(zones="abcdefghijklmnopqrstuvwxyz")
    _keep(journal, rows)
    assert max(len(some) for some in logbook.ledger) <= 500
    assert len(journal._ask.ledger()) == len(rows) == 520
    journal.close()


def test_every_source_of_a_day_and_what_was_seen_come_back(logbook: Any) -> None:
    journal = Journal(logbook)
    seen = Observation(zone="a", day=DAY, event="full")
    foretold = WeatherDay(day=DAY, tmax_c=21.0, source="s forecast", measured=False)
    analysed = WeatherDay(day=DAY, tmax_c=20.0, source="s analysis")
    journal.keep_weather([foretold, analysed])
    logbook.observe(seen)
    assert journal.weather_rows() == [analysed, foretold]  # kept at one moment: by name
    assert list(journal.known(DAY, DAY, ZoneInfo("UTC")).given.observations) == [seen]
    journal.close()


def test_what_a_person_saw_moves_the_kept_ledger_from_that_day_on(tmp_path: Path) -> None:
    """Leeks set out on 20 April, seen to cover their ground on 20 May; it is 1 June."""
    world = World(tmp_path)
    world.run_for(60.0)
    before = {row.day: row for row in world.ledger()}
    saw = date(2031, 5, 20)
    world.logbook.observe(Observation(zone="a", day=saw, event="full"))
    assert world.ask(ask="replan")["ok"]
    world.run_for(60.0)
    after = {row.day: row for row in world.ledger()}
    assert before.keys() == after.keys() and min(after) < saw < max(after)
    assert all(after[day] == row for day, row in before.items() if day < saw)
    assert before[saw].stage != "mid"
    assert {row.stage for day, row in after.items() if day >= saw} == {"mid"}
    world.logbook.withdraw(1)
    assert world.ask(ask="replan")["ok"]
    world.run_for(60.0)
    assert {row.day: row for row in world.ledger()} == before
    world.kill()


def test_a_logbook_begun_in_mid_run_is_given_all_there_is_again(
    logbook: Any, tmp_path: Path
) -> None:
    journal = Journal(logbook)
    weather = [WeatherDay(day=DAY, tmax_c=20.0, source="s analysis")]
    rows = _season()
    journal.keep_weather(weather)
    _keep(journal, rows)
    journal.close()
    for name in ("logbook.db", "logbook.db-wal", "logbook.db-shm"):
        (tmp_path / name).unlink(missing_ok=True)
    logbook.happening("test", "the writer looks, and begins a new file")
    journal.keep_weather(weather)
    _keep(journal, rows)
    assert journal.weather_rows() == weather
    with Questions(tmp_path / "logbook.db") as ask:
        assert len(ask.ledger()) == len(rows)


def _packed(rows: list[LedgerDay]) -> JoinedRows:
    places = dict.fromkeys((row.zone, row.part) for row in rows)
    return JoinedRows(
        LedgerRows(row for row in rows if (row.zone, row.part) == place) for place in places
    )


def test_packed_ledgers_are_kept_as_others_are(
    logbook: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("controller.daemon.journal._AT_ONCE", 7)
    rows = _season(parts=("row 1", "row 2"), zones="abc", days=25)
    journal = Journal(logbook)
    plan = Timetable(
        first=FIRST, last=FIRST, pulses=(), doses=(), not_fitted=(), remarks=(), ledger=()
    )
    journal.keep_plan(replace(plan, ledger=_packed(rows)), FIRST, HandClock().now_utc(), DAY)
    wanted = sorted(rows, key=lambda row: (row.zone, row.part, row.day))
    with Questions(tmp_path / "logbook.db") as ask:
        assert ask.ledger() == wanted
    # A zone's day is written whole, seven at once, whatever zone they are of.
    assert [len({(r.zone, r.day) for r in some}) for some in logbook.ledger] == [7] * 10 + [5]
    assert [len(some) for some in logbook.ledger] == [14] * 10 + [10]
    # One day of every zone has changed: one writing.
    logbook.ledger.clear()
    at = DAY + timedelta(days=3)
    other = [replace(r, depletion_mm=9.0) if r.day == at and r.part == "row 2" else r for r in rows]
    journal.keep_plan(replace(plan, ledger=_packed(other)), FIRST, HandClock().now_utc(), DAY)
    assert [sorted((r.zone, r.part, r.day) for r in some) for some in logbook.ledger] == [
        [(zone, part, at) for zone in "abc" for part in ("row 1", "row 2")]
    ]


# --- what the logbook has not taken yet ----------------------------------------------------------


class Refusing:
    """Takes items, unless it is full."""

    def __init__(self, *, most: int | None = None) -> None:
        self.clock, self.full = HandClock(), True
        self.taken: list[int] = []
        self.heard: list[int] = []
        self.queue = WriteLater(
            self.take, lambda item, _: self.heard.append(item), self.clock, every_s=60.0, most=most
        )

    def take(self, item: int) -> None:
        if self.full:
            raise LogbookError("the disk is full")
        self.taken.append(item)


def test_what_is_refused_waits_in_its_order_and_is_tried_again_in_time() -> None:
    r = Refusing()
    assert r.queue.next_mono_s is None
    r.queue.put([1, 2])
    assert (r.heard, list(r.queue.waiting)) == ([1], [1, 2])
    assert r.queue.next_mono_s == r.clock.mono_s() + 60.0
    r.full = False
    r.clock.advance(59.9)
    r.queue.try_again()
    assert r.taken == []
    r.clock.advance(0.1)
    r.queue.try_again()
    assert (r.taken, r.queue.next_mono_s) == ([1, 2], None)


def test_something_new_is_tried_at_once_after_what_waits() -> None:
    r = Refusing()
    r.queue.put([1])
    r.full = False
    r.queue.put([])
    assert r.taken == []
    r.queue.put([2])
    assert r.taken == [1, 2]


def test_what_is_to_wait_is_not_tried_before_its_time_and_the_oldest_go() -> None:
    r = Refusing(most=2)
    r.queue.put([1])
    r.full = False
    for item in (2, 3):
        r.queue.later(item)
    assert (list(r.queue.waiting), r.taken) == ([2, 3], [])
    r.clock.advance(60.0)
    r.queue.try_again()
    assert r.taken == [2, 3]
