"""Output for a terminal or a program, as plain text.

Text comes from the garden file, the logbook and the daemon, and so from everybody who may write
there: none of it may move the cursor or change its colours. This module is kept so small that a
request to the daemon starts at once.
"""

from __future__ import annotations

import contextlib
import json
import re
import sys
from collections.abc import Callable, Iterator
from typing import Any

# The control characters but tab, line feed and carriage return, and the marks that turn the
# direction of what follows (Unicode's bidirectional algorithm, UAX #9, 2).
_NOT_TEXT = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def plain(text: str) -> str:
    """The text, with a question mark for each sign that is not text."""
    return _NOT_TEXT.sub("?", text)


def escaped(text: str) -> str:
    """The JSON, with such signs as escapes, which mean the same to its reader."""
    return _NOT_TEXT.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


class _PlainStream:
    """A stream that passes only plain text on to the stream below it."""

    def __init__(self, stream: Any) -> None:
        self.below = stream
        self.before: Callable[[], None] | None = None  # called before anything is written

    def write(self, text: str) -> int:
        """Write the text, made plain."""
        if self.before is not None:
            self.before()
        self.below.write(plain(text))
        return len(text)

    def flush(self) -> None:
        """Flush it; `input` does so before it asks, past `write`."""
        if self.before is not None:
            self.before()
        self.below.flush()

    def writelines(self, lines: Any) -> None:
        """Write each line, made plain."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.below, name)


@contextlib.contextmanager
def plain_streams() -> Iterator[None]:
    """Let only plain text through to both streams of this process."""
    out: Any = _PlainStream(sys.stdout)
    err: Any = _PlainStream(sys.stderr)
    sys.stdout, sys.stderr = out, err
    try:
        yield
    finally:
        # Where somebody put another stream in its place meanwhile, that one stays.
        if sys.stdout is out:
            sys.stdout = out.below
        if sys.stderr is err:
            sys.stderr = err.below


class Words:
    """What was said beside the answer, and whether the answer was given."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.has_answered = False


_SAID: list[Words] = []


@contextlib.contextmanager
def words_on_stderr() -> Iterator[Words]:
    """Collect what `to_stderr` says meanwhile, for an answer as JSON where there is none else."""
    words = Words()
    _SAID.append(words)
    try:
        yield words
    finally:
        _SAID.remove(words)


def to_stderr(words: str) -> None:
    """Print what is not the answer on stderr, so that a pipe gets the answer alone."""
    for collected in _SAID:
        collected.lines.append(words)
    print(words, file=sys.stderr)


def print_json(value: Any) -> None:
    """Print one JSON document."""
    for collected in _SAID:
        collected.has_answered = True
    print(escaped(json.dumps(value, indent=2, ensure_ascii=False)))


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
    ours = isinstance(out, _PlainStream) and isinstance(err, _PlainStream)
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
