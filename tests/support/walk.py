"""A garden as it is really wired, and a person who tells truly what is seen of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from controller.cli.walk.bench import Bench, Board
from controller.garden.model import Garden
from controller.garden.plumbing import Device
from support.clock import HandClock
from support.pins import HandInputs, RecordingPins

THINKS_S = 2.0  # before an answer


@dataclass(kw_only=True)
class Wiring:
    """What differs from the garden file.

    `moves`: which zones' valves a line really moves. `other_level`: relays are on while lines are
    off. `dead`: lines whose relay does nothing; `dry`: zones whose valve lets nothing through.
    `sticks`: zones that run on once they were opened; `resting`: zones on while their line is off.
    `swapped`: balls whose open and close wires are exchanged. `meter_per_s`: counts a second while
    water runs, `leak_per_s` always; `runs_on`: counts after each shutting.
    """

    moves: Mapping[int, frozenset[str]] = field(default_factory=dict)
    other_level: bool = False
    dead: frozenset[int] = frozenset()
    dry: frozenset[str] = frozenset()
    sticks: frozenset[str] = frozenset()
    resting: frozenset[str] = frozenset()
    swapped: frozenset[str] = frozenset()
    hidden: frozenset[str] = frozenset()  # it runs, and nobody sees it
    meter_per_s: float = 0.0
    leak_per_s: float = 0.0


class Plant:
    """Pins, relays, valves, water and meter, moved by the clock."""

    def __init__(self, garden: Garden, wiring: Wiring, clock: HandClock, pins: Any = None) -> None:
        self.garden, self.wiring, self.clock = garden, wiring, clock
        self.pins: Any = pins or RecordingPins(clock)
        self.inputs = HandInputs()
        self.valves = {z.name: z.valve for z in garden.zones if z.valve.relay_line is not None}
        self.moves: dict[int | None, frozenset[str]] = {
            v.relay_line: frozenset((name,)) for name, v in self.valves.items()
        }
        for line, zones in wiring.moves.items():
            self.moves[line] = zones
        self.balls = {n: False for n, v in self.valves.items() if v.device is Device.BALL_STAYS}
        self.stuck: set[str] = set()
        self.most_open_at_once = 0
        self._owed_counts = 0.0

    @property
    def board(self) -> Board:
        return Board(pins=self.pins, inputs=self.inputs, kind="mock")

    def relay_on(self, line: int | None) -> bool:
        """Whether the relay has pulled in."""
        if line is None or line in self.wiring.dead:
            return False
        on = bool(self.pins._on.get(line, False))
        return on != self.wiring.other_level if line in self.pins._on else False

    def moved(self) -> frozenset[str]:
        """Zones whose valves are open, water or not."""
        found = set(self.wiring.resting)
        for line, zones in self.moves.items():
            if self.relay_on(line):
                found |= zones
        found -= set(self.balls)
        found |= {name for name, is_open in self.balls.items() if is_open}
        self.stuck |= found & self.wiring.sticks
        return frozenset(found | self.stuck)

    def water(self) -> frozenset[str]:
        return self.moved() - self.wiring.dry

    def turn(self, seconds: float) -> None:
        """Time passes, in small steps: balls travel, the meter counts."""
        left = seconds
        while left > 1e-9:
            step = min(left, 0.5)
            left -= step
            for name in self.balls:
                valve = self.valves[name]
                opens, shuts = valve.relay_line, valve.close_line
                if name in self.wiring.swapped:
                    opens, shuts = shuts, opens
                if self.relay_on(opens):
                    self.balls[name] = True
                elif self.relay_on(shuts):
                    self.balls[name] = False
            rate = self.wiring.leak_per_s + (self.wiring.meter_per_s if self.water() else 0.0)
            self._owed_counts += rate * step
            self.clock.advance(step)
            while self._owed_counts >= 1.0 and self.garden.meter is not None:
                self._owed_counts -= 1.0
                self.inputs.pulse(self.garden.meter.line, self.clock.mono_s(), for_s=0.0)
            own = {v.relay_line for v in self.valves.values()}
            on = sum(1 for line in own if self.pins._on.get(line, False))
            self.most_open_at_once = max(self.most_open_at_once, on)


class Watcher:
    """Answers truly; `instead` may answer otherwise, by the number of the question."""

    def __init__(
        self,
        plant: Plant,
        look: Callable[[], None],
        bench: Callable[[], Bench | None],
        *,
        tap_open: bool = True,
        instead: Callable[[int, str, Watcher], str | bool | None] | None = None,
    ) -> None:
        self.plant, self._look, self._bench = plant, look, bench
        self.tap_open, self._instead = tap_open, instead
        self.questions: list[str] = []
        self.said: list[str] = []
        self._rest: frozenset[str] = frozenset()
        self._names = [z.name for z in plant.garden.zones]

    def say(self, words: str) -> None:
        self.said.append(words)

    def wait(self, seconds: float) -> None:
        left = seconds
        while left > 1e-9:
            step = min(left, 0.25)
            left -= step
            self.plant.turn(step)
            bench = self._bench()
            if bench is not None:
                bench._valve_set.closer.round()
            self._look()

    def ask(self, question: str, within_s: float) -> str | None:
        self.questions.append(question)
        self.wait(THINKS_S)
        if self._instead is not None:
            other = self._instead(len(self.questions) - 1, question, self)
            if other is None:
                self.wait(within_s)
                return None
            if isinstance(other, str):
                return other
        return self._truly(question)

    def _truly(self, question: str) -> str:
        plant = self.plant
        seen = plant.water() - plant.wiring.hidden if self.tap_open else plant.moved()
        if "all of the above so" in question or "Go on with the other lines" in question:
            return "yes"
        if "Is the tap open?" in question:
            return "yes" if self.tap_open else "no"
        if "nothing was opened" in question:
            self._rest = seen  # what ran already has not come by a line opened later
            if plant.wiring.other_level:
                return "all"
            return self._numbers(seen)
        if "Enter opens it" in question:
            return ""
        if "did water come" in question or "clicked or moved" in question:
            return self._numbers(seen - self._rest)
        if "Did a relay click" in question:
            line = int(question.split("for line ")[1].split("?")[0])
            return "no" if line in plant.wiring.dead else "yes"
        if "Has the water stopped" in question:
            return "no" if seen - self._rest else "yes"
        if "Did the water at" in question:
            name = question.split("Did the water at ")[1].split(" stop?")[0]
            return "no" if name in seen else "yes"
        raise AssertionError(f"a question nobody can answer: {question}")

    def _numbers(self, zones: frozenset[str]) -> str:
        return ",".join(str(self._names.index(name) + 1) for name in sorted(zones)) or "none"
