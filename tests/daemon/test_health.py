"""What the service manager hears, and when it hears nothing."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.clock import HandClock

from controller.daemon.health import WATCHDOG_EVERY_S, Health, sd_notify


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(str(tmp_path / "notify"))
        heard.setblocking(False)
        yield heard


def _heard(manager: socket.socket) -> list[str]:
    words = []
    while True:
        try:
            words.append(manager.recv(4096).decode())
        except BlockingIOError:
            return words


def test_a_message_reaches_the_socket_named(manager: socket.socket, tmp_path: Path) -> None:
    assert sd_notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "notify")})
    assert _heard(manager) == ["READY=1"]


def test_an_abstract_socket_is_reached() -> None:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind("\0rowgate-test-abstract")
        heard.settimeout(5.0)
        assert sd_notify("STOPPING=1", {"NOTIFY_SOCKET": "@rowgate-test-abstract"})
        assert heard.recv(100) == b"STOPPING=1"


def test_without_a_manager_nothing_is_said_and_nothing_breaks(tmp_path: Path) -> None:
    assert not sd_notify("READY=1", {})
    assert not sd_notify("READY=1", {"NOTIFY_SOCKET": str(tmp_path / "nobody")})


def test_the_watchdog_hears_only_while_everybody_moves(
    manager: socket.socket, tmp_path: Path
) -> None:
    environ, clock = {"NOTIFY_SOCKET": str(tmp_path / "notify")}, HandClock()
    health = Health(clock, {"closer": 5.0, "steward": 30.0})
    assert health.say_alive(environ) == ()
    clock.advance(WATCHDOG_EVERY_S)
    health.moved("closer")
    assert health.say_alive(environ) == ()
    assert _heard(manager) == ["WATCHDOG=1"] * 2
    clock.advance(5.1)
    health.moved("steward")
    assert health.say_alive(environ) == ("closer",)
    assert _heard(manager) == []
    health.moved("closer")
    assert health.say_alive(environ) == ()
    assert _heard(manager) == ["WATCHDOG=1"]


def test_a_message_does_not_come_more_often_than_needed(
    manager: socket.socket, tmp_path: Path
) -> None:
    environ, clock = {"NOTIFY_SOCKET": str(tmp_path / "notify")}, HandClock()
    health = Health(clock, {"closer": 5.0})
    for _ in range(10):
        clock.advance(0.5)
        health.moved("closer", clock.mono_s())
        health.say_alive(environ)
    assert len(_heard(manager)) <= 2
