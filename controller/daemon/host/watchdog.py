"""Messages to the service manager: ready, alive, stopping.

"Alive" is sent only while every part that matters has moved lately; silence makes the manager stop
the process, and its stop step closes every line.
"""

from __future__ import annotations

import logging
import os
import socket
import threading
from collections.abc import Callable, Mapping

from controller.clock import Clock

LOGBOOK_EVERY_S = 30.0  # between two questions to the logbook's writer; our choice
LOGBOOK_ANSWERS_S = 10.0  # how long one may take; longer than a lock is waited for; our choice
WATCHDOG_EVERY_S = 5.0  # the unit file allows 30 s of silence
_LOG = logging.getLogger("rowgate.health")


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
        _LOG.warning("the service manager does not listen: %s", fault)
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
