"""Every fault of the cross, a small class each: how it strikes, and what may rightly come of it."""

from __future__ import annotations

import socket
import sqlite3
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from contextlib import ExitStack
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from math import inf
from typing import Any, ClassVar

import requests

from controller.clock import SystemClock
from controller.daemon.control.protocol import SOCKET_NAME, ask
from controller.daemon.control.server import CLIENTS_A_USER, ControlServer
from controller.daemon.flow.rules import passing_shares
from controller.daemon.host.status import BoardNow
from controller.daemon.weather import Fetch, ThreadFetcher, WeatherAnswer
from controller.errors import DaemonError, NoWeather
from controller.garden.model import Sensor, SensorKind
from controller.garden.size import MOST_BYTES, MOST_DEEP
from controller.logbook.queries import Questions
from controller.weather.online.client import Fetcher
from controller.weather.online.limits import RetryPolicy
from controller.weather.online.services import Place, service
from support.crosspins import Unspeakable, Wrong
from support.crossworld import (
    LITRES_PER_PULSE,
    MASTER,
    OPENER,
    SHUTTER,
    SWITCH,
    CrossWorld,
    Fit,
    Killed,
)
from support.daemon import DirectFetcher, dry_day
from support.weather_server import EndlessServer

MEND_DISK_S = 120.0
NEXT_DAY_S = 20 * 3600.0  # after the fault: before the next watering
YEAR_S = 365 * 86_400.0


class Fault:
    """What goes wrong. Strikes before the start where it can, at the moment `at start`."""

    name: ClassVar[str]
    family: ClassVar[str]
    early: ClassVar[bool] = True
    wide: ClassVar[bool] = False  # the whole garden feels it
    obeys: ClassVar[bool] = True  # the lines of `a` do as they are told, or are told again
    late_s: ClassVar[float] = 0.0  # so much past its deadline a line may shut
    blur_s: ClassVar[float] = 0.0  # of water nobody can know of, or that is taken to have run
    owes: ClassVar[bool] = True  # what was not given is given with the next watering
    more_l: ClassVar[float] = 0.0  # so much more may run of which nobody can know
    fit: ClassVar[Fit] = Fit()

    def blur_at(self, moment: str) -> float:
        """`blur_s` at that moment."""
        return self.blur_s

    def obeys_with(self, kind: str) -> bool:
        """Whether the lines of `a` obey, with that kind of valve."""
        return self.obeys

    def strike(self, w: CrossWorld) -> None:
        raise NotImplementedError

    def recorded(self, w: CrossWorld) -> bool:
        """Whether the fault stands where a gardener looks, if it has to."""
        return True

    def cannot(self, kind: str, moment: str) -> str:
        """Why this cell cannot exist; empty if it does."""
        return ""

    def besides(self, w: CrossWorld, usual: Mapping[str, float]) -> Iterator[str]:
        """What else is wrong with the end, where this fault asks for more than the others."""
        yield from ()


def told(w: CrossWorld, kind: str, words: str = "") -> bool:
    return any(k == kind and words in said for k, said in w.happenings())


# --- the pins ---------------------------------------------------------------------------------


class PinFault(Fault):
    """The open line of `a` goes wrong; mended before the next watering, and reset by a person."""

    family = "pins"
    mend_s: ClassVar[float] = NEXT_DAY_S
    line: ClassVar[int] = OPENER

    def wrong(self) -> Wrong:
        raise NotImplementedError

    def strike(self, w: CrossWorld) -> None:
        w.pins.wrong[self.line] = self.wrong()
        w.later(self.mend_s, w.pins.wrong.clear)
        w.later(NEXT_DAY_S + 60.0, lambda: looked_at(w))

    def recorded(self, w: CrossWorld) -> bool:
        return not w.met_wrong or told(w, "valve")


def looked_at(w: CrossWorld) -> None:
    """A person looks at what is barred, and resets it."""
    w.ask(ask="reset", zone="a")
    if w.valve_set.bank.master() is not None:
        w.valve_set.bank.reset(MASTER)


class OnFailsOnce(PinFault):
    name = "on cannot be written, once"

    def wrong(self) -> Wrong:
        return Wrong(on_fails=1)


class OnFails(PinFault):
    name = "on cannot be written"

    def wrong(self) -> Wrong:
        return Wrong(on_fails=inf)


class OffFailsOnce(PinFault):
    name = "off cannot be written, once"
    late_s = 1.5
    blur_s = 4.0  # a closing that is begun anew

    def wrong(self) -> Wrong:
        return Wrong(off_fails=1)


class OffFails(PinFault):
    name = "off cannot be written, for two minutes"
    mend_s = 120.0
    obeys = False

    def blur_at(self, moment: str) -> float:
        # A closing that cannot be ended counts as water, though the valve may be shut.
        return inf if moment == "closing" else 0.0

    def wrong(self) -> Wrong:
        return Wrong(off_fails=inf)


class Welded(PinFault):
    name = "the relay sticks on, for two minutes"
    mend_s = 120.0
    obeys = False

    def wrong(self) -> Wrong:
        return Wrong(sticks=True)


class ReadsOff(PinFault):
    name = "is read as off, whatever it is"

    def wrong(self) -> Wrong:
        return Wrong(reads=False)


class Unread(PinFault):
    """Off cannot be read back. A ball that stays is then left alone, for its two lines' sake."""

    mend_s = 120.0

    def obeys_with(self, kind: str) -> bool:
        return not kind.startswith("stays")


class ReadsOn(Unread):
    name = "is read as on, whatever it is, for two minutes"
    blur_s = inf  # it counts as water as long as it is read so

    def wrong(self) -> Wrong:
        return Wrong(reads=True)


class ReadThrows(Unread):
    name = "cannot be read, for two minutes"
    blur_s = inf

    def wrong(self) -> Wrong:
        return Wrong(read_throws=True)


class Strange(PinFault):
    name = "the driver raises what has no words, for two minutes"
    mend_s = 120.0
    obeys = False
    blur_s = inf  # nobody knows whether it opened: it counts as water

    def wrong(self) -> Wrong:
        return Wrong(on_fails=inf, off_fails=inf, throws=Unspeakable)


class Slow(PinFault):
    name = "the driver takes three seconds for a write"
    late_s = 12.0
    blur_s = 12.0
    mend_s = 300.0

    def wrong(self) -> Wrong:
        return Wrong(slow_s=3.0)

    def recorded(self, w: CrossWorld) -> bool:
        return True  # rightly none: everything was done


class CloseLineFails(PinFault):
    name = "the close line cannot be driven on, for two minutes"
    line = SHUTTER
    mend_s = 120.0
    obeys = False

    def wrong(self) -> Wrong:
        return Wrong(on_fails=inf)

    def cannot(self, kind: str, moment: str) -> str:
        return "" if kind.startswith("stays") else "the valve has no close line"


# --- the process ------------------------------------------------------------------------------


class Death(Fault):
    family = "process"
    early = False
    wide = True
    how: ClassVar[dict[str, bool]] = {}

    def strike(self, w: CrossWorld) -> None:
        w.was_running = bool(w.openings.running) or w.moment == "opening"
        raise Killed(self.how)

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "recovery") or not w.was_running


class KilledReleased(Death):
    name = "killed, the lines let go"
    how: ClassVar[dict[str, bool]] = {"released": True}


class KilledDriven(Death):
    name = "killed, the lines kept as they were"
    how: ClassVar[dict[str, bool]] = {"released": False}
    late_s = 5.0


class Reboot(Death):
    name = "power cut and reboot"
    how: ClassVar[dict[str, bool]] = {"released": True, "rebooted": True}
    late_s = 5.0  # a ball that stays


class CloserDead(Fault):
    name, family, wide = "the closer's thread is dead", "process", True
    late_s = 1.1  # the supervisor's margin and round
    early = False

    def strike(self, w: CrossWorld) -> None:
        w.closer_dead = True

    def recorded(self, w: CrossWorld) -> bool:
        return any("closer" in why for why in w.fate.unsound)


class CloserHung(CloserDead):
    name = "the closer's thread hangs with the lock"
    late_s = 31.0  # a ball that stays waits for the watchdog and the stop step

    def strike(self, w: CrossWorld) -> None:
        w.lock_hangs = True

    def recorded(self, w: CrossWorld) -> bool:
        return bool(w.fate.unsound)


class StewardHung(Fault):
    name, family, wide, early = "the engine hangs", "process", True, False
    late_s = 5.0

    def strike(self, w: CrossWorld) -> None:
        w.engine_hung = True
        w.was_running = bool(w.openings.running)

        def watchdog() -> None:
            raise Killed({"released": True})

        w.later(150.0, watchdog)

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "recovery") or not w.was_running


# --- the logbook ------------------------------------------------------------------------------


class BookFault(Fault):
    family, wide, early = "logbook", True, False

    def recorded(self, w: CrossWorld) -> bool:
        return not w.engine.unrecorded_words()  # what it would not take is told to it later

    def pragma(self, w: CrossWorld, words: str) -> None:
        w.logbook._do(lambda book: book.db.execute(words).fetchall())


class Locked(BookFault):
    name = "locked for two minutes"

    def strike(self, w: CrossWorld) -> None:
        self.pragma(w, "PRAGMA busy_timeout=1")
        other = sqlite3.connect(w.logbook.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")

        def let_go() -> None:
            other.execute("ROLLBACK")
            other.close()

        w.later(MEND_DISK_S, let_go)


class Refuses(BookFault):
    """Every write is refused in these words of SQLite; what is there can be read."""

    words: ClassVar[str]

    def strike(self, w: CrossWorld) -> None:
        def refuses(*_: object, **__: object) -> None:
            raise sqlite3.OperationalError(self.words)

        writer = w.logbook._writer
        vars(writer)["do"] = refuses
        w.later(MEND_DISK_S, lambda: vars(writer).pop("do"))


class Full(Refuses):
    name, words = "full for two minutes", "database or disk is full"


class ReadOnly(Refuses):
    name, words = "read-only for two minutes", "attempt to write a readonly database"


class Deleted(BookFault):
    name = "deleted"
    more_l = 2.0  # the dose of that morning, of 1.9 L, may come once more
    owes = False  # what was given before is known to nobody
    blur_s = inf

    def strike(self, w: CrossWorld) -> None:
        for end in ("", "-wal", "-shm"):
            (w.folder / f"logbook.db{end}").unlink(missing_ok=True)

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "logbook lost")


class Damaged(BookFault):
    name = "damaged"
    more_l = 2.0  # the dose of that morning, of 1.9 L, may come once more
    owes = False
    blur_s = inf

    def strike(self, w: CrossWorld) -> None:
        w.logbook._do(lambda book: book.db.execute("PRAGMA user_version").fetchall())
        path = w.folder / "logbook.db"
        size = path.stat().st_size
        with path.open("r+b") as book:
            for at in range(4096, size, 4096):
                book.seek(at)
                book.write(b"\x5a" * 512)
        for end in ("-wal",):
            (w.folder / f"logbook.db{end}").write_bytes(b"")

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "logbook damaged")


class Flipped(BookFault):
    """A bit of the newest row of `a`'s pulses; a second later nobody has seen to it."""

    dies: ClassVar[bool] = False
    changes: ClassVar[str]

    def strike(self, w: CrossWorld) -> None:
        with sqlite3.connect(w.logbook.path) as book:
            book.execute("PRAGMA ignore_check_constraints = ON")
            changed = book.execute(
                f"UPDATE pulses SET {self.changes} WHERE id = (SELECT id FROM pulses "
                "WHERE zone = 'a' ORDER BY state = 'planned', id DESC LIMIT 1)"
            )
            assert changed.rowcount == 1
        book.close()
        if self.dies:
            w.was_running = bool(w.openings.running)
            raise Killed({"released": True})

    def recorded(self, w: CrossWorld) -> bool:
        with Questions(w.logbook.path) as questions:
            sound = questions.unsound() == 0
        # A later step of the same row may have written over the bit.
        return sound and not w.engine.unrecorded_words()


class FlippedDay(Flipped):
    name = "a bit of a pulse's day flips"
    changes = "day = substr(day, 1, 6) || 'v' || substr(day, 8)"


class FlippedState(Flipped):
    name = "a bit of a pulse's state flips"
    changes = "state = substr(state, 1, 2) || '%' || substr(state, 4)"


class FlippedList(Flipped):
    name = "a bit of a pulse's list of zones flips"
    changes = "together = '[' || char(34)"


class FlippedNull(Flipped):
    name = "a number of a pulse becomes NULL"
    changes = (
        "litres = NULL, planned_open_s = CASE WHEN litres IS NULL THEN NULL ELSE planned_open_s END"
    )


class FlippedInfinity(Flipped):
    name = "a number of a pulse becomes infinite"
    changes = (
        "litres = CASE WHEN litres IS NULL THEN NULL ELSE 9e999 END, "
        "planned_litres = CASE WHEN litres IS NULL THEN 9e999 ELSE planned_litres END"
    )


class FlippedDayKilled(FlippedDay):
    name, dies = "a bit of a pulse's day flips, and it is killed", True


class FlippedStateKilled(FlippedState):
    name, dies = "a bit of a pulse's state flips, and it is killed", True


class FlippedListKilled(FlippedList):
    name, dies = "a bit of a pulse's list of zones flips, and it is killed", True


class FlippedNullKilled(FlippedNull):
    name, dies = "a number of a pulse becomes NULL, and it is killed", True


class FlippedInfinityKilled(FlippedInfinity):
    name, dies = "a number of a pulse becomes infinite, and it is killed", True


# --- what the mind hears ----------------------------------------------------------------------


def a_server(w: CrossWorld) -> None:
    """The control socket of that world, until its end."""

    def answer(request: dict[str, Any]) -> Future[Mapping[str, Any]]:
        reply: Future[Mapping[str, Any]] = Future()
        reply.set_result(w.ask(**request))
        return reply

    server = ControlServer(w.folder, answer, clock=w.clock, close_first=lambda _: None)
    w.at_the_end.append(server.stop)


class SocketGone(Fault):
    name, family, early = "the socket is deleted", "socket", False

    def strike(self, w: CrossWorld) -> None:
        a_server(w)
        next(w.folder.glob("*.sock*")).unlink()

    def recorded(self, w: CrossWorld) -> bool:
        try:
            ask(w.folder, {"ask": "status"})
        except DaemonError:
            return True  # whoever asks is told
        return False


class SlowAskers(Fault):
    name, family, early = (
        "all places are taken by slow askers, and a person closes",
        "socket",
        False,
    )

    def strike(self, w: CrossWorld) -> None:
        a_server(w)
        for _ in range(CLIENTS_A_USER):
            line = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            w.at_the_end.append(line.close)
            line.connect(str(w.folder / SOCKET_NAME))
            line.sendall(b'{"ask": ')
        w.was_answered = bool(ask(w.folder, {"ask": "close", "zone": "a"})["ok"])

    def recorded(self, w: CrossWorld) -> bool:
        return w.was_answered

    def cannot(self, kind: str, moment: str) -> str:
        return Person.cannot(Person(), kind, moment)


class NoThread(Fault):
    name, family, early = "no thread can be begun, for two minutes", "process", False

    def strike(self, w: CrossWorld) -> None:
        a_server(w)
        begins = threading.Thread.start

        def refuses(thread: threading.Thread) -> None:
            raise RuntimeError("can't start new thread")

        def mend() -> None:
            threading.Thread.start = begins  # type: ignore[method-assign]
            w.set_fetcher(None)

        w.at_the_end.append(mend)
        w.later(MEND_DISK_S, mend)
        threading.Thread.start = refuses  # type: ignore[method-assign,assignment]
        w.set_fetcher(lambda: ThreadFetcher(w._fetch, w.clock))
        w.engine._ask_weather()
        w.was_answered = bool(ask(w.folder, {"ask": "status"})["ok"])

    def recorded(self, w: CrossWorld) -> bool:
        return w.was_answered


class ClockFault(Fault):
    family, wide = "clock", True
    step_s: ClassVar[float] = 0.0
    back_s: ClassVar[float] = 0.0  # when somebody sets it right

    def strike(self, w: CrossWorld) -> None:
        w.clock.step_wall(self.step_s)
        if self.back_s:
            w.later(self.back_s, lambda: w.clock.step_wall(-self.step_s))

    def recorded(self, w: CrossWorld) -> bool:
        return w.struck_early or told(w, "clock", "jumped")


class HourAhead(ClockFault):
    name, step_s, back_s = "an hour ahead, for an hour", 3600.0, 3600.0


class HourBehind(ClockFault):
    name, step_s, back_s = "an hour behind, for an hour", -3600.0, 3600.0


class YearAhead(ClockFault):
    name, step_s, back_s = "a year ahead, for two hours", YEAR_S, 7200.0
    owes = False  # rows of a year that never came are disbelieved after a day


class YearBehind(ClockFault):
    name, step_s, back_s = "a year behind, for two hours", -YEAR_S, 7200.0


class EndOfTime(ClockFault):
    name = "in the last hours of the year 9999, for two hours"
    owes = False  # as for a year ahead

    def strike(self, w: CrossWorld) -> None:
        step = datetime(9999, 12, 31, 21, 0, tzinfo=UTC) - w.clock.wall
        w.clock.step_wall(step.total_seconds())
        w.later(7200.0, lambda: w.clock.step_wall(-step.total_seconds()))


class Unset(ClockFault):
    name = "not set, for twenty minutes"

    def strike(self, w: CrossWorld) -> None:
        w.clock.is_synced = False

        def is_set() -> None:
            w.clock.is_synced = True

        w.later(1200.0, is_set)

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "clock")


class FileFault(Fault):
    family, early = "garden file", False

    def other(self, w: CrossWorld) -> Any:
        return None

    def strike(self, w: CrossWorld) -> None:
        other = self.other(w)
        if other is not None:
            w.gardens["other"] = other
        w.file.write_text("other", encoding="utf-8")

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "garden file")


class FileBroken(FileFault):
    name = "does not read"


class FileChanged(FileFault):
    name = "has one more zone"

    def other(self, w: CrossWorld) -> Any:
        garden = w.gardens["good"]
        b = garden.zone("b")
        third = replace(b, name="c", valve=replace(b.valve, relay_line=5), plantings=())
        return replace(garden, zones=(*garden.zones, third))


class ZoneRemoved(FileFault):
    name = "lacks the zone"
    owes = False  # nobody waters what is not in the file

    def other(self, w: CrossWorld) -> Any:
        garden = w.gardens["good"]
        return replace(garden, zones=(garden.zone("b"),))


class RelayMoved(FileFault):
    name = "has the zone on another relay"

    def other(self, w: CrossWorld) -> Any:
        garden = w.gardens["good"]
        a = garden.zone("a")
        w.moved_to = 12
        moved = replace(a, valve=replace(a.valve, relay_line=12))
        return replace(garden, zones=(moved, garden.zone("b")))


class FileTooDeep(FileFault):
    name = "is 500 tables deep"

    def strike(self, w: CrossWorld) -> None:
        assert MOST_DEEP < 500
        w.file.write_text(f"[{'.'.join('a' * 500)}]\nb = 1\n", encoding="utf-8")


class FileTooLarge(FileFault):
    name = "is larger than any"

    def strike(self, w: CrossWorld) -> None:
        with w.file.open("r+b") as sparse:
            sparse.truncate(1000 * MOST_BYTES)


class FileLoop(FileFault):
    name = "is a link to itself"

    def strike(self, w: CrossWorld) -> None:
        w.file.unlink()
        w.file.symlink_to(w.file)


class FileLoopKilled(FileLoop):
    name = "is a link to itself, and the daemon is killed"
    wide = True

    def strike(self, w: CrossWorld) -> None:
        super().strike(w)
        raise Killed({"released": True})


class WeatherDown(Fault):
    name, family = "the source is silent", "weather"
    owes = False  # a stand-in's day is not the day's own
    wide = True

    def strike(self, w: CrossWorld) -> None:
        w.weather_is_down = True

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "weather")


class WeatherAbsurd(Fault):
    name, family = "the source talks nonsense", "weather"
    owes = False
    wide = True

    def strike(self, w: CrossWorld) -> None:
        plain = w.weather

        def absurd(now: Any) -> Any:
            days = list(plain(now))
            last = days[-1].day if days else now.date()
            return [
                *days,
                dry_day(last, tmin_c=900.0, tmax_c=-900.0, wind_m_s=float("nan"), source="x"),
                dry_day(last + timedelta(days=1), rain_mm=-4e9, solar_mj_m2=inf, source="x"),
            ]

        w.weather = absurd


class WeatherHangs(WeatherDown):
    name = "the asking hangs for good"

    def strike(self, w: CrossWorld) -> None:
        let_go = threading.Event()
        w.at_the_end.append(let_go.set)

        def hangs(_: object) -> WeatherAnswer:
            let_go.wait()
            raise AssertionError("the world has ended")

        w.set_fetcher(lambda: ThreadFetcher(hangs, w.clock))


class WeatherEndless(WeatherDown):
    name = "the server sends a header a moment, without end"

    def strike(self, w: CrossWorld) -> None:
        stack = ExitStack()
        w.at_the_end.append(stack.close)
        head = b"HTTP/1.1 200 OK\r\nX-Long: "
        server = stack.enter_context(EndlessServer(head, b"x", pause_s=0.01).running())
        fetch = _asks(w, server.url)
        w.set_fetcher(lambda: DirectFetcher(fetch))


def _asks(w: CrossWorld, url: str) -> Fetch:
    """Asks that server as the daemon does, with less patience."""

    def fetch(_: object) -> WeatherAnswer:
        session = requests.Session()
        session.trust_env = False
        online = service(
            "open-meteo",
            w.folder / "cache",
            SystemClock(),  # real time: a real server answers, or hangs
            base_url=url,
            fetcher=Fetcher(
                SystemClock(),
                session=session,
                policy=RetryPolicy(overall_s=0.03, read_s=0.02),
                sleep=lambda _: None,
            ),
        )
        place = Place(latitude_deg=47.6, longitude_deg=8.1, elevation_m=410.0, timezone="UTC")
        now, words = w.clock.now_utc(), "it answered"
        try:
            online.days(place, past_days=2, forecast_days=1)
        except NoWeather as fault:
            words = str(fault)
        return WeatherAnswer(days=(), source="test", asked_utc=now, remarks=(words,), failed=True)

    return fetch


class AlarmSilent(Fault):
    name, family = "the alarm is silent, and one looks every second", "alarm"

    def strike(self, w: CrossWorld) -> None:
        w.tick_late_s = 1.0


# --- people -----------------------------------------------------------------------------------


class Person(Fault):
    family, early = "person", False

    def cannot(self, kind: str, moment: str) -> str:
        if moment == "opening":
            return "the engine's one thread opens first, and listens then"
        return ""


class PersonCloses(Person):
    name = "closes the zone"

    def strike(self, w: CrossWorld) -> None:
        w.ask(ask="close", zone="a")


class PersonOpens(Person):
    name = "opens the zone for 15 s"

    def strike(self, w: CrossWorld) -> None:
        w.ask(ask="open", zone="a", seconds=15)


class PersonHolds(Person):
    name = "holds the zone for half an hour"

    def strike(self, w: CrossWorld) -> None:
        w.ask(ask="hold", zones=["a"], hours=0.5, reason="guests")

    def recorded(self, w: CrossWorld) -> bool:
        return True


# --- inputs -----------------------------------------------------------------------------------


class MeterFault(Fault):
    family, fit, wide = "meter", Fit(meter=True), True
    owes = False
    more_l = 6.5  # three pulses without a count: then it is found out
    blur_s = inf  # litres are what the meter says until it is found out

    def recorded(self, w: CrossWorld) -> bool:
        flowed = any(m[0] > w.struck_s for m in w.pins.moves)
        return not flowed or any(k.startswith(("flow", "meter")) for k, _ in w.happenings())


class MeterDead(MeterFault):
    name = "counts nothing any more"

    def strike(self, w: CrossWorld) -> None:
        w.meter_factor = 0.0


class MeterStuck(MeterFault):
    name = "its contact stays closed"

    def strike(self, w: CrossWorld) -> None:
        w.meter_factor = 0.0
        assert w.inputs is not None
        w.inputs.put(5, True, w.clock.mono_s())


class MeterNoisy(MeterFault):
    name = "counts five a second that are none"

    def strike(self, w: CrossWorld) -> None:
        w.meter_noise_s = 5.0


class MeterPart(MeterFault):
    """Nothing tells it from holes that clog: the least of the band is credited."""

    name = "counts a third of its pulses"
    more_l = 0.0

    def strike(self, w: CrossWorld) -> None:
        w.meter_factor = 1.0 / 3.0

    def besides(self, w: CrossWorld, usual: Mapping[str, float]) -> Iterator[str]:
        assert w.openings.credit is not None
        low, _ = passing_shares(w.openings.credit._band_of(frozenset("a")))
        yield from least_credited(w, low)


class MeterFlooded(MeterFault):
    name = "is flooded with ten thousand a second"
    more_l = 0.0

    def strike(self, w: CrossWorld) -> None:
        w.meter_flood_s = 10_000.0


def least_credited(w: CrossWorld, low: float) -> Iterator[str]:
    """Pulses that are credited less than the band allows."""
    for row in w.pulses():
        if row.litres is None or not row.open_s or row.how_known is None:
            continue
        flow_l_s = w.engine.flow_l_s(row.zone, frozenset((row.zone, *row.together)))
        if row.litres < low * row.open_s * flow_l_s - 3.0 * LITRES_PER_PULSE:
            yield f"{row.key}: {row.litres:.2f} L credited of {row.open_s:.0f} s"


class SwitchFault(Fault):
    family, wide = "switch", True

    def strike(self, w: CrossWorld) -> None:
        assert w.inputs is not None
        w.inputs.put(SWITCH, True, w.clock.mono_s())

        def dry() -> None:
            assert w.inputs is not None
            w.inputs.put(SWITCH, False, w.clock.mono_s())

        w.later(1800.0, dry)

    def recorded(self, w: CrossWorld) -> bool:
        return told(w, "sensor", "nothing opens by plan")


class RainWet(SwitchFault):
    name = "the rain switch is wet for half an hour"
    fit = Fit(sensor=Sensor(kind=SensorKind.RAIN_SWITCH, line=SWITCH))


class Freeze(SwitchFault):
    name = "the freeze switch is cold for half an hour"
    fit = Fit(sensor=Sensor(kind=SensorKind.FREEZE_SWITCH, line=SWITCH))


# --- the master, the disk ---------------------------------------------------------------------


class MasterFault(PinFault):
    family, wide, line = "master", True, MASTER

    def cannot(self, kind: str, moment: str) -> str:
        return "" if kind.endswith("master") else "the garden has no master"


class MasterDoesNotOpen(MasterFault):
    name = "cannot be driven on"

    def wrong(self) -> Wrong:
        return Wrong(on_fails=inf)


class MasterDoesNotShut(MasterFault):
    name = "cannot be driven off, for two minutes"
    mend_s = 120.0

    def wrong(self) -> Wrong:
        return Wrong(off_fails=inf)


class LowDisk(Fault):
    name, family, early = "the disk has 12 MB left", "disk", False

    def strike(self, w: CrossWorld) -> None:
        w.engine.board = lambda: BoardNow(disk_free_mb=12.0, warnings=("12 MB are free",))

    def recorded(self, w: CrossWorld) -> bool:
        return bool(w.ask(ask="status")["board"]["doubts"])


FAULTS: tuple[Fault, ...] = tuple(
    kind()
    for kind in (
        OnFailsOnce, OnFails, OffFailsOnce, OffFails, Welded, ReadsOff, ReadsOn, ReadThrows,
        Strange, Slow, CloseLineFails, KilledReleased, KilledDriven, Reboot, CloserDead,
        CloserHung, StewardHung, NoThread, Locked, Full, ReadOnly, Deleted, Damaged, FlippedDay,
        FlippedState, FlippedList, FlippedNull, FlippedInfinity, FlippedDayKilled,
        FlippedStateKilled, FlippedListKilled, FlippedNullKilled, FlippedInfinityKilled, SocketGone,
        SlowAskers, HourAhead, HourBehind, YearAhead, YearBehind, EndOfTime, Unset, FileBroken,
        FileChanged, ZoneRemoved, RelayMoved, FileTooDeep, FileTooLarge, FileLoop, FileLoopKilled,
        WeatherDown, WeatherAbsurd, WeatherHangs, WeatherEndless, AlarmSilent, PersonCloses,
        PersonOpens, PersonHolds, MeterDead, MeterStuck, MeterNoisy, MeterPart, MeterFlooded,
        RainWet, Freeze, MasterDoesNotOpen, MasterDoesNotShut, LowDisk,
    )
)  # fmt: skip
NAMES: dict[str, Fault] = {f"{fault.family}: {fault.name}": fault for fault in FAULTS}
