"""Salty water: how much of it must pass below the roots, and the stress if it does not.

Salinity is electrical conductivity: ECw of the water, ECe of the saturation extract of the soil of
the root zone, both in dS/m. Plants tolerate ECe up to a threshold; beyond it yield falls by so many
per cent for each dS/m. The yield equations are for a season, not for a day.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from controller.errors import require_range
from crops.catalogue import Crop

# Our choice: the share of FAO-29 grows without bound as the water nears what a crop tolerates. With
# more than three tenths a garden wastes more than it can drain, and should grow a hardier crop.
MOST_LEACHING = 0.30
SALT_RANGE_DS_M = (0.0, 60.0)  # sea water has about 50
# FAO-56 (1998), chapter 8: eq. 91 is for losses of less than half the yield.
MOST_LOSS_PCT = 50.0

# FAO-29 (Ayers and Westcot 1985), guidelines for water quality: degrees of restriction by ECw.
CLASSES = ((0.7, "no problem"), (3.0, "slight to moderate"))
WORST_CLASS = "severe"

# Ky, the loss of yield over the loss of water, for the whole season: FAO-56 (1998), Table 24. Its
# bean, maize, onion and tomato stand for each of our entries of that plant.
YIELD_RESPONSE: Mapping[str, float] = MappingProxyType(
    {
        "bush_bean": 1.15,
        "pole_bean": 1.15,
        "dry_bean": 1.15,
        "cabbage": 0.95,
        "sweet_corn": 1.25,
        "onion_dry": 1.1,
        "onion_green": 1.1,
        "pea": 1.15,
        "pepper": 1.1,
        "potato": 1.1,
        "sunflower": 0.95,
        "tomato": 1.05,
        "tomato_staked": 1.05,
        "watermelon": 1.1,
    }
)
OTHER_YIELD_RESPONSE = 1.0  # our choice where the table has no figure: in proportion


def water_class(water_ds_m: float) -> str:
    """How much trouble salts in the water bring, in words.

    ECw of the water, 0 to 60 dS/m (else OutOfRange): "no problem", "slight to moderate" from 0.7
    on, "severe" above 3.0.

    Source
    ------
    Ayers and Westcot (1985), FAO Paper 29, guidelines for water quality.

    Examples
    --------
    >>> water_class(1.5)
    'slight to moderate'
    """
    require_range("water_ds_m", water_ds_m, *SALT_RANGE_DS_M)
    if water_ds_m < CLASSES[0][0]:
        return CLASSES[0][1]
    return CLASSES[1][1] if water_ds_m <= CLASSES[1][0] else WORST_CLASS


def leaching_share(*, water_ds_m: float, soil_ds_m: float) -> float:
    """Leaching requirement: the share of the watering that must pass below the roots.

    Parameters
    ----------
    water_ds_m : float
        ECw of the water, 0 to 60. [dS/m]
    soil_ds_m : float
        ECe that the soil shall keep; the crop's threshold for no loss of yield. 0 to 60. [dS/m]

    Returns
    -------
    float
        LR, 0 to `MOST_LEACHING` (our cap).

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Ayers and Westcot (1985), FAO Paper 29: LR = ECw / (5 ECe - ECw), as quoted in FAO Paper 56
    (1998), chapter 8. The cap is ours.

    Examples
    --------
    >>> round(leaching_share(water_ds_m=1.0, soil_ds_m=2.5), 3)
    0.087
    """
    require_range("water_ds_m", water_ds_m, *SALT_RANGE_DS_M)
    require_range("soil_ds_m", soil_ds_m, *SALT_RANGE_DS_M)
    room = 5.0 * soil_ds_m - water_ds_m
    # Compared without a division, so that no room gives the cap, not an error.
    if water_ds_m >= MOST_LEACHING * room:
        return MOST_LEACHING if water_ds_m > 0.0 else 0.0
    return water_ds_m / room


def root_zone_salt_ds_m(*, water_ds_m: float, leaching_share: float) -> float:
    """ECe of the root zone in the long run, if that share of the watering passes through it.

    Parameters
    ----------
    water_ds_m : float
        ECw of the water, 0 to 60. [dS/m]
    leaching_share : float
        Share of the watering that passes below the roots, above 0 to 1.

    Returns
    -------
    float
        ECe. [dS/m]

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 93.

    Examples
    --------
    >>> round(root_zone_salt_ds_m(water_ds_m=1.0, leaching_share=0.15), 2)
    1.53
    """
    require_range("water_ds_m", water_ds_m, *SALT_RANGE_DS_M)
    require_range("leaching_share", leaching_share, 1e-4, 1.0)
    return (1.0 + leaching_share) / leaching_share * water_ds_m / 5.0


def salt_stress(
    *,
    soil_ds_m: float,
    threshold_ds_m: float,
    slope_pct_per_ds_m: float,
    yield_response: float,
) -> float:
    """Ks of a crop in salty soil without lack of water: the share of its demand that it meets.

    Parameters
    ----------
    soil_ds_m : float
        ECe, 0 to 60. [dS/m]
    threshold_ds_m : float
        ECe up to which nothing is lost, 0 to 60. [dS/m]
    slope_pct_per_ds_m : float
        Loss of yield beyond it, 0 to 100. [%/(dS/m)]
    yield_response : float
        Ky, 0.1 to 5; `YIELD_RESPONSE` has them.

    Returns
    -------
    float
        0 to 1. From half the yield lost on it stays constant: the equation ends there.

    Raises
    ------
    OutOfRange
        If a value is outside its range, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 91 with its limit, threshold + 50 / b. That it stays
    there is our choice.

    Examples
    --------
    FAO-56, Example 39: 0.92.

    >>> beans = {"threshold_ds_m": 1.0, "slope_pct_per_ds_m": 19.0, "yield_response": 1.15}
    >>> round(salt_stress(soil_ds_m=1.5, **beans), 2)
    0.92
    """
    require_range("soil_ds_m", soil_ds_m, *SALT_RANGE_DS_M)
    require_range("threshold_ds_m", threshold_ds_m, *SALT_RANGE_DS_M)
    require_range("slope_pct_per_ds_m", slope_pct_per_ds_m, 0.0, 100.0)
    require_range("yield_response", yield_response, 0.1, 5.0)
    loss_pct = slope_pct_per_ds_m * max(soil_ds_m - threshold_ds_m, 0.0)
    return max(1.0 - min(loss_pct, MOST_LOSS_PCT) / (100.0 * yield_response), 0.0)


def leaching_owed_mm(
    *, entered_mm: float, drained_mm: float, share: float, owed_mm: float = 0.0
) -> float:
    """Water that still has to pass below the roots at the end of a day.

    Parameters
    ----------
    entered_mm : float
        Watering of the day; rain brings no salt and is left out. [mm]
    drained_mm : float
        What passed below the roots that day, of rain and watering alike. [mm]
    share : float
        `leaching_share`, 0 to 1.
    owed_mm : float
        What was owed at the end of the day before. [mm]

    Returns
    -------
    float
        0 if enough has drained. [mm]

    Raises
    ------
    OutOfRange
        If a depth is negative, the share above 1, or one is not a number.

    Notes
    -----
    Never below 0 on any day: rain washes out only the salt that is there, so a wet winter does not
    leach for the summer after it. Added to a dose that fills the root zone, this water drains. The
    share of that dose is owed from the next day on, so nothing is divided by 1 - share.

    Source
    ------
    The meaning of FAO-29's share (Ayers and Westcot 1985), drained over entered, kept as a running
    balance: our own bookkeeping.

    Examples
    --------
    >>> round(leaching_owed_mm(entered_mm=10.0, drained_mm=0.5, share=0.15, owed_mm=2.0), 2)
    3.0
    """
    require_range("entered_mm", entered_mm, 0.0, 1e6)
    require_range("drained_mm", drained_mm, 0.0, 1e6)
    require_range("share", share, 0.0, 1.0)
    require_range("owed_mm", owed_mm, 0.0, 1e6)
    return max(owed_mm + share * entered_mm - drained_mm, 0.0)


def leaching_share_of(crop: Crop, water_ds_m: float | None) -> float:
    """`leaching_share` at the crop's own threshold; 0 if the water or the crop has no figure.

    Parameters
    ----------
    crop : Crop
        Its figures.
    water_ds_m : float, optional
        ECw of the water; None: not salty. [dS/m]

    Returns
    -------
    float
        0 to `MOST_LEACHING`.

    Raises
    ------
    OutOfRange
        As `leaching_share`.

    Source
    ------
    As `leaching_share`: no loss of yield is wanted.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> round(leaching_share_of(load().crop("carrot"), 1.0), 2)
    0.25
    """
    if water_ds_m is None or crop.salinity_threshold_ds_m is None:
        return 0.0
    return leaching_share(water_ds_m=water_ds_m, soil_ds_m=crop.salinity_threshold_ds_m)


def salt_stress_of(crop: Crop, water_ds_m: float | None) -> float:
    """Ks by salt of a crop that is watered with its `leaching_share_of`.

    Parameters
    ----------
    crop : Crop
        Its figures.
    water_ds_m : float, optional
        ECw of the water; None: not salty. [dS/m]

    Returns
    -------
    float
        1 unless our cap on leaching leaves the soil saltier than the crop tolerates; 1 also if the
        table has no figures for the crop.

    Raises
    ------
    OutOfRange
        If the conductivity is outside 0 to 60, or not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 91 and 93, with the Ky of Table 24.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> round(salt_stress_of(load().crop("carrot"), 2.0), 2)
    0.9
    """
    threshold, slope = crop.salinity_threshold_ds_m, crop.salinity_slope_pct
    if not water_ds_m or threshold is None or slope is None:
        return 1.0
    share = leaching_share_of(crop, water_ds_m)
    if share < MOST_LEACHING:
        return 1.0  # eq. 93 is FAO-29's share turned round: the soil stays at the threshold
    settled = root_zone_salt_ds_m(water_ds_m=water_ds_m, leaching_share=share)
    return salt_stress(
        soil_ds_m=min(settled, SALT_RANGE_DS_M[1]),
        threshold_ds_m=threshold,
        slope_pct_per_ds_m=slope,
        yield_response=YIELD_RESPONSE.get(crop.name, OTHER_YIELD_RESPONSE),
    )
