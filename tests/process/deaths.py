"""A season in which the daemon dies again and again, at moments and in ways that chance chooses."""

from __future__ import annotations

import random
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from process.manager import Manager
from process.season import LINES, Haste

# How often each way of dying is chosen, of a hundred.
WAYS = {"SIGTERM": 25, "SIGKILL": 35, "SIGSTOP": 10, "SIGKILL, no stop step": 15, "power cut": 15}
RESTART_S = 5.0  # RestartSec of the unit
MANUAL_S = 12.0  # as many seconds as a person asks for


@dataclass(frozen=True, slots=True)
class Death:
    """One death: when it came, and when every line had surely been seen to."""

    way: str
    real_s: float
    seen_to_s: float
    line_was_on: bool
    ready: bool  # whether the daemon had said so
    code: int
    off_after_s: float | None = None  # from SIGKILL to the last line off, where one was on


@dataclass
class Toll:
    """What was done to the daemon, and what it was told to its face."""

    deaths: list[Death] = field(default_factory=list)
    manual_opened: int = 0

    def by_way(self) -> Counter[str]:
        """How many of each."""
        return Counter(death.way for death in self.deaths)


class Season:
    """Runs the daemon, kills it, and starts it again."""

    def __init__(self, manager: Manager, chance: random.Random) -> None:
        self.manager, self._chance = manager, chance
        self.haste, self.toll = Haste(manager), Toll()

    def kill_times(self, times: int) -> None:
        """So many deaths, then a last whole stretch and a quiet end."""
        for _ in range(times):
            self._one_life()
        self.manager.started()
        self._run(lambda: False, for_s=3.0)
        self.manager.until(lambda: not self.manager.on())
        assert self.manager.terminate() == 0
        assert self.manager.stop_step() == 0

    def _one_life(self) -> None:
        manager, chance = self.manager, self._chance
        manager.start()
        if chance.random() < 0.65:  # under water
            if not self._run(manager.on, for_s=20.0):
                return self._died_by_itself()
            for_s = chance.uniform(0.0, 1.6)
        else:
            for_s = chance.uniform(0.0, 3.5)
        if chance.random() < 0.2:
            self._open_by_hand()
        if not self._run(lambda: False, for_s=for_s):
            return self._died_by_itself()
        (way,) = chance.choices(list(WAYS), weights=list(WAYS.values()))
        self._die(way)
        return None

    def _run(self, true: Callable[[], bool], *, for_s: float) -> bool:
        """Go on until something is true, for so long at most; whether the daemon lives."""
        ends = time.monotonic() + for_s
        while time.monotonic() < ends and not true():
            assert self.manager.child is not None
            if self.manager.child.poll() is not None:
                return False
            self.haste.go_on()
            time.sleep(0.01)
        return True

    def _open_by_hand(self) -> None:
        zone = self._chance.choice(list(LINES))
        answer = self.manager.ask_or_none(ask="open", zone=zone, seconds=MANUAL_S)
        if answer is not None and answer["ok"]:
            self.toll.manual_opened += 1

    def _die(self, way: str) -> None:
        manager = self.manager
        was_on, ready, at_s = manager.on(), manager.ready, time.monotonic()
        if way == "SIGTERM":
            code = manager.terminate()
        elif way == "SIGSTOP":
            code = manager.stop_and_wait_for_the_watchdog()
        else:
            code = manager.kill()
        if way in ("SIGTERM", "SIGKILL", "SIGSTOP"):
            manager.stop_step()
        elif way == "power cut":
            manager.recorder.ask("power off")
            manager.page.reboot()
        seen_to_s = time.monotonic()
        off_after_s = None
        if way == "SIGKILL" and was_on:
            offs = [c.real_s for c in manager.recorder.changes() if c.real_s > at_s and c.line >= 0]
            off_after_s = max(offs, default=at_s) - at_s
        if way == "SIGKILL, no stop step":
            seen_to_s = float("inf")  # until the next start has driven all off; set then
        self.toll.deaths.append(Death(way, at_s, seen_to_s, was_on, ready, code, off_after_s))
        if not manager.on():
            manager.page.turn(by_s=RESTART_S)

    def _died_by_itself(self) -> None:
        assert self.manager.child is not None
        code, at_s = self.manager.child.wait(), time.monotonic()
        self.manager.stop_step()
        self.toll.deaths.append(
            Death("by itself", at_s, time.monotonic(), False, self.manager.ready, code)
        )
