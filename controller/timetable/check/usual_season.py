"""A usual season of a garden played through, for `check`: who goes short, why, and what would help.

The season is that of the garden's own plantings; each day has the reference ET that is usual here,
and no rain; what is sown or set out is watered in by hand on the day. Demand, dose and packing are
the plan's own, and every day goes as it was planned. What the driest quarter of each zone costs
comes out of the same play.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Garden, Satisfy, Zone
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.check.what_helps import Help, OutOfTime, search
from controller.timetable.march import March
from controller.timetable.need.jobs import Grounds
from controller.timetable.notices import is_short, shortages
from controller.timetable.packing.job import NetworkFlows
from controller.timetable.plan import march_of
from controller.timetable.records import Dose, NotFitted, Pulse, Short
from controller.timetable.weather.climatology import Normals
from controller.timetable.weather.days import demand_days, growing_year

_DAY = timedelta(days=1)
# A crop is short for want of water kept back if some found no place so shortly before; our choice,
# a week of windows.
KEPT_BACK_DAYS = 7
# So many days of zones the search for what would help may play: under ten seconds on a computer of
# today, or twenty seasons of ten zones. Our choice.
MOST_ZONE_DAYS = 45_000
# A row to compare with: what hand drilling leaves of a level row is 0.94, and drip lines are laid
# out for 0.90 (ASABE EP405, from memory).
EVEN_ROW = 0.90
# What is worth a word: a uniformity under this (class limit between good and fair, ASAE EP458,
# from memory), or so much of the water. Our choice.
UNEVEN_SAID, SAVING_SAID = 0.85, 0.10


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneWater:
    """What a zone gets in a usual season, and what its driest quarter costs.

    Of `litres`, `past_litres` do not count for the driest quarter: `line_litres` fill the line, the
    rest goes below the roots where the line gives more. A dose is divided by `divisor`, and
    `saving_litres` are what a row as even as `EVEN_ROW` would not need.
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
        """Of the litres, 0 to 1."""
        return self.saving_litres / self.litres if self.litres > 0.0 else 0.0

    @property
    def worth_saying(self) -> bool:
        """Whether a more even row is worth a word."""
        if self.saving_litres <= 0.0:
            return False
        return self.uniformity < UNEVEN_SAID or self.saving_share > SAVING_SAID


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """A usual season: the days played, parts of zones that go short, what would help, the water.

    The `reason` of each shortage is what kept most of its water back.
    """

    first: date
    last: date
    short: tuple[Short, ...]
    crops: tuple[str, ...]  # of each shortage, on its worst day
    helps: Mapping[str, Help]
    waters: tuple[ZoneWater, ...]


def usual_season(
    garden: Garden,
    grounds: Grounds,
    lines: Lines,
    normals: Normals | None,
    *,
    today: date,
    on_day: Callable[[], None] = lambda: None,
) -> Season | None:
    """Play the season through, and again with each change that may help; None without plantings.

    `on_day` is called after each day played, for whoever shows that it goes on.
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
    playing = _Playing(grounds, lines, days, normals, last, on_day, left=MOST_ZONE_DAYS)
    base = _Play(playing.march(garden, first))
    for day in _span(first, last):
        base.go_on(day)
        on_day()
    waterable = [zone.name for zone in garden.zones if _waterable(zone, garden, base.march.flows)]
    short = base.shortages(waterable)
    reasons = {
        found.zone: {left.reason for left in base.left_before(found.zone)} for found in short
    }
    helps = {}
    if short:
        tight = min(left.day for left in base.not_fitted)
        helps = search(garden, reasons, playing.again(base, tight))
    rows = {(row.zone, row.part, row.day): row for rows in base.short.values() for row in rows}
    return Season(
        first=first,
        last=last,
        short=short,
        crops=tuple(rows[s.zone, s.part, s.worst_day].crop or "" for s in short),
        helps=helps,
        waters=tuple(_water(zone, garden, base) for zone in garden.zones),
    )


def season_of(garden: Garden, today: date) -> tuple[date, date] | None:
    """From the first planting to the last of the year of growing that matters; None without any.

    Of the plantings that are not over yet, it is the first year in which any stands, or the next if
    more of them stand in that; where all are over, the last year.
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


class _Play:
    """One play of the season: what was given, what was kept back, and who went short for it."""

    def __init__(self, march: March) -> None:
        self.march = march
        self.pulses: list[Pulse] = []
        self.doses: dict[tuple[str, date], Dose] = {}
        self.not_fitted: list[NotFitted] = []
        self.short: defaultdict[str, list[LedgerDay]] = defaultdict(list)
        self._last_left: dict[str, date] = {}

    def go_on(self, day: date) -> None:
        """Play one day more."""
        planned = self.march.plan(day)
        self.pulses += planned.packed.pulses
        self.doses.update(((dose.zone, dose.day), dose) for dose in planned.doses)
        self.not_fitted += planned.packed.not_fitted
        self._last_left.update((left.zone, day) for left in planned.packed.not_fitted)
        for name, account in self.march.accounts.items():
            left = self._last_left.get(name)
            if left is None or (day - left).days > KEPT_BACK_DAYS:
                continue
            today = (rows[-1] for rows in account.ledgers if rows)
            self.short[name] += [row for row in today if is_short(row)]

    def left_before(self, zone: str) -> list[NotFitted]:
        """What was kept back from a zone on the days it was short, and shortly before."""
        if not self.short.get(zone):
            return []
        first, last = self.short[zone][0].day, self.short[zone][-1].day
        return [
            left
            for left in self.not_fitted
            if left.zone == zone and first - KEPT_BACK_DAYS * _DAY <= left.day <= last
        ]

    def shortages(self, zones: Collection[str]) -> tuple[Short, ...]:
        """Who of these goes short, and what kept most of the water back."""
        found = []
        for zone in zones:
            reasons: defaultdict[str, float] = defaultdict(float)
            for left in self.left_before(zone):
                reasons[left.reason] += left.litres
            rows = self.short.get(zone, [])
            for short in shortages(rows, (), first=date.min):
                found.append(replace(short, reason=max(reasons, key=lambda r: reasons[r])))
        return tuple(found)


@dataclass(slots=True)
class _Playing:
    """All that plays of one garden share."""

    grounds: Grounds
    lines: Lines
    days: Mapping[date, DayInput]
    normals: Normals | None
    last: date
    on_day: Callable[[], None]
    left: int  # days of zones that may still be played
    flows: NetworkFlows | None = None

    def march(self, garden: Garden, first: date) -> March:
        """Accounts not yet begun; the network is the same whatever changes."""
        found = march_of(
            garden,
            self.grounds,
            self.lines,
            self.days,
            first=first,
            today=first - 2 * _DAY,  # no frost is foretold in these days
            normals=self.normals,
            watered_in=True,
        )
        if self.flows is None:
            self.flows = found.flows
        return replace(found, flows=self.flows)

    def again(self, base: _Play, tight: date) -> Callable[[Garden, frozenset[str]], frozenset[str]]:
        """The season once more for a changed garden, from the day on which water was first kept
        back: until then all went the same. It ends as soon as nobody asked for is kept, or another
        zone goes short."""
        short = {name for name, rows in base.short.items() if rows}

        def kept_by(garden: Garden, asked: frozenset[str]) -> frozenset[str]:
            march = self.march(garden, base.march.job_maker.first)
            for name, account in march.accounts.items():
                for mine, theirs in zip(
                    account.ledgers, base.march.accounts[name].ledgers, strict=True
                ):
                    mine += [row for row in theirs if row.day < tight]
            play, kept = _Play(march), asked
            for day in _span(tight, self.last):
                if self.left <= 0:
                    raise OutOfTime
                self.left -= len(garden.zones)
                play.go_on(day)
                self.on_day()
                fallen = {name for name, rows in play.short.items() if rows}
                kept -= fallen
                if not kept or fallen - short:
                    return frozenset()
            return kept

        return kept_by


def _waterable(zone: Zone, garden: Garden, flows: NetworkFlows) -> bool:
    """Whether `check` has no fault that says already why a zone gets nothing."""
    alone = frozenset((zone.name,))
    return (
        any(zone.valve.kind in window.valves for window in garden.watering.windows)
        and flows.flow_l_s(zone.name, alone) > 0.0
        and flows.stays_open(alone) is None
    )


def _water(zone: Zone, garden: Garden, base: _Play) -> ZoneWater:
    pulses = [pulse for pulse in base.pulses if pulse.zone == zone.name]
    account = base.march.accounts[zone.name]
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
