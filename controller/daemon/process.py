"""What belongs to the process and to nothing else: its signals and its log."""

from __future__ import annotations

import logging
import signal
import sys
import threading
import time
from collections.abc import Callable
from types import FrameType
from typing import Any


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
