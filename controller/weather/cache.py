"""The last good answer of each question, kept on disk through power cuts and lost networks.

Nothing here is ever fatal: a file that does not read is set aside, one that cannot be written is
told of, and the asking goes on without it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from controller.weather.atomic import write_whole

MOST_BYTES = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """An answer as it came, to which question, and when."""

    url: str
    body: str
    fetched_utc: datetime


class AnswerCache:
    """A folder with one file for each question."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def load(self, url: str) -> tuple[Kept | None, tuple[str, ...]]:
        """The answer kept for this question, if any, and what there is to say about it."""
        path = self._path(url)
        try:
            with path.open("rb") as file:
                raw = file.read(MOST_BYTES + 1)
        except FileNotFoundError:
            return None, ()
        except OSError as fault:
            return None, (f"the kept weather cannot be read ({fault.strerror})",)
        kept = _kept(raw, url)
        return (kept, ()) if kept is not None else (None, self.set_aside(url))

    def store(self, kept: Kept) -> tuple[str, ...]:
        """Keep an answer in place of the one before; say so if that fails."""
        record = {
            "url": kept.url,
            "fetched_utc": kept.fetched_utc.isoformat(),
            "body": kept.body,
        }
        try:
            write_whole(self._path(kept.url), json.dumps(record).encode("utf-8"))
        except OSError as fault:
            return (f"the weather could not be kept on disk ({fault.strerror})",)
        return ()

    def set_aside(self, url: str) -> tuple[str, ...]:
        """Move a file that is of no use out of the way, so that somebody can look at it."""
        path = self._path(url)
        aside = path.with_suffix(".bad")
        try:
            path.replace(aside)
        except OSError as fault:
            return (f"the kept weather does not read, nor can it be moved ({fault.strerror})",)
        return (f"the kept weather did not read and was set aside as {aside.name}",)

    def _path(self, url: str) -> Path:
        name = hashlib.sha256(url.encode("utf-8")).hexdigest()[:20]
        return self._folder / f"weather-{name}.json"


def _kept(raw: bytes, url: str) -> Kept | None:
    """What a file says; None where it is not one of ours, or not about this question."""
    try:
        record = json.loads(raw)
        if not isinstance(record, Mapping) or record["url"] != url:
            return None
        body, fetched = record["body"], datetime.fromisoformat(record["fetched_utc"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    if not isinstance(body, str) or fetched.tzinfo is None:
        return None
    return Kept(url=url, body=body, fetched_utc=fetched.astimezone(UTC))
