"""Moments of a morning in seconds after its start, on whole seconds or minutes of the clock."""

from __future__ import annotations

import math
from datetime import datetime, timedelta


def seconds_after(moment: datetime, start: datetime) -> float:
    """Seconds from the start to a moment."""
    return (moment - start).total_seconds()


def whole_second(moment: datetime) -> datetime:
    """The next whole second."""
    if moment.microsecond:
        return moment.replace(microsecond=0) + timedelta(seconds=1)
    return moment


def ceil_to(at: float, grid_s: float, start: datetime) -> float:
    """The next moment on the grid of whole seconds or minutes of the clock."""
    if math.isinf(at):
        return at
    offset = start.timestamp() % grid_s
    return max(0.0, math.ceil((at + offset) / grid_s - 1e-9) * grid_s - offset)
