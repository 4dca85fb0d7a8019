"""A weather service on the loopback, a clock turned by hand, and the two put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import requests
from support.clock import HandClock
from support.weather_server import WeatherServer

from controller.weather.online import OnlineAnswer, OnlineWeather


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    """Started, and stopped after the test."""
    with WeatherServer().running() as running:
        yield running


@pytest.fixture
def clock() -> HandClock:
    """1 June 2031, 06:00 in Madrid."""
    return HandClock()


@pytest.fixture
def slept() -> list[float]:
    """The waits the code under test asked for; the clock went on by each."""
    return []


@pytest.fixture
def online(
    tmp_path: Path, server: WeatherServer, clock: HandClock, slept: list[float]
) -> OnlineWeather:
    """Asks the service on the loopback; waits without waiting, always the full bound."""

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        clock.advance(seconds)

    session = requests.Session()
    session.trust_env = False  # a proxy of the machine's has no business here
    return OnlineWeather(
        tmp_path / "cache", clock, session, server.url, sleep=sleep, jitter=lambda: 1.0
    )


@pytest.fixture
def ask(online: OnlineWeather) -> Callable[[], OnlineAnswer]:
    """Two days back, three on, at an invented place."""
    return lambda: online.days(40.51234, -4.2, 640.0, "Europe/Madrid", 2, 3)
