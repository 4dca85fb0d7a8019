"""What SQLite says when it cannot, in words for a gardener."""

from __future__ import annotations

import sqlite3
from pathlib import Path

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
    """Whether the file itself is broken, not the moment."""
    return _primary(error) in _DAMAGED


def _primary(error: sqlite3.Error) -> int:
    """The primary result code; -1 for errors of the Python module, which carry none."""
    code: int = getattr(error, "sqlite_errorcode", -1)
    return code & 0xFF if code >= 0 else -1
