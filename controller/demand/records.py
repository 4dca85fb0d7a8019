"""Records of demand: the inputs of a day, an observation, a day of the water balance."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

# Where the watering of a day is known from: written down; assumed as given, since nobody wrote
# down that it was not; or planned.
RECORDED, ASSUMED, PLANNED = "recorded", "assumed", "planned"


@dataclass(frozen=True, slots=True, kw_only=True)
class DayInput:
    """Weather inputs of one day for the water balance of any zone.

    `rain_mm` is the rain and melt water that reached the ground; None: unknown, which is credited
    nowhere, and the day says so. `method` names how the reference ET was computed, such as
    "penman-monteith" or "normal of the season". `rung` names the source's rank among the weather
    sources, `source` the station or service. `snow_mm` is the snow, as water, at the end of the
    day. `normal_eto_mm` is usual for the date.
    """

    day: date
    eto_mm: float
    method: str
    rain_mm: float | None
    wind_2m_m_s: float = 2.0
    rh_min_pct: float = 45.0
    measured: bool = True  # False: a weather model's, a forecast or a stand-in
    source: str = ""
    rung: str = ""
    tmin_c: float | None = None
    tmax_c: float | None = None
    # For mean temperatures that stand in: the standard deviation of single days.
    temp_spread_c: float = 0.0
    solar_mj_m2: float | None = None  # where it is known, not computed
    rain_chance_pct: float | None = None  # of a forecast
    snow_mm: float = 0.0
    normal_eto_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What a person observed of a planting; `event` is one of `observations.EVENTS`."""

    zone: str
    day: date
    event: str
    crop: str = ""  # if a zone holds several; empty: any that stands there


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerDay:
    """One day of one soil-water balance; depths over the whole ground that its rows serve.

    A zone whose rows hold different crops has a balance for each `part`. It is that of the driest
    quarter: `watered_mm` passed the valve, `passed_mm` of it went below the roots elsewhere or
    filled the line, and the rest is credited. With dual coefficients `kc` is Kcb + Ke, and
    `used_mm` is what plants and soil lost together.

    The ground that the line wets (`wetted_fraction`) and the rest are two stores.
    `wet_depletion_mm`, `rest_depletion_mm` and the depletions of their surface layers are over
    their own ground; `taw_mm` and `raw_mm` hold for both. Weighted by their shares the two are
    `depletion_mm`. What leaves a surface layer leaves the root zone.

    The balance closes: depletion_mm = start_depletion_mm - (rain_mm - rain_unused_mm - runoff_mm)
    - (watered_mm - passed_mm) + used_mm + drained_mm + handed_over_mm, where `handed_over_mm` is
    the change of account when a planting begins or ends.
    """

    zone: str
    day: date
    account: str  # "bare", or the planting as "leek from 2031-04-22"
    crop: str | None
    stage: str  # "bare", "initial", "development", "mid", "late"
    day_of_planting: int  # 1 on the first day; 0 when bare
    eto_mm: float
    method: str
    kc: float
    etc_mm: float  # kc * eto: what an unstressed crop would use
    stress: float  # Ks, 0 to 1
    used_mm: float  # what really left: stress * etc
    rain_mm: float  # as measured; 0 where unknown
    rain_known: bool
    rain_unused_mm: float  # too little to count
    runoff_mm: float
    watered_mm: float
    drained_mm: float
    handed_over_mm: float
    start_depletion_mm: float
    depletion_mm: float  # at the end of the day
    root_depth_m: float
    taw_mm: float
    raw_mm: float
    depletion_fraction: float
    measured: bool = True
    part: str = ""  # "" where the zone is one; else as "row 1", "rows 2 and 3"
    phase: str = ""  # "seedbed", "settling", "dry-down" or ""
    coefficients: str = "single"
    kcb: float = 0.0
    ke: float = 0.0
    transpired_mm: float = 0.0
    evaporated_mm: float = 0.0
    surface_depletion_mm: float = 0.0  # of the ground that the line wets
    wetted_fraction: float = 1.0  # of the ground, that the line wets
    exposed_fraction: float = 1.0  # few of the day
    cover: float = 0.0  # ground shaded by the plants, 0 to 1
    exposure: float = 1.0  # the bed's own factor, in etc_mm and used_mm
    plants: float = 0.0  # how many stand there
    ground_m2: float = 0.0
    salt_stress: float = 1.0  # expected yield-related share; see controller.demand.soil.salinity
    rung: str = ""
    snow_mm: float = 0.0
    passed_mm: float = 0.0
    water_from: str = ""  # one of the constants above; "" where nothing was given
    wet_depletion_mm: float = 0.0
    rest_depletion_mm: float = 0.0
    rest_surface_depletion_mm: float = 0.0
    wet_kc: float = 0.0  # Kc of the ground that the line wets, its crop unstressed
    wet_drained_mm: float = 0.0  # over that ground
    kc_max_base: float = 1.2
    dry_days: float = 4.0  # since the ground was last wetted
    # What unstressed plants would have drawn on the last days, this one last; for the mean alone.
    draws_mm: tuple[float, ...] = field(default=(), compare=False, repr=False)
