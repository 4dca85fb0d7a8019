"""How long a planting's stages are: its own, or the table's by the packet and `until`."""

from __future__ import annotations

from controller.garden.model import Planting
from crops.catalogue import Crop

# How far a packet's days may stretch or shrink the table's: our choice, about what FAO-56 table 11
# has between the quickest and the slowest row of a crop.
LEAST_SCALE, MOST_SCALE = 0.6, 1.6


def first_picking_days(crop: Crop) -> float:
    """Days of the crop's table from its first day to the first picking."""
    initial, development, mid, _ = crop.stage_days
    if crop.first_picking is None:
        return float(sum(crop.stage_days))
    return initial + development + crop.first_picking * mid


def scale_of(crop: Crop, harvest_days: int) -> float:
    """The packet's days over the table's, kept within `LEAST_SCALE` and `MOST_SCALE`."""
    return min(max(harvest_days / first_picking_days(crop), LEAST_SCALE), MOST_SCALE)


def stage_days_of(crop: Crop, planting: Planting) -> tuple[int, int, int, int]:
    """The lengths of a planting's four stages.

    Parameters
    ----------
    crop : Crop
        Its figures.
    planting : Planting
        Its own `stage_days` go before all else, `harvest_days` before the table.

    Returns
    -------
    tuple of int
        Initial, development, mid and late. Of crops picked once all four follow the packet; of
        crops picked for weeks the first two, and mid lasts until only the late stage is left before
        `until`, as such crops stay in full leaf while they are picked. [days]

    Source
    ------
    FAO-56 (1998), table 11 (from memory): rows of maize of 125, 140 and 180 days share their days
    between the stages alike, so scaling all is right; rows of tomato of 135, 145 and 180 days
    differ mostly in mid. Chapter 6: mid ends when leaves age, not with the first ripe fruit. Where
    picking begins in the table's days: our choice.
    """
    if planting.stage_days is not None:
        return planting.stage_days
    initial, development, mid, late = crop.stage_days
    if crop.perennial:
        return crop.stage_days
    if planting.harvest_days is not None:
        scale = scale_of(crop, planting.harvest_days)
        initial, development = _times(initial, scale), _times(development, scale)
        if crop.first_picking is None:
            mid, late = _times(mid, scale), _times(late, scale)
    if crop.first_picking is not None and planting.stage_warmth is None:
        stands = (planting.until - planting.start).days + 1
        mid = max(mid, stands - initial - development - late)
    return initial, development, mid, late


def _times(days: int, scale: float) -> int:
    return max(round(days * scale), 1) if days else 0
