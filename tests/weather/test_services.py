"""What every public service has in common, each asked in its own documented shape."""

from __future__ import annotations

import json
import socket
import tracemalloc
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import pytest
import requests
from support.clock import HandClock
from support.weather_answers import GEO_JSON, met_norway, nasa_power, nws_grid, nws_point
from support.weather_server import (
    UNCHANGED,
    Reply,
    WeatherServer,
    error,
    forecast,
    good,
    problem,
)

from controller.clock import SystemClock
from controller.errors import InputError, NoWeather, OutOfRange
from controller.garden import values
from controller.weather.online.client import Fetcher
from controller.weather.online.limits import RetryPolicy
from controller.weather.online.services import (
    ABOUT,
    SERVICES,
    OnlineAnswer,
    Place,
    Service,
    service,
)

CONTACT = "keeper@garden.example"
HOUR = 3600.0
DAY = 24 * HOUR
POINT = "/points/40.5123,-100.2"
GRID = "/gridpoints/XXX/10,20"
BUSY = error(503, "The service is overloaded")
AskAs = Callable[..., Service]


@dataclass(frozen=True)
class Case:
    """One service, at one invented place, on 1 June 2031."""

    name: str
    place: Place
    answer: Callable[[], Any]
    kind: str
    first: date
    last: date

    @property
    def good(self) -> Reply:
        return good(self.answer(), kind=self.kind)


def _place(longitude_deg: float, zone: str) -> Place:
    return Place(
        latitude_deg=40.51234, longitude_deg=longitude_deg, elevation_m=640.0, timezone=zone
    )


MADRID = _place(-4.2, "Europe/Madrid")
PLAINS = _place(-100.2, "America/Chicago")
TODAY = date(2031, 6, 1)
NOON_UTC = datetime(2031, 6, 1, 12, tzinfo=UTC)
# 2 past days, 3 to come; each gives what it has of them.
CASES = {
    "open-meteo": Case(
        "open-meteo", MADRID, lambda: forecast(TODAY), "application/json",
        date(2031, 5, 30), date(2031, 6, 3),
    ),
    "met-norway": Case(
        "met-norway", MADRID, lambda: met_norway(NOON_UTC), "application/json",
        date(2031, 6, 2), date(2031, 6, 3),
    ),
    "nasa-power": Case(
        "nasa-power", MADRID, lambda: nasa_power(date(2031, 5, 30), 2), "application/json",
        date(2031, 5, 30), date(2031, 5, 31),
    ),
    "nws": Case(
        "nws", PLAINS, lambda: nws_grid(datetime(2031, 6, 1, 0, tzinfo=UTC)), GEO_JSON,
        date(2031, 6, 1), date(2031, 6, 3),
    ),
}  # fmt: skip


@pytest.fixture(params=SERVICES)
def case(request: pytest.FixtureRequest, server: WeatherServer, clock: HandClock) -> Case:
    """Each service in turn, at noon; the first of the two steps of nws is always good."""
    clock.wall = NOON_UTC
    server.date_utc = clock.now_utc
    server.say_at(POINT, good(nws_point(), kind=GEO_JSON))
    return CASES[request.param]


@pytest.fixture
def ask(case: Case, ask_as: AskAs) -> Callable[[], OnlineAnswer]:
    """The service of the case."""
    named = ask_as(case.name, contact=CONTACT)
    return lambda: named.days(case.place, past_days=2, forecast_days=3)


Ask = Callable[[], OnlineAnswer]


def questions(server: WeatherServer) -> int:
    """How many were put, that for the square left out."""
    return len([path for path in server.paths if path != POINT])


def test_the_services_are_asked_in_this_order() -> None:
    assert SERVICES == ("open-meteo", "met-norway", "nasa-power", "nws")
    assert set(CASES) == set(SERVICES)


def test_a_garden_file_may_name_the_services_there_are_and_no_others() -> None:
    assert values.SERVICES == SERVICES
    assert {n for n, about in ABOUT.items() if about.wants_contact} == values.WANT_CONTACT


def test_a_good_answer_becomes_days_named_for_what_they_are(
    case: Case, server: WeatherServer, ask: Ask
) -> None:
    server.say(case.good)
    answer = ask()
    assert (answer.days[0].day, answer.days[-1].day) == (case.first, case.last)
    for day in answer.days:
        kind = "model" if day.day < TODAY else "forecast"
        assert day.source == f"{case.name} {kind}"
        assert (day.measured, day.modelled) == (False, day.day < TODAY)
    assert answer.fresh
    assert answer.fetched_utc == NOON_UTC
    assert [r for r in answer.remarks if "sun" not in r and "rain" not in r] == []
    assert all(r.startswith(f"{case.name}: ") for r in answer.remarks)


def test_each_says_whose_data_they_are(tmp_path: Path, clock: HandClock) -> None:
    credits = {name: service(name, tmp_path, clock).credit for name in SERVICES}
    # What each asks for: whose, a link to them, the licence and its text (CC BY 4.0, section 3(a)),
    # and that the data were changed.
    cc_by = "CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/)"
    wanted = {
        "open-meteo": ["Open-Meteo.com", "https://open-meteo.com/", cc_by, "worked into"],
        "met-norway": [
            "MET Norway", "https://api.met.no/", cc_by, "worked into",
            "NLOD 2.0 (https://data.norge.no/nlod/en/2.0)",
        ],
        "nasa-power": ["NASA POWER project, NASA Langley", "https://power.larc.nasa.gov/docs/"],
        "nws": ["US National Weather Service, public domain", "https://www.weather.gov/"],
    }  # fmt: skip
    assert credits.keys() == wanted.keys()
    for name, parts in wanted.items():
        assert all(part in credits[name] for part in parts), credits[name]


def test_who_asks_is_told_to_those_who_want_to_know_and_to_no_other(
    case: Case, server: WeatherServer, ask: Ask
) -> None:
    server.say(case.good)
    ask()
    wants = case.name in ("met-norway", "nws")
    assert all(agent.startswith("Rowgate/") for agent in server.agents)
    assert [agent.endswith(f" ({CONTACT})") for agent in server.agents] == [wants] * len(
        server.agents
    )
    assert not any(CONTACT in value for sent in server.asked for value in sent.values())


@pytest.mark.parametrize("name", ["met-norway", "nws"])
@pytest.mark.parametrize("contact", ["", "  ", "a\r\nX-Evil: 1", "gärtner@example.org", "x" * 300])
def test_a_service_that_wants_a_contact_is_not_asked_without_one(
    server: WeatherServer, ask_as: AskAs, name: str, contact: str
) -> None:
    named = ask_as(name, contact=contact)
    with pytest.raises(NoWeather, match=rf"^{name}: .*contact.* in \[weather\] of the garden file"):
        named.days(CASES[name].place, past_days=2, forecast_days=3)
    assert server.asked == []


def test_a_kept_answer_serves_without_asking_and_outlives_the_program(
    case: Case, server: WeatherServer, ask: Ask, ask_as: AskAs, clock: HandClock
) -> None:
    server.say(case.good)
    first = ask()
    clock.advance(3 * HOUR - 1)
    another = ask_as(case.name, contact=CONTACT)
    assert another.days(case.place, past_days=2, forecast_days=3) == first
    assert questions(server) == 1
    clock.advance(9 * HOUR + 1)
    ask()
    assert questions(server) == 2


@pytest.mark.parametrize(
    "headers",
    [
        {"Expires": format_datetime(NOON_UTC + timedelta(hours=20), usegmt=True)},
        {"Cache-Control": "public, max-age=72000, s-maxage=60"},
        # The age wins over the date (RFC 9111, 5.3).
        {"Cache-Control": "max-age=72000", "Expires": "0"},
    ],
)
def test_no_service_is_asked_before_it_says_there_may_be_news(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock, headers: dict[str, str]
) -> None:
    server.say(replace(case.good, headers=headers))
    ask()
    clock.advance(20 * HOUR - 1)
    assert ask().fresh
    assert questions(server) == 1
    clock.advance(1)
    ask()
    assert questions(server) == 2


def test_a_time_for_news_beyond_a_day_is_not_believed(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    server.say(replace(case.good, headers={"Cache-Control": "max-age=99999999"}))
    ask()
    clock.advance(DAY)
    ask()
    assert questions(server) == 2


def test_only_what_is_newer_is_asked_for_and_nothing_newer_makes_the_old_fresh(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    marks = {"ETag": 'W/"abc"', "Last-Modified": "Sun, 01 Jun 2031 12:00:00 GMT"}
    server.say(replace(case.good, headers=marks), UNCHANGED)
    first = ask()
    assert "If-None-Match" not in server.headers[-1]
    assert "If-Modified-Since" not in server.headers[-1]
    for _ in range(2):  # the marks stay, though the service need not repeat them
        clock.advance(12 * HOUR)
        again = ask()
        assert server.headers[-1]["If-None-Match"] == 'W/"abc"'
        assert server.headers[-1]["If-Modified-Since"] == "Sun, 01 Jun 2031 12:00:00 GMT"
        assert again.fresh
        assert again.fetched_utc == clock.now_utc()
    assert questions(server) == 3
    assert {d.day for d in first.days} >= {d.day for d in again.days if d.day <= case.last}


@pytest.mark.parametrize("changed", [timedelta(weeks=3), timedelta(seconds=1), -timedelta(days=2)])
def test_a_mark_later_than_its_answer_or_old_is_not_sent_back(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock, changed: timedelta
) -> None:
    """The US service dated answers up to three weeks ahead in 2020, and then had nothing new."""
    mark = format_datetime(NOON_UTC + changed, usegmt=True)
    server.say(replace(case.good, headers={"Last-Modified": mark}))
    ask()
    clock.advance(12 * HOUR)
    assert ask().fresh
    assert "If-Modified-Since" not in server.headers[-1]
    assert questions(server) == 2


def test_a_mark_that_has_grown_older_than_a_day_is_not_sent_back(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    mark = format_datetime(NOON_UTC, usegmt=True)
    server.say(replace(case.good, headers={"Last-Modified": mark}), UNCHANGED)
    ask()
    clock.advance(20 * HOUR)
    ask()
    assert server.headers[-1]["If-Modified-Since"] == mark
    server.say(case.good)
    clock.advance(20 * HOUR)
    ask()
    assert "If-Modified-Since" not in server.headers[-1]


def test_nothing_newer_than_nothing_is_no_answer(
    case: Case, server: WeatherServer, ask: Ask
) -> None:
    server.say(UNCHANGED)
    with pytest.raises(NoWeather, match="sent on to another page"):
        ask()


@pytest.mark.parametrize("status", [408, 500, 502, 503, 504])
def test_a_passing_trouble_is_tried_again(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], status: int
) -> None:
    server.say(problem(status, "Unexpected Problem", "An invented one."), case.good)
    assert ask().fresh
    assert slept == [2.0]


def test_a_refusal_tells_its_reason_and_is_not_repeated(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    server.say(problem(400, "Bad Request", "Query parameter is not recognized"))
    with pytest.raises(
        NoWeather, match=rf"^{case.name}: .*\(400\): Query parameter is not recognized; no earlier"
    ):
        ask()
    assert (questions(server), slept) == (1, [])


@pytest.mark.parametrize("status", [401, 422])
def test_a_refusal_may_come_without_a_reason(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], status: int
) -> None:
    server.say(Reply(body=b"<h1>Forbidden</h1>", status=status, kind="text/html"))
    with pytest.raises(NoWeather, match=rf"refused the question \({status}\); no earlier"):
        ask()
    assert (questions(server), slept) == (1, [])


@pytest.mark.parametrize("status", [403, 429])
def test_one_that_shuts_us_out_without_naming_a_wait_is_left_alone_for_an_hour(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], clock: HandClock, status: int
) -> None:
    server.say(problem(status, "Forbidden", "An invented reason."))
    with pytest.raises(NoWeather, match=r"An invented reason\.; it is left alone for an hour"):
        ask()
    clock.advance(HOUR - 1)
    with pytest.raises(NoWeather, match=r"left alone until 2031-06-01 13:00 UTC"):
        ask()
    assert (questions(server), slept) == (1, [])
    server.say(case.good)
    clock.advance(1)
    assert ask().fresh


def test_a_refusal_that_names_a_wait_is_waited_for_by_it(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    server.say(error(403, "Invented", Retry_After="60"))
    with pytest.raises(NoWeather, match="left alone for as long as it asks"):
        ask()
    server.say(case.good)
    clock.advance(60)
    assert ask().fresh


def test_too_many_questions_with_a_wait_are_waited_for(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    server.say(error(429, "Too many requests", Retry_After="11"), case.good)
    assert ask().fresh
    assert slept == [11.0]


def test_a_long_wait_is_kept_to_by_other_runs_while_the_others_are_asked(
    case: Case, server: WeatherServer, ask: Ask, ask_as: AskAs, clock: HandClock
) -> None:
    server.say(error(429, "Too many requests", Retry_After="1800"))
    with pytest.raises(NoWeather, match="too many questions"):
        ask()
    again = ask_as(case.name, contact=CONTACT)
    with pytest.raises(NoWeather, match="asked us to wait"):
        again.days(case.place, past_days=2, forecast_days=3)
    assert questions(server) == 1
    other = CASES["open-meteo" if case.name != "open-meteo" else "nasa-power"]
    server.say(other.good)
    assert ask_as(other.name).days(other.place, past_days=2, forecast_days=3).fresh
    clock.advance(1801)
    server.say(case.good)
    assert ask().fresh


def test_a_wait_named_by_date_is_held_against_the_services_own_clock(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], clock: HandClock
) -> None:
    server.date_utc = lambda: NOON_UTC
    clock.step_wall(-0.9 * DAY)  # wrong, but not so far that it is told of
    until = format_datetime(NOON_UTC + timedelta(seconds=9), usegmt=True)
    server.say(error(503, "overloaded", Retry_After=until), case.good)
    ask()
    assert slept == [9.0]


def test_an_answer_in_any_wrapping_reads_the_same(
    case: Case, server: WeatherServer, ask_as: AskAs, tmp_path: Path
) -> None:
    found = []
    plain = case.good
    for reply in (plain, plain.packed(), replace(plain, chunked=True),
                  replace(plain.packed(), chunked=True)):  # fmt: skip
        server.say(reply)
        for path in (tmp_path / "cache").glob("*"):
            path.unlink()
        named = ask_as(case.name, contact=CONTACT)
        found.append(named.days(case.place, past_days=2, forecast_days=3).days)
    assert found == [found[0]] * 4
    assert server.headers[-1]["Accept-Encoding"] == "gzip"


@pytest.mark.parametrize(
    "cut",
    [
        lambda r: replace(r, lost=len(r.body) // 2),
        lambda r: replace(r.packed(), lost=len(r.packed().body) // 2),
        lambda r: replace(r, chunked=True, lost=len(r.body) // 2),
        lambda r: replace(r.packed(), body=r.packed().body[:-20]),  # its length is right
    ],
)
def test_a_body_cut_off_on_the_way_is_tried_again(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], cut: Callable[[Reply], Reply]
) -> None:
    server.say(cut(case.good), case.good)
    assert ask().fresh
    assert slept == [2.0]


def test_half_a_body_that_claims_to_be_whole_is_refused(
    case: Case, server: WeatherServer, ask: Ask
) -> None:
    body = case.good.body
    server.say(replace(case.good, body=body[: len(body) // 2]))
    with pytest.raises(NoWeather, match="cut short or garbled"):
        ask()


@pytest.mark.parametrize(
    ("reply", "words"),
    [
        (Reply(body=b"<html>Welcome, guest!</html>", kind="text/html"), "text/html, not weather"),
        (Reply(body=b"", kind=""), "of no kind"),
        (Reply(body=b"", status=302, headers={"Location": "/login"}), "sent on to another page"),
        (Reply(body=b"", status=511, kind="text/html"), "refused the question"),
        (Reply(body=b"\xff\xfe", kind="application/json"), "garbled"),
        (Reply(body=b"never packed").with_(Content_Encoding="gzip"), "garbled"),
        (Reply(body=b"[" * 100_000), "larger than|cut short or garbled"),
        (Reply(body=b" " * 3_000_000), "larger than"),
        (Reply(body=b" " * 30_000_000).packed(), "larger than"),
        (Reply(body=b"{}"), "answer"),
        (Reply(body=b"null"), "not for one place"),
    ],
)
def test_what_is_no_weather_is_refused_at_once_and_the_last_answer_kept(
    case: Case, server: WeatherServer, ask: Ask, slept: list[float], clock: HandClock,
    reply: Reply, words: str,
) -> None:  # fmt: skip
    server.say(case.good)
    first = ask()
    clock.advance(12 * HOUR)
    server.say(reply)
    answer = ask()
    # A day may have come to its end, so that one more is wanted of the same answer.
    assert answer.days[: len(first.days)] == first.days
    assert answer.fetched_utc == first.fetched_utc
    assert not answer.fresh
    (told,) = [r for r in answer.remarks if "used is the last answer, 12 h old" in r]
    assert any(word in told for word in words.split("|"))
    assert (questions(server), slept) == (2, [])


def test_a_small_body_that_swells_is_not_unpacked_to_its_end(
    server: WeatherServer, ask_as: AskAs
) -> None:
    server.say(Reply(body=b" " * 30_000_000).packed())  # 30 kB on the way
    named = ask_as("open-meteo")
    tracemalloc.start()
    try:
        with pytest.raises(NoWeather, match="larger than"):
            named.days(MADRID, past_days=2, forecast_days=3)
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak_bytes < 4_000_000


@pytest.mark.parametrize("name", ["open-meteo", "met-norway", "nws"])
def test_an_old_forecast_serves_a_day_then_with_a_warning_then_not_at_all(
    server: WeatherServer, ask_as: AskAs, clock: HandClock, name: str
) -> None:
    case = CASES[name]
    clock.wall = NOON_UTC
    server.say_at(POINT, good(nws_point(), kind=GEO_JSON))
    server.say(case.good)
    named = ask_as(name, contact=CONTACT)

    def ask() -> OnlineAnswer:
        return named.days(case.place, past_days=2, forecast_days=3)

    fetched = ask().fetched_utc
    server.say(BUSY)
    clock.advance(23 * HOUR)
    answer = ask()
    assert (answer.fresh, answer.fetched_utc) == (False, fetched)
    assert not any("warning" in r for r in answer.remarks)
    clock.advance(25 * HOUR)
    assert any("warning: this forecast is 48 h old" in r for r in ask().remarks)
    clock.advance(25 * HOUR)
    with pytest.raises(NoWeather, match="73 h old, too old to use"):
        ask()


def test_what_has_been_stays_true_however_old_the_answer(
    server: WeatherServer, ask_as: AskAs, clock: HandClock
) -> None:
    case = CASES["nasa-power"]
    clock.wall = NOON_UTC
    server.say(case.good)
    named = ask_as(case.name)
    first = named.days(case.place, past_days=2, forecast_days=3)
    server.say(BUSY)
    clock.advance(40 * DAY)
    answer = named.days(case.place, past_days=2, forecast_days=3)
    assert (answer.days, answer.fresh) == (first.days, False)
    assert any("960 h old" in r for r in answer.remarks)
    assert server.asked[-1]["end"] == "20310710"  # it was asked about the days since


@pytest.mark.parametrize("stepped_s", [-61 * 365 * DAY, 20 * 365 * DAY])
def test_a_clock_that_is_wrong_is_told_of(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock, stepped_s: float
) -> None:
    """1970 or so, as after a power cut without a battery; or far ahead."""
    server.date_utc = lambda: NOON_UTC  # the service's own clock is right
    clock.step_wall(stepped_s)
    server.say(case.good)
    if case.name == "nasa-power" and stepped_s < 0.0:
        with pytest.raises(NoWeather, match="1970-06-16: is this clock right"):
            ask()
        assert server.asked == []
        return
    answer = ask()
    assert any(
        "the weather service's date is 2031-06-01, this clock's" in r for r in answer.remarks
    )
    # No forecast passes for a measurement, whatever this clock says.
    assert not any(d.measured for d in answer.days if d.day >= TODAY)


def test_days_that_are_empty_for_a_wrong_clock_make_it_doubted(
    server: WeatherServer, ask_as: AskAs, clock: HandClock
) -> None:
    clock.wall = NOON_UTC + timedelta(days=3650)
    server.date_utc = lambda: NOON_UTC
    server.say(good(nasa_power(date(2041, 5, 27), 2, all_late=2)))
    with pytest.raises(NoWeather, match=r"no day whole; its clock says 2031-06-01, this one 2041-"):
        ask_as("nasa-power").days(MADRID, past_days=2, forecast_days=0)


@pytest.mark.parametrize("stepped_s", [-30 * 365 * DAY, 20 * 365 * DAY])
def test_a_refusal_that_comes_of_a_wrong_clock_says_so(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock, stepped_s: float
) -> None:
    server.date_utc = lambda: NOON_UTC
    clock.step_wall(stepped_s)
    server.say(problem(422, "Unprocessable", "Invented: the dates are not served"))
    with pytest.raises(NoWeather, match=r"its clock says 2031-06-01, this one .* clock right\?"):
        ask()


def test_when_the_clock_is_put_right_an_answer_is_as_old_as_it_is(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    """Fetched while this clock was ten years ahead: counted from the service's own time."""
    server.date_utc = lambda: NOON_UTC
    clock.step_wall(10 * 365 * DAY)
    server.say(case.good)
    ask()
    clock.step_wall(-10 * 365 * DAY)
    clock.advance(2 * HOUR)
    assert ask().fresh
    assert questions(server) == 1


def test_a_clock_that_falls_back_does_not_make_an_answer_fresh_for_good(
    case: Case, server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    server.say(case.good)
    ask()
    clock.step_wall(-2 * DAY)
    server.date_utc = lambda: NOON_UTC
    ask()
    assert questions(server) == 2


@pytest.mark.parametrize("name", ["met-norway", "nws"])
def test_a_service_that_repeats_an_old_forecast_is_seen_through(
    server: WeatherServer, ask_as: AskAs, clock: HandClock, name: str
) -> None:
    case = CASES[name]
    clock.wall = NOON_UTC + timedelta(hours=40)
    server.date_utc = clock.now_utc
    server.say_at(POINT, good(nws_point(), kind=GEO_JSON))
    server.say(case.good.with_(ETag='"1"'), UNCHANGED)
    named = ask_as(name, contact=CONTACT)
    answer = named.days(case.place, past_days=0, forecast_days=3)
    assert any("warning: its forecast was made" in r for r in answer.remarks)
    clock.advance(40 * HOUR)
    with pytest.raises(NoWeather, match="too old to use"):
        named.days(case.place, past_days=0, forecast_days=3)


def test_a_body_that_trickles_is_left_at_the_deadline(
    case: Case, server: WeatherServer, tmp_path: Path, session: requests.Session
) -> None:
    server.date_utc = None
    server.say(replace(case.good, pause_s=0.02))  # would take many seconds
    clock = SystemClock()  # real time: a real socket trickles
    named = service(
        case.name,
        tmp_path,
        clock,
        contact=CONTACT,
        base_url=server.root if case.name == "nws" else server.url,
        fetcher=Fetcher(
            clock, session=session, policy=RetryPolicy(overall_s=0.2), sleep=lambda _: None
        ),
    )
    began = clock.mono_s()
    with pytest.raises(NoWeather, match="took too long over its answer"):
        named.days(case.place, past_days=2, forecast_days=3)
    assert 0.2 <= clock.mono_s() - began < 1.0


def test_a_service_that_keeps_silent_or_is_not_there_is_left(
    case: Case, tmp_path: Path, clock: HandClock, session: requests.Session
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        root = f"http://127.0.0.1:{silent.getsockname()[1]}"
        named = service(
            case.name,
            tmp_path,
            clock,
            contact=CONTACT,
            base_url=root,
            fetcher=Fetcher(
                clock,
                session=session,
                policy=RetryPolicy(read_s=0.03, tries=2),
                sleep=lambda _: None,
            ),
        )
        with pytest.raises(NoWeather, match="did not answer in time"):
            named.days(case.place, past_days=2, forecast_days=3)
    with pytest.raises(NoWeather, match="cannot be reached"):
        named.days(case.place, past_days=2, forecast_days=3)


def test_urllib3_without_single_reads_is_read_byte_by_byte(
    case: Case, server: WeatherServer, tmp_path: Path, clock: HandClock
) -> None:
    """As on boards whose own packages are older than urllib3 2.1."""

    class Older:
        def __init__(self, raw: Any) -> None:
            self._raw = raw

        def __getattr__(self, name: str) -> Any:
            if name == "read1":
                raise AttributeError(name)
            return getattr(self._raw, name)

    class OldSession(requests.Session):
        def get(self, *args: Any, **kwargs: Any) -> requests.Response:
            response = super().get(*args, **kwargs)
            response.raw = Older(response.raw)
            return response

    session = OldSession()
    session.trust_env = False
    server.say(case.good)
    named = service(
        case.name,
        tmp_path,
        clock,
        contact=CONTACT,
        base_url=server.root if case.name == "nws" else server.url,
        fetcher=Fetcher(clock, session=session),
    )
    assert named.days(case.place, past_days=2, forecast_days=3).fresh


@pytest.mark.parametrize(
    ("name", "past_days", "forecast_days", "words"),
    [
        ("met-norway", 5, 0, "it has days to come only"),
        ("nws", 5, 0, "it has days to come only"),
        ("nasa-power", 0, 5, "it has the past only"),
        ("open-meteo", 0, 0, "no days were asked for"),
    ],
)
def test_what_a_service_does_not_have_is_not_asked_for(
    server: WeatherServer, ask_as: AskAs, name: str, past_days: int, forecast_days: int, words: str
) -> None:
    named = ask_as(name, contact=CONTACT)
    with pytest.raises(NoWeather, match=words):
        named.days(CASES[name].place, past_days=past_days, forecast_days=forecast_days)
    assert server.asked == []


@pytest.mark.parametrize("name", SERVICES)
def test_a_place_that_is_none_is_out_of_range(ask_as: AskAs, name: str) -> None:
    named = ask_as(name, contact=CONTACT)
    for place in (
        replace(MADRID, latitude_deg=90.5),
        replace(MADRID, longitude_deg=180.5),
        replace(MADRID, latitude_deg=float("nan")),
    ):
        with pytest.raises(OutOfRange):
            named.days(place, past_days=2, forecast_days=3)


def test_a_service_nobody_knows_is_refused_by_name(tmp_path: Path, clock: HandClock) -> None:
    with pytest.raises(InputError, match="found 'almanac'; allowed is open-meteo, met-norway"):
        service("almanac", tmp_path, clock)


def test_a_form_of_asking_that_is_on_its_way_out_is_told_of(
    case: Case, server: WeatherServer, ask: Ask
) -> None:
    server.say(replace(case.good, status=203))
    answer = ask()
    assert answer.fresh
    assert any("on its way out (203)" in r for r in answer.remarks)


class TestSquares:
    """The two steps of the US National Weather Service."""

    @pytest.fixture
    def ask(
        self, server: WeatherServer, clock: HandClock, ask_as: AskAs
    ) -> Callable[[], OnlineAnswer]:
        """At noon, the place and its square known."""
        clock.wall = NOON_UTC
        server.say_at(POINT, good(nws_point(), kind=GEO_JSON))
        server.say_at(GRID, CASES["nws"].good)
        named = ask_as("nws", contact=CONTACT)
        return lambda: named.days(PLAINS, past_days=2, forecast_days=3)

    def test_the_square_is_looked_up_once_a_week(
        self, server: WeatherServer, clock: HandClock, ask: Ask
    ) -> None:
        for _ in range(5):
            ask()
            clock.advance(4 * HOUR)
        assert server.paths == [POINT, *[GRID] * 5]
        assert server.asked == [{}] * 6  # a query it does not know would be refused
        clock.advance(7 * DAY)
        server.say_at(POINT, BUSY)
        server.say_at(GRID, good(nws_grid(clock.now_utc() - timedelta(hours=12)), kind=GEO_JSON))
        answer = ask()  # however old: the square itself tells if it is gone
        assert answer.fresh
        assert not any("overloaded" in r for r in answer.remarks)

    def test_a_square_that_is_gone_is_looked_up_anew(
        self, server: WeatherServer, clock: HandClock, ask: Ask
    ) -> None:
        ask()
        clock.advance(4 * HOUR)
        moved = "/gridpoints/YYY/11,21"
        server.say_at(GRID, problem(404, "Not Found", "Invented: no such square"))
        server.say_at(POINT, good(nws_point("YYY/11,21"), kind=GEO_JSON))
        server.say_at(moved, CASES["nws"].good)
        assert ask().fresh
        assert server.paths == [POINT, GRID, GRID, POINT, moved]
        clock.advance(4 * HOUR)
        assert ask().fresh
        assert server.paths[5:] == [moved]

    def test_a_square_that_stays_gone_leaves_the_last_answer(
        self, server: WeatherServer, clock: HandClock, ask: Ask
    ) -> None:
        first = ask()
        clock.advance(4 * HOUR)
        server.say_at(GRID, problem(404, "Not Found", "Invented: no such square"))
        answer = ask()
        assert (answer.days, answer.fresh) == (first.days, False)
        assert any("(404): Invented: no such square" in r for r in answer.remarks)
        assert server.paths == [POINT, GRID, GRID, POINT, GRID]  # and no more than that

    def test_a_place_outside_the_states_is_told_so_in_plain_words(
        self, server: WeatherServer, ask: Ask, ask_as: AskAs, slept: list[float]
    ) -> None:
        server.say_at(POINT, problem(404, "Data Unavailable For Requested Point", "Invented"))
        with pytest.raises(NoWeather, match=r"^nws: .* serves the United States only$"):
            ask()
        assert (server.paths, slept) == ([POINT], [])
        with pytest.raises(NoWeather, match="serves the United States only"):
            ask_as("nws", contact=CONTACT).days(MADRID, past_days=2, forecast_days=3)
        assert server.paths == [POINT]

    def test_a_first_answer_without_a_square_is_refused(
        self, server: WeatherServer, ask: Ask
    ) -> None:
        server.say_at(POINT, good({"properties": {}}, kind=GEO_JSON))
        with pytest.raises(NoWeather, match="no square"):
            ask()

    def test_a_grid_that_has_expired_is_tried_again(
        self, server: WeatherServer, ask: Ask, slept: list[float]
    ) -> None:
        server.say_at(GRID, problem(500, "Grid expired", "Invented"), CASES["nws"].good)
        assert ask().fresh
        assert slept == [2.0]


def test_what_is_kept_on_disk_names_no_contact(
    case: Case, server: WeatherServer, ask: Ask, tmp_path: Path
) -> None:
    server.say(case.good)
    ask()
    kept = [path.read_text(encoding="utf-8") for path in (tmp_path / "cache").iterdir()]
    assert all(json.loads(text)["key"].startswith(case.name) for text in kept)
    assert not any(CONTACT in text for text in kept)
