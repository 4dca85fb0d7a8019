"""Requests that are large, many or nonsense, and a clock of the year 9999: no harm comes of it."""

from __future__ import annotations

import json
import logging
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.daemon import World
from support.daemon_faults import a_slow_garden

from controller import clock as clock_module
from controller.clock import LATEST_UTC, SystemClock, folded
from controller.daemon.control.protocol import ask
from controller.daemon.control.server import MOST_LOGGED, ControlServer
from controller.daemon.host.clock_trust import ClockTrust

pytestmark = pytest.mark.usefixtures("seldom_looks")


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path, a_slow_garden())


@pytest.mark.parametrize(
    "request_",
    [
        {"ask": "open", "zone": "a", "seconds": 10**4000},
        {"ask": "open", "zone": "a", "seconds": -(10**4000)},
        {"ask": "open", "zone": "a", "seconds": 1e308},
        {"ask": "open", "zone": "a", "seconds": math.inf},
        {"ask": "open", "zone": "a", "seconds": 1e-9},
        {"ask": "open", "zone": "a", "seconds": 5e-324},
        {"ask": "open", "zone": "a", "seconds": 0.99},
        {"ask": "open", "zone": "x" * 60_000, "seconds": 10},
        {"ask": "x" * 60_000},
        {"ask": "hold", "hours": 10**4000},
        {"ask": "hold", "hours": 1e308},
        {"ask": "hold", "hours": 1e-9},
        {"ask": "hold", "until": "9999-12-31T23:59:59-11:00"},
        {"ask": "hold", "until": "0001-01-01T00:00:00+11:00"},
        {"ask": "hold", "until": "9999-12-31T23:59:59"},
        {"ask": "hold", "until": "x" * 60_000},
        {"ask": "hold", "hours": 1, "zones": ["x" * 60_000]},
        {"ask": "hold", "hours": 1, "reason": "guests\x1b[2J"},
        {"ask": "hold", "hours": 1, "reason": "guests\u202egnp"},
    ],
)
def test_a_large_or_strange_figure_gets_a_short_answer(
    world: World, request_: dict[str, Any]
) -> None:
    answer = world.ask(**request_)
    assert answer["ok"] is False
    assert 0 < len(answer["words"]) < 300
    assert not world.pins.moves
    assert world.ask(ask="status")["holds"] == []


def test_a_reason_on_two_lines_is_kept_on_one(world: World) -> None:
    assert world.ask(ask="hold", hours=1, reason="guests\n on the   lawn")["ok"]
    assert world.ask(ask="status")["holds"][0]["reason"] == "guests on the lawn"


def test_mistakes_over_requests_do_not_fill_the_log(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    def breaks(request: dict[str, Any]) -> Any:
        raise ZeroDivisionError

    server = ControlServer(tmp_path, breaks, clock=HandClock(), close_first=lambda _: None)
    try:
        with caplog.at_level(logging.INFO, logger="rowgate.control"):
            for _ in range(300):
                assert ask(tmp_path, {"ask": "x" * 20_000})["ok"] is False
    finally:
        server.stop()
    # Ten, and then the 16th, 32nd, ... 256th.
    assert len(caplog.records) == 10 + 5
    assert "mistake 256" in caplog.records[-1].message
    assert all(len(record.message) < MOST_LOGGED + 60 for record in caplog.records)


@pytest.mark.parametrize("year", [2200, 2999, 9999])
def test_a_clock_beyond_all_gardens_is_not_believed_and_hurts_nobody(
    tmp_path: Path, year: int
) -> None:
    world = World(tmp_path, a_slow_garden())
    late = folded(datetime(year, 12, 31, 23, 59, 59, tzinfo=UTC))
    assert LATEST_UTC <= late < LATEST_UTC + timedelta(days=3660)
    world.clock.step_wall((late - world.clock.now_utc()).total_seconds())
    moves = len(world.pins.moves)
    world.run_for(3 * 86_400.0)
    assert len(world.pins.moves) == moves, "nothing opens by plan"
    status = world.ask(ask="status")
    assert not status["clock_believed"]
    assert "or later, which cannot be" in status["clock_doubt"]
    assert world.ask(ask="open", zone="a", seconds=60)["ok"], "a person may"
    json.dumps(status)


def test_it_is_not_believed_at_a_start_either() -> None:
    clock = HandClock(LATEST_UTC)
    assert not ClockTrust(clock, None).look().trusted
    clock = HandClock(LATEST_UTC - timedelta(seconds=1))
    assert ClockTrust(clock, None).look().trusted


def test_the_folded_clock_goes_on_at_its_pace() -> None:
    now = datetime(9999, 12, 31, 23, 0, tzinfo=UTC)
    assert folded(now) - folded(now - timedelta(hours=3)) == timedelta(hours=3)
    for good in (datetime(2031, 6, 1, tzinfo=UTC), LATEST_UTC - timedelta(microseconds=1)):
        assert folded(good) == good


@pytest.mark.parametrize("fault", [None, OverflowError("year 33658 is out of range"), ValueError()])
def test_the_board_s_own_clock_is_folded(
    monkeypatch: pytest.MonkeyPatch, fault: Exception | None
) -> None:
    class Late(datetime):
        @classmethod
        def now(cls, tz: Any = None) -> datetime:  # type: ignore[override]
            if fault is not None:
                raise fault
            return datetime(9999, 12, 31, 23, 59, tzinfo=UTC)

    monkeypatch.setattr(clock_module, "datetime", Late)
    now = SystemClock().now_utc()  # real time: what it makes of such a clock is tested
    assert LATEST_UTC <= now < LATEST_UTC + timedelta(days=3660)
    assert now + timedelta(days=400)
