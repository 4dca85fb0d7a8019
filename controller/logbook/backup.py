"""Copies the logbook, whole and checked, in use or not."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.errors import LogbookError
from controller.logbook.files import plain
from controller.logbook.schema import refuse_newer

UNFINISHED = ".part"  # beside the copy while it is made


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """Counts of what a logbook holds. Days are those on which water was given."""

    size_bytes: int
    first_day: date | None
    last_day: date | None
    pulses: int  # that gave water
    litres: float
    ledger_days: int  # zone by zone
    weather_days: int
    readings: int
    notes: int
    field_tests: int
    observations: int


def copy_logbook(source: Path, target: Path, *, wait_s: float = 10.0) -> Contents:
    """Copy the logbook as it is at this moment, check the copy, and return what it holds.

    A daemon may write meanwhile: it waits for nothing, and what it writes from now on is not in the
    copy. The copy is one file, there whole or not at all; an existing file is never replaced.

    Raises
    ------
    LogbookError
        If there is no logbook, the copy cannot be made or is not sound, or its name is taken.
    """
    if not source.is_file():
        raise LogbookError(f"logbook {source}: there is none yet, so there is nothing to copy")
    if target.exists():
        raise LogbookError(f"{target} is there already; name another file, or move that one away")
    part = target.with_name(target.name + UNFINISHED)
    try:
        part.open("x").close()
    except FileExistsError:
        raise LogbookError(
            f"{part} is there: another copy is being made, or one was broken off; "
            "if nobody makes one, delete it"
        ) from None
    except OSError as fault:
        raise LogbookError(f"{part} cannot be written: {fault.strerror or fault}") from fault
    try:
        _copy(source, part, wait_s)
        held = _checked(part)
        _sync(part)
        target.open("x").close()  # taken, or not had; a link would do, but sticks have none
        part.replace(target)
        with contextlib.suppress(OSError):  # not every stick can sync a folder
            _sync(target.parent)
    except FileExistsError:
        raise LogbookError(f"{target} has come to be there meanwhile; it is left alone") from None
    except OSError as fault:
        raise LogbookError(f"{target} cannot be written: {fault.strerror or fault}") from fault
    finally:
        part.unlink(missing_ok=True)
    return held


def _copy(source: Path, part: Path, wait_s: float) -> None:
    try:
        reading = sqlite3.connect(
            f"{source.resolve().as_uri()}?mode=ro", uri=True, timeout=wait_s, isolation_level=None
        )
    except sqlite3.Error as fault:
        raise plain(fault, source) from fault
    try:
        refuse_newer(reading, source)
    except sqlite3.Error as fault:
        reading.close()
        raise plain(fault, source) from fault
    try:
        writing = sqlite3.connect(part)
        try:
            # All pages in one go: a copy made bit by bit begins anew whenever somebody writes.
            reading.backup(writing, pages=-1)
            # One file, with no log beside it that could be left behind.
            writing.execute("PRAGMA journal_mode=DELETE").fetchall()
        finally:
            writing.close()
    except sqlite3.Error as fault:
        raise LogbookError(f"{part}: the copy is not made: {plain(fault, source)}") from fault
    finally:
        reading.close()


def _checked(part: Path) -> Contents:
    """Check all of the copy, with its indexes."""
    try:
        copy = sqlite3.connect(f"{part.resolve().as_uri()}?mode=ro", uri=True)
        try:
            found = [str(row[0]) for row in copy.execute("PRAGMA quick_check(1)")]
            if found != ["ok"]:
                raise LogbookError(
                    f"the copy is not sound ({found[0] if found else 'no answer'}) and is not "
                    "kept: the logbook itself is damaged"
                )
            return _held(copy, part.stat().st_size)
        finally:
            copy.close()
    except sqlite3.Error as fault:
        raise LogbookError(f"the copy does not read and is not kept: {fault}") from fault


def _held(copy: sqlite3.Connection, size_bytes: int) -> Contents:
    first, last, pulses, litres = copy.execute(
        "SELECT min(day), max(day), count(*), coalesce(sum(litres), 0.0) FROM pulses "
        "WHERE state IN ('closed', 'cut')"
    ).fetchone()
    return Contents(
        size_bytes=size_bytes,
        first_day=None if first is None else date.fromisoformat(first),
        last_day=None if last is None else date.fromisoformat(last),
        pulses=pulses,
        litres=litres,
        ledger_days=_count(copy, "ledger", "DISTINCT zone || '|' || day"),
        weather_days=_count(copy, "weather", "DISTINCT day"),
        readings=_count(copy, "readings"),
        notes=_count(copy, "notes"),
        field_tests=_count(copy, "measurements"),
        observations=_count(copy, "observations"),
    )


def _count(copy: sqlite3.Connection, table: str, what: str = "*") -> int:
    """The number of rows; 0 where an older logbook has no such table."""
    if not copy.execute(
        "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", [table]
    ).fetchone():
        return 0
    number: int = copy.execute(f"SELECT count({what}) FROM {table}").fetchone()[0]
    return number


def _sync(path: Path) -> None:
    """Sync the copy to the disk, so that a power cut does not take it away."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
