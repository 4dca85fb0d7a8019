"""Asking the sources in turn: who is asked, who is spared, and what comes of faults."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.gardens import a_garden
from support.said import said

from controller.errors import NoWeather
from controller.garden.model import Garden, WeatherSource
from controller.inputs.days import demand_days
from controller.inputs.gather import Gatherer, best_normals, order_of
from controller.weather.day import WeatherDay
from controller.weather.online import services
from controller.weather.online.services import OnlineAnswer

NOW = datetime(2031, 6, 10, 8, tzinfo=UTC)
TODAY = date(2031, 6, 10)
DAY = timedelta(days=1)


def a_day(day: date, source: str, *, measured: bool = True, **more: Any) -> WeatherDay:
    return WeatherDay(
        day=day, tmin_c=10.0, tmax_c=22.0, rain_mm=0.0, source=source, measured=measured, **more
    )


def around(name: str) -> tuple[WeatherDay, ...]:
    """Yesterday as it was, today and tomorrow as they are forecast."""
    return (
        a_day(TODAY - DAY, f"{name} model", measured=False, modelled=True),
        *(a_day(TODAY + n * DAY, f"{name} forecast", measured=False) for n in (0, 1)),
    )


class Services:
    """Stands in the place of the services; each answers as it was set, and is counted."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, **answers: Any) -> None:
        self.answers = {name.replace("_", "-"): answer for name, answer in answers.items()}
        self.asked: list[str] = []
        monkeypatch.setattr(services, "service", self._service)

    def _service(self, name: str, cache_dir: Path, clock: Any, *, contact: str) -> Any:
        asked, answer = self.asked, self.answers[name]

        class One:
            def days(self, place: Any, **span: int) -> OnlineAnswer:
                asked.append(name)
                if isinstance(answer, Exception):
                    raise answer
                days, fresh = answer
                return OnlineAnswer(
                    days=days, fetched_utc=NOW, fresh=fresh, remarks=(), credit=f"by {name}"
                )

        return One()


def garden(**weather: Any) -> Garden:
    return replace(a_garden(), weather=WeatherSource(**weather))


def gathered(tmp_path: Path, garden: Garden, **more: Any) -> Any:
    return Gatherer(tmp_path, tmp_path / "cache", HandClock(NOW)).gather(
        garden, forecast_days=3, **more
    )


def test_the_second_service_is_spared_while_the_first_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = Services(monkeypatch, open_meteo=(around("open-meteo"), True), met_norway=((), True))
    found = gathered(tmp_path, garden(services=("open-meteo", "met-norway")))
    assert asked.asked == ["open-meteo"]
    assert (found.failed, found.credits) == (False, ("by open-meteo",))
    assert found.order == ("open-meteo", "met-norway")


@pytest.mark.parametrize(
    "first", [NoWeather("open-meteo: it is down"), (around("open-meteo"), False)]
)
def test_the_second_is_asked_where_the_first_fails_or_is_old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: Any
) -> None:
    asked = Services(monkeypatch, open_meteo=first, met_norway=(around("met-norway"), True))
    found = gathered(tmp_path, garden(services=("open-meteo", "met-norway")))
    assert asked.asked == ["open-meteo", "met-norway"]
    assert not found.failed
    assert any(row.source.startswith("met-norway") for row in found.rows)


def test_an_old_answer_of_the_first_does_not_outrank_the_seconds_fresh_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Today at eight: the first last answered yesterday at eight and is down; the second speaks."""

    def days(name: str, given_utc: datetime, rain_mm: float) -> tuple[WeatherDay, ...]:
        return tuple(
            replace(day, given_utc=given_utc, rain_mm=rain_mm, rain_chance_pct=90.0)
            for day in around(name)
            if day.is_forecast
        )

    Services(
        monkeypatch,
        open_meteo=(days("open-meteo", NOW - DAY, 25.0), False),
        met_norway=(days("met-norway", NOW, 0.0), True),
    )
    found = gathered(tmp_path, garden(services=("open-meteo", "met-norway")))
    made = demand_days(
        found.rows, a_garden().site, first=TODAY, last=TODAY + DAY, today=TODAY, order=found.order
    )
    assert {d.source for d in made.days.values()} == {"met-norway forecast"}
    assert [d.rain_mm for d in made.days.values()] == [0.0, 0.0]


def test_a_service_of_the_past_alone_does_not_spare_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    past = (a_day(TODAY - 8 * DAY, "nasa-power model", measured=False, modelled=True),)
    asked = Services(monkeypatch, nasa_power=(past, True), open_meteo=(around("open-meteo"), True))
    gathered(tmp_path, garden(services=("nasa-power", "open-meteo")))
    assert asked.asked == ["nasa-power", "open-meteo"]


def test_the_station_goes_first_and_a_broken_file_stops_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Services(monkeypatch, open_meteo=(around("open-meteo"), True))
    both = garden(file="station.csv", services=("open-meteo",))
    found = gathered(tmp_path, both)
    assert order_of(both) == found.order == ("station.csv", "open-meteo")
    assert any(
        'file = "station.csv" in [weather]: there is no such file' in remark
        for remark in said(found.remarks)
    )
    assert len(found.rows) == 3
    assert not found.failed


def test_nothing_at_all_is_a_failure_that_says_each_reason(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Services(monkeypatch, open_meteo=NoWeather("open-meteo: it is down"))
    found = gathered(tmp_path, garden(file="station.csv", services=("open-meteo",)))
    assert (found.failed, found.rows) == (True, ())
    assert len(found.remarks) == 2


def test_a_file_is_read_again_only_when_it_changed(tmp_path: Path) -> None:
    file = tmp_path / "station.csv"
    file.write_text("date,tmin_c,tmax_c\n2031-06-01,10,20\n", encoding="utf-8")
    gatherer = Gatherer(tmp_path, tmp_path / "cache", HandClock(NOW))
    station = garden(file="station.csv")
    first = gatherer.gather(station, forecast_days=1).rows
    assert gatherer.gather(station, forecast_days=1).rows[0] is first[0]
    file.write_text("date,tmin_c,tmax_c\n2031-06-01,10,21.5\n", encoding="utf-8")
    assert gatherer.gather(station, forecast_days=1).rows[0].tmax_c == 21.5


def test_the_logbooks_own_years_are_normal_once_there_are_two(tmp_path: Path) -> None:
    plot = a_garden()
    years = [a_day(date(2029, 5, 1) + n * DAY, "station.csv") for n in range(760)]
    told: dict[str, Any] = {"garden": plot, "order": ("station.csv",), "today": date(2031, 6, 10)}
    assert best_normals(None, years[400:], **told) is None
    found = best_normals(None, years, **told)
    assert found is not None
    assert found.temperatures(date(2031, 7, 1)) == (10.0, 22.0)


def test_a_file_of_years_outranks_the_logbook(tmp_path: Path) -> None:
    lines = [f"{date(2025, 1, 1) + n * DAY},3,9" for n in range(3 * 365)]
    (tmp_path / "years.csv").write_text(
        "\n".join(["date,tmin_c,tmax_c", *lines]) + "\n", encoding="utf-8"
    )
    found = gathered(tmp_path, garden(normals_file="years.csv"))
    assert found.normals is not None
    assert found.normals.temperatures(date(2031, 7, 1)) == (3.0, 9.0)
    told = best_normals(found.normals, [], garden=a_garden(), order=(), today=TODAY)
    assert told is found.normals
