"""The last good answer to each request, cached on disk.

It survives power cuts and network failures. Nothing here is fatal: a file that cannot be read is
set aside, and one that cannot be written gives a remark.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

MOST_BYTES = 4_000_000
CLOCKS_AGREE = timedelta(days=1)  # our choice: two clocks further apart than this, one is wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class CachedAnswer:
    """An answer with its request and the time by this clock.

    `date_utc` is the time by the service's own clock, if it sent one. `good_for_s` is how long the
    service has nothing newer, by its own header. `etag` and `last_modified` are its validators,
    exactly as sent, for a conditional request.
    """

    key: str
    body: str
    fetched_utc: datetime
    date_utc: datetime | None = None
    good_for_s: float = 0.0
    etag: str = ""
    last_modified: str = ""

    @property
    def given_utc(self) -> datetime:
        """When the service gave it, by the service's clock; without one, by this clock."""
        return self.date_utc or self.fetched_utc

    @property
    def when_utc(self) -> datetime:
        """The time from which its age counts: this clock's, unless it was clearly wrong then."""
        far_apart = abs(self.given_utc - self.fetched_utc) > CLOCKS_AGREE
        return self.given_utc if far_apart else self.fetched_utc


class AnswerCache:
    """A folder with one file for each request."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def load(self, key: str) -> tuple[CachedAnswer | None, tuple[str, ...]]:
        """The cached answer to this request, if any, with remarks."""
        path = self._path(key)
        try:
            with path.open("rb") as file:
                raw = file.read(MOST_BYTES + 1)
        except FileNotFoundError:
            return None, ()
        except OSError as fault:
            return None, (f"the kept weather cannot be read ({fault.strerror})",)
        cached = _read_record(raw, key)
        return (cached, ()) if cached is not None else (None, self.set_aside(key))

    def store(self, cached: CachedAnswer) -> tuple[str, ...]:
        """Replace the cached answer; a remark if that fails."""
        record = {
            "key": cached.key,
            "fetched_utc": cached.fetched_utc.isoformat(),
            "date_utc": cached.date_utc and cached.date_utc.isoformat(),
            "good_for_s": cached.good_for_s,
            "etag": cached.etag,
            "last_modified": cached.last_modified,
            "body": cached.body,
        }
        try:
            _write_atomically(self._path(cached.key), json.dumps(record).encode("utf-8"))
        except OSError as fault:
            return (f"the weather could not be kept on disk ({fault.strerror})",)
        return ()

    def set_aside(self, key: str) -> tuple[str, ...]:
        """Rename a useless file, so that somebody can look at it."""
        path = self._path(key)
        aside = path.with_suffix(".bad")
        try:
            path.replace(aside)
        except OSError as fault:
            return (f"the kept weather does not read, nor can it be moved ({fault.strerror})",)
        return (f"the kept weather did not read and was set aside as {aside.name}",)

    def hold(self, service: str, until_utc: datetime) -> None:
        """Store until when a service asked us to wait; other runs of ours read it, too."""
        with suppress(OSError):  # then it is asked once too often
            _write_atomically(self._hold_path(service), until_utc.isoformat().encode("ascii"))

    def held_until_utc(self, service: str) -> datetime | None:
        """Until when a service asked us to wait, if it did."""
        try:
            return _instant(self._hold_path(service).read_text(encoding="ascii"))
        except (OSError, ValueError):
            return None

    def _hold_path(self, service: str) -> Path:
        return self._folder / f"wait-{service}.txt"

    def _path(self, key: str) -> Path:
        name = hashlib.sha256(key.encode("utf-8")).hexdigest()[:20]
        return self._folder / f"weather-{name}.json"


def _read_record(raw: bytes, key: str) -> CachedAnswer | None:
    """The answer in a file; None if the file is not ours, or belongs to another request."""
    try:
        record = json.loads(raw)
        if not isinstance(record, Mapping) or record["key"] != key:
            return None
        texts = [record[name] for name in ("body", "etag", "last_modified")]
        fetched_utc, date_utc = _instant(record["fetched_utc"]), _instant(record["date_utc"])
        good_for_s = float(record["good_for_s"])
    except (ValueError, KeyError, TypeError, RecursionError, OverflowError):
        return None
    if fetched_utc is None or not all(isinstance(text, str) for text in texts):
        return None
    body, etag, last_modified = texts
    return CachedAnswer(
        key=key,
        body=body,
        fetched_utc=fetched_utc,
        date_utc=date_utc,
        good_for_s=good_for_s,
        etag=etag,
        last_modified=last_modified,
    )


def _instant(text: str | None) -> datetime | None:
    """A time with its zone; ValueError if it has no zone."""
    if text is None:
        return None
    read = datetime.fromisoformat(text)
    if read.tzinfo is None:
        raise ValueError(text)
    return read.astimezone(UTC)


def _write_atomically(path: Path, data: bytes) -> None:
    """Write to a file beside `path`, sync it, then rename it to `path`; OSError if that fails."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the rename must survive a power cut, too
    finally:
        os.close(folder)
