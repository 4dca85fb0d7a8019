"""The alarm clock: it rings at given moments and decides nothing.

Only this module uses APScheduler. A ring only wakes the engine, which decides by its own rules what
is due. A ring that is lost or late costs only time, since the engine also looks by itself. No
closing of a valve depends on it.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, Protocol
from zoneinfo import ZoneInfo

from controller.lean import OPENSSL, little_of_asyncio, out_of_sight

with out_of_sight(*OPENSSL), little_of_asyncio():
    from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_MAX_INSTANCES, EVENT_JOB_MISSED
    from apscheduler.jobstores.memory import MemoryJobStore
    from apscheduler.schedulers.background import BackgroundScheduler
    from apscheduler.triggers.date import DateTrigger

GRACE_S = 600  # a ring may be this late; the engine decides about the pulse by itself
_LOG = logging.getLogger("rowgate.alarm")


class Alarm(Protocol):
    """Rings once at each moment of a list, until it is given another list."""

    def set_all(self, moments: Sequence[tuple[str, datetime]]) -> None:
        """Forget what was set, and ring at these moments (a name and an aware time each)."""

    def stop(self) -> None:
        """Stop ringing."""


class WallAlarm:
    """An alarm by the board's wall clock, in a thread of its own."""

    def __init__(self, ring: Callable[[str], None], zone: ZoneInfo) -> None:
        self._ring, self._zone = ring, zone
        # Everything the scheduler would guess is set: its zone, store, grace and instances.
        self._scheduler: Any = BackgroundScheduler(
            jobstores={"default": MemoryJobStore()},
            timezone=zone,
            job_defaults={"misfire_grace_time": GRACE_S, "coalesce": True, "max_instances": 1},
        )
        self._scheduler.add_listener(
            self._went_wrong, EVENT_JOB_ERROR | EVENT_JOB_MISSED | EVENT_JOB_MAX_INSTANCES
        )
        self._scheduler.start()

    def set_all(self, moments: Sequence[tuple[str, datetime]]) -> None:
        """Drop every job, set new ones, and wake the scheduler.

        It sleeps on the monotonic clock, so after a step of the wall clock it would sleep out the
        old delay; waking makes it look at the clock again.
        """
        self._scheduler.remove_all_jobs()
        for name, at in moments:
            self._scheduler.add_job(
                self._ring,
                trigger=DateTrigger(run_date=at, timezone=self._zone),
                args=(name,),
                id=name,
                replace_existing=True,
                misfire_grace_time=GRACE_S,
            )
        self._scheduler.wakeup()

    def stop(self) -> None:
        """Stop the scheduler; wait for no ring under way."""
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)

    def _went_wrong(self, event: Any) -> None:
        """Wake the engine also when a ring failed, came too late or was skipped."""
        fault = getattr(event, "exception", None)
        _LOG.warning("alarm %s: %s", event.job_id, fault or "late or skipped")
        if fault is None:
            self._ring(event.job_id)
