"""The logbook's file on the disk: its errors, its damage, the log beside it, its copies."""

from __future__ import annotations

import contextlib
import logging
import os
import sqlite3
import struct
import sys
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.clock import Clock
from controller.errors import LogbookError
from controller.logbook.schema import refuse_newer

_DAMAGE = "the file is damaged; at the next writing it is looked at, and set aside"
_WORDS = {
    sqlite3.SQLITE_FULL: "the disk is full; make room, then try again",
    sqlite3.SQLITE_BUSY: "another program keeps it locked; close that program, then try again",
    sqlite3.SQLITE_LOCKED: "another program keeps it locked; close that program, then try again",
    sqlite3.SQLITE_READONLY: "it is read-only; see who owns the file and its folder",
    sqlite3.SQLITE_PERM: "this user may not use it; see who owns the file and its folder",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; see that its folder is there and may be written",
    sqlite3.SQLITE_IOERR: "the disk does not read or write as it should; look at the card",
    sqlite3.SQLITE_CORRUPT: _DAMAGE,
    sqlite3.SQLITE_NOTADB: _DAMAGE,
}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB}


def plain(error: sqlite3.Error | OSError, path: Path) -> LogbookError:
    """The error to raise in place of SQLite's or the system's."""
    if isinstance(error, OSError):
        return LogbookError(f"logbook {path}: {error.strerror or error}")
    words = _WORDS.get(_primary(error))
    return LogbookError(f"logbook {path}: {words or error}")


def is_damage(error: sqlite3.Error) -> bool:
    """Whether the file itself is damaged, and not just busy."""
    return _primary(error) in _DAMAGED


def _primary(error: sqlite3.Error) -> int:
    """The primary result code; -1 for errors of the Python module, which carry none."""
    code: int = getattr(error, "sqlite_errorcode", -1)
    return code & 0xFF if code >= 0 else -1


# SQLite brings its log into the file at every thousandth page, which is 4 MB; so long it may stay.
LONGEST_LOG_BYTES = 4 * 1024 * 1024
# Of the file's pages each connection remembers so many KiB; the system's own memory of files stands
# behind it. SQLite's 2 MB would be 4 MB of a small board. Our choice.
REMEMBERED_KIB = 256
LOG_DAMAGED = "log damaged"  # of the happening
_HEADER, _FRAME = 32, 24  # bytes before the log's first frame, and before each frame's page
_LOG = logging.getLogger("rowgate.logbook")


def put_aside(path: Path, clock: Clock) -> Path:
    """Rename a damaged logbook, and what SQLite keeps beside it, to a name with the date."""
    stem = f"{path.stem}-damaged-{clock.now_utc():%Y-%m-%dT%H%M%SZ}"
    target, count = path.with_name(f"{stem}{path.suffix}"), 1
    while target.exists():
        count += 1
        target = path.with_name(f"{stem}-{count}{path.suffix}")
    for tail in ("-wal", "-shm", ""):
        beside = path.with_name(path.name + tail)
        if beside.exists():
            beside.rename(target.with_name(target.name + tail))
    return target


def read_shared(path: Path, most: int = -1) -> bytes:
    """The file's first bytes, all unless `most` limits them; empty for a missing file.

    Where this process has the file open, it is read by that descriptor: closing another one would
    end every lock that SQLite holds on the file (fcntl(2); sqlite.org/howtocorrupt.html, 2.2).
    Another process that came and went would then take the log away under us.
    """
    try:
        found = path.stat()
    except FileNotFoundError:
        return b""
    count = found.st_size if most < 0 else min(most, found.st_size)
    ours = Path("/proc/self/fd")
    for number in [int(each.name) for each in ours.iterdir()] if ours.is_dir() else ():
        try:
            opened = os.fstat(number)
            if (opened.st_dev, opened.st_ino) == (found.st_dev, found.st_ino):
                return os.pread(number, count, 0)
        except OSError:
            continue  # closed in the meantime, or not for reading
    with path.open("rb") as file:
        return file.read(count)


def keep_cut_log(path: Path, connection: sqlite3.Connection, clock: Clock) -> str | None:
    """Keep a copy of a log that SQLite does not take in whole; the text to report.

    SQLite reads the log up to the first frame whose sum is wrong, and drops the rest silently. That
    is right after a power cut, which tears the last write, and wrong where a bit has flipped. Call
    it before anything is written. Layout: sqlite.org/walformat.html.
    """
    log = path.with_name(path.name + "-wal")
    if not log.exists() or log.stat().st_size <= _HEADER + _FRAME:
        return None
    connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    connection.execute("BEGIN IMMEDIATE")  # nobody writes while the two are compared
    try:
        written = read_shared(log)
        index = read_shared(path.with_name(path.name + "-shm"), 40)
    finally:
        connection.execute("ROLLBACK")
    if len(written) <= _HEADER + _FRAME or len(index) < 40:
        return None
    taken = int.from_bytes(index[16:20], sys.byteorder)  # mxFrame
    if not _head_is_sound(written):
        taken = 0
    elif index[32:40] != written[16:24]:
        return None  # all of it is in the file already, and the log begins anew
    writings = _writings(written, path)
    lost = sum(frame > taken for frame in writings)
    if not lost:
        return None
    kept = path.with_name(f"{path.stem}-log-damaged-{clock.now_utc():%Y-%m-%dT%H%M%SZ}.db-wal")
    kept.unlink(missing_ok=True)
    with kept.open("xb") as file:  # no link that somebody else put there is followed
        file.write(written)
    return (
        f"of {len(writings)} writings in the log beside the logbook the last {lost} do not read: a "
        f"power cut tears one, more are damage; a copy of the log is kept as {kept.name}. Water "
        "that stood in them alone is not counted: if it was given, note it by hand"
    )


def _head_is_sound(log: bytes) -> bool:
    """Whether the checksum in the log's head fits the 24 bytes before it."""
    if log[:3] != b"\x37\x7f\x06" or log[3] not in (0x82, 0x83):
        return False
    words = struct.unpack(f"{'>' if log[3] & 1 else '<'}6I", log[:24])
    first = second = 0
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & 0xFFFFFFFF
        second = (second + odd + first) & 0xFFFFFFFF
    return struct.pack(">2I", first, second) == log[24:32]


def _writings(log: bytes, path: Path) -> list[int]:
    """The numbers of the frames that end a write, of the log's present round."""
    page_size = int.from_bytes(read_shared(path, 18)[16:18], "big")
    page = 65536 if page_size == 1 else page_size or int.from_bytes(log[8:12], "big")
    starts = range(_HEADER, len(log) - _FRAME + 1, _FRAME + page)
    salts = [log[at + 8 : at + 16] for at in starts]
    turn = log[16:24]
    if turn not in salts and salts:
        turn = salts[0]  # the log's own head is damaged
    return [
        number
        for number, (at, salt) in enumerate(zip(starts, salts, strict=True), start=1)
        if salt == turn and any(log[at + 4 : at + 8])
    ]


def shorten_log(connection: sqlite3.Connection) -> None:
    """Copy the log into the file and cut it to nothing, if nothing is in the way.

    It does not wait: readers in the way, or a full disk, put it off until the next time.
    """
    wait_ms = connection.execute("PRAGMA busy_timeout").fetchone()[0]
    try:
        connection.execute("PRAGMA busy_timeout=0")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    except sqlite3.OperationalError as error:
        if is_damage(error):
            raise
        _LOG.warning("the log beside the logbook is cut short another time: %s", error)
    finally:
        connection.execute(f"PRAGMA busy_timeout={int(wait_ms)}")


def number_pulses_apart(connection: sqlite3.Connection, clock: Clock) -> None:
    """Make a logbook that was begun anew while running give numbers that the lost one never gave.

    A caller with a pulse's old number must not write into another's row. Seconds since 1970 are
    more than any logbook gave out before.
    """
    begun = connection.execute("SELECT 1 FROM sqlite_sequence WHERE name = 'pulses'").fetchone()
    if begun is None:
        connection.execute(
            "INSERT INTO sqlite_sequence (name, seq) VALUES ('pulses', ?)",
            [int(clock.now_utc().timestamp())],
        )
        connection.commit()


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
    copy. The copy is one file, complete or not there at all; an existing file is never replaced.

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
