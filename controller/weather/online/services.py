"""The public weather services: address, request and licence of each.

None needs a key. docs/weather-services.md says what each gives, where its days begin, what its
terms are, and what it learns about the garden. Their data must be credited: show
`OnlineAnswer.credit` wherever their weather is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.clock import Clock
from controller.errors import InputError, NoWeather, require_range
from controller.weather.day import WeatherDay
from controller.weather.online import met_norway, nasa_power, nws, open_meteo
from controller.weather.online.answers import (
    MOST_FORECAST_DAYS,
    MOST_PAST_DAYS,
    ParsedAnswer,
    Place,
    Question,
)
from controller.weather.online.cache import (
    FORECASTS,
    AnswerCache,
    Answered,
    CachedAnswer,
    CachedClient,
    CacheLifetime,
    Request,
)
from controller.weather.online.client import Fetcher
from controller.weather.online.limits import TryFailed

# The past does not change: an old answer of POWER stays true, it only lacks the last days.
PAST = CacheLifetime(fresh_for=timedelta(hours=12), warn_after=None, never_beyond=None)
# The grid square of a place changes only when an office moves; the time is our choice.
SQUARES = CacheLifetime(fresh_for=timedelta(days=7), warn_after=None, never_beyond=None)
_CC_BY = "https://creativecommons.org/licenses/by/4.0/"
_GEO_JSON = ("application/geo+json", "application/json")
_NOT_FOUND = frozenset({404})


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """How to reach a service: the client, the address and the contact."""

    client: CachedClient
    base_url: str
    contact: str


def _ask_open_meteo(access: Access, question: Question) -> Answered[ParsedAnswer]:
    url = f"{access.base_url}?{open_meteo.query(question)}"

    def read(cached: CachedAnswer) -> ParsedAnswer:
        return open_meteo.read_answer(
            cached.body, question, fetched_utc=cached.fetched_utc, given_utc=cached.given_utc
        )

    def settles_utc(cached: CachedAnswer) -> datetime:
        return open_meteo.settles_utc(cached.when_utc, question.place)

    request = Request(url=url, key=f"open-meteo {url}")
    return access.client.ask(
        request,
        read,
        question.place,
        FORECASTS,
        good_until_utc=settles_utc if question.past_days else None,
    )


def _ask_met_norway(access: Access, question: Question) -> Answered[ParsedAnswer]:
    url = f"{access.base_url}?{met_norway.query(question.place)}"

    def read(cached: CachedAnswer) -> ParsedAnswer:
        return met_norway.read_forecast(cached.body, question, given_utc=cached.given_utc)

    request = Request(
        url=url,
        key=f"met-norway {url}",
        accept=("application/json", "application/geo+json"),
        contact=access.contact,
        most_bytes=500_000,  # about 100 kB is usual
    )
    return access.client.ask(request, read, question.place, FORECASTS)


def _ask_nasa_power(access: Access, question: Question) -> Answered[ParsedAnswer]:
    place = question.place

    def read(cached: CachedAnswer) -> ParsedAnswer:
        return nasa_power.read_days(cached.body, question, given_utc=cached.given_utc)

    request = Request(
        url=f"{access.base_url}?{nasa_power.query(question)}",
        # Its address changes every day; the answer of the day before is still useful.
        key=f"nasa-power {place.latitude_deg:.4f} {place.longitude_deg:.4f} {question.past_days}",
    )
    return access.client.ask(request, read, place, PAST)


def _ask_nws(access: Access, question: Question) -> Answered[ParsedAnswer]:
    """The forecast of the place's grid square; if that is gone, the place is looked up again."""
    square = _square(access, question, refresh=False)
    try:
        return _forecast_of(access, question, square, raise_on=_NOT_FOUND)
    except TryFailed as fault:
        if fault.status not in _NOT_FOUND:
            raise
    return _forecast_of(access, question, _square(access, question, refresh=True))


def _square(access: Access, question: Question, *, refresh: bool) -> nws.Square:
    def read(cached: CachedAnswer) -> nws.Square:
        return nws.read_square(cached.body, question, given_utc=cached.given_utc)

    path = nws.point_path(question.place)
    request = Request(
        url=access.base_url + path, key=f"nws {path}", accept=_GEO_JSON, contact=access.contact
    )
    try:
        answered = access.client.ask(
            request, read, question.place, SQUARES, refresh=refresh, raise_on=_NOT_FOUND
        )
    except TryFailed as fault:
        if fault.status in _NOT_FOUND:
            raise NoWeather(nws.ELSEWHERE) from fault
        raise
    return answered.reading  # at any age: the service reports a square that is gone


def _forecast_of(
    access: Access,
    question: Question,
    square: nws.Square,
    *,
    raise_on: frozenset[int] = frozenset(),
) -> Answered[ParsedAnswer]:
    def read(cached: CachedAnswer) -> ParsedAnswer:
        return nws.read_forecast(cached.body, question, given_utc=cached.given_utc)

    request = Request(
        url=access.base_url + square.path,
        key=f"nws {nws.point_path(question.place)} {square.path}",
        accept=_GEO_JSON,
        contact=access.contact,
        most_bytes=2_000_000,  # half a megabyte is common: it has no request for single layers
    )
    return access.client.ask(request, read, question.place, FORECASTS, raise_on=raise_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """The facts of a service; `credit` has the link to its licence."""

    base_url: str
    credit: str
    ask: Callable[[Access, Question], Answered[ParsedAnswer]]
    has_past: bool
    has_forecast: bool
    wants_contact: bool = False


# In the order in which we ask them.
ABOUT: Mapping[str, About] = {
    "open-meteo": About(
        base_url="https://api.open-meteo.com/v1/forecast",
        credit="Weather data by Open-Meteo.com (https://open-meteo.com/), "
        f"CC BY 4.0 ({_CC_BY}), worked into days of this garden",
        ask=_ask_open_meteo,
        has_past=True,
        has_forecast=True,
    ),
    "met-norway": About(
        base_url="https://api.met.no/weatherapi/locationforecast/2.0/complete",
        credit="Weather data by MET Norway (https://api.met.no/), "
        f"NLOD 2.0 (https://data.norge.no/nlod/en/2.0) and CC BY 4.0 ({_CC_BY}), "
        "worked into days of this garden",
        ask=_ask_met_norway,
        has_past=False,
        has_forecast=True,
        wants_contact=True,
    ),
    "nasa-power": About(
        base_url="https://power.larc.nasa.gov/api/temporal/daily/point",
        credit="Weather data by the NASA POWER project, NASA Langley Research Center "
        "(https://power.larc.nasa.gov/docs/referencing/)",
        ask=_ask_nasa_power,
        has_past=True,
        has_forecast=False,
    ),
    "nws": About(
        base_url="https://api.weather.gov",
        credit="Weather data by the US National Weather Service, public domain "
        "(https://www.weather.gov/disclaimer)",
        ask=_ask_nws,
        has_past=False,
        has_forecast=True,
        wants_contact=True,
    ),
}


__all__ = ["SERVICES", "OnlineAnswer", "Place", "Service", "service"]

SERVICES: tuple[str, ...] = tuple(ABOUT)  # in our order

MOST_CONTACT = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class OnlineAnswer:
    """Days of weather with their remarks; `fresh` is False if the service failed."""

    days: tuple[WeatherDay, ...]
    fetched_utc: datetime
    fresh: bool
    remarks: tuple[str, ...]
    credit: str


class Service:
    """One public service; `name` is one of SERVICES. Show `credit` wherever its days are shown."""

    def __init__(
        self, name: str, client: CachedClient, clock: Clock, *, contact: str, base_url: str
    ) -> None:
        about = ABOUT[name]
        self.name, self.credit = name, about.credit
        self._about, self._client, self._clock = about, client, clock
        self._contact, self._base_url = contact, base_url

    def days(self, place: Place, *, past_days: int, forecast_days: int) -> OnlineAnswer:
        """Days of weather of a place, as far as the service has them.

        Today counts as a forecast day. Some services have only forecast days, one only past days.

        Raises
        ------
        NoWeather
            If the service gives none, and there is no cached answer that may be used.
        OutOfRange
            If more days are requested than any service has.
        """
        require_range("latitude_deg", place.latitude_deg, -90.0, 90.0)
        require_range("longitude_deg", place.longitude_deg, -180.0, 180.0)
        require_range("past_days", past_days, 0, MOST_PAST_DAYS)
        require_range("forecast_days", forecast_days, 0, MOST_FORECAST_DAYS)
        try:
            _require_zone(place.timezone)
            question = Question(
                place=place,
                today=place.date_at(self._clock.now_utc()),
                past_days=past_days if self._about.has_past else 0,
                forecast_days=forecast_days if self._about.has_forecast else 0,
            )
            if question.past_days + question.forecast_days == 0:
                raise NoWeather(self._no_days_text())
            contact = _contact(self._contact) if self._about.wants_contact else ""
            access = Access(client=self._client, base_url=self._base_url, contact=contact)
            answered = self._about.ask(access, question)
            remarks = (*answered.remarks, *answered.reading.remarks, *_age_remarks(answered, place))
        except NoWeather as fault:
            raise NoWeather(f"{self.name}: {fault}") from fault
        return OnlineAnswer(
            days=answered.reading.days,
            fetched_utc=answered.cached.fetched_utc,
            fresh=answered.fresh,
            remarks=tuple(f"{self.name}: {remark}" for remark in remarks),
            credit=self.credit,
        )

    def _no_days_text(self) -> str:
        if self._about.has_past and self._about.has_forecast:
            return "no days were asked for"
        return f"it has {'the past' if self._about.has_past else 'days to come'} only"


def service(
    name: str,
    cache_dir: Path,
    clock: Clock,
    *,
    contact: str = "",
    base_url: str | None = None,
    fetcher: Fetcher | None = None,
) -> Service:
    """The service with this name; it caches its answers in `cache_dir`.

    `contact` is sent only to the services that require one. `base_url` and `fetcher` take
    the place of the service's own address and of our own patience.

    Raises
    ------
    InputError
        If there is no service of that name.
    """
    if name not in SERVICES:
        raise InputError(f"weather service: found {name!r}; allowed is {', '.join(SERVICES)}")
    return Service(
        name,
        CachedClient(name, AnswerCache(cache_dir), clock, fetcher or Fetcher(clock)),
        clock,
        contact=contact,
        base_url=base_url if base_url is not None else ABOUT[name].base_url,
    )


def _contact(contact: str) -> str:
    """The contact, ready to be sent; NoWeather if there is none, or it cannot be sent."""
    plain = contact.strip()
    if not plain:
        raise NoWeather(
            "it needs to know who asks: set contact, an e-mail address or a web page of yours, in "
            "[weather] of the garden file"
        )
    if not (plain.isascii() and plain.isprintable() and len(plain) <= MOST_CONTACT):
        raise NoWeather(
            f"contact in [weather] of the garden file: found {plain!r:.60}; allowed is an e-mail "
            f"address or a web page, in plain letters, at most {MOST_CONTACT} of them"
        )
    return plain


def _age_remarks(answered: Answered[ParsedAnswer], place: Place) -> list[str]:
    """Remarks on dates that differ, and on an old forecast in a new answer."""
    cached, reading = answered.cached, answered.reading
    words = []
    own_date = place.date_at(cached.fetched_utc)
    if abs(own_date - reading.asked_on) > timedelta(days=1):
        words.append(f"the weather service's date is {reading.asked_on}, this clock's {own_date}")
    if reading.made_utc is not None:
        age = cached.given_utc - reading.made_utc
        hours = f"{age.total_seconds() / 3600.0:.0f} h"
        if FORECASTS.never_beyond is not None and age > FORECASTS.never_beyond:
            raise NoWeather(f"it gave a forecast made {hours} before, too old to use")
        if FORECASTS.warn_after is not None and age > FORECASTS.warn_after:
            words.append(f"warning: its forecast was made {hours} before; look at the sky")
    return words


def _require_zone(timezone: str) -> None:
    try:
        ZoneInfo(timezone)
    except (KeyError, ValueError, OSError):
        raise NoWeather(f"time zone {timezone!r} is not known here") from None
