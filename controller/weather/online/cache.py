"""The last good answer of each question, kept on disk through power cuts and lost networks.

Nothing here is ever fatal: a file that does not read is set aside, one that cannot be written is
told of, and the asking goes on without it.
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
    """An answer as it came, to which question, and when by this clock.

    `date_utc` is when by the service's own clock, if it said; `good_for_s` how long it said that
    nothing new is to be had; `etag` and `last_modified` are its marks, word for word, for asking
    whether there is anything newer.
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
        """When it was given: by the service's clock, which is set, or else by this one."""
        return self.date_utc or self.fetched_utc

    @property
    def when_utc(self) -> datetime:
        """What its age is counted from: this clock's time, unless it was plainly wrong then."""
        far_apart = abs(self.given_utc - self.fetched_utc) > CLOCKS_AGREE
        return self.given_utc if far_apart else self.fetched_utc


class AnswerCache:
    """A folder with one file for each question."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def load(self, key: str) -> tuple[CachedAnswer | None, tuple[str, ...]]:
        """The answer kept for this question, if any, and what there is to say about it."""
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
        """Keep an answer in place of the one before; say so if that fails."""
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
            _write_whole(self._path(cached.key), json.dumps(record).encode("utf-8"))
        except OSError as fault:
            return (f"the weather could not be kept on disk ({fault.strerror})",)
        return ()

    def set_aside(self, key: str) -> tuple[str, ...]:
        """Move a file that is of no use out of the way, so that somebody can look at it."""
        path = self._path(key)
        aside = path.with_suffix(".bad")
        try:
            path.replace(aside)
        except OSError as fault:
            return (f"the kept weather does not read, nor can it be moved ({fault.strerror})",)
        return (f"the kept weather did not read and was set aside as {aside.name}",)

    def hold(self, service: str, until_utc: datetime) -> None:
        """Note until when a service wants to be left alone, for other runs of ours, too."""
        with suppress(OSError):  # then it is asked once more than it likes
            _write_whole(self._hold_path(service), until_utc.isoformat().encode("ascii"))

    def held_until_utc(self, service: str) -> datetime | None:
        """Until when it wants to be left alone, if it ever said so."""
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
    """What a file says; None where it is not one of ours, or not about this question."""
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
    """A time with its zone; ValueError for one without."""
    if text is None:
        return None
    read = datetime.fromisoformat(text)
    if read.tzinfo is None:
        raise ValueError(text)
    return read.astimezone(UTC)


def _write_whole(path: Path, data: bytes) -> None:
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
