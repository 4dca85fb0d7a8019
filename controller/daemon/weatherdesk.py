"""Where the daemon gets its weather: asked in a thread of its own, so that nothing waits for it.

An answer always comes, also when no source gives any; then it says why, and the plan goes on with
what the logbook has kept.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from controller.garden.model import Garden
from controller.timetable.normals import Normals
from controller.weather.day import WeatherDay

_LOG = logging.getLogger("rowgate.weather")


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherAnswer:
    """What the sources said; no days at all when none said anything.

    `normals` are those of the garden's own file of years.
    """

    days: tuple[WeatherDay, ...]
    source: str
    asked_utc: datetime
    remarks: tuple[str, ...] = ()
    failed: bool = False
    credit: str = ""  # to be shown wherever the weather shows
    normals: Normals | None = None


Fetch = Callable[[Garden], WeatherAnswer]


class WeatherDesk(Protocol):
    """Takes a question, and later or at once calls back with an answer."""

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask the garden's source; while an answer is under way, nothing more is asked."""


class DirectDesk:
    """Answers at once; for a source that cannot keep anybody waiting."""

    def __init__(self, fetch: Fetch) -> None:
        self._fetch = fetch

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask, and reply before returning."""
        reply(self._fetch(garden))


class ThreadDesk:
    """Answers later, from a daemon thread that lives as long as one question."""

    def __init__(self, fetch: Fetch) -> None:
        self._fetch = fetch
        self._busy = threading.Lock()

    def ask(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        """Ask in a thread; `reply` is called there and must only pass the answer on."""
        if self._busy.acquire(blocking=False):
            threading.Thread(
                target=self._run, args=(garden, reply), name="weather", daemon=True
            ).start()

    def _run(self, garden: Garden, reply: Callable[[WeatherAnswer], None]) -> None:
        try:
            reply(self._fetch(garden))
        except Exception:  # noqa: BLE001 - a thread of its own; the log gets all of it
            _LOG.exception("the weather source")
        finally:
            self._busy.release()
