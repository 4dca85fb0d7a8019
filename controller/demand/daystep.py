"""One day of soil water: the step that takes yesterday's water to today's, and nothing else.

Both steps make and lose no water, and both run on floats or, with the arrays' own `Maths`, on many
zones and years at once with the same figures. They check nothing: the ledger does, at its door.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from controller.demand.dual import evaporation_coefficient, exposed_fraction, wetted_fraction
from controller.demand.maths import FLOATS, Maths, Number
from controller.demand.soil import fraction_for, share_met


class Bucket(NamedTuple):
    """A day of one bucket: stress Ks (or Kr), used, drained and missing at its end, in mm."""

    stress: Number
    used_mm: Number
    drained_mm: Number
    depletion_mm: Number


class Wet(NamedTuple):
    """The state a day of dual coefficients begins and ends with."""

    depletion_mm: Number  # of the root zone, over the whole ground
    surface_mm: Number  # of the surface layer, over its exposed and wetted part
    wetted: Number  # fw in force


class Asked(NamedTuple):
    """What one day asks of a planted ground, whatever water it holds."""

    demand_mm: Number  # ETo times the bed's exposure
    kcb: Number
    kc_max: Number
    cover: Number
    evaporation_factor: Number  # of a mulch
    taw_mm: Number
    tew_mm: Number
    rew_mm: Number
    depletion_fraction: Number  # of the table, for 5 mm/day
    line_fraction: Number
    under_canopy: Any


class DualDay(NamedTuple):
    """What a day of dual coefficients came to."""

    state: Wet
    stress: Number  # Ks
    transpired_mm: Number
    evaporated_mm: Number
    drained_mm: Number
    etc_mm: Number  # what an unstressed crop and this ground would lose
    raw_mm: Number
    exposed: Number


def bucket_day(
    *,
    depletion_mm: Number,
    taw_mm: Number,
    raw_mm: Number,
    entering_mm: Number,
    demand_mm: Number,
    maths: Maths = FLOATS,
) -> Bucket:
    """A bucket's day: water enters, is used under stress, and runs over (FAO-56, eq. 84-88)."""
    missing = depletion_mm - entering_mm
    stress = share_met(missing, taw_mm, raw_mm, maths)
    used = maths.least(stress * demand_mm, taw_mm - missing)
    after = missing + used
    return Bucket(
        stress, used, maths.most(-after, 0.0), maths.least(maths.most(after, 0.0), taw_mm)
    )


def dual_day(
    start: Wet, asked: Asked, *, rain_mm: Number, watered_mm: Number, maths: Maths = FLOATS
) -> DualDay:
    """A planted ground's day with plants and open soil apart.

    Water enters; the surface dries by what it then lacks (eq. 71, 74, 77) and by no more than it
    holds; plants draw under the root zone's stress (eq. 80, 84); the surplus drains (eq. 88). What
    the surface loses comes out of the root zone, whose depletion closes the account. Plants draw
    nothing from the surface layer alone (Tew of eq. 77 is 0), which the paper allows.
    """
    least, most = maths.least, maths.most
    wetted = wetted_fraction(
        before=start.wetted,
        rain_mm=rain_mm,
        watered_mm=watered_mm,
        line_fraction=asked.line_fraction,
        maths=maths,
    )
    exposed = exposed_fraction(
        cover=asked.cover, wetted=wetted, under_canopy=asked.under_canopy, maths=maths
    )
    surface = most(least(start.surface_mm, asked.tew_mm) - rain_mm - watered_mm / wetted, 0.0)
    kr = share_met(surface, asked.tew_mm, asked.rew_mm, maths)
    ke = asked.evaporation_factor * evaporation_coefficient(
        kr=kr, kcb=asked.kcb, kc_max=asked.kc_max, exposed=exposed, maths=maths
    )
    missing = start.depletion_mm - rain_mm - watered_mm
    room = asked.taw_mm - missing
    evaporated = least(
        least(ke * asked.demand_mm, exposed * (asked.tew_mm - surface)), most(room, 0.0)
    )
    drawn = asked.kcb * asked.demand_mm
    etc = drawn + evaporated
    raw = asked.taw_mm * fraction_for(asked.depletion_fraction, etc, maths)
    stress = share_met(missing, asked.taw_mm, raw, maths)
    transpired = least(stress * drawn, room - evaporated)
    after = missing + transpired + evaporated
    return DualDay(
        Wet(
            least(most(after, 0.0), asked.taw_mm),
            least(surface + evaporated / exposed, asked.tew_mm),
            wetted,
        ),
        stress,
        transpired,
        evaporated,
        most(-after, 0.0),
        etc,
        raw,
        exposed,
    )
