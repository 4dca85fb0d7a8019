"""The two nights a year on which local time is odd: each pulse runs once."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
from pytest import approx
from support.daemon import World, dry_days
from support.daemon_faults import a_slow_garden

from controller.garden.model import Planting, Watering, Window
from controller.logbook.records import PulseState

pytestmark = pytest.mark.usefixtures("seldom_looks")

# Europe/Berlin, tz database: 2026-03-29 02:00 becomes 03:00, 2026-10-25 03:00 becomes 02:00.
SPRING, AUTUMN = date(2026, 3, 29), date(2026, 10, 25)


def _world(folder: Path, night: date) -> World:
    slow = a_slow_garden()
    zone = replace(
        slow.zones[0],
        plantings=(
            Planting(
                crop="leek", start=night - timedelta(days=60), until=night + timedelta(days=9)
            ),
        ),
    )
    garden = replace(
        slow,
        zones=(zone,),
        site=replace(slow.site, timezone="Europe/Berlin"),
        watering=Watering(windows=(Window(opens=time(2), closes=time(3)),), refill_at=0.2),
    )
    now = datetime.combine(night - timedelta(days=1), time(12), tzinfo=UTC)

    def until_yesterday(at: datetime) -> list:  # type: ignore[type-arg]
        return dry_days(night - timedelta(days=40), at.date() - timedelta(days=1))

    return World(folder, garden, now_utc=now, weather=until_yesterday)


def _of_night(world: World, night: date) -> list:  # type: ignore[type-arg]
    return [r for r in world.pulses() if r.day == night and r.state is PulseState.CLOSED]


def test_in_autumn_a_window_from_two_to_three_is_watered_once(tmp_path: Path) -> None:
    world = _world(tmp_path, AUTUMN)
    world.run_until(datetime(2026, 10, 25, 12, 0, tzinfo=UTC))
    rows = _of_night(world, AUTUMN)
    assert rows
    assert len({r.key for r in rows}) == len(rows)
    # 02:00 summer time, the first coming, is 00:00 UTC; 03:00 comes once, at 02:00 UTC.
    for row in rows:
        assert datetime(2026, 10, 25, 0, 0, tzinfo=UTC) <= row.opened_utc
        ends = row.opened_utc + timedelta(seconds=row.open_s)
        assert ends <= datetime(2026, 10, 25, 2, 0, tzinfo=UTC)
    (ledger,) = [row for row in _after(world, AUTUMN) if row.day == AUTUMN]
    assert ledger.watered_mm * 1.46304 == approx(sum(r.litres for r in rows), rel=1e-3)


def test_in_spring_a_window_that_does_not_exist_waters_nothing_twice(tmp_path: Path) -> None:
    world = _world(tmp_path, SPRING)
    world.run_until(datetime(2026, 3, 31, 12, 0, tzinfo=UTC))
    # 02:00 and 03:00 are the same moment on that night, so there is no window in it.
    assert not _of_night(world, SPRING)
    rows = _of_night(world, SPRING + timedelta(days=1))
    assert rows
    for row in rows:  # 02:00 summer time is 00:00 UTC
        assert row.opened_utc.hour == 0


@pytest.mark.parametrize("night", [SPRING, AUTUMN])
def test_a_restart_in_the_odd_hour_runs_no_pulse_again(tmp_path: Path, night: date) -> None:
    (tmp_path / "calm").mkdir()
    calm = _world(tmp_path / "calm", night)
    noon = datetime.combine(night + timedelta(days=1), time(12), tzinfo=UTC)
    calm.run_until(noon)
    (tmp_path / "killed").mkdir()
    world = _world(tmp_path / "killed", night)
    for minutes in (5, 30, 62, 80, 125):
        at = datetime.combine(night, time(0), tzinfo=UTC) + timedelta(minutes=minutes)
        world.run_until(at)
        world.restart()
    world.run_until(noon)
    assert sum(world.litres().values()) == approx(sum(calm.litres().values()), abs=3.0)
    keys = [r.key for r in world.pulses()]
    assert len(keys) == len(set(keys))


def _after(world: World, night: date) -> list:  # type: ignore[type-arg]
    world.run_until(datetime.combine(night + timedelta(days=1), time(12), tzinfo=UTC))
    return world.ledger()
