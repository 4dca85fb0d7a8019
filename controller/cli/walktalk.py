"""The talk of a walk: one line of the board is opened, and the person at it is asked what moved.

Every valve shuts by its own deadline, whether anybody answers or not; whoever does not answer in
time, or has had enough, ends the walk, and its caller shuts everything.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from controller.cli.walkasking import (
    AGAIN,
    ALL,
    ELSEWHERE,
    NO,
    NONE,
    YES,
    Asking,
    Person,
    WalkEnded,
)
from controller.cli.walkseen import SKIPPED, AtRest, Tried
from controller.errors import ValveFault, ValveRefused
from controller.garden.model import Device, Garden, Zone
from controller.valves.bank import Bank
from controller.valves.limits import drive_s
from controller.valves.states import State

METER_AT_REST_S = 5.0  # how long a meter is watched for counts while all is shut; our choice
MINUTE_S = 60.0


class Counts(Protocol):
    """The meter's count."""

    def count(self) -> int:
        """Pulses since the start."""


class Talk:
    """One walk along the lines of a bank. What was seen so far is in `at_rest` and `tries`."""

    def __init__(
        self,
        garden: Garden,
        zones: Sequence[Zone],
        bank: Bank,
        person: Person,
        *,
        open_s: float,
        dry: bool,
        meter: Counts | None = None,
    ) -> None:
        self._garden, self._zones, self._bank, self._person = garden, zones, bank, person
        self._open_s, self._dry, self._meter = open_s, dry, None if dry else meter
        self._names = [zone.name for zone in garden.zones]
        self._asking = Asking(person, self._names)
        self.at_rest = AtRest()
        self.tries: list[Tried] = []

    def walk(self) -> None:
        """All of it. `WalkEnded` where it ends early."""
        self._wait_until_shut()
        self.at_rest = self._look_at_rest()
        if self.at_rest.all_on:
            return
        for number, zone in enumerate(self._zones, 1):
            if zone.name in self.at_rest.on:
                continue
            tried = self._try(zone, f"{number} of {len(self._zones)}")
            self.tries.append(tried)
            if tried.stopped is False and not self._asking.yes(
                f"SHUT THE TAP: water runs on after line {tried.line} is off.\n"
                "Go on with the other lines, the tap open again or not?"
            ):
                raise WalkEnded(f"{zone.name} does not close")

    # ---- before anything opens -------------------------------------------------------------------

    def _look_at_rest(self) -> AtRest:
        self._person.say("")
        for number, name in enumerate(self._names, 1):
            self._person.say(f"  {number:>2}  {name}")
        counts = None
        if self._meter is not None:
            before = self._meter.count()
            self._person.wait(METER_AT_REST_S)
            counts = self._meter.count() - before
        what = "is any relay's lamp on" if self._dry else "is any relay's lamp on, or water running"
        while True:
            said = self._asking.answer(
                f"All lines are at rest, and nothing was opened: {what}?\n"
                "  none; all; or the numbers of the zones"
            )
            if said in NONE or said in NO:
                return AtRest(counts=counts)
            if said in ALL:
                return AtRest(all_on=True, counts=counts)
            zones = self._asking.zones_of(said)
            if zones:
                changed = frozenset(
                    zone.name
                    for zone in self._zones
                    if zone.name in zones and self._shuts_when_opened(zone)
                )
                return AtRest(on=zones, changed=changed, counts=counts)

    def _shuts_when_opened(self, zone: Zone) -> bool:
        """Whether a ball with two lines stops the water while it is driven open."""
        line = zone.valve.relay_line
        if self._dry or zone.valve.device is not Device.BALL_STAYS or line is None:
            return False
        told = f"{zone.name} has a line to open it and one to shut it; line {line} opens it once"
        if not self._asking.enter_or_skip(told):
            return False
        try:
            self._bank.open(line, for_s=self._for_s(zone))
        except (ValveRefused, ValveFault) as fault:
            self._person.say(f"Not opened: {fault}")
            return False
        self._person.wait(drive_s(zone.valve.opens_in_s))
        shut = self._asking.yes(f"Did the water at {zone.name} stop?")
        self._shut(line)
        return shut

    # ---- one line --------------------------------------------------------------------------------

    def _try(self, zone: Zone, place: str) -> Tried:
        line = zone.valve.relay_line
        assert line is not None
        told = f"\n{place}: {zone.name}, relay line {line}, for {self._for_s(zone):.0f} s"
        while True:
            if not self._asking.enter_or_skip(told):
                return Tried(zone=zone.name, line=line, not_tried=SKIPPED)
            counted, used_s = self._count(), self._bank.used_s(line)
            try:
                self._bank.open(line, for_s=self._for_s(zone))
            except (ValveRefused, ValveFault) as fault:
                self._person.say(f"Not opened: {fault}")
                return Tried(zone=zone.name, line=line, not_tried=str(fault))
            seen = self._what_was_seen()
            self._shut(line)
            if seen is not None:
                open_s = max(0.0, self._bank.used_s(line) - used_s)
                return self._after(zone, line, open_s, *seen, counted)

    def _what_was_seen(self) -> tuple[frozenset[str], str] | None:
        """The zones, and where else; None to see it again."""
        what = (
            "Which zone's valve clicked or moved?" if self._dry else "At which zone did water come?"
        )
        while True:
            said = self._asking.answer(
                f"It opens now. {what}\n  number or name (several: 1,3); none; else; again"
            )
            if said in AGAIN:
                return None
            if said in NONE or said in NO:
                return frozenset(), ""
            if said in ELSEWHERE:
                return frozenset(), self._asking.answer("Where, in a few words?") or "not said"
            zones = self._asking.zones_of(said)
            if zones:
                return zones, ""

    def _after(
        self,
        zone: Zone,
        line: int,
        open_s: float,
        zones: frozenset[str],
        elsewhere: str,
        counted: int,
    ) -> Tried:
        """It is shut: what the meter counts now, what a person sees now."""
        counts = run_on = clicked = stopped = None
        if self._meter is not None:
            at_shut = self._meter.count()
            counts = at_shut - counted
            self._person.wait(METER_AT_REST_S)
            run_on = self._meter.count() - at_shut
        if not zones and not elsewhere:
            clicked = self._asking.yes_no_unsure(
                f"Did a relay click, or its lamp light, for line {line}?"
            )
        elif not self._dry:
            stopped = self._has_stopped()
        return Tried(
            zone=zone.name,
            line=line,
            open_s=open_s,
            seen=zones,
            elsewhere=elsewhere,
            clicked=clicked,
            stopped=stopped,
            counts=counts,
            run_on=run_on,
        )

    def _has_stopped(self) -> bool:
        while True:
            said = self._asking.answer(
                "It is shut. Has the water stopped? A drip while the row runs empty is right.\n"
                "  yes; no; wait (a minute)"
            )
            if said in YES or said in NO:
                return said in YES
            if said == "wait":
                self._person.wait(MINUTE_S)

    # ---- lines -----------------------------------------------------------------------------------

    def _for_s(self, zone: Zone) -> float:
        return min(self._open_s + drive_s(zone.valve.opens_in_s), zone.valve.longest_open_s)

    def _shut(self, line: int) -> None:
        """Shut it if its deadline has not, and wait until it is shut."""
        if self._bank.is_open(line):
            self._bank.close(line, "seen")
        self._wait_until_shut()

    def _wait_until_shut(self) -> None:
        while (closing_s := self._bank.closing_s()) > 0.0:
            self._person.wait(min(closing_s, 1.0))
        stuck = [n for n, state in self._bank.states().items() if state is State.STUCK]
        if stuck:
            numbers = ", ".join(map(str, stuck))
            raise WalkEnded(f"line {numbers} cannot be driven off: shut the tap now")

    def _count(self) -> int:
        return 0 if self._meter is None else self._meter.count()
