"""The hydraulics room in the terms packing asks in: what each zone of an open set gets."""

from __future__ import annotations

from collections.abc import Callable

from controller.hydraulics.lines import Lines
from controller.hydraulics.together import first_that_stays_open
from controller.units import l_from_m3

_MOST_KEPT = 4096  # sets, a megabyte or two; a season of sixty zones has far more; our choice


class NetworkFlows:
    """Flows from the rows' curves; which valves would not shut, remembered by set."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._stays_open: dict[frozenset[str], str | None] = {}

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of one open zone of the set. [L/s]"""
        return l_from_m3(self._lines.zone_flows(together)[zone])

    def dry_holes(self, zone: str, together: frozenset[str]) -> int:
        """Holes of that zone that give nothing."""
        return self._lines.zone_dry_holes(together)[zone]

    def refused_by(self, together: frozenset[str], least_share: float) -> Callable[[str], bool]:
        """Says of a zone whether it surely cannot join, each keeping that share of its flow."""
        return self._lines.refused_by(together, least_share)

    def stays_open(self, together: frozenset[str]) -> str | None:
        """Which valve would not shut while all of these are open, in words; None if all would."""
        if together not in self._stays_open:
            if len(self._stays_open) >= _MOST_KEPT:
                self._stays_open.clear()
            found = first_that_stays_open(self._lines, together)
            us_units = self._lines.garden.us_units
            self._stays_open[together] = None if found is None else found.words(us_units)
        return self._stays_open[together]
