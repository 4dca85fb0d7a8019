"""The end of the process: any thread requests it, and a signal at any line of the main thread."""

from __future__ import annotations

import signal
import sys
import threading
import time
from types import FrameType
from typing import Any

from controller.daemon.host.process import Ending, Signals

# real time: that it waits is what is tested


def rested_s(ending: Ending) -> float:
    began_s = time.monotonic()
    ending.rest(600.0)
    return time.monotonic() - began_s


def test_who_is_stirred_while_it_rests_or_before_looks_now_and_once() -> None:
    ending = Ending()
    ending.wake_main()
    ending.wake_main()
    assert rested_s(ending) < 300.0
    began_s = time.monotonic()
    ending.rest(0.05)  # nobody has stirred since
    assert time.monotonic() - began_s >= 0.04
    threading.Timer(0.05, ending.wake_main).start()
    assert rested_s(ending) < 300.0


def test_the_end_wakes_the_main_thread() -> None:
    ending = Ending()
    assert not ending.requested and ending.exit_code == 0
    ending.fail("it is over")
    assert (ending.requested, ending.why, ending.exit_code) == (True, "it is over", 1)
    assert rested_s(ending) < 300.0


def test_a_signal_ends_it_at_whatever_line_the_main_thread_rests_or_tells() -> None:
    """A handler runs between any two lines of the main thread: none may hold what it waits for."""

    def told_at(line: int) -> bool:
        """Whether so many lines were walked; the end is told ahead of the last."""
        ending, walked = Ending(), 0

        def walk(frame: FrameType, event: str, arg: Any) -> Any:
            nonlocal walked
            walked += event == "line"
            if event == "line" and walked == line:
                Signals(ending.request)._came(signal.SIGTERM, None)
            return walk

        def main_thread() -> None:
            sys.settrace(walk)
            ending.rest(0.001)
            ending.request("something else")
            ending.rest(0.001)
            sys.settrace(None)

        thread = threading.Thread(target=main_thread, daemon=True)
        thread.start()
        thread.join(30.0)
        assert not thread.is_alive(), f"told ahead of line {line}, it waits for itself"
        assert ending.requested
        return walked >= line

    lines = 1
    while told_at(lines):
        lines += 1
    assert lines > 8
