"""The daemon's counts since its start and its state, as one frozen page of facts.

The engine writes a new page now and then; the health address reads the last one, and so neither
waits nor holds anything up.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from controller.daemon.host.board import BoardNow
from controller.daemon.openings import Ended


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The daemon's state at a moment of the monotonic clock; None for what never was."""

    at_mono_s: float
    litres: Mapping[str, float] = field(default_factory=dict)  # by zone, since the start
    pulses: Mapping[tuple[str, str], int] = field(default_factory=dict)  # by zone, how known
    reported: Mapping[str, int] = field(default_factory=dict)  # happenings by kind
    open_lines: int = 0
    planned_mono_s: float | None = None
    weather_mono_s: float | None = None  # when a source last gave days
    clock_believed: bool = True
    litres_by: str = "time"
    starts_in_last_day: int = 1
    board: BoardNow = field(default_factory=BoardNow)


class Counts:
    """Counts since the start; used in the engine's thread."""

    def __init__(self) -> None:
        self.litres: dict[str, float] = {}
        self.pulses: Counter[tuple[str, str]] = Counter()

    def ended(self, end: Ended) -> None:
        """Count an opening that is over."""
        zone = end.running.zone
        self.litres[zone] = self.litres.get(zone, 0.0) + end.litres
        self.pulses[zone, str(end.how)] += 1
