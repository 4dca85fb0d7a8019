"""The logbook's file and what SQLite keeps beside it: told apart, put aside, cut short."""

from __future__ import annotations

import logging
import sqlite3
from pathlib import Path

from controller.clock import Clock
from controller.logbook.faults import is_damage

# SQLite brings its log into the file at every thousandth page, which is 4 MB; so long it may stay.
LONGEST_LOG_BYTES = 4 * 1024 * 1024
NO_FILE = (0, 0)
_LOG = logging.getLogger("rowgate.logbook")


def file_id(path: Path) -> tuple[int, int]:
    """Device and inode, by which a file is told from another at its path; NO_FILE for none."""
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


def shorten_log(connection: sqlite3.Connection) -> None:
    """Bring the log beside the file into the file, and cut it to nothing, if nobody is in the way.

    It waits for nobody: readers in the way, or a full disk, put it off until the next time.
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
    """Have a logbook that was begun anew in mid-run give out numbers that the lost one never gave.

    Whoever still holds a pulse's old number must not write into another's row. Seconds since 1970
    are more than any logbook gave out before.
    """
    begun = connection.execute("SELECT 1 FROM sqlite_sequence WHERE name = 'pulses'").fetchone()
    if begun is None:
        connection.execute(
            "INSERT INTO sqlite_sequence (name, seq) VALUES ('pulses', ?)",
            [int(clock.now_utc().timestamp())],
        )
        connection.commit()
