"""The garden's lines as one bank with its closer and supervisor; old lines are held off first.

The stop step's line file names the lines of the run before; it is small, and lies in the daemon's
own folder. The garden file may lie on a disk that does not answer, and the logbook may take long to
read: no line may stay on while we wait. The bank that comes after uses the same pins, so no line
floats in between.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Mapping
from pathlib import Path

from controller.clock import Clock
from controller.daemon.garden_reload import Accepted
from controller.errors import RowgateError, ValveFault
from controller.garden.plumbing import Valve
from controller.timetable.need.pulse_length import water_s
from controller.units import l_from_m3
from controller.valves.alloff import Ball, Known, read_line_file, write_line_file
from controller.valves.bank import Bank, Before
from controller.valves.closer import Closer, Supervisor
from controller.valves.gpio import GpioPins
from controller.valves.group import BankRecord
from controller.valves.line import DAY_S, LineLimits, MasterLimits, State, travel_s
from controller.valves.pins import PinDriver, TimedPins

LINE_FILE = "lines.json"
_LEAST_FLOW_L_S = 1e-9
_MORE_S = 5.0  # past the last closing time, before it is waited for no longer; our choice
END_PATIENCE_S = 5.0  # how long the end waits for the bank's lock; our choice


def limits_of(accepted: Accepted) -> list[LineLimits]:
    """The lines of a garden and how long each may be open.

    The zone's daily cap is in litres. In seconds it is the cap over the least flow that a plan
    allows the zone beside others. So it never stops a correct plan, and stops a mistake. The litres
    themselves are counted where pulses are planned and asked for. A valve that opens slowly and
    shuts fast is open for longer than water runs.
    """
    share = accepted.garden.watering.least_share
    limits = []
    for zone in accepted.garden.zones:
        valve = zone.valve
        if valve.relay_line is None:
            continue
        flow = accepted.lines.open_set(frozenset((zone.name,))).zones[zone.name].flow_m3_s
        slow_l_s = max(l_from_m3(flow) * share, _LEAST_FLOW_L_S)
        limits.append(
            LineLimits(
                number=valve.relay_line,
                active_low=accepted.garden.board.active_low,
                longest_open_s=min(valve.longest_open_s, DAY_S),
                most_open_s_per_day=min(
                    l_from_m3(zone.daily_cap_m3) / slow_l_s * _open_s_per_water_s(valve), DAY_S
                ),
                close_number=valve.close_line,
                opens_in_s=valve.opens_in_s,
                closes_in_s=valve.closes_in_s,
            )
        )
    return limits


def _open_s_per_water_s(valve: Valve) -> float:
    """Most open seconds for a second of full flow: in the shortest pulse, as long as its travel."""
    opens_s, closes_s = valve.opens_in_s, valve.closes_in_s
    if opens_s <= closes_s:
        return 1.0
    return opens_s / water_s(open_s=opens_s, opens_in_s=opens_s, closes_in_s=closes_s)


def master_of(accepted: Accepted) -> MasterLimits | None:
    """The garden's master valve, where a relay moves one."""
    master = accepted.garden.master
    if master is None or master.valve.relay_line is None:
        return None
    return MasterLimits(
        number=master.valve.relay_line,
        active_low=accepted.garden.board.active_low,
        leads_s=master.leads_s,
        lags_s=master.lags_s,
        close_number=master.valve.close_line,
        opens_in_s=master.valve.opens_in_s,
        closes_in_s=master.valve.closes_in_s,
    )


class ValveSet:
    """One bank at a time, with its closer and supervisor, on pins that outlive them."""

    def __init__(
        self,
        pins: PinDriver,
        clock: Clock,
        line_file: Path,
        record: Callable[[BankRecord], None],
        *,
        chip: int | None = None,
        kind: str = "mock",
        threads: bool = True,
    ) -> None:
        self._timed = TimedPins(pins, clock) if threads else None
        self._pins, self._clock, self._record = _Claimed(self._timed or pins), clock, record
        self._line_file, self._kind, self._named_chip = line_file, kind, chip
        # The stop step must go to the chip that was really opened, whatever the garden file says.
        opened = getattr(pins, "chip", None)
        self._chip: int | None = chip if opened is None else opened
        self._threads = threads
        self._limits: list[LineLimits] = []
        self._master: MasterLimits | None = None
        self.bank = Bank([], self._pins, clock, record)
        self.closer, self.supervisor = self._watchers()

    def keep_off(self, known: list[LineLimits]) -> None:
        """Drive off the lines of the run before, balls shut, and keep them off until `begin`.

        The line file names them already; none of them may open.
        """
        self._fit(known, None, Before(), write=False)

    def begin(self, accepted: Accepted, already_open_s: Mapping[int, float]) -> None:
        """Drive off every line of the garden, balls too, and keep them off.

        Lines that are kept off already stay off all the time. A ball that was driven shut meanwhile
        is not driven again.
        """
        limits, master = limits_of(accepted), master_of(accepted)
        still_shut = self._still_shut(_valves(limits, master))
        self._fit(limits, master, Before(open_s=already_open_s, shut=still_shut))
        self._pins.let_go_but({n for v in _valves(limits, master) for n in v.numbers})

    def refit(self, accepted: Accepted) -> bool:
        """Shut everything and begin anew with this garden's lines; False where nothing changes.

        Raises
        ------
        ValveFault
            If a line does not shut, or the old and new lines cannot live on one board; what was in
            force before stays so.
        """
        limits, master = limits_of(accepted), master_of(accepted)
        if (limits, master) == (self._limits, self._master):
            return False
        old, new = _valves(self._limits, self._master), _valves(limits, master)
        both = (*old, *new)
        uses = {(number, v.active_low, number == v.number) for v in both for number in v.numbers}
        if len(uses) != len({number for number, *_ in uses}):
            raise ValveFault(
                "the relays' off level has changed, or an open line has become a close line; start "
                "the daemon anew for that"
            )
        failed = self.bank.close_all("the garden file has changed")
        if failed:
            words = "; ".join(f"line {number}: {why}" for number, why in failed.items())
            raise ValveFault(f"the lines cannot be changed while one does not shut: {words}")
        # The new bank drives shut whatever moves as before; what does not must be shut by now.
        shut, moves = self._shut(), {_movement(valve) for valve in new}
        closing = [v.number for v in old if v.number not in shut and _movement(v) not in moves]
        if closing:
            words = ", ".join(map(str, closing))
            raise ValveFault(f"the lines cannot be changed while one is closing: {words}")
        known = {n.number for n in self._limits}
        already = {n.number: self.bank.used_s(n.number) for n in limits if n.number in known}
        self._fit(limits, master, Before(open_s=already, shut=self._still_shut(new)))
        return True

    def is_closing(self, line: int | None) -> bool:
        """Whether that line, or the master, is closing; False for an unknown line."""
        known = line is not None and line in self.bank.states()
        return known and self.bank.closing_s(line) > 0.0

    def wait_until_closed(self, meanwhile: Callable[[], None]) -> bool:
        """Wait until nothing is closing any more; whether that was reached.

        `meanwhile` is called several times a second. Without threads there is no waiting.
        """
        if not self._threads:
            return self.bank.closing_s() == 0.0
        return self.bank.wait_until_closed(self.bank.closing_s() + _MORE_S, meanwhile)

    def end(self, why: str, meanwhile: Callable[[], None] | None = None) -> Mapping[int, str]:
        """Shut every line for good, and wait for slow valves; returns what failed."""
        try:
            failed = dict(self.bank.shut_down(why, patience_s=END_PATIENCE_S))
        except ValveFault as fault:
            # Who holds the bank will never let go. The process must end for the stop step to run.
            failed = dict(self.bank.off_past_the_lock())
            slow = [v.number for v in _valves(self._limits, self._master) if v.close_number]
            return failed | dict.fromkeys(slow, f"{fault}; the stop step drives it shut")
        if not self.wait_until_closed(meanwhile or _nothing):
            failed |= {n.number: "it was still closing" for n in self._closing()}
        self.closer.stop()
        return failed

    def _shut(self) -> set[int]:
        states = self.bank.states().items()
        return {number for number, state in states if state in (State.CLOSED, State.BARRED)}

    def _still_shut(self, new: list[LineLimits]) -> frozenset[int]:
        """The valves that are shut now and move as before."""
        shut, moves = self._shut(), {_movement(valve) for valve in new}
        old = _valves(self._limits, self._master)
        return frozenset(v.number for v in old if v.number in shut and _movement(v) in moves)

    def release_all(self) -> None:
        """Drive every line off that was ever taken, for the end of the process."""
        self._pins.release_all()

    def hanging(self) -> Mapping[int, float]:
        """Lines of which a call hangs in the pin driver, and since when. [s]"""
        return self._timed.hanging() if self._timed else {}

    def _closing(self) -> list[LineLimits]:
        states = self.bank.states()
        closing = (State.CLOSING, State.RECLOSING)
        return [v for v in _valves(self._limits, self._master) if states.get(v.number) in closing]

    def _fit(
        self,
        limits: list[LineLimits],
        master: MasterLimits | None,
        before: Before,
        *,
        write: bool = True,
    ) -> None:
        old_bank, old_closer = self.bank, self.closer
        # The stop step must know old and new lines while both may be driven.
        both = dict.fromkeys((*self._limits, *limits))
        if write:
            self._write_line_file(list(both), [self._master, master])
        old_bank.shut_down("other lines take over")
        old_bank.retire()
        self.bank = Bank(
            limits,
            self._pins,
            self._clock,
            self._record,
            before,
            master=master,
            glance=self._timed.glance if self._timed else None,
        )
        self._limits, self._master = limits, master
        self.closer, self.supervisor = self._watchers()
        old_closer.stop()
        if write:
            self._write_line_file(limits, [master])

    def _write_line_file(
        self, limits: list[LineLimits], masters: list[MasterLimits | None]
    ) -> None:
        known = [m for m in dict.fromkeys(masters) if m is not None]
        write_line_file(
            self._line_file, limits, self._kind, self._chip, known, named_chip=self._named_chip
        )

    def _watchers(self) -> tuple[Closer, Supervisor]:
        closer = Closer(self.bank, self._clock)
        if self._threads:
            closer.start()
        return closer, Supervisor(self.bank, closer, self._clock, hanging=self.hanging)


def _valves(lines: list[LineLimits], master: MasterLimits | None) -> list[LineLimits]:
    return [*lines, *([] if master is None else [master.line])]


def _movement(valve: LineLimits) -> tuple[object, ...]:
    """What must stay the same for one bank to end a movement that another began."""
    # Rounded: the line file has how long a ball is driven, and its travel is computed from that.
    return (valve.numbers, round(valve.closing_s, 6))


def _nothing() -> None:
    """Nothing to do while we wait."""


class _Claimed:
    """Pins that the next bank may claim again: a line is taken once, and driven off after that.

    A line is given back and taken anew only if its off level has changed.
    """

    def __init__(self, pins: PinDriver) -> None:
        self._pins = pins
        self._taken: dict[int, bool] = {}  # line, and whether its relay is active low

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line, off; drive it off if it was taken before."""
        if self._taken.get(number) == active_low:
            self._pins.write(number, False)
            return
        if number in self._taken:
            self.let_go(number)
        self._pins.claim(number, active_low)
        self._taken[number] = active_low

    def let_go(self, number: int) -> None:
        """Drive the line off and give it back."""
        self._pins.let_go(number)
        del self._taken[number]

    def let_go_but(self, numbers: set[int]) -> None:
        """Give back all other lines: the garden may use them for something else."""
        for number in set(self._taken) - numbers:
            with contextlib.suppress(Exception):  # the next user of the line gets the fault
                self.let_go(number)

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""
        self._pins.write(number, on)

    def read(self, number: int) -> bool:
        """Whether the line's level is the one for on."""
        return self._pins.read(number)

    def release_all(self) -> None:
        """Drive every line off."""
        self._pins.release_all()


_LOG = logging.getLogger("rowgate")


class HeldLines:
    """The lines of the run before, held off by their own pins."""

    def __init__(self, known: Known, driver: PinDriver, valve_set: ValveSet) -> None:
        self.driver, self.valve_set, self._known = driver, valve_set, known

    def is_of(self, kind: str, named_chip: int | None) -> bool:
        """Whether a garden that names these pins and this chip means the same board."""
        return (self._known.pins, self._known.named_chip) == (kind, named_chip)

    def let_go(self, meanwhile: Callable[[], None]) -> bool:
        """Wait until balls are shut, then give chip and lines back; whether all are shut."""
        failed = self.valve_set.end("the pins are given back", meanwhile)
        try:
            self.valve_set.release_all()
            if isinstance(self.driver, GpioPins) and not self.valve_set.hanging():
                self.driver.close()
        except ValveFault as fault:
            _LOG.error("%s", fault)
            return False
        return not failed


def hold_known_lines(
    line_file: Path,
    clock: Clock,
    record: Callable[[BankRecord], None],
    driver: PinDriver | None = None,
) -> HeldLines | None:
    """Drive off every line that the run before may have left on; None where none is known.

    No fault here ends a start: it is logged, and the garden's own lines are driven off next.
    """
    try:
        known = read_line_file(line_file)
    except FileNotFoundError:
        return None  # no line was ever taken
    except Exception as fault:  # noqa: BLE001 - whatever is in the file; the garden's own come next
        _LOG.error("%s is not used, so no line is driven off yet: %s", line_file, fault)
        return None
    try:
        pins = driver or GpioPins(known.pins, known.chip)  # type: ignore[arg-type]
        valve_set = ValveSet(pins, clock, line_file, record, chip=known.named_chip, kind=known.pins)
        try:
            valve_set.keep_off(_limits(known, known.balls))
        except RowgateError as fault:  # what it says of the balls cannot be
            _LOG.error("%s: no valve is driven shut yet: %s", line_file, fault)
            valve_set.keep_off(_limits(known, []))
    except RowgateError as fault:
        _LOG.error("the lines of the run before cannot be driven off yet: %s", fault)
        return None
    for number, state in valve_set.bank.states().items():
        if state is State.STUCK:
            _LOG.error("line %d of the run before is not known to be off", number)
    return HeldLines(known, pins, valve_set)


def _limits(known: Known, balls: list[Ball]) -> list[LineLimits]:
    """The valves of the line file, the master first, as in the file. None of them ever opens."""
    closers = {opens: (closes, for_s) for opens, closes, for_s in balls}
    only_close = {closes for _, closes, _ in balls} - set(closers)
    found = []
    for number, off_level in known.off_levels.items():
        if number in only_close:
            continue
        closes, for_s = closers.get(number, (None, 0.0))
        found.append(
            LineLimits(
                number=number,
                active_low=off_level == 1,
                longest_open_s=DAY_S,
                most_open_s_per_day=DAY_S,
                close_number=closes,
                opens_in_s=travel_s(for_s),
                closes_in_s=travel_s(for_s),
            )
        )
    return found
