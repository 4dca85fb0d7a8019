"""The alarm rings by the wall clock, and a list given anew replaces the old one."""

from __future__ import annotations

import queue
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.daemon.rhythm import WallAlarm

# real time: the alarm rings by the wall clock, in a thread of its own

ZONE = ZoneInfo("Europe/Berlin")


def test_it_rings_each_moment_once_and_forgets_the_old_list() -> None:
    rung: queue.Queue[str] = queue.Queue()
    alarm = WallAlarm(rung.put, ZONE)
    try:
        soon = datetime.now(UTC) + timedelta(seconds=0.2)
        alarm.set_all([("old", soon), ("far", soon + timedelta(days=300))])
        alarm.set_all([("new", soon), ("late", soon - timedelta(seconds=30))])
        assert {rung.get(timeout=30.0), rung.get(timeout=30.0)} == {"new", "late"}
        assert rung.empty()
    finally:
        alarm.stop()


def test_a_ring_that_fails_does_not_stop_the_next() -> None:
    rung: queue.Queue[str] = queue.Queue()

    def ring(name: str) -> None:
        rung.put(name)
        if name == "bad":
            raise ZeroDivisionError

    alarm = WallAlarm(ring, ZONE)
    try:
        soon = datetime.now(UTC) + timedelta(seconds=0.1)
        alarm.set_all([("bad", soon), ("good", soon + timedelta(seconds=0.1))])
        assert [rung.get(timeout=30.0), rung.get(timeout=30.0)] == ["bad", "good"]
    finally:
        alarm.stop()


def test_a_moment_too_long_gone_still_wakes_by_the_listener() -> None:
    rung: queue.Queue[str] = queue.Queue()
    alarm = WallAlarm(rung.put, ZONE)
    try:
        alarm.set_all([("missed", datetime.now(UTC) - timedelta(hours=2))])
        assert rung.get(timeout=30.0) == "missed"
    finally:
        alarm.stop()


def test_stopping_twice_is_no_fault() -> None:
    alarm = WallAlarm(lambda name: None, ZONE)
    alarm.stop()
    alarm.stop()
