"""One day of soil water, with dual crop coefficients: plants and open ground apart.

The ground that the line wets and the rest, wetted by rain alone, have a surface layer each, so
that a shower cannot make the whole ground as wet as the line left its strip. Allen, Pereira, Smith,
Raes and Wright (2005), J. Irrig. Drain. Eng. 131(1), 2-13 (from memory), also keep them apart.

Ground under plants is two stores: what the drilled line wets, and the rest. Rain enters both, the
line only the first. Roots draw from each by how easily it gives water and how far they reach.

Both steps make and lose no water. Both run on floats or, with the arrays' own `maths`, on many
zones and years at once with the same figures. They check no input: the water balance does that.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from controller.demand.plants.stages import climate_shift
from controller.demand.soil.soil_water import FLOATS, Maths, Number, stress_coefficient

# FAO-56 (1998), eq. 72 and the text after it: 1.2 holds the heat that dry soil has stored between
# wettings more than three or four days apart; where they follow each other within two, 1.1.
KC_MAX_SELDOM, KC_MAX_OFTEN = 1.2, 1.1
OFTEN_DAYS, SELDOM_DAYS = 2.0, 4.0  # between them straight: our choice
LEAST_ABOVE_KCB = 0.05  # of Kc max: FAO-56 (1998), eq. 72
KC_MIN = 0.15  # dry bare soil: FAO-56 (1998), eq. 76, 0.15 to 0.20
LEAST_FRACTION = 0.01  # of ground, in a division: FAO-56 (1998), eq. 75 and 76


def kc_max(
    *,
    kcb: float,
    wind_2m_m_s: float,
    rh_min_pct: float,
    height_m: float,
) -> float:
    """Kc max: the most that wet, cropped ground can lose over ETo with the energy of the day.

    Parameters
    ----------
    kcb : float
        Basal crop coefficient of the day.
    wind_2m_m_s : float
        Wind at 2 m; see `climate_shift`. [m/s]
    rh_min_pct : float
        Lowest relative humidity; see `climate_shift`. [%]
    height_m : float
        Height of the plants. [m]

    Returns
    -------
    float
        Kc max of ground that is seldom wetted, at least `kcb` + 0.05.

    Raises
    ------
    OutOfRange
        As `climate_shift`.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 72.

    Examples
    --------
    FAO-56, Example 32: 1.30.

    >>> round(kc_max(kcb=0.9, wind_2m_m_s=3.0, rh_min_pct=20.0, height_m=1.0), 2)
    1.3
    """
    shift = climate_shift(wind_2m_m_s=wind_2m_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
    return max(KC_MAX_SELDOM + shift, kcb + LEAST_ABOVE_KCB)


def kc_max_base(
    *, before: Number, dry_days: Number, rained: Any, watered: Any, maths: Maths = FLOATS
) -> tuple[Number, Number]:
    """The coefficient in eq. 72 for a day, and the days since the last wetting at its end.

    Parameters
    ----------
    before : float
        The coefficient of the day before, 1.1 to 1.2.
    dry_days : float
        Whole days since the last wetting, at the end of the day before: 0 after a day of wetting.
    rained : bool
        Whether rain entered the ground on the day.
    watered : bool
        Whether the line watered it on the day.

    Returns
    -------
    tuple
        The coefficient stays from one wetting to the next. Rain may lower it and never raises it,
        so that no shower makes ground that was already wet lose more (our choice).

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 7, on Kc max; the ramp is our choice.

    Examples
    --------
    >>> round(kc_max_base(before=1.2, dry_days=2.0, rained=False, watered=True)[0], 3)
    1.15
    """
    gap = dry_days + 1.0
    share = maths.least(maths.most((gap - OFTEN_DAYS) / (SELDOM_DAYS - OFTEN_DAYS), 0.0), 1.0)
    by_gap = KC_MAX_OFTEN + (KC_MAX_SELDOM - KC_MAX_OFTEN) * share
    after_rain = maths.choose(rained, maths.least(before, by_gap), before)
    coefficient = maths.choose(watered, by_gap, after_rain)
    dry = maths.choose(rained, 0.0 * gap, gap)
    return coefficient, maths.choose(watered, 0.0 * gap, dry)


def exposed_fractions(
    *, cover: Number, wetted: Number, under_canopy: Any, maths: Maths = FLOATS
) -> tuple[Number, Number]:
    """few of the ground that the line wets, and of the rest: the shares that lie open to the sun.

    Parameters
    ----------
    cover, wetted, under_canopy
        As for `exposed_fraction`.

    Returns
    -------
    tuple
        Shares of the whole ground: together 1 - `cover`, the first at least 0.01.

    Source
    ------
    As `exposed_fraction`.

    Examples
    --------
    FAO-56, Example 34: 0.19 for the drip line.

    >>> [round(share, 2) for share in exposed_fractions(cover=0.53, wetted=0.3, under_canopy=True)]
    [0.19, 0.28]
    """
    exposed = exposed_fraction(cover=cover, wetted=wetted, under_canopy=under_canopy, maths=maths)
    return exposed, maths.most(1.0 - cover - exposed, 0.0)


def exposed_fraction(
    *, cover: Number, wetted: Number, under_canopy: Any, maths: Maths = FLOATS
) -> Number:
    """few: the share of the ground that is both wetted and open to sun and wind.

    Parameters
    ----------
    cover : float
        Ground shaded by the plants, 0 to 0.99.
    wetted : float
        fw in force, 0.01 to 1.
    under_canopy : bool
        Whether the line wets mainly the ground in the plants' shade; where it wets all of it that
        makes no difference.

    Returns
    -------
    float
        0.01 to 1. Inputs are not checked: the water balance does that.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 75, and for drip under the canopy fw (1 - 2/3 fc) as in
    Example 34.

    Examples
    --------
    FAO-56, Example 34: 0.19.

    >>> round(exposed_fraction(cover=0.53, wetted=0.3, under_canopy=True), 2)
    0.19
    """
    shaded = maths.choose(under_canopy, wetted * (1.0 - cover * 2.0 / 3.0), wetted)
    line = maths.choose(wetted < 1.0, shaded, wetted)
    return maths.most(maths.least(1.0 - cover, line), LEAST_FRACTION)


def evaporation_coefficients(
    *,
    wet_kr: Number,
    rest_kr: Number,
    kcb: Number,
    kc_max: Number,
    wet_open: Number,
    rest_open: Number,
    maths: Maths = FLOATS,
) -> tuple[Number, Number]:
    """Ke of the open ground that the line wets, and of the open rest.

    Parameters
    ----------
    wet_kr, rest_kr : float
        Kr of each, 0 to 1.
    kcb, kc_max
        As for `evaporation_coefficient`.
    wet_open, rest_open : float
        few of each; see `exposed_fractions`.

    Returns
    -------
    tuple
        Ke over the whole ground. Ground that the line wets takes from the energy first, the rest
        takes what is left. If both are equally dry, their sum is the paper's figure for one.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 71. Our choice which takes first: so more rain never
    leaves either drier.

    Examples
    --------
    >>> shares = {"wet_open": 0.19, "rest_open": 0.28}
    >>> ke = evaporation_coefficients(wet_kr=1.0, rest_kr=0.0, kcb=0.9, kc_max=1.30, **shares)
    >>> [round(each, 2) for each in ke]
    [0.25, 0.0]
    """
    energy = kc_max - kcb
    wet = evaporation_coefficient(kr=wet_kr, kcb=kcb, kc_max=kc_max, exposed=wet_open, maths=maths)
    left = maths.most(wet_kr, rest_kr) * energy - wet
    rest = maths.least(maths.least(rest_kr * energy, left), rest_open * kc_max)
    return wet, maths.most(rest, 0.0)


def evaporation_coefficient(
    *, kr: Number, kcb: Number, kc_max: Number, exposed: Number, maths: Maths = FLOATS
) -> Number:
    """Ke: evaporation from the open, wetted ground over ETo.

    Parameters
    ----------
    kr : float
        Kr: how far drying has slowed it, 0 to 1.
    kcb : float
        Basal crop coefficient.
    kc_max : float
        The most that the energy allows.
    exposed : float
        few, 0.01 to 1.

    Returns
    -------
    float
        Ke over the whole ground. Inputs are not checked: the water balance does that.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 71.

    Examples
    --------
    FAO-56, Example 34: 0.25.

    >>> round(evaporation_coefficient(kr=1.0, kcb=0.9, kc_max=1.30, exposed=0.19), 2)
    0.25
    """
    return maths.least(kr * (kc_max - kcb), exposed * kc_max)


_NOTHING = 1e-12  # in a division, where no ground or no root is
_ROUNDING_MM = 1e-9


class Bucket(NamedTuple):
    """A day of one bucket: Ks (or Kr), then water used, drained and missing at its end. [mm]"""

    stress: Number
    used_mm: Number
    drained_mm: Number
    depletion_mm: Number


class Stores(NamedTuple):
    """Water missing at the end of a day, each depth over its own ground. [mm]"""

    wet_mm: Number  # of the root zone, where the line wets it
    rest_mm: Number  # of the root zone, elsewhere
    wet_surface_mm: Number  # of the surface layer, where it is wetted by the line and open
    rest_surface_mm: Number  # of the surface layer, elsewhere


class DayDemand(NamedTuple):
    """The demand of one day on a planted ground, and the limits of its stores."""

    demand_mm: Number  # ETo times the bed's exposure
    kcb: Number
    kc_max: Number
    cover: Number
    evaporation_factor: Number  # of a mulch
    taw_mm: Number
    raw_mm: Number
    tew_mm: Number
    rew_mm: Number
    line_fraction: Number  # share of the ground that the line wets
    reach: Number  # how far roots have grown beyond that: 0 to 1
    under_canopy: Any


class DualDay(NamedTuple):
    """The result of a day of both stores; depths over the whole ground, `wet_` over the wetted."""

    state: Stores
    stress: Number  # Ks, or less if a store ran out within the day
    transpired_mm: Number
    evaporated_mm: Number
    drained_mm: Number
    etc_mm: Number  # ETc of an unstressed crop on this ground
    exposed: Number
    wet_kc: Number  # Kc of the ground that the line wets, its crop unstressed
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
    """One day of a bucket of soil: water enters, is used under stress, and runs over.

    Parameters
    ----------
    depletion_mm : float
        Water missing at the start of the day, 0 to `taw_mm`. [mm]
    taw_mm : float
        What the bucket holds. [mm]
    raw_mm : float
        What may be missing before use slows, 0 to `taw_mm`. [mm]
    entering_mm : float
        Rain that counts, less runoff, and watering. [mm]
    demand_mm : float
        What would be used without stress. [mm]

    Returns
    -------
    Bucket
        depletion_mm (end) = depletion_mm (start) - entering_mm + used_mm + drained_mm, between 0
        and `taw_mm`.

    Notes
    -----
    No more is used than the bucket holds. This limit acts only if the demand is above
    `taw_mm - raw_mm`. With it the depletion at the end grows with that at the start, whatever the
    demand: more rain never leaves the soil drier.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 84 to 86 and 88, without capillary rise.

    Examples
    --------
    FAO-56, Example 31, fourth day: Kr 0.55, depletion at its end 16.57 mm.

    >>> day = bucket_day(
    ...     depletion_mm=13.98, taw_mm=20.0, raw_mm=9.0, entering_mm=0.0, demand_mm=1.05 * 4.5
    ... )
    >>> round(day.stress, 2), round(day.depletion_mm, 2)
    (0.55, 16.57)
    """
    missing = depletion_mm - entering_mm
    stress = stress_coefficient(missing, taw_mm, raw_mm, maths)
    used = maths.least(stress * demand_mm, taw_mm - missing)
    after = missing + used
    return Bucket(
        stress, used, maths.most(-after, 0.0), maths.least(maths.most(after, 0.0), taw_mm)
    )


def dual_day(
    start: Stores, asked: DayDemand, *, rain_mm: Number, stored_mm: Number, maths: Maths = FLOATS
) -> DualDay:
    """One day of a planted ground: plants and open soil, wetted ground and the rest.

    Parameters
    ----------
    start, asked
        Water missing at the start of the day [mm]; what the day asks of the ground.
    rain_mm : float
        Rain that enters the ground, 0 or more. [mm]
    stored_mm : float
        Watering that is credited, over the whole ground, 0 or more. [mm]

    Returns
    -------
    DualDay
        The stores at the end of the day, and what left them.

    Notes
    -----
    Rain enters both stores, watering the wetted one. Each open surface dries by what it then lacks
    (eq. 71, 74, 77) and by no more than it holds. Plants draw under stress (eq. 80, 84): as much as
    the better store gives, from each store by its share of the roots times its own Ks. What is
    above field capacity drains (eq. 88). What the surface loses comes out of the root zone below
    it, so the water balance closes. Plants draw nothing from the surface layer alone (Tew of eq. 77
    is 0), which the paper allows. Where the line wets all the ground there is one store. This is
    then the paper's own day, with one difference: a full root zone has a full surface (our choice:
    otherwise rain that drains would still make the surface lose more).

    Roots in moist soil make up for roots in dry soil, as is known of many crops (Jarvis 1989, from
    memory). Our choice: the wetted ground may serve alone; the rest alone as far as twice its share
    of the roots.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 69 to 88, with two stores in place of one: our choice.

    Examples
    --------
    Seedlings on wet ground, wetted all over: Kcb 0.15 and Ke 1.05 on 4 mm of demand.

    >>> asked = DayDemand(
    ...     demand_mm=4.0, kcb=0.15, kc_max=1.20, cover=0.0, evaporation_factor=1.0, taw_mm=40.0,
    ...     raw_mm=16.0, tew_mm=20.0, rew_mm=9.0, line_fraction=1.0, reach=1.0, under_canopy=False,
    ... )
    >>> day = dual_day(Stores(0.0, 0.0, 0.0, 0.0), asked, rain_mm=0.0, stored_mm=0.0)
    >>> round(day.transpired_mm, 2), round(day.evaporated_mm, 2), round(day.state.wet_mm, 2)
    (0.6, 4.2, 4.8)
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
        wet_kr=stress_coefficient(wet_surface, tew, asked.rew_mm, maths),
        rest_kr=stress_coefficient(rest_surface, tew, asked.rew_mm, maths),
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
    wet_ks = stress_coefficient(wet_missing, taw, asked.raw_mm, maths)
    rest_ks = stress_coefficient(rest_missing, taw, asked.raw_mm, maths)
    far_roots = rest * asked.reach
    alone = least(2.0 * far_roots / (wet + far_roots), 1.0)
    stress = most(wet_ks, alone * rest_ks)
    wet_share = wet * wet_ks / most(wet * wet_ks + far_roots * rest_ks, _NOTHING)
    # As a share of the whole, so that rounding loses nothing if there is one store.
    rest_drawn = least((1.0 - wet_share) * stress * drawn, rest_room - rest_lost)
    rest_drawn = maths.choose(far_roots > 0.0, most(rest_drawn, 0.0), 0.0 * rest_drawn)
    # What the rest cannot give, the wetted ground gives as far as its Ks allows.
    eased = least(stress * drawn - rest_drawn, most(wet_share * stress, wet_ks) * drawn)
    wet_drawn = least(eased, wet_room - wet_lost)
    # A small store may be emptied within the day: what the crop then lacks is also stress.
    missed = stress * drawn - wet_drawn - rest_drawn
    emptied = most(stress - missed / most(drawn, _NOTHING), 0.0)
    stress = maths.choose(missed > _ROUNDING_MM, emptied, stress)
    wet_after = wet_missing + (wet_drawn + wet_lost) / wet
    rest_after = rest_missing + (rest_drawn + rest_lost) / most(rest, _NOTHING)
    rest_after = maths.choose(rest > 0.0, rest_after, wet_after)
    wet_drained = most(-wet_after, 0.0)
    wet_end, rest_end = least(most(wet_after, 0.0), taw), least(most(rest_after, 0.0), taw)
    # The depletion of the open surface is part of the depletion of the root zone below.
    wet_surface_end = least(wet_surface + wet_lost / wet_open, wet_end * wet / wet_open)
    rest_open_div = most(rest_open, _NOTHING)
    rest_surface_end = least(
        rest_surface + rest_lost / rest_open_div, rest_end * rest / rest_open_div
    )
    easy_share = wet / (wet + far_roots)  # share of what an unstressed crop draws
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
