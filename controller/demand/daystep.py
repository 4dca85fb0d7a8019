"""One day of soil water: the step that takes yesterday's water to today's, and nothing else.

Ground under plants is two stores: what the drilled line wets, and the rest. Rain enters both, the
line only the first. Roots draw from each by how easily it gives and how far they reach.

Both steps make and lose no water, and both run on floats or, with the arrays' own `Maths`, on many
zones and years at once with the same figures. They check nothing: the ledger does, at its door.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from controller.demand.dual import evaporation_coefficients, exposed_fractions
from controller.demand.maths import FLOATS, Maths, Number
from controller.demand.soil import share_met

_NOTHING = 1e-12  # in a division, where no ground or no root is
_ROUNDING_MM = 1e-9


class Bucket(NamedTuple):
    """A day of one bucket: stress Ks (or Kr), used, drained and missing at its end, in mm."""

    stress: Number
    used_mm: Number
    drained_mm: Number
    depletion_mm: Number


class Stores(NamedTuple):
    """What is missing at the end of a day, each depth over its own ground. [mm]"""

    wet_mm: Number  # of the root zone, where the line wets it
    rest_mm: Number  # of the root zone, elsewhere
    wet_surface_mm: Number  # of the surface layer, where it is wetted by the line and open
    rest_surface_mm: Number  # of the surface layer, elsewhere


class Asked(NamedTuple):
    """What one day asks of a planted ground, whatever water it holds."""

    demand_mm: Number  # ETo times the bed's exposure
    kcb: Number
    kc_max: Number
    cover: Number
    evaporation_factor: Number  # of a mulch
    taw_mm: Number
    raw_mm: Number
    tew_mm: Number
    rew_mm: Number
    line_fraction: Number  # of the ground, that the line wets
    reach: Number  # how far roots have grown beyond that: 0 to 1
    under_canopy: Any


class DualDay(NamedTuple):
    """What a day of both stores came to; depths over the whole ground but for `wet_`."""

    state: Stores
    stress: Number  # Ks, or less where a store ran out within the day
    transpired_mm: Number
    evaporated_mm: Number
    drained_mm: Number
    etc_mm: Number  # what an unstressed crop and this ground would lose
    exposed: Number
    wet_kc: Number  # what the ground that the line wets would lose over ETo, its crop unstressed
    wet_drained_mm: Number  # drained there, over that ground


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
    start: Stores, asked: Asked, *, rain_mm: Number, stored_mm: Number, maths: Maths = FLOATS
) -> DualDay:
    """A planted ground's day, plants and open soil apart, wetted ground and the rest apart.

    Water enters: rain both stores, `stored_mm` (over the whole ground) the wetted one. Each open
    surface dries by what it then lacks (eq. 71, 74, 77) and by no more than it holds. Plants draw
    under stress (eq. 80, 84): as much as the better store gives, from each by its share of the
    roots times its own Ks. What is above field capacity drains (eq. 88). What the surface loses
    comes out of the root zone below it, whose depletion closes the account. Plants draw nothing
    from the surface layer alone (Tew of eq. 77 is 0), which the paper allows. Where the line wets
    all the ground there is one store, and this is the paper's own day, but that a full root zone
    has a full surface (our choice: else rain that drains would still make the surface lose more).

    That roots in moist soil make up for those in dry soil is known of many crops (Jarvis 1989,
    from memory). Our choice: the wetted ground may serve alone; the rest alone as far as twice its
    share of the roots.
    """
    least, most = maths.least, maths.most
    taw, tew, demand = asked.taw_mm, asked.tew_mm, asked.demand_mm
    wet, rest = asked.line_fraction, 1.0 - asked.line_fraction
    on_strip = rain_mm + stored_mm / wet
    wet_open, rest_open = exposed_fractions(
        cover=asked.cover, wetted=wet, under_canopy=asked.under_canopy, maths=maths
    )
    wet_surface = most(least(start.wet_surface_mm, tew) - on_strip, 0.0)
    rest_surface = most(least(start.rest_surface_mm, tew) - rain_mm, 0.0)
    wet_ke, rest_ke = evaporation_coefficients(
        wet_kr=share_met(wet_surface, tew, asked.rew_mm, maths),
        rest_kr=share_met(rest_surface, tew, asked.rew_mm, maths),
        kcb=asked.kcb,
        kc_max=asked.kc_max,
        wet_open=wet_open,
        rest_open=rest_open,
        maths=maths,
    )
    wet_missing, rest_missing = start.wet_mm - on_strip, start.rest_mm - rain_mm
    wet_room = wet * (taw - wet_missing)
    rest_room = rest * (taw - rest_missing)
    factor = asked.evaporation_factor
    wet_lost = least(
        least(factor * wet_ke * demand, wet_open * (tew - wet_surface)), most(wet_room, 0.0)
    )
    rest_lost = least(
        least(factor * rest_ke * demand, rest_open * (tew - rest_surface)), most(rest_room, 0.0)
    )
    drawn = asked.kcb * demand
    wet_ks = share_met(wet_missing, taw, asked.raw_mm, maths)
    rest_ks = share_met(rest_missing, taw, asked.raw_mm, maths)
    far_roots = rest * asked.reach
    alone = least(2.0 * far_roots / (wet + far_roots), 1.0)
    stress = most(wet_ks, alone * rest_ks)
    wet_share = wet * wet_ks / most(wet * wet_ks + far_roots * rest_ks, _NOTHING)
    # Of the whole, so that nothing is lost to rounding where there is one store.
    rest_drawn = least((1.0 - wet_share) * stress * drawn, rest_room - rest_lost)
    rest_drawn = maths.choose(far_roots > 0.0, most(rest_drawn, 0.0), 0.0 * rest_drawn)
    # What the rest has no more of, the wetted ground gives as far as it gives easily.
    eased = least(stress * drawn - rest_drawn, most(wet_share * stress, wet_ks) * drawn)
    wet_drawn = least(eased, wet_room - wet_lost)
    # A small store may be emptied within the day: what the crop then misses is stress, too.
    missed = stress * drawn - wet_drawn - rest_drawn
    emptied = most(stress - missed / most(drawn, _NOTHING), 0.0)
    stress = maths.choose(missed > _ROUNDING_MM, emptied, stress)
    wet_after = wet_missing + (wet_drawn + wet_lost) / wet
    rest_after = rest_missing + (rest_drawn + rest_lost) / most(rest, _NOTHING)
    rest_after = maths.choose(rest > 0.0, rest_after, wet_after)
    wet_drained = most(-wet_after, 0.0)
    wet_end, rest_end = least(most(wet_after, 0.0), taw), least(most(rest_after, 0.0), taw)
    # What the open surface lacks is part of what the root zone below lacks.
    wet_surface_end = least(wet_surface + wet_lost / wet_open, wet_end * wet / wet_open)
    rest_open_div = most(rest_open, _NOTHING)
    rest_surface_end = least(
        rest_surface + rest_lost / rest_open_div, rest_end * rest / rest_open_div
    )
    easy_share = wet / (wet + far_roots)  # of what an unstressed crop draws
    return DualDay(
        Stores(
            wet_end,
            rest_end,
            least(wet_surface_end, tew),
            least(rest_surface_end, tew),
        ),
        stress,
        wet_drawn + rest_drawn,
        wet_lost + rest_lost,
        wet * wet_drained + rest * most(-rest_after, 0.0),
        drawn + wet_lost + rest_lost,
        wet_open + rest_open,
        (maths.choose(wet_ks > 0.0, wet_share, easy_share) * asked.kcb + factor * wet_ke) / wet,
        wet_drained,
    )
