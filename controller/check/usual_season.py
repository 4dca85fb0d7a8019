"""Simulation of a usual season, for `check`: zones short of water, reasons, remedies.

The season is that of the garden's own plantings. Each day has the usual reference ET and no rain.
Plants and seeds are watered in by hand on their first day. Demand, dose and packing are those of a
plan, and every day goes as planned. The water cost of each zone's driest quarter is part of it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.check.finding import Finding, caution, in_zone
from controller.check.what_helps import Help, OutOfTime, search
from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Satisfy, Zone
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.climatology import Normals
from controller.inputs.days import demand_days, growing_year
from controller.messages import Message, Quantity
from controller.timetable.garden_accounts import GardenAccounts
from controller.timetable.need.jobs import Grounds
from controller.timetable.notices import is_short, shortages
from controller.timetable.packing.fit_day import NO_WINDOW
from controller.timetable.packing.job import NetworkFlows
from controller.timetable.plan import Installation, Span, garden_accounts
from controller.timetable.records import Dose, NotFitted, Pulse, Short

_DAY = timedelta(days=1)
# A shortage is explained by water that did not fit at most so many days before; our choice,
# a week of windows.
KEPT_BACK_DAYS = 7
# The search for remedies may simulate so many zone days: under ten seconds on a computer of today,
# or twenty seasons of ten zones. Our choice.
MOST_ZONE_DAYS = 45_000
# The row for comparison: a level row after hand drilling has 0.94, and drip lines are designed for
# 0.90 (ASABE EP405, from memory).
EVEN_ROW = 0.90
# A message is given for a lower uniformity (class limit between good and fair, ASAE EP458, from
# memory), or for a larger share of the water. Our choice.
UNEVEN_SAID, SAVING_SAID = 0.85, 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneWater:
    """The water of a zone in a usual season, with the cost of its driest quarter.

    Of `litres`, `past_litres` do not reach the driest quarter: `line_litres` fill the line, and the
    rest goes below the roots where the line gives more. A dose is divided by `divisor`. A row as
    even as `EVEN_ROW` would save `saving_litres`.
    """

    zone: str
    litres: float
    past_litres: float
    line_litres: float
    uniformity: float
    divisor: float
    saving_litres: float

    @property
    def saving_share(self) -> float:
        """Share of the litres that an even row saves, 0 to 1. [-]"""
        return self.saving_litres / self.litres if self.litres > 0.0 else 0.0

    @property
    def worth_saying(self) -> bool:
        """Whether a more even row is worth a message."""
        if self.saving_litres <= 0.0:
            return False
        return self.uniformity < UNEVEN_SAID or self.saving_share > SAVING_SAID


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A usual season: its days, the parts that are short of water, remedies, water by zone.

    The `reason` of each shortage is what held back most of its water. `never` are the planted zones
    that a fault of `check` keeps from any water.
    """

    first: date
    last: date
    short: tuple[Short, ...]
    crops: tuple[str, ...]  # of each shortage, on its worst day
    helps: Mapping[str, Help]
    waters: tuple[ZoneWater, ...]
    never: tuple[str, ...] = ()


def usual_season(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    normals: Normals | None,
    *,
    today: date,
    on_day: Callable[[], None] = lambda: None,
) -> Season | None:
    """Simulate the season, and again with each change that may help; None without plantings.

    `on_day` is called after each simulated day, to show progress.
    """
    span = season_of(garden, today)
    if span is None:
        return None
    first, last = span
    days = demand_days(
        (),
        garden.site,
        first=first,
        last=last,
        today=first,
        normals=normals,
        climate=garden.weather.climate,
    ).days
    simulator = _Simulator(grounds, lines, days, normals, last, on_day, left=MOST_ZONE_DAYS)
    base = _Simulation(simulator.carried(garden, first))
    for day in _span(first, last):
        base.next_day(day)
        on_day()
    waterable = [zone.name for zone in garden.zones if _waterable(zone, garden, base.carried.flows)]
    short = base.shortages(waterable)
    reasons = {
        found.zone: {left.reason for left in base.left_before(found.zone)} for found in short
    }
    helps = {}
    if short:
        tight = min(left.day for left in base.not_fitted)
        helps = search(garden, reasons, simulator.again(base, tight))
    rows = {(row.zone, row.part, row.day): row for rows in base.short.values() for row in rows}
    return Season(
        first=first,
        last=last,
        short=short,
        crops=tuple(rows[s.zone, s.part, s.worst_day].crop or "" for s in short),
        helps=helps,
        waters=tuple(_water(zone, garden, base) for zone in garden.zones),
        never=tuple(
            zone.name for zone in garden.zones if zone.plantings and zone.name not in waterable
        ),
    )


def season_findings(season: Season) -> list[Finding]:
    """A caution for each zone that goes short: from when, how much, why, and what helps."""
    worst: dict[str, tuple[Short, str]] = {}
    for short, crop in zip(season.short, season.crops, strict=True):
        if short.zone not in worst or short.least_stress < worst[short.zone][0].least_stress:
            worst[short.zone] = short, crop
    return [
        caution(in_zone(zone), _short_message(short, crop, season.helps[zone]))
        for zone, (short, crop) in worst.items()
    ]


def _short_message(short: Short, crop: str, found: Help) -> Message:
    helps = _help_message(found)
    no_window = Message("check.no_window_then") if short.reason == NO_WINDOW else None
    return Message(
        "check.short" if helps is None else "check.short_helps",
        {
            "crop": crop.replace("_", " "),
            "part": Message("check.short_part", {"part": short.part}) if short.part else "",
            "days": short.days,
            "first": short.first,
            "worst": short.worst_day,
            "finds": Quantity(short.least_stress, "percent"),
            "reason": no_window or short.reason or "",
            "helps": helps or "",
        },
    )


def _help_message(found: Help) -> Message | None:
    if found.change is not None:
        return Message("help.change", {"change": found.change})
    tried = {"tried": found.tried}
    if found.together:
        return Message("help.together", tried)
    if found.stopped:
        return Message("help.stopped_after" if found.tried else "help.stopped", tried)
    if not found.tried:
        return None
    return Message("help.not_together" if len(found.tried) > 1 else "help.not_enough", tried)


def season_of(garden: Garden, today: date) -> tuple[date, date] | None:
    """From the first to the last planting of the growing year that matters; None without any.

    It is the first year with plantings that are not over yet, or the next one if more of them stand
    in that. If all are over, it is the last year.
    """
    plantings = [planting for zone in garden.zones for planting in zone.plantings]
    if not plantings:
        return None
    coming = [p for p in plantings if p.until >= today]
    near = max(today, min(p.start for p in coming)) if coming else max(p.until for p in plantings)
    begins = growing_year(near, garden.site)
    following = _year_after(begins)

    def standing(year: date) -> int:
        return sum(p.start < _year_after(year) and p.until >= year for p in coming)

    if standing(following) > standing(begins):
        begins = following
    ends = _year_after(begins) - _DAY
    held = [p for p in plantings if p.start <= ends and p.until >= begins]
    return max(begins, min(p.start for p in held)), min(ends, max(p.until for p in held))


def _year_after(begins: date) -> date:
    return begins.replace(year=begins.year + 1)


class _Simulation:
    """One simulation of the season: water given, water held back, shortages."""

    def __init__(self, carried: GardenAccounts) -> None:
        self.carried = carried
        self.pulses: list[Pulse] = []
        self.doses: dict[tuple[str, date], Dose] = {}
        self.not_fitted: list[NotFitted] = []
        self.short: defaultdict[str, list[LedgerDay]] = defaultdict(list)
        self._last_left: dict[str, date] = {}

    def next_day(self, day: date) -> None:
        """Simulate one more day."""
        planned = self.carried.plan(day)
        self.pulses += planned.packed.pulses
        self.doses.update(((dose.zone, dose.day), dose) for dose in planned.doses)
        self.not_fitted += planned.packed.not_fitted
        self._last_left.update((left.zone, day) for left in planned.packed.not_fitted)
        for name, account in self.carried.accounts.items():
            left = self._last_left.get(name)
            if left is None or (day - left).days > KEPT_BACK_DAYS:
                continue
            today = (rows[-1] for rows in account.ledgers if rows)
            self.short[name] += [row for row in today if is_short(row)]

    def left_before(self, zone: str) -> list[NotFitted]:
        """Water held back from a zone on its short days, and shortly before."""
        if not self.short.get(zone):
            return []
        first, last = self.short[zone][0].day, self.short[zone][-1].day
        return [
            left
            for left in self.not_fitted
            if left.zone == zone and first - KEPT_BACK_DAYS * _DAY <= left.day <= last
        ]

    def shortages(self, zones: Collection[str]) -> tuple[Short, ...]:
        """Those of these zones that are short, and what held back most of their water."""
        found = []
        for zone in zones:
            reasons: defaultdict[Message, float] = defaultdict(float)
            for left in self.left_before(zone):
                reasons[left.reason] += left.litres
            rows = self.short.get(zone, [])
            for short in shortages(rows, (), first=date.min):
                found.append(replace(short, reason=max(reasons, key=lambda r: reasons[r])))
        return tuple(found)


@dataclass(slots=True)
class _Simulator:
    """What all simulations of one garden share."""

    grounds: Grounds
    lines: Lines
    days: Mapping[date, DayInput]
    normals: Normals | None
    last: date
    on_day: Callable[[], None]
    left: int  # zone days that may still be simulated
    flows: NetworkFlows | None = None

    def carried(self, garden: Garden, first: date) -> GardenAccounts:
        """Empty accounts for a simulation; all simulations share one network."""
        found = garden_accounts(
            Installation(garden, self.grounds, self.lines),
            self.days,
            Span(first=first, today=first - 2 * _DAY, count=1),
            normals=self.normals,
            watered_in=True,
        )
        if self.flows is None:
            self.flows = found.flows
        return replace(found, flows=self.flows)

    def again(
        self, base: _Simulation, tight: date
    ) -> Callable[[Garden, frozenset[str]], frozenset[str]]:
        """Simulate the season again for a changed garden.

        It begins on the day on which water was first held back: before that nothing differs. It
        ends early when all given zones are short again, or another zone is.
        """
        short = {name for name, rows in base.short.items() if rows}

        def kept_by(garden: Garden, asked: frozenset[str]) -> frozenset[str]:
            carried = self.carried(garden, base.carried.job_maker.first)
            for name, account in carried.accounts.items():
                for mine, theirs in zip(
                    account.ledgers, base.carried.accounts[name].ledgers, strict=True
                ):
                    mine += [row for row in theirs if row.day < tight]
            simulation, kept = _Simulation(carried), asked
            for day in _span(tight, self.last):
                if self.left <= 0:
                    raise OutOfTime
                self.left -= len(garden.zones)
                simulation.next_day(day)
                self.on_day()
                fallen = {name for name, rows in simulation.short.items() if rows}
                kept -= fallen
                if not kept or fallen - short:
                    return frozenset()
            return kept

        return kept_by


def _waterable(zone: Zone, garden: Garden, flows: NetworkFlows) -> bool:
    """Whether no fault of `check` already explains why a zone gets no water."""
    alone = frozenset((zone.name,))
    return (
        any(zone.valve.kind in window.valves for window in garden.watering.windows)
        and flows.flow_l_s(zone.name, alone) > 0.0
        and flows.stays_open(alone) is None
    )


def _water(zone: Zone, garden: Garden, base: _Simulation) -> ZoneWater:
    pulses = [pulse for pulse in base.pulses if pulse.zone == zone.name]
    account = base.carried.accounts[zone.name]
    litres, line_litres, saving = 0.0, 0.0, 0.0
    for pulse in pulses:
        filling = pulse.line_litres or 0.0
        litres += pulse.litres
        line_litres += filling
        if garden.watering.satisfy is Satisfy.DRIEST_QUARTER:
            divisor = base.doses[zone.name, pulse.day].evenness
            saving += (pulse.litres - filling) * max(0.0, 1.0 - divisor / EVEN_ROW)
    stored = sum(
        (row.watered_mm - row.passed_mm) * row.ground_m2 for rows in account.ledgers for row in rows
    )
    return ZoneWater(
        zone=zone.name,
        litres=litres,
        past_litres=max(0.0, litres - stored),
        line_litres=line_litres,
        uniformity=account.driest,
        divisor=account.divisor,
        saving_litres=saving,
    )


def _span(first: date, last: date) -> list[date]:
    return [first + n * _DAY for n in range((last - first).days + 1)]
