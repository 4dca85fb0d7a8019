"""The socket: bad input gets an answer, slow askers keep nobody out, closing gets through."""

from __future__ import annotations

import contextlib
import json
import socket
import stat
import threading
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.until import until as _until

from controller.daemon.control import protocol
from controller.daemon.control import server as controlserver
from controller.daemon.control.protocol import (
    BUSY,
    LONGEST_LINE,
    NOT_SHUT_YET,
    REQUEST_WITHIN_S,
    SHUT_BUT_BUSY,
    SOCKET_NAME,
    TOO_MANY,
    TOO_SLOW,
    UNDER_WAY,
    _connect,
    ask,
)
from controller.daemon.control.server import (
    ANSWERED_WITHIN_S,
    CLIENTS,
    CLIENTS_A_USER,
    WAITING_A_USER,
    ControlServer,
)
from controller.errors import DaemonError, ValveRefused

Reply = Future[Mapping[str, Any]]


def _answer(request: dict[str, Any]) -> Reply:
    if request.get("ask") == "refuse":
        raise ValveRefused("no water today")
    reply: Reply = Future()
    if request.get("ask") == "break":
        reply.set_exception(ZeroDivisionError())
    else:
        reply.set_result({"ok": True, "echo": request})
    return reply


def _server(folder: Path, clock: HandClock | None = None) -> ControlServer:
    return ControlServer(folder, _answer, clock=clock or HandClock(), close_first=lambda _: None)


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    server = _server(tmp_path)
    yield tmp_path
    server.stop()


class Desk:
    """A server whose answers and time are in the test's hand."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.clock = folder, HandClock()
        self.replies: list[Reply] = []
        self.shut: list[Any] = []
        self.hangs: threading.Event | None = None  # a closing waits for it
        self.beats = 0
        self._open = ExitStack()
        self.server = ControlServer(
            folder, self._reply, clock=self.clock, close_first=self._shut, beat=self._beat
        )

    def _reply(self, request: dict[str, Any]) -> Reply:
        self.replies.append(Future())
        return self.replies[-1]

    def _shut(self, request: Mapping[str, Any]) -> None:
        if self.hangs is not None:
            self.hangs.wait(120.0)
        self.shut.append(request.get("zone"))

    def _beat(self) -> None:
        self.beats += 1

    def come(self, text: bytes = b"") -> socket.socket:
        line = self._open.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
        line.settimeout(30.0)
        _connect(line, self.folder / SOCKET_NAME, 30.0)  # the queue may be full for a moment
        with suppress(ConnectionError):  # turned away already
            line.sendall(text)
        return line

    def asks(self, what: str, **more: Any) -> socket.socket:
        """Ask, and wait until it has been handed on."""
        before = len(self.replies)
        line = self.come(json.dumps({"ask": what, **more}).encode() + b"\n")
        if self.hangs is None:
            _until(lambda: len(self.replies) > before)
        return line

    def passes(self, seconds: float) -> None:
        self.clock.advance(seconds)
        self.server.wake()

    def looks(self) -> None:
        """Wait until the server has looked at everything once more."""
        for _ in range(2):  # the first may have begun before
            beats = self.beats
            self.server.wake()
            _until(lambda before=beats: self.beats > before)  # type: ignore[misc]

    def close(self) -> None:
        self._open.close()
        self.server.stop()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    made = Desk(tmp_path)
    yield made
    made.close()


def _heard(line: socket.socket) -> dict[str, Any]:
    """The next answer, without reading past it."""
    text = b""
    while not text.endswith(b"\n"):
        more = line.recv(1)
        assert more, f"broke off after {text!r}"
        text += more
    found: dict[str, Any] = json.loads(text)
    return found


def _words(line: socket.socket) -> str:
    said = _heard(line)
    assert said["ok"] is False
    return str(said["words"])


def _send(folder: Path, *lines: bytes) -> list[dict[str, Any]]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(5.0)
        line.connect(str(folder / SOCKET_NAME))
        answers = []
        for text in lines:
            line.sendall(text + b"\n")
            answers.append(_heard(line))
        return answers


def test_a_question_gets_its_answer(folder: Path) -> None:
    assert ask(folder, {"ask": "status"}) == {"ok": True, "echo": {"ask": "status"}}


def test_one_line_after_another_on_the_same_connection(folder: Path) -> None:
    first, second = _send(folder, b'{"a": 1}', b'{"a": 2}')
    assert (first["echo"], second["echo"]) == ({"a": 1}, {"a": 2})


def test_many_lines_at_once_are_answered_one_after_another(folder: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(30.0)
        line.connect(str(folder / SOCKET_NAME))
        line.sendall(b'{"a": 1}\nnonsense\n' * 500)
        with line.makefile("rb") as reader:
            oks = [json.loads(reader.readline())["ok"] for _ in range(1000)]
    assert oks == [True, False] * 500


def test_one_that_says_no_more_still_hears(folder: Path) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(5.0)
        line.connect(str(folder / SOCKET_NAME))
        line.sendall(b'{"a": 1}\n')
        line.shutdown(socket.SHUT_WR)
        assert _heard(line)["ok"]


@pytest.mark.parametrize(
    "text", [b"", b"nonsense", b"[1, 2]", b"7", b"\xff\xfe\x00", b"[" * 60_000, b'{"a": ']
)
def test_what_does_not_read_is_told_so_and_hurts_nobody(folder: Path, text: bytes) -> None:
    (answer,) = _send(folder, text)
    assert answer["ok"] is False and answer["words"]
    assert ask(folder, {"ask": "status"})["ok"]


@pytest.mark.parametrize("length", [LONGEST_LINE + 1, LONGEST_LINE + 10, 20 * LONGEST_LINE])
def test_a_line_without_end_is_refused(folder: Path, length: int) -> None:
    (answer,) = _send(folder, b"x" * length)
    assert "longer than" in answer["words"]
    assert ask(folder, {"ask": "status"})["ok"]


def test_the_longest_line_is_read(folder: Path) -> None:
    text = json.dumps({"a": "x"}).encode()
    (answer,) = _send(folder, text + b" " * (LONGEST_LINE - len(text)))
    assert answer["ok"]


def test_an_error_of_ours_is_its_words_and_a_mistake_of_ours_is_no_end(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    assert ask(folder, {"ask": "refuse"}) == {"ok": False, "words": "no water today"}
    assert ask(folder, {"ask": "break", "more": "y" * 50_000})["ok"] is False
    assert ask(folder, {"ask": "status"})["ok"]
    (said,) = caplog.records
    assert len(said.message) < 300  # of a long request the log shows the beginning


def test_an_asker_that_goes_away_in_mid_line_leaves_the_others(folder: Path) -> None:
    for _ in range(20):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.connect(str(folder / SOCKET_NAME))
            line.sendall(b'{"ask"')
    assert ask(folder, {"ask": "status"})["ok"]


# --- slow askers, and many of them ----------------------------------------------------------------


@pytest.mark.parametrize("count", [8, 16, 70])
def test_slow_askers_keep_no_close_out(desk: Desk, count: int) -> None:
    for _ in range(count):
        desk.come(b'{"ask"')
    line = desk.asks("close", zone="leeks")
    assert desk.shut == ["leeks"]
    desk.replies[-1].set_result({"ok": True, "words": "closed"})
    assert _heard(line) == {"ok": True, "words": "closed"}


def test_the_slowest_makes_room_and_is_told_so(desk: Desk) -> None:
    first = desk.come(b'{"ask"')
    others = []
    for _ in range(CLIENTS_A_USER):
        desk.clock.advance(0.01)
        others.append(desk.come(b'{"ask"'))
    assert _words(first) == TOO_MANY
    others[0].sendall(b': "refuse"}\n')  # nobody else was sent away
    _until(lambda: desk.replies)


def test_a_request_has_so_long_for_all_of_it(desk: Desk) -> None:
    line = desk.come()
    _until(lambda: desk.server._clients)
    for letter in b'{"ask":':  # a byte now and then: never silent for long
        line.sendall(bytes([letter]))
        desk.passes(REQUEST_WITHIN_S / 8)
    line.sendall(b" ")
    desk.passes(REQUEST_WITHIN_S / 8)
    assert _words(line) == TOO_SLOW
    with contextlib.suppress(ConnectionResetError):  # the last byte may lie there unread
        assert line.recv(1) == b""


def test_who_does_not_read_the_answer_is_let_go(desk: Desk) -> None:
    line = desk.asks("status")
    desk.replies[-1].set_result({"ok": True, "words": "x" * 5_000_000})
    _until(lambda: any(client.out for client in desk.server._clients.values()))
    desk.looks()  # its time to read has begun
    desk.passes(REQUEST_WITHIN_S)
    _until(lambda: not desk.server._clients)
    heard = b""
    while more := line.recv(1_000_000):
        heard += more
    assert 0 < len(heard) < 5_000_000


def test_one_user_takes_no_place_of_another(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    users = [7, *[8] * (2 * CLIENTS)]
    monkeypatch.setattr(controlserver, "user_of", lambda line: users.pop(0))
    first = desk.come(b'{"ask"')
    for _ in range(2 * CLIENTS):
        desk.come(b'{"ask"')
    _until(lambda: not users)
    first.sendall(b': "status"}\n')
    _until(lambda: desk.replies)


def test_many_users_make_room_where_most_are(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    # A user with two, and as many others with one as there are places left; then one more.
    users = [7, 7, *range(100, 100 + CLIENTS - 2), 8]
    monkeypatch.setattr(controlserver, "user_of", lambda line: users.pop(0))
    lines = []
    for _ in range(CLIENTS + 1):
        desk.clock.advance(0.01)
        lines.append(desk.come(b'{"ask"'))
        _until(lambda: len(users) == CLIENTS + 1 - len(lines))
    assert _words(lines[0]) == TOO_MANY
    for line in lines[1:]:
        before = len(desk.replies)
        line.sendall(b': "status"}\n')
        _until(lambda before=before: len(desk.replies) > before)  # type: ignore[misc]


def test_of_one_user_so_many_requests_wait_and_closing_is_not_counted(desk: Desk) -> None:
    for _ in range(WAITING_A_USER):
        desk.asks("status")
    assert _words(desk.come(b'{"ask": "status"}\n')) == BUSY
    assert len(desk.replies) == WAITING_A_USER
    line = desk.asks("close")
    desk.replies[-1].set_result({"ok": True})
    assert _heard(line) == {"ok": True}
    # Newcomers send nobody away who waits for an answer, as long as others can go.
    for _ in range(2 * CLIENTS_A_USER):
        desk.come()
    desk.replies[0].set_result({"ok": True})
    assert not any(reply.cancelled() for reply in desk.replies)


def test_the_users_number_is_the_kernels() -> None:
    here, there = socket.socketpair(socket.AF_UNIX, socket.SOCK_STREAM)
    with here, there:
        assert protocol.user_of(here) == Path("/proc/self").stat().st_uid


# --- answers that come too late -------------------------------------------------------------------


def test_what_is_not_begun_in_time_is_called_off(desk: Desk) -> None:
    line = desk.asks("open", zone="leeks", seconds=60)
    desk.passes(ANSWERED_WITHIN_S - 0.1)
    desk.looks()
    assert not desk.replies[0].cancelled()
    desk.passes(0.1)
    assert _words(line) == BUSY
    assert desk.replies[0].cancelled()
    assert not desk.replies[0].set_running_or_notify_cancel()


def test_what_has_begun_is_not_called_off_and_is_said_to_go_on(desk: Desk) -> None:
    line = desk.asks("open", zone="leeks", seconds=60)
    assert desk.replies[0].set_running_or_notify_cancel()
    desk.passes(ANSWERED_WITHIN_S)
    assert _words(line) == UNDER_WAY
    desk.replies[0].set_result({"ok": True, "words": "open"})  # heard by nobody
    line.sendall(b'{"ask": "status"}\n')
    _until(lambda: len(desk.replies) == 2)
    desk.replies[1].set_result({"ok": True, "words": "all shut"})
    assert _heard(line)["words"] == "all shut"


def test_what_nobody_waits_for_any_more_is_called_off(desk: Desk) -> None:
    desk.asks("open", zone="leeks", seconds=60).close()
    _until(lambda: desk.replies[0].cancelled())


def test_a_close_is_never_called_off(desk: Desk) -> None:
    line = desk.asks("close", zone="leeks")
    desk.passes(ANSWERED_WITHIN_S)
    assert _words(line) == SHUT_BUT_BUSY
    desk.asks("close").close()
    desk.passes(0.0)
    _until(lambda: len(desk.server._clients) == 1)
    assert desk.shut == ["leeks", None]
    assert all(reply.set_running_or_notify_cancel() for reply in desk.replies)


def test_a_close_that_came_before_its_asker_went_is_done(desk: Desk) -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.connect(str(desk.folder / SOCKET_NAME))
        line.sendall(b'{"ask": "close", "zone": "leeks"}\n')
    _until(lambda: desk.shut == ["leeks"] and desk.replies)


def test_a_closing_that_hangs_holds_up_no_other_request_and_stops_the_pulse(desk: Desk) -> None:
    desk.hangs = threading.Event()
    line = desk.come(b'{"ask": "close"}\n')
    _until(lambda: desk.server._closing_since is not None)
    status = desk.come(b'{"ask": "status"}\n')
    _until(lambda: desk.replies)
    desk.replies[0].set_result({"ok": True})
    assert _heard(status) == {"ok": True}
    desk.passes(ANSWERED_WITHIN_S)
    assert _words(line) == NOT_SHUT_YET
    beats = desk.beats
    for asked in (2, 3):  # each is heard in a round of its own
        desk.come(b'{"ask": "status"}\n')
        _until(lambda count=asked: len(desk.replies) == count)  # type: ignore[misc]
    assert desk.beats == beats
    desk.hangs.set()
    _until(lambda: desk.shut)
    desk.passes(0.0)
    _until(lambda: desk.beats > beats)


def test_what_waits_at_the_end_is_called_off(desk: Desk) -> None:
    desk.asks("open", zone="leeks", seconds=60)
    desk.server.stop()
    _until(lambda: desk.replies[0].cancelled())


# --- what must not end it -------------------------------------------------------------------------


def test_where_no_thread_can_be_begun_any_more_it_answers_and_closes(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_left(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", none_left)
    line = desk.asks("close", zone="leeks")
    desk.replies[-1].set_result({"ok": True})
    assert desk.shut == ["leeks"] and _heard(line) == {"ok": True}


def test_a_start_without_a_thread_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none_left(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", none_left)
    with pytest.raises(DaemonError, match="can't start new thread"):
        _server(tmp_path)
    assert not (tmp_path / SOCKET_NAME).exists()


def test_a_mistake_of_ours_ends_a_round_and_no_more(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(controlserver, "_PAUSE_S", 0.01)
    with monkeypatch.context() as patch:
        rounds: list[None] = []

        def mistake() -> None:
            rounds.append(None)
            raise ZeroDivisionError

        patch.setattr(desk.server, "_listen_again", mistake)
        desk.passes(0.0)
        _until(lambda: rounds)
        beats = desk.beats
        _until(lambda: len(rounds) > 3)
        assert desk.beats == beats  # no round went well
    line = desk.asks("close")
    desk.replies[-1].set_result({"ok": True})
    assert _heard(line) == {"ok": True}
    assert desk.beats > beats


def test_where_no_file_can_be_opened_it_waits_and_goes_on(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(controlserver, "_PAUSE_S", 0.01)
    tried: list[None] = []
    with monkeypatch.context() as patch:

        class Full:
            def __init__(self, real: socket.socket) -> None:
                self._real = real

            def accept(self) -> None:
                tried.append(None)
                raise OSError(24, "Too many open files")

            def __getattr__(self, name: str) -> Any:
                return getattr(self._real, name)

        patch.setattr(desk.server, "_socket", Full(desk.server._socket))
        line = desk.come(b'{"ask": "status"}\n')
        _until(lambda: caplog.records)
        before = len(tried)
        desk.passes(1.0)
        _until(lambda: len(tried) > before)
        assert not desk.replies

    def answered() -> bool:
        desk.passes(1.0)
        return bool(desk.replies)

    _until(answered)
    desk.replies[0].set_result({"ok": True})
    assert _heard(line) == {"ok": True}
    assert len(caplog.records) == 1  # said once


def test_it_shows_that_it_lives_whenever_it_is_woken(desk: Desk) -> None:
    for _ in range(3):
        beats = desk.beats
        desk.server.wake()
        _until(lambda before=beats: desk.beats > before)  # type: ignore[misc]


# --- the socket's name ----------------------------------------------------------------------------


def test_the_socket_is_for_owner_and_group_alone(folder: Path) -> None:
    assert stat.S_IMODE((folder / SOCKET_NAME).stat().st_mode) == 0o660


def test_where_no_daemon_runs_the_words_say_so(tmp_path: Path) -> None:
    with pytest.raises(DaemonError, match=r"no daemon runs here \(no answer on .*\)"):
        ask(tmp_path, {"ask": "status"})


def test_a_socket_a_dead_daemon_left_is_replaced(tmp_path: Path) -> None:
    dead = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    dead.bind(str(tmp_path / SOCKET_NAME))
    dead.close()
    with pytest.raises(DaemonError, match="no daemon runs here"):
        ask(tmp_path, {"ask": "status"})
    server = _server(tmp_path)
    assert ask(tmp_path, {"ask": "status"})["ok"]
    server.stop()
    _until(lambda: not (tmp_path / SOCKET_NAME).exists())


def test_a_folder_too_deep_for_a_socket_is_said(tmp_path: Path) -> None:
    deep = tmp_path / ("x" * 120)
    deep.mkdir()
    with pytest.raises(DaemonError, match="cannot listen"):
        _server(deep)


def _looks_for_its_socket(server: ControlServer, clock: HandClock) -> None:
    clock.advance(controlserver.LOOK_EVERY_S)
    server.wake()
    _until(lambda: server._looked_mono_s == clock.mono_s())


def test_a_socket_that_was_taken_away_is_there_again(tmp_path: Path) -> None:
    runtime, clock = tmp_path / "run", HandClock()
    runtime.mkdir()
    server = _server(runtime, clock)
    (runtime / SOCKET_NAME).unlink()
    runtime.rmdir()
    _looks_for_its_socket(server, clock)  # and finds no folder
    runtime.mkdir()
    _looks_for_its_socket(server, clock)
    _until((runtime / SOCKET_NAME).exists)
    assert ask(runtime, {"ask": "status"})["ok"]
    server.stop()
    _until(lambda: not (runtime / SOCKET_NAME).exists())


def test_the_socket_of_another_is_not_taken_away_at_the_end(tmp_path: Path) -> None:
    first = _server(tmp_path)
    other = _server(tmp_path)  # as of somebody who knows no lock
    first.stop()
    assert ask(tmp_path, {"ask": "status"})["ok"]
    other.stop()


@pytest.mark.parametrize("ours", [True, False])
def test_a_name_that_is_anothers_is_taken_back_only_where_the_folder_is_ours(
    tmp_path: Path, ours: bool
) -> None:
    clock, looks = HandClock(), list[None]()

    def may_listen() -> bool:
        looks.append(None)
        return ours

    server = ControlServer(
        tmp_path,
        _answer,
        clock=clock,
        close_first=lambda _: None,
        may_listen=may_listen,
    )
    (tmp_path / SOCKET_NAME).unlink()
    (tmp_path / SOCKET_NAME).write_text("no socket", encoding="ascii")
    _looks_for_its_socket(server, clock)
    if ours:
        _until((tmp_path / SOCKET_NAME).is_socket)
        assert ask(tmp_path, {"ask": "status"})["ok"]
    else:
        _until(lambda: len(looks) == 1)
        _looks_for_its_socket(server, clock)
        _until(lambda: len(looks) == 2)  # so the first look is over
        assert (tmp_path / SOCKET_NAME).is_file()
    server.stop()
    _until(lambda: (tmp_path / SOCKET_NAME).exists() is not ours)
