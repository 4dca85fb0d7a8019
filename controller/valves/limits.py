"""The limits of a line: its numbers on the board, its valve's travel, its open time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from controller.errors import OutOfRange, ValveFault, require_range

DAY_S = 86_400.0
LONGEST_TRAVEL_S = 300.0  # our choice: a valve slower than that is no valve for a garden
LONGEST_LEAD_S = 600.0  # our choice, for the master's lead and lag
# A valve is driven for longer than its travel: cold, wear and a weak supply make it slow.
DRIVE_FACTOR, DRIVE_MORE_S = 1.25, 1.0  # our choice


def drive_s(travel_s: float) -> float:
    """How long a valve is driven for its travel; 0 for one that moves at once. [s]"""
    return max(travel_s * DRIVE_FACTOR, travel_s + DRIVE_MORE_S) if travel_s > 0.0 else 0.0


def travel_s(driven_s: float) -> float:
    """The travel that is driven for so long: the inverse of `drive_s`. [s]"""
    return min(driven_s / DRIVE_FACTOR, driven_s - DRIVE_MORE_S) if driven_s > 0.0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LineLimits:
    """One valve's line of the board: its BCM GPIO number, its off level, its times.

    With a `close_number` the valve is a ball that stays where it is without current: `number` is
    driven to open it, `close_number` to shut it, never both. Without, a travel says how long water
    builds up after on, and runs on after off.
    """

    number: int
    active_low: bool
    longest_open_s: float
    most_open_s_per_day: float
    close_number: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0

    def __post_init__(self) -> None:
        for name, number in (("number", self.number), ("close_number", self.close_number)):
            if number is None and name == "close_number":
                continue
            if isinstance(number, bool) or not isinstance(number, int):
                raise OutOfRange(name, math.nan, 0, 1023)
            require_range(name, number, 0, 1023)
        if not 0.0 < self.longest_open_s <= DAY_S:  # also false for NaN
            raise OutOfRange("longest_open_s", self.longest_open_s, 0.0, DAY_S)
        if not 0.0 < self.most_open_s_per_day < math.inf:
            raise OutOfRange("most_open_s_per_day", self.most_open_s_per_day, 0.0, math.inf)
        require_range("opens_in_s", self.opens_in_s, 0.0, LONGEST_TRAVEL_S)
        require_range("closes_in_s", self.closes_in_s, 0.0, LONGEST_TRAVEL_S)
        if self.close_number is None:
            return
        if self.close_number == self.number:
            raise ValveFault(
                f"line {self.number} cannot open and close one valve; a ball that stays where it "
                "is needs a line for each"
            )
        if self.opens_in_s == 0.0 or self.closes_in_s == 0.0:
            raise ValveFault(
                f"line {self.number}: a ball that stays where it is needs its travel both ways, "
                "more than 0 s; nobody else knows when it has arrived"
            )

    @property
    def numbers(self) -> tuple[int, ...]:
        """Its lines of the board."""
        return (self.number,) if self.close_number is None else (self.number, self.close_number)

    @property
    def opening_s(self) -> float:
        """How long the open line of a ball that stays is driven. [s]"""
        return drive_s(self.opens_in_s)

    @property
    def closing_s(self) -> float:
        """How long water may run after the command to shut. [s]"""
        return drive_s(self.closes_in_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class MasterLimits:
    """A valve before all others: open `leads_s` before the first, until `lags_s` after the last.

    Its lead is never less than its own opening.
    """

    number: int
    active_low: bool
    leads_s: float = 0.0
    lags_s: float = 0.0
    close_number: int | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0

    def __post_init__(self) -> None:
        require_range("leads_s", self.leads_s, 0.0, LONGEST_LEAD_S)
        require_range("lags_s", self.lags_s, 0.0, LONGEST_LEAD_S)
        _ = self.line

    @property
    def line(self) -> LineLimits:
        """The master as a line; its times are those of the lines it serves."""
        return LineLimits(
            number=self.number,
            active_low=self.active_low,
            longest_open_s=DAY_S,
            most_open_s_per_day=DAY_S,
            close_number=self.close_number,
            opens_in_s=self.opens_in_s,
            closes_in_s=self.closes_in_s,
        )

    @property
    def lead_s(self) -> float:
        """How long it is open before a line opens. [s]"""
        return max(self.leads_s, drive_s(self.opens_in_s))
