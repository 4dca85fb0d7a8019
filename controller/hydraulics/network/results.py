"""Flows of the lines, as frozen values: of the open set, each zone, each row and each hole.

Heads are piezometric, in metres of water above the tap's height.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from controller.hydraulics.network.geometry import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleFlow:
    """One hole; `head_m` less `z_m` drives it, with all effects of the water's speed in it."""

    number: int
    x_m: float
    z_m: float
    bore_m: float
    head_m: float
    flow_m3_s: float
    plugged: bool
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class RowFlow:
    """One row; evenness (low-quarter uniformity) and variation leave drain holes out.

    `inlet_head_m` is the total head there. `air_at` are the places in `holes` that let air in.
    """

    flow_m3_s: float
    inlet_head_m: float
    evenness: float
    variation: float
    holes: tuple[HoleFlow, ...]
    air_at: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneFlow:
    """One open zone. `valve_head_m` is the head behind its valve, where its rows begin.

    `decided_by` is "valve" when the zone's own valve and take-off lose more than half of all the
    head lost from the supply at rest to the rows, else "supply".
    """

    zone: str
    flow_m3_s: float
    valve_head_m: float
    evenness: float
    variation: float
    dry_holes: int
    decided_by: Literal["supply", "valve"]
    rows: tuple[RowFlow, ...]

    @property
    def open_holes(self) -> tuple[HoleFlow, ...]:
        """Its holes that are not plugged, without drain holes, in the order of rows and inlet."""
        return tuple(hole for hole in self.holes if hole.kind == "hole" and not hole.plugged)

    @property
    def holes(self) -> tuple[HoleFlow, ...]:
        """All holes of all rows; a zone's uniformity is taken over them."""
        return tuple(hole for row in self.rows for hole in row.holes)


@dataclass(frozen=True, slots=True, kw_only=True)
class SetFlow:
    """Flows while exactly these zones are open."""

    supply_flow_m3_s: float
    tap_head_m: float
    zones: Mapping[str, ZoneFlow]


@dataclass(frozen=True, slots=True, kw_only=True)
class LineVolume:
    """Water in a zone's full laterals, and the part that drains after the valve has closed."""

    volume_m3: float
    drains_m3: float
