"""Threads that never come back: who notices, and that the lines go off all the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.daemon.service import SILENCE_S
from process.audit import LATE_S
from process.manager import WATCHDOG_S
from process.measure import hung_closer, hung_steward

pytestmark = [pytest.mark.slow, pytest.mark.alone]


def test_a_closer_that_hangs_in_a_pin_is_driven_off_past(tmp_path: Path) -> None:
    found = hung_closer(tmp_path)
    assert found["code"] == 1.0
    # The supervisor looks twice a second, and waits two seconds for the bank's lock.
    assert found["off"] < 2.5 + 2.0
    assert found["ended"] < WATCHDOG_S + 10.0


def test_a_steward_that_hangs_is_noticed_by_the_watchdog(tmp_path: Path) -> None:
    found = hung_steward(tmp_path)
    assert found["line_late"] < LATE_S
    # It looks at the garden file every half minute; then its own silence, then the watchdog's.
    assert found["aborted"] < 30.0 + SILENCE_S["steward"] + WATCHDOG_S + 20.0
    assert found["code"] != 0.0
