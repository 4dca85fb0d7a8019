"""The dialogue of a walk: questions with a time limit, and what it asks of each line.

Every valve shuts by its own deadline, with or without an answer. A person who does not answer in
time, or stops, ends the walk, and its caller shuts everything.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from typing import Protocol, TextIO

from controller.cli.walk.findings import SKIPPED, AtRest, Tried, WalkRecord
from controller.clock import Clock
from controller.errors import ValveFault, ValveRefused
from controller.garden.model import Zone
from controller.garden.plumbing import Device
from controller.valves.bank import Bank
from controller.valves.line import State, drive_s

ANSWER_WITHIN_S = 300.0  # our choice: long enough to walk to the far bed and back
YES, NO, UNSURE = ("yes", "y"), ("no", "n"), ("unsure", "?")
NONE, ALL = ("none", "nothing", "0"), ("all", "every")
ELSEWHERE, AGAIN = ("else", "elsewhere", "other"), ("again",)
END = ("end", "stop", "quit")


class WalkEnded(Exception):
    """The walk ends before its last line; the text says why."""


class Person(Protocol):
    """The person who walks. Both waits check the lines meanwhile, and raise if not safe."""

    def say(self, words: str) -> None:
        """Show the person some words."""

    def ask(self, question: str, within_s: float) -> str | None:
        """The answer, or None when none came in time."""

    def wait(self, seconds: float) -> None:
        """Let time pass."""


class Asking:
    """Asks questions and reads the answers."""

    def __init__(self, person: Person, zones: Sequence[str]) -> None:
        self._person, self._names = person, list(zones)

    def answer(self, question: str) -> str:
        """The answer in small letters; `WalkEnded` if none comes in time, or the person ends it."""
        answer = self._person.ask(question, ANSWER_WITHIN_S)
        if answer is None:
            raise WalkEnded(f"nobody answered within {ANSWER_WITHIN_S / 60.0:.0f} minutes")
        plain = answer.strip().casefold()
        if plain in END:
            raise WalkEnded("ended by the person")
        return plain

    def yes(self, question: str) -> bool:
        """Yes or no."""
        while True:
            answer = self.answer(f"{question}\n  yes; no")
            if answer in YES or answer in NO:
                return answer in YES

    def yes_no_unsure(self, question: str) -> bool | None:
        """Yes, no, or None for unsure."""
        while True:
            answer = self.answer(f"{question}\n  yes; no; unsure")
            if answer in UNSURE:
                return None
            if answer in YES or answer in NO:
                return answer in YES

    def enter_or_skip(self, words: str) -> bool:
        """Whether to go on; False to skip."""
        while True:
            answer = self.answer(f"{words}.\n  Enter opens it; skip; end")
            if answer in ("", "skip"):
                return answer == ""

    def zones_of(self, answer: str) -> frozenset[str]:
        """The zones of an answer; none, and a word to the person, where it does not read."""
        by_word = {str(number): name for number, name in enumerate(self._names, 1)}
        by_word |= {name.casefold(): name for name in self._names}
        if answer in by_word:  # a name may have a comma in it
            return frozenset((by_word[answer],))
        words = [word.strip() for word in answer.split(",") if word.strip()]
        unknown = [word for word in words if word not in by_word]
        if not words or unknown:
            shown = ", ".join(unknown) or "nothing"
            self._person.say(f"Found {shown}; zones are numbered 1 to {len(self._names)}.")
            return frozenset()
        return frozenset(by_word[word] for word in words)


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
            self._drop_earlier_input()
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

    def _drop_earlier_input(self) -> None:
        """An answer typed ahead is no answer to a question that was not asked yet."""
        ended = False
        while not self._lines.empty():
            ended = self._lines.get() is None or ended
        if ended:
            self._lines.put(None)


METER_AT_REST_S = 5.0  # how long a meter is watched for counts while all is shut; our choice
MINUTE_S = 60.0


class Counts(Protocol):
    """The meter's count."""

    def count(self) -> int:
        """Pulses since the start."""


class Talk:
    """One walk along the lines of a bank. What was seen goes into its record."""

    def __init__(
        self,
        record: WalkRecord,
        zones: Sequence[Zone],
        bank: Bank,
        person: Person,
        *,
        open_s: float,
        meter: Counts | None,
    ) -> None:
        self._record, self._zones, self._bank, self._person = record, zones, bank, person
        self._open_s, self._dry, self._meter = open_s, record.dry, None if record.dry else meter
        self._names = [zone.name for zone in record.garden.zones]
        self._asking = Asking(person, self._names)

    def walk(self) -> None:
        """Walk all lines. `WalkEnded` if it ends early."""
        self._wait_until_shut()
        at_rest = self._record.at_rest = self._look_at_rest()
        if at_rest.all_on:
            return
        for number, zone in enumerate(self._zones, 1):
            if zone.name in at_rest.on:
                continue
            tried = self._try(zone, f"{number} of {len(self._zones)}")
            self._record.tries.append(tried)
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
        what = "Is any relay's lamp on" if self._dry else "Is any relay's lamp on, or water running"
        while True:
            answer = self._asking.answer(
                f"All lines are off, and nothing was opened.\n{what}?\n"
                "  none; all; or the numbers of the zones"
            )
            if answer in NONE or answer in NO:
                return AtRest(counts=counts)
            if answer in ALL:
                return AtRest(all_on=True, counts=counts)
            zones = self._asking.zones_of(answer)
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
        prompt = f"{zone.name} has a line to open it and one to shut it; line {line} opens it once"
        if not self._asking.enter_or_skip(prompt):
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
        prompt = f"\n{place}: {zone.name}, relay line {line}, for {self._for_s(zone):.0f} s"
        while True:
            if not self._asking.enter_or_skip(prompt):
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
            answer = self._asking.answer(
                f"It opens now. {what}\n  number or name (several: 1,3); none; else; again"
            )
            if answer in AGAIN:
                return None
            if answer in NONE or answer in NO:
                return frozenset(), ""
            if answer in ELSEWHERE:
                return frozenset(), self._asking.answer("Where, in a few words?") or "not said"
            zones = self._asking.zones_of(answer)
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
        """After it is shut: what the meter counts now, and what a person sees now."""
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
            answer = self._asking.answer(
                "It is shut. Has the water stopped? A drip while the row runs empty is right.\n"
                "  yes; no; wait (a minute)"
            )
            if answer in YES or answer in NO:
                return answer in YES
            if answer == "wait":
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
