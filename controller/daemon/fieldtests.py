"""What the field tests in the logbook say of the lines; the fitting itself is done elsewhere."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from controller.errors import LogbookError
from controller.garden.model import Garden
from controller.hydraulics.corrections import NOTHING_MEASURED, Corrections
from controller.hydraulics.fitted import Fitted
from controller.logbook.ask import Questions
from controller.logbook.fieldtests import FitRow
from controller.timetable.tested import Tested, tested_lines

_LOG = logging.getLogger("rowgate.fieldtests")


class KeptFieldTests:
    """The fit that stands, read anew at each asking; a silent logbook changes nothing."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._last: FitRow | None = None
        self._tests: list[Mapping[str, Any]] = []
        self._anew: tuple[object, Tested] | None = None
        self._state: object = None
        self._settled = False

    def mark(self) -> object:
        """The number of the fit that stands."""
        found = self._look()
        return None if found is None else found.id

    def corrections(self, garden: Garden) -> Corrections:
        """What the fit that stands says of this garden, as its file describes it now."""
        found = self._look()
        if found is None:
            return NOTHING_MEASURED
        tested = self._tested(garden, found)
        for remark in tested.remarks:
            _LOG.warning("%s", remark)
        return tested.corrections

    def fitted(self, garden: Garden) -> Fitted | None:
        """The fit that stands, for how sure the flows are; None where nothing was tested."""
        found = self._look()
        return None if found is None else self._tested(garden, found).fitted

    def _tested(self, garden: Garden, found: FitRow) -> Tested:
        """The fit for this garden; one of an older edition is made anew once, and remembered."""
        mark = (found.id, garden)
        if self._anew is not None and self._anew[0] == mark:
            return self._anew[1]
        tested = tested_lines(garden, found.found, self._tests, propose=False)
        if tested.anew:
            self._anew = mark, tested
        return tested

    def _look(self) -> FitRow | None:
        """Ask the logbook, if anything has been written to it since it was asked.

        A file may be written twice within one tick of the clock that stamps it: after each change
        it is asked once more.
        """
        state = _state_of(self._path)
        if state is None:
            return None
        if self._settled and state == self._state:
            return self._last
        self._settled, self._state = state == self._state, state
        try:
            with Questions(self._path) as ask:
                self._last = ask.latest_fit()
                self._tests = [row.said for row in ask.measurements()]
        except LogbookError as fault:
            self._settled = False
            _LOG.warning("the field tests are as they were: %s", fault)
        return self._last


def _state_of(path: Path) -> object:
    """What changes whenever something is written to the logbook; None where there is none."""
    found: list[tuple[int, ...] | None] = []
    for each in (path, path.with_name(path.name + "-wal")):
        try:
            told = each.stat()
        except OSError:
            found.append(None)
        else:
            found.append((told.st_dev, told.st_ino, told.st_size, told.st_mtime_ns))
    return None if found[0] is None else tuple(found)
