"""What the bank tells of its lines, and how it is handed over so that no line waits for it."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from controller.valves.line import told
from controller.valves.states import State

_KEPT_WORDS = 50  # our choice: of the records that could not be handed over, the newest


class What(StrEnum):
    """What a record tells."""

    OPENED = "opened"
    CLOSING = "closing"  # told to shut, and it took; water may run until its closing time is over
    CLOSED = "closed"
    FAULT = "fault"
    RESET = "reset"


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRecord:
    """One change of one line.

    An opening has ended with the first record after it whose `state` is closed or barred, and
    `open_s` there is the whole of it until it was told to shut and that took, measured on the
    monotonic clock. The master's records are like a line's.
    """

    number: int
    what: What
    state: State  # after the change
    wall_utc: datetime
    mono_s: float
    open_s: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """A line through which water may run; `deadline_mono_s` has passed if it is stuck.

    `opened_mono_s` is None for a line that could not be driven off when nobody had opened it, and
    lies ahead while the master leads. A line that is closing was told to at `shut_mono_s`, and is
    shut at `closed_mono_s`.
    """

    number: int
    state: State
    opened_mono_s: float | None
    deadline_mono_s: float | None
    shut_mono_s: float | None = None
    closed_mono_s: float | None = None


class Teller:
    """Hands records over in order, one thread at a time, and remembers what could not be handed.

    A thread that finds another one at it leaves its records to that one: a recorder that hangs
    holds up one thread, and never the one that has to close the next line.
    """

    def __init__(self, record: Callable[[BankRecord], None]) -> None:
        self._record = record
        self._busy = threading.Lock()
        self._waiting: deque[BankRecord] = deque()
        self.undelivered: deque[str] = deque(maxlen=_KEPT_WORDS)

    def note(self, record: BankRecord) -> None:
        """Put a record in line; never blocks."""
        self._waiting.append(record)

    def deliver(self) -> None:
        """Hand over what waits, unless another thread is at it. The bank's lock is not held."""
        while self._waiting and self._busy.acquire(blocking=False):
            try:
                while self._waiting:
                    self._hand(self._waiting.popleft())
            finally:
                self._busy.release()

    def _hand(self, record: BankRecord) -> None:
        try:
            self._record(record)
        except Exception as fault:  # noqa: BLE001 - the lines matter more than the log
            self.undelivered.append(
                f"line {record.number} {record.what} at {record.wall_utc:%Y-%m-%d %H:%M:%S} UTC, "
                f"{record.words}: not recorded: {told(fault)}"
            )
