"""Input pins: switches and pulse counters; a counter works from any thread, and never raises.

Debounce is our own, on the times of the edges, because not every pin driver does it. An edge to
active counts only if the input was at rest for the debounce time before it. A bounce follows its
edge within that time, so one closing of a contact counts once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Protocol

from controller.errors import require_range

OnEdge = Callable[[float], None]
"""Called for each edge to active that counts, with its moment on the monotonic clock. [s]"""


class InputDriver(Protocol):
    """What other rooms know of input pins; `active` means contact closed, switch on."""

    def watch(self, number: int, *, active_low: bool, debounce_s: float, on_edge: OnEdge) -> None:
        """Take the line as an input and report every edge to active; `ValveFault` if that fails.

        `on_edge` is called from a thread of the driver's, and must return at once.
        """

    def level(self, number: int) -> bool:
        """Whether a watched line is active now; `ValveFault` if it cannot be read."""


class Debounce:
    """Separates edges that count from the bounces after them; it gets each change and its time."""

    def __init__(self, debounce_s: float) -> None:
        self._debounce_s = require_range("debounce_s", debounce_s, 0.0, 60.0)
        self._active: bool | None = None
        self._changed_s = float("-inf")

    def changed(self, active: bool, at_s: float) -> bool:
        """Whether this change is an edge to active that counts."""
        if active == self._active:
            return False  # an edge in between was missed, or the first look found it already
        rested = at_s - self._changed_s >= self._debounce_s
        self._active, self._changed_s = active, at_s
        return active and rested

    def starts(self, active: bool) -> None:
        """Take the level found when the watch begins: it is no edge."""
        self._active = active


class PulseCounter:
    """Counts the pulses of a meter or gauge; thread-safe. A driver calls `edge`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._count = 0

    def edge(self, mono_s: float) -> None:
        """Count a pulse; never raises."""
        with self._lock:
            self._count += 1

    def count(self) -> int:
        """Pulses since the start."""
        with self._lock:
            return self._count
