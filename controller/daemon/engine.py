"""The decisions of the daemon, in one thread: when to plan, what to open, what to write down.

`tick()` looks at the clock and does what is due; `next_moment_utc()` says when to look again.
Nothing closes here: an open line shuts by the bank's own deadline, whatever the engine does.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from controller.daemon.alerts import AlertWriter, FindingActions, flow_findings, reported_messages
from controller.daemon.flow.input_pins import Watching
from controller.daemon.flow.litres import cut_words, day_given, held_to_plan, short_words
from controller.daemon.flow.rules import LEAST_COUNTS, LEAST_SHARE
from controller.daemon.garden_reload import Accepted, GardenFile
from controller.daemon.host.clock_trust import ClockTrust
from controller.daemon.host.status import BoardNow, BoardWatch, Counts, Facts
from controller.daemon.openings import Controls, Ended, shut
from controller.daemon.planning import (
    DAYS_AHEAD,
    Dispatcher,
    Moment,
    first_day_to_plan,
    held_now,
    local_day,
    may_run_until,
    plan,
    plan_moments,
    with_holds,
)
from controller.daemon.recovery import Restarts
from controller.daemon.rhythm import Alarm
from controller.daemon.weather import WeatherAnswer, WeatherFetcher, WeatherStore
from controller.demand.soil.packed_days import rows_since
from controller.errors import LogbookError, RowgateError, ValveFault
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ValveKind
from controller.logbook.records import HowKnown
from controller.timetable.need.pulse_length import shortest_pulse_s, water_s
from controller.timetable.plan import NetworkFlows
from controller.timetable.records import Pulse, Timetable
from controller.timetable.unwritten import zones_as_printed

_DAY = timedelta(days=1)
GARDEN_EVERY_S = 30.0  # between two looks at the garden file; our choice
LITRES_EVERY_S = 0.2  # between two looks at a pulse about to have its litres; our choice
RETRY_S = 60.0  # after a plan that failed for want of the logbook; our choice
_MOST_FAULTS = 5  # of one garden file, written down; status shows all
_LOG = logging.getLogger("rowgate.engine")


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What the engine asks and listens to: clock, weather, alarm, inbox, input pins, board."""

    clock_trust: ClockTrust
    fetcher: WeatherFetcher
    alarm: Alarm
    post: Callable[[Callable[[], None]], None]  # puts a call into the engine's inbox
    watching: Watching
    pins: str  # the name of the pin driver
    silent: Callable[[], tuple[str, ...]] = tuple
    board: Callable[[], BoardNow] = BoardNow


class Engine:
    """Decides everything the daemon does. What it acts on and listens to is handed in."""

    def __init__(
        self,
        accepted: Accepted,
        garden_file: GardenFile,
        controls: Controls,
        around: Surroundings,
    ) -> None:
        self.accepted, self.garden_file = accepted, garden_file
        self.valve_set, self.openings = controls.valve_set, controls.openings
        self.journal, self.clock = controls.journal, controls.clock
        self.clock_trust, self._fetcher = around.clock_trust, around.fetcher
        self._alarm, self._post = around.alarm, around.post
        self.watching, self.board = around.watching, around.board
        self.pins, self.silent = around.pins, around.silent
        self.started_utc = self.clock.now_utc()
        self.restarts: Restarts | None = None  # set once it has recovered
        self._board_watch: BoardWatch | None = None
        self.timetable: Timetable | None = None
        self.planned_utc: datetime | None = None
        self._planned_mono_s: float | None = None
        self.plan_fault = ""
        self._alerts = AlertWriter(self.journal, self.clock)
        self.report = self._alerts.report
        self._counts = Counts()
        self._garden = accepted.garden  # with the holds in force
        self.weather = WeatherStore(self.journal, self.clock, self.report, self._today)
        self.dispatcher = Dispatcher(controls, self.report, self.request_plan)
        self._finding_actions = FindingActions(controls, self.report, self.holds_changed)
        self._flows = NetworkFlows(accepted.lines)
        self._new_garden: Accepted | None = None
        self._shown_faults: tuple[str, ...] = ()
        self._not_today: dict[str, date] = {}
        self._reported_cut: set[tuple[str, date]] = set()  # zone-days cut against the meter
        self._reported_short: set[tuple[str, date]] = set()  # zone-days credited beyond the count
        self._plan_reason = ""
        self._plan_after_mono_s = float("-inf")
        self._garden_looked_mono_s = float("-inf")
        self._moments: list[tuple[str, datetime]] = []

    # --- the day -----------------------------------------------------------------------------

    def start(self) -> None:
        """Begin: read holds and weather from the logbook, ask the sources, make a first plan."""
        self.request_plan("start")
        self.weather.load()
        self._watch_garden()
        reported = reported_messages(self.journal, "board")
        self._board_watch = BoardWatch(self.board, self.clock, self.report, reported)
        self.holds_changed()
        self._look_at_garden()
        self.clock_trust.look()
        if not self.clock_trust.trusted:
            self.report("clock", f"no openings by plan: {self.clock_trust.why}")
        self._set_alarm()
        self._ask_weather()
        self.tick()

    def tick(self) -> None:
        """Do what is due."""
        self._settle()
        self._look_at_clock()
        self._look_at_water()
        self.openings.beat(self.flow_l_s)
        mono = self.clock.mono_s()
        if mono - self._garden_looked_mono_s >= GARDEN_EVERY_S:
            self._look_at_garden()
        self._alerts.try_again()
        self._plan_if_due()
        self.dispatcher.dispatch(self._zone, self._moment)

    def tick_last(self) -> None:
        """Write down the last ends, once the valves are shut for good."""
        self._settle()
        self.watching.end()

    def next_moment_utc(self) -> datetime:
        """When there is something to do next."""
        now, mono = self.clock.now_utc(), self.clock.mono_s()
        wait = self._garden_looked_mono_s + GARDEN_EVERY_S - mono
        beat = self.openings.next_mono_s()
        if beat is not None:
            wait = min(wait, beat - mono)
        litres_in_s = self.openings.litres_due_in_s(self.flow_l_s)
        if litres_in_s is not None:
            wait = min(wait, max(litres_in_s, LITRES_EVERY_S))
        moments = [now + timedelta(seconds=max(0.0, wait))]
        moments += [at for _, at in self._moments if at > now]
        return min([*moments, *self.dispatcher.next_openings(now)])

    # --- planning ----------------------------------------------------------------------------

    def request_plan(self, reason: str, *, drop: bool = False) -> None:
        """Plan anew as soon as nothing is open; with `drop`, open nothing more of the old plan."""
        self._plan_reason = self._plan_reason or reason
        self._plan_after_mono_s = float("-inf")
        if drop:
            self.dispatcher.pending = []

    def receive_weather(self, answer: WeatherAnswer) -> None:
        """Take in an answer; keep what is usable in the logbook."""
        if self.weather.take_in(answer):
            self.request_plan("weather")

    def holds_changed(self) -> None:
        """Read the holds anew, shut what one of them holds, and plan anew."""
        holds = self.journal.holds(self.clock.now_utc(), self.accepted.garden.site.zone_info)
        self._garden = with_holds(self.accepted.garden, holds)
        now = self.clock.now_utc()
        for running in list(self.openings.running.values()):
            zone = self._zone(running.zone)
            held = None if zone is None else held_now(self._garden, zone, now)
            if held is not None and not running.manual:
                shut(self.valve_set.bank, running.line, f"held: {held or 'no reason given'}")
        self.request_plan("hold", drop=True)

    @property
    def at_rest(self) -> bool:
        """Whether nothing is open or waits to be written, and no meter or sensor is watched."""
        garden = self.accepted.garden
        watched = garden.meter is not None or garden.sensors
        return not (self.openings.running or self.unrecorded_words() or watched)

    @property
    def plan_is_due(self) -> bool:
        """Whether a plan was asked for and is not made yet."""
        return bool(self._plan_reason)

    @property
    def pending(self) -> list[Pulse]:
        """The pulses of today's plan that are still to open."""
        return self.dispatcher.pending

    @property
    def garden(self) -> Garden:
        """The garden in force, with the holds of the logbook."""
        return self._garden

    def flow_l_s(self, zone: str, together: frozenset[str]) -> float:
        """Flow of an open zone within a set, in the garden in force. [L/s]"""
        return self._flows.flow_l_s(zone, together)

    def flow_or_nothing_l_s(self, zone: str, together: frozenset[str]) -> float:
        """The same, and 0 for a zone that the garden file no longer has. [L/s]"""
        known = frozenset(z.name for z in self.accepted.garden.zones)
        return self.flow_l_s(zone, together & known) if zone in known else 0.0

    def person_closed(self, zone: str) -> None:
        """A person shut this zone: open nothing more of it today; the rest of its dose stays owed.

        A dose of yesterday, from a window across midnight, counts as yesterday's.
        """
        running = self.openings.running.get(zone)
        days = [running.day] if running is not None and not running.manual else []
        days += sorted(p.day for p in self.dispatcher.pending if p.zone == zone)
        self._not_today[zone] = days[0] if days else self._today()
        self.dispatcher.drop_zone(zone)

    def closed_for_today(self) -> dict[str, date]:
        """The zones whose day a person ended by a close, and the day, while it lasts."""
        first = first_day_to_plan(self._garden, self.clock.now_utc())
        relays = {z.name for z in self.accepted.garden.zones if z.valve.kind is ValveKind.RELAY}
        return {
            zone: day for zone, day in self._not_today.items() if day >= first and zone in relays
        }

    def person_resumed(self, zones: Collection[str]) -> list[str]:
        """Undo what a close ended: the rest of these zones' day is planned anew.

        Nothing opens because of it but by that plan, at its times, under every limit and hold.
        Returns the zones whose day had been ended.
        """
        resumed = [zone for zone in self.closed_for_today() if zone in zones]
        for zone in resumed:
            del self._not_today[zone]
        if resumed:
            self.request_plan("resume")
        return resumed

    def facts(self) -> Facts:
        """How the daemon stands now, for the pages that show it."""
        return Facts(
            at_mono_s=self.clock.mono_s(),
            litres=dict(self._counts.litres),
            pulses=dict(self._counts.pulses),
            reported=dict(self._alerts.reported),
            open_lines=len(self.valve_set.bank.open_lines()),
            planned_mono_s=self._planned_mono_s,
            weather_mono_s=self.weather.received_mono_s,
            clock_trusted=self.clock_trust.trusted,
            litres_by=self.watching.litres_by,
            starts_in_last_day=1 if self.restarts is None else self.restarts.in_last_day,
            board=self.board(),
        )

    def unrecorded_words(self) -> list[str]:
        """What the logbook has not taken yet: alerts, ends of pulses, records of the bank."""
        ends = [f"the end of a pulse of {zone}" for zone in self.openings.unwritten_zones]
        return [*self._alerts.unrecorded(), *ends, *self.valve_set.bank.undelivered]

    # --- the parts of a tick -----------------------------------------------------------------

    def _settle(self) -> None:
        ended, faults = self.openings.settle(self.valve_set.bank, self.flow_l_s)
        for record in faults:
            self.report(
                "valve", f"line {record.number}: {record.words}", self._zone_of(record.number)
            )
        for end in ended:
            self._counts.ended(end)
            self.watching.ended(end)
            self._report_short(end)
            zone = end.running.zone
            _LOG.info("%s shut after %.1f s, %.1f L: %s", zone, end.open_s, end.litres, end.why)
            if not end.in_time:
                self.report("cut short", f"shut after {end.open_s:.0f} s: {end.why}", zone)
            if end.running.manual or not end.in_time or self._is_short(end):
                self.request_plan("an opening that was not planned so")

    def _report_short(self, end: Ended) -> None:
        """Report litres credited beyond the meter's count, of an opening too short to judge."""
        counted, meter, key = end.counted, self._garden.meter, (end.running.zone, end.running.day)
        if counted is None or meter is None or end.litres <= counted.metered_l:
            return
        too_short = counted.timed_l < LEAST_COUNTS * meter.litres_per_pulse
        if too_short and key not in self._reported_short:
            self._reported_short = {old for old in self._reported_short if old[1] == key[1]} | {key}
            self.report("meter", short_words(counted, end.litres), key[0])

    def _is_short(self, end: Ended) -> bool:
        """Whether clearly less came by the meter than by time."""
        by_meter = end.how is HowKnown.METERED
        return by_meter and end.litres < (1.0 - LEAST_SHARE) * end.timed_litres

    def _look_at_water(self) -> None:
        """Look at the meter and the sensors, and act on what they find."""
        self.openings.shut_when_litres_passed(self.valve_set.bank, self.flow_l_s)
        self._finding_actions.try_again()
        if self._board_watch is not None:
            self._board_watch.look(self._today())
        for found in self.watching.look(self._garden, self._today()):
            self._finding_actions.act(found, self._garden)
        if self.openings.meter_turned:
            self.openings.meter_turned = False
            self.report("meter", f"litres go by {self.watching.litres_by}")

    def _watch_garden(self) -> None:
        """Set the input pins up for the garden in force."""
        reported = flow_findings(self.journal, self._today(), self._garden.site.zone_info)
        self.watching.fit(self.accepted, self.flow_l_s, reported, self.report)

    def _today(self) -> date:
        return local_day(self._garden, self.clock.now_utc())

    def _look_at_clock(self) -> None:
        found = self.clock_trust.look()
        self.clock_trust.saw_row(self.clock.now_utc())
        if found.jumped_s:
            self.report(
                "clock", f"the clock jumped by {found.jumped_s:+.0f} s; the plan is dropped"
            )
        if found.changed:
            self.report("clock", f"no openings by plan: {found.why}" if found.why else "trusted")
        if found.jumped_s or (found.changed and found.trusted):
            self.request_plan("clock", drop=True)
            self._set_alarm()

    def _look_at_garden(self) -> None:
        self._garden_looked_mono_s = self.clock.mono_s()
        fresh = self.garden_file.look()
        if self.garden_file.faults != self._shown_faults:
            self._shown_faults = self.garden_file.faults
            for fault in self._shown_faults[:_MOST_FAULTS]:
                self.report("garden file", f"{fault}; the last good one is in use")
            if not self._shown_faults:
                self.report("garden file", "reads again")
        if fresh is not None and not fresh.same_as(self.accepted):
            self._new_garden = fresh
            self.request_plan("garden", drop=True)

    def _plan_if_due(self) -> None:
        if not self.clock_trust.trusted:
            return
        now = self.clock.now_utc()
        while self._moments and self._moments[0][1] <= now:
            name, _ = self._moments.pop(0)
            self.request_plan(name)
            self._ask_weather()
        if self._plan_reason and self.weather.is_waited_for:
            self.plan_fault = "the weather has not come yet"
            return
        if (
            self._plan_reason
            and not self.openings.running
            and self.openings.all_written
            and self.clock.mono_s() >= self._plan_after_mono_s
        ):
            self._make_plan(self._plan_reason)

    def _make_plan(self, reason: str) -> None:
        try:
            self._apply_new_garden()
            now = self.clock.now_utc()
            today = local_day(self._garden, now)
            known = self.journal.known(
                first_day_to_plan(self._garden, now),
                today + DAYS_AHEAD * _DAY,
                self._garden.site.zone_info,
            )
            ledger_from = local_day(self._garden, known.begun_utc or now)
            timetable = plan(
                self.accepted,
                self._garden,
                self.weather.for_plan(self._garden, today),
                now_utc=now,
                given=known.given,
                last_pulses=known.last_pulses,
            )
            if self._garden.meter is not None:
                timetable = self._held_to_plan(timetable)
            self.dispatcher.pending = [
                p
                for p in timetable.pulses
                if p.valve is ValveKind.RELAY
                and p.day <= today
                and self._not_today.get(p.zone) != p.day
            ]
            self.timetable, self.planned_utc = timetable, now
            self._planned_mono_s = self.clock.mono_s()
            self._plan_reason = ""
            _LOG.info("planned (%s): %d pulses to come today", reason, len(self.dispatcher.pending))
            as_printed = zones_as_printed(self._garden)
            self.journal.keep_plan(timetable, today, now, ledger_from, as_printed)
            # What is in the logbook now need not be held here, too: a season is much.
            lately = rows_since(timetable.ledger, today - _DAY)
            self.timetable = replace(timetable, ledger=tuple(lately))
            self.plan_fault = ""
        except LogbookError as fault:
            self._plan_after_mono_s, self._plan_reason = self.clock.mono_s() + RETRY_S, reason
            self._no_plan(str(fault))
        except RowgateError as fault:
            self._plan_reason = ""
            self._no_plan(str(fault))
        self._set_alarm()

    def _held_to_plan(self, timetable: Timetable) -> Timetable:
        """The plan, with no zone's day longer by the meter than it may be.

        What is cut is reported once, and stays owed.
        """
        garden = self._garden
        valves = {zone.name: zone.valve for zone in garden.zones}
        rows = self.journal.openings_given(timetable.first, self._today())
        given = day_given(
            (
                row.zone,
                row.day,
                water_s(
                    open_s=row.open_s or 0.0,
                    opens_in_s=valves[row.zone].opens_in_s,
                    closes_in_s=valves[row.zone].closes_in_s,
                ),
                row.litres or 0.0,
                self.flow_or_nothing_l_s(row.zone, frozenset((row.zone, *row.together))),
            )
            for row in rows
            if row.zone in valves
        )
        pulses, cut = held_to_plan(
            timetable.pulses,
            given,
            {name: shortest_pulse_s(valve, garden.watering) for name, valve in valves.items()},
        )
        for key in cut:
            if key not in self._reported_cut:
                self._reported_cut.add(key)
                self.report("meter", cut_words(given[key]), key[0])
        return replace(timetable, pulses=tuple(pulses))

    def _no_plan(self, why: str) -> None:
        if why != self.plan_fault:
            self.plan_fault = why
            self.report("plan", f"no plan could be made: {why}")

    def _apply_new_garden(self) -> None:
        """Take up a changed garden, now that nothing is open; wait if its lines cannot be had."""
        if self._new_garden is None:
            return
        new = self._new_garden
        holds = self.journal.holds(self.clock.now_utc(), new.garden.site.zone_info)
        try:
            self.valve_set.refit(new)
        except ValveFault as fault:
            self.report("garden file", f"the changed garden file is not in force yet: {fault}")
            return
        self._new_garden = None
        self.accepted, self._flows = new, NetworkFlows(new.lines)
        self._garden = with_holds(new.garden, holds)
        self._watch_garden()
        self.report("garden file", "a changed garden file is in force")

    def _moment(self, pulse: Pulse, zone: Zone) -> Moment:
        now = self.clock.now_utc()
        return Moment(
            now_utc=now,
            untrusted=self.clock_trust.why,
            key_spent=self.journal.spent(pulse),
            # A hold that is not written yet makes it wait; once written, it is planned for.
            shut_by=self._finding_actions.held(zone.name) or self.watching.why_shut,
            held=held_now(self._garden, zone, now),
            # Or still on its way shut, it or the master: the pulse waits for that.
            is_open=pulse.zone in self.openings.running
            or self.valve_set.is_closing(pulse.relay_line),
            may_run_until_utc=may_run_until(self._garden, zone, pulse.day, now),
            shortest_s=shortest_pulse_s(zone.valve, self._garden.watering),
        )

    def _ask_weather(self) -> None:
        self._fetcher.ask(
            self.accepted.garden, lambda answer: self._post(lambda: self.receive_weather(answer))
        )

    def _set_alarm(self) -> None:
        now = self.clock.now_utc()
        self._moments = plan_moments(self._garden, now)
        self._alarm.set_all(
            [*self._moments, *((p.key, p.opens_utc) for p in self.dispatcher.pending)]
        )

    def _zone_of(self, line: int) -> str | None:
        zones = self.accepted.garden.zones
        return next((z.name for z in zones if z.valve.relay_line == line), None)

    def _zone(self, name: str) -> Zone | None:
        return next((z for z in self.accepted.garden.zones if z.name == name), None)
