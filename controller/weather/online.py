"""The one door to the network: asks a public weather service, politely, and never for long.

The service is Open-Meteo's forecast interface (https://open-meteo.com/en/docs): free without a key
for non-commercial use, home automation included, up to 10 000 calls a day from one address; whoever
sells what they make with it needs a contract with them. Its data are under CC BY 4.0 and must be
credited: show `OnlineAnswer.credit` wherever the weather shows.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from zoneinfo import ZoneInfo

import requests

from controller.clock import Clock
from controller.errors import NoWeather, require_range
from controller.weather.answer import Question, Reading, read_answer, reason_in
from controller.weather.cache import AnswerCache, Kept
from controller.weather.day import WeatherDay
from controller.weather.patience import Patience, TryFailed, refusal

BASE_URL = "https://api.open-meteo.com/v1/forecast"
CREDIT = "Weather data by Open-Meteo.com (CC BY 4.0)"
MOST_PAST_DAYS, MOST_FORECAST_DAYS = 92, 16  # as documented
FRESH_FOR = timedelta(hours=3)  # the models behind it run four to eight times a day
USABLE_FOR = timedelta(hours=24)  # our choice: beyond it a forecast is told of with a warning
NEVER_BEYOND = timedelta(hours=72)  # our choice
MOST_BODY_BYTES = 64_000  # the most days there are make about 8000
MOST_REASON_BYTES = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class OnlineAnswer:
    """Days of weather and how good they are; `fresh` is False where the service failed us."""

    days: tuple[WeatherDay, ...]
    fetched_utc: datetime
    fresh: bool
    remarks: tuple[str, ...]
    credit: str = CREDIT


class OnlineWeather:
    """Asks when the kept answer is old, and falls back on it when nobody answers."""

    def __init__(
        self,
        cache_dir: Path,
        clock: Clock,
        session: requests.Session | None = None,
        base_url: str = BASE_URL,
        *,
        patience: Patience | None = None,
        sleep: Callable[[float], None] = time.sleep,
        jitter: Callable[[], float] = random.random,
    ) -> None:
        self._cache, self._clock, self._base_url = AnswerCache(cache_dir), clock, base_url
        self._session = session if session is not None else requests.Session()
        self._patience = patience if patience is not None else Patience()
        self._sleep, self._jitter = sleep, jitter
        self._not_before_mono_s = float("-inf")

    def days(
        self,
        latitude_deg: float,
        longitude_deg: float,
        elevation_m: float,
        timezone: str,
        past_days: int,
        forecast_days: int,
    ) -> OnlineAnswer:
        """Days of weather, from before today to after it; local days of the garden's zone.

        Raises
        ------
        NoWeather
            If the service gives none and the last answer is too old or there is none.
        OutOfRange
            If more days are asked for than the service has.
        """
        require_range("past_days", past_days, 0, MOST_PAST_DAYS)
        require_range("forecast_days", forecast_days, 1, MOST_FORECAST_DAYS)
        _require_zone(timezone)
        question = Question(
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            elevation_m=elevation_m,
            timezone=timezone,
            past_days=past_days,
            forecast_days=forecast_days,
        )
        url = f"{self._base_url}?{question.query()}"
        kept, remarks = self._cache.load(url)
        reading: Reading | None = None
        if kept is not None:
            try:
                reading = read_answer(kept.body, question, fetched_utc=kept.fetched_utc)
            except NoWeather:
                kept, remarks = None, (*remarks, *self._cache.set_aside(url))
        if kept is not None and reading is not None and self._age_is_fresh(kept):
            return _answer(kept, reading, fresh=True, remarks=remarks)
        try:
            body = self._ask(url)
            new = Kept(url=url, body=body, fetched_utc=self._clock.now_utc())
            new_reading = read_answer(body, question, fetched_utc=new.fetched_utc)
        except NoWeather as fault:
            if kept is None or reading is None:
                told = "".join(f"; {remark}" for remark in remarks)
                raise NoWeather(f"{fault}; no earlier answer is kept{told}") from fault
            told_age = self._stale_words(kept, reading, timezone, str(fault))
            return _answer(kept, reading, fresh=False, remarks=(*remarks, *told_age))
        remarks = (*remarks, *self._cache.store(new))
        return _answer(new, new_reading, fresh=True, remarks=remarks)

    def _age_is_fresh(self, kept: Kept) -> bool:
        age = self._clock.now_utc() - kept.fetched_utc
        return timedelta(0) <= age < FRESH_FOR  # an answer from the future is no fresh one

    def _stale_words(
        self, kept: Kept, reading: Reading, timezone: str, why: str
    ) -> tuple[str, ...]:
        """What to say with an old answer; NoWeather if it is too old to give."""
        now = self._clock.now_utc()
        age = now - kept.fetched_utc
        if age < timedelta(0):
            # One of the two clock readings is wrong, so the answer's own date has to tell.
            age = now.astimezone(ZoneInfo(timezone)).date() - reading.asked_on
            if age < timedelta(days=-1):
                raise NoWeather(
                    f"{why}; the last answer is of {reading.asked_on}, which this clock says is "
                    "still to come"
                )
            age = max(age, timedelta(0))
        hours = f"{age.total_seconds() / 3600.0:.0f} h"
        if age > NEVER_BEYOND:
            raise NoWeather(f"{why}; the last answer is {hours} old, too old to use")
        words = [f"{why}; used is the last answer, {hours} old"]
        if age > USABLE_FOR:
            words.append(f"warning: this forecast is {hours} old; look at the sky")
        return tuple(words)

    def _ask(self, url: str) -> str:
        """The body of a good answer; tries again where that may help, within the time allowed."""
        deadline_mono_s = self._clock.mono_s() + self._patience.overall_s
        if self._clock.mono_s() < self._not_before_mono_s:
            raise TryFailed("the weather service asked us to wait before asking again", again=False)
        bound_s = self._patience.first_wait_s
        tries_left = self._patience.tries
        while True:
            tries_left -= 1
            try:
                return self._try_once(url, deadline_mono_s)
            except TryFailed as fault:
                if fault.wait_s is not None:
                    self._not_before_mono_s = self._clock.mono_s() + fault.wait_s
                if not fault.again or tries_left <= 0:
                    raise
                wait_s = self._jitter() * bound_s if fault.wait_s is None else fault.wait_s
                if self._clock.mono_s() + wait_s >= deadline_mono_s:
                    raise
                bound_s = min(self._patience.longest_wait_s, 2.0 * bound_s)
                self._sleep(wait_s)

    def _try_once(self, url: str, deadline_mono_s: float) -> str:
        left_s = deadline_mono_s - self._clock.mono_s()
        if left_s <= 0.0:
            raise TryFailed("the weather service took too long", again=False)
        try:
            with self._session.get(
                url,
                headers={
                    "User-Agent": f"Rowgate/{_own_version()}",
                    "Accept": "application/json",
                    # Small as it is; and so the size limit is of what comes over the line.
                    "Accept-Encoding": "identity",
                },
                timeout=(
                    min(self._patience.connect_s, left_s),
                    min(self._patience.read_s, left_s),
                ),
                stream=True,
                allow_redirects=False,
            ) as response:
                return self._body(response, deadline_mono_s)
        except requests.exceptions.SSLError as fault:
            raise TryFailed(
                "the weather service's certificate was not accepted; is this clock right, or does "
                "the network ask for a sign-in?",
                again=False,
            ) from fault
        except requests.Timeout as fault:
            raise TryFailed("the weather service did not answer in time", again=True) from fault
        except (requests.ConnectionError, requests.exceptions.ChunkedEncodingError) as fault:
            raise TryFailed("the weather service cannot be reached", again=True) from fault
        except requests.RequestException as fault:
            raise TryFailed(
                f"the weather service cannot be asked ({type(fault).__name__})", again=False
            ) from fault

    def _body(self, response: requests.Response, deadline_mono_s: float) -> str:
        if response.status_code != 200:
            told = self._read(response, MOST_REASON_BYTES, deadline_mono_s)
            raise refusal(
                response.status_code,
                reason_in(told.decode("utf-8", errors="replace")),
                response.headers.get("Retry-After"),
                self._clock.now_utc(),
            )
        kind = response.headers.get("Content-Type", "").split(";")[0].strip().lower()
        if kind != "application/json":
            raise TryFailed(
                f"the answer is {kind or 'of no kind'}, not weather; does the network ask for a "
                "sign-in?",
                again=False,
            )
        raw = self._read(response, MOST_BODY_BYTES + 1, deadline_mono_s)
        if len(raw) > MOST_BODY_BYTES:
            raise TryFailed(
                f"the weather service's answer is larger than {MOST_BODY_BYTES // 1000} kB",
                again=False,
            )
        try:
            return raw.decode("utf-8")
        except UnicodeDecodeError as fault:
            raise TryFailed("the weather service's answer is garbled", again=False) from fault

    def _read(self, response: requests.Response, most_bytes: int, deadline_mono_s: float) -> bytes:
        """Up to so many bytes of the body.

        One at a time: from a server that trickles, a larger piece would be waited for past any
        deadline. A usual answer takes well under a tenth of a second this way.
        """
        gathered = bytearray()
        for piece in response.iter_content(1):
            gathered += piece
            if len(gathered) >= most_bytes:
                break
            if self._clock.mono_s() > deadline_mono_s:
                raise TryFailed("the weather service took too long over its answer", again=False)
        return bytes(gathered)


def _answer(kept: Kept, reading: Reading, *, fresh: bool, remarks: tuple[str, ...]) -> OnlineAnswer:
    return OnlineAnswer(
        days=reading.days,
        fetched_utc=kept.fetched_utc,
        fresh=fresh,
        remarks=(*remarks, *reading.remarks),
    )


def _require_zone(timezone: str) -> None:
    try:
        ZoneInfo(timezone)
    except (KeyError, ValueError, OSError):
        raise NoWeather(f"time zone {timezone!r} is not known here") from None


def _own_version() -> str:
    try:
        return version("rowgate")
    except PackageNotFoundError:
        return "0"
