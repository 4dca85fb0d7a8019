"""Logbooks that know of every day: nobody gave anything but what stands there."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from datetime import date

from controller.timetable import plan
from controller.timetable.unwritten import Record


class EveryDay(Collection[date]):
    """All days there are; they are not counted."""

    def __contains__(self, day: object) -> bool:
        return True

    def __iter__(self) -> Iterator[date]:
        return iter(())

    def __len__(self) -> int:
        return 0


WRITTEN = Record(begun=date.min, daemon_from=date.min, watched=EveryDay())
NOTHING_GIVEN = replace(plan.NOTHING_GIVEN, record=WRITTEN)
