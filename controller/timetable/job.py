"""What packing is handed: each zone's job of the day, and the network to ask for flows."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol, runtime_checkable

from controller.garden.model import ValveKind
from controller.timetable.dose import Soaking
from controller.timetable.windows import Stretch


class Flows(Protocol):
    """What packing asks of the network."""

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""

    def stays_open(self, together: frozenset[str]) -> str | None:
        """Which valve of the set would not shut for want of pressure, in words; None for none."""


@runtime_checkable
class FlowsForeseen(Flows, Protocol):
    """A network that can say of many zones at once that they cannot join an open set."""

    def refused_by(self, together: frozenset[str], least_share: float) -> Callable[[str], bool]:
        """Says of a zone whether it surely cannot join, each keeping that share of its flow."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One zone's dose of one day, ready to be packed."""

    zone: str
    day: date
    valve: ValveKind
    relay_line: int | None
    even_litres: float
    line_litres: float
    urgency: float
    stretches: Sequence[Stretch]  # a tuple where days gone are kept by their jobs
    soaking: Soaking
    longest_open_s: float
    shortest_pulse_s: float  # of a full line
    cap_litres: float  # what the daily cap still leaves
    first_slot: int = 1
    hold_reason: str | None = None
    opens_in_s: float = 0.0
    closes_in_s: float = 0.0
    uniformity: float = 1.0  # that its dose is divided by
    spread: bool = False  # over all stretches, an equal share in each, instead of at the first
