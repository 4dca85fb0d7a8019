"""Runs the daemon: one process, one bank, threads that do not block each other, valves first.

The main thread looks after the lines and reports to the watchdog. The closer's thread shuts valves
at their deadlines. The engine's thread decides and writes.
"""

from __future__ import annotations

import logging
import os
import sys
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from controller.clock import Clock, SystemClock
from controller.daemon.control.server import ControlServer
from controller.daemon.engine_thread import EngineSetup, EngineThread
from controller.daemon.garden_process import read_apart
from controller.daemon.garden_reload import COPY_NAME, Accepted, GardenFile, KeptFieldTests
from controller.daemon.host.clock_trust import CalmClock
from controller.daemon.host.process import (
    WEATHER_CACHE,
    Ending,
    Folders,
    Health,
    LogbookBeat,
    OneDaemon,
    Signals,
    leave_to_others,
    log_to_stderr,
    make_folder,
    sd_notify,
    warn_of_others,
)
from controller.daemon.journal import Journal
from controller.daemon.openings import Controls, Openings
from controller.daemon.recovery import ShutAt, open_in_last_day, shut_at
from controller.daemon.valve_set import LINE_FILE, ValveSet, hold_known_lines
from controller.daemon.weather import Fetch
from controller.errors import DaemonError, LogbookError, ValveFault
from controller.garden.model import Garden
from controller.logbook.logbook import Logbook
from controller.valves.alloff import PRETENDED, SHUT_AT, no_wait
from controller.valves.alloff import main as stop_step
from controller.valves.gpio import GpioInputs, GpioPins
from controller.valves.group import BankRecord
from controller.valves.pins import InputDriver, PinDriver
from crops.catalogue import load as load_catalogue

if TYPE_CHECKING:
    from controller.daemon.host.metrics_page import HealthPage


LOGBOOK_NAME = "logbook.db"
LOOK_EVERY_S = 0.5  # the main thread's round
AT_REST = 4.0  # so many times as long between two while no line is open; an opening ends the rest
# How long each may be silent before the watchdog gets no message. The engine may wait for a slow
# disk, and a big plan takes a small board a while; valves close without it. Our choice.
# The logbook's writer is silent only where it does not answer at all; an error is an answer.
# The control socket is silent where its thread is gone or hangs, or a closing hangs in a pin.
SILENCE_S = {
    "closer": 5.0,
    "supervisor": 5.0,
    "control": 30.0,
    "engine": 120.0,
    "logbook": 120.0,
}
CONTROL_EVERY_S = 10.0  # between two looks at the control socket; our choice
_MORE_TIME_US = 20_000_000  # asked of the service manager while valves are driven shut; our choice
_LOG = logging.getLogger("rowgate")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIns:
    """What takes the place of the board's clock, and of the garden's weather source and pins."""

    clock: Clock = field(default_factory=SystemClock)
    fetch: Fetch | None = None
    driver: PinDriver | None = None
    inputs: InputDriver | None = None


def run_service(
    garden_path: Path,
    folders: Folders,
    *,
    pins: str | None = None,
    environ: Mapping[str, str] = os.environ,
    stand_ins: StandIns | None = None,
    leave: Callable[[int], object] | None = None,
) -> int:
    """Run until a signal ends the daemon; the exit code.

    `pins` names the pin driver, or None for the one the garden file names. `leave` ends the process
    at once, with that exit code, where a call that hangs in the pin driver would hang its end, too.

    Raises
    ------
    DaemonError
        If a daemon runs on one of the folders already, or the socket cannot be had.
    InputError
        If the garden file does not read and there is no last good copy.
    """
    log_to_stderr()
    make_folder(folders.own, 0o700 if folders.own != folders.state else 0o777)
    make_folder(folders.state)
    make_folder(folders.runtime)
    warn_of_others(folders.own)
    stand_ins = stand_ins or StandIns()
    with ExitStack() as locks:
        taken = dict[Path, OneDaemon]()
        for folder in (folders.own, folders.state, folders.runtime):
            same = [lock for path, lock in taken.items() if path.samefile(folder)]
            taken[folder] = same[0] if same else locks.enter_context(OneDaemon(folder))
        service = _Service(
            garden_path,
            folders,
            CalmClock(stand_ins.clock),
            environ,
            may_listen=taken[folders.runtime].holds,
        )
        return service.run(pins, stand_ins, leave)


def _without_links(path: Path) -> Path:
    """The real path of the garden file; as given where its links lead nowhere or in a circle."""
    try:
        return path.resolve()
    except (OSError, RuntimeError):
        return path.absolute()


class _Service:
    """Everything that lives as long as the process."""

    def __init__(
        self,
        garden_path: Path,
        folders: Folders,
        clock: Clock,
        environ: Mapping[str, str],
        *,
        may_listen: Callable[[], bool],
    ) -> None:
        self._may_listen = may_listen
        self._folders, self._line_file = folders, folders.own / LINE_FILE
        self._logbook_path = folders.state / LOGBOOK_NAME
        self._clock, self._environ = clock, environ
        self._garden_path = garden_path
        self._field_tests = KeptFieldTests(self._logbook_path)
        self._ending = Ending()
        self._health = Health(clock, SILENCE_S)
        self._openings: Openings | None = None
        self._early: list[BankRecord] = []  # came before anything could write them down
        self._engine_thread: EngineThread | None = None

    def run(
        self,
        pins: str | None,
        stand_ins: StandIns,
        leave: Callable[[int], object] | None,
    ) -> int:
        """Run everything, from closing all lines to closing all lines."""
        driver, inputs = stand_ins.driver, stand_ins.inputs
        # First of all, and before anything is read that may keep us waiting.
        held = hold_known_lines(self._line_file, self._clock, self._bank_reported, driver)
        try:
            accepted = self._first_garden()
        except BaseException:
            # No garden to run on: what the daemon before us drove must not stay open for it.
            shut = held is not None and held.let_go(self._still_closing)
            # It drives off once more, and keeps the moment; balls that are shut need no time again.
            stop_step([str(self._line_file)], no_wait if shut else None)
            raise
        kind, chip = pins or accepted.garden.board.pins, accepted.garden.board.chip
        if held is not None and driver is None and not held.is_of(kind, chip):
            held.let_go(self._still_closing)
            held = None
        if held is not None:
            valve_set, driver = held.valve_set, held.driver
        else:
            driver = driver or GpioPins(kind, chip)  # type: ignore[arg-type]  # it names what it takes
            valve_set = ValveSet(
                driver,
                self._clock,
                self._line_file,
                self._bank_reported,
                chip=chip,
                kind=kind,
            )
        try:
            if inputs is None and isinstance(driver, GpioPins):
                inputs = GpioInputs(driver, self._clock)
            if kind == "mock":
                print("PINS ARE MOCK: no valve will move.", file=sys.stderr, flush=True)  # noqa: T201
            stopped = shut_at(self._line_file)
            valve_set.begin(accepted, self._open_before(accepted.garden))
            with Signals(self._ending.request):
                # Balls that stay are driven shut first; opening one now would be refused.
                valve_set.wait_until_closed(self._still_closing)
                self._run_with(valve_set, accepted, kind, stand_ins.fetch, inputs, stopped)
        finally:
            # Again, where it was done already: it costs nothing.
            failed = valve_set.end(self._ending.why, self._still_closing)
            try:
                valve_set.release_all()
            except ValveFault as fault:
                _LOG.error("%s", fault)
            for line, why in failed.items():
                _LOG.error("line %d does not shut: %s; shut the tap", line, why)
                self._ending.exit_code = 1
            if valve_set.hanging() and leave is not None:
                # The interpreter's own end would drive that line once more, and hang.
                _LOG.critical("the pin driver hangs; the process ends as it stands")
                leave(1)
        return self._ending.exit_code

    def _run_with(
        self,
        valve_set: ValveSet,
        accepted: Accepted,
        kind: str,
        fetch: Fetch | None,
        inputs: InputDriver | None,
        stopped: ShutAt | None,
    ) -> None:
        with Logbook(self._logbook_path, self._clock) as logbook:
            journal = Journal(logbook)
            names = (LINE_FILE, SHUT_AT, PRETENDED, COPY_NAME)
            leave_to_others(self._folders.state, self._folders.own, names)
            self._openings = Openings(journal, self._clock)
            for record in self._early:
                self._openings.bank_reported(record)
            engine_thread = self._engine_thread = EngineThread(
                EngineSetup(
                    accepted=accepted,
                    garden_file=self._file,
                    field_tests=self._field_tests,
                    controls=Controls(
                        valve_set=valve_set,
                        openings=self._openings,
                        journal=journal,
                        clock=self._clock,
                    ),
                    pins=kind,
                    inputs=inputs,
                    weather=fetch or self._garden_weather(),
                    stopped=stopped,
                    health=self._health,
                    ending=self._ending,
                    folders=self._folders,
                )
            )
            beat = LogbookBeat(logbook.answers, lambda: self._health.alive("logbook"))
            server, page = None, None
            try:
                engine_thread.start()
                beat.start()
                if engine_thread.wait_for_plan():
                    server = ControlServer(
                        self._folders.runtime,
                        engine_thread.asked,
                        clock=self._clock,
                        close_first=engine_thread.close_first,
                        beat=lambda: self._health.alive("control"),
                        may_listen=self._may_listen,
                    )
                    page = self._health_page(accepted, engine_thread)
                    sd_notify("READY=1\nSTATUS=keeping the garden", self._environ)
                    self._watch(valve_set, server)
            finally:
                sd_notify("STOPPING=1", self._environ)
                try:
                    valve_set.end(self._ending.why, self._still_closing)  # valves first
                finally:
                    self._ending.requested = True
                    self._ending.shut.set()
                engine_thread.wake()
                if server is not None:
                    server.stop()
                beat.stop()
                engine_thread.join(10.0)
                if page is not None:
                    page.stop()

    def _watch(self, valve_set: ValveSet, server: ControlServer) -> None:
        """Run the main thread's rounds until the end is requested."""
        woken_mono_s = self._clock.mono_s()
        while not self._ending.requested:
            found = valve_set.supervisor.check()
            self._health.alive("supervisor")
            self._health.alive("closer", valve_set.closer.last_beat_mono_s)
            for line in found.closed_late:
                _LOG.error("line %d was past its deadline; the supervisor shut it", line)
            if not found.sound:
                _LOG.critical("the lines are no longer safe: %s", "; ".join(found.faults))
                self._ending.fail("the lines are no longer safe")
                return
            if self._clock.mono_s() - woken_mono_s >= CONTROL_EVERY_S:
                woken_mono_s = self._clock.mono_s()
                server.wake()
            silent = self._health.send_alive(self._environ)
            if silent:
                _LOG.error("no response: %s; the watchdog gets no sign of life", ", ".join(silent))
            self._ending.rest(LOOK_EVERY_S * (AT_REST if found.at_rest else 1.0))

    def _health_page(self, accepted: Accepted, engine_thread: EngineThread) -> HealthPage | None:
        """Open the health address, if the garden file asks for one and it can be had."""
        health = accepted.garden.health
        if health.port is None:
            return None
        # Imported here: a daemon without a health address does without its library.
        from controller.daemon.host.metrics_page import HealthPage

        try:
            return HealthPage(
                health.address,
                health.port,
                facts=lambda: engine_thread.facts,
                silent=self._health.silent,
                clock=self._clock,
            )
        except DaemonError as fault:
            _LOG.error("%s", fault)
            return None

    def _still_closing(self) -> None:
        """Ask the service manager for more time while slow valves are driven shut."""
        sd_notify(f"WATCHDOG=1\nEXTEND_TIMEOUT_USEC={_MORE_TIME_US}", self._environ)

    def _bank_reported(self, record: BankRecord) -> None:
        """Called in the closer's thread: pass the record on at once."""
        self._ending.wake_main()
        if self._openings is None:
            self._early.append(record)
            return
        self._openings.bank_reported(record)
        if self._engine_thread is not None:
            self._engine_thread.wake()

    def _garden_weather(self) -> Fetch:
        # Imported here: it brings the network's library, which a test of the rest can do without.
        from controller.daemon.weather import GardenWeather

        return GardenWeather(
            self._garden_path.parent, self._folders.own / WEATHER_CACHE, self._clock
        )

    def _first_garden(self) -> Accepted:
        path = self._garden_path = _without_links(self._garden_path)
        self._file = GardenFile(
            path,
            self._folders.own / COPY_NAME,
            lambda text: read_apart(text, str(path)),
            load_catalogue(),
            self._field_tests,
        )
        return self._file.first()

    def _open_before(self, garden: Garden) -> dict[int, float]:
        """What counts against today's limits; a logbook that does not answer stops nothing."""
        try:
            return open_in_last_day(self._logbook_path, garden, self._clock.now_utc())
        except LogbookError as fault:
            _LOG.error("%s", fault)
            return {}
