"""What the rooms hand each other about demand: a day as the ledger needs it, a ledger day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True, slots=True, kw_only=True)
class DayInput:
    """One day's demand side, ready for any zone's ledger.

    `rain_mm` is None when nobody knows: unknown rain is credited to no ledger, and the day says so.
    `method` names the rung the reference ET stood on, as in "penman-monteith" or
    "stand-in: mean of 7 days".
    """

    day: date
    eto_mm: float
    method: str
    rain_mm: float | None
    wind_2m_m_s: float = 2.0
    rh_min_pct: float = 45.0
    measured: bool = True  # False: a forecast or a stand-in
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerDay:
    """One day of one zone's soil-water account; depths over the whole ground the rows serve.

    Closes to nothing: depletion_mm = start_depletion_mm - (rain_mm - rain_unused_mm - runoff_mm)
    - watered_mm + used_mm + drained_mm + handed_over_mm, where `handed_over_mm` is the change of
    account when a planting begins or ends, or roots reach soil that was not in the account.
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
