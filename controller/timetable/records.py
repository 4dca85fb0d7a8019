"""What the rooms hand each other about time: why, doses, pulses, a timetable."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from controller.demand.records import LedgerDay
from controller.garden.model import ValveKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Why:
    """What stood in the ledger on the evening before, in one line's worth of figures."""

    account: str
    stage: str
    eto_mm: float
    method: str
    kc: float
    depletion_mm: float
    allowed_mm: float  # refill_at * RAW
    raw_mm: float
    rain_mm: float  # counted since the last dose
    rain_unknown_days: int
    stand_in_days: int
    words: str = ""  # why now, as in "depletion passed the allowed share"


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """The litres a zone is to get on a day.

    litres = net_mm * ground_m2 / evenness + pulses * line_litres; `line_litres` is what fills the
    line each time and runs out after.
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

    @property
    def key(self) -> str:
        """Names this pulse for ever: a key that has run is not run again."""
        return f"{self.zone}|{self.day.isoformat()}|{self.slot}"


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFitted:
    """Water that found no place; the ledger carries it over to the next day."""

    zone: str
    day: date
    litres: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Timetable:
    """All pulses of a span of days, and the account behind them."""

    first: date
    last: date
    pulses: tuple[Pulse, ...]
    doses: tuple[Dose, ...]
    not_fitted: tuple[NotFitted, ...]
    ledger: tuple[LedgerDay, ...]  # all zones, from the start of the account to the last day
    remarks: tuple[str, ...] = ()  # doubts about the weather and the like, said aloud
