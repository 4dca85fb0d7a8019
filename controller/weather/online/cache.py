"""The last good answer to each request, cached on disk: a service is asked only if it is too old.

It survives power cuts and network failures. Nothing here is fatal: a file that cannot be read is
set aside, and one that cannot be written gives a remark. An answer replaces the cached one only
after it has been parsed. So a broken answer never replaces a good one.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Generic, Protocol, TypeVar

from controller.clock import Clock
from controller.errors import NoWeather
from controller.weather.online.answers import Place
from controller.weather.online.limits import LONGEST_WAIT_S, TryFailed

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A request; `key` is its name in the cache, because its address may change every day."""

    url: str
    key: str
    accept: tuple[str, ...] = ("application/json",)
    contact: str = ""
    most_bytes: int = 64_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """The answer, and whether the service will soon end this form of request (status 203)."""

    cached: CachedAnswer
    deprecated: bool = False


class Asks(Protocol):
    """Asks a service; `client.Fetcher` does, over the network."""

    def fetch(self, request: Request, cached: CachedAnswer | None = None) -> Fetched:
        """A good answer, newer than the cached one or that one again; TryFailed without one."""


class Dated(Protocol):
    """A parsed answer; it knows the date in the garden on which the service gave it."""

    @property
    def asked_on(self) -> date:
        """That date."""


Read = TypeVar("Read", bound=Dated)


@dataclass(frozen=True, slots=True, kw_only=True)
class CacheLifetime:
    """How long an answer is used: without asking, without a warning, and at all; None: no limit."""

    fresh_for: timedelta
    warn_after: timedelta | None
    never_beyond: timedelta | None


# The models behind the services run four to eight times a day; the others are our choice.
FORECASTS = CacheLifetime(
    fresh_for=timedelta(hours=3), warn_after=timedelta(hours=24), never_beyond=timedelta(hours=72)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered(Generic[Read]):
    """A parsed answer, the answer as cached, and whether it is fresh."""

    reading: Read
    cached: CachedAnswer
    fresh: bool
    remarks: tuple[str, ...]


class CachedClient:
    """Asks one service if the cached answer is old; uses that answer if the service fails."""

    def __init__(self, name: str, cache: AnswerCache, clock: Clock, fetcher: Asks) -> None:
        self._name, self._cache, self._clock, self._fetcher = name, cache, clock, fetcher

    def ask(
        self,
        request: Request,
        read: Callable[[CachedAnswer], Read],
        place: Place,
        lifetime: CacheLifetime,
        *,
        refresh: bool = False,
        raise_on: frozenset[int] = frozenset(),
        good_until_utc: Callable[[CachedAnswer], datetime] | None = None,
    ) -> Answered[Read]:
        """The parsed answer to a request; with `refresh` the service is asked in any case.

        `good_until_utc` gives the time from which an older answer is asked for again. A refusal
        with a status in `raise_on` is raised, even if there is a cached answer.

        Raises
        ------
        NoWeather
            If there is no good answer, and no cached one that may still be used.
        """
        cached, remarks = self._cache.load(request.key)
        reading: Read | None = None
        if cached is not None:
            try:
                reading = read(cached)
            except NoWeather:
                cached, remarks = None, (*remarks, *self._cache.set_aside(request.key))
        outdated = refresh or (cached is not None and self._is_outdated(cached, good_until_utc))
        if cached and reading is not None and not outdated and self._is_fresh(cached, lifetime):
            return Answered(reading=reading, cached=cached, fresh=True, remarks=remarks)
        try:
            fetched = self._fetch(request, cached)
            new_reading = self._read_new(read, fetched.cached)
        except NoWeather as fault:
            if isinstance(fault, TryFailed) and fault.status in raise_on:
                raise
            if cached is None or reading is None:
                notes = "".join(f"; {remark}" for remark in remarks)
                raise NoWeather(f"{fault}; no earlier answer is kept{notes}") from fault
            words = self._stale_remarks(cached, reading.asked_on, place, lifetime, str(fault))
            return Answered(reading=reading, cached=cached, fresh=False, remarks=(*remarks, *words))
        if fetched.deprecated:
            words = ("this way of asking is on its way out (203): look for a newer Rowgate",)
            remarks = (*remarks, *words)
        remarks = (*remarks, *self._cache.store(fetched.cached))
        return Answered(reading=new_reading, cached=fetched.cached, fresh=True, remarks=remarks)

    def _fetch(self, request: Request, cached: CachedAnswer | None) -> Fetched:
        """Ask the service, unless it asked this or another run of ours to wait."""
        now_utc, held_utc = self._clock.now_utc(), self._cache.held_until_utc(self._name)
        # A time further ahead than the longest wait was written by another clock.
        if held_utc is not None and 0.0 < (held_utc - now_utc).total_seconds() <= LONGEST_WAIT_S:
            raise TryFailed(
                f"the weather service is left alone until {held_utc:%Y-%m-%d %H:%M} UTC: it "
                "refused us or asked us to wait",
                again=False,
            )
        try:
            return self._fetcher.fetch(request, cached)
        except TryFailed as fault:
            if fault.wait_s is not None:
                until_utc = self._clock.now_utc() + timedelta(seconds=fault.wait_s)
                self._cache.hold(self._name, until_utc)
            raise

    def _read_new(self, read: Callable[[CachedAnswer], Read], new: CachedAnswer) -> Read:
        try:
            return read(new)
        except NoWeather as fault:
            if new.when_utc == new.fetched_utc:
                raise
            raise NoWeather(
                f"{fault}; its clock says {new.given_utc:%Y-%m-%d}, this one "
                f"{new.fetched_utc:%Y-%m-%d}: is this clock right?"
            ) from fault

    def _is_outdated(
        self, cached: CachedAnswer, good_until_utc: Callable[[CachedAnswer], datetime] | None
    ) -> bool:
        if good_until_utc is None:
            return False
        return cached.when_utc < good_until_utc(cached) <= self._clock.now_utc()

    def _is_fresh(self, cached: CachedAnswer, lifetime: CacheLifetime) -> bool:
        age = self._clock.now_utc() - cached.when_utc
        good_for = max(lifetime.fresh_for, timedelta(seconds=cached.good_for_s))
        return timedelta(0) <= age < good_for  # an answer from the future is not fresh

    def _stale_remarks(
        self, cached: CachedAnswer, asked_on: date, place: Place, lifetime: CacheLifetime, why: str
    ) -> tuple[str, ...]:
        """The remarks for an old answer; NoWeather if it is too old to use."""
        now_utc = self._clock.now_utc()
        age = now_utc - cached.when_utc
        if age < timedelta(0):
            # One of the two clock readings is wrong, so the answer's own date decides.
            age = place.date_at(now_utc) - asked_on
            if age < timedelta(days=-1):
                raise NoWeather(
                    f"{why}; the last answer is of {asked_on}, which this clock says is "
                    "still to come"
                )
            age = max(age, timedelta(0))
        hours = f"{age.total_seconds() / 3600.0:.0f} h"
        if lifetime.never_beyond is not None and age > lifetime.never_beyond:
            raise NoWeather(f"{why}; the last answer is {hours} old, too old to use")
        words = [f"{why}; used is the last answer, {hours} old"]
        if lifetime.warn_after is not None and age > lifetime.warn_after:
            words.append(f"warning: this forecast is {hours} old; look at the sky")
        return tuple(words)
