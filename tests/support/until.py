"""Waiting for what another thread or another process does."""

from __future__ import annotations

import time
from collections.abc import Callable


def until(
    true: Callable[[], object],
    *,
    within_s: float = 60.0,
    alive: Callable[[], bool] = lambda: True,
) -> None:
    """Look until it is true. AssertionError after so long [s], or when `alive` is false before."""
    # real time: other threads and processes run by no clock that a test could turn
    ends = time.monotonic() + within_s
    while not true():
        assert alive() and time.monotonic() < ends, "it did not come about"
        time.sleep(0.002)
