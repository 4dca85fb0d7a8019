"""The person at the terminal: questions with a time limit, the lines looked after meanwhile."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import TextIO

from controller.cli.walkasking import WalkEnded
from controller.clock import Clock

LOOK_S = 0.25  # between two looks at the lines; our choice


class AtTerminal:
    """Reads lines in a thread of its own, so that a question may run out of time.

    `look` is called several times a second through every wait; it raises to end the walk.
    """

    def __init__(
        self, reading: TextIO, writing: TextIO, clock: Clock, look: Callable[[], None]
    ) -> None:
        self._reading, self._writing, self._clock, self._look = reading, writing, clock, look
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        threading.Thread(target=self._read, name="answers", daemon=True).start()

    def say(self, words: str) -> None:
        """A line for the person."""
        print(words, file=self._writing, flush=True)

    def ask(self, question: str, within_s: float) -> str | None:
        """The next line that comes; None when none came in time."""
        if self._reading.isatty():
            self._forget_what_was_typed_before()
        print(f"{question}\n> ", end="", file=self._writing, flush=True)
        until_mono_s = self._clock.mono_s() + within_s
        while True:
            self._look()
            left_s = until_mono_s - self._clock.mono_s()
            if left_s <= 0.0:
                return None
            try:
                line = self._lines.get(timeout=min(left_s, LOOK_S))
            except queue.Empty:
                continue
            if line is None:
                raise WalkEnded("the answers ended")
            return line

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        until_mono_s = self._clock.mono_s() + seconds
        pause = threading.Event()
        while (left_s := until_mono_s - self._clock.mono_s()) > 0.0:
            self._look()
            pause.wait(min(left_s, LOOK_S))
        self._look()

    def _read(self) -> None:
        try:
            for line in self._reading:
                self._lines.put(line.rstrip("\n"))
        except (OSError, ValueError):  # the terminal is gone, or closed under us
            pass
        finally:
            self._lines.put(None)

    def _forget_what_was_typed_before(self) -> None:
        """An answer typed ahead is no answer to a question that was not asked yet."""
        ended = False
        while not self._lines.empty():
            ended = self._lines.get() is None or ended
        if ended:
            self._lines.put(None)
