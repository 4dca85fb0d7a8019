"""How often it was started, and why the one before ended."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon_faults import Locked

from controller.daemon.journal import Journal
from controller.daemon.recovery import ENDED, FIRST, STARTED, Restarts, ShutAt, ending, starting
from controller.logbook.logbook import Logbook

START = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)


class Kept:
    def __init__(self, folder: Path) -> None:
        self.clock = HandClock(START)
        self.logbook = Logbook(folder / "logbook.db", self.clock, timeout_s=1.0)
        self.journal = Journal(self.logbook)

    def begin(self, stopped: ShutAt | None = None) -> Restarts:
        return starting(self.journal, self.clock, stopped)

    def close(self) -> None:
        self.journal.close()
        self.logbook.close()


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Kept]:
    found = Kept(tmp_path)
    yield found
    found.close()


def _stop_step(kept: Kept, result: str = "signal") -> ShutAt:
    return ShutAt(
        mono_s=kept.clock.mono_s(),
        boot_id=kept.clock.boot_id(),
        lines=frozenset({17}),
        result=result,
    )


def test_the_first_start_is_told_as_such(kept: Kept) -> None:
    assert kept.begin() == Restarts(in_last_day=1, last_ended=FIRST)


def test_a_daemon_that_was_told_to_end_said_why(kept: Kept) -> None:
    kept.begin()
    ending(kept.journal, "ended by SIGTERM")
    kept.clock.advance(60.0)
    assert kept.begin() == Restarts(in_last_day=2, last_ended="ended by SIGTERM")


def test_one_that_said_nothing_was_killed(kept: Kept) -> None:
    kept.begin()
    kept.clock.advance(60.0)
    assert kept.begin().last_ended == "it was killed or crashed"
    kept.clock.advance(60.0)
    told = "it was killed or crashed; the stop step shut the lines"
    assert kept.begin(_stop_step(kept)).last_ended == told


@pytest.mark.parametrize(
    ("result", "words"),
    [("watchdog", "no sign of life"), ("oom-kill", "no memory"), ("a new word", "was killed")],
)
def test_the_service_manager_s_word_for_the_end_is_told(
    kept: Kept, result: str, words: str
) -> None:
    # systemd.exec(5), $SERVICE_RESULT
    kept.begin()
    kept.clock.advance(60.0)
    assert words in kept.begin(_stop_step(kept, result)).last_ended


def test_a_board_that_was_started_anew_is_told_from_a_kill(kept: Kept) -> None:
    kept.begin()
    stopped = _stop_step(kept)
    kept.clock.advance(3600.0)
    kept.clock.boot, kept.clock.mono = "boot-2", 20.0
    assert "lost its power" in kept.begin(stopped).last_ended


def test_starts_of_more_than_a_day_ago_do_not_count(kept: Kept) -> None:
    for _ in range(4):
        kept.begin()
        kept.clock.advance(timedelta(hours=10).total_seconds())
    assert kept.begin().in_last_day == 3


def test_a_start_of_just_a_day_ago_does_not_count(kept: Kept) -> None:
    kept.begin()
    kept.clock.advance(timedelta(days=1).total_seconds())
    assert kept.begin().in_last_day == 1
    kept.clock.advance(timedelta(days=1).total_seconds() - 1.0)
    assert kept.begin().in_last_day == 2


def test_other_happenings_between_do_not_hide_the_last_word(kept: Kept) -> None:
    kept.begin()
    ending(kept.journal, "the engine made a mistake")
    for _ in range(20):
        kept.journal.happening("valve", "something")
    assert kept.begin().last_ended == "the engine made a mistake"
    assert {h.kind for h in kept.journal.happenings(100)} == {STARTED, ENDED, "valve"}


def test_a_logbook_that_takes_nothing_counts_as_this_start_alone(kept: Kept) -> None:
    kept.begin()
    with Locked(kept.logbook.path):
        assert kept.begin() == Restarts(in_last_day=1, last_ended="not known")
        ending(kept.journal, "nobody hears it")
