"""Stage, crop coefficients, height and roots of a crop on a day; lengths of the stages."""

from __future__ import annotations

from dataclasses import dataclass

from controller.errors import require_range
from controller.garden.model import Planting
from crops.catalogue import Crop, Soil
from crops.firstyears import YoungStand

# Roots of something just sown or set out: FAO-56 (1998), annex 8 takes 0.15-0.20 m, the depth of a
# seed and a little more. Our choice: 0.20 m, and never more than the crop ever needs.
FIRST_ROOTS_M = 0.20
FIRST_HEIGHT_M = 0.10  # our choice: a seedling; also the least height of eq. 62
LEAST_KC_END_ADJUSTED = 0.45  # FAO-56 (1998), eq. 65: lower ends are dry leaves, which feel no wind
# Limits for the packet's days over the table's: our choice, about the ratio of the quickest and the
# slowest row of a crop in FAO-56, table 11.
LEAST_SCALE, MOST_SCALE = 0.6, 1.6
STAGE_NAMES = ("initial", "development", "mid", "late")
# Plants just set out are not watered for less than this; our choice.
SETTLING_LEAST_MM = 1.0
# Perennials just set out are watered when this share of the water within reach of their first roots
# is gone, and every third day at the latest, until they have settled. Our choice, after gardeners'
# custom of keeping them moist.
SETTLING_SHARE = 0.25
SETTLING_DAYS_BETWEEN = 3
# The share of the readily available water that may go in the first year of a perennial: our choice.
FIRST_YEAR_REFILL_AT = 0.5
# Young plants are tall for their width: height follows the fourth root of the ground they shade.
# Our choice: asparagus ferns of 0.5 m and canes of 1 m in the first summer.
_HEIGHT_BY_COVER = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """How plants just set out are watered until they have rooted.

    `days_left` includes this day. A dose is due when `trigger_mm` is missing, or when the last was
    `at_most_days_between` days ago. `roots_m` is the root depth of a perennial when it was set out;
    None: other plants, which are watered at every chance.
    """

    days_left: int
    at_most_days_between: int = 1
    roots_m: float | None = None

    def trigger_mm(self, soil: Soil) -> float:
        """Depletion over the whole ground at which a dose is due. [mm]"""
        if self.roots_m is None:
            return SETTLING_LEAST_MM
        available = 1000.0 * (soil.field_capacity - soil.wilting_point) * self.roots_m
        return max(SETTLING_SHARE * available, SETTLING_LEAST_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseDay:
    """Stage of a planting on one day; `controller.demand.plants.course.Course` makes them.

    `position` is the day of the crop's table that this day corresponds to, from 1; `furthest` its
    maximum so far, as roots and height never shrink (0: no further than `position`). `phase` is
    "seedbed", "settling", "dry-down" or "". `stopped`: no more watering. `stage_days` are the
    planting's own lengths of the stages; None: the crop's. `settling` is set until it has settled.
    `year` is the growing year of a perennial that is not full-grown yet, the first is 1;
    `refill_at` is the share of the readily available water that may be used in the first year.
    """

    stage: str
    position: float
    day_of_planting: int
    phase: str = ""
    stopped: bool = False
    furthest: float = 0.0
    stage_days: tuple[int, int, int, int] | None = None
    settling: Settling | None = None
    year: int | None = None
    refill_at: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CropDay:
    """One crop on one day; `depletion_fraction` is the table's, for a demand of 5 mm/day.

    `kc` includes the evaporation of the soil, `kcb` does not. `grown` is the share of its height
    that the crop has reached, `rooted` that of its roots to the sides; `kcb_mid` and
    `full_height_m` are those of mid-season. `young` is the stand of a perennial in its first years,
    for `canopy_on`; roots and height already allow for it, the coefficients do not.
    """

    stage: str
    day_of_planting: int
    kc: float
    kcb: float
    height_m: float
    root_depth_m: float
    depletion_fraction: float
    grown: float
    rooted: float
    kcb_mid: float
    full_height_m: float
    young: YoungStand | None = None


def crop_on(
    crop: Crop, at: CourseDay, *, supported: bool, wind_2m_m_s: float, rh_min_pct: float
) -> CropDay:
    """Coefficients, height and roots of a crop on a day of its course.

    Parameters
    ----------
    crop : Crop
        Its figures.
    at : CourseDay
        Stage of the planting; its `stage_days`, if any, replace the crop's.
    supported : bool
        Whether it grows on stakes, a frame or a trellis of 1.5 to 2 m. Then the `*_supported`
        figures of the crop apply, if it has any.
    wind_2m_m_s : float
        Wind at 2 m. The equations ask for the mean of a stage; the wind of a single day makes Kc
        vary more, which averages out. [m/s]
    rh_min_pct : float
        Lowest relative humidity of the day, likewise. [%]

    Returns
    -------
    CropDay
        After the last day of the late stage Kc and Kcb keep their end values. Height grows linearly
        through the initial and development stages and then stays; roots grow in the development
        stage, in step with Kcb. An established perennial has all its roots from the first day. The
        roots of one in its first years grow through all those years (`FirstYears.roots_by`), to the
        sides from the second year on; its height follows the fourth root of its share of the full
        cover.

    Raises
    ------
    OutOfRange
        If wind or humidity is outside its range; see `climate_shift`.

    Notes
    -----
    Roots end at `crop.root_min_m`, the smaller depth of Table 22, which is the one for planning
    water; `root_max_m` is for plants that live on rain.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 62, 65, 66, 70; table 12 with its footnote 2 for plants
    on supports; annex 8, eq. 8-1 for roots, by the table's own Kcb, whose line from the initial to
    the mid value is that of the days of development.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> at = CourseDay(stage="mid", position=80, day_of_planting=80)
    >>> calm = {"wind_2m_m_s": 2.0, "rh_min_pct": 45.0}
    >>> found = crop_on(load().crop("tomato"), at, supported=False, **calm)
    >>> found.kc, found.kcb, found.root_depth_m
    (1.15, 1.1, 0.7)
    """
    days, position = at.stage_days or crop.stage_days, at.position
    kc_mid, kcb_mid, height_m = crop.kc_mid, crop.kcb_mid, crop.height_m
    if supported and crop.height_supported_m is not None:
        height_m = max(crop.height_supported_m, height_m)
        kc_mid = kc_mid if crop.kc_mid_supported is None else crop.kc_mid_supported
        kcb_mid = kcb_mid if crop.kcb_mid_supported is None else crop.kcb_mid_supported
    young = None
    if at.year is not None and crop.first_years is not None:
        young = crop.first_years.stand_in(at.year)
        height_m = max(height_m * young.share**_HEIGHT_BY_COVER, min(FIRST_HEIGHT_M, height_m))
    kc_end, kcb_end = crop.kc_end, crop.kcb_end
    if at.stage != "initial":
        shift = climate_shift(wind_2m_m_s=wind_2m_m_s, rh_min_pct=rh_min_pct, height_m=height_m)
        kc_mid += shift
        kcb_mid += shift
        kc_end += shift if kc_end >= LEAST_KC_END_ADJUSTED else 0.0
        kcb_end += shift if kcb_end >= LEAST_KC_END_ADJUSTED else 0.0
    kc = kc_on_day(position, stage_days=days, kc_ini=crop.kc_ini, kc_mid=kc_mid, kc_end=kc_end)
    kcb = kc_on_day(position, stage_days=days, kc_ini=crop.kcb_ini, kc_mid=kcb_mid, kc_end=kcb_end)
    furthest = max(position, at.furthest)
    grown = min(max((furthest - 1.0) / max(days[0] + days[1], 1), 0.0), 1.0)
    if crop.perennial:
        root_depth_m, rooted = crop.root_min_m, 1.0
        if at.year is not None and crop.first_years is not None:
            years = at.year - 1 + min((furthest - 1.0) / max(sum(days), 1), 1.0)
            root_depth_m = crop.first_years.roots_by(years, full_m=crop.root_min_m)
            more = crop.first_years.years - 1
            rooted = min(max((years - 1.0) / more, 0.0), 1.0) if more else min(years, 1.0)
    else:
        rooted = min(max((furthest - days[0]) / max(days[1], 1), 0.0), 1.0)
        first_roots_m = min(FIRST_ROOTS_M, crop.root_min_m)
        root_depth_m = first_roots_m + rooted * (crop.root_min_m - first_roots_m)
    first_height_m = min(FIRST_HEIGHT_M, height_m)
    return CropDay(
        stage=at.stage,
        day_of_planting=at.day_of_planting,
        kc=max(kc, 0.0),
        kcb=max(kcb, 0.0),
        height_m=first_height_m + grown * (height_m - first_height_m),
        root_depth_m=root_depth_m,
        depletion_fraction=crop.depletion_fraction,
        grown=grown,
        rooted=rooted,
        kcb_mid=kcb_mid,
        full_height_m=height_m,
        young=young,
    )


def stage_on_day(number: float, *, stage_days: tuple[int, int, int, int]) -> str:
    """The stage of a day of the planting.

    `number` is the day of the curve, from 1; it need not be whole. `stage_days` are the lengths of
    the four stages [days]. One of `STAGE_NAMES`; days after the last are "late" too.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, chapter 6.

    Examples
    --------
    >>> stage_on_day(40, stage_days=(25, 25, 30, 20))
    'development'
    """
    initial, development, mid, _ = stage_days
    if number <= initial:
        return "initial"
    if number <= initial + development:
        return "development"
    return "mid" if number <= initial + development + mid else "late"


def kc_on_day(
    number: float,
    *,
    stage_days: tuple[int, int, int, int],
    kc_ini: float,
    kc_mid: float,
    kc_end: float,
) -> float:
    """Crop coefficient on the curve of four straight lines (also for Kcb).

    Parameters
    ----------
    number : float
        Day of the curve, from 1; it need not be whole.
    stage_days : tuple of int
        Lengths of the initial, development, mid-season and late stages.
    kc_ini, kc_mid, kc_end : float
        The three coefficients, already adjusted to the climate.

    Returns
    -------
    float
        Kc: flat in the initial and mid-season stages, straight lines between and after, `kc_end`
        after the last day.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 66.

    Examples
    --------
    FAO-56, Example 28: 0.77 on day 40.

    >>> curve = {"kc_ini": 0.15, "kc_mid": 1.19, "kc_end": 0.35}
    >>> round(kc_on_day(40, stage_days=(25, 25, 30, 20), **curve), 2)
    0.77
    """
    initial, development, mid, late = stage_days
    if number <= initial:
        return kc_ini
    number -= initial
    if number <= development:
        return kc_ini + number / development * (kc_mid - kc_ini)
    number -= development
    if number <= mid:
        return kc_mid
    number -= mid
    if number <= late:
        return kc_mid + number / late * (kc_end - kc_mid)
    return kc_end


def climate_shift(*, wind_2m_m_s: float, rh_min_pct: float, height_m: float) -> float:
    """Climate adjustment of Kc mid and Kcb mid, from 2 m/s of wind and 45 % of humidity.

    Parameters
    ----------
    wind_2m_m_s : float
        Mean wind at 2 m in the stage, taken as 1 if less and as 6 if more. [m/s]
    rh_min_pct : float
        Mean of the lowest relative humidity, likewise between 20 and 80. [%]
    height_m : float
        Mean height of the plants in the stage, at most 10; under 0.1 m nothing is added. [m]

    Returns
    -------
    float
        What to add to the coefficient of the table; negative in calm or moist air.

    Raises
    ------
    OutOfRange
        If the wind is outside 0 to 60, the humidity outside 0 to 100, the height negative, or one
        is not a number.

    Source
    ------
    Allen et al. (1998), FAO Paper 56, eq. 62, 65, 70 with their limits.

    Examples
    --------
    FAO-56, Example 27: Kc mid of maize rises from 1.20 to 1.30 at Mocha.

    >>> round(climate_shift(wind_2m_m_s=4.6, rh_min_pct=44.0, height_m=2.0), 2)
    0.1
    """
    require_range("wind_2m_m_s", wind_2m_m_s, 0.0, 60.0)
    require_range("rh_min_pct", rh_min_pct, 0.0, 100.0)
    require_range("height_m", height_m, 0.0, 100.0)
    if height_m < 0.1:
        return 0.0
    wind, humidity = min(max(wind_2m_m_s, 1.0), 6.0), min(max(rh_min_pct, 20.0), 80.0)
    height_factor = (min(height_m, 10.0) / 3.0) ** 0.3
    return float((0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)) * height_factor)


def first_picking_days(crop: Crop) -> float:
    """Days of the crop's table from its first day to the first picking.

    Parameters
    ----------
    crop : Crop
        Its figures.

    Returns
    -------
    float
        All days of the table for a crop that is picked once. [days]

    Source
    ------
    `first_picking` of the crop: the share of mid-season after which picking begins, our choice.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> first_picking_days(load().crop("dry bean"))
    110.0
    """
    initial, development, mid, _ = crop.stage_days
    if crop.first_picking is None:
        return float(sum(crop.stage_days))
    return initial + development + crop.first_picking * mid


def packet_scale(crop: Crop, harvest_days: int) -> float:
    """The packet's days over the table's.

    Parameters
    ----------
    crop : Crop
        Its figures.
    harvest_days : int
        Days to harvest as the seed packet prints them. [days]

    Returns
    -------
    float
        From `LEAST_SCALE` to `MOST_SCALE`.

    Source
    ------
    Our choice; see those constants.

    Examples
    --------
    >>> from crops.catalogue import load
    >>> packet_scale(load().crop("dry bean"), 88)
    0.8
    """
    return min(max(harvest_days / first_picking_days(crop), LEAST_SCALE), MOST_SCALE)


def stage_days_of(crop: Crop, planting: Planting) -> tuple[int, int, int, int]:
    """The lengths of a planting's four stages.

    Parameters
    ----------
    crop : Crop
        Its figures.
    planting : Planting
        Its own `stage_days` replace all else, its `harvest_days` replace those of the table.

    Returns
    -------
    tuple of int
        Initial, development, mid and late. For crops picked once all four follow the packet. For
        crops picked for weeks the first two do, and mid lasts until only the late stage is left
        before `until`, as such crops stay in full leaf while they are picked. [days]

    Source
    ------
    FAO-56 (1998), table 11 (from memory): rows of maize of 125, 140 and 180 days share their days
    between the stages alike, so scaling all is right; rows of tomato of 135, 145 and 180 days
    differ mostly in mid. Chapter 6: mid ends when leaves age, not with the first ripe fruit. Where
    picking begins in the table's days: our choice.

    Examples
    --------
    >>> from datetime import date
    >>> from crops.catalogue import load
    >>> summer = {"start": date(2031, 5, 1), "until": date(2031, 8, 20)}
    >>> beans = Planting(crop="dry bean", **summer, harvest_days=88)
    >>> stage_days_of(load().crop("dry bean"), beans)
    (16, 24, 32, 16)
    """
    if planting.stage_days is not None:
        return planting.stage_days
    initial, development, mid, late = crop.stage_days
    if crop.perennial:
        return crop.stage_days
    if planting.harvest_days is not None:
        scale = packet_scale(crop, planting.harvest_days)
        initial, development = _times(initial, scale), _times(development, scale)
        if crop.first_picking is None:
            mid, late = _times(mid, scale), _times(late, scale)
    if crop.first_picking is not None and planting.stage_warmth is None:
        stands = (planting.until - planting.start).days + 1
        mid = max(mid, stands - initial - development - late)
    return initial, development, mid, late


def _times(days: int, scale: float) -> int:
    return max(round(days * scale), 1) if days else 0
