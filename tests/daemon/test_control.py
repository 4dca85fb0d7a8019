"""The socket: bad input gets an answer, and the next asker is served all the same."""

from __future__ import annotations

import json
import socket
import stat
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.daemon.control import LONGEST_LINE, SOCKET_NAME, ControlServer, ask
from controller.errors import DaemonError, ValveRefused


def _answer(request: dict[str, Any]) -> dict[str, Any]:
    if request.get("ask") == "refuse":
        raise ValveRefused("no water today")
    if request.get("ask") == "break":
        raise ZeroDivisionError
    return {"ok": True, "echo": request}


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    server = ControlServer(tmp_path, _answer)
    yield tmp_path
    server.stop()


def _send(folder: Path, *lines: bytes) -> list[dict[str, Any]]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(5.0)
        line.connect(str(folder / SOCKET_NAME))
        reader = line.makefile("rb")
        answers = []
        for text in lines:
            line.sendall(text + b"\n")
            answers.append(json.loads(reader.readline()))
        return answers


def test_a_question_gets_its_answer(folder: Path) -> None:
    assert ask(folder, {"ask": "status"}) == {"ok": True, "echo": {"ask": "status"}}


def test_one_line_after_another_on_the_same_connection(folder: Path) -> None:
    first, second = _send(folder, b'{"a": 1}', b'{"a": 2}')
    assert (first["echo"], second["echo"]) == ({"a": 1}, {"a": 2})


@pytest.mark.parametrize(
    "text", [b"", b"nonsense", b"[1, 2]", b"7", b"\xff\xfe\x00", b"[" * 60_000, b'{"a": ']
)
def test_what_does_not_read_is_told_so_and_hurts_nobody(folder: Path, text: bytes) -> None:
    (answer,) = _send(folder, text)
    assert answer["ok"] is False and answer["words"]
    assert ask(folder, {"ask": "status"})["ok"]


def test_a_line_without_end_is_refused(folder: Path) -> None:
    (answer,) = _send(folder, b"x" * (LONGEST_LINE + 10))
    assert "longer than" in answer["words"]
    assert ask(folder, {"ask": "status"})["ok"]


def test_an_error_of_ours_is_its_words_and_a_mistake_of_ours_is_no_end(folder: Path) -> None:
    assert ask(folder, {"ask": "refuse"}) == {"ok": False, "words": "no water today"}
    assert ask(folder, {"ask": "break"})["ok"] is False
    assert ask(folder, {"ask": "status"})["ok"]


def test_an_asker_that_goes_away_in_mid_line_leaves_the_others(folder: Path) -> None:
    for _ in range(20):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.connect(str(folder / SOCKET_NAME))
            line.sendall(b'{"ask"')
    assert ask(folder, {"ask": "status"})["ok"]


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
    server = ControlServer(tmp_path, _answer)
    assert ask(tmp_path, {"ask": "status"})["ok"]
    server.stop()
    assert not (tmp_path / SOCKET_NAME).exists()


def test_a_folder_too_deep_for_a_socket_is_said(tmp_path: Path) -> None:
    deep = tmp_path / ("x" * 120)
    deep.mkdir()
    with pytest.raises(DaemonError, match="cannot listen"):
        ControlServer(deep, _answer)


def test_a_socket_that_was_taken_away_is_there_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("controller.daemon.control.LOOK_EVERY_S", 0.05)
    runtime = tmp_path / "run"
    runtime.mkdir()
    server = ControlServer(runtime, _answer)
    (runtime / SOCKET_NAME).unlink()
    runtime.rmdir()
    time.sleep(0.2)  # it looks, and finds no folder
    runtime.mkdir()
    ends = time.monotonic() + 10.0
    while not (runtime / SOCKET_NAME).exists():
        assert time.monotonic() < ends
        time.sleep(0.01)
    assert ask(runtime, {"ask": "status"})["ok"]
    server.stop()
    assert not (runtime / SOCKET_NAME).exists()
