"""The weather source is silent for ten days: the plan stands on stand-ins and says so."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from support.daemon import World
from support.daemon_faults import a_slow_garden
from support.said import said

from controller.weather.day import WeatherDay

pytestmark = pytest.mark.usefixtures("seldom_looks")


def test_ten_days_without_weather_are_watered_by_stand_ins(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_for(86_400.0)
    world.weather_is_down = True
    world.run_for(10 * 86_400.0)
    days = {day for (_, day), litres in world.litres().items() if litres > 0.0}
    last = world.clock.now_utc().date()
    assert max(days) >= last - timedelta(days=3)
    status = world.ask(ask="status")
    assert status["weather"]["failed"]
    assert status["remarks"]
    assert any(kind == "weather" for kind, _ in world.happenings())
    stood_in = [row for row in world.ledger() if not row.measured]
    assert len(stood_in) >= 8
    assert not any(row.rain_known for row in stood_in)


def test_a_silent_source_is_told_of_once_a_day_not_at_every_asking(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.weather_is_down = True
    world.run_for(3 * 86_400.0)
    assert world.asked_weather >= 6
    assert 3 <= len([1 for kind, _ in world.happenings() if kind == "weather"]) <= 4
    world.weather_is_down = False
    world.run_for(86_400.0)
    assert ("weather", "test answers again") in world.happenings()


def test_a_restart_without_weather_plans_by_what_the_logbook_kept(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.weather_is_down = True
    world.restart()
    assert world.engine.pending
    assert not world.engine.plan_fault


def test_no_weather_at_all_waters_by_the_season_and_says_so(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden(), weather=lambda now: [])
    world.weather_is_down = True
    world.run_for(30 * 86_400.0)
    assert world.engine.timetable is not None
    assert any("season" in remark for remark in said(world.engine.timetable.remarks))
    got = world.litres()
    # A month of a garden that nobody tells about the weather: neither drought nor flood. Its leeks
    # are asked what the season's table says, some 4 mm/day, so the month comes to 50 to 200 mm.
    ground_m2 = sum(zone.ground_m2 for zone in world.engine.garden.zones)
    assert 50.0 < sum(got.values()) / ground_m2 < 200.0
    assert {d.rung for d in world.engine.timetable.ledger} == {"season"}
    assert any(kind == "weather" for kind, _ in world.happenings())


def test_a_source_that_never_answers_is_waited_for_and_then_done_without(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden(), weather=lambda now: [])
    world.engine.weather.answer = None
    world.engine.timetable = None
    world.engine._fetcher = type("Silent", (), {"ask": lambda self, garden, reply: None})()
    world.engine.request_plan("start")
    world.run_for(300.0)
    assert world.engine.timetable is None
    assert world.engine.plan_fault == "the weather has not come yet"
    world.run_for(600.0)
    assert world.engine.timetable is not None
    assert not world.engine.plan_fault


def test_rain_that_was_only_forecast_is_no_rain_once_its_day_is_past(tmp_path: Path) -> None:
    from support.daemon import dry_day, dry_days

    def wet_tomorrow(now: datetime) -> list[WeatherDay]:
        today = now.date()
        past = dry_days(today - timedelta(days=30), today - timedelta(days=1))
        return [
            *past,
            *(
                dry_day(today + timedelta(days=ahead), rain_mm=20.0, measured=False)
                for ahead in range(3)
            ),
        ]

    world = World(tmp_path, a_slow_garden(), weather=wet_tomorrow)
    world.run_for(3600.0)
    world.weather_is_down = True
    world.run_for(3 * 86_400.0)
    for row in world.ledger():
        assert row.rain_mm == 0.0
