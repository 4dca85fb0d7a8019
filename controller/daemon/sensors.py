"""What hangs on input pins besides the meter: switches that keep all shut, and a tipping gauge.

While a switch is wet or cold nothing opens by plan; what is open runs on to its deadline, and a
person may open. The gauge's tips go into the logbook as millimetres of the garden's own day.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from datetime import date

from controller.clock import Clock
from controller.errors import LogbookError, OutOfRange, RowgateError
from controller.garden.model import Sensor, SensorKind

TELL_EVERY_S = 900.0  # a switch that flaps is told of at most so often; our choice
WRITE_TIPS_EVERY_S = 300.0  # at most this much rain is lost with the power; our choice
WRITE_HOURS_EVERY_S = 3600.0  # how long the gauge was watched, when nothing tips; our choice
_WORDS = {
    SensorKind.RAIN_SWITCH: "the rain switch is wet",
    SensorKind.FREEZE_SWITCH: "the freeze switch is cold",
}
_LOG = logging.getLogger("rowgate.sensors")

Level = Callable[[int], bool]
Tell = Callable[[str, str], None]


class Switches:
    """The rain and freeze switches; one that cannot be read keeps nothing shut, and is told of."""

    def __init__(self, sensors: Iterable[Sensor], level: Level, clock: Clock, tell: Tell) -> None:
        self._sensors = tuple(s for s in sensors if s.kind in _WORDS)
        self._level, self._clock, self._tell = level, clock, tell
        self._told, self._told_mono_s = "", float("-inf")
        self.why_shut = ""
        self.faults: tuple[str, ...] = ()

    def look(self) -> None:
        """Read each of them; `why_shut` says why nothing opens by plan, if something says so."""
        shut, faults = [], []
        for sensor in self._sensors:
            try:
                if self._level(sensor.line):
                    shut.append(_WORDS[sensor.kind])
            except RowgateError as fault:
                faults.append(f"the {sensor.kind} on line {sensor.line} cannot be read: {fault}")
        self.why_shut, self.faults = " and ".join(shut), tuple(faults)
        words = "; ".join([*([self.why_shut] if shut else []), *faults])
        now = self._clock.mono_s()
        if words != self._told and now - self._told_mono_s >= TELL_EVERY_S:
            self._told, self._told_mono_s = words, now
            if shut:
                self._tell("sensor", f"{self.why_shut}: nothing opens by plan")
            for unread in faults:
                self._tell("sensor", unread)
            if not words:
                self._tell("sensor", "the switches let water again")


class TippingGauge:
    """Tips to millimetres by local day, written as increments: bounded writes, little to lose.

    `write` takes a day, millimetres and hours watched. A day that was hardly watched is not taken
    for the day's rain by those who read it.
    """

    def __init__(
        self,
        mm_per_tip: float,
        count: Callable[[], int],
        clock: Clock,
        write: Callable[[date, float, float], None],
        tell: Tell,
    ) -> None:
        self._mm_per_tip, self._count, self._clock, self._write = mm_per_tip, count, clock, write
        self._tell = tell
        self._counted = count()
        self._looked_mono_s = self._written_mono_s = clock.mono_s()
        self._owed: dict[date, list[float]] = {}  # mm and hours not written yet

    @property
    def unwritten_mm(self) -> float:
        """Rain the logbook has not taken yet. [mm]"""
        return sum(mm for mm, _ in self._owed.values())

    def look(self, today: date) -> None:
        """Take in the tips since the last look, and write what is due."""
        now, count = self._clock.mono_s(), self._count()
        owed = self._owed.setdefault(today, [0.0, 0.0])
        owed[0] += (count - self._counted) * self._mm_per_tip
        owed[1] += (now - self._looked_mono_s) / 3600.0
        self._counted, self._looked_mono_s = count, now
        every_s = WRITE_TIPS_EVERY_S if self.unwritten_mm > 0.0 else WRITE_HOURS_EVERY_S
        over = any(day != today for day in self._owed)
        since_s = now - self._written_mono_s
        if since_s >= every_s or (over and since_s >= WRITE_TIPS_EVERY_S / 5.0):
            self.flush()

    def flush(self) -> None:
        """Write what is owed; what the logbook does not take is kept for the next time."""
        self._written_mono_s = self._clock.mono_s()
        for day in sorted(self._owed):
            mm, hours = self._owed[day]
            try:
                if mm > 0.0 or hours > 0.0:
                    self._write(day, mm, hours)
            except LogbookError as fault:
                _LOG.error("the rain gauge: %s", fault)
                return
            except OutOfRange as fault:  # no cloud does that: the pin is loose
                self._tell("sensor", f"the rain gauge counts what cannot be, left out: {fault}")
            del self._owed[day]
