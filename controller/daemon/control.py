"""Talking to the running daemon: one JSON object a line, each way, over a local socket.

The socket's folder and mode decide who may speak. Nothing that comes in can hurt the server: what
does not read gets an answer that says so.
"""

from __future__ import annotations

import contextlib
import json
import logging
import socket
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from controller.errors import DaemonError, RowgateError

SOCKET_NAME = "rowgate.sock"
LONGEST_LINE = 64 * 1024
TALKERS = 8  # at once; more wait in the kernel's queue
SILENCE_S = 30.0  # a talker that says nothing is let go
ANSWER_WITHIN_S = 20.0
LOOK_EVERY_S = 5.0  # whether the socket's name is still there
# What a person may ask for at least: a relay that only clicks waters nothing; our choice.
SHORTEST_OPEN_S = 1.0
SHORTEST_HOLD_S = 60.0
MOST_LOGGED = 200  # letters of a request; a whole one may have 64 kB
_QUEUE = 64
_AGAIN_S = 0.05
_LOG = logging.getLogger("rowgate.control")

Answer = Callable[[dict[str, Any]], Mapping[str, Any]]


def ask(
    runtime_dir: Path, request: Mapping[str, Any], *, within_s: float = ANSWER_WITHIN_S
) -> dict[str, Any]:
    """Put one request to the daemon and return its answer.

    Raises
    ------
    DaemonError
        If no daemon answers, or what it answers does not read.
    """
    path = runtime_dir / SOCKET_NAME
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(within_s)
            _connect(line, path, within_s)
            line.sendall(json.dumps(request).encode() + b"\n")
            with line.makefile("rb") as reader:
                text = reader.readline()
    except TimeoutError as fault:
        raise DaemonError(f"the daemon does not answer within {within_s:g} s on {path}") from fault
    except OSError as fault:
        raise DaemonError(f"no daemon runs here (no answer on {path})") from fault
    try:
        answer = json.loads(text)
    except ValueError as fault:
        raise DaemonError(f"the daemon on {path} broke off in mid-answer") from fault
    if not isinstance(answer, dict):
        raise DaemonError(f"the daemon on {path} gave an answer that does not read")
    return answer


class ControlServer:
    """Listens on the socket; every request goes to `answer`, whatever thread it came in on."""

    def __init__(self, runtime_dir: Path, answer: Answer) -> None:
        self._path, self._answer = runtime_dir / SOCKET_NAME, answer
        self._slots = threading.BoundedSemaphore(TALKERS)
        self._ended = threading.Event()
        self._mistakes = 0
        self._socket = _listening(self._path)
        self._thread = threading.Thread(target=self._accept, name="control", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Take the socket away; talkers under way end with the process."""
        self._ended.set()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        self._path.unlink(missing_ok=True)

    def _accept(self) -> None:
        while not self._ended.is_set():
            self._slots.acquire()
            try:
                talker, _ = self._socket.accept()
            except TimeoutError:
                self._slots.release()
                self._be_there()
                continue
            except OSError as fault:
                self._slots.release()
                if self._ended.is_set():
                    return
                _LOG.warning("the control socket: %s", fault)
                self._ended.wait(1.0)
                continue
            threading.Thread(
                target=self._talk, args=(talker,), name="control talk", daemon=True
            ).start()

    def _be_there(self) -> None:
        """Listen anew where somebody took the socket's name away, or its folder and put it back."""
        if self._path.exists() or not self._path.parent.is_dir() or self._ended.is_set():
            return
        try:
            fresh = _listening(self._path)
        except DaemonError as fault:
            _LOG.warning("the control socket is gone, and %s", fault)
            return
        self._socket.close()
        self._socket = fresh
        _LOG.warning("the control socket was taken away; it is there again")
        if self._ended.is_set():  # in the meantime
            self.stop()

    def _talk(self, talker: socket.socket) -> None:
        try:
            with talker, talker.makefile("rwb") as line:
                talker.settimeout(SILENCE_S)
                while True:
                    text = line.readline(LONGEST_LINE + 1)
                    if not text:
                        return
                    line.write(json.dumps(self._answered(text)).encode() + b"\n")
                    line.flush()
                    if len(text) > LONGEST_LINE:
                        return  # the rest of that line is not worth reading
        except OSError as fault:
            _LOG.debug("a talker went away: %s", fault)
        finally:
            self._slots.release()

    def _answered(self, text: bytes) -> Mapping[str, Any]:
        if len(text) > LONGEST_LINE:
            return refusal(f"the request is longer than {LONGEST_LINE} bytes")
        try:
            request = json.loads(text)
        except (ValueError, RecursionError):
            return refusal("the request is not JSON; one object a line is wanted")
        if not isinstance(request, dict):
            return refusal('the request is not an object, as in {"ask": "status"}')
        try:
            return self._answer(request)
        except RowgateError as fault:
            return refusal(str(fault))
        except Exception:  # noqa: BLE001 - the server's own thread
            # The server outlives a mistake of ours; the log gets all of it.
            self._mistakes += 1
            if self._mistakes <= 10 or self._mistakes & (self._mistakes - 1) == 0:
                # Whoever asks the same again and again does not fill the disk with it.
                words = f"{request!r:.{MOST_LOGGED}}"
                _LOG.exception("mistake %d over a request: %s", self._mistakes, words)
            return refusal("the daemon made a mistake over this; its log says more")


def _connect(line: socket.socket, path: Path, within_s: float) -> None:
    """Connect; with a full queue of askers the kernel says "again" at once, so wait and try."""
    for _ in range(int(within_s / _AGAIN_S)):
        try:
            line.connect(str(path))
        except BlockingIOError:
            time.sleep(_AGAIN_S)
        else:
            return
    raise TimeoutError


def refusal(words: str) -> dict[str, Any]:
    """The answer that says no, and why."""
    return {"ok": False, "words": words}


def _listening(path: Path) -> socket.socket:
    """Our socket, in place of one a dead daemon left (the caller holds the lock)."""
    try:
        path.unlink(missing_ok=True)
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            listening.bind(str(path))
            path.chmod(0o660)
            listening.listen(_QUEUE)
            listening.settimeout(LOOK_EVERY_S)
        except OSError:
            listening.close()
            raise
    except OSError as fault:
        raise DaemonError(f"cannot listen on {path}: {fault}") from fault
    return listening
