"""Dual crop coefficients: what plants draw and what the open, wetted ground loses, apart.

Which share of the ground counts as wetted, after rain and watering, is the rule of the paper's
errata (University of Idaho, Kimberly), which replaces the printed one.
"""

from __future__ import annotations

from typing import Any

from controller.demand.maths import FLOATS, Maths, Number
from controller.demand.stages import climate_shift

# FAO-56 (1998), eq. 72. With daily wettings 1.1 may stand for 1.2; not done here, so that a line
# that runs every day is not promised less evaporation than one that runs every third.
KC_MAX = 1.2
KC_MIN = 0.15  # dry bare soil: FAO-56 (1998), eq. 76, 0.15 to 0.20
RAIN_WETS_ALL_MM = 3.0  # the errata's "3 to 4 mm": from here on rain has wetted the whole ground
LEAST_FRACTION = 0.01  # of ground, in a division: FAO-56 (1998), eq. 75 and 76


def kc_max(*, kcb: float, wind_2m_m_s: float, rh_min_pct: float, height_m: float) -> float:
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
    return max(KC_MAX + shift, kcb + 0.05)


def wetted_fraction(
    *,
    before: Number,
    rain_mm: Number,
    watered_mm: Number,
    line_fraction: Number,
    maths: Maths = FLOATS,
) -> Number:
    """fw: the share of the ground that counts as wetted after today's rain and watering.

    Parameters
    ----------
    before : float
        Yesterday's, 0.01 to 1.
    rain_mm : float
        Rain that entered the ground. [mm]
    watered_mm : float
        Watering over the whole ground. [mm]
    line_fraction : float
        What the drilled line wets, 0.01 to 1.
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    float
        1 after rain that wets all; else the line's share on a day of watering; else `before`.

    Raises
    ------
    OutOfRange
        Never: the ledger checks at its own door.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 7 as its errata have it.
    """
    line = maths.choose(watered_mm > 0.0, line_fraction, before)
    return maths.choose(rain_mm >= RAIN_WETS_ALL_MM, 1.0, line)


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
        Whether the line wets mainly the ground in the plants' shade; after rain on all of it that
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
