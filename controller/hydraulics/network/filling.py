"""Filling and draining a zone's lines: litres and seconds, at the flow of the open set."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from controller.hydraulics.network.garden_lines import Lines


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFill:
    """A zone's lines in an open set: filled from empty, and again after they have drained.

    `drains_m3` runs out after the valve has closed, and the next pulse fills it again. Where
    nothing flows the times are infinite.
    """

    volume_m3: float
    first_s: float
    drains_m3: float
    again_s: float


def line_fill(lines: Lines, zone: str, together: frozenset[str]) -> LineFill:
    """Time that a zone's lines take to fill while a set is open, and the water that drains after.

    Parameters
    ----------
    lines : Lines
        The garden's lines.
    zone : str
        One zone of the set.
    together : frozenset of str
        All open zones, this one among them.

    Returns
    -------
    LineFill
        Volumes [m3] and times [s].

    Raises
    ------
    InputError
        If there is no such zone, or its opening cannot be turned into a loss.

    Notes
    -----
    While a line fills, the water's front is at the pressure of the air: holes behind it pass
    little, and the valve passes at least as much as later. So the time is rather too long.

    Source
    ------
    Volume over the flow of the full line; common practice, no source.
    """
    volume = lines.line(zone)
    flow_m3_s = lines.open_set(together).zones[zone].flow_m3_s
    return LineFill(
        volume_m3=volume.volume_m3,
        first_s=_time_s(volume.volume_m3, flow_m3_s),
        drains_m3=volume.drains_m3,
        again_s=_time_s(volume.drains_m3, flow_m3_s),
    )


def _time_s(volume_m3: float, flow_m3_s: float) -> float:
    if volume_m3 <= 0.0:
        return 0.0
    return volume_m3 / flow_m3_s if flow_m3_s > 0.0 else inf
