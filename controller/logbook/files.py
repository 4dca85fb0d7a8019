"""The logbook's file, the files SQLite keeps beside it, and the errors of both."""

from __future__ import annotations

import logging
import os
import sqlite3
import struct
import sys
from pathlib import Path

from controller.clock import Clock
from controller.errors import LogbookError

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
NO_FILE = (0, 0)
LOG_DAMAGED = "log damaged"  # of the happening
_HEADER, _FRAME = 32, 24  # bytes before the log's first frame, and before each frame's page
_LOG = logging.getLogger("rowgate.logbook")


def file_id(path: Path) -> tuple[int, int]:
    """Device and inode, which distinguish a file from another at its path; NO_FILE for none."""
    try:
        found = path.stat()
    except FileNotFoundError:
        return NO_FILE
    return (found.st_dev, found.st_ino)


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
