"""A line on a terminal that says that a command still works."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any

from controller.cli.output import PlainStream

QUIET_S = 2.0  # shorter work needs no word; our choice
_AGAIN_S = 1.0
_LONG = {
    "plan": "Computing the timetable",
    "balance": "Computing the ledger",
    "flow": "Computing the flow",
    "check": "Checking the garden",
    "note": "Looking at the note",
    "report": "Adding up the logbook",
    "backup": "Copying the logbook",
}


@contextlib.contextmanager
def progress_words(command: str, *, quiet_s: float = QUIET_S) -> Iterator[None]:
    """Show on a terminal that a command still works, once it was silent for two seconds.

    The line is on stderr and goes before anything else is written. With the first word of the
    answer, or of a question, no more of it is shown.
    """
    out: Any = sys.stdout
    err: Any = sys.stderr
    ours = isinstance(out, PlainStream) and isinstance(err, PlainStream)
    if command not in _LONG or not ours or not err.isatty():
        yield
        return
    line = _Progress(_LONG[command], err.below, quiet_s)
    out.before, err.before = line.stop, line.clear
    try:
        yield
    finally:
        line.stop()
        out.before = err.before = None


class _Progress:
    """A line that a thread writes and writes again, until it is stopped."""

    def __init__(self, words: str, stream: Any, quiet_s: float) -> None:
        import threading

        from controller.clock import SystemClock

        self._words, self._stream, self._quiet_s = words, stream, quiet_s
        self._lock, self._end = threading.Lock(), threading.Event()
        self._now_s = SystemClock().mono_s
        self._began_s = self._written_s = self._now_s()
        self._shown = 0
        self._thread = threading.Thread(target=self._run, name="progress", daemon=True)
        self._thread.start()

    def clear(self) -> None:
        """Take the line away, and be silent again for a while."""
        with self._lock:
            self._take_away()
            self._written_s = self._now_s()

    def stop(self) -> None:
        """Take the line away for good."""
        with self._lock:
            self._end.set()
            self._take_away()

    def _run(self) -> None:
        while not self._end.wait(min(_AGAIN_S, self._quiet_s)):
            with self._lock:
                now_s = self._now_s()
                if not self._end.is_set() and now_s - self._written_s >= self._quiet_s:
                    text = f"{self._words}: {now_s - self._began_s:.0f} s"
                    self._put(f"\r{text}")
                    self._shown = len(text)

    def _take_away(self) -> None:
        if self._shown:
            self._put(f"\r{' ' * self._shown}\r")
            self._shown = 0

    def _put(self, text: str) -> None:
        with contextlib.suppress(OSError, ValueError):  # a terminal that went away
            self._stream.write(text)
            self._stream.flush()
