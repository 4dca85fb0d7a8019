"""What the lines did, seen from outside: by looking every few milliseconds, and every edge."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from board.wires import BoardError, ChipWire, Edge, state_of

LOOK_EVERY_S = 0.005


@dataclass(frozen=True, slots=True)
class Seen:
    """A line was seen in a new state."""

    at_s: float
    line: int
    state: str


@dataclass(frozen=True, slots=True)
class Opening:
    """A line was driven to its active level from one moment to another; None: it still is."""

    line: int
    from_s: float
    to_s: float | None

    @property
    def seconds(self) -> float:
        """How long it was; of an opening that is over."""
        assert self.to_s is not None, f"line {self.line} is still open"
        return self.to_s - self.from_s


class Watch:
    """Watches lines in a thread until the end of its `with` block, or of the board's power."""

    def __init__(self, chip: ChipWire, lines: tuple[int, ...]) -> None:
        self._chip, self.lines = chip, lines
        self.seen: list[Seen] = []
        self.looks = 0
        self.longest_gap_s = 0.0
        self._last: dict[int, str] = {}
        self._first_edge = len(chip.edges)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._look_on, daemon=True)

    def __enter__(self) -> Watch:
        self._look(time.monotonic())
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(5)

    @property
    def edges(self) -> list[Edge]:
        """Every change of level of an output of ours since the watch began, however short."""
        return [e for e in self._chip.edges[self._first_edge :] if e.line in self.lines]

    def state(self, line: int) -> str:
        """What the line was last seen to be."""
        return self._last[line]

    def openings(self, is_on: Callable[[str], bool]) -> list[Opening]:
        """Each stretch in which a line was in a state that opens its valve, in order of begin."""
        begun: dict[int, float] = {}
        found: list[Opening] = []
        for seen in list(self.seen):
            if is_on(seen.state):
                begun.setdefault(seen.line, seen.at_s)
            elif seen.line in begun:
                found.append(Opening(seen.line, begun.pop(seen.line), seen.at_s))
        found += [Opening(line, at_s, None) for line, at_s in begun.items()]
        return sorted(found, key=lambda opening: opening.from_s)

    def wait(self, true: Callable[[Watch], bool], within_s: float, what: str) -> float:
        """Until it is true of what was seen; the seconds waited."""
        begun_s = time.monotonic()
        while not true(self):
            if time.monotonic() - begun_s > within_s:
                told = [(round(s.at_s - begun_s, 2), s.line, s.state) for s in self.seen]
                raise BoardError(f"{what}: not after {within_s} s; seen {told}")
            time.sleep(0.01)
        return time.monotonic() - begun_s

    def _look_on(self) -> None:
        before_s = time.monotonic()
        while not self._stop.wait(LOOK_EVERY_S):
            now_s = time.monotonic()
            self.longest_gap_s = max(self.longest_gap_s, now_s - before_s)
            before_s = now_s
            try:
                self._look(now_s)
            except BoardError:
                return  # the power is cut

    def _look(self, now_s: float) -> None:
        words = self._chip.gpio()
        self.looks += 1
        for line in self.lines:
            state = state_of(words, line)
            if self._last.get(line) != state:
                self._last[line] = state
                self.seen.append(Seen(now_s, line, state))
