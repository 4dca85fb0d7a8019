"""How evenly a row waters, hole by hole, and the class of that uniformity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from controller.garden.model import Watering
from controller.hydraulics.network.geometry import Kind
from controller.hydraulics.network.results import RowFlow, ZoneFlow
from controller.hydraulics.network.uniformity import real_uniformity

Grade = Literal["excellent", "good", "fair", "poor"]
# Least uniformity of each class, low-quarter or emission (ASAE EP405 and EP458 usage; from memory).
GRADES: tuple[tuple[float, Grade], ...] = ((0.90, "excellent"), (0.80, "good"), (0.70, "fair"))
# Flow variation along a row up to which drip design practice calls it good, and acceptable (ASAE;
# from memory).
GOOD_VARIATION, MOST_VARIATION = 0.1, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleShare:
    """One hole of a row; `low_quarter` says whether it is among the weakest quarter."""

    number: int
    kind: Kind
    x_m: float
    flow_m3_s: float
    plugged: bool
    low_quarter: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RowShares:
    """How even a row is; `variation` leaves out drill and level."""

    uniformity: float
    variation: float
    grade: Grade
    dry_holes: int
    holes: tuple[HoleShare, ...]


def grade_of(uniformity: float) -> Grade:
    """The class of a uniformity, as practice names it."""
    return next((grade for least, grade in GRADES if uniformity >= least), "poor")


def row_shares(row: RowFlow, watering: Watering) -> RowShares:
    """How evenly a row's holes water, and which of them are the weakest.

    Parameters
    ----------
    row : RowFlow
        The row as solved.
    watering : Watering
        The garden's drilling scatter and error of level.

    Returns
    -------
    RowShares
        Uniformity and variation, 0 to 1; 0 for a row that gives nothing. [-]

    Raises
    ------
    OutOfRange
        If the scatter is not 0 to 1.

    Source
    ------
    uniformity.py, row by row, drain holes left out.
    """
    running = [h.flow_m3_s for h in row.holes if h.kind == "hole" and not h.plugged]
    uniformity = real_uniformity(row.holes, watering)
    low = _low_quarter(row)
    return RowShares(
        uniformity=uniformity,
        variation=row.variation,
        grade=grade_of(uniformity),
        dry_holes=sum(flow <= 0.0 for flow in running),
        holes=tuple(
            HoleShare(
                number=hole.number,
                kind=hole.kind,
                x_m=hole.x_m,
                flow_m3_s=hole.flow_m3_s,
                plugged=hole.plugged,
                low_quarter=index in low,
            )
            for index, hole in enumerate(row.holes)
        ),
    )


def drained_share(zone: ZoneFlow) -> float:
    """Part of a zone's water that leaves by drain holes while it runs.

    Parameters
    ----------
    zone : ZoneFlow
        The zone as solved.

    Returns
    -------
    float
        Share, 0 to 1. [-]

    Source
    ------
    A sum over its drain holes.
    """
    drains = [h.flow_m3_s for row in zone.rows for h in row.holes if h.kind == "drain"]
    return sum(drains) / zone.flow_m3_s if zone.flow_m3_s > 0.0 else 0.0


def _low_quarter(row: RowFlow) -> frozenset[int]:
    """Places of the weakest quarter of the open holes; a fraction of a hole counts as one."""
    open_holes: Sequence[int] = [
        i for i, h in enumerate(row.holes) if h.kind == "hole" and not h.plugged
    ]
    weakest = sorted(open_holes, key=lambda i: row.holes[i].flow_m3_s)
    return frozenset(weakest[: (len(weakest) + 3) // 4])
