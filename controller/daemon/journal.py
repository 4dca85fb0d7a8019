"""The logbook as the daemon reads and writes it, and what waits until it takes it.

Reading uses a connection of the thread that makes it, so a journal belongs to one thread.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Generic, TypeVar
from zoneinfo import ZoneInfo

from controller.clock import Clock
from controller.demand.records import LedgerDay
from controller.demand.soil.packed_days import JoinedRows, LedgerRows, rows_since
from controller.demand.soil.zone_days import ZoneDays
from controller.errors import LogbookError
from controller.garden.model import Hold
from controller.garden.plumbing import ValveKind
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import (
    FlowStretch,
    Happening,
    HoldRow,
    HowKnown,
    PulseRow,
    PulseState,
)
from controller.logbook.row_rules import LONGEST_OPEN_S, MOST_LITRES
from controller.timetable.need.jobs import Given
from controller.timetable.records import Pulse, Timetable
from controller.weather.day import WeatherDay

T = TypeVar("T")

_DAY = timedelta(days=1)
_LOOK_BACK = timedelta(days=14)  # for pulses of hand valves that nobody noted; our choice
_AT_ONCE = 500  # zone-days, or days of weather, in one transaction; our choice


class WriteLater(Generic[T]):
    """What the logbook has not taken yet, in order; used by one thread.

    `write` writes one item, and may raise LogbookError. Then `failed` is called with both, and that
    item and all after it wait for the next try, `every_s` later. At most `most` wait: the oldest
    are dropped.
    """

    def __init__(
        self,
        write: Callable[[T], None],
        failed: Callable[[T, LogbookError], None],
        clock: Clock,
        *,
        every_s: float,
        most: int | None = None,
    ) -> None:
        self._write, self._failed, self._clock, self._every_s = write, failed, clock, every_s
        self._tried_mono_s = float("-inf")
        self.waiting: deque[T] = deque(maxlen=most)

    def put(self, items: Iterable[T]) -> None:
        """Write these now, after what waits already."""
        before = len(self.waiting)
        self.waiting.extend(items)
        if len(self.waiting) > before:
            self._tried_mono_s = float("-inf")
        self.try_again()

    def later(self, item: T) -> None:
        """Let an item wait for the next try: it was refused just now."""
        self.waiting.append(item)

    def try_again(self) -> None:
        """Write what waits, if it is time to try."""
        now = self._clock.mono_s()
        if not self.waiting or now - self._tried_mono_s < self._every_s:
            return
        self._tried_mono_s = now
        while self.waiting:
            try:
                self._write(self.waiting[0])
            except LogbookError as fault:
                self._failed(self.waiting[0], fault)
                return
            self.waiting.popleft()

    @property
    def next_mono_s(self) -> float | None:
        """When the next try is due, on the monotonic clock; None while nothing waits. [s]"""
        return self._tried_mono_s + self._every_s if self.waiting else None


@dataclass(frozen=True, slots=True, kw_only=True)
class LastPulse:
    """A zone's latest watering, for the time its water takes to soak away."""

    zone: str
    ended_utc: datetime
    open_s: float
    litres: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What a plan must know of past water and of the logbook."""

    given: Given  # without the soaking away of the last pulses
    last_pulses: tuple[LastPulse, ...]
    begun_utc: datetime | None  # what was given before stands nowhere


class Journal:
    """The logbook as the engine uses it. Every method may raise LogbookError."""

    def __init__(self, logbook: Logbook) -> None:
        self._write = logbook
        self._questions: Questions | None = None
        # What the logbook has by its key, once it was asked: only what changed is written.
        self._written_of = -1
        self._watched: date | None = None
        self._written_weather: dict[tuple[date, str], WeatherDay] | None = None
        self._written_ledger: ZoneDays[int] | None = None  # marks, by zone and day

    def close(self) -> None:
        """Close what was opened for reading."""
        if self._questions is not None:
            self._questions.close()
            self._questions = None

    # --- pulses ------------------------------------------------------------------------------

    def intend(self, pulse: Pulse) -> int:
        """Write that this pulse is about to open; its id, once that is on disk."""
        return self._write.intend(pulse)

    def opened(self, pulse_id: int, *, mono_s: float) -> None:
        """Write that its valve is open since that moment of the monotonic clock."""
        self._write.opened(pulse_id, mono_s)

    def beat(self, pulse_id: int, *, open_s: float, litres: float) -> None:
        """Write a heartbeat; for a line stuck on for more than a week, a week."""
        self._write.beat(pulse_id, min(open_s, LONGEST_OPEN_S), min(litres, MOST_LITRES))

    def ended(
        self,
        pulse: Pulse,
        *,
        opened_utc: datetime,
        opened_mono_s: float,
        open_s: float,
        litres: float,
        why: str,
        how: HowKnown = HowKnown.TIMED,
    ) -> None:
        """Write the true end, also where the logbook was begun anew while the valve was open.

        For a line that was stuck on for more than a week it writes a week.
        """
        self._write.ended(
            pulse,
            opened_utc=opened_utc,
            opened_mono_s=opened_mono_s,
            open_s=min(open_s, LONGEST_OPEN_S),
            litres=min(litres, MOST_LITRES),
            how=how,
            why=why,
        )

    def refused(self, pulse_id: int, why: str) -> None:
        """Write that the valve was not opened for it."""
        self._write.refused(pulse_id, why)

    def cut(self, pulse_id: int, *, open_s: float, litres: float, why: str) -> None:
        """Write how far a crash let it come."""
        self._write.cut(pulse_id, open_s, litres, HowKnown.HEARTBEAT, why)

    def missed(self, pulse: Pulse, why: str) -> None:
        """Write that its time went by."""
        self._write.missed(pulse.key, why)

    def spent(self, pulse: Pulse) -> bool:
        """Whether its key is past planning."""
        return pulse.key in self._ask.keys_past_planned(pulse.day)

    def next_slot(self, zone: str, day: date) -> int:
        """A slot of that day that was not used."""
        return self._ask.slots_past_planned(day, day).get((zone, day), 0) + 1

    def litres_on(self, zone: str, day: date) -> float:
        """The litres that zone was given on that day. [L]"""
        litres: float = self._ask.litres_by_zone_day(day, day).get((zone, day), 0.0)
        return litres

    def openings_given(self, first: date, last: date) -> list[PulseRow]:
        """The finished openings of relays on these days whose litres are known."""
        return [
            row
            for row in self._ask.pulses(first, last)
            if row.state is PulseState.CLOSED
            and row.valve is ValveKind.RELAY
            and row.how_known in (HowKnown.TIMED, HowKnown.METERED)
        ]

    def unfinished(self) -> list[PulseRow]:
        """The pulses that are open or about to open, by the logbook."""
        return self._ask.unfinished()

    def newest_utc(self) -> datetime | None:
        """The newest moment of our own clock in the logbook."""
        return self._ask.last_written_utc()

    # --- the meter ---------------------------------------------------------------------------

    def flow_stretches(self) -> list[FlowStretch]:
        """What the meter saw of open sets, oldest first; only since a line was last mended."""
        return self._ask.flow_stretches()

    def keep_flow_stretch(self, seen: FlowStretch) -> None:
        """Write down what the meter saw of an open set."""
        self._write.flow_stretch(seen)

    # --- plans -------------------------------------------------------------------------------

    def known(self, first: date, last: date, zone_info: ZoneInfo) -> Known:
        """What was given, and which slots of these days are used."""
        ask = self._ask
        if ask.unsound():
            # A bit flipped since the start: mend it where possible, else report it, before a plan.
            self._write.set_bad_rows_aside()
        return Known(
            given=Given(
                litres=ask.litres_by_zone_day(),
                slots=ask.slots_past_planned(first, last),
                soaking_until_utc={},
                observations=ask.observations(),
                fallen_mm=ask.gauge_by_day(),
                stored_litres=ask.stored_by_zone_day(),
                noted_on=ask.noted_on(zone_info),
                record=ask.record(zone_info),
                soil_starts=ask.soil_starts_by_zone_day(),
            ),
            last_pulses=tuple(_last_pulse(row) for row in ask.last_pulses()),
            begun_utc=ask.begun_utc(),
        )

    def keep_plan(
        self,
        timetable: Timetable,
        today: date,
        now_utc: datetime,
        ledger_from: date,
        as_printed: Collection[str] = (),
    ) -> None:
        """Replace the old plan up to today, and keep the ledger of the days gone.

        The ledger is kept from the logbook's own first day on: what it credits is what is logged.

        A hand pulse whose time has come stays until somebody notes it, or the day is over. Then it
        counts as done in the zones `as_printed`; elsewhere it is missed, and credits nothing. While
        the clock is not trusted there is no plan, so a day with one is a day on which a daemon ran.
        """
        self._forget_another_file()
        if self._watched != today:
            self._write.watched(today)
            self._watched = today
        gone = (timetable.first - _LOOK_BACK, timetable.first - _DAY)
        left = self._ask.left_planned(*gone)
        noted = self._noted(*gone) if left else frozenset()
        for row in left:
            if row.valve is ValveKind.HAND and row.zone in as_printed:
                self._write.assumed(row.key, "its day is over: it counts as printed")
            elif row.valve is ValveKind.HAND and (row.zone, row.day) in noted:
                self._write.missed(row.key, "its day is over: what was noted counts in its place")
            else:
                self._write.missed(row.key, "its day is over, and nobody wrote down that it ran")
        day = timetable.first
        while day <= today:
            pulses = [p for p in timetable.pulses if p.day == day]
            planned_again = {p.zone for p in pulses}
            pulses += [
                row.as_pulse()
                for row in self._ask.planned(day)
                if row.valve is ValveKind.HAND
                and row.zone not in planned_again
                and row.planned_opens_utc is not None
                and row.planned_opens_utc <= now_utc
            ]
            self._write.plan_day(day, pulses)
            day += _DAY
        self._keep_ledger(timetable.ledger, ledger_from, timetable.first)

    def _noted(self, first: date, last: date) -> frozenset[tuple[str, date]]:
        """The zones and days of which a person wrote down the water."""
        rows = self._ask.pulses(first, last)
        return frozenset((r.zone, r.day) for r in rows if r.how_known is HowKnown.BY_HAND)

    def _keep_ledger(self, ledger: Sequence[LedgerDay], first: date, before: date) -> None:
        """Keep the accounts that changed, a zone's day with all its parts.

        They are written so many at a time that each write ends soon on a slow card.
        """
        fresh = _marks_of(ledger, first, before)
        if not fresh:
            return
        self._forget_another_file()
        first = min(day for _, day in fresh)
        kept = self._written_ledger
        if kept is None:
            kept = self._written_ledger = ZoneDays(kind=int)
            for zone in fresh.zones():  # one by one: a season of all of them is much to hold
                kept.update(_marks_of(self._ask.ledger(zone, first), first, date.max))
        for some in _by_zone_day(ledger, fresh, kept):
            self._write.keep_ledger([row for parts in some.values() for row in parts])
            for key in some:
                kept[key] = fresh[key]
        kept.forget_before(first)  # older than any plan looks back

    def _forget_another_file(self) -> None:
        """Forget what was kept if the file was opened anew: it may be another file."""
        if self._write.times_opened != self._written_of:
            self._written_of = self._write.times_opened
            self._written_weather = self._written_ledger = self._watched = None

    # --- weather, holds, happenings ----------------------------------------------------------

    def keep_weather(self, days: Iterable[WeatherDay]) -> None:
        """Keep what is new in these days of weather."""
        self._forget_another_file()
        if self._written_weather is None:
            self._written_weather = {(w.day, w.source): w for w in self._ask.weather_rows()}
        kept = self._written_weather
        fresh = {(w.day, w.source): w for w in days}
        changed = [key for key, w in fresh.items() if kept.get(key) != w]
        for start in range(0, len(changed), _AT_ONCE):
            some = {key: fresh[key] for key in changed[start : start + _AT_ONCE]}
            self._write.keep_weather(some.values())
            kept.update(some)

    def weather_rows(self) -> list[WeatherDay]:
        """Every day that was ever kept, of every source, forecasts with them."""
        return self._ask.weather_rows()

    def hold(
        self, begins_utc: datetime, ends_utc: datetime, zones: Iterable[str], reason: str
    ) -> None:
        """Write down a hold."""
        self._write.hold(begins_utc, ends_utc, zones, reason)

    def lift(self) -> int:
        """Lift every hold that is not over; how many there were."""
        return self._write.lift_hold("all")

    def holds(self, now_utc: datetime, zone_info: ZoneInfo) -> list[Hold]:
        """The holds in force or to come, in local time as the timetable wants them."""
        return [
            Hold(
                begins=_local(row.begins_utc, zone_info),
                ends=_local(row.ends_utc, zone_info, late=True),
                zones=row.zones,
                reason=row.reason,
            )
            for row in self._ask.holds_from(now_utc)
        ]

    def hold_rows(self, now_utc: datetime) -> list[HoldRow]:
        """The holds in force or to come, as rows."""
        return self._ask.holds_from(now_utc)

    def rain_on_pin(self, day: date, mm: float, hours: float) -> None:
        """Write what the gauge on a pin has counted since the last time, and over how long."""
        self._write.gauge_on_pin(day, mm, hours)

    def happening(
        self, kind: str, words: str, zone: str | None = None, line: int | None = None
    ) -> None:
        """Write down a fault or an event."""
        self._write.happening(kind, words, zone, line)

    def happenings(self, limit: int) -> list[Happening]:
        """The latest faults and events, newest first."""
        return self._ask.happenings(limit)

    def rows_set_aside(self) -> int:
        """How many rows were set aside as impossible."""
        return self._ask.rows_set_aside()

    @property
    def _ask(self) -> Questions:
        if self._questions is None:
            # What a reader finds damaged the writer may not have met yet.
            self._questions = Questions(self._write.path, on_damage=self._write.check_again)
        return self._questions


def _marks_of(ledger: Sequence[LedgerDay], first: date, before: date) -> ZoneDays[int]:
    """A mark of each zone's days, of all its parts together, in any order."""
    rows = ledger if isinstance(ledger, JoinedRows) else LedgerRows(ledger)
    found = ZoneDays(kind=int)
    for zone, day, mark in rows.marks():
        if first <= day < before:
            found[zone, day] = found.get((zone, day), 0) ^ mark
    return found


def _by_zone_day(
    ledger: Sequence[LedgerDay], fresh: ZoneDays[int], kept: ZoneDays[int]
) -> Iterator[dict[tuple[str, date], list[LedgerDay]]]:
    """The zone-days whose fresh mark differs from the kept one, each with all its parts.

    They come so many at once, for a whole season is much to hold.
    """
    some: dict[tuple[str, date], list[LedgerDay]] = {}
    for zone in sorted(fresh.zones()):
        days = [d for d, mark in fresh.days_of(zone) if kept.get((zone, d)) != mark]
        if not days:
            continue
        found: dict[date, list[LedgerDay]] = {day: [] for day in days}
        for row in rows_since(ledger, days[0], zone):
            if row.day in found:
                found[row.day].append(row)
        for day, parts in found.items():
            some[zone, day] = parts
            if len(some) >= _AT_ONCE:
                yield some
                some = {}
    if some:
        yield some


def _last_pulse(row: PulseRow) -> LastPulse:
    """The last pulse of a row; hand watering without a time counts from its writing."""
    open_s = row.open_s or 0.0
    ended = row.closed_utc
    if row.opened_utc is not None:
        true_end = row.opened_utc + timedelta(seconds=open_s)
        ended = true_end if ended is None else min(ended, true_end)
    assert ended is not None, "a pulse that gave water has an end"
    return LastPulse(zone=row.zone, ended_utc=ended, open_s=open_s, litres=row.litres or 0.0)


def _local(moment_utc: datetime, zone_info: ZoneInfo, *, late: bool = False) -> datetime:
    """Local time without its zone.

    Of an hour that comes twice the timetable takes the first coming. An end in the second is put
    after it, so that a hold is never shorter than asked.
    """
    local = moment_utc.astimezone(zone_info)
    if late and local.fold:
        local += timedelta(hours=1)
    return local.replace(tzinfo=None, fold=0)
