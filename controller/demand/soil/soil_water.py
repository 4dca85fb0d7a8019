"""Available water of the soil, stress, drying, rain that counts, runoff.

The daily step is written once. The water balance runs it on floats. A computation of many seasons
may run it on arrays, with three functions of theirs, and gets the same figures.
"""

from __future__ import annotations

from typing import Any, Protocol

from controller.errors import require_range

Number = Any  # a float, or an array of floats with its own `Maths`


class Maths(Protocol):
    """Three functions that work element by element."""

    def least(self, one: Number, other: Number) -> Number:
        """The lesser of the two."""

    def most(self, one: Number, other: Number) -> Number:
        """The greater of the two."""

    def choose(self, condition: Any, yes: Number, no: Number) -> Number:
        """`yes` where the condition holds, else `no`."""


class Floats:
    """Plain numbers."""

    least = staticmethod(min)
    most = staticmethod(max)

    @staticmethod
    def choose(condition: Any, yes: Number, no: Number) -> Number:
        """`yes` where the condition holds, else `no`."""
        return yes if condition else no


FLOATS: Maths = Floats()


LEAST_RAIN_SHARE = 0.2  # rain under this share of ETo does not count: FAO-56 (1998), chapter 8


def taw_mm(*, field_capacity: float, wilting_point: float, root_depth_m: float) -> float:
    """Total available water TAW: what the root zone holds between field capacity and wilting.

    Parameters
    ----------
    field_capacity : float
        Water content by volume after draining, 0 to 1.
    wilting_point : float
        Water content by volume at which plants wilt, less than `field_capacity`.
    root_depth_m : float
        Depth of the roots, 0 to 5. [m]

    Returns
    -------
    float
        Total available water. [mm]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 82.

    Examples
    --------
    FAO-56, Example 36, onion on loamy sand: 36.

    >>> round(taw_mm(field_capacity=0.15, wilting_point=0.06, root_depth_m=0.4))
    36
    """
    require_range("field_capacity", field_capacity, 0.0, 1.0)
    require_range("wilting_point", wilting_point, 0.0, field_capacity)
    require_range("root_depth_m", root_depth_m, 0.0, 5.0)
    return 1000.0 * (field_capacity - wilting_point) * root_depth_m


def raw_mm(*, taw_mm: float, depletion_fraction: float) -> float:
    """Readily available water RAW: what plants can take before they suffer stress.

    Parameters
    ----------
    taw_mm : float
        Total available water. [mm]
    depletion_fraction : float
        The share p that may be used, 0 to 1 (Table 22, after `depletion_fraction_adjusted`).

    Returns
    -------
    float
        Readily available water. [mm]

    Raises
    ------
    OutOfRange
        If a value is negative, above 1 for the share, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 83.

    Examples
    --------
    FAO-56, Example 36, onion on loamy sand: 11.

    >>> round(raw_mm(taw_mm=36.0, depletion_fraction=0.30))
    11
    """
    require_range("taw_mm", taw_mm, 0.0, 5000.0)
    return require_range("depletion_fraction", depletion_fraction, 0.0, 1.0) * taw_mm


def depletion_fraction_adjusted(depletion_fraction: float, *, etc_mm_day: float) -> float:
    """The share p that may be used before stress, for the demand of a day: less on a hot day.

    Parameters
    ----------
    depletion_fraction : float
        The table's share, for a demand of 5 mm/day; 0 to 1.
    etc_mm_day : float
        What an unstressed crop would use, 0 or more. [mm/day]

    Returns
    -------
    float
        The share for this demand, kept between 0.1 and 0.8.

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, Table 22, note 2. The 5-10 % less on clay and more on sand
    that the same chapter allows are not applied.

    Examples
    --------
    >>> round(depletion_fraction_adjusted(0.40, etc_mm_day=7.0), 2)
    0.32
    """
    require_range("depletion_fraction", depletion_fraction, 0.0, 1.0)
    require_range("etc_mm_day", etc_mm_day, 0.0, 100.0)
    return min(max(depletion_fraction + 0.04 * (5.0 - etc_mm_day), 0.1), 0.8)


def stress_coefficient(
    depletion_mm: Number, taw_mm: Number, raw_mm: Number, maths: Maths = FLOATS
) -> Number:
    """Ks: the share of its demand that a crop can still meet; for drying bare soil it is Kr.

    Parameters
    ----------
    depletion_mm : float
        Water missing from field capacity; below zero (more than full) counts as none. [mm]
    taw_mm : float
        Total available water; for Kr the total evaporable water TEW. [mm]
    raw_mm : float
        Readily available water, at most `taw_mm`; for Kr the readily evaporable REW. [mm]
    maths : Maths
        For numbers or arrays.

    Returns
    -------
    float
        1 down to `raw_mm`, from there falling evenly to 0 at `taw_mm`. Not a number if an argument
        is none: the water balance checks its inputs.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 84; eq. 74 (Kr) has the same shape.

    Examples
    --------
    FAO-56, Example 37, fourth day: 0.91.

    >>> round(stress_coefficient(72.8, 160.0, 64.0), 2)
    0.91
    """
    span = maths.most(taw_mm - raw_mm, 1e-12)
    return maths.most(maths.least((taw_mm - depletion_mm) / span, 1.0), 0.0)


def rain_unused_mm(*, rain_mm: float, eto_mm_day: float) -> float:
    """Rain that does not enter the water balance: all of a day's rain if it is too little.

    Parameters
    ----------
    rain_mm : float
        The day's rain, 0 or more. [mm]
    eto_mm_day : float
        The day's reference ET. [mm/day]

    Returns
    -------
    float
        `rain_mm` if it is under a fifth of the reference ET, otherwise 0. [mm]

    Raises
    ------
    OutOfRange
        If the rain is outside 0 to 2000, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 8, on precipitation in eq. 85: a day's rain under
    about 0.2 ETo mostly evaporates and may be left out.

    Examples
    --------
    >>> rain_unused_mm(rain_mm=0.8, eto_mm_day=5.0), rain_unused_mm(rain_mm=8.0, eto_mm_day=5.0)
    (0.8, 0.0)
    """
    require_range("rain_mm", rain_mm, 0.0, 2000.0)
    return rain_mm if rain_mm < LEAST_RAIN_SHARE * eto_mm_day else 0.0


INITIAL_SHARE = 0.2  # of the storage, filled before anything runs off: NEH 630, chapter 10


def runoff_mm(*, rain_mm: float, curve_number: float) -> float:
    """Runoff of a day's rain, by the curve number of the ground.

    Parameters
    ----------
    rain_mm : float
        The day's rain, 0 to 2000. [mm]
    curve_number : float
        1 to 100; higher sheds more. Flat mulched beds have 60 to 75, compacted clay 80 to 90.

    Returns
    -------
    float
        From 0 to `rain_mm`. [mm]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    The method is made for storms on fields. The wetness before (which changes the number), the
    length of the storm and snow are not considered.

    Source
    ------
    NRCS National Engineering Handbook, part 630, chapter 10, in millimetres (from memory): storage
    S = 25400 / CN - 254; Q = (P - 0.2 S)^2 / (P + 0.8 S) where P is above 0.2 S, else 0.

    Examples
    --------
    >>> round(runoff_mm(rain_mm=50.0, curve_number=75.0), 2)
    9.29
    """
    require_range("rain_mm", rain_mm, 0.0, 2000.0)
    require_range("curve_number", curve_number, 1.0, 100.0)
    storage_mm = 25400.0 / curve_number - 254.0
    beyond_mm = rain_mm - INITIAL_SHARE * storage_mm
    if beyond_mm <= 0.0:
        return 0.0
    # The share first: so rounding never lets more run off than fell.
    return beyond_mm * (beyond_mm / (beyond_mm + storage_mm))
