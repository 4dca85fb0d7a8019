"""The garden's lines as a bank with those who close it; the change to another garden's lines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from controller.clock import Clock
from controller.daemon.gardenfile import Accepted
from controller.errors import ValveFault
from controller.units import l_from_m3
from controller.valves.alloff import write_line_file
from controller.valves.bank import Bank
from controller.valves.closer import Closer, Supervisor
from controller.valves.pins import PinDriver
from controller.valves.states import DAY_S, LineLimits
from controller.valves.tell import BankRecord

LINE_FILE = "lines.json"
_LEAST_FLOW_L_S = 1e-9


def limits_of(accepted: Accepted) -> list[LineLimits]:
    """The lines of a garden and how long each may be open.

    The zone's daily cap is litres. In seconds it is the cap over the flow the zone has when others
    have brought it down as far as the plan lets them; so it never stops a rightful plan, and stops
    a mistake. The litres themselves are counted where pulses are planned and asked for.
    """
    share = accepted.garden.watering.least_share
    limits = []
    for zone in accepted.garden.zones:
        if zone.valve.relay_line is None:
            continue
        flow = accepted.lines.open_set(frozenset((zone.name,))).zones[zone.name].flow_m3_s
        slow_l_s = max(l_from_m3(flow) * share, _LEAST_FLOW_L_S)
        limits.append(
            LineLimits(
                number=zone.valve.relay_line,
                active_low=accepted.garden.board.active_low,
                longest_open_s=min(zone.valve.longest_open_s, DAY_S),
                most_open_s_per_day=min(l_from_m3(zone.daily_cap_m3) / slow_l_s, DAY_S),
            )
        )
    return limits


class Waterworks:
    """One bank at a time, its closer and its supervisor, on pins that outlive them."""

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
        self._pins, self._clock, self._record = _Claimed(pins), clock, record
        self._line_file, self._kind = line_file, kind
        # The stop step must go to the chip that was really opened, whatever the garden file says.
        opened = getattr(pins, "chip", None)
        self._chip: int | None = chip if opened is None else opened
        self._threads = threads
        self._limits: list[LineLimits] = []
        self.bank = Bank([], self._pins, clock, record)
        self.closer, self.supervisor = self._watchers()

    def begin(self, accepted: Accepted, already_open_s: Mapping[int, float]) -> None:
        """Drive every line of the garden off, and begin to keep them."""
        self._fit(limits_of(accepted), already_open_s)

    def refit(self, accepted: Accepted) -> bool:
        """Shut everything and begin anew with this garden's lines; False where nothing changes.

        Raises
        ------
        ValveFault
            If a line does not shut, or the old and new lines cannot live on one board; what was in
            force before stays so.
        """
        limits = limits_of(accepted)
        if limits == self._limits:
            return False
        levels = {(n.number, n.active_low) for n in (*self._limits, *limits)}
        if len(levels) != len({number for number, _ in levels}):
            raise ValveFault("the relays' off level has changed; start the daemon anew for that")
        failed = self.bank.close_all("the garden file has changed")
        if failed:
            words = "; ".join(f"line {number}: {why}" for number, why in failed.items())
            raise ValveFault(f"the lines cannot be changed while one does not shut: {words}")
        known = {n.number for n in self._limits}
        already = {n.number: self.bank.used_s(n.number) for n in limits if n.number in known}
        self._fit(limits, already)
        return True

    def end(self, why: str) -> Mapping[int, str]:
        """Shut every line for good; what failed."""
        failed = self.bank.shut_down(why)
        self.closer.stop()
        return failed

    def _fit(self, limits: list[LineLimits], already_open_s: Mapping[int, float]) -> None:
        old_bank, old_closer = self.bank, self.closer
        # The stop step must know old and new lines while both may be driven.
        both = {n.number: n for n in (*self._limits, *limits)}
        self._write_line_file(list(both.values()))
        old_bank.shut_down("other lines take over")
        self.bank = Bank(limits, self._pins, self._clock, self._record, already_open_s)
        self._limits = limits
        self.closer, self.supervisor = self._watchers()
        old_closer.stop()
        self._write_line_file(limits)

    def _write_line_file(self, limits: list[LineLimits]) -> None:
        write_line_file(self._line_file, limits, self._kind, self._chip)

    def _watchers(self) -> tuple[Closer, Supervisor]:
        closer = Closer(self.bank, self._clock)
        if self._threads:
            closer.start()
        return closer, Supervisor(self.bank, closer, self._clock)


class _Claimed:
    """Pins that may be claimed again by the next bank: a line is taken once, then driven off."""

    def __init__(self, pins: PinDriver) -> None:
        self._pins = pins
        self._taken: set[int] = set()

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line, off; drive it off if it was taken before."""
        if number in self._taken:
            self._pins.write(number, False)
            return
        self._pins.claim(number, active_low)
        self._taken.add(number)

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""
        self._pins.write(number, on)

    def read(self, number: int) -> bool:
        """Whether the line's level is the one for on."""
        return self._pins.read(number)

    def release_all(self) -> None:
        """Drive every line off."""
        self._pins.release_all()
