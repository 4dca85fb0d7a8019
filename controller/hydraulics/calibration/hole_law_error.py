"""Error of the hole law in a zone: uniformity by momentum, and jets that may come loose."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi

from controller.garden.model import Zone
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.geometry import coefficient_at, drilled_holes
from controller.hydraulics.network.results import ZoneFlow
from controller.hydraulics.network.uniformity import real_uniformity
from controller.hydraulics.physics.orifice import momentum_sigma_band
from controller.messages import Message, Quantity

# Coefficient times area of all holes, over the area of the pipe, from which momentum shifts a row's
# uniformity by more than a hundredth or two either way (the first hole against the last: about half
# of the square of it). Our choice, from the figures of tests/published/test_hydraulics_effects.py.
DENSE_FROM = 0.3
# Head over a hole from which its jet may cavitate or come loose. A 1/16 in hole with a sharp inner
# edge cavitates from 11.9 m and flips from 16.3 m on (Nurick 1976 and later, criteria as computer
# models of fluids quote them; from memory).
MAY_BOIL_M = 12.0
# A jet with a coefficient this small is loose already. Our choice.
DETACHED_BELOW = 0.65


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """Least and most, as low-quarter uniformities. [-]"""

    low: float
    high: float


def hole_share(zone: Zone) -> float:
    """Area of the holes of the densest row, times their coefficient, over the area of its pipe.

    Parameters
    ----------
    zone : Zone
        The zone.

    Returns
    -------
    float
        Area ratio; 0 where all holes are plugged. [-]

    Raises
    ------
    InputError
        As `drilled_holes`.

    Source
    ------
    The manifold's area ratio of Koh and Brooks (1975) and others, with the coefficient in it.
    """
    found = 0.0
    for row in zone.rows:
        holes_m2 = sum(
            hole.discharge_coefficient * pi / 4.0 * hole.bore_m**2
            for hole in drilled_holes(row, zone.rise_m)
            if not hole.plugged
        )
        found = max(found, holes_m2 / (pi / 4.0 * row.pipe.bore_m**2))
    return found


def evenness_range(lines: Lines, zone: str, opened: frozenset[str]) -> Range | None:
    """Range of a zone's real uniformity, as the effect of momentum in its rows is uncertain.

    Parameters
    ----------
    lines : Lines
        The garden's lines.
    zone : str
        Name of the zone.
    opened : frozenset of str
        The zones open together, this one among them.

    Returns
    -------
    Range or None
        None where the rows of the zone are not dense enough for it to matter.

    Raises
    ------
    InputError, NoSolution
        As `Lines.open_set`.

    Source
    ------
    The set solved at both ends of `orifice.momentum_sigma_band`.
    """
    place = lines.garden.zone(zone)
    effects = lines.water.effects
    if effects.momentum is not None or hole_share(place) < DENSE_FROM:
        return None
    row = place.rows[0]
    ends = momentum_sigma_band(wall_m=row.pipe.wall_m, bore_m=row.drilling.bore_m)
    watering = lines.garden.watering
    found = [real_uniformity(lines.open_set(opened).zones[zone].holes, watering)]
    for sigma in ends:
        other = lines.with_effects(replace(effects, momentum=sigma))
        found.append(real_uniformity(other.open_set(opened).zones[zone].holes, watering))
    return Range(low=min(found), high=max(found))


def most_over_m(flow: ZoneFlow) -> float:
    """Largest head that drives any hole of a zone.

    Parameters
    ----------
    flow : ZoneFlow
        The zone as solved.

    Returns
    -------
    float
        Head; 0 where all holes are plugged. [m]

    Source
    ------
    `HoleFlow.head_m` less the height of the mouth.
    """
    return max((hole.head_m - hole.z_m for hole in flow.open_holes), default=0.0)


def jet_warning(flow: ZoneFlow, lines: Lines) -> Message | None:
    """How uncertain a zone's jets are under high pressure; None where they are certain.

    Cavitation: Nurick (1976), orifice.py; the loose jet's 0.61 is a sharp edge's.
    """
    over_m = most_over_m(flow)
    place = lines.garden.zone(flow.zone)
    bored = next(
        (h for row in place.rows for h in drilled_holes(row, place.rise_m) if not h.plugged), None
    )
    if over_m < MAY_BOIL_M or bored is None or bored.discharge_coefficient < DETACHED_BELOW:
        return None
    coefficient = coefficient_at(bored, lines.water, over_m)
    return Message(
        "zone.loose_jets",
        {
            "pressure": Quantity(over_m, "pressure"),
            "limit": Quantity(MAY_BOIL_M, "pressure"),
            "less": Quantity(1.0 - 0.61 / coefficient, "percent"),
        },
    )
