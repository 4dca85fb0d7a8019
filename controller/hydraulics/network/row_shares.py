"""How a row's water is shared out: each hole's part, and the figures by which a row is judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from controller.garden.model import Watering
from controller.hydraulics.network.geometry import Kind
from controller.hydraulics.network.results import RowFlow, ZoneFlow
from controller.hydraulics.network.uniformity import emission_uniformity, real_uniformity

Grade = Literal["excellent", "good", "fair", "poor"]
# Least uniformity of each class, low-quarter or emission (ASAE EP405 and EP458 usage; from memory).
GRADES: tuple[tuple[float, Grade], ...] = ((0.90, "excellent"), (0.80, "good"), (0.70, "fair"))
# Flow variation along a row up to which drip design practice calls it good, and acceptable (ASAE;
# from memory).
GOOD_VARIATION, MOST_VARIATION = 0.1, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class HoleShare:
    """One hole's part. `of_row` is of all the row's water, `of_mean` against a mean open hole."""

    number: int
    kind: Kind
    x_m: float
    flow_m3_s: float
    of_row: float
    of_mean: float
    plugged: bool
    low_quarter: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RowShares:
    """How even a row is. `pipe_uniformity` and `variation` leave out drill and level."""

    uniformity: float
    pipe_uniformity: float
    emission_uniformity: float
    variation: float
    grade: Grade
    dry_holes: int
    drained_share: float
    holes: tuple[HoleShare, ...]


def grade_of(uniformity: float) -> Grade:
    """The class of a uniformity, as practice names it."""
    return next((grade for least, grade in GRADES if uniformity >= least), "poor")


def row_shares(row: RowFlow, watering: Watering, *, outlets_per_plant: int = 1) -> RowShares:
    """How a row's water is shared out among its holes.

    Parameters
    ----------
    row : RowFlow
        The row as solved.
    watering : Watering
        The garden's drilling scatter and error of level.
    outlets_per_plant : int
        Holes that feed one plant.

    Returns
    -------
    RowShares
        Uniformities and shares, 0 to 1; of a row that gives nothing, 0. [-]

    Raises
    ------
    OutOfRange
        If the scatter is not 0 to 1, or there is no outlet a plant.

    Source
    ------
    uniformity.py, row by row; drain holes count for shares of the row's water only.
    """
    running = [h.flow_m3_s for h in row.holes if h.kind == "hole" and not h.plugged]
    mean = sum(running) / len(running) if running else 0.0
    uniformity = real_uniformity(row.holes, watering)
    emission = 0.0
    if mean > 0.0:
        emission = emission_uniformity(
            least_flow_m3_s=min(running),
            mean_flow_m3_s=mean,
            scatter_fraction=watering.drilling_scatter,
            outlets_per_plant=outlets_per_plant,
        )
    low = _low_quarter(row)
    return RowShares(
        uniformity=uniformity,
        pipe_uniformity=row.evenness,
        emission_uniformity=emission,
        variation=row.variation,
        grade=grade_of(uniformity),
        dry_holes=sum(flow <= 0.0 for flow in running),
        drained_share=_part(
            sum(h.flow_m3_s for h in row.holes if h.kind == "drain"), row.flow_m3_s
        ),
        holes=tuple(
            HoleShare(
                number=hole.number,
                kind=hole.kind,
                x_m=hole.x_m,
                flow_m3_s=hole.flow_m3_s,
                of_row=_part(hole.flow_m3_s, row.flow_m3_s),
                of_mean=_part(hole.flow_m3_s, mean),
                plugged=hole.plugged,
                low_quarter=index in low,
            )
            for index, hole in enumerate(row.holes)
        ),
    )


def shares_text(shares: RowShares) -> str:
    """A row's evenness in one line, and who gets most and least."""
    running = [h for h in shares.holes if h.kind == "hole" and not h.plugged]
    if not running or max(h.flow_m3_s for h in running) <= 0.0:
        return "no hole gives water"
    most, least = (f(running, key=lambda h: h.of_mean) for f in (max, min))
    words = (
        f"low quarter {100 * shares.uniformity:.0f} % of the mean with drill and level "
        f"({shares.grade}), emission uniformity {100 * shares.emission_uniformity:.0f} %, spread "
        f"{100 * shares.variation:.0f} %; hole {most.number} gives {100 * most.of_mean:.0f} % of "
        f"the mean, hole {least.number} {100 * least.of_mean:.0f} %"
    )
    if shares.dry_holes:
        words += f"; {shares.dry_holes} dry"
    if shares.drained_share > 0.0:
        words += f"; {100 * shares.drained_share:.0f} % leaves by drain holes"
    return words


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

    Raises
    ------
    OutOfRange
        Never, for a zone as solved.

    Source
    ------
    A sum over its drain holes.
    """
    drains = [h.flow_m3_s for row in zone.rows for h in row.holes if h.kind == "drain"]
    return _part(sum(drains), zone.flow_m3_s)


def _low_quarter(row: RowFlow) -> frozenset[int]:
    """Places in the row of its weakest quarter of open holes; a broken one counts whole."""
    open_holes: Sequence[int] = [
        i for i, h in enumerate(row.holes) if h.kind == "hole" and not h.plugged
    ]
    weakest = sorted(open_holes, key=lambda i: row.holes[i].flow_m3_s)
    return frozenset(weakest[: (len(weakest) + 3) // 4])


def _part(flow_m3_s: float, whole_m3_s: float) -> float:
    return flow_m3_s / whole_m3_s if whole_m3_s > 0.0 else 0.0
