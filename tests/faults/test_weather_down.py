"""The weather source is silent for ten days: the plan stands on stand-ins and says so."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from support.daemon import World
from support.daemon_faults import a_slow_garden


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
    assert world.steward.pending
    assert not world.steward.plan_fault


def test_no_weather_at_all_plans_nothing_and_says_why(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden(), weather=lambda now: [])
    world.run_for(86_400.0)
    assert not world.pins.moves
    assert world.steward.plan_fault
    assert any(kind == "plan" for kind, _ in world.happenings())
    assert world.ask(ask="open", zone="a", seconds=30)["ok"]


def test_rain_that_was_only_forecast_is_no_rain_once_its_day_is_past(tmp_path: Path) -> None:
    from support.daemon import dry_day, dry_days

    def wet_tomorrow(now):  # type: ignore[no-untyped-def]
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
