"""The bank's records of its lines, and their delivery, which no line waits for."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from controller.valves.line import fault_text
from controller.valves.states import State

_KEPT_WORDS = 50  # our choice: of the records that could not be handed over, the newest


class What(StrEnum):
    """What a record reports."""

    OPENED = "opened"
    CLOSING = "closing"  # driven shut; water may run until its closing time is over
    CLOSED = "closed"
    FAULT = "fault"
    RESET = "reset"


@dataclass(frozen=True, slots=True, kw_only=True)
class BankRecord:
    """One change of one line.

    An opening has ended with the first record after it whose `state` is closed or barred, and
    `open_s` there is the whole of it until the command to shut took effect, measured on the
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
    lies ahead while the master leads. A line that is closing began to at `shut_mono_s`, and is
    shut at `closed_mono_s`.
    """

    number: int
    state: State
    opened_mono_s: float | None
    deadline_mono_s: float | None
    shut_mono_s: float | None = None
    closed_mono_s: float | None = None


class RecordQueue:
    """Delivers records in order, one thread at a time, and keeps the text of those that failed.

    A thread that finds another one delivering leaves its records to that one. So a recorder that
    hangs holds up one thread, and never the one that has to close the next line. It tries nothing
    again: the valves know no logbook, and whoever waits for one has a queue of its own.
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
        """Deliver what waits, unless another thread does. Call it without the bank's lock."""
        while self._waiting and self._busy.acquire(blocking=False):
            try:
                while self._waiting:
                    self._deliver_one(self._waiting.popleft())
            finally:
                self._busy.release()

    def _deliver_one(self, record: BankRecord) -> None:
        try:
            self._record(record)
        except Exception as fault:  # noqa: BLE001 - the lines matter more than the log
            self.undelivered.append(
                f"line {record.number} {record.what} at {record.wall_utc:%Y-%m-%d %H:%M:%S} UTC, "
                f"{record.words}: not recorded: {fault_text(fault)}"
            )
