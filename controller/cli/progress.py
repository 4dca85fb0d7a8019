"""That long work goes on: one line on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
from typing import TextIO

from controller.clock import Clock

QUIET_S = 2.0  # shorter work needs no word; our choice
_AGAIN_S = 0.25


class Progress:
    """A line on stderr that is written anew while work goes on, and wiped out in the end."""

    def __init__(self, words: str, clock: Clock, stream: TextIO | None = None) -> None:
        self._words, self._clock = words, clock
        self._stream = sys.stderr if stream is None else stream
        self._next_s = clock.mono_s() + QUIET_S if self._stream.isatty() else None
        self._steps, self._shown = 0, False

    def step(self) -> None:
        """One step done."""
        self._steps += 1
        if self._next_s is None or self._clock.mono_s() < self._next_s:
            return
        self._next_s, self._shown = self._clock.mono_s() + _AGAIN_S, True
        print(f"\r{self._words}: {self._steps}", end="", file=self._stream, flush=True)

    def done(self) -> None:
        """Wipe the line out."""
        if self._shown:
            width = len(f"{self._words}: {self._steps}")
            print(f"\r{' ' * width}\r", end="", file=self._stream, flush=True)
