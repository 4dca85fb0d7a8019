"""What comes of each way the public weather service can answer, or not."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from email.utils import format_datetime
from pathlib import Path

import pytest
import requests
from support.clock import HandClock
from support.weather_server import Reply, WeatherServer, error, forecast, good

from controller.clock import SystemClock
from controller.errors import NoWeather, OutOfRange
from controller.weather.online.client import Fetcher
from controller.weather.online.limits import RetryPolicy
from controller.weather.online.services import ABOUT, OnlineAnswer, Place, Service, service

Ask = Callable[[], OnlineAnswer]
TODAY = date(2031, 6, 1)
HERE = Place(latitude_deg=40.0, longitude_deg=-4.0, elevation_m=640.0, timezone="Europe/Madrid")
HOUR = 3600.0
BUSY = error(503, "The service is overloaded")


def test_a_good_answer_becomes_days_in_our_units(server: WeatherServer, ask: Ask) -> None:
    server.say(good(forecast(TODAY)))
    answer = ask()
    assert [d.day.isoformat() for d in answer.days] == [
        "2031-05-30", "2031-05-31", "2031-06-01", "2031-06-02", "2031-06-03",
    ]  # fmt: skip
    assert answer.days[2].known() == {
        "tmin_c": 12.4, "tmax_c": 27.1, "rh_min_pct": 31.0, "rh_max_pct": 79.0, "dewpoint_c": 8.9,
        "wind_m_s": 2.1, "solar_mj_m2": 24.9, "rain_mm": 0.4, "rain_chance_pct": 8.0,
    }  # fmt: skip
    assert {d.wind_height_m for d in answer.days} == {10.0}
    assert answer.fresh
    assert answer.remarks == ()
    assert answer.credit == ABOUT["open-meteo"].credit


def test_the_question_names_place_zone_days_and_units(server: WeatherServer, ask: Ask) -> None:
    server.say(good(forecast(TODAY)))
    ask()
    (asked,) = server.asked
    assert asked["latitude"] == "40.5123"
    assert asked["longitude"] == "-4.2000"
    assert asked["elevation"] == "640"
    assert asked["timezone"] == "Europe/Madrid"
    assert (asked["past_days"], asked["forecast_days"]) == ("2", "3")
    assert asked["wind_speed_unit"] == "ms"
    assert "wind_speed_10m_mean" in asked["daily"].split(",")
    assert len(asked["daily"].split(",")) <= 10  # more would count as several calls
    assert server.agents[0].startswith("Rowgate/")
    assert server.agents[0] != "Rowgate/"


def test_days_before_today_are_a_models_and_the_others_forecast(
    server: WeatherServer, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    days = ask().days
    assert [d.modelled for d in days] == [True, True, False, False, False]
    assert not any(d.measured for d in days)
    assert days[1].source == "open-meteo model"
    assert days[2].source == "open-meteo forecast"
    assert days[1].rain_chance_pct is None


def test_today_is_the_gardens_date_not_greenwichs(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    clock.wall = datetime(2031, 5, 31, 22, 30, tzinfo=UTC)  # half past midnight in Madrid
    server.say(good(forecast(TODAY)))
    assert [d.day for d in ask().days if d.modelled][-1] == date(2031, 5, 31)


def test_a_forecast_does_not_become_a_models_day_in_the_cache(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    ask()
    clock.advance(23 * HOUR)
    server.say(error(400, "no"))
    answer = ask()
    assert not answer.fresh
    assert [d.modelled for d in answer.days] == [True, True, False, False, False]


def test_an_answer_is_kept_for_three_hours_without_asking_again(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    first = ask()
    clock.advance(3 * HOUR - 1)
    again = ask()
    assert len(server.asked) == 1
    assert again == first
    clock.advance(1)
    assert ask().fetched_utc == clock.now_utc()
    assert len(server.asked) == 2


def test_yesterday_is_asked_for_again_once_it_has_settled(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    """At eleven in Madrid it has not; at noon it has, though the answer is an hour old."""
    clock.wall = datetime(2031, 6, 1, 9, tzinfo=UTC)
    server.say(good(forecast(TODAY)).with_(Cache_Control="max-age=36000"))
    assert [d.settles for d in ask().days] == [False, True, False, False, False]
    clock.advance(HOUR - 1)
    ask()
    assert len(server.asked) == 1
    clock.advance(1)
    assert not any(d.settles for d in ask().days)
    assert len(server.asked) == 2
    clock.advance(9 * HOUR)
    ask()
    assert len(server.asked) == 2


def test_the_kept_answer_outlives_the_program(
    server: WeatherServer, clock: HandClock, ask: Ask, tmp_path: Path, place: Place
) -> None:
    server.say(good(forecast(TODAY)))
    first = ask()
    another = service("open-meteo", tmp_path / "cache", clock, base_url=server.url)
    assert another.days(place, past_days=2, forecast_days=3) == first
    assert len(server.asked) == 1


def test_another_place_is_another_question(
    server: WeatherServer, online: Service, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    ask()
    online.days(replace(HERE, latitude_deg=41.0), past_days=2, forecast_days=3)
    assert len(server.asked) == 2


def test_an_old_answer_serves_a_day_then_with_a_warning_then_not_at_all(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    fetched = ask().fetched_utc
    server.say(BUSY)
    clock.wall = fetched
    clock.advance(23 * HOUR)
    answer = ask()
    assert (answer.fresh, answer.fetched_utc) == (False, fetched)
    assert any("out of order (503)" in r and "23 h old" in r for r in answer.remarks)
    assert not any("warning" in r for r in answer.remarks)
    clock.advance(25 * HOUR)
    assert any("warning: this forecast is 48 h old" in r for r in ask().remarks)
    clock.advance(25 * HOUR)
    with pytest.raises(NoWeather, match="73 h old, too old"):
        ask()


def test_an_answer_kept_by_a_clock_that_ran_ahead_is_asked_for_again(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    clock.step_wall(90 * 86400)
    assert any("this clock's 2031-08-30" in r for r in ask().remarks)
    clock.step_wall(-90 * 86400)
    assert ask().fresh
    assert len(server.asked) == 2


def test_an_answer_from_a_future_date_serves_only_if_its_own_dates_are_near(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    clock.step_wall(90 * 86400)
    ask()
    server.say(error(400, "no"))
    clock.step_wall(-90 * 86400)
    assert ask().days[-1].day == date(2031, 6, 3)
    clock.wall = datetime(1970, 1, 1, tzinfo=UTC)
    with pytest.raises(NoWeather, match="still to come"):
        ask()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"url": 3}', "\0\0\0", "half a {", "[" * 9999])
def test_a_kept_file_that_does_not_read_is_set_aside_and_asked_for_again(
    server: WeatherServer, ask: Ask, tmp_path: Path, text: str
) -> None:
    server.say(good(forecast(TODAY)))
    ask()
    (path,) = (tmp_path / "cache").iterdir()
    path.write_text(text, encoding="utf-8")
    answer = ask()
    assert answer.fresh
    assert any("set aside" in r for r in answer.remarks)
    assert sorted(p.suffix for p in (tmp_path / "cache").iterdir()) == [".bad", ".json"]


def test_a_kept_answer_that_no_longer_makes_sense_is_set_aside(
    server: WeatherServer, ask: Ask, tmp_path: Path
) -> None:
    server.say(good(forecast(TODAY)))
    ask()
    (path,) = (tmp_path / "cache").iterdir()
    record = json.loads(path.read_text(encoding="utf-8"))
    path.write_text(json.dumps({**record, "body": "{}"}), encoding="utf-8")
    assert any("set aside" in r for r in ask().remarks)
    assert len(server.asked) == 2


def test_a_cache_that_cannot_be_written_costs_a_remark_only(
    server: WeatherServer, ask: Ask, tmp_path: Path
) -> None:
    (tmp_path / "cache").write_text("in the way", encoding="utf-8")
    server.say(good(forecast(TODAY)))
    answer = ask()
    assert len(answer.days) == 5
    assert any("could not be kept" in r for r in answer.remarks)


def test_a_refusal_tells_its_reason_and_is_not_repeated(
    server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    server.say(error(400, "Invented reason: start_date outside the served range"))
    with pytest.raises(NoWeather, match=r"refused the question \(400\): Invented reason"):
        ask()
    assert (len(server.asked), slept) == (1, [])


@pytest.mark.parametrize("status", [408, 500, 502, 503, 504])
def test_a_passing_trouble_is_tried_again_and_forgotten(
    server: WeatherServer, ask: Ask, slept: list[float], status: int
) -> None:
    server.say(error(status, "busy"), error(status, "busy"), good(forecast(TODAY)))
    answer = ask()
    assert answer.fresh
    assert answer.remarks == ()
    assert slept == [2.0, 4.0]


def test_tries_end_after_the_fourth(server: WeatherServer, ask: Ask, slept: list[float]) -> None:
    server.say(Reply(body=b"<h1>502 Bad gateway</h1>", status=502, kind="text/html"))
    with pytest.raises(NoWeather, match=r"out of order \(502\); no earlier answer is kept"):
        ask()
    assert (len(server.asked), slept) == (4, [2.0, 4.0, 8.0])


def test_a_wait_is_drawn_anew_each_time(
    server: WeatherServer, clock: HandClock, tmp_path: Path
) -> None:
    draws = iter([0.25, 0.5, 0.75])
    slept: list[float] = []
    server.say(BUSY)
    online = service(
        "open-meteo",
        tmp_path,
        clock,
        base_url=server.url,
        fetcher=Fetcher(clock, sleep=slept.append, jitter=lambda: next(draws)),
    )
    with pytest.raises(NoWeather):
        online.days(HERE, past_days=2, forecast_days=3)
    assert slept == [0.5, 2.0, 6.0]


def test_a_wait_the_service_asks_for_is_kept(
    server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    server.say(error(429, "Minutely limit exceeded", Retry_After="7"), good(forecast(TODAY)))
    assert ask().fresh
    assert slept == [7.0]


def test_a_wait_may_be_asked_for_as_a_date(
    server: WeatherServer, ask: Ask, slept: list[float], clock: HandClock
) -> None:
    until = format_datetime(datetime(2031, 6, 1, 4, 0, 9, tzinfo=UTC), usegmt=True)
    server.say(error(503, "overloaded", Retry_After=until), good(forecast(TODAY)))
    assert ask().fresh
    assert slept == [9.0]


@pytest.mark.parametrize("word", ["soon", "", "-5", "1e9"])
def test_a_wait_that_does_not_read_is_as_good_as_none(
    server: WeatherServer, ask: Ask, slept: list[float], word: str
) -> None:
    server.say(error(503, "overloaded", Retry_After=word), good(forecast(TODAY)))
    assert ask().fresh
    assert slept == [2.0]


def test_a_long_wait_is_not_sat_out_but_kept_to_the_next_time(
    server: WeatherServer, ask: Ask, slept: list[float], clock: HandClock
) -> None:
    server.say(error(429, "Hourly limit exceeded", Retry_After="1800"))
    for _ in range(2):
        with pytest.raises(NoWeather):
            ask()
    assert (len(server.asked), slept) == (1, [])
    clock.advance(1801)
    server.say(good(forecast(TODAY)))
    assert ask().fresh


def test_a_wait_asked_for_is_kept_to_by_other_runs_too(
    server: WeatherServer, ask: Ask, ask_as: Callable[..., Service], clock: HandClock
) -> None:
    server.say(error(429, "Hourly limit exceeded", Retry_After="1800"))
    with pytest.raises(NoWeather):
        ask()
    another = ask_as("open-meteo")
    with pytest.raises(NoWeather, match="asked us to wait"):
        another.days(HERE, past_days=2, forecast_days=3)
    clock.step_wall(-90 * 86400)  # the wait was noted by a clock that had run ahead
    server.say(good(forecast(date(2031, 3, 3))))
    assert another.days(HERE, past_days=2, forecast_days=3).fresh


def test_no_wait_asked_for_lasts_beyond_six_hours(
    server: WeatherServer, ask: Ask, clock: HandClock
) -> None:
    server.say(error(503, "overloaded", Retry_After="99999999"), good(forecast(TODAY)))
    with pytest.raises(NoWeather):
        ask()
    clock.advance(6 * HOUR - 1)
    with pytest.raises(NoWeather, match="asked us to wait"):
        ask()
    clock.advance(1)
    assert ask().fresh


def test_a_days_allowance_used_up_is_not_asked_about_again_at_once(
    server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    server.say(error(429, "Daily API request limit exceeded. Please try again tomorrow."))
    for _ in range(2):
        with pytest.raises(NoWeather):
            ask()
    assert (len(server.asked), slept) == (1, [])


def test_a_body_cut_off_in_the_middle_is_tried_again(
    server: WeatherServer, ask: Ask, slept: list[float]
) -> None:
    whole = good(forecast(TODAY))
    server.say(Reply(body=whole.body, lost=len(whole.body) // 2), whole)
    assert ask().fresh
    assert slept == [2.0]


def test_half_a_body_that_claims_to_be_whole_is_refused(server: WeatherServer, ask: Ask) -> None:
    body = good(forecast(TODAY)).body
    server.say(Reply(body=body[: len(body) // 2]))
    with pytest.raises(NoWeather, match="cut short or garbled"):
        ask()


def test_a_body_that_trickles_is_left_at_the_deadline(
    server: WeatherServer, tmp_path: Path
) -> None:
    server.say(Reply(body=good(forecast(TODAY)).body, pause_s=0.02))  # would take over two seconds
    clock = SystemClock()  # real time: a real socket trickles
    session = requests.Session()
    session.trust_env = False
    online = service(
        "open-meteo",
        tmp_path,
        clock,
        base_url=server.url,
        fetcher=Fetcher(
            clock, session=session, policy=RetryPolicy(overall_s=0.2), sleep=lambda _: None
        ),
    )
    began = clock.mono_s()
    with pytest.raises(NoWeather, match="took too long over its answer"):
        online.days(HERE, past_days=2, forecast_days=3)
    assert 0.2 <= clock.mono_s() - began < 1.0


def test_a_service_that_keeps_silent_is_left_after_the_read_time(
    tmp_path: Path, clock: HandClock
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as silent:
        session = requests.Session()
        session.trust_env = False
        online = service(
            "open-meteo",
            tmp_path,
            clock,
            base_url=f"http://127.0.0.1:{silent.getsockname()[1]}/",
            fetcher=Fetcher(
                clock,
                session=session,
                policy=RetryPolicy(read_s=0.05, tries=2),
                sleep=lambda _: None,
            ),
        )
        with pytest.raises(NoWeather, match="did not answer in time"):
            online.days(HERE, past_days=2, forecast_days=3)


def test_a_service_that_is_not_there_is_said_to_be_out_of_reach(
    tmp_path: Path, clock: HandClock
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as gone:
        port = gone.getsockname()[1]
    session = requests.Session()
    session.trust_env = False
    slept: list[float] = []
    online = service(
        "open-meteo",
        tmp_path,
        clock,
        base_url=f"http://127.0.0.1:{port}/",
        fetcher=Fetcher(clock, session=session, sleep=slept.append),
    )
    with pytest.raises(NoWeather, match="cannot be reached"):
        online.days(HERE, past_days=2, forecast_days=3)
    assert len(slept) == 3


def test_a_session_fault_of_any_kind_becomes_our_own(tmp_path: Path, clock: HandClock) -> None:
    class Certificate(requests.Session):
        def get(self, *_: object, **__: object) -> requests.Response:
            raise requests.exceptions.SSLError("certificate is not yet valid")

    for session, url, words in [
        (Certificate(), "https://localhost/", "is this clock right"),
        (requests.Session(), "nonsense", "MissingSchema"),
    ]:
        online = service(
            "open-meteo",
            tmp_path,
            clock,
            base_url=url,
            fetcher=Fetcher(clock, session=session, sleep=lambda _: pytest.fail("waits")),
        )
        with pytest.raises(NoWeather, match=words):
            online.days(HERE, past_days=2, forecast_days=3)


def test_too_large_a_body_is_not_read_to_its_end(server: WeatherServer, ask: Ask) -> None:
    server.say(Reply(body=b" " * 2_000_000 + b"{}"))
    with pytest.raises(NoWeather, match="larger than 64 kB"):
        ask()
    assert len(server.asked) == 1


def test_a_trouble_with_a_large_page_to_it_is_still_tried_again(
    server: WeatherServer, ask: Ask
) -> None:
    page = Reply(body=b"<p>" * 100_000, status=503, kind="text/html")
    server.say(page, good(forecast(TODAY)))
    assert ask().fresh


def test_a_sign_in_page_is_taken_for_what_it_is(server: WeatherServer, ask: Ask) -> None:
    server.say(Reply(body=b"<html>Welcome, guest!</html>", kind="text/html; charset=utf-8"))
    with pytest.raises(NoWeather, match=r"the answer is text/html, not weather; .* sign-in"):
        ask()
    moved = Reply(body=b"", status=302, headers={"Location": server.url + "/login"})
    server.say(moved, good(forecast(TODAY)))
    with pytest.raises(NoWeather, match="sent on to another page"):
        ask()
    assert len(server.asked) == 2


def test_a_bad_answer_does_not_replace_the_last_good_one(
    server: WeatherServer, clock: HandClock, ask: Ask
) -> None:
    server.say(good(forecast(TODAY)))
    first = ask()
    clock.advance(4 * HOUR)
    server.say(good({"nothing": "of use"}))
    second = ask()
    assert (second.days, second.fetched_utc, second.fresh) == (
        first.days, first.fetched_utc, False,
    )  # fmt: skip


def test_more_days_than_the_service_has_are_out_of_range(online: Service) -> None:
    for past_days, forecast_days in [(93, 3), (-1, 3), (2, 17), (2, -1)]:
        with pytest.raises(OutOfRange):
            online.days(HERE, past_days=past_days, forecast_days=forecast_days)


def test_a_time_zone_nobody_knows_is_no_weather(online: Service) -> None:
    for name in ["Mars/Olympus", "../etc", ""]:
        with pytest.raises(NoWeather, match="time zone"):
            online.days(replace(HERE, timezone=name), past_days=2, forecast_days=3)
