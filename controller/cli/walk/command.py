"""walk: opens each line of a new installation for seconds; a person says what moved."""

from __future__ import annotations

import argparse
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path

from controller.cli.daemon_commands import runtime_dir
from controller.cli.loading import LOGBOOK_NAME, load_garden, named_state, system_clock
from controller.cli.output import to_stderr
from controller.cli.places import SYSTEM_STATE, need_garden
from controller.cli.walk.bench import Bench, Board, open_board
from controller.cli.walk.dialogue import Asking, AtTerminal, Person, Talk, WalkEnded
from controller.cli.walk.findings import (
    Finding,
    WalkRecord,
    findings,
    logbook_lines,
    relay_zones,
    sheet_text,
)
from controller.clock import Clock
from controller.daemon.control.protocol import ask
from controller.daemon.garden_reload import Accepted, accept
from controller.daemon.host.process import OneDaemon, Signals, make_folder
from controller.daemon.recovery import open_in_last_day
from controller.errors import DaemonError, InputError, LogbookError, RowgateError
from controller.garden.model import Garden, Zone
from controller.logbook.logbook import Logbook
from controller.units import l_from_m3

SYSTEM_OWN = Path("/var/lib/rowgate-daemon")
LEAST_OPEN_S, MOST_OPEN_S = 3.0, 120.0  # our choice
THREADS = True  # tests turn the hands of the clock themselves
_BEFORE = """\
Before anything opens
  1. Somebody stands at the tap and can shut it when you call.
  2. Nobody digs, drills or holds a wire; the relay board's cover is on.
  3. The daemon is stopped; it cannot start while you walk.
  4. You see the beds, or can call to somebody who does.
Each line opens for some seconds and shuts by itself, answered or not. Ctrl-C
shuts everything at once."""
_ALL_ON = """\
SHUT THE TAP. As this ends, every line goes to the other level, which puts these
relays out. See that every lamp is off before you open the tap again."""


def walk(args: argparse.Namespace) -> int:
    """Walk the lines of a garden; 0 if all were walked and are well, else 1."""
    need_garden(args, "the example has no board to walk along")
    loaded, clock = load_garden(args), system_clock()
    if not LEAST_OPEN_S <= args.seconds <= MOST_OPEN_S:
        raise InputError(
            f"--seconds {args.seconds:g}: allowed is {LEAST_OPEN_S:g} to {MOST_OPEN_S:g}"
        )
    zones = _zones(loaded.garden, args.zone)
    state = _state_dir(args)
    own = _own_dir(args, state)
    _refuse_beside_a_daemon(args, state)
    make_folder(own, 0o700 if own != state else 0o777)
    make_folder(state)
    with ExitStack() as locks:
        locks.enter_context(OneDaemon(own))
        if not own.samefile(state):
            locks.enter_context(OneDaemon(state))
        accepted = accept(loaded.garden, loaded.catalogue)
        return _Walk(args, accepted, zones, state, own, clock).run()


def a_board(kind: str, garden: Garden, clock: Clock, own: Path) -> Board:
    """The board; tests replace it."""
    return open_board(kind, garden.board.chip, clock, own)


def a_person(clock: Clock, look: Callable[[], None]) -> Person:
    """The person at the terminal; tests replace them."""
    return AtTerminal(sys.stdin, sys.stdout, clock, look)


class _Walk:
    """One walk, from the safety words to the sheet."""

    def __init__(
        self,
        args: argparse.Namespace,
        accepted: Accepted,
        zones: Sequence[Zone],
        state: Path,
        own: Path,
        clock: Clock,
    ) -> None:
        self._args, self._accepted, self._zones = args, accepted, zones
        self._garden, self._state, self._own = accepted.garden, state, own
        self._clock = clock
        self._bench: Bench | None = None
        self._record = WalkRecord(garden=accepted.garden, flow_l_s=self._flow_l_s)
        self._end_requested = False

    def run(self) -> int:
        """Talk, walk, shut everything, print the sheet, write down."""
        person = a_person(self._clock, self._look)
        with Signals(self._request_end), _NotSuspended():
            try:
                if not self._agreed(person):
                    return 1
                self._on_the_board(person)
            except WalkEnded as over:
                self._record.ended = str(over)
            except RowgateError as fault:
                self._record.ended = f"a fault: {fault}"
        found = findings(self._record)
        now = self._clock.now_utc().astimezone(self._garden.site.zone_info)
        print(sheet_text(self._record, found, when=f"{now:%Y-%m-%d %H:%M}"), end="", flush=True)
        written = self._write_down(found)
        all_well = all(t.well for t in self._record.tries) and not found and not self._record.ended
        return 0 if written and all_well else 1

    def _agreed(self, person: Person) -> bool:
        """Whether the person is ready; nothing has been touched yet."""
        person.say(_BEFORE)
        asking = Asking(person, ())
        if not asking.yes("Is somebody at the tap, and all of the above so?"):
            person.say("Nothing was opened. Begin again when all of it is so.")
            return False
        self._record.dry = not asking.yes(
            "Is the tap open? (If not, you are asked only for clicks and movements.)"
        )
        person.say(
            "Now every line is switched off. By the garden file, relays are on at "
            f"{'low' if self._garden.board.active_low else 'high'}.\n"
            "If all of them switch on instead: have the tap shut, and answer all."
        )
        return True

    def _on_the_board(self, person: Person) -> None:
        kind = self._args.pins or self._garden.board.pins
        board = a_board(kind, self._garden, self._clock, self._own)
        if board.kind == "mock":
            person.say("PRETENDED PINS (mock): no relay moves, no valve opens, no water runs.")
        self._bench = Bench(
            board,
            self._accepted,
            self._own,
            self._clock,
            self._open_before(),
            threads=THREADS,
        )
        with self._bench as bench:
            talk = Talk(
                self._record,
                self._zones,
                bench.bank,
                person,
                open_s=self._args.seconds,
                meter=bench.meter(person.say),
            )
            try:
                talk.walk()
            finally:
                bench.other_level = self._record.at_rest.all_on
        if self._record.at_rest.all_on:
            self._record.ended = "the relays switch on at the other level"
            person.say(_ALL_ON)

    def _look(self) -> None:
        if self._bench is not None:
            self._bench.look()

    def _request_end(self, why: str) -> None:
        # Once only: a second Ctrl-C must not break into the shutting.
        if not self._end_requested and not (self._bench is not None and self._bench.leaving):
            self._end_requested = True
            raise WalkEnded(why)

    def _flow_l_s(self, zone: str) -> float:
        flows = self._accepted.lines.open_set(frozenset((zone,))).zones
        return l_from_m3(flows[zone].flow_m3_s)

    def _open_before(self) -> dict[int, float]:
        """What counts against the day's limits; a logbook that does not answer stops nothing."""
        path, now = self._state / LOGBOOK_NAME, self._clock.now_utc()
        try:
            return open_in_last_day(path, self._garden, now)
        except LogbookError as fault:
            to_stderr(str(fault))
            return {}

    def _write_down(self, found: Sequence[Finding]) -> bool:
        if not self._record.tries and not found:
            return True
        rows = logbook_lines(self._record, found, who=self._args.who)
        try:
            with Logbook(self._state / LOGBOOK_NAME, self._clock) as logbook:
                for words, zone, line in rows:
                    logbook.happening("walk", words, zone, line)
        except LogbookError as fault:
            to_stderr(f"not written down: {fault}")
            return False
        return True


class _NotSuspended:
    """Ignores Ctrl-Z and background stops: they would stop the closer with a valve open."""

    def __enter__(self) -> None:
        self._before = {
            number: signal.signal(number, signal.SIG_IGN)
            for number in (signal.SIGTSTP, signal.SIGTTIN, signal.SIGTTOU)
            if threading.current_thread() is threading.main_thread()
        }

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)


def _zones(garden: Garden, wanted: Sequence[str] | None) -> list[Zone]:
    moved = relay_zones(garden)
    if not moved:
        raise InputError("this garden has no relay: only hand valves, which you walk by hand")
    names = [zone.name for zone in moved]
    for name in wanted or ():
        if name not in names:
            raise InputError(f"found zone {name!r}; with a relay there are: {', '.join(names)}")
    return [zone for zone in moved if not wanted or zone.name in wanted]


def _state_dir(args: argparse.Namespace) -> Path:
    """The daemon's state folder: the named one, the system's, or beside the garden file."""
    if (named := named_state(args)) is not None:
        return named
    return SYSTEM_STATE if SYSTEM_STATE.is_dir() else Path(args.garden).parent


def _own_dir(args: argparse.Namespace, state: Path) -> Path:
    """The folder only the daemon may write: the named one, the system's, or its state."""
    if args.own:
        return Path(args.own)
    is_system = state.resolve() == SYSTEM_STATE.resolve() and SYSTEM_OWN.is_dir()
    return SYSTEM_OWN if is_system else state


def _refuse_beside_a_daemon(args: argparse.Namespace, state: Path) -> None:
    """Refuse beside a daemon: on another folder it holds the same pins, and no lock shows it."""
    try:
        ask(runtime_dir(args, state), {"ask": "status"})
    except DaemonError:
        return
    raise DaemonError("a daemon runs here; stop it first, as in: systemctl stop rowgate")
