"""Openings under way: intent on disk before water, heartbeats while it flows, the true end after.

Everything here runs in the steward's thread, but for `bank_said`, which only puts in a queue what
the bank did, in the order it did it.
"""

from __future__ import annotations

import logging
from collections import deque
from dataclasses import dataclass
from datetime import date, datetime
from queue import Empty, SimpleQueue

from controller.clock import Clock
from controller.daemon.books import Books
from controller.daemon.litres import FlowOf, OpenSpans
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.timetable.records import Pulse
from controller.valves.bank import Bank
from controller.valves.states import MAY_RUN
from controller.valves.tell import BankRecord, What

BEAT_S = 10.0  # how much of a pulse a crash may leave uncertain
RETRY_S = 15.0  # between tries to write down what the logbook would not take; our choice
_ROUNDING_S = 1e-6  # a deadline less the time open is the opening but for the last digits
UNTOLD_S = 5.0  # so long past its deadline a shut line ends its pulse though nobody said so
_IN_TIME_S = 0.05  # a pulse that ended so little before its deadline was not cut short
_LOG = logging.getLogger("rowgate.openings")


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A zone whose valve is open."""

    zone: str
    line: int
    pulse_id: int
    day: date
    manual: bool
    opened_utc: datetime
    opened_mono_s: float
    deadline_mono_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """An opening that is over."""

    running: Running
    open_s: float
    litres: float
    why: str
    in_time: bool  # it ran until its own deadline


class Openings:
    """Opens by way of the bank, and writes the logbook around it."""

    def __init__(self, books: Books, clock: Clock) -> None:
        self._books, self._clock = books, clock
        self._said: SimpleQueue[BankRecord] = SimpleQueue()
        self._spans = OpenSpans()
        self._begun: set[str] = set()  # running, and the bank has said so
        self._unwritten: deque[Ended] = deque()
        self._beaten_mono_s = self._tried_mono_s = float("-inf")
        self.running: dict[str, Running] = {}

    def bank_said(self, record: BankRecord) -> None:
        """The bank has done something; may come from any thread, and returns at once."""
        self._said.put(record)

    def open(self, bank: Bank, pulse: Pulse, *, open_s: float, manual: bool) -> None:
        """Write the intent, open the valve, write that it opened.

        Whatever goes wrong, the valve has been told to shut when this raises.

        Raises
        ------
        LogbookError
            If it cannot be written down; the valve stays shut, or is shut again.
        ValveRefused, ValveFault
            What the bank said; the refusal is written down.
        """
        line = pulse.relay_line
        assert line is not None, "a hand valve never comes here"
        pulse_id = self._books.intend(pulse)
        opened_utc, opened_mono_s = self._clock.now_utc(), self._clock.mono_s()
        stuck: ValveFault | None = None
        try:
            deadline_mono_s = bank.open(line, for_s=open_s)
        except ValveRefused as fault:
            self._books.refused(pulse_id, str(fault))
            raise
        except ValveFault as fault:
            if not bank.is_open(line):
                self._books.refused(pulse_id, str(fault))
                raise
            # It did not open rightly and does not shut: water may run, and is counted as running.
            deadline_mono_s, stuck = opened_mono_s, fault
        else:
            opened_mono_s = deadline_mono_s - open_s
        self.running[pulse.zone] = Running(
            zone=pulse.zone,
            line=line,
            pulse_id=pulse_id,
            day=pulse.day,
            manual=manual,
            opened_utc=opened_utc,
            opened_mono_s=opened_mono_s,
            deadline_mono_s=deadline_mono_s,
        )
        self._spans.opened(pulse.zone, opened_mono_s)
        try:
            self._books.opened(pulse_id, mono_s=opened_mono_s)
        except LogbookError:
            shut(bank, line, "its opening could not be written down")
            raise
        if stuck is not None:
            raise stuck

    def settle(self, bank: Bank, flow_l_s: FlowOf) -> tuple[list[Ended], list[BankRecord]]:
        """Take in what the bank did since, and write down every end: what ended, and the faults."""
        ended: list[Ended] = []
        faults: list[BankRecord] = []
        while True:
            try:
                record = self._said.get_nowait()
            except Empty:
                break
            if record.what is What.FAULT:
                faults.append(record)
            running = next((r for r in self.running.values() if r.line == record.number), None)
            if running is None or record.mono_s < running.opened_mono_s - _ROUNDING_S:
                continue  # of an opening before this one
            if record.state in MAY_RUN:
                self._begun.add(running.zone)
                continue
            if running.zone not in self._begun:
                continue  # said before this one, in the same instant
            ended.append(self._ended(running, record.open_s, record.words, flow_l_s))
        for running in list(self.running.values()):
            late_s = self._clock.mono_s() - running.deadline_mono_s
            if late_s > UNTOLD_S and not bank.is_open(running.line):
                planned_s = running.deadline_mono_s - running.opened_mono_s
                ended.append(self._ended(running, planned_s, "it is shut", flow_l_s))
        self._unwritten += ended
        if ended:
            self._tried_mono_s = float("-inf")
        self._write_ends()
        return ended, faults

    def beat(self, flow_l_s: FlowOf) -> None:
        """Write a heartbeat for what is open, every so often; a failed one costs only precision."""
        now = self._clock.mono_s()
        if not self.running or now - self._beaten_mono_s < BEAT_S:
            return
        self._beaten_mono_s = now
        try:
            for running in self.running.values():
                litres = self._spans.so_far(running.zone, now, flow_l_s)
                self._books.beat(
                    running.pulse_id, open_s=now - running.opened_mono_s, litres=litres
                )
        except LogbookError as fault:
            _LOG.warning("no heartbeat written: %s", fault)

    def litres_so_far(self, zone: str, flow_l_s: FlowOf) -> float:
        """Litres of an opening still under way. [L]"""
        return self._spans.so_far(zone, self._clock.mono_s(), flow_l_s)

    @property
    def all_written(self) -> bool:
        """Whether every end is in the logbook; until then it does not know what was given."""
        return not self._unwritten

    @property
    def unwritten_zones(self) -> list[str]:
        """The zones of ends that are not in the logbook yet."""
        return [end.running.zone for end in self._unwritten]

    def next_mono_s(self) -> float | None:
        """When the next heartbeat or try is due, on the monotonic clock. [s]"""
        moments = []
        if self.running:
            moments.append(max(self._beaten_mono_s + BEAT_S, self._clock.mono_s()))
        if self._unwritten:
            moments.append(self._tried_mono_s + RETRY_S)
        return min(moments, default=None)

    def _ended(self, running: Running, open_s: float, why: str, flow_l_s: FlowOf) -> Ended:
        self._begun.discard(running.zone)
        del self.running[running.zone]
        ends_mono_s = running.opened_mono_s + open_s
        return Ended(
            running=running,
            open_s=open_s,
            litres=self._spans.closed(running.zone, ends_mono_s, flow_l_s),
            why=why,
            in_time=ends_mono_s >= running.deadline_mono_s - _IN_TIME_S,
        )

    def _write_ends(self) -> None:
        now = self._clock.mono_s()
        if not self._unwritten or now - self._tried_mono_s < RETRY_S:
            return
        self._tried_mono_s = now
        while self._unwritten:
            end = self._unwritten[0]
            try:
                self._books.closed(
                    end.running.pulse_id,
                    open_s=end.open_s,
                    litres=end.litres,
                    why=end.why,
                )
            except LogbookError as fault:
                _LOG.error("the end of a pulse of %s: %s", end.running.zone, fault)
                return
            self._unwritten.popleft()


def shut(bank: Bank, line: int, why: str) -> str:
    """Tell a line to shut; what is wrong if it did not. The bank goes on telling it."""
    try:
        bank.close(line, why)
    except ValveFault as fault:
        return str(fault)
    return ""
