"""When the wall clock is believed; the crossings with water running are in tests/faults."""

from __future__ import annotations

from datetime import UTC, datetime

from support.clock import HandClock

from controller.daemon.host.clock_trust import SETTLE_S, ClockTrust

NOW = datetime(2031, 6, 1, 4, tzinfo=UTC)


def test_an_unset_clock_is_not_believed_and_a_set_one_is() -> None:
    clock = HandClock(NOW)
    clock.is_synced = False
    sense = ClockTrust(clock, None)
    assert not sense.look().trusted
    assert "battery" in sense.why
    clock.is_synced = True
    assert sense.look().trusted


def test_a_battery_clock_need_not_be_set_but_may_not_run_backwards() -> None:
    clock = HandClock(NOW)
    clock.is_synced = False
    assert ClockTrust(clock, None, keeps_time=True).look().trusted
    later = datetime(2031, 6, 3, tzinfo=UTC)
    assert not ClockTrust(clock, later, keeps_time=True).look().trusted


def test_a_battery_clock_that_jumps_is_doubted_until_it_has_run_in_step() -> None:
    clock = HandClock(NOW)
    clock.is_synced = False
    sense = ClockTrust(clock, None, keeps_time=True)
    assert sense.look().trusted
    clock.step_wall(3600.0)
    assert not sense.look().trusted
    clock.advance(SETTLE_S + 1.0)
    assert sense.look().trusted
