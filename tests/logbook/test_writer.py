"""The writing thread: waiting, giving up, dying, being replaced."""

from __future__ import annotations

import threading
import weakref
from collections.abc import Callable

import pytest
from support.until import until

from controller.errors import LogbookError
from controller.logbook.writer import Writer


class Slate:
    """A store that notes what was done to it, and on which thread it was opened."""

    def __init__(self, story: list[str]) -> None:
        self.story, self.there, self.thread = story, True, threading.get_ident()
        story.append("open")

    def is_the_file_there(self) -> bool:
        return self.there

    def begin(self) -> None:
        assert threading.get_ident() == self.thread
        self.story.append("begin")

    def commit(self) -> None:
        self.story.append("commit")

    def rollback(self) -> None:
        self.story.append("rollback")

    def close(self) -> None:
        assert threading.get_ident() == self.thread
        self.story.append("close")


def _writer(story: list[str], timeout_s: float = 5.0) -> Writer[Slate]:
    return Writer(lambda: Slate(story), timeout_s=timeout_s)


def test_work_comes_back_after_its_commit() -> None:
    story: list[str] = []
    writer = _writer(story)
    assert writer.do(lambda _: 7) == 7
    assert story == ["open", "begin", "commit"]
    writer.close()
    assert story[-1] == "close"


def test_what_was_written_is_let_go() -> None:
    """A season's first ledger is much to hold until somebody writes again."""

    class Much:
        pass

    writer = _writer([])
    much = Much()
    gone = weakref.ref(much)
    writer.do(lambda _, held=much: held is None)  # type: ignore[misc]
    del much
    until(lambda: gone() is None)  # its thread has yet to wait for the next work
    writer.close()


def test_an_error_in_the_work_is_taken_back_and_reaches_whoever_asked() -> None:
    story: list[str] = []
    writer = _writer(story)

    def work(_: Slate) -> None:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        writer.do(work)
    assert story == ["open", "begin", "rollback"]
    assert writer.do(lambda _: 1) == 1  # the same thread and connection go on
    assert story[3:] == ["begin", "commit"]
    writer.close()


def test_a_killed_writer_thread_is_replaced_and_nobody_hangs() -> None:
    story: list[str] = []
    writer = _writer(story)
    threads: list[int] = []

    def die(_: Slate) -> None:
        threads.append(threading.get_ident())
        raise SystemExit

    def live(_: Slate) -> int:
        threads.append(threading.get_ident())
        return 2

    with pytest.raises(LogbookError, match="the logbook's writer was stopped"):
        writer.do(die)
    assert writer.do(live) == 2
    assert story == ["open", "begin", "rollback", "close", "open", "begin", "commit"]
    writer.close()


def test_work_queued_behind_a_dying_writer_is_still_done() -> None:
    story: list[str] = []
    writer = _writer(story)
    inside, go_on = threading.Event(), threading.Event()
    results: list[object] = []

    def die(_: Slate) -> None:
        inside.set()
        assert go_on.wait(30.0)
        raise SystemExit

    def ask(work: Callable[[Slate], object]) -> None:
        try:
            results.append(writer.do(work))
        except LogbookError:
            results.append("stopped")

    first = threading.Thread(target=ask, args=(die,))
    first.start()
    assert inside.wait(30.0)
    second = threading.Thread(target=ask, args=(lambda _: "done",))
    second.start()
    while writer._queue.empty():
        pass
    go_on.set()
    first.join(30.0)
    second.join(30.0)
    assert sorted(map(str, results)) == ["done", "stopped"]
    writer.close()


def test_who_waits_too_long_is_told_and_the_work_is_dropped() -> None:
    story: list[str] = []
    writer = _writer(story, timeout_s=0.05)
    go_on, ran = threading.Event(), threading.Event()

    def slow(_: Slate) -> None:
        assert go_on.wait(30.0)
        ran.set()

    with pytest.raises(LogbookError, match=r"within 0\.05 s; it was dropped"):
        writer.do(slow)
    with pytest.raises(LogbookError, match="it was dropped"):
        writer.do(lambda _: story.append("never"))  # still queued behind the slow one
    go_on.set()
    assert ran.wait(30.0)
    writer.close()
    assert story == ["open", "begin", "rollback", "close"]


def test_a_commit_under_way_is_not_called_dropped() -> None:
    go_on = threading.Event()

    class SlowDisk(Slate):
        def commit(self) -> None:
            assert go_on.wait(30.0)
            super().commit()

    story: list[str] = []
    writer: Writer[Slate] = Writer(lambda: SlowDisk(story), timeout_s=0.05)
    with pytest.raises(LogbookError, match="it may be there later"):
        writer.do(lambda _: None)
    go_on.set()
    writer.close()
    assert "commit" in story


def test_a_file_that_went_away_is_opened_anew() -> None:
    story: list[str] = []
    writer = _writer(story)

    def leave(slate: Slate) -> None:
        slate.there = False

    writer.do(leave)
    writer.do(lambda _: None)
    assert story == ["open", "begin", "commit", "close", "open", "begin", "commit"]
    writer.close()


def test_a_failed_opening_is_tried_again_with_the_next_work() -> None:
    story: list[str] = []
    fails = [OSError("no card")]

    def connect() -> Slate:
        if fails:
            raise fails.pop()
        return Slate(story)

    writer = Writer(connect, timeout_s=5.0)
    with pytest.raises(OSError, match="no card"):
        writer.do(lambda _: 1)
    assert writer.do(lambda _: 1) == 1
    writer.close()


def test_after_closing_nothing_is_written() -> None:
    writer = _writer([])
    writer.close()
    writer.close()
    with pytest.raises(LogbookError, match="closed"):
        writer.do(lambda _: 1)
