"""The daemon's end of the control socket: one thread for all clients, and one for closing.

No thread is started for a client, so a lack of threads stops nobody. Each client has a time limit
for a whole request, each user a number of places, and the oldest client makes room for a new one.
Closing has a thread of its own that waits for no other request. A request that does not begin in
time is called off: an answer that says "nothing was done" stays true.
"""

from __future__ import annotations

import contextlib
import errno
import json
import logging
import select
import socket
import threading
from collections import deque
from collections.abc import Callable, Mapping
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from controller.clock import Clock
from controller.daemon.control.protocol import (
    BUSY,
    LONGEST_LINE,
    NOT_SHUT_YET,
    ONLY_CLOSE,
    REQUEST_WITHIN_S,
    SHUT_BUT_BUSY,
    SOCKET_NAME,
    TOO_MANY,
    TOO_SLOW,
    UNDER_WAY,
    SpareFile,
    as_line,
    is_at,
    is_gone,
    listen,
    refusal,
    user_of,
)
from controller.errors import DaemonError, RowgateError

# All of these are our choice.
CLIENTS = 64  # at once
CLIENTS_A_USER = 16  # of them
WAITING_A_USER = 8  # requests at once, closing not counted
ANSWERED_WITHIN_S = 15.0  # less than a caller waits
LOOK_EVERY_S = 5.0  # whether the socket's name is still there
LAST_PLACE_WITHIN_S = 1.0  # in the last place: so long may a `close` be kept out
CLOSING_WITHIN_S = 10.0  # one closing; for longer, and the socket's pulse stops
_PAUSE_S = 0.5  # before going on after an error
MOST_LOGGED = 200  # letters of a request; a whole one may have 64 kB
_NO_FILE = (errno.EMFILE, errno.ENFILE)
_GONE = select.POLLHUP | select.POLLERR | select.POLLNVAL
_LOG = logging.getLogger("rowgate.control")

Request = dict[str, Any]
Answer = Callable[[Request], Future[Mapping[str, Any]]]


@dataclass(eq=False, slots=True)
class _Asked:
    """One request that waits for its answer."""

    request: Request
    closing: bool  # it is a `close`
    shut: bool = False  # its valves were driven shut
    reply: Future[Mapping[str, Any]] | None = None


@dataclass(eq=False, slots=True)
class _Client:
    """A client: it sends a request, waits for the answer, and reads it."""

    line: socket.socket
    uid: int
    since_mono_s: float  # what it does now began
    text: bytearray = field(default_factory=bytearray)
    out: bytes = b""
    asked: _Asked | None = None
    last: bool = False  # nothing more is read from it
    in_last_place: bool = False
    draining: bool = False


class ControlServer:
    """Listens on the socket until it is stopped.

    `answer` returns a future of the answer at once; cancelling it calls the request off, unless it
    has begun. `close_first` shuts valves, in the closing thread, before a `close` goes to `answer`.
    `beat` is called while the socket is alive, and is not called while a round or a closing hangs.
    `may_listen` says whether the folder is still ours.
    """

    def __init__(
        self,
        runtime_dir: Path,
        answer: Answer,
        *,
        clock: Clock,
        close_first: Callable[[Request], None],
        beat: Callable[[], None] = lambda: None,
        may_listen: Callable[[], bool] = lambda: True,
    ) -> None:
        self._path, self._answer, self._clock = runtime_dir / SOCKET_NAME, answer, clock
        self._close_first, self._beat, self._may_listen = close_first, beat, may_listen
        self._ended = threading.Event()
        self._clients: dict[int, _Client] = {}
        self._finished: deque[tuple[_Client, _Asked]] = deque()
        self._closing: SimpleQueue[tuple[_Client, _Asked] | None] = SimpleQueue()
        self._closing_since: float | None = None
        self._poll = select.poll()
        self._listening: socket.socket | None = None
        self._accept_from_mono_s = self._looked_mono_s = clock.mono_s()
        self._logged = ""
        self._mistakes = 0
        self._spare = SpareFile()
        self._socket, self._ours = listen(self._path)
        self._wakes, self._waker = socket.socketpair()
        for end in (self._wakes, self._waker):
            end.setblocking(False)
        self._poll.register(self._wakes, select.POLLIN)
        self._threads = [
            threading.Thread(target=self._run, name="control", daemon=True),
            threading.Thread(target=self._run_closing, name="control close", daemon=True),
        ]
        try:
            for thread in self._threads:
                thread.start()
        except RuntimeError as fault:
            self.stop()
            raise DaemonError(f"cannot listen on {self._path}: {fault}") from fault
        self._beat()

    def stop(self) -> None:
        """Close the socket; call off what waits for an answer and has not begun."""
        self._ended.set()
        self._closing.put(None)
        self.wake()
        if self._threads[0].is_alive():
            self._threads[0].join(2.0)
        else:
            self._end()

    # --- the lane ----------------------------------------------------------------------------

    def _run_closing(self) -> None:
        while (job := self._closing.get()) is not None:
            client, asked = job
            self._closing_since = self._clock.mono_s()
            try:
                self._close_first(asked.request)
                asked.shut = True
            except Exception:  # noqa: BLE001 - the lane outlives a mistake; the engine shuts, too
                _LOG.exception("closing at once")
            self._closing_since = None
            self._ask(client, asked)

    def _ask(self, client: _Client, asked: _Asked) -> None:
        """Pass a request on; its result comes back to the socket's own thread."""
        try:
            reply = self._answer(asked.request)
        except Exception as fault:  # noqa: BLE001 - answered like any other
            reply = Future()
            reply.set_exception(fault)
        asked.reply = reply

        def done(_: object) -> None:
            self._finished.append((client, asked))
            self.wake()

        reply.add_done_callback(done)

    def wake(self) -> None:
        """Make the socket's thread look now; a beat shows that it lives."""
        # A full bell rings already; one that is gone has nobody to wake.
        with contextlib.suppress(OSError):
            self._waker.send(b"x")

    # --- the socket's own thread -------------------------------------------------------------

    def _run(self) -> None:
        while not self._ended.is_set():
            try:
                self._round()
            except Exception:  # noqa: BLE001 - the socket outlives a mistake of ours
                _LOG.exception("the control socket")
                self._ended.wait(_PAUSE_S)
                continue
            began = self._closing_since
            if began is None or self._clock.mono_s() - began < CLOSING_WITHIN_S:
                self._beat()
        self._end()

    def _end(self) -> None:
        for client in list(self._clients.values()):
            self._drop(client)
        if is_at(self._path, self._ours):
            self._path.unlink(missing_ok=True)
        for held in (self._socket, self._wakes, self._waker):
            held.close()
        self._spare.give_up()

    def _round(self) -> None:
        self._listen_again()
        self._spare.keep()
        if self._listening is None and self._clock.mono_s() >= self._accept_from_mono_s:
            self._listening = self._socket
            self._poll.register(self._listening, select.POLLIN)
        for number, event in self._poll.poll(1000.0 * self._wait_s()):
            if number == self._wakes.fileno():
                with contextlib.suppress(BlockingIOError):
                    self._wakes.recv(4096)
            elif self._listening is not None and number == self._listening.fileno():
                self._accept()
            elif (client := self._clients.get(number)) is not None:
                self._guarded(client, partial(self._serve, client, event))
        while self._finished:
            client, asked = self._finished.popleft()
            self._guarded(client, partial(self._send_reply, client, asked))
        now = self._clock.mono_s()
        for client in list(self._clients.values()):
            if now >= self._ends_mono_s(client):
                self._guarded(client, partial(self._too_late, client))

    def _guarded(self, client: _Client, work: Callable[[], None]) -> None:
        """Serve one client; if it goes away, or we make a mistake, no other client suffers."""
        try:
            work()
        except OSError as fault:
            _LOG.debug("a talker went away: %s", fault)
            self._drop(client)
        except Exception:  # noqa: BLE001 - only this one is let go
            _LOG.exception("the control socket, over one who asked")
            self._drop(client)

    def _wait_s(self) -> float:
        ends = [self._ends_mono_s(client) for client in self._clients.values()]
        if self._listening is None:
            ends.append(self._accept_from_mono_s)
        now = self._clock.mono_s()
        return min(max(min(ends, default=now + LOOK_EVERY_S) - now, 0.01), LOOK_EVERY_S)

    def _ends_mono_s(self, client: _Client) -> float:
        within_s = REQUEST_WITHIN_S if client.asked is None else ANSWERED_WITHIN_S
        if client.in_last_place and client.asked is None:
            within_s = LAST_PLACE_WITHIN_S
        return client.since_mono_s + within_s

    # --- who comes in ------------------------------------------------------------------------

    def _stop_accepting(self) -> None:
        if self._listening is not None:
            self._poll.unregister(self._listening)
            self._listening = None

    def _accept(self) -> None:
        try:
            line = self._accepted()
        except (BlockingIOError, ConnectionAbortedError):
            return
        except OSError as fault:
            self._stop_accepting()
            self._accept_from_mono_s = self._clock.mono_s() + _PAUSE_S
            self._warn(f"the control socket: {fault}")
            return
        in_last_place = not self._keep_spare()
        if in_last_place:
            self._stop_accepting()  # until this one has gone
            self._accept_from_mono_s = self._clock.mono_s() + ANSWERED_WITHIN_S
            self._warn(f"the control socket: {ONLY_CLOSE}")
        else:
            self._logged = ""
        try:
            line.setblocking(False)
            uid = user_of(line)
            self._make_room(uid)
            self._poll.register(line, select.POLLIN)
        except OSError as fault:
            line.close()
            self._accept_from_mono_s = self._clock.mono_s()
            _LOG.debug("a talker went away: %s", fault)
            return
        now = self._clock.mono_s()
        client = _Client(line=line, uid=uid, since_mono_s=now, in_last_place=in_last_place)
        self._clients[line.fileno()] = client
        self._guarded(client, partial(self._read, client))  # most send at once

    def _accepted(self) -> socket.socket:
        """The next client in the queue, by the spare descriptor where no other can be opened."""
        try:
            return self._socket.accept()[0]
        except OSError as fault:
            if fault.errno not in _NO_FILE or not self._spare.give_up():
                raise
        return self._socket.accept()[0]

    def _keep_spare(self) -> bool:
        """Keep the spare descriptor again, if need be by dropping a client without a request."""
        while not self._spare.keep():
            idle = [t for t in self._clients.values() if t.asked is None]
            if not idle:
                return False
            self._turn_away(min(idle, key=lambda t: t.since_mono_s), TOO_MANY)
        return True

    def _make_room(self, uid: int) -> None:
        """Drop this user's oldest client if its places are full, else that of the busiest user."""
        everybody = list(self._clients.values())
        theirs = [t for t in everybody if t.uid == uid]
        if len(theirs) < CLIENTS_A_USER:
            if len(everybody) < CLIENTS:
                return
            users = [t.uid for t in everybody]
            most = max(users, key=users.count)
            theirs = [t for t in everybody if t.uid == most]

        def keeps(client: _Client) -> tuple[bool, float]:
            # What waits is kept longest: it would be called off. Of a `close` only words are lost.
            waits = client.asked is not None and not client.asked.closing
            return waits, client.since_mono_s

        self._turn_away(min(theirs, key=keeps), TOO_MANY)

    def _turn_away(self, client: _Client, message: str) -> None:
        with contextlib.suppress(OSError):
            client.line.send(as_line(refusal(message)))
        self._drop(client)

    def _drop(self, client: _Client) -> None:
        """Drop a client. Its request is called off if it has not begun; a `close` stands."""
        number = client.line.fileno()
        if self._clients.pop(number, None) is None:
            return
        self._poll.unregister(number)
        client.line.close()
        if self._spare.keep() and client.in_last_place:
            self._accept_from_mono_s = self._clock.mono_s()
        asked, client.asked = client.asked, None
        if asked is not None and asked.reply is not None and not asked.closing:
            asked.reply.cancel()

    # --- a request ---------------------------------------------------------------------------

    def _serve(self, client: _Client, event: int) -> None:
        if client.asked is not None:
            if event & _GONE:
                self._drop(client)
        elif client.out:
            self._write(client)
        elif event & select.POLLOUT:
            self._look_for_line(client)  # it sent the next before it had its answer
        else:
            self._read(client)

    def _read(self, client: _Client) -> None:
        try:
            more = client.line.recv(LONGEST_LINE)
        except BlockingIOError:
            return
        if not more:
            self._drop(client)
        elif not client.draining:
            client.text += more
            self._look_for_line(client)

    def _look_for_line(self, client: _Client) -> None:
        end = client.text.find(b"\n")
        if max(end, len(client.text) if end < 0 else 0) > LONGEST_LINE:
            client.last = True  # the rest of that line is not worth reading
            self._send(client, refusal(f"the request is longer than {LONGEST_LINE} bytes"))
        elif end >= 0:
            text = bytes(client.text[:end])
            del client.text[: end + 1]
            self._take(client, text)

    def _take(self, client: _Client, text: bytes) -> None:
        try:
            request = json.loads(text)
        except (ValueError, RecursionError):
            self._send(client, refusal("the request is not JSON; one object a line is wanted"))
            return
        if not isinstance(request, dict):
            message = 'the request is not an object, as in {"ask": "status"}'
            self._send(client, refusal(message))
            return
        closing = request.get("ask") == "close"
        if client.in_last_place and not closing:
            client.last = True
            self._send(client, refusal(ONLY_CLOSE))
            return
        if not closing and self._waiting(client.uid) >= WAITING_A_USER:
            self._send(client, refusal(BUSY))
            return
        asked = client.asked = _Asked(request, closing)
        client.since_mono_s = self._clock.mono_s()
        self._poll.modify(client.line, 0)  # a caller that goes away shows all the same
        if closing:
            self._closing.put((client, asked))
        elif is_gone(client.line):
            self._drop(client)  # nobody is there to hear what came of it
        else:
            self._ask(client, asked)

    def _waiting(self, uid: int) -> int:
        asked = [t.asked for t in self._clients.values() if t.uid == uid]
        return sum(a is not None and not a.closing for a in asked)

    def _send_reply(self, client: _Client, asked: _Asked) -> None:
        if client.asked is not asked or asked.reply is None:
            return  # it has the answer that it takes too long, or went away
        try:
            reply = asked.reply.result()
        except RowgateError as fault:
            reply = refusal(str(fault))
        except CancelledError:
            reply = refusal(BUSY)
        except Exception:  # noqa: BLE001 - the server outlives a mistake of ours
            self._mistakes += 1
            if self._mistakes <= 10 or self._mistakes & (self._mistakes - 1) == 0:
                # Whoever asks the same again and again does not fill the disk with it.
                shown = f"{asked.request!r:.{MOST_LOGGED}}"
                _LOG.exception("mistake %d over a request: %s", self._mistakes, shown)
            reply = refusal("the daemon made a mistake over this; its log says more")
        self._send(client, reply)

    def _too_late(self, client: _Client) -> None:
        """What got the answer "nothing was done" is never done later; a `close` always is."""
        asked = client.asked
        if client.out or client.draining:
            self._drop(client)
        elif asked is None:
            self._turn_away(client, TOO_SLOW)
        elif asked.closing:
            self._send(client, refusal(SHUT_BUT_BUSY if asked.shut else NOT_SHUT_YET))
        elif asked.reply is None or asked.reply.cancel():
            self._send(client, refusal(BUSY))
        elif not asked.reply.done():
            self._send(client, refusal(UNDER_WAY))
        # Otherwise it was answered this moment, and the answer is sent in the next round.

    def _send(self, client: _Client, reply: Mapping[str, Any]) -> None:
        client.asked = None
        client.out = as_line(reply)
        client.since_mono_s = self._clock.mono_s()
        self._poll.modify(client.line, select.POLLOUT)
        self._write(client)

    def _write(self, client: _Client) -> None:
        with contextlib.suppress(BlockingIOError):
            client.out = client.out[client.line.send(client.out) :]
        if client.out:
            return
        client.since_mono_s = self._clock.mono_s()
        more = b"\n" in client.text and not client.last
        self._poll.modify(client.line, select.POLLOUT if more else select.POLLIN)
        if client.last:
            client.draining = True  # closing on what was not read would lose the answer
            client.line.shutdown(socket.SHUT_WR)

    # --- the socket's name -------------------------------------------------------------------

    def _listen_again(self) -> None:
        """Listen anew if somebody removed the socket, or its folder, and put it back."""
        now = self._clock.mono_s()
        if now - self._looked_mono_s < LOOK_EVERY_S:
            return
        self._looked_mono_s = now
        if is_at(self._path, self._ours) or not self._path.parent.is_dir():
            return
        if not self._may_listen():
            self._warn("the control socket was taken away, and another daemon has its folder")
            return
        try:
            fresh = listen(self._path)
        except DaemonError as fault:
            self._warn(f"the control socket is gone, and {fault}")
            return
        self._stop_accepting()
        self._socket.close()
        self._socket, self._ours = fresh
        self._logged = ""
        _LOG.warning("the control socket was taken away; it is there again")

    def _warn(self, message: str) -> None:
        """Warn once, until it is over."""
        if message != self._logged:
            _LOG.warning("%s", message)
            self._logged = message
