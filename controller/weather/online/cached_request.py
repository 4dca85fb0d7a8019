"""A client that asks a service only if the cached answer is too old.

An answer replaces the cached one only after it has been parsed. So a broken answer never replaces a
good one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Generic, Protocol, TypeVar

from controller.clock import Clock
from controller.errors import NoWeather
from controller.weather.online.answers import Place
from controller.weather.online.cache import AnswerCache, CachedAnswer
from controller.weather.online.client import Fetched, Fetcher, Request
from controller.weather.online.limits import LONGEST_WAIT_S, TryFailed


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

    def __init__(self, name: str, cache: AnswerCache, clock: Clock, fetcher: Fetcher) -> None:
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
