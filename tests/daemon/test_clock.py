"""The board's own clock: what it counts, and that no code goes past it."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

import controller
from controller.clock import SystemClock, slept_s

# real time: the board's own clock is what is tested


def test_every_deadline_counts_what_the_board_sleeps(monkeypatch: pytest.MonkeyPatch) -> None:
    # The kernel's two clocks, after an hour asleep: one of them stood still.
    hands = {time.CLOCK_BOOTTIME: 5000.0, time.CLOCK_MONOTONIC: 1400.0}
    monkeypatch.setattr(time, "clock_gettime", hands.__getitem__)
    monkeypatch.setattr(time, "monotonic", lambda: hands[time.CLOCK_MONOTONIC])
    assert SystemClock().mono_s() == 5000.0
    assert slept_s() == 3600.0


def test_the_kernels_clock_since_the_boot_is_asked() -> None:
    before_s = float(Path("/proc/uptime").read_text().split()[0])  # proc(5): sleep is counted
    assert before_s - 0.011 <= SystemClock().mono_s() <= before_s + 5.0
    assert slept_s() >= -0.001


def test_nobody_goes_past_the_clock() -> None:
    past = re.compile(r"time\.(monotonic|time|perf_counter|clock_gettime)|datetime\.now")
    root = Path(controller.__file__).parent
    found = {p.name for p in root.rglob("*.py") if past.search(p.read_text("utf-8"))}
    assert found == {"clock.py"}
