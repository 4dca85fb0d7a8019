"""How each public service is asked: where, what with, and how long its answers serve."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from controller.errors import NoWeather
from controller.weather import metnorway, nws, openmeteo, power
from controller.weather.answer import Question, Reading
from controller.weather.asking import FORECASTS, Answered, Asker, Keeping
from controller.weather.cache import Kept
from controller.weather.fetch import Request
from controller.weather.patience import TryFailed

# What has been does not change: an old answer of POWER is as true as ever, only short of days.
PAST = Keeping(fresh_for=timedelta(hours=12), warn_after=None, never_beyond=None)
# Which square of the grid a place lies in changes when an office moves: our choice.
SQUARES = Keeping(fresh_for=timedelta(days=7), warn_after=None, never_beyond=None)
_CC_BY = "https://creativecommons.org/licenses/by/4.0/"
_GEO_JSON = ("application/geo+json", "application/json")
_NOT_FOUND = frozenset({404})


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How to put a question: through whom, where to, and in whose name."""

    asker: Asker
    base_url: str
    contact: str


def _ask_open_meteo(way: Way, question: Question) -> Answered[Reading]:
    url = f"{way.base_url}?{openmeteo.query(question)}"

    def read(kept: Kept) -> Reading:
        return openmeteo.read_answer(
            kept.body, question, fetched_utc=kept.fetched_utc, given_utc=kept.given_utc
        )

    def settles_utc(kept: Kept) -> datetime:
        return openmeteo.settles_utc(kept.when_utc, question.place)

    request = Request(url=url, key=f"open-meteo {url}")
    return way.asker.ask(
        request,
        read,
        question.place,
        FORECASTS,
        good_until_utc=settles_utc if question.past_days else None,
    )


def _ask_met_norway(way: Way, question: Question) -> Answered[Reading]:
    url = f"{way.base_url}?{metnorway.query(question.place)}"

    def read(kept: Kept) -> Reading:
        return metnorway.read_forecast(kept.body, question, given_utc=kept.given_utc)

    request = Request(
        url=url,
        key=f"met-norway {url}",
        accept=("application/json", "application/geo+json"),
        contact=way.contact,
        most_bytes=500_000,  # about 100 kB as it is
    )
    return way.asker.ask(request, read, question.place, FORECASTS)


def _ask_nasa_power(way: Way, question: Question) -> Answered[Reading]:
    place = question.place

    def read(kept: Kept) -> Reading:
        return power.read_days(kept.body, question, given_utc=kept.given_utc)

    request = Request(
        url=f"{way.base_url}?{power.query(question)}",
        # Its address changes every day; the answer of the day before is still of use.
        key=f"nasa-power {place.latitude_deg:.4f} {place.longitude_deg:.4f} {question.past_days}",
    )
    return way.asker.ask(request, read, place, PAST)


def _ask_nws(way: Way, question: Question) -> Answered[Reading]:
    """The forecast of the place's square; if that is gone, the place is looked up anew, once."""
    square = _square(way, question, anew=False)
    try:
        return _forecast_of(way, question, square, telling=_NOT_FOUND)
    except TryFailed as fault:
        if fault.status not in _NOT_FOUND:
            raise
    return _forecast_of(way, question, _square(way, question, anew=True))


def _square(way: Way, question: Question, *, anew: bool) -> nws.Square:
    def read(kept: Kept) -> nws.Square:
        return nws.read_square(kept.body, question, given_utc=kept.given_utc)

    path = nws.point_path(question.place)
    request = Request(
        url=way.base_url + path, key=f"nws {path}", accept=_GEO_JSON, contact=way.contact
    )
    try:
        answered = way.asker.ask(
            request, read, question.place, SQUARES, anew=anew, telling=_NOT_FOUND
        )
    except TryFailed as fault:
        if fault.status in _NOT_FOUND:
            raise NoWeather(nws.ELSEWHERE) from fault
        raise
    return answered.reading  # however old: the square itself tells if it is gone


def _forecast_of(
    way: Way, question: Question, square: nws.Square, *, telling: frozenset[int] = frozenset()
) -> Answered[Reading]:
    def read(kept: Kept) -> Reading:
        return nws.read_forecast(kept.body, question, given_utc=kept.given_utc)

    request = Request(
        url=way.base_url + square.path,
        key=f"nws {nws.point_path(question.place)} {square.path}",
        accept=_GEO_JSON,
        contact=way.contact,
        most_bytes=2_000_000,  # half a megabyte is common: it cannot be asked for single layers
    )
    return way.asker.ask(request, read, question.place, FORECASTS, telling=telling)


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is to be known of a service before asking it; `credit` carries the licence's link."""

    base_url: str
    credit: str
    ask: Callable[[Way, Question], Answered[Reading]]
    has_past: bool
    has_forecast: bool
    wants_contact: bool = False


# In the order in which they are best asked.
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
