"""A garden, its daemon's mind and its pins in hand-turned time; nothing runs by itself."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from controller.daemon.control.answers import answer
from controller.daemon.engine import Engine, Surroundings
from controller.daemon.flow.input_pins import Watching
from controller.daemon.flow.trend import Past
from controller.daemon.garden_reload import GardenFile
from controller.daemon.host.clock_trust import ClockTrust
from controller.daemon.journal import Journal
from controller.daemon.openings import Controls, Openings
from controller.daemon.recovery import recover, shut_at, write_down
from controller.daemon.valve_set import LINE_FILE, ValveSet
from controller.daemon.weather import Fetch, WeatherAnswer, WeatherFetcher
from controller.demand.soil.zone_days import ZoneDays
from controller.errors import GardenFileError
from controller.garden.model import Garden, Watering, Window
from controller.hydraulics.calibration.calibrated import Bands
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.valves.pins import PinDriver
from controller.weather.day import WeatherDay
from crops.catalogue import load
from support.clock import HandClock
from support.gardens import a_garden, a_zone
from support.pins import HandInputs, RecordingPins, next_deadline_mono_s

CATALOGUE = load()
MORNING = Watering(windows=(Window(opens=time(6), closes=time(9)),))
# How long a daemon was at work: an account goes back 545 days, and weather is looked at 60 before.
LONG_AGO_DAYS = 800


@cache
def _begun(now_utc: datetime, days: int) -> bytes:
    """An old logbook, a daemon at work on every day, and nothing given: its dry days count as dry.

    Its file is made once for all worlds of a process.
    """
    begun_utc = now_utc - timedelta(days=days)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.db"
        Logbook(path, HandClock(begun_utc)).close()
        with sqlite3.connect(path) as book:
            rows = [((begun_utc + timedelta(days=n)).date().isoformat(),) for n in range(days)]
            book.executemany("INSERT OR IGNORE INTO watched_days (day) VALUES (?)", rows)
        book.close()
        return path.read_bytes()


class HandAlarm:
    """Keeps the list it was given; the test's loop looks at the engine instead."""

    def __init__(self) -> None:
        self.moments: list[tuple[str, datetime]] = []

    def set_all(self, moments: Sequence[tuple[str, datetime]]) -> None:
        self.moments = list(moments)

    def stop(self) -> None:
        self.moments = []


def dry_day(day: date, **more: Any) -> WeatherDay:
    """A warm, dry, invented day."""
    plain: dict[str, Any] = {
        "day": day,
        "tmin_c": 14.0,
        "tmax_c": 29.0,
        "rh_mean_pct": 55.0,
        "wind_m_s": 2.0,
        "solar_mj_m2": 24.0,
        "rain_mm": 0.0,
        "source": "test",
    }
    return WeatherDay(**(plain | more))


def dry_days(first: date, last: date) -> list[WeatherDay]:
    count = (last - first).days + 1
    return [dry_day(first + timedelta(days=i)) for i in range(count)]


class DirectFetcher:
    """Answers at once; for a source that cannot keep anybody waiting."""

    def __init__(self, fetch: Fetch) -> None:
        self._fetch = fetch

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask, and reply before returning."""
        reply(self._fetch(garden))


class World:
    """One daemon without its threads. `restart` forgets everything but disk and pins.

    `time_passes` is told of every turn of the hands, before anybody looks: water may run then.
    """

    logbook_timeout_s = 0.5  # of real time; a test that keeps the logbook locked takes less

    def __init__(
        self,
        folder: Path,
        garden: Garden | None = None,
        *,
        now_utc: datetime = datetime(2031, 6, 1, 2, 0, tzinfo=UTC),
        weather: Callable[[datetime], Iterable[WeatherDay]] | None = None,
        pins: PinDriver | None = None,
        clock: HandClock | None = None,
        begun_days: int | None = LONG_AGO_DAYS,
        inputs: HandInputs | None = None,
        time_passes: Callable[[Any, float, float], None] | None = None,
    ) -> None:
        self.folder = folder
        self.clock = clock or HandClock(now_utc)
        self.gardens = {"good": garden or a_garden(a_zone(), watering=MORNING)}
        self.file = folder / "garden.toml"
        self.file.write_text("good", encoding="utf-8")
        self.pins: Any = pins or RecordingPins(self.clock)
        self.weather = weather or self._dry_until_yesterday
        self.weather_is_down = False
        self.inputs, self._time_passes = inputs, time_passes
        self.asked_weather = 0
        if begun_days is not None and not (self.folder / "logbook.db").exists():
            begun = _begun(self.clock.now_utc(), begun_days)
            (self.folder / "logbook.db").write_bytes(begun)
            (self.folder / "logbook.db").chmod(0o600)
        self.start()

    # --- the daemon --------------------------------------------------------------------------

    def start(self) -> None:
        """What the service does at its start, without its threads."""
        self.garden_file = GardenFile(self.file, self.folder / "copy.toml", self._read, CATALOGUE)
        accepted = self.garden_file.first()
        self.logbook = Logbook(
            self.folder / "logbook.db", self.clock, timeout_s=self.logbook_timeout_s
        )
        self.journal = Journal(self.logbook)
        self.openings = Openings(self.journal, self.clock)
        stopped = shut_at(self.folder / LINE_FILE)
        self.valve_set = ValveSet(
            self.pins,
            self.clock,
            self.folder / LINE_FILE,
            lambda record: self.openings.bank_reported(record),
            threads=False,
        )
        with Questions(self.logbook.path) as ask:
            seconds = ask.open_seconds_since(self.clock.now_utc() - timedelta(days=1))
        self.valve_set.begin(
            accepted,
            {
                zone.valve.relay_line: seconds.get(zone.name, 0.0)
                for zone in accepted.garden.zones
                if zone.valve.relay_line is not None
            },
        )
        self.alarm = HandAlarm()
        self.engine = Engine(
            accepted,
            self.garden_file,
            Controls(
                valve_set=self.valve_set,
                openings=self.openings,
                journal=self.journal,
                clock=self.clock,
            ),
            Surroundings(
                clock_trust=ClockTrust(self.clock, self.journal.newest_utc()),
                fetcher=self._fetcher(),
                alarm=self.alarm,
                post=lambda message: message(),
                pins="mock",
                watching=Watching(
                    self.inputs,
                    self.openings,
                    self.clock,
                    bands=lambda garden: Bands(garden, None),
                    write_rain=self.journal.rain_on_pin,
                    past=Past(self.journal.flow_stretches, self.journal.keep_flow_stretch),
                ),
            ),
        )
        found = recover(
            self.journal.unfinished(),
            boot_id=self.clock.boot_id(),
            stopped=stopped,
            flow_l_s=self.engine.flow_or_nothing_l_s,
        )
        write_down(found, self.journal)
        self.engine.start()

    def kill(self) -> None:
        """SIGKILL: nothing is written, nothing is shut; the pins stay as they are."""
        self.journal.close()
        self.logbook.close()

    def restart(self, *, rebooted: bool = False, after_s: float = 5.0) -> None:
        """Kill, let time pass, start again; a reboot turns the pins off and the clock anew."""
        self.kill()
        self.clock.advance(after_s)
        if rebooted:
            self.clock.boot, self.clock.mono = self.clock.boot + "+", 10.0
        self.start_anew()

    def start_anew(self) -> None:
        """What was killed starts again; nobody else holds the lines."""
        if isinstance(self.pins, RecordingPins):
            moves = self.pins.moves
            self.pins = RecordingPins(self.clock)
            self.pins.moves = moves
        self.start()

    # --- time --------------------------------------------------------------------------------

    def run_until(self, moment: datetime) -> None:
        """Turn the hands to `moment`, stopping wherever there is something to do."""
        turns = 0
        while self.clock.now_utc() < moment:
            turns += 1
            assert turns < 200_000, "the engine asks to be looked at without end"
            step = (
                min(moment, self.engine.next_moment_utc()) - self.clock.now_utc()
            ).total_seconds()
            due = next_deadline_mono_s(self.valve_set.bank)
            if due is not None:
                step = min(step, due - self.clock.mono_s())
            began_s = self.clock.mono_s()
            self.clock.advance(max(step, 0.001))
            if self._time_passes is not None:
                self._time_passes(self, began_s, self.clock.mono_s())
            self.valve_set.closer.round()
            self.engine.tick()

    def run_for(self, seconds: float) -> None:
        self.run_until(self.clock.now_utc() + timedelta(seconds=seconds))

    def run_until_open(self, zone: str = "a", *, at_most_h: float = 48.0) -> None:
        """Turn the hands until that zone's valve is open."""
        end = self.clock.now_utc() + timedelta(hours=at_most_h)
        while zone not in self.openings.running:
            assert self.clock.now_utc() < end, f"{zone} did not open"
            self.run_until(min(self.engine.next_moment_utc(), end) + timedelta(milliseconds=1))

    # --- questions ---------------------------------------------------------------------------

    def ask(self, **request: Any) -> dict[str, Any]:
        return answer(self.engine, request)

    def pulses(self) -> list[Any]:
        with Questions(self.logbook.path) as ask:
            return ask.pulses(date.min, date.max)

    def litres(self) -> ZoneDays[float]:
        with Questions(self.logbook.path) as ask:
            return ask.litres_by_zone_day()

    def happenings(self) -> list[tuple[str, str]]:
        with Questions(self.logbook.path) as ask:
            return [(h.kind, h.words) for h in reversed(ask.happenings(1000))]

    def ledger(self) -> list[Any]:
        with Questions(self.logbook.path) as ask:
            return ask.ledger()

    # --- stand-ins ---------------------------------------------------------------------------

    def _read(self, text: str) -> Garden:
        if text not in self.gardens:
            raise GardenFileError([f"garden.toml, line 1: found {text!r}"])
        return self.gardens[text]

    def _fetcher(self) -> WeatherFetcher:
        return DirectFetcher(self._fetch)

    def _fetch(self, garden: Garden) -> WeatherAnswer:
        self.asked_weather += 1
        now = self.clock.now_utc()
        if self.weather_is_down:
            return WeatherAnswer(
                days=(), source="test", asked_utc=now, remarks=("the source is down",), failed=True
            )
        return WeatherAnswer(days=tuple(self.weather(now)), source="test", asked_utc=now)

    def _dry_until_yesterday(self, now: datetime) -> list[WeatherDay]:
        today = now.astimezone(self.engine.accepted.garden.site.zone_info).date()
        return dry_days(date(2031, 5, 1), today - timedelta(days=1))
