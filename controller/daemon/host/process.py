"""The process: its end, signals, log and folders, and its messages to the service manager.

The state folder holds the logbook, and people of a group may write there. What decides which pins
are driven, and by which garden, lies in a folder of the daemon's own. On a desktop computer both
are one.

The messages are: ready, alive, stopping. "Alive" is sent only while every part that
matters has moved lately; silence makes the manager stop the process, and its stop step closes every
line.
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import logging
import os
import signal
import socket
import stat
import sys
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from queue import Empty, SimpleQueue
from types import FrameType
from typing import Any, Self

from controller.clock import Clock
from controller.daemon.host.clock_trust import OVERRULED_NAME
from controller.errors import DaemonError


class Ending:
    """Whether the process is to end, why, and with which exit code; any thread may request it.

    So may a signal, whatever line the main thread is at: an Event has a lock, and a thread that
    holds it would wait for itself. A SimpleQueue can be put into at any moment.
    """

    def __init__(self) -> None:
        self.requested = False
        self.shut = threading.Event()  # the valves have been driven shut for the last time
        self.why = "the daemon ends"
        self.exit_code = 0
        self._wakes: SimpleQueue[None] = SimpleQueue()

    def wake_main(self) -> None:
        """Make the main thread look now."""
        self._wakes.put(None)

    def rest(self, at_most_s: float) -> None:
        """Wait until a wake, or one since the last rest, or for so long at most."""
        with contextlib.suppress(Empty):
            self._wakes.get(timeout=at_most_s)
            while True:
                self._wakes.get_nowait()

    def request(self, why: str) -> None:
        """End the process, for this reason."""
        self.why = why
        self.requested = True
        self.wake_main()

    def fail(self, why: str) -> None:
        """End the process with exit code 1."""
        self.exit_code = 1
        self.request(why)


class Signals:
    """SIGTERM, SIGINT and SIGHUP end the daemon, in the main thread, the only place for signals."""

    def __init__(self, end: Callable[[str], None]) -> None:
        self._end = end
        self._before: dict[int, Any] = {}

    def __enter__(self) -> None:
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
                self._before[number] = signal.signal(number, self._came)

    def __exit__(self, *_: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _came(self, number: int, frame: FrameType | None) -> None:
        self._end(f"ended by {signal.Signals(number).name}")


def give_back_memory() -> None:
    """Give the memory of a plan back to the system, where the C library can (glibc)."""
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)


def log_to_stderr() -> None:
    """Log to stderr, in UTC, unless somebody set up logging already."""
    root = logging.getLogger()
    if not root.handlers:
        handler = logging.StreamHandler(sys.stderr)
        line = logging.Formatter("%(asctime)sZ %(levelname)s %(name)s: %(message)s")
        line.converter = time.gmtime
        handler.setFormatter(line)
        root.addHandler(handler)
        root.setLevel(logging.INFO)
        logging.getLogger("apscheduler").setLevel(logging.WARNING)


WEATHER_CACHE = "weather-cache"
_LOG = logging.getLogger("rowgate")


def make_folder(folder: Path, mode: int = 0o777) -> None:
    """Make a folder where there is none; DaemonError where it cannot be had."""
    try:
        folder.mkdir(mode, parents=True, exist_ok=True)
    except OSError as fault:
        raise DaemonError(f"{folder} cannot be made: {fault.strerror or fault}") from fault


def warn_of_others(own: Path) -> None:
    """Warn where others could replace the file that the stop step believes."""
    if stat.S_IMODE(own.stat().st_mode) & (stat.S_IWGRP | stat.S_IWOTH):
        _LOG.warning(
            "%s: others may write in this folder, so they may remove the list of lines that the "
            "stop step drives off; --own names a folder for the daemon alone",
            own,
        )


def leave_to_others(state: Path, own: Path, names: Iterable[str]) -> None:
    """Remove from the state folder what an older Rowgate kept there and now keeps in our own
    folder.

    None of it is read: everybody who may write a note could have written it. People's own `plan`
    keeps its weather there.
    """
    if state.samefile(own):
        return
    for name in (*names, OVERRULED_NAME, "daemon.lock"):
        with contextlib.suppress(OSError):
            (state / name).unlink()
            _LOG.info("%s: removed; it lies in %s now", state / name, own)
    with contextlib.suppress(OSError):
        (state / WEATHER_CACHE).mkdir()


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """Where the daemon keeps its files."""

    state: Path  # the logbook, and what people may write as well
    runtime: Path  # the control socket
    own: Path  # what nobody but the daemon may write


class OneDaemon:
    """The lock on a folder; the kernel lets it go when the process ends, however it ends.

    The folder itself is locked, and no file in it: a file could be deleted, and locked anew by
    another daemon.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file: int | None = None

    def __enter__(self) -> Self:
        try:
            self._file = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        except OSError as fault:
            raise DaemonError(f"{self._folder}: {fault.strerror or fault}") from fault
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            self.__exit__()
            raise DaemonError(
                f"a daemon runs on {self._folder} already; there can be only one"
            ) from fault
        return self

    def holds(self) -> bool:
        """Whether we hold the lock of the folder; lock it now if it was made anew."""
        try:
            there = self._folder.stat()
        except OSError:
            return False
        if self._file is None or os.path.samestat(there, os.fstat(self._file)):
            return self._file is not None
        fresh = OneDaemon(self._folder)
        try:
            fresh.__enter__()
        except DaemonError:
            return False
        self.__exit__()
        self._file = fresh._file
        return True

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            os.close(self._file)
            self._file = None


LOGBOOK_EVERY_S = 30.0  # between two questions to the logbook's writer; our choice
LOGBOOK_ANSWERS_S = 10.0  # how long one may take; longer than a lock is waited for; our choice
WATCHDOG_EVERY_S = 5.0  # the unit file allows 30 s of silence
_HEALTH_LOG = logging.getLogger("rowgate.health")


def sd_notify(words: str, environ: Mapping[str, str] = os.environ) -> bool:
    """Send one message to the service manager; False where none listens.

    Source
    ------
    sd_notify(3): a datagram to the socket named in NOTIFY_SOCKET, a leading @ for an abstract one.
    """
    address = environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.sendto(words.encode(), address)
    except OSError as fault:
        _HEALTH_LOG.warning("the service manager does not listen: %s", fault)
        return False
    return True


class LogbookBeat:
    """Asks the logbook's writer for an answer now and then, in a thread that may wait for it.

    An error is an answer: a full or locked disk must not make the manager kill the daemon again and
    again. Only a writer that does not come back at all is silent.
    """

    def __init__(self, answers: Callable[[float], bool], moved: Callable[[], None]) -> None:
        self._answers, self._moved = answers, moved
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="logbook beat", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self) -> None:
        """Stop asking."""
        self._ending.set()

    def round(self) -> None:
        """Ask once."""
        if self._answers(LOGBOOK_ANSWERS_S):
            self._moved()

    def _run(self) -> None:
        while not self._ending.wait(LOGBOOK_EVERY_S):
            self.round()


class Health:
    """When each part last moved, on the monotonic clock; names those silent for too long."""

    def __init__(self, clock: Clock, longest_silence_s: Mapping[str, float]) -> None:
        self._clock, self._allowed_s = clock, dict(longest_silence_s)
        self._lock = threading.Lock()
        now = clock.mono_s()
        self._moved = dict.fromkeys(self._allowed_s, now)
        self._sent_mono_s = float("-inf")

    def alive(self, who: str, at_mono_s: float | None = None) -> None:
        """Note that a part is alive now, or was at the moment given."""
        with self._lock:
            self._moved[who] = self._clock.mono_s() if at_mono_s is None else at_mono_s

    def silent(self) -> tuple[str, ...]:
        """The parts that have not moved for longer than allowed."""
        now = self._clock.mono_s()
        with self._lock:
            return tuple(
                sorted(w for w, limit in self._allowed_s.items() if now - self._moved[w] > limit)
            )

    def send_alive(self, environ: Mapping[str, str] = os.environ) -> tuple[str, ...]:
        """Send "alive" every few seconds at most, unless a part is silent: returns which."""
        silent, now = self.silent(), self._clock.mono_s()
        if not silent and now - self._sent_mono_s >= WATCHDOG_EVERY_S:
            self._sent_mono_s = now
            sd_notify("WATCHDOG=1", environ)
        return silent
