"""The inputs of packing: jobs, flows of open sets, times on whole seconds."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Protocol, runtime_checkable

from controller.garden.plumbing import ValveKind
from controller.hydraulics.design.open_together import first_that_stays_open
from controller.hydraulics.network.garden_lines import Lines
from controller.messages import Message
from controller.timetable.need.dose import Soaking
from controller.timetable.need.pulse_length import least_open_s
from controller.timetable.windows import Stretch
from controller.units import l_from_m3


class Flows(Protocol):
    """The questions of packing to the network."""

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""

    def stays_open(self, together: frozenset[str]) -> Message | None:
        """Message on a valve of the set that would not shut for lack of pressure; else None."""


@runtime_checkable
class FlowsForeseen(Flows, Protocol):
    """A network that can test many zones at once against an open set."""

    def refused_by(self, together: frozenset[str], least_share: float) -> Callable[[str], bool]:
        """Says of a zone whether it surely cannot join, each keeping that share of its flow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One zone's dose on one day, ready for packing."""

    zone: str
    day: date
    valve: ValveKind
    relay_line: int | None
    even_litres: float
    line_litres: float
    urgency: float
    stretches: Sequence[Stretch]  # a tuple if past days are cached by their jobs
    soaking: Soaking
    longest_open_s: float
    shortest_pulse_s: float  # of a full line
    cap_litres: float  # left of the daily cap
    first_slot: int = 1
    held: Message | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0
    uniformity: float = 1.0  # by which its dose is divided
    spread: bool = False  # in equal shares over all stretches, instead of in the first
    keeper: str = ""  # who turns a hand valve
    own_rule: bool = False  # seedbeds and plants just set out: no limit of visits holds them back
    needed_litres: float = 0.0  # of them, without which the crop runs short before the next chance


@dataclass(slots=True, eq=False)
class JobState:
    """The state of a job in the simulation."""

    job: Job
    soaking: Soaking  # the job's, with room in the basin for the water that runs out of the line
    left_l: float
    slot: int
    at: int = 0  # its place in the order
    standing_mm: float = 0.0
    open_since_s: float | None = None  # time of the command to open
    shut_at_s: float = 0.0  # completely shut, after its travel
    opening_s: float = 0.0  # of the opening, before its water counts
    fill_left_l: float = 0.0
    passed_l: float = 0.0
    target_l: float = 0.0
    too_little: Message | None = None
    together: set[str] = field(default_factory=set)
    each_stretch_l: float = 0.0  # reserved for each stretch that has not begun
    # While it waits, dry and shut: the end of the stretch in which it may open at any time of the
    # grid, or the time from which it may; and the open set that it could not join.
    may_until_s: float | None = None
    not_before_s: float = 0.0
    refused: frozenset[str] | None = None
    # Of a hand valve: litres given, minutes of this opening at least and at most, and what limit of
    # visits or turns keeps it back.
    given_l: float = 0.0
    least_min: int = 1
    most_min: int = 0
    kept_back: Message | None = None
    visit: int = 0  # of its keeper, to which its last opening belongs

    def waits_anew(self) -> None:
        """Forget when it may open."""
        self.may_until_s, self.not_before_s, self.refused = None, 0.0, None

    def shuts_in_s(self, now: float, flow_l_s: float) -> float:
        """Time of the command to shut, so that neither target nor basin is exceeded. [s]"""
        soaking, fill_s = self.soaking, self.fill_left_l / flow_l_s
        water_left_s = fill_s + min(
            self.target_l / flow_l_s, soaking.seconds_to_full(flow_l_s, self.standing_mm)
        )
        assert self.open_since_s is not None
        if self.job.valve is ValveKind.HAND:
            return self._shuts_on_the_minute_in_s(now, flow_l_s)
        least_s = self.open_since_s + least_open_s(self.job.opens_in_s) - now
        return max(least_s, self.opening_s + water_left_s - self.job.closes_in_s / 2.0)

    def _shuts_on_the_minute_in_s(self, now: float, flow_l_s: float) -> float:
        """The same of a hand valve: after whole minutes, the nearest to its target. [s]"""
        assert self.open_since_s is not None
        gone_s = now - self.open_since_s
        full_s = gone_s + self.opening_s + self.fill_left_l / flow_l_s - self.job.closes_in_s / 2.0
        wanted = math.floor((full_s + self.target_l / flow_l_s) / 60.0 + 0.5 + 1e-6)
        basin_s = full_s + self.soaking.seconds_to_full(flow_l_s, self.standing_mm)
        if math.isfinite(basin_s):
            wanted = min(wanted, math.floor(basin_s / 60.0 + 1e-6))
        begun = math.ceil(gone_s / 60.0 - 1e-6)  # the minute that runs goes to its end
        minutes = min(max(wanted, self.least_min, begun), max(self.most_min, begun))
        return minutes * 60.0 - gone_s

    def run(self, flow_l_s: float, seconds: float) -> None:
        """Let its water flow for this time; the first part fills the line."""
        passed = flow_l_s * seconds
        filling = min(self.fill_left_l, passed)
        self.fill_left_l -= filling
        spread = passed - filling
        self.passed_l += passed
        self.given_l += passed
        self.target_l -= spread
        self.left_l -= spread
        self.standing_mm = self.soaking.standing_after(
            self.standing_mm, flow_l_s, spread / flow_l_s
        )


def seconds_after(moment: datetime, start: datetime) -> float:
    """Seconds from the start to a time. [s]"""
    return (moment - start).total_seconds()


def whole_second(moment: datetime) -> datetime:
    """The next whole second."""
    if moment.microsecond:
        return moment.replace(microsecond=0) + timedelta(seconds=1)
    return moment


def ceil_to(at: float, grid_s: float, start: datetime) -> float:
    """The next time on the grid of whole seconds or minutes of the clock.

    Parameters
    ----------
    at : float
        Time after `start`; infinity stays infinity. [s]
    grid_s : float
        Step of the grid, above 0. [s]
    start : datetime
        The zero of `at`.

    Returns
    -------
    float
        Time after `start`, 0 or more. [s]

    Source
    ------
    Our choice: relays go by the second, people by the minute.

    Examples
    --------
    >>> from datetime import UTC
    >>> ceil_to(31.0, 60.0, datetime(2031, 6, 26, 5, 0, 30, tzinfo=UTC))  # 5:01:01, so 5:02
    90.0
    """
    if math.isinf(at):
        return at
    offset = start.timestamp() % grid_s
    return max(0.0, math.ceil((at + offset) / grid_s - 1e-9) * grid_s - offset)


_MOST_KEPT = 4096  # sets, a megabyte or two; a season of sixty zones has far more; our choice


class NetworkFlows:
    """Flows from the rows' curves; valves that would not shut are cached by set."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._stays_open: dict[frozenset[str], Message | None] = {}

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""
        return l_from_m3(self._lines.zone_flows(together)[zone])

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""
        return self._lines.zone_dry_holes(together)[zone]

    def refused_by(self, together: frozenset[str], least_share: float) -> Callable[[str], bool]:
        """Says of a zone whether it surely cannot join, each keeping that share of its flow."""
        return self._lines.refused_by(together, least_share)

    def stays_open(self, together: frozenset[str]) -> Message | None:
        """Message on a valve that would not shut while all of these are open; else None."""
        if together not in self._stays_open:
            if len(self._stays_open) >= _MOST_KEPT:
                self._stays_open.clear()
            found = first_that_stays_open(self._lines, together)
            self._stays_open[together] = None if found is None else found.message
        return self._stays_open[together]
