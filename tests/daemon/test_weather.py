"""A source that hangs or is silent is asked again, and `status` says since when."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon import World
from support.daemon_faults import a_slow_garden
from support.gardens import a_garden

from controller.daemon import weather
from controller.daemon.weather import GardenWeather, ThreadFetcher, WeatherAnswer
from controller.errors import NoWeather
from controller.garden.model import Garden, WeatherSource
from controller.inputs.gather import SilentSource
from controller.messages import verbatim
from controller.paper.status import status_text
from controller.weather.online import services
from controller.wording.say import say

BEGAN = HandClock().now_utc()


class _Hanging:
    """A source that lets nobody go until the test does."""

    def __init__(self, clock: HandClock) -> None:
        self.asked, self.let_go, self.clock = 0, threading.Event(), clock
        self.hangs = True
        self.began = threading.Semaphore(0)

    def __call__(self, garden: Garden) -> WeatherAnswer:
        self.asked += 1
        self.began.release()
        if self.hangs:
            self.let_go.wait(120.0)
        return WeatherAnswer(days=(), source="one", asked_utc=self.clock.now_utc())


def _asked(fetcher: ThreadFetcher) -> Callable[[], list[WeatherAnswer]]:
    came: list[WeatherAnswer] = []
    there = threading.Event()

    def reply(answer: WeatherAnswer) -> None:
        came.append(answer)
        if answer.source == "one":  # and not the word that another was given up
            there.set()

    def ask() -> list[WeatherAnswer]:
        there.clear()
        fetcher.ask(a_garden(), reply)
        return came

    ask.there = there  # type: ignore[attr-defined]
    return ask


def test_a_question_that_hangs_is_given_up_and_asked_anew() -> None:
    clock = HandClock()
    source = _Hanging(clock)
    fetcher = ThreadFetcher(source, clock)
    ask = _asked(fetcher)
    assert ask() == []
    assert source.began.acquire(timeout=30.0)
    clock.advance(weather.GIVEN_UP_AFTER_S - 1.0)
    assert ask() == []  # it may still come
    assert source.asked == 1
    clock.advance(2.0)
    source.hangs = False
    came = ask()
    assert came[0].failed
    assert came[0].silent[0].since_utc == BEGAN
    assert "hangs; it is given up after 30 min" in came[0].remarks[0]
    assert source.began.acquire(timeout=30.0)
    assert ask.there.wait(30.0)  # type: ignore[attr-defined]
    source.let_go.set()
    for thread in fetcher._given_up:
        thread.join(30.0)
    answers = [answer for answer in came if answer.source == "one"]
    assert len(answers) == 1, "the answer that was given up is dropped"


def test_threads_that_hang_do_not_grow_in_number() -> None:
    clock = HandClock()
    source = _Hanging(clock)
    ask = _asked(ThreadFetcher(source, clock))
    try:
        for _ in range(8):
            came = ask()
            clock.advance(weather.GIVEN_UP_AFTER_S + 1.0)
        assert source.asked <= weather.MOST_GIVEN_UP
        assert len(came) >= weather.MOST_GIVEN_UP
    finally:
        source.let_go.set()


def test_without_a_thread_to_be_had_the_next_asking_tries_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clock = HandClock()
    source = _Hanging(clock)
    source.hangs = False
    ask = _asked(ThreadFetcher(source, clock))

    def refused(self: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    with monkeypatch.context() as patched:
        patched.setattr(threading.Thread, "start", refused)
        ask()
    assert source.asked == 0
    came = ask()
    assert ask.there.wait(30.0)  # type: ignore[attr-defined]
    assert [answer.source for answer in came] == ["one"]


def test_since_when_each_source_has_been_silent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = HandClock()
    garden = replace(
        a_garden(), weather=WeatherSource(file="station.csv", services=("open-meteo", "nws"))
    )
    last_utc = datetime(2031, 5, 31, 20, 0, tzinfo=UTC)

    class Silent:
        def __init__(self, name: str) -> None:
            self.name = name

        def days(self, *_: object, **__: object) -> services.OnlineAnswer:
            if self.name == "nws":
                raise NoWeather("nws: the weather service took too long over its answer")
            return services.OnlineAnswer(
                days=(), fetched_utc=last_utc, fresh=False, remarks=("open-meteo: down",), credit=""
            )

    monkeypatch.setattr(services, "service", lambda name, *_, **__: Silent(name))
    ask = GardenWeather(tmp_path, tmp_path / "cache", clock)
    first = ask(garden)
    assert [(s.name, s.since_utc, s.heard) for s in first.silent] == [
        ("station.csv", BEGAN, False),
        ("open-meteo", last_utc, True),
        ("nws", BEGAN, False),
    ]
    clock.advance(7200.0)
    (tmp_path / "station.csv").write_text("date,tmin_c,tmax_c,rain_mm\n2031-05-31,11,24,0\n")
    later = ask(garden)
    assert [(s.name, s.since_utc) for s in later.silent] == [
        ("open-meteo", last_utc),
        ("nws", BEGAN),
    ]
    assert "took too long" in say(later.silent[1].why, us=False)
    clock.advance(7200.0)
    (tmp_path / "station.csv").unlink()
    gone = ask(garden)
    assert (gone.silent[0].name, gone.silent[0].heard) == ("station.csv", True)
    assert gone.silent[0].since_utc == BEGAN + timedelta(seconds=7200.0)


def test_status_says_it_to_people(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    why = "the weather service took too long over its answer"
    since = SilentSource(name="nws", since_utc=BEGAN, heard=True, why=verbatim(why))
    answer = WeatherAnswer(
        days=(), source="nws", asked_utc=BEGAN, remarks=(why,), failed=True, silent=(since,)
    )
    world.engine.receive_weather(answer)
    status = world.ask(ask="status")
    assert status["weather"]["silent"] == [
        {
            "source": "nws",
            "silent_since_utc": "2031-06-01T04:00:00+00:00",
            "heard_before": True,
            "why": why,
        }
    ]
    text = status_text(status)
    assert "weather: nws gives nothing new since 2031-06-01 06:00: the weather" in text
    assert max(map(len, text.splitlines())) <= 80
