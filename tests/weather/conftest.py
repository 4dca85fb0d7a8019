"""A weather service on the loopback, a clock turned by hand, and the two put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import requests
from support.clock import HandClock
from support.weather_server import WeatherServer

from controller.weather.online.client import Fetcher
from controller.weather.online.services import OnlineAnswer, Place, Service, service


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
def session() -> requests.Session:
    """One that a proxy of the machine's has no business in."""
    session = requests.Session()
    session.trust_env = False
    return session


@pytest.fixture
def ask_as(
    tmp_path: Path,
    server: WeatherServer,
    clock: HandClock,
    slept: list[float],
    session: requests.Session,
) -> Callable[..., Service]:
    """A service by its name, on the loopback; waits without waiting, always the full bound."""

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        clock.advance(seconds)

    def named(name: str, *, contact: str = "") -> Service:
        return service(
            name,
            tmp_path / "cache",
            clock,
            contact=contact,
            base_url=server.root if name == "nws" else server.url,
            fetcher=Fetcher(clock, session=session, sleep=sleep, jitter=lambda: 1.0),
        )

    return named


@pytest.fixture
def place() -> Place:
    """Invented."""
    return Place(
        latitude_deg=40.51234, longitude_deg=-4.2, elevation_m=640.0, timezone="Europe/Madrid"
    )


@pytest.fixture
def online(ask_as: Callable[..., Service]) -> Service:
    """The service asked first."""
    return ask_as("open-meteo")


@pytest.fixture
def ask(online: Service, place: Place) -> Callable[[], OnlineAnswer]:
    """Two days back, three on, at an invented place."""
    return lambda: online.days(place, past_days=2, forecast_days=3)
