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
from types import FrameType
from typing import Any


class Ending:
    """That the process is to end, why, and with which exit code; any thread may tell it."""

    def __init__(self) -> None:
        self.told = threading.Event()
        self.stirred = threading.Event()  # the main thread is to look now
        self.shut = threading.Event()  # the valves have been told for the last time
        self.why = "the daemon ends"
        self.exit_code = 0

    def tell(self, why: str) -> None:
        """End, for this reason."""
        self.why = why
        self.told.set()
        self.stirred.set()

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
