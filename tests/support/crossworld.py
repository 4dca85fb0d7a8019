"""One daemon on a relay board with real valves behind it, brought to a moment and let go wrong.

What the service does around the mind (the supervisor's look, the end of an unsound process, the
service manager's new start) is done here in hand-turned time, so that a whole fate takes a
fraction of a second.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from controller.daemon.garden_reload import Accepted, accept
from controller.daemon.recovery import ending, starting
from controller.daemon.weather import WeatherFetcher
from controller.errors import LogbookError
from controller.garden.model import Board, Garden, Meter, Planting, Sensor, Watering, Window, Zone
from controller.garden.plumbing import Device, Master, Opening, Valve, ValveKind
from controller.hydraulics.network.supply_curve import Corrections
from controller.inputs.garden_loader import garden_from_text
from controller.logbook.logbook import Logbook
from controller.units import l_from_m3, m3_s_from_l_min
from controller.valves.alloff import SHUT_AT
from controller.valves.closer import Patience, Supervisor
from controller.valves.line import State, drive_s
from crops.catalogue import Catalogue
from support.clock import HandClock
from support.crosspins import BoardPins, RealValve, Shape, TrueClock, full_seconds, open_stretches
from support.crosspins import stands as where_it_stands
from support.daemon import CATALOGUE, World, dry_days
from support.gardens import a_garden, a_row, a_zone
from support.pins import HandInputs, next_deadline_mono_s

OPENER, SHUTTER, OTHER, MASTER, METER, SWITCH = 17, 27, 22, 4, 5, 6
OPENS_S, SHUTS_S = 4.0, 3.0
LEADS_S, LAGS_S = 2.0, 3.0
FLOW_L_S = 3.0 / 60  # of each zone alone, as the garden file says it was measured
LITRES_PER_PULSE = 1 / 40
RESTART_S = 5.0  # as the unit has it: RestartSec=5
WATCHDOG_S = 30.0  # as the unit has it: WatchdogSec=30
LOOK_S = 0.5  # the service's main thread
BERLIN = ZoneInfo("Europe/Berlin")
# Europe/Berlin, tz database: at 01:00 UTC of these nights the local clock is moved.
SPRING, AUTUMN, PLAIN = date(2026, 3, 29), date(2026, 10, 25), date(2031, 6, 1)
BEGUN_DAYS = 2  # before the first night: the logbook's own first day

MOMENTS = (
    "at start",
    "before opening",
    "opening",
    "travelling",
    "open",
    "closing",
    "between pulses",
    "midnight",
    "spring night",
    "autumn night",
)
ODD_NIGHTS = MOMENTS[-3:]  # days with hours of their own; all other moments are of one morning
KINDS = ("low", "high", "returns", "stays", "low+master", "stays+master")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What hangs on the board besides the valves."""

    meter: bool = False
    sensor: Sensor | None = None


@cache
def a_garden_of(kind: str, moment: str, fit: Fit) -> Garden:
    """Two small zones: `a` has the valve of that kind, `b` a plain solenoid."""
    device, _, master = kind.partition("+")
    night, window = _when(moment)
    planting = Planting(
        crop="leek", start=night - timedelta(days=60), until=night + timedelta(days=40)
    )
    zones = tuple(
        a_zone(
            name,
            line,
            rows=(a_row(3.0, wetted_width_m=0.3),),
            opening=Opening(alone_flow_m3_s=m3_s_from_l_min(60.0 * FLOW_L_S)),
            plantings=(planting,),
        )
        for name, line in (("a", OPENER), ("b", OTHER))
    )
    if device in ("returns", "stays"):
        zones = (_ball(zones[0], SHUTTER if device == "stays" else None), zones[1])
    plain = a_garden(*zones)
    return replace(
        plain,
        site=replace(plain.site, timezone="Europe/Berlin"),
        watering=Watering(
            windows=(window,), refill_at=0.1, settling_days=0, basin_mm=8.0, drilling_scatter=0.0
        ),
        board=Board(pins="mock", active_low=device != "high"),
        master=_master() if master else None,
        meter=Meter(line=METER, litres_per_pulse=LITRES_PER_PULSE) if fit.meter else None,
        sensors=() if fit.sensor is None else (fit.sensor,),
    )


def _ball(zone: Zone, close_line: int | None) -> Zone:
    device = Device.BALL_RETURNS if close_line is None else Device.BALL_STAYS
    valve = replace(
        zone.valve,
        device=device,
        close_line=close_line,
        opens_in_s=OPENS_S,
        closes_in_s=SHUTS_S,
    )
    return replace(zone, valve=valve)


def _master() -> Master:
    valve = Valve(kind=ValveKind.RELAY, relay_line=MASTER, device=Device.DIRECT)
    return Master(valve=valve, leads_s=LEADS_S, lags_s=LAGS_S)


def _when(moment: str) -> tuple[date, Window]:
    """The day of the moment, and a window so that a pulse is open at it."""
    if moment == "midnight":
        return PLAIN, Window(opens=time(23, 59, 45), closes=time(3, 0))
    if moment == "spring night":
        return SPRING, Window(opens=time(1, 59, 45), closes=time(5, 0))
    if moment == "autumn night":
        return AUTUMN, Window(opens=time(2, 59, 45), closes=time(5, 0))
    return PLAIN, Window(opens=time(6), closes=time(9))


Stretches = list[tuple[float, float]]


class Killed(BaseException):
    """The process is gone, in the middle of whatever it did."""


@cache
def _begun(day: date, folder: Path) -> Path:
    """An old logbook in which nothing was given, made once and copied."""
    path = folder / f"begun-{day}.db"
    Logbook(path, HandClock(datetime.combine(day, time(3), tzinfo=UTC))).close()
    return path


@dataclass(slots=True)
class Fate:
    """What the process went through."""

    deaths: int = 0
    dead_s: float = 0.0
    failed_starts: int = 0
    unsound: list[str] = field(default_factory=list)


class CrossWorld(World):
    """A daemon, its board, its valves and its service manager."""

    logbook_timeout_s = 20.0  # of real time: a busy test machine is no fault of the logbook
    tick_late_s = 0.0

    def __init__(
        self,
        folder: Path,
        kind: str,
        moment: str,
        fit: Fit = Fit(),
        *,
        early: Callable[[CrossWorld], None] | None = None,
    ) -> None:
        self.kind, self.moment, self.fate, self._early = kind, moment, Fate(), early
        garden = a_garden_of(kind, moment, fit)
        self.night, _ = _when(moment)
        begun = _begun(self.night - timedelta(days=BEGUN_DAYS), folder.parent)
        shutil.copy(begun, folder / "logbook.db")
        self.closer_dead = self.engine_hung = False
        self._later: list[tuple[float, Callable[[], None]]] = []
        self._unread_l = self._ran_l = 0.0
        self._dry_moves = 0
        self.meter_factor, self.meter_noise_s, self.meter_flood_s = 1.0, 0.0, 0.0
        self._other_fetcher: Callable[[], WeatherFetcher] | None = None
        self.orders: dict[int, tuple[str, float, float]] = {}  # by pulse: zone, opened, deadline
        self.struck_s = float("inf")
        self.slow_hands_s = 0.0
        self.lock_hangs = self.was_running = self.struck_early = self.was_answered = False
        self.at_the_end: list[Callable[[], None]] = []
        self.moved_to: int | None = None
        clock = TrueClock(self._starts_utc(moment))
        inputs = HandInputs() if fit.meter or fit.sensor else None
        super().__init__(
            folder,
            garden,
            clock=clock,
            pins=BoardPins(clock, wired_low=garden.board.active_low),
            weather=self._dry,
            begun_days=None,
            inputs=inputs,
        )
        self.clock: TrueClock

    def _starts_utc(self, moment: str) -> datetime:
        if moment == "midnight":
            return datetime(2031, 6, 1, 21, 30, tzinfo=UTC)
        if moment in ("spring night", "autumn night"):
            return datetime.combine(_when(moment)[0], time(0, 30), tzinfo=UTC)
        return datetime(2031, 6, 1, 3, 30, tzinfo=UTC)

    def run_to_the_end(self) -> None:
        """Two waterings have passed, the disturbed one and the next."""
        self.run_true(31 * 3600.0)

    def fill_l(self, zone: str) -> float:
        """What one filling of that zone's line takes."""
        return l_from_m3(self.engine.accepted.lines.line(zone).volume_m3)

    def _dry(self, now: datetime) -> Any:
        today = now.astimezone(BERLIN).date()
        first = self.night - timedelta(days=BEGUN_DAYS - 1)
        if not first <= today < first + timedelta(days=60):
            return []
        return dry_days(first, today - timedelta(days=1))

    # --- the process ---------------------------------------------------------------------------

    def start(self) -> None:
        if self._early is not None:
            early, self._early = self._early, None
            self.struck_s, self.struck_early = self.clock.true_s, True
            early(self)
        while True:
            try:
                super().start()
            except LogbookError as fault:
                # The service ends with all lines off; the manager starts it anew.
                self.fate.failed_starts += 1
                assert self.fate.failed_starts < 200, f"it never starts: {fault}"
                self.pins.process_ends(released=True)
                self.clock.advance(RESTART_S)
                self._do_later()
                continue
            break
        self.engine.restarts = starting(self.journal, self.clock, None)
        self._watch_with_little_patience()

    def _watch_with_little_patience(self) -> None:
        self.valve_set.supervisor = Supervisor(
            self.valve_set.bank, self.valve_set.closer, self.clock, Patience(lock_s=0.001)
        )

    def dies(self, *, released: bool = True, rebooted: bool = False) -> None:
        """Killed, or the power is gone; the service manager starts it again."""
        self.fate.deaths += 1
        self.closer_dead = self.engine_hung = False
        self.kill()
        self.pins.process_ends(released=released)
        if released and not rebooted:
            self._stop_step()
        self.fate.dead_s += RESTART_S
        self.clock.advance(RESTART_S)
        if rebooted:
            self.clock.boot, self.clock.mono = self.clock.boot + "+", 10.0
        if self.inputs is not None:
            levels = dict(self.inputs._active)
            self.inputs = HandInputs()
            self.inputs._active.update(levels)
        self._do_later()
        self.start()

    def _stop_step(self) -> None:
        """What the service manager runs after every end: all off, balls that stay driven shut."""
        for number in (OPENER, OTHER, MASTER):
            self.pins.drive(number, False)
        shut_s = self.clock.mono_s()
        if self.kind.startswith("stays"):
            self.pins.drive(SHUTTER, True)
            self.clock.advance(drive_s(SHUTS_S))
            self.pins.drive(SHUTTER, False)
        shut = [n for n in (OPENER, OTHER, MASTER, SHUTTER) if not self.pins.on(n)]
        told = {"wall_utc": "", "mono_s": shut_s, "boot_id": self.clock.boot, "failed": {}}
        (self.folder / SHUT_AT).write_text(json.dumps({**told, "shut": shut}), encoding="utf-8")

    def _ends_itself(self, why: str) -> None:
        """The main thread has found that this process must not go on."""
        self.fate.unsound.append(why)
        self.valve_set.end(why)
        if not self.bank_locked():
            for _ in range(1000):
                if self.valve_set.bank.closing_s() == 0.0:
                    break
                self._turn(min(0.2, self.valve_set.bank.closing_s()))
                self.valve_set.bank.close_due()
            self.engine.tick_last()
        ending(self.journal, why)
        self.pins.release_all()
        self.dies()

    # --- time ----------------------------------------------------------------------------------

    def set_fetcher(self, fetcher: Callable[[], WeatherFetcher] | None) -> None:
        """Who is asked for weather from now on, by each process; None for who was at first."""
        self._other_fetcher = fetcher
        if not self.struck_early:  # else the first process begins with it
            self.engine._fetcher = self._fetcher()

    def _fetcher(self) -> WeatherFetcher:
        return super()._fetcher() if self._other_fetcher is None else self._other_fetcher()

    def later(self, after_s: float, do: Callable[[], None]) -> None:
        """Do something that much later, true time."""
        self._later.append((self.clock.true_s + after_s, do))

    def run_until(self, moment: datetime) -> None:
        self.run_true(self.clock.true_s + (moment - self.clock.now_utc()).total_seconds())

    def run_true(self, until_s: float) -> None:
        """Turn the hands to a true moment; whatever dies on the way is started again."""
        turns = 0
        while self.clock.true_s < until_s - 1e-6:
            turns += 1
            assert turns < 50_000, "the engine asks to be looked at without end"
            try:
                self._turn(self._step(until_s))
                self._do_later()
                self._round()
            except Killed as how:
                self.dies(**how.args[0])

    def _step(self, until_s: float) -> float:
        step = until_s - self.clock.true_s
        for at_s, _ in self._later:
            step = min(step, at_s - self.clock.true_s)
        if not self.engine_hung:
            wanted = (self.engine.next_moment_utc() - self.clock.now_utc()).total_seconds()
            step = min(step, max(wanted, 0.001) + self.tick_late_s)
        bank = self.valve_set.bank
        if not self.bank_locked():
            due = next_deadline_mono_s(bank)
            if due is not None and not self.closer_dead:
                step = min(step, due - self.clock.mono_s())
            if bank.open_lines():
                step = min(step, 1.0 if self.engine.garden.meter else 5.0)
        if self.closer_dead or self.engine_hung or self.bank_locked():
            step = min(step, LOOK_S)
        return max(step, 0.001)

    def bank_locked(self) -> bool:
        """Whether a hung thread holds the bank's lock."""
        return bool(self.valve_set.bank._changed._lock.locked())  # type: ignore[attr-defined]

    def _turn(self, seconds: float) -> None:
        began_s = self.clock.true_s
        self.clock.advance(seconds)
        if self.engine.garden.meter is not None and self.inputs is not None:
            self._meter_turns(self.clock.true_s - began_s)

    def _meter_turns(self, seconds: float) -> None:
        moves = self.pins.moves
        if len(moves) > self._dry_moves:
            ran = sum(self.true_litres(zone, self._dry_moves) for zone in ("a", "b"))
            self._unread_l += (ran - self._ran_l) * self.meter_factor
            self._ran_l = ran
            stands = [self.shape(zone, self._dry_moves)[-1][1] for zone in ("a", "b")]
            if not any(stands) and not self.pins.any_on():
                self._dry_moves, self._ran_l = len(moves), 0.0  # all of it is shut again
        for counter, _ in self.engine.watching._counters.values():
            counter._count += int(seconds * self.meter_flood_s)
        noise = int(seconds * self.meter_noise_s)
        count = int(self._unread_l / LITRES_PER_PULSE)
        self._unread_l -= count * LITRES_PER_PULSE
        assert self.inputs is not None
        for number in range(count + noise):
            at_s = self.clock.mono_s() - seconds + seconds * (number + 0.5) / (count + noise)
            self.inputs.pulse(METER, at_s, for_s=0.005)

    def _do_later(self) -> None:
        due = [item for item in self._later if item[0] <= self.clock.true_s + 1e-6]
        for item in due:
            self._later.remove(item)
            item[1]()

    def _round(self) -> None:
        if self.lock_hangs:
            self.lock_hangs = False
            self.valve_set.bank._changed._lock.acquire()  # type: ignore[attr-defined]
        if not self.closer_dead and not self.bank_locked():
            self.valve_set.closer.round()
        found = self.valve_set.supervisor.check()
        if not found.sound:
            self._ends_itself("; ".join(found.faults))
            return
        if not self.engine_hung:
            self.engine.tick()
        self._note_orders()

    def _note_orders(self) -> None:
        for running in self.openings.running.values():
            ahead_s = running.deadline_mono_s - self.clock.mono_s()
            opened_s = running.opened_mono_s - self.clock.mono_s()
            now = self.clock.true_s
            self.orders.setdefault(
                running.pulse_id + 100_000 * self.fate.deaths,
                (running.zone, now + opened_s, now + ahead_s),
            )

    # --- moments -------------------------------------------------------------------------------

    def reach(self, strike: Callable[[], None]) -> None:
        """Come to the moment, and strike."""
        self.struck_s = float("inf")

        def struck() -> None:
            self.struck_s = self.clock.true_s
            strike()

        if self.moment in ("at start", "before opening"):
            if self.moment == "before opening":
                self.run_until(self._starts_utc(self.moment).replace(hour=3, minute=59, second=55))
            self._strike(struck)
        elif self.moment == "opening":
            self._strike_between_intent_and_water(struck)
        elif self.moment in ODD_NIGHTS:
            at = datetime.combine(
                self.night, time(22 if self.moment == "midnight" else 1), tzinfo=UTC
            )
            self.run_until(at)
            assert self._is_open("a"), "no pulse is open at the odd moment"
            self._strike(struck)
        else:
            self._run_until_open()
            running = self.openings.running["a"]
            into_s = {
                "travelling": (OPENS_S if self._travels else -LEADS_S) / 2.0,
                "open": 22.0,
                "closing": running.deadline_mono_s - running.opened_mono_s + 1.0,
                "between pulses": running.deadline_mono_s - running.opened_mono_s + 120.0,
            }[self.moment]
            self.run_true(self.clock.true_s + running.opened_mono_s + into_s - self.clock.mono_s())
            self._strike(struck)

    @property
    def _travels(self) -> bool:
        return self.kind.startswith(("returns", "stays"))

    def _is_open(self, zone: str) -> bool:
        return zone in self.openings.running

    def _strike(self, struck: Callable[[], None]) -> None:
        try:
            struck()
        except Killed as how:
            self.dies(**how.args[0])

    def _strike_between_intent_and_water(self, struck: Callable[[], None]) -> None:
        journal, real = self.journal, self.journal.intend

        def intend(pulse: Any) -> int:
            pulse_id = real(pulse)
            if pulse.zone == "a":
                journal.intend = real  # type: ignore[method-assign]
                struck()
            return pulse_id

        journal.intend = intend  # type: ignore[method-assign]
        self.run_until(self._starts_utc(self.moment).replace(hour=4, minute=0, second=1))
        assert self.struck_s < float("inf"), "nothing was opened"

    def _run_until_open(self) -> None:
        end = self.clock.true_s + 3 * 3600.0
        while not self._is_open("a"):
            assert self.clock.true_s < end, "a did not open"
            self.run_true(self.clock.true_s + self._step(end))

    def _read(self, text: str) -> Garden:
        return (
            self.gardens[text]
            if text in self.gardens
            else garden_from_text(text, str(self.file), CATALOGUE)
        )

    # --- what came of it -----------------------------------------------------------------------

    def shape(self, zone: str, since_move: int = 0) -> Shape:
        """How far open that zone's valve really stood, from a move on before which it was shut."""
        moves = self.pins.moves[since_move:]
        valve = RealValve(line=OTHER)
        if zone == "a":
            valve = RealValve(line=OPENER)
            if self._travels:
                stays = self.kind.startswith("stays")
                valve = RealValve(
                    line=OPENER,
                    close_line=SHUTTER if stays else None,
                    opens_in_s=OPENS_S,
                    closes_in_s=SHUTS_S,
                )
        if zone == "master":
            valve = RealValve(line=MASTER)
        if zone == "a" and self.moved_to is not None:
            moves = [
                (at, OPENER if number == self.moved_to else number, on) for at, number, on in moves
            ]
            return where_it_stands(valve, moves, self.clock.true_s)
        return where_it_stands(valve, moves, self.clock.true_s)

    def true_litres(self, zone: str, since_move: int = 0) -> float:
        """What really ran."""
        within = None
        if "master" in self.kind:
            within = open_stretches(self.shape("master", since_move))
        return FLOW_L_S * full_seconds(self.shape(zone, since_move), within)

    def water(self, zone: str) -> Stretches:
        """From when to when water ran."""
        ran = open_stretches(self.shape(zone))
        if "master" not in self.kind:
            return ran
        return _common(ran, open_stretches(self.shape("master")))

    def credited(self, zone: str) -> float:
        """What the logbook says ran."""
        return sum(litres for (name, _), litres in self.litres().items() if name == zone)

    @property
    def met_wrong(self) -> bool:
        """Whether a line really misbehaved."""
        return bool(self.pins.misdeeds)

    def overrun_l(self, zone: str) -> float:
        """Litres that really ran after the deadlines of that zone were over."""
        ends = [
            (opened, deadline) for name, opened, deadline in self.orders.values() if name == zone
        ]
        rightly = [(o - 1.0, d + self.closing_s(zone)) for o, d in ends]
        within = _joined(rightly)
        if "master" in self.kind:
            within = _common(within, open_stretches(self.shape("master")))
        return self.true_litres(zone) - FLOW_L_S * full_seconds(self.shape(zone), within)

    def closing_s(self, zone: str) -> float:
        """How long that zone's valve may let water through after it was told to shut."""
        return drive_s(SHUTS_S) if zone == "a" and self._travels else 0.0

    def barred(self) -> bool:
        """Whether a line is barred or stuck, as status says."""
        return bool(self.ask(ask="status")["barred"]) or self.valve_set.bank.master() in (
            State.BARRED,
            State.STUCK,
        )


def _joined(stretches: Stretches) -> Stretches:
    """The same without overlaps."""
    joined: Stretches = []
    for begins, ends in sorted(stretches):
        if joined and begins <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], ends))
        else:
            joined.append((begins, ends))
    return joined


def _common(a: Stretches, b: Stretches) -> Stretches:
    """What lies in both."""
    both = [(max(a0, b0), min(a1, b1)) for a0, a1 in a for b0, b1 in b]
    return [(begins, ends) for begins, ends in both if ends > begins]


def quicker_accepting() -> Callable[..., Accepted]:
    """`accept` that computes the same garden's network once, for all worlds of a process."""
    known: dict[int, tuple[Garden, Accepted]] = {}

    def quicker(garden: Garden, catalogue: Catalogue, corrections: Corrections) -> Accepted:
        if id(garden) not in known:
            known[id(garden)] = (garden, accept(garden, catalogue, corrections))
        return known[id(garden)][1]

    return quicker
