"""The records of a timetable: reasons, doses, pulses, notices."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from controller.demand.records import LedgerDay
from controller.garden.plumbing import ValveKind
from controller.messages import Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """The reason for a dose: the figures of the ledger on the evening before."""

    account: str
    stage: str
    eto_mm: float
    method: str
    kc: float
    depletion_mm: float  # of the ground that the line wets
    allowed_mm: float  # at which a dose is due there
    raw_mm: float  # readily available water there
    rain_mm: float  # credited since the last dose
    rain_unknown_days: int
    stand_in_days: int
    stands_in: bool = False  # whether `eto_mm` stands in for unknown weather
    reasons: tuple[Message, ...] = ()  # why it is due, then what changes it


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """The litres that a zone is to get on a day.

    litres = net_mm * ground_m2 / evenness + pulses * line_litres. `evenness` is the uniformity by
    which the dose is divided; `line_litres` fill the line for each pulse and run out after it.
    """

    zone: str
    day: date
    net_mm: float
    ground_m2: float
    evenness: float
    line_litres: float
    pulses: int
    litres: float
    already_litres: float  # given earlier on this day, and subtracted
    why: Why


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """One planned opening of one valve; a pulse with this `key` runs at most once."""

    zone: str
    day: date
    slot: int
    opens_utc: datetime
    closes_utc: datetime
    open_s: float
    litres: float
    valve: ValveKind
    relay_line: int | None
    together: tuple[str, ...] = ()  # zones that are open during a part of it
    line_litres: float | None = None  # those of the litres that fill the line; None: unknown
    uniformity: float | None = None  # by which its dose was divided; None: unknown
    visit: int = 0  # of its keeper on that day, from 1; 0: of a relay, or unknown

    @property
    def key(self) -> str:
        """The permanent name of this pulse: a key that has run does not run again."""
        return f"{self.zone}|{self.day.isoformat()}|{self.slot}"

    @property
    def stored_litres(self) -> float | None:
        """Litres credited to the account of the driest quarter; None: unknown. [L]"""
        if self.line_litres is None or self.uniformity is None:
            return None
        return max(0.0, self.litres - self.line_litres) * self.uniformity


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFitted:
    """Water that did not fit into the day; the ledger carries it over to the next one."""

    zone: str
    day: date
    litres: float
    reason: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class Short:
    """A part of a zone whose crop will be short of water in the planned days.

    `least_stress` is the lowest Ks, on `worst_day`. `lost_mm` is the crop's lost transpiration over
    the ground that its rows serve, for all days together.
    """

    zone: str
    part: str
    first: date
    days: int
    least_stress: float
    worst_day: date
    lost_mm: float
    reason: Message | None  # what held its water back


class WhyDry(StrEnum):
    """Why a zone gets no water."""

    NOTHING_PLANTED = "nothing planted"
    NOT_BEGUN = "not begun"
    BETWEEN = "between plantings"
    OVER = "over"
    GONE = "gone"
    DRYING = "drying"
    NOT_NEEDED = "nothing needed"
    NOT_GIVEN = "not given"
    NO_ROW = "no row in use"


@dataclass(frozen=True, slots=True, kw_only=True)
class NoWater:
    """A zone, or a part of it, without water in the planned days, and why."""

    zone: str
    part: str
    why: WhyDry
    message: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterIn:
    """The water for plants set out on `day`, to be given by hand.

    `lacking_mm` is the depletion of the wetted ground on that morning, less the water since then.
    `litres` give it as evenly as a dose of the zone's own line. The rain is unknown on
    `rain_unknown_days` of the 30 days before, and counts as none.
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
    """All pulses of a span of days, with the ledger on which they stand."""

    first: date
    last: date
    pulses: tuple[Pulse, ...]
    doses: tuple[Dose, ...]
    not_fitted: tuple[NotFitted, ...]
    ledger: Sequence[LedgerDay]  # all zones, from the start of the account to the last day
    short: tuple[Short, ...] = ()
    no_water: tuple[NoWater, ...] = ()
    water_in: tuple[WaterIn, ...] = ()
    remarks: tuple[Message, ...] = ()  # printed: doubtful weather and the like
