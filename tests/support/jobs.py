"""A tap and a job for tests of packing: one zone on a relay in a morning of three hours."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from controller.garden.plumbing import ValveKind
from controller.messages import Message
from controller.timetable.need.dose import Soaking
from controller.timetable.packing.job import Job
from controller.timetable.windows import Stretch

FIVE = datetime(2031, 6, 1, 5, tzinfo=UTC)
SAND = Soaking(strip_m2=10.0, intake_mm_s=1.0, basin_mm=100.0)  # takes in whatever comes


class SharedTap:
    """A tap of so many litres a second; each zone takes its own flow or an equal share."""

    def __init__(self, tap_l_s: float, alone_l_s: Mapping[str, float]) -> None:
        self.tap_l_s, self.alone_l_s = tap_l_s, alone_l_s

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        return min(self.alone_l_s[zone], self.tap_l_s / len(together))

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        return 0

    def stays_open(self, together: frozenset[str]) -> Message | None:
        return None


def alike(tap_l_s: float, alone_l_s: float) -> SharedTap:
    """Such a tap; every zone takes the same flow alone."""
    return SharedTap(tap_l_s, defaultdict(lambda: alone_l_s))


def a_job(zone: str = "a", **more: Any) -> Job:
    plain = Job(
        zone=zone,
        day=date(2031, 6, 1),
        valve=ValveKind.RELAY,
        relay_line=17,
        even_litres=60.0,
        line_litres=0.0,
        urgency=0.5,
        stretches=(Stretch(FIVE, FIVE + timedelta(hours=3)),),
        soaking=SAND,
        longest_open_s=3600.0,
        shortest_pulse_s=5.0,
        cap_litres=1000.0,
    )
    return replace(plain, **more)
