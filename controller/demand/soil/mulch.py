"""Mulch, and how much less the ground loses under it.

Organic mulch such as straw slows evaporation and does not change Kcb. Plastic film stops the
evaporation below it and lowers Kcb a little. It also sheds most of the rain that falls on it: that
runs to the path and counts as runoff.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from controller.errors import InputError, require_range
from controller.garden.values import rain_through

Kind = Literal["none", "organic", "plastic"]

KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "none": "none",
        "straw": "organic",
        "leaves": "organic",
        "compost": "organic",
        "bark": "organic",
        "grass": "organic",
        "plastic": "plastic",
    }
)

# FAO-56 (1998), chapter 10: an organic mulch takes 5 % off evaporation for each 10 % of the surface
# it covers.
ORGANIC_EVAPORATION = 0.5
# FAO-56 (1998), chapter 10, on plastic: Kcb falls by 5 to 15 %, Kc by 10 to 30 %, Kc initial to
# about 0.10; its Example 45, cucumber with drip, takes 10 % off Kcb and 15 % off Kc. The two agree
# where no evaporation is left: 0.90 x 0.95 = 0.855 and 0.85 x 1.00 = 0.85 in mid-season, 0.90 x
# 0.70 = 0.63 and 0.85 x 0.75 = 0.64 at the end. So both of our forms take 10 % off Kcb and all of
# the evaporation below the film; Kc initial is then 0.90 x 0.15 = 0.135. Our choice.
PLASTIC_TRANSPIRATION = 0.90
PLASTIC_EVAPORATION = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mulch:
    """A mulch and the share of the surface that it covers, 0 to 1, without the holes in a film.

    `rain_share` is the share of the rain that enters the ground, 0 to 1.
    """

    kind: Kind
    cover: float
    rain_share: float = 1.0


def mulch_of(name: str, cover: float, rain_share: float | None = None) -> Mulch:
    """The mulch of that name in a garden file, on that share of the surface.

    `name` is one of `KINDS`; case and spaces around it do not matter, and InputError says which
    there are. `cover` is the share of the surface covered and `rain_share` the share of the rain
    that enters (None: `controller.garden.values.rain_through`), both 0 to 1, else OutOfRange. For
    "none" the cover is 0 and all rain enters.

    Source
    ------
    Which are organic: common sense.

    Examples
    --------
    >>> mulch_of("straw", 0.8)
    Mulch(kind='organic', cover=0.8, rain_share=1.0)
    """
    kind = KINDS.get(name.strip().lower())
    if kind is None:
        raise InputError(f'mulch: found "{name}"; allowed are {", ".join(KINDS)}')
    require_range("mulch_cover", cover, 0.0, 1.0)
    if kind == "none":
        return Mulch(kind=kind, cover=0.0)
    if rain_share is None:
        rain_share = rain_through(kind, cover)
    require_range("mulch_rain", rain_share, 0.0, 1.0)
    return Mulch(kind=kind, cover=cover, rain_share=rain_share)


def evaporation_factor(mulch: Mulch) -> float:
    """Factor for the evaporation of the soil (Ke) under a mulch.

    Parameters
    ----------
    mulch : Mulch
        What lies there.

    Returns
    -------
    float
        1 without mulch; at full cover 0.5 under organic mulch and 0 under plastic, linear between.

    Raises
    ------
    OutOfRange
        Never: `mulch_of` checks.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 10; for plastic derived from its figures as the
    comment at PLASTIC_EVAPORATION says.

    Examples
    --------
    >>> round(evaporation_factor(mulch_of("straw", 0.8)), 2)
    0.6
    """
    if mulch.kind == "none":
        return 1.0
    left = ORGANIC_EVAPORATION if mulch.kind == "organic" else PLASTIC_EVAPORATION
    return 1.0 - mulch.cover * (1.0 - left)


def transpiration_factor(mulch: Mulch) -> float:
    """Factor for the basal coefficient (Kcb) over a mulch.

    Parameters
    ----------
    mulch : Mulch
        What lies there.

    Returns
    -------
    float
        1; over plastic it falls to 0.90 at full cover.

    Raises
    ------
    OutOfRange
        Never: `mulch_of` checks.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 10: Kcb as it is over organic mulches, 5 to 15 % less
    over plastic; the choice of 10 % is explained at PLASTIC_TRANSPIRATION.

    Examples
    --------
    >>> transpiration_factor(mulch_of("plastic", 1.0))
    0.9
    """
    if mulch.kind != "plastic":
        return 1.0
    return 1.0 - mulch.cover * (1.0 - PLASTIC_TRANSPIRATION)


def kc_under_mulch(*, kc: float, kcb: float, mulch: Mulch) -> float:
    """The single crop coefficient under a mulch.

    Parameters
    ----------
    kc : float
        Single crop coefficient without mulch, 0 to 3.
    kcb : float
        Basal coefficient of the same day, 0 to 3; what `kc` has above it is evaporation.
    mulch : Mulch
        What lies there.

    Returns
    -------
    float
        Kc, from 0 to `kc`.

    Raises
    ------
    OutOfRange
        If a coefficient is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 10, with Kc - Kcb for the evaporation that a single
    coefficient holds.

    Examples
    --------
    >>> round(kc_under_mulch(kc=1.00, kcb=0.95, mulch=mulch_of("plastic", 1.0)), 3)
    0.855
    """
    require_range("kc", kc, 0.0, 3.0)
    require_range("kcb", kcb, 0.0, 3.0)
    basal = min(kcb, kc)
    return basal * transpiration_factor(mulch) + (kc - basal) * evaporation_factor(mulch)
