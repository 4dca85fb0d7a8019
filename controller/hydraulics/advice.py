"""Design advice for a garden, with numbers to aim at, ranked by what it saves."""

from __future__ import annotations

from collections.abc import Callable

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.hydraulics.advised import Advice, advice_rows, advice_text, ranked
from controller.hydraulics.corrections import NOTHING_MEASURED, Corrections
from controller.hydraulics.lines import Lines
from controller.hydraulics.mainadvice import of_garden
from controller.hydraulics.rowadvice import of_length, of_level, of_speed
from controller.hydraulics.throttle import TakesIn
from controller.hydraulics.together import of_together
from controller.hydraulics.zoneadvice import of_holes, of_throttle
from controller.hydraulics.zonecase import ZoneCase, zone_case

__all__ = ["Advice", "TakesIn", "advice_rows", "advice_text", "advise"]


def advise(
    garden: Garden,
    lines: Lines,
    crop_spacing: Callable[[str], float],
    *,
    soaking: Callable[[Zone], TakesIn] | None = None,
    corrections: Corrections = NOTHING_MEASURED,
) -> tuple[Advice, ...]:
    """What to build or set otherwise in this garden, what keeps from harm first.

    Parameters
    ----------
    garden : Garden
        The garden.
    lines : Lines
        Its lines.
    crop_spacing : callable
        Distance of a crop's plants in the row, by the crop's name. [m]
    soaking : callable or None
        How a zone's ground takes water in; None leaves the soil out.
    corrections : Corrections
        What field tests have taught; the same as in `lines`.

    Returns
    -------
    tuple of Advice
        What keeps from harm, then by water saved, then by time; then what is good to know. A zone
        whose flow is not known, or that gives no water, gets none of its own.

    Raises
    ------
    NoSolution
        If the flows do not settle.

    Source
    ------
    Each piece names its own.
    """
    cases: list[ZoneCase] = []
    for zone in garden.zones:
        try:
            case = zone_case(garden, lines, zone.name, corrections)
        except InputError:
            continue
        if case.flow.flow_m3_s > 0.0:
            cases.append(case)
    return ranked(
        [
            *of_garden(cases, lines, corrections),
            *of_together(cases, lines),
            *of_length(cases),
            *of_level(cases),
            *of_speed(cases),
            *of_throttle(cases, soaking),
            *of_holes(cases, crop_spacing),
        ]
    )
