"""What the rooms hand each other about time: why, doses, pulses, a timetable."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from controller.demand.records import LedgerDay
from controller.garden.plumbing import ValveKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """What stood in the ledger on the evening before, in one line's worth of figures."""

    account: str
    stage: str
    eto_mm: float
    method: str
    kc: float
    depletion_mm: float  # missing from the ground that the line wets
    allowed_mm: float  # may be missing there before it is watered
    raw_mm: float  # may be missing there before the crop feels it
    rain_mm: float  # counted since the last dose
    rain_unknown_days: int
    stand_in_days: int
    words: str = ""  # why now, as in "depletion passed the allowed share"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """The litres a zone is to get on a day.

    litres = net_mm * ground_m2 / evenness + pulses * line_litres; `evenness` is the uniformity that
    the dose is divided by, `line_litres` what fills the line each time and runs out after.
    """

    zone: str
    day: date
    net_mm: float
    ground_m2: float
    evenness: float
    line_litres: float
    pulses: int
    litres: float
    already_litres: float  # given earlier this day, and taken off
    why: Why


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """One opening of one valve, planned; what its `key` names runs once, or never."""

    zone: str
    day: date
    slot: int
    opens_utc: datetime
    closes_utc: datetime
    open_s: float
    litres: float
    valve: ValveKind
    relay_line: int | None
    together: tuple[str, ...] = ()  # other zones open during part of it
    line_litres: float | None = None  # of the litres, what fills the line; None: not known
    uniformity: float | None = None  # that its dose was divided by; None: not known

    @property
    def key(self) -> str:
        """Names this pulse for ever: a key that has run is not run again."""
        return f"{self.zone}|{self.day.isoformat()}|{self.slot}"

    @property
    def stored_litres(self) -> float | None:
        """What the driest quarter's account is credited of it; None: not known. [L]"""
        if self.line_litres is None or self.uniformity is None:
            return None
        return max(0.0, self.litres - self.line_litres) * self.uniformity


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFitted:
    """Water that found no place; the ledger carries it over to the next day."""

    zone: str
    day: date
    litres: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """A part of a zone whose crop will find too little water in the days planned.

    `least_stress` is the lowest Ks, on `worst_day`; `lost_mm` what the crop could have drawn and
    will not, over the ground its rows serve, all days together.
    """

    zone: str
    part: str
    first: date
    days: int
    least_stress: float
    worst_day: date
    lost_mm: float
    reason: str  # what kept its water back; "" where nothing did


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWater:
    """A zone, or a part of it, that gets no water in the days planned; `why` in a word or two."""

    zone: str
    part: str
    why: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterIn:
    """What plants set out on `day` are to be watered in with, by hand.

    `lacking_mm` is missing that morning from the ground that the line wets, less what has come
    since; `litres` bring it there as evenly as a dose of the zone's own line would. On
    `rain_unknown_days` of the 30 days before nobody knows the rain, and none is counted.
    """

    zone: str
    part: str
    day: date
    crop: str
    lacking_mm: float
    litres: float
    rain_unknown_days: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """All pulses of a span of days, and the account behind them."""

    first: date
    last: date
    pulses: tuple[Pulse, ...]
    doses: tuple[Dose, ...]
    not_fitted: tuple[NotFitted, ...]
    ledger: Sequence[LedgerDay]  # all zones, from the start of the account to the last day
    short: tuple[Short, ...] = ()
    no_water: tuple[NoWater, ...] = ()
    water_in: tuple[WaterIn, ...] = ()
    remarks: tuple[str, ...] = ()  # doubts about the weather and the like, said aloud
