"""Gives a Python process the clock of a time page, where the environment names one.

The product's own clock (`controller.clock`), the standard library's waiting and the alarm clock's
idea of now all follow the page: a thread that waits sees time that was let pass at once, as a
process does that stood still for so long. It does not see the time the board slept. Nothing of the
product is changed for it.
"""

from __future__ import annotations

import contextlib
import os
import queue
import sys
import threading
import time
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

SLICE_S = 0.02  # real seconds; so soon does a waiting thread see that time was let pass


def follow(page: Any) -> None:
    """Make this process live by the page."""
    from controller import clock
    from controller.clock import SystemClock

    def now(zone: tzinfo | None = None) -> datetime:
        return datetime.fromtimestamp(page.now().wall_s, zone or UTC)

    SystemClock.now_utc = lambda self: now()  # type: ignore[method-assign]
    SystemClock.mono_s = lambda self: page.mono_s()  # type: ignore[method-assign]
    SystemClock.synced = lambda self: page.now().synced  # type: ignore[method-assign]
    SystemClock.boot_id = lambda self: f"boot-{page.now().boot}"  # type: ignore[method-assign]
    clock.slept_s = lambda: page.now().slept_s
    _wait_by(page)
    sys.meta_path.insert(0, _AlarmFinder(now))


def _wait_by(page: Any) -> None:
    def wait(self: Any, timeout: float | None = None) -> bool:
        # threading.Condition.wait, but for how the waiting itself is done.
        if not self._is_owned():
            raise RuntimeError("cannot wait on un-acquired lock")
        waiter = threading.Lock()
        waiter.acquire()
        self._waiters.append(waiter)
        saved, got = self._release_save(), False
        try:
            got = waiter.acquire() if timeout is None else _acquired(waiter, timeout)
            return got
        finally:
            self._acquire_restore(saved)
            if not got:
                with contextlib.suppress(ValueError):
                    self._waiters.remove(waiter)

    def _acquired(waiter: Any, timeout: float) -> bool:
        hands = page.now()
        ends = hands.awake_s + timeout
        while True:
            left = (ends - hands.awake_s) / hands.rate
            if waiter.acquire(True, min(max(left, 0.0), SLICE_S)):
                return True
            hands = page.now()
            if hands.awake_s >= ends:
                return False

    threading.Condition.wait = wait  # type: ignore[method-assign]
    threading._time = lambda: page.now().awake_s  # type: ignore[attr-defined]
    queue.SimpleQueue = queue._PySimpleQueue  # type: ignore[misc,attr-defined]


class _AlarmFinder:
    """Hands the alarm clock's scheduler, when it is imported, a datetime that follows the page."""

    names = frozenset({"apscheduler.schedulers.base", "apscheduler.executors.base"})

    def __init__(self, now: Any) -> None:
        class Datetime(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
                return now(tz)  # type: ignore[no-any-return]

        self._datetime, self._inside = Datetime, False

    def find_spec(self, name: str, path: Any = None, target: Any = None) -> Any:
        """The module's own spec, with our last touch after it was run."""
        if name not in self.names or self._inside:
            return None
        from importlib.util import find_spec

        self._inside = True
        try:
            spec = find_spec(name)
        finally:
            self._inside = False
        if spec is None or spec.loader is None:
            return None
        run, moment = spec.loader.exec_module, self._datetime

        def exec_module(module: Any) -> None:
            run(module)
            module.datetime = moment

        spec.loader.exec_module = exec_module  # type: ignore[method-assign]
        return spec


def _disk_may_die(marker: str) -> None:
    """While the marker is there, what lies under the name in it is on a disk that answers not."""
    real = os.open

    def dead(path: Any) -> bool:
        try:
            return bool(Path(marker).read_text("utf-8") == os.fspath(path))
        except (OSError, TypeError):
            return False

    def slow(path: Any, *more: Any, **named: Any) -> int:
        while dead(path):
            time.sleep(SLICE_S)
        return real(path, *more, **named)

    os.open = slow


if os.environ.get("ROWGATE_DEAD_DISK"):
    _disk_may_die(os.environ["ROWGATE_DEAD_DISK"])

if os.environ.get("ROWGATE_TIME_PAGE"):
    sys.path.insert(0, str(Path(__file__).parent))
    from timepage import TimePage  # type: ignore[import-not-found]

    follow(TimePage(os.environ["ROWGATE_TIME_PAGE"]))
