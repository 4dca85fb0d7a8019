"""What belongs to the process and to nothing else: its end, its signals and its log."""

from __future__ import annotations

import contextlib
import ctypes
import logging
import signal
import sys
import threading
import time
from collections.abc import Callable
from queue import Empty, SimpleQueue
from types import FrameType
from typing import Any


class Ending:
    """That the process is to end, why, and with which exit code; any thread may tell it.

    So may a signal, whatever line the main thread is at: an Event has a lock, and who is told by a
    signal while it holds that lock waits for itself. A SimpleQueue can be put into at any moment.
    """

    def __init__(self) -> None:
        self.told = False
        self.shut = threading.Event()  # the valves have been told for the last time
        self.why = "the daemon ends"
        self.exit_code = 0
        self._stirs: SimpleQueue[None] = SimpleQueue()

    def stir(self) -> None:
        """Let the main thread look now."""
        self._stirs.put(None)

    def rest(self, at_most_s: float) -> None:
        """Wait until somebody stirs, or has since the last rest, or for so long at most."""
        with contextlib.suppress(Empty):
            self._stirs.get(timeout=at_most_s)
            while True:
                self._stirs.get_nowait()

    def tell(self, why: str) -> None:
        """End, for this reason."""
        self.why = why
        self.told = True
        self.stir()

    def fail(self, why: str) -> None:
        """End, for something that must not be."""
        self.exit_code = 1
        self.tell(why)


class Signals:
    """SIGTERM, SIGINT and SIGHUP end the daemon by the main thread; only there can they be had."""

    def __init__(self, end: Callable[[str], None]) -> None:
        self._end = end
        self._before: dict[int, Any] = {}

    def __enter__(self) -> None:
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
                self._before[number] = signal.signal(number, self._came)

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _came(self, number: int, frame: FrameType | None) -> None:
        self._end(f"told to end by {signal.Signals(number).name}")


def give_back_memory() -> None:
    """Give what a plan took and freed back to the system, where the C library can (glibc's)."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)


def log_to_stderr() -> None:
    """Log to stderr, in UTC, unless somebody set up logging already."""
    root = logging.getLogger()
    if not root.handlers:
        handler = logging.StreamHandler(sys.stderr)
        line = logging.Formatter("%(asctime)sZ %(levelname)s %(name)s: %(message)s")
        line.converter = time.gmtime
        handler.setFormatter(line)
        root.addHandler(handler)
        root.setLevel(logging.INFO)
        logging.getLogger("apscheduler").setLevel(logging.WARNING)
