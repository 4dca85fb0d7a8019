"""The daemon itself: one process, one bank, threads that wait for nobody, valves first at the end.

The main thread looks after the lines and tells the watchdog; the closer's thread shuts valves at
their deadlines; the steward's thread decides and writes; the alarm, the socket and the weather only
put something into the steward's inbox.
"""

from __future__ import annotations

import logging
import os
import queue
import sys
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.clock import Clock, SystemClock
from controller.daemon.answers import answer
from controller.daemon.board import look_at_board
from controller.daemon.books import Books
from controller.daemon.clocksense import ClockSense
from controller.daemon.control import ControlServer, refusal
from controller.daemon.fieldtests import KeptFieldTests
from controller.daemon.gardenfile import COPY_NAME, Accepted, GardenFile
from controller.daemon.health import Health, LogbookBeat, sd_notify
from controller.daemon.openings import Openings, shut
from controller.daemon.process import Signals, log_to_stderr
from controller.daemon.recovery import recover, shut_at, write_down
from controller.daemon.restarts import ending, starting
from controller.daemon.rhythm import WallAlarm
from controller.daemon.stateplace import CalmClock, OneDaemon, Overruled
from controller.daemon.steward import Steward
from controller.daemon.tallies import Facts
from controller.daemon.watching import Watching
from controller.daemon.waterworks import LINE_FILE, Waterworks
from controller.daemon.weatherdesk import Fetch, ThreadDesk
from controller.errors import DaemonError, GardenFileError, LogbookError, ValveRefused
from controller.logbook.ask import Questions
from controller.logbook.write import Logbook
from controller.timetable.tested import Bands
from controller.timetable.whole import read_whole_text
from controller.valves.alloff import forget_shut_at
from controller.valves.alloff import main as stop_step
from controller.valves.inputs import InputDriver
from controller.valves.pins import PinDriver
from controller.valves.relay import GpioInputs, GpioPins
from controller.valves.tell import BankRecord
from crops.catalogue import load as load_catalogue

if TYPE_CHECKING:
    from controller.daemon.healthpage import HealthPage

LOGBOOK_NAME = "logbook.db"
LOOK_EVERY_S = 0.5  # the main thread's round
TICK_EVERY_S = 1.0  # the steward looks at least so often
ANSWER_WITHIN_S = 15.0
SHUT_WITHIN_S = 300.0  # the last ends are written once the valves are shut; a ball takes its time
# How long each may be silent before the watchdog is told nothing. The steward may wait for a slow
# disk, and a big plan takes a small board a while; valves close without it. Our choice.
# The logbook's writer is silent only where it does not answer at all; an error is an answer.
SILENCE_S = {"closer": 5.0, "supervisor": 5.0, "steward": 120.0, "logbook": 120.0}
FACTS_EVERY_S = 5.0  # between two pages of facts for the health address; our choice
_MORE_TIME_US = 20_000_000  # asked of the service manager while valves are driven shut; our choice
_LOG = logging.getLogger("rowgate")


def run_service(
    *,
    garden_path: Path,
    state_dir: Path,
    runtime_dir: Path,
    pins: str | None = None,
    clock: Clock | None = None,
    environ: Mapping[str, str] = os.environ,
    fetch: Fetch | None = None,
    driver: PinDriver | None = None,
    inputs: InputDriver | None = None,
) -> int:
    """Run until told to stop; the exit code.

    `pins` names the pin driver, or None for the one the garden file names; `fetch`, `driver` and
    `inputs` take the place of the garden's weather source and pins.

    Raises
    ------
    DaemonError
        If a daemon runs here already, or the socket cannot be had.
    InputError
        If the garden file does not read and there is no last good copy.
    """
    log_to_stderr()
    for folder in (state_dir, runtime_dir):
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise DaemonError(f"{folder} cannot be made: {fault.strerror or fault}") from fault
    with OneDaemon(state_dir):
        service = _Service(
            garden_path.resolve(),
            state_dir,
            runtime_dir,
            CalmClock(clock or SystemClock()),
            environ,
        )
        return service.run(pins, fetch, driver, inputs)


class _Service:
    """What lives as long as the process."""

    def __init__(
        self,
        garden_path: Path,
        state_dir: Path,
        runtime_dir: Path,
        clock: Clock,
        environ: Mapping[str, str],
    ) -> None:
        self._state, self._runtime, self._clock, self._environ = (
            state_dir,
            runtime_dir,
            clock,
            environ,
        )
        self._garden_path = garden_path
        self._catalogue = load_catalogue()
        self._field_tests = KeptFieldTests(state_dir / LOGBOOK_NAME)
        self._file = GardenFile(
            garden_path,
            state_dir / COPY_NAME,
            lambda text: read_whole_text(text, str(garden_path), self._catalogue),
            self._catalogue,
            self._field_tests,
        )
        self._inbox: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._ending = threading.Event()
        self._shut = threading.Event()  # the valves have been told for the last time
        self._ending_why = "the daemon ends"
        self._exit_code = 0
        self._ready = threading.Event()
        self._health = Health(clock, SILENCE_S)
        self._openings: Openings | None = None
        self._early: list[BankRecord] = []  # said before anybody could write it down
        self._steward: Steward | None = None
        self._inputs: InputDriver | None = None
        self._facts: Facts | None = None

    def run(
        self,
        pins: str | None,
        fetch: Fetch | None,
        driver: PinDriver | None,
        inputs: InputDriver | None = None,
    ) -> int:
        """Everything, from closing all to closing all."""
        accepted = self._first_garden()
        board = accepted.garden.board
        kind = pins or board.pins
        if driver is None:
            driver = GpioPins(kind, board.chip)  # type: ignore[arg-type]  # it names what it takes
        if inputs is None and isinstance(driver, GpioPins):
            inputs = GpioInputs(driver, self._clock)
        self._inputs = inputs
        if kind == "mock":
            print("PINS ARE MOCK: no valve will move.", file=sys.stderr, flush=True)  # noqa: T201
        works = Waterworks(
            driver,
            self._clock,
            self._state / LINE_FILE,
            self._bank_said,
            chip=board.chip,
            kind=kind,
        )
        try:
            stopped = shut_at(self._state / LINE_FILE)
            works.begin(accepted, self._open_before(accepted))
            with Signals(self._end):
                # Balls that stay are driven shut first; opening one now would be refused.
                works.wait_until_closed(self._still_closing)
                self._run_with(works, accepted, kind, fetch, lambda: stopped)
        finally:
            # Again, where it was done already: it costs nothing.
            failed = works.end(self._ending_why, self._still_closing)
            driver.release_all()
            for line, why in failed.items():
                _LOG.error("line %d does not shut: %s; shut the tap", line, why)
                self._exit_code = 1
        return self._exit_code

    def _run_with(
        self,
        works: Waterworks,
        accepted: Accepted,
        kind: str,
        fetch: Fetch | None,
        stopped: Callable[[], Any],
    ) -> None:
        with Logbook(self._state / LOGBOOK_NAME, self._clock) as logbook:
            books = Books(logbook)
            self._openings = Openings(books, self._clock)
            for record in self._early:
                self._openings.bank_said(record)
            source = fetch or self._garden_weather()

            def mind() -> None:
                self._mind(works, accepted, books, kind, source, stopped())

            thread = threading.Thread(target=mind, name="steward", daemon=True)
            beat = LogbookBeat(logbook.answers, lambda: self._health.moved("logbook"))
            server, page = None, None
            try:
                thread.start()
                beat.start()
                if self._wait_for_steward(thread):
                    server = ControlServer(self._runtime, self._asked)
                    page = self._health_page(accepted)
                    sd_notify("READY=1\nSTATUS=keeping the garden", self._environ)
                    self._watch(works)
            finally:
                sd_notify("STOPPING=1", self._environ)
                try:
                    works.end(self._ending_why, self._still_closing)  # valves first
                finally:
                    self._ending.set()
                    self._shut.set()
                self._inbox.put(_nothing)
                if server is not None:
                    server.stop()
                beat.stop()
                thread.join(10.0)
                if page is not None:
                    page.stop()

    # --- the main thread ---------------------------------------------------------------------

    def _wait_for_steward(self, thread: threading.Thread) -> bool:
        """Wait for the first plan; every line is off, and the closer runs already."""
        while not self._ready.wait(0.1):
            if self._ending.is_set() or not thread.is_alive():
                return False
        return not self._ending.is_set()

    def _watch(self, works: Waterworks) -> None:
        while not self._ending.is_set():
            found = works.supervisor.check()
            self._health.moved("supervisor")
            self._health.moved("closer", works.closer.last_beat_mono_s)
            for line in found.closed_late:
                _LOG.error("line %d was past its deadline; the supervisor shut it", line)
            if not found.sound:
                _LOG.critical("the lines are no longer safe: %s", "; ".join(found.faults))
                self._exit_code = 1
                self._end("the lines are no longer safe")
                return
            silent = self._health.say_alive(self._environ)
            if silent:
                _LOG.error("silent: %s; the watchdog is told nothing", ", ".join(silent))
            self._ending.wait(LOOK_EVERY_S)

    def _health_page(self, accepted: Accepted) -> HealthPage | None:
        """The health address, where the garden file asks for one; without it all else goes on."""
        health = accepted.garden.health
        if health.port is None:
            return None
        # Imported here: a daemon without a health address does without its library.
        from controller.daemon.healthpage import HealthPage

        try:
            return HealthPage(
                health.address,
                health.port,
                facts=lambda: self._facts,
                silent=self._health.silent,
                clock=self._clock,
            )
        except DaemonError as fault:
            _LOG.error("%s", fault)
            return None

    def _still_closing(self) -> None:
        """Slow valves are being driven shut, a bounded time: the manager is asked to wait."""
        sd_notify(f"WATCHDOG=1\nEXTEND_TIMEOUT_USEC={_MORE_TIME_US}", self._environ)

    def _end(self, why: str) -> None:
        self._ending_why = why
        self._ending.set()

    # --- the steward's thread ----------------------------------------------------------------

    def _mind(
        self,
        works: Waterworks,
        accepted: Accepted,
        books: Books,
        kind: str,
        source: Fetch,
        stopped: Any,
    ) -> None:
        alarm = None
        try:
            alarm = WallAlarm(
                lambda name: self._inbox.put(_nothing), accepted.garden.site.zone_info
            )
            steward = self._new_steward(works, accepted, books, kind, source, alarm, stopped)
            steward.restarts = starting(books, self._clock, stopped)
            steward.start()
            self._steward = steward
            self._ready.set()
            while not self._ending.is_set():
                self._health.moved("steward")
                self._one_round(steward)
                self._write_facts(steward)
            self._shut.wait(SHUT_WITHIN_S)  # what ended, and when, is known only then
            steward.tick_last()
            ending(books, self._ending_why)
        except LogbookError as fault:
            # What a crash left must be written down before anything opens; the next start tries.
            _LOG.error("the daemon cannot go on: %s", fault)
            self._exit_code = 1
            self._end("the logbook does not take what must be in it")
        except Exception:  # noqa: BLE001 - the process must end, valves first
            _LOG.exception("the steward")
            self._exit_code = 1
            self._end("the steward made a mistake")
            ending(books, self._ending_why)
        finally:
            if alarm is not None:
                alarm.stop()
            books.close()

    def _new_steward(
        self,
        works: Waterworks,
        accepted: Accepted,
        books: Books,
        kind: str,
        source: Fetch,
        alarm: WallAlarm,
        stopped: Any,
    ) -> Steward:
        assert self._openings is not None
        overruled = Overruled(self._state)
        newest = overruled.less(books.newest_utc(), self._clock.now_utc())
        steward = Steward(
            accepted=accepted,
            garden_file=self._file,
            waterworks=works,
            openings=self._openings,
            books=books,
            clock=self._clock,
            sense=ClockSense(
                self._clock,
                newest,
                overruled.keep,
                keeps_time=accepted.garden.board.battery_clock,
            ),
            desk=ThreadDesk(source),
            alarm=alarm,
            post=self._inbox.put,
            pins=kind,
            silent=self._health.silent,
            watching=Watching(
                self._inputs,
                self._openings,
                self._clock,
                bands=lambda garden: Bands(garden, self._field_tests.fitted(garden)),
                write_rain=books.rain_on_pin,
            ),
            board=lambda: look_at_board(self._state),
        )
        found = recover(
            books.unfinished(),
            boot_id=self._clock.boot_id(),
            stopped=stopped,
            flow_l_s=steward.flow_or_nothing_l_s,
            stays_open={z.name for z in accepted.garden.zones if z.valve.close_line is not None},
        )
        write_down(found, books)
        forget_shut_at(self._state / LINE_FILE)
        return steward

    def _write_facts(self, steward: Steward) -> None:
        """A new page of facts for the health address, now and then; none where nobody reads it."""
        if steward.accepted.garden.health.port is None:
            return
        if self._facts is None or self._clock.mono_s() - self._facts.at_mono_s >= FACTS_EVERY_S:
            self._facts = steward.facts()

    def _one_round(self, steward: Steward) -> None:
        wait = (steward.next_moment_utc() - self._clock.now_utc()).total_seconds()
        try:
            message = self._inbox.get(timeout=min(max(wait, 0.02), TICK_EVERY_S))
            message()
            while True:
                self._inbox.get_nowait()()
        except queue.Empty:
            pass
        steward.tick()

    def _bank_said(self, record: BankRecord) -> None:
        if self._openings is None:
            self._early.append(record)
            return
        self._openings.bank_said(record)
        self._inbox.put(_nothing)

    # --- the socket's threads ----------------------------------------------------------------

    def _asked(self, request: dict[str, Any]) -> Mapping[str, Any]:
        steward = self._steward
        if steward is None or self._ending.is_set():
            return refusal("the daemon is ending")
        if request.get("ask") == "close":
            _close_first(steward, request.get("zone"))
        reply: Future[dict[str, Any]] = Future()

        def serve() -> None:
            try:
                reply.set_result(answer(steward, request))
            except Exception as fault:  # noqa: BLE001 - raised again in the thread that asked
                reply.set_exception(fault)

        self._inbox.put(serve)
        try:
            return reply.result(ANSWER_WITHIN_S)
        except TimeoutError:
            return refusal("the daemon is busy; look at its status in a moment")

    def _garden_weather(self) -> Fetch:
        # Imported here: it brings the network's library, which a test of the rest can do without.
        from controller.daemon.gardenweather import GardenWeather

        return GardenWeather(self._garden_path.parent, self._state / "weather-cache", self._clock)

    # --- beginnings --------------------------------------------------------------------------

    def _first_garden(self) -> Accepted:
        try:
            return self._file.first()
        except GardenFileError:
            # No garden to run on: what the daemon before us drove must not stay open for it.
            stop_step([str(self._state / LINE_FILE)])
            raise

    def _open_before(self, accepted: Accepted) -> dict[int, float]:
        """Seconds each line was open in the last day, by the logbook; nothing where it is new."""
        path = self._state / LOGBOOK_NAME
        if not path.is_file():
            return {}
        try:
            with Questions(path) as ask:
                seconds = ask.open_seconds_since(self._clock.now_utc() - timedelta(days=1))
        except LogbookError as fault:
            _LOG.error("%s", fault)
            return {}
        return {
            zone.valve.relay_line: seconds.get(zone.name, 0.0)
            for zone in accepted.garden.zones
            if zone.valve.relay_line is not None
        }


def _close_first(steward: Steward, name: object) -> None:
    """Shut at once, in the thread that asked: closing waits for nothing."""
    bank = steward.waterworks.bank
    if name is None:
        bank.close_all("a person closed it")
        return
    for zone in steward.accepted.garden.zones:
        if zone.name == name and zone.valve.relay_line is not None:
            try:
                words = shut(bank, zone.valve.relay_line, "a person closed it")
            except ValveRefused as fault:
                words = str(fault)
            if words:
                _LOG.error("%s: %s", zone.name, words)


def _nothing() -> None:
    """A message that only wakes."""
