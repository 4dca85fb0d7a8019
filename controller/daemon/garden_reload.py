"""Reloads the garden file while the daemon runs, with the field tests that belong to it.

A copy of the last good text lies in the daemon's own folder. So a restart over a broken file goes
on watering, and says so.
"""

from __future__ import annotations

import logging
import os
import stat
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from controller.errors import GardenFileError, InputError, LogbookError, RowgateError
from controller.garden.model import Garden
from controller.garden.size import MOST_BYTES, too_large
from controller.hydraulics.calibration.calibrated import Calibrated, calibrated_lines
from controller.hydraulics.calibration.result import Fitted
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supply_curve import NOTHING_MEASURED, Corrections
from controller.logbook.queries import Questions
from controller.logbook.records import FitRow
from controller.timetable.plan import Grounds
from controller.wording.say import say
from crops.catalogue import Catalogue

COPY_NAME = "last-good-garden.toml"
_LOG = logging.getLogger("rowgate.garden")


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """A garden that reads and whose lines can be computed."""

    garden: Garden
    grounds: Grounds
    lines: Lines
    corrections: Corrections = NOTHING_MEASURED
    from_copy: bool = False

    def same_as(self, other: Accepted) -> bool:
        """Whether nothing differs that moves water."""
        return self.garden == other.garden and self.corrections == other.corrections


def accept(
    garden: Garden, catalogue: Catalogue, corrections: Corrections = NOTHING_MEASURED
) -> Accepted:
    """Try what the daemon will ask of a garden, so that a fault shows here and not at a valve.

    Raises
    ------
    RowgateError
        If a zone's flow cannot be computed, or a crop or soil is unknown.
    """
    lines, grounds = Lines(garden, corrections=corrections), Grounds(garden, catalogue)
    for zone in garden.zones:
        lines.open_set(frozenset((zone.name,)))
        lines.line(zone.name)
        grounds.soil(zone.bed.soil)
        for planting in zone.plantings:
            grounds.crop(planting.crop)
    return Accepted(garden=garden, grounds=grounds, lines=lines, corrections=corrections)


class FieldTests(Protocol):
    """What the reload asks of the field tests in the logbook."""

    def mark(self) -> object:
        """A mark that differs once another fit is in force."""

    def corrections(self, garden: Garden) -> Corrections:
        """The corrections of the fit in force for this garden."""


class NoFieldTests:
    """Field tests of a garden that was never tested."""

    def mark(self) -> object:
        """A mark that never differs."""
        return None

    def corrections(self, garden: Garden) -> Corrections:
        """Nothing."""
        return NOTHING_MEASURED


class GardenFile:
    """Reads the file when its text has changed; keeps the copy and the faults.

    `read` turns the text of a garden file into a garden; relative paths in either text are relative
    to the file itself, not to our copy.
    """

    def __init__(
        self,
        path: Path,
        copy: Path,
        read: Callable[[str], Garden],
        catalogue: Catalogue,
        field_tests: FieldTests | None = None,
    ) -> None:
        self._path, self._copy, self._read, self._catalogue = path, copy, read, catalogue
        self._field_tests: FieldTests = field_tests or NoFieldTests()
        self._text: bytes | None = None
        self._mark: object = None
        self.faults: tuple[str, ...] = ()

    def first(self) -> Accepted:
        """The garden to start with: the file's, or the last good copy's.

        Raises
        ------
        InputError
            If neither reads; the faults are those of the file.
        """
        fresh = self.look()
        if fresh is not None:
            return fresh
        faults = self.faults
        try:
            accepted = self._accepted(_bytes(self._copy))
        except Exception as fault:
            if not isinstance(fault, RowgateError | OSError):
                _LOG.exception("the last good copy of the garden file")
            raise GardenFileError(faults) from fault
        _LOG.error("the garden file has faults; the last good copy of it is in use")
        return replace(accepted, from_copy=True)

    def look(self) -> Accepted | None:
        """The new garden, if the file has changed and reads; else None, and `faults` says why."""
        try:
            text = _bytes(self._path)
        except OSError as fault:
            self._text, self.faults = None, (f"{self._path}: {fault.strerror or fault}",)
            return None
        except GardenFileError as fault:
            self._text, self.faults = None, fault.faults
            return None
        mark = self._field_tests.mark()
        if text == self._text and mark == self._mark:
            return None
        self._text, self._mark = text, mark
        try:
            accepted = self._accepted(text)
        except GardenFileError as fault:
            self.faults = fault.faults
            return None
        except RowgateError as fault:
            self.faults = (f"{self._path}: {fault}",)
            return None
        except Exception as fault:  # noqa: BLE001 - a file must never end the daemon
            _LOG.exception("the garden file")
            words = "it brings Rowgate to a mistake of its own, and the log says more"
            self.faults = (f"{self._path}: {words} ({type(fault).__name__})",)
            return None
        self.faults = ()
        self._keep(text)
        return accepted

    def _accepted(self, text: bytes) -> Accepted:
        try:
            garden = self._read(text.decode("utf-8-sig"))
            return accept(garden, self._catalogue, self._field_tests.corrections(garden))
        except UnicodeDecodeError as fault:
            raise InputError("not UTF-8 text; save it as UTF-8") from fault

    def _keep(self, text: bytes) -> None:
        fresh = self._copy.with_suffix(".new")
        try:
            fresh.write_bytes(text)
            fresh.replace(self._copy)
        except OSError as fault:
            _LOG.warning("no copy of the good garden file could be kept: %s", fault)


def _bytes(path: Path) -> bytes:
    """The bytes of a regular file; a pipe or a device would block for ever."""
    with open(path, "rb", opener=_no_waiting) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise GardenFileError([f"{path}: not a file; a garden file is a plain text file"])
        text = file.read(MOST_BYTES + 1)
    if len(text) > MOST_BYTES:
        raise too_large(str(path))
    return text


def _no_waiting(path: str, flags: int) -> int:
    return os.open(path, flags | os.O_NONBLOCK)


class KeptFieldTests:
    """The fit in force, read anew each time; a logbook that does not answer changes nothing."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._last: FitRow | None = None
        self._tests: list[Mapping[str, Any]] = []
        self._anew: tuple[object, Calibrated] | None = None
        self._state: object = None
        self._settled = False

    def mark(self) -> object:
        """The number of the fit in force."""
        found = self._look()
        return None if found is None else found.id

    def corrections(self, garden: Garden) -> Corrections:
        """The corrections of the fit in force for this garden, as its file describes it now."""
        found = self._look()
        if found is None:
            return NOTHING_MEASURED
        tested = self._tested(garden, found)
        for remark in tested.remarks:
            _LOG.warning("%s", say(remark, us=garden.us_units))
        return tested.corrections

    def fitted(self, garden: Garden) -> Fitted | None:
        """The fit in force, for the error of the flows; None where nothing was tested."""
        found = self._look()
        return None if found is None else self._tested(garden, found).fitted

    def _tested(self, garden: Garden, found: FitRow) -> Calibrated:
        """The fit for this garden; one of an older edition is made anew once, and remembered."""
        mark = (found.id, garden)
        if self._anew is not None and self._anew[0] == mark:
            return self._anew[1]
        tested = calibrated_lines(garden, found.found, self._tests, propose=False)
        if tested.refitted:
            self._anew = mark, tested
        return tested

    def _look(self) -> FitRow | None:
        """Ask the logbook, if anything was written to it since the last time.

        A file may be written twice within one tick of the clock that stamps it, so each change is
        followed by one more look.
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
    """A state that changes with every write to the logbook; None where there is none."""
    found: list[tuple[int, ...] | None] = []
    for each in (path, path.with_name(path.name + "-wal")):
        try:
            status = each.stat()
        except OSError:
            found.append(None)
        else:
            found.append((status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns))
    return None if found[0] is None else tuple(found)
