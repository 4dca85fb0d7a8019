"""Openings under way: intent on disk before water, heartbeats while it flows, the true end after.

Everything here runs in the engine's thread, except `bank_reported`: it only puts into a queue what
the bank did, in the order it happened.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import date, datetime
from queue import Empty, SimpleQueue

from controller.clock import Clock
from controller.daemon.flow.litres import Counted, Credit, FlowOf, OpenSpans
from controller.daemon.flow.rules import Metering
from controller.daemon.journal import Journal, WriteLater
from controller.daemon.valve_set import ValveSet
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.logbook.records import HowKnown
from controller.timetable.need.pulse_length import water_span_s
from controller.timetable.records import Pulse
from controller.valves.bank import Bank
from controller.valves.group import BankRecord, What
from controller.valves.line import CLOSINGS, MAY_RUN, State

BEAT_S = 10.0  # how much of a pulse a crash may leave uncertain
RETRY_S = 15.0  # between tries to write down what the logbook would not take; our choice
_ROUNDING_S = 1e-6  # a deadline less the time open is the opening but for the last digits
# So long past its deadline, and after it was first found shut, a line ends its pulse without a
# record of the bank.
UNREPORTED_S = 5.0
_LEAST_FLOW_L_S = 1e-9
_IN_TIME_S = 0.05  # a pulse that ended so little before its deadline was not cut short
LITRES_PASSED = "its litres have passed"
_LOG = logging.getLogger("rowgate.openings")


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A zone whose valve is open, waits for the master, or is closing.

    `opened_mono_s` lies ahead while the master leads; a valve that is closing began to at
    `shut_mono_s`.
    """

    zone: str
    line: int
    pulse_id: int
    pulse: Pulse
    day: date
    manual: bool
    opened_utc: datetime
    opened_mono_s: float
    deadline_mono_s: float
    due_litres: float  # what it was opened for
    asked_mono_s: float
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0
    shut_mono_s: float | None = None

    def open_s(self, now_mono_s: float) -> float:
        """How long it has been open by now, or was until the command to shut. [s]"""
        until_s = now_mono_s if self.shut_mono_s is None else self.shut_mono_s
        return max(0.0, until_s - self.opened_mono_s)

    def water_ends_mono_s(self, open_s: float) -> float:
        """When its full flow counts as ended, if it was open for so long. [s]"""
        begins_s, ends_s = water_span_s(
            open_s=open_s, opens_in_s=self.opens_in_s, closes_in_s=self.closes_in_s
        )
        return self.water_begins_mono_s + ends_s - begins_s

    @property
    def water_begins_mono_s(self) -> float:
        """When its full flow counts as begun. [s]"""
        return self.opened_mono_s + self.opens_in_s / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """An opening that is over. `timed_litres` are by time, whether there is a meter or not."""

    running: Running
    open_s: float
    litres: float
    how: HowKnown
    timed_litres: float
    why: str
    in_time: bool  # it ran until its own deadline, or until its litres had passed
    counted: Counted | None = None  # by a meter that may be judged


class Openings:
    """Opens valves through the bank, and writes the logbook before and after."""

    def __init__(self, journal: Journal, clock: Clock) -> None:
        self._journal, self._clock = journal, clock
        self._bank_records: SimpleQueue[BankRecord] = SimpleQueue()
        self._timed_spans = OpenSpans()  # by time: half of each travel counts
        self._metered_spans = OpenSpans()  # by meter: from the command to open until shut
        self._begun: set[str] = set()  # running, and the bank has reported it
        self._found_shut: dict[int, float] = {}  # by pulse: first found shut without a record, [s]
        self._unwritten: WriteLater[Ended] = WriteLater(
            self._write_end,
            lambda end, fault: _LOG.error("the end of a pulse of %s: %s", end.running.zone, fault),
            clock,
            every_s=RETRY_S,
        )
        self._beaten_mono_s = float("-inf")
        self.running: dict[str, Running] = {}
        self.metering: Metering | None = None
        self.credit: Credit | None = None  # how far the meter is trusted
        self.by_litres = False  # a planned pulse ends once its litres have passed the meter
        self.zones = 1  # with relays, in the garden in force
        self.meter_turned = False  # the meter was found dead, or alive again, since this was unset

    def bank_reported(self, record: BankRecord) -> None:
        """Take a record of the bank; from any thread, and it returns at once."""
        if self.metering is not None:
            self.metering.sample()
        self._bank_records.put(record)

    def open(self, bank: Bank, pulse: Pulse, *, open_s: float, manual: bool) -> None:
        """Write the intent, open the valve, write that it opened.

        Whatever goes wrong, the valve has been driven shut when this raises.

        Raises
        ------
        LogbookError
            If it cannot be written down; the valve stays shut, or is shut again.
        ValveRefused, ValveFault
            From the bank; the refusal is written down.
        """
        line = pulse.relay_line
        assert line is not None, "a hand valve never comes here"
        pulse_id = self._journal.intend(pulse)
        opened_utc = self._clock.now_utc()
        asked_mono_s = opened_mono_s = self._clock.mono_s()
        stuck: ValveFault | None = None
        try:
            deadline_mono_s = bank.open(line, for_s=open_s)
        except ValveRefused as fault:
            self._journal.refused(pulse_id, str(fault))
            raise
        except ValveFault as fault:
            if not bank.is_open(line):
                self._journal.refused(pulse_id, str(fault))
                raise
            # It did not open rightly and does not shut: water may run, and is counted as running.
            deadline_mono_s, stuck = opened_mono_s, fault
        else:
            opened_mono_s = deadline_mono_s - open_s
        limits = bank.limits(line)
        self.running[pulse.zone] = running = Running(
            zone=pulse.zone,
            line=line,
            pulse_id=pulse_id,
            pulse=pulse,
            day=pulse.day,
            manual=manual,
            opened_utc=opened_utc,
            opened_mono_s=opened_mono_s,
            deadline_mono_s=deadline_mono_s,
            due_litres=pulse.litres * min(1.0, open_s / pulse.open_s) if pulse.open_s else 0.0,
            asked_mono_s=asked_mono_s,
            opens_in_s=limits.opens_in_s,
            closes_in_s=limits.closes_in_s,
        )
        self._timed_spans.opened(pulse.zone, running.water_begins_mono_s)
        self._metered_spans.opened(pulse.zone, opened_mono_s)
        self._keep_samples()
        try:
            self._journal.opened(pulse_id, mono_s=opened_mono_s)
        except LogbookError:
            shut(bank, line, "its opening could not be written down")
            raise
        if stuck is not None:
            raise stuck

    def settle(self, bank: Bank, flow_l_s: FlowOf) -> tuple[list[Ended], list[BankRecord]]:
        """Take in the bank's records, and write down every end: what ended, and the faults."""
        ended: list[Ended] = []
        faults: list[BankRecord] = []
        while True:
            try:
                record = self._bank_records.get_nowait()
            except Empty:
                break
            if record.what is What.FAULT:
                faults.append(record)
            running = next((r for r in self.running.values() if r.line == record.number), None)
            if running is None or record.mono_s < running.asked_mono_s - _ROUNDING_S:
                continue  # of an opening before this one
            if record.state in MAY_RUN:
                self._begun.add(running.zone)
                self._closes(running, record)
                continue
            if running.zone not in self._begun:
                continue  # reported before this one, in the same instant
            ended.append(self._ended(running, record.open_s, record.words, flow_l_s))
        for running in self._unreported(bank):
            planned_s = running.deadline_mono_s - running.opened_mono_s
            ended.append(self._ended(running, planned_s, "it is shut", flow_l_s))
        self._unwritten.put(ended)
        return ended, faults

    def _unreported(self, bank: Bank) -> list[Running]:
        """What is long past its deadline and shut, and the bank has never said that it shut.

        A board that slept wakes long past the deadline, and the line is shut in the very moment in
        which this looks: so the record is waited for from the first look that finds it shut.
        """
        now = self._clock.mono_s()
        shut = [
            running
            for running in self.running.values()
            if now > running.deadline_mono_s and not bank.is_open(running.line)
        ]
        self._found_shut = {r.pulse_id: self._found_shut.get(r.pulse_id, now) for r in shut}
        return [r for r in shut if now - self._found_shut[r.pulse_id] > UNREPORTED_S]

    def beat(self, flow_l_s: FlowOf) -> None:
        """Write a heartbeat of what is open, now and then; one that fails costs only precision."""
        now = self._clock.mono_s()
        if not self.running or now - self._beaten_mono_s < BEAT_S:
            return
        self._beaten_mono_s = now
        try:
            for running in self.running.values():
                litres = self.litres_so_far(running.zone, flow_l_s)
                self._journal.beat(running.pulse_id, open_s=running.open_s(now), litres=litres)
        except LogbookError as fault:
            _LOG.warning("no heartbeat written: %s", fault)

    def litres_so_far(self, zone: str, flow_l_s: FlowOf) -> float:
        """Litres of an opening still under way, by the meter where one counts. [L]"""
        now = self._clock.mono_s()
        timed = self._timed_spans.so_far(zone, now, flow_l_s)
        if self._meter is None or self._is_too_slow(zone, flow_l_s):
            return timed
        metered = self._metered_spans.metered(zone, now, flow_l_s, self._meter.litres_between)
        since = self._metered_spans.since(zone)
        seconds = 0.0 if since is None else max(0.0, now - since)
        absurd = self.credit is not None and self.credit.is_absurd(metered, seconds)
        return timed if absurd else metered

    def shut_when_litres_passed(self, bank: Bank, flow_l_s: FlowOf) -> None:
        """Shut the planned openings whose litres have passed; their deadlines stay in force."""
        for running, left_l in self._left_l(flow_l_s):
            if left_l <= 0.0 and bank.is_open(running.line):
                shut(bank, running.line, LITRES_PASSED)

    def litres_due_in_s(self, flow_l_s: FlowOf) -> float | None:
        """Seconds until the next opening may have had its litres; None without one. [s]"""
        together = frozenset(self.running)
        return min(
            (
                left_l / max(flow_l_s(running.zone, together), _LEAST_FLOW_L_S)
                for running, left_l in self._left_l(flow_l_s)
            ),
            default=None,
        )

    @property
    def all_written(self) -> bool:
        """Whether every end is in the logbook; until then it does not know what was given."""
        return not self._unwritten.waiting

    @property
    def unwritten_zones(self) -> list[str]:
        """The zones of ends that are not in the logbook yet."""
        return [end.running.zone for end in self._unwritten.waiting]

    def next_mono_s(self) -> float | None:
        """When the next heartbeat or try is due, on the monotonic clock. [s]"""
        moments = []
        if self.running:
            moments.append(max(self._beaten_mono_s + BEAT_S, self._clock.mono_s()))
        if (next_try := self._unwritten.next_mono_s) is not None:
            moments.append(next_try)
        return min(moments, default=None)

    @property
    def _meter(self) -> Metering | None:
        """The meter, if there is one that counts."""
        return None if self.metering is None or self.metering.dead else self.metering

    def _is_too_slow(self, zone: str, flow_l_s: FlowOf) -> bool:
        """Whether the computed flow of what is open is below the meter's least."""
        if self.metering is None:
            return False
        together = frozenset((zone, *self.running))
        return sum(flow_l_s(z, together) for z in together) < self.metering.least_flow_l_s

    def _keep_samples(self) -> None:
        """Make the meter keep the samples that the openings under way will need."""
        if self.metering is not None:
            earliest = self._metered_spans.earliest_mono_s
            self.metering.keep_from_mono_s = float("inf") if earliest is None else earliest

    def _left_l(self, flow_l_s: FlowOf) -> list[tuple[Running, float]]:
        """The planned openings that end by litres, and what each still lacks. [L]"""
        if not self.by_litres or self._meter is None:
            return []
        return [
            (running, running.due_litres - self.litres_so_far(running.zone, flow_l_s))
            for running in self.running.values()
            if not running.manual and running.shut_mono_s is None
        ]

    def _closes(self, running: Running, record: BankRecord) -> None:
        """The bank drives a slow valve shut, or found that this did not last."""
        if record.state in CLOSINGS:
            changed = replace(running, shut_mono_s=running.opened_mono_s + record.open_s)
            self._timed_spans.closing(running.zone, changed.water_ends_mono_s(record.open_s))
        elif record.state is State.STUCK:
            changed = replace(running, shut_mono_s=None)
            self._timed_spans.closing(running.zone, None)
        else:
            return
        self.running[running.zone] = changed

    def _ended(self, running: Running, open_s: float, why: str, flow_l_s: FlowOf) -> Ended:
        self._begun.discard(running.zone)
        too_slow = self._is_too_slow(running.zone, flow_l_s)
        del self.running[running.zone]
        ends_mono_s, shut_mono_s = running.opened_mono_s + open_s, self._clock.mono_s()
        water_ends_mono_s = running.water_ends_mono_s(open_s)
        if running.closes_in_s == 0.0:
            shut_mono_s = ends_mono_s
        litres, how, counted = None, HowKnown.TIMED, None
        zones = self._metered_spans.together(running.zone, shut_mono_s)
        if self.metering is not None:
            litres = self._metered_spans.metered(
                running.zone, shut_mono_s, flow_l_s, self.metering.litres_between
            )
        timed = self._timed_spans.closed(running.zone, water_ends_mono_s, flow_l_s)
        self._metered_spans.closed(running.zone, shut_mono_s, flow_l_s)
        self._keep_samples()
        if litres is not None and self.metering is not None:
            # What flows too slowly for the meter says nothing of it, and goes by time.
            if not too_slow and self.metering.watered(
                running.zone, metered_l=litres, timed_l=timed, zones=self.zones
            ):
                self.meter_turned = True
            how = HowKnown.TIMED if self.metering.dead or too_slow else HowKnown.METERED
        if how is HowKnown.TIMED:
            litres = None
        elif litres is not None and self.credit is not None:
            counted = Counted(
                zones=zones,
                metered_l=litres,
                timed_l=timed,
                seconds=max(0.0, shut_mono_s - running.opened_mono_s),
            )
            credited = self.credit.of(counted, running.day)
            litres = credited.litres
            how = HowKnown.METERED if credited.by_meter else HowKnown.TIMED
        return Ended(
            running=running,
            open_s=open_s,
            litres=timed if litres is None else litres,
            how=how,
            timed_litres=timed,
            counted=counted,
            why=why,
            in_time=why == LITRES_PASSED or ends_mono_s >= running.deadline_mono_s - _IN_TIME_S,
        )

    def _write_end(self, end: Ended) -> None:
        self._journal.ended(
            end.running.pulse,
            opened_utc=end.running.opened_utc,
            opened_mono_s=end.running.opened_mono_s,
            open_s=end.open_s,
            litres=end.litres,
            how=end.how,
            why=end.why,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Controls:
    """What opens, shuts and writes down; each part of the engine that acts has it."""

    valve_set: ValveSet
    openings: Openings
    journal: Journal
    clock: Clock


def shut(bank: Bank, line: int, why: str) -> str:
    """Drive a line shut; what is wrong if it failed. The bank goes on trying."""
    try:
        bank.close(line, why)
    except ValveFault as fault:
        return str(fault)
    return ""
