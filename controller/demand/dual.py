"""Dual crop coefficients: what plants draw and what the open, wetted ground loses, apart.

The ground that the line wets and the rest, wetted by rain alone, have a surface layer each, so
that a shower cannot make the whole ground as wet as the line left its strip. Allen, Pereira, Smith,
Raes and Wright (2005), J. Irrig. Drain. Eng. 131(1), 2-13 (from memory), keep them apart likewise.
"""

from __future__ import annotations

from typing import Any

from controller.demand.maths import FLOATS, Maths, Number
from controller.demand.stages import climate_shift

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
    base: float = KC_MAX_SELDOM,
) -> float:
    """The most that a wet, cropped ground can lose over ETo, by the energy there is.

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
    base : float
        1.1 to 1.2, by how often the ground is wetted; see `kc_max_base`.

    Returns
    -------
    float
        Kc max, at least `kcb` + 0.05.

    Raises
    ------
    OutOfRange
        As `climate_shift`.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 72.
    """
    shift = climate_shift(wind_2m_m_s=wind_2m_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
    return max(base + shift, kcb + LEAST_ABOVE_KCB)


def kc_max_base(
    *, before: Number, dry_days: Number, rained: Any, watered: Any, maths: Maths = FLOATS
) -> tuple[Number, Number]:
    """The coefficient in eq. 72 for a day, and how many days its ground is dry at the end of it.

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
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    tuple
        The coefficient: from one wetting to the next it stays. Rain may lower it and never raises
        it, so that no shower makes ground that was wet already lose more (our choice).

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 7, on Kc max; the ramp is our choice.
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
    """few, twice: of the ground that the line wets, and of the rest, what lies open to the sun.

    Parameters
    ----------
    cover : float
        Ground shaded by the plants, 0 to 0.99.
    wetted : float
        What the line wets of the ground, 0.01 to 1.
    under_canopy : bool
        Whether that lies mainly in the plants' shade.
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    tuple
        Shares of the whole ground: together 1 - `cover`, the first at least 0.01.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 75, and for drip under the canopy fw (1 - 2/3 fc) as in
    Example 34.
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
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    float
        0.01 to 1.

    Raises
    ------
    OutOfRange
        Never: the ledger checks at its own door.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 75, and for drip under the canopy fw (1 - 2/3 fc) as in
    Example 34.
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
    """Ke, twice: what the open ground that the line wets loses over ETo, and the open rest.

    Parameters
    ----------
    wet_kr, rest_kr : float
        How far its drying has slowed each, 0 to 1.
    kcb : float
        Basal crop coefficient.
    kc_max : float
        The most there is energy for.
    wet_open, rest_open : float
        few of each; see `exposed_fractions`.
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    tuple
        Ke over the whole ground. Ground that the line wets takes of the energy first; the rest
        takes what is left. Where both are as dry, their sum is the paper's figure for one.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 71; who takes first is our choice: so more rain never
    leaves either drier.
    """
    energy = kc_max - kcb
    wet = evaporation_coefficient(kr=wet_kr, kcb=kcb, kc_max=kc_max, exposed=wet_open, maths=maths)
    left = maths.most(wet_kr, rest_kr) * energy - wet
    rest = maths.least(maths.least(rest_kr * energy, left), rest_open * kc_max)
    return wet, maths.most(rest, 0.0)


def evaporation_coefficient(
    *, kr: Number, kcb: Number, kc_max: Number, exposed: Number, maths: Maths = FLOATS
) -> Number:
    """Ke: what the open, wetted ground loses over ETo.

    Parameters
    ----------
    kr : float
        How far its drying has slowed it, 0 to 1.
    kcb : float
        Basal crop coefficient.
    kc_max : float
        The most there is energy for.
    exposed : float
        few, 0.01 to 1.
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    float
        Ke over the whole ground.

    Raises
    ------
    OutOfRange
        Never: the ledger checks at its own door.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 71.
    """
    return maths.least(kr * (kc_max - kcb), exposed * kc_max)
