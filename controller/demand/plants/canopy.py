"""Cover and basal coefficient of plants that stand apart, compared with a closed field.

The Kcb of a table is for plants as dense as in a field. `canopy_on` thins that field. The cover of
the day follows from its Kcb (FAO-56, eq. 76). If full-grown plants will shade less than the field
does at mid-season, the cover of every day is reduced by the same share. Kcb then follows from the
density form (eq. 98) with the crop's own coefficient at full cover: the one that gives the table's
Kcb at the field's cover. So a closed bed has the table's Kcb to the last digit, thinner beds go
down to Kc min without a step, and no bed has more than the table.
"""

from __future__ import annotations

from math import asin, hypot, sqrt
from typing import NamedTuple

from controller.demand.soil.daily_balance import KC_MIN
from controller.errors import OutOfRange, require_range
from crops.firstyears import YoungStand

MOST_COVER = 0.99  # FAO-56 (1998), eq. 76
LEAST_ABOVE_KC_MIN = 0.01  # of Kcb, and of Kc max: FAO-56 (1998), eq. 76
HEIGHT_RANGE_M = (0.0, 30.0)


class Canopy(NamedTuple):
    """Basal coefficient of the plants on a day, and the share of the ground that they shade."""

    kcb: float
    cover: float


def cover_at_full_size(*, spread_m: float, spacing_m: float, line_gap_m: float) -> float:
    """Share of the ground that full-grown plants shade with the sun overhead.

    Parameters
    ----------
    spread_m : float
        How wide one plant grows, seen from above, 0 to 30. [m]
    spacing_m : float
        From plant to plant along the line, 0.001 to 100. [m]
    line_gap_m : float
        From line to line: the width of ground one line of plants has, 0.001 to 100. [m]

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Notes
    -----
    Plants are discs, each beside one in the next line. A point of the ground is shaded only if it
    is in the disc of its nearest plant, so the part of a disc within the rectangle of its plant is
    exactly what is shaded there. Staggered plants shade a little more, and only if discs of
    neighbouring lines meet.

    Source
    ------
    Geometry of a disc and a rectangle; discs for plants are our choice.

    Examples
    --------
    >>> round(cover_at_full_size(spread_m=0.4, spacing_m=0.4, line_gap_m=0.4), 4)
    0.7854
    """
    require_range("spread_m", spread_m, *HEIGHT_RANGE_M)
    require_range("spacing_m", spacing_m, 0.001, 100.0)
    require_range("line_gap_m", line_gap_m, 0.001, 100.0)
    radius, half_along, half_across = spread_m / 2.0, spacing_m / 2.0, line_gap_m / 2.0
    if radius <= 0.0:
        return 0.0
    if radius >= hypot(half_along, half_across):
        return 1.0
    # A quarter of the rectangle: filled to its side up to `cut`, under the circle from there.
    end = min(half_along, radius)
    cut = sqrt(radius**2 - half_across**2) if radius > half_across else 0.0
    quarter = cut * half_across + _under_circle(end, radius) - _under_circle(cut, radius)
    return min(quarter / (half_along * half_across), 1.0)


def field_cover(*, kcb: float, kc_max: float, height_m: float) -> float:
    """Share of the ground that a field of a crop shades, from its basal coefficient.

    Parameters
    ----------
    kcb : float
        Basal crop coefficient of the day.
    kc_max : float
        Kc max of the day.
    height_m : float
        Height of the plants. [m]

    Returns
    -------
    float
        fc, above 0 and at most 0.99. Not a number if an argument is none.

    Raises
    ------
    OutOfRange
        Never: `canopy_on` checks at its door.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 76 with its limits.

    Examples
    --------
    FAO-56, Example 32: 0.53.

    >>> round(field_cover(kcb=0.9, kc_max=1.30, height_m=1.0), 2)
    0.53
    """
    above = max(kcb - KC_MIN, LEAST_ABOVE_KC_MIN)
    most = max(kc_max - KC_MIN, LEAST_ABOVE_KC_MIN)
    share = above / most
    return min(float(share ** (1.0 + 0.5 * height_m)), MOST_COVER)


def density_coefficient(*, cover: float, effective_cover: float, height_m: float) -> float:
    """Density coefficient: the share of Kcb full, above Kc min, that thinner plants reach.

    Parameters
    ----------
    cover : float
        fc, 0 to 1.
    effective_cover : float
        fc eff, 0 to 1.
    height_m : float
        Height of the plants. [m]

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    OutOfRange
        Never: `canopy_on` checks at its door.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 98: the least of 1, 2 fc and fc eff^(1/(1+h)).

    Examples
    --------
    FAO-56, Example 41: from Kcb full 1.15 this makes 0.15 + 0.6 (1.15 - 0.15) = 0.75.

    >>> density_coefficient(cover=0.3, effective_cover=0.41, height_m=2.0)
    0.6
    """
    return min(1.0, 2.0 * cover, float(effective_cover ** (1.0 / (1.0 + height_m))))


def canopy_on(
    *,
    kcb_table: float,
    kcb_mid_table: float,
    kc_max: float,
    height_m: float,
    cover_full: float | None,
    full_height_m: float | None = None,
    young: YoungStand | None = None,
) -> Canopy:
    """Basal coefficient and cover of the day for the plants of this bed.

    Parameters
    ----------
    kcb_table : float
        Kcb of the day by the table, already brought to the climate.
    kcb_mid_table : float
        Kcb at mid-season by the table, likewise.
    kc_max : float
        Kc max of the day.
    height_m : float
        Height of the plants on the day. [m]
    cover_full : float, optional
        `cover_at_full_size` of these plants; None: they stand as the table's field does.
    full_height_m : float, optional
        Height they will have at mid-season; None: that of the day. [m]
    young : YoungStand, optional
        How far a perennial in its first years has come; None: the plants are full-grown.

    Returns
    -------
    Canopy
        Kcb from the lesser of `kcb_table` and `KC_MIN` up to `kcb_table`; cover from 0 to 0.99.
        Plants that stand closer than in a field have the field's values: eq. 76 says little about
        how dense a field is. Young perennials have at most what full-grown plants of the same
        height would have in their place.

    Raises
    ------
    OutOfRange
        If a coefficient is outside 0 to 3, a height outside 0 to 30, the cover outside 0 to 1, or
        one is not a number.

    Notes
    -----
    With D the density coefficient and f the field's cover, eq. 98 gives the table's Kcb there if
    the crop's Kcb full is Kc min + (Kcb table - Kc min) / D(f); put in at this bed's cover c it is
    Kc min + (Kcb table - Kc min) D(c) / D(f). The sun is taken overhead (fc eff = fc): a lower one
    lengthens both shadows, and only their ratio counts.

    Young perennials shade c, the same share of what they will shade in this bed as at usual spacing
    (without a bed of known size, what they do there); their Kcb is Kc min + (Kcb table - Kc min)
    D(c), eq. 98 with the table's Kcb for that of full cover. So the curve of their year keeps its
    shape.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 76 and 98. Solving eq. 98 for Kcb full and scaling the
    cover by one share all season are our choice; eq. 94, the paper's quick form, likewise
    computes from the dense field of the table.

    Examples
    --------
    >>> day = {"kcb_table": 1.0, "kcb_mid_table": 1.0, "kc_max": 1.2, "height_m": 0.5}
    >>> found = canopy_on(**day, cover_full=0.25)
    >>> round(found.kcb, 2), found.cover
    (0.55, 0.25)
    """
    full_m = height_m if full_height_m is None else full_height_m
    if not (
        0.0 <= kcb_table <= 3.0
        and 0.0 <= kcb_mid_table <= 3.0
        and 0.0 <= kc_max <= 3.0
        and 0.0 <= height_m <= 30.0
        and 0.0 <= full_m <= 30.0
        and (cover_full is None or 0.0 <= cover_full <= 1.0)
    ):
        for name, value in (
            ("kcb_table", kcb_table),
            ("kcb_mid_table", kcb_mid_table),
            ("kc_max", kc_max),
        ):
            require_range(name, value, 0.0, 3.0)
        require_range("height_m", height_m, *HEIGHT_RANGE_M)
        require_range("full_height_m", full_m, *HEIGHT_RANGE_M)
        raise OutOfRange("cover_full", cover_full or 0.0, 0.0, 1.0)
    field = field_cover(kcb=kcb_table, kc_max=kc_max, height_m=height_m)
    if cover_full is None and young is None:
        return Canopy(kcb_table, field)
    at_mid = field_cover(kcb=kcb_mid_table, kc_max=kc_max, height_m=full_m)
    if young is not None:
        grown = _thinned(kcb_table, field, at_mid, height_m, cover_full)
        at_best = young.cover if cover_full is None else young.share * cover_full
        density = density_coefficient(cover=at_best, effective_cover=at_best, height_m=full_m)
        kcb = KC_MIN + (kcb_table - KC_MIN) * density if kcb_table > KC_MIN else kcb_table
        return Canopy(min(kcb, grown.kcb), min(field * at_best / at_mid, grown.cover))
    return _thinned(kcb_table, field, at_mid, height_m, cover_full)


def _thinned(
    kcb_table: float,
    field: float,
    at_mid: float,
    height_m: float,
    cover_full: float | None,
) -> Canopy:
    """The same for full-grown plants that shade less of their bed than a field does."""
    if cover_full is None or cover_full >= at_mid:
        return Canopy(kcb_table, field)
    cover = field * cover_full / at_mid
    if kcb_table <= KC_MIN:
        return Canopy(kcb_table, cover)
    density = density_coefficient(cover=cover, effective_cover=cover, height_m=height_m)
    dense = density_coefficient(cover=field, effective_cover=field, height_m=height_m)
    return Canopy(KC_MIN + (kcb_table - KC_MIN) * density / dense, cover)


def _under_circle(x: float, radius: float) -> float:
    """Area under the quarter circle from 0 to `x`."""
    return 0.5 * (x * sqrt(max(radius**2 - x**2, 0.0)) + radius**2 * asin(min(x / radius, 1.0)))
