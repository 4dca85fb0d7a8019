"""The engine's thread: it recovers, plans, decides, writes, and answers requests.

The alarm, the socket, the weather and the bank only put calls into its inbox. It shuts nothing:
valves close without it.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from controller.daemon.control.answers import answer
from controller.daemon.control.protocol import refusal
from controller.daemon.engine import Engine, Surroundings
from controller.daemon.flow.input_pins import Watching
from controller.daemon.flow.trend import Past
from controller.daemon.garden_reload import Accepted, GardenFile, KeptFieldTests
from controller.daemon.host.clock_trust import ClockTrust, Overruled
from controller.daemon.host.process import Ending, Folders, Health, give_back_memory
from controller.daemon.host.status import Facts, look_at_board
from controller.daemon.openings import Controls, shut
from controller.daemon.recovery import ShutAt, ending, recover, starting, write_down
from controller.daemon.rhythm import WallAlarm
from controller.daemon.valve_set import LINE_FILE
from controller.daemon.weather import Fetch, ThreadFetcher
from controller.errors import LogbookError, ValveRefused
from controller.hydraulics.calibration.calibrated import Bands
from controller.valves.alloff import forget_shut_at
from controller.valves.pins import InputDriver

TICK_EVERY_S = 1.0  # the engine looks at least so often
REST_S = 5.0  # the same while nothing is open and no pin is watched; our choice
SHUT_WITHIN_S = 300.0  # the last ends are written once the valves are shut; a ball takes its time
FACTS_EVERY_S = 5.0  # between two pages of facts for the health address; our choice
_LOG = logging.getLogger("rowgate")


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineSetup:
    """What the engine's thread is given when it begins."""

    accepted: Accepted
    garden_file: GardenFile
    field_tests: KeptFieldTests
    controls: Controls
    pins: str  # which driver moves them
    inputs: InputDriver | None
    weather: Fetch
    stopped: ShutAt | None  # what the last stop step left
    health: Health
    ending: Ending
    folders: Folders


class EngineThread:
    """One engine, its inbox, and the thread they live in."""

    def __init__(self, setup: EngineSetup) -> None:
        self._setup, self._ending = setup, setup.ending
        self._clock, self._journal = setup.controls.clock, setup.controls.journal
        self._inbox: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._ready = threading.Event()
        self._engine: Engine | None = None
        self._thread = threading.Thread(target=self._run, name="engine", daemon=True)
        self._planned_utc: datetime | None = None
        self.facts: Facts | None = None  # the last page of them, for the health address

    # --- from other threads ------------------------------------------------------------------

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def wait_for_plan(self) -> bool:
        """Wait for the first plan; every line is off meanwhile. False if none is to come."""
        while not self._ready.wait(0.1):
            if self._ending.requested or not self._thread.is_alive():
                return False
        return not self._ending.requested

    def wake(self) -> None:
        """Make it look now."""
        self._inbox.put(_nothing)

    def join(self, within_s: float) -> None:
        """Wait for its end."""
        if self._thread.is_alive():
            self._thread.join(within_s)

    def asked(self, request: dict[str, Any]) -> Future[Mapping[str, Any]]:
        """The future answer to a request; a request cancelled in time is not done."""
        reply: Future[Mapping[str, Any]] = Future()
        engine = self._engine
        if engine is None or self._ending.requested:
            reply.set_result(refusal("the daemon is ending"))
            return reply

        def serve() -> None:
            if not reply.set_running_or_notify_cancel():
                return  # the caller has the answer that nothing was done
            try:
                reply.set_result(answer(engine, request))
            except Exception as fault:  # noqa: BLE001 - raised again in the thread that asked
                reply.set_exception(fault)

        self._inbox.put(serve)
        return reply

    def close_first(self, request: Mapping[str, Any]) -> None:
        """Shut what a `close` names, in the caller's thread: closing waits for nothing."""
        if self._engine is not None:
            _close_first(self._engine, request.get("zone"))

    # --- its own thread ----------------------------------------------------------------------

    def _run(self) -> None:
        setup, alarm = self._setup, None
        try:
            alarm = WallAlarm(lambda name: self.wake(), setup.accepted.garden.site.zone_info)
            engine = self._new_engine(alarm)
            self._recover(engine)
            engine.restarts = starting(self._journal, self._clock, setup.stopped)
            engine.start()
            self._engine = engine
            self._ready.set()
            while not self._ending.requested:
                setup.health.alive("engine")
                self._one_round(engine)
                self._write_facts(engine)
            self._ending.shut.wait(SHUT_WITHIN_S)  # what ended, and when, is known only then
            engine.tick_last()
            ending(self._journal, self._ending.why)
        except LogbookError as fault:
            # What a crash left must be written down before anything opens; the next start tries.
            _LOG.error("the daemon cannot go on: %s", fault)
            self._ending.fail("the logbook does not take what must be in it")
        except Exception:  # noqa: BLE001 - the process must end, valves first
            _LOG.exception("the engine")
            self._ending.fail("the engine made a mistake")
            ending(self._journal, self._ending.why)
        finally:
            if alarm is not None:
                alarm.stop()
            self._journal.close()

    def _new_engine(self, alarm: WallAlarm) -> Engine:
        setup = self._setup
        overruled = Overruled(setup.folders.own)
        newest = overruled.unless_overruled(self._journal.newest_utc(), self._clock.now_utc())
        clock_trust = ClockTrust(
            self._clock,
            newest,
            overruled.keep,
            keeps_time=setup.accepted.garden.board.battery_clock,
        )
        watching = Watching(
            setup.inputs,
            setup.controls.openings,
            self._clock,
            bands=lambda garden: Bands(garden, setup.field_tests.fitted(garden)),
            write_rain=self._journal.rain_on_pin,
            past=Past(self._journal.flow_stretches, self._journal.keep_flow_stretch),
        )
        return Engine(
            setup.accepted,
            setup.garden_file,
            setup.controls,
            Surroundings(
                clock_trust=clock_trust,
                fetcher=ThreadFetcher(setup.weather, self._clock),
                alarm=alarm,
                post=self._inbox.put,
                watching=watching,
                pins=setup.pins,
                silent=setup.health.silent,
                board=lambda: look_at_board(setup.folders.state),
            ),
        )

    def _recover(self, engine: Engine) -> None:
        """Write down what a crash left unfinished, before anything opens."""
        setup = self._setup
        zones = setup.accepted.garden.zones
        found = recover(
            self._journal.unfinished(),
            boot_id=self._clock.boot_id(),
            stopped=setup.stopped,
            flow_l_s=engine.flow_or_nothing_l_s,
            stays_open={zone.name for zone in zones if zone.valve.close_line is not None},
        )
        write_down(found, self._journal)
        forget_shut_at(setup.folders.own / LINE_FILE)

    def _one_round(self, engine: Engine) -> None:
        wait = (engine.next_moment_utc() - self._clock.now_utc()).total_seconds()
        longest_s = REST_S if engine.at_rest else TICK_EVERY_S
        try:
            message = self._inbox.get(timeout=min(max(wait, 0.02), longest_s))
            message()
            while True:
                self._inbox.get_nowait()()
        except queue.Empty:
            pass
        engine.tick()
        if engine.planned_utc != self._planned_utc:
            self._planned_utc = engine.planned_utc
            give_back_memory()

    def _write_facts(self, engine: Engine) -> None:
        """Write a new page of facts now and then, where there is a health address."""
        if engine.accepted.garden.health.port is None:
            return
        if self.facts is None or self._clock.mono_s() - self.facts.at_mono_s >= FACTS_EVERY_S:
            self.facts = engine.facts()


def _close_first(engine: Engine, name: object) -> None:
    """Shut at once, in the caller's thread."""
    bank = engine.valve_set.bank
    if name is None:
        bank.close_all("a person closed it")
        return
    for zone in engine.accepted.garden.zones:
        if zone.name == name and zone.valve.relay_line is not None:
            try:
                fault_text = shut(bank, zone.valve.relay_line, "a person closed it")
            except ValveRefused as fault:
                fault_text = str(fault)
            if fault_text:
                _LOG.error("%s: %s", zone.name, fault_text)


def _nothing() -> None:
    """A message that only wakes."""
