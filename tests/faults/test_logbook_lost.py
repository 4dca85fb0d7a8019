"""A logbook that takes nothing: no valve opens by plan, closing goes on, and it is told later."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pytest import approx
from support.daemon import World as PatientWorld
from support.daemon_faults import Locked, a_slow_garden

from controller.errors import LogbookError
from controller.logbook.records import PulseState

pytestmark = pytest.mark.usefixtures("seldom_looks")

NOON = datetime(2031, 6, 1, 10, 0, tzinfo=UTC)
TEN_MINUTES_S = 600.0


class World(PatientWorld):
    """One that soon gives a locked logbook up."""

    logbook_timeout_s = 0.1


def _fill(world: World) -> None:
    """A full disk: the database may not grow by a page, and every page it has is full."""

    def no_more(book: Any) -> None:
        book.db.execute("PRAGMA max_page_count=1")

    world.logbook._do(no_more)
    for words in ("x" * 3000, "x" * 300, "x" * 30, ""):
        with pytest.raises(LogbookError, match="full"):
            for _ in range(3000):
                world.logbook.happening("fill", words)


def test_with_a_locked_logbook_nothing_opens(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until(datetime(2031, 6, 1, 3, 59, 30, tzinfo=UTC))
    with Locked(world.logbook.path):
        world.run_for(TEN_MINUTES_S)
        assert not world.pins.moves
        assert any("locked" in w for w in world.ask(ask="status")["silent"])
    world.run_until(NOON)
    assert any("cannot be written down" in words for _, words in world.happenings())
    assert sum(world.litres().values()) > 30.0  # planned anew once it could be written


def test_what_is_open_when_the_logbook_locks_closes_on_time_and_is_written_later(
    tmp_path: Path,
) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until_open()
    running = world.openings.running["a"]
    with Locked(world.logbook.path):
        world.run_for(running.deadline_mono_s - world.clock.mono_s() + 1.0)
        assert not world.pins.read(17)
        assert world.pins.moves[-1].mono_s == approx(running.deadline_mono_s, abs=0.01)
        assert not world.openings.all_written
    world.run_for(60.0)
    (row,) = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert row.open_s == approx(row.planned_open_s, abs=0.01)
    assert row.litres == approx(row.planned_litres, rel=1e-3)


def test_an_opening_that_cannot_be_confirmed_is_shut_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = World(tmp_path, a_slow_garden())

    def fails(*_: object, **__: object) -> None:
        raise LogbookError("the disk is full")

    monkeypatch.setattr(world.journal, "opened", fails)
    world.run_until(datetime(2031, 6, 1, 4, 0, 5, tzinfo=UTC))
    assert [m.on for m in world.pins.moves] == [True, False]
    assert world.pins.moves[1].mono_s - world.pins.moves[0].mono_s < 0.1


def test_on_a_full_disk_no_water_flows_that_is_not_written_down(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden(("a", 17), ("b", 22)))
    world.run_until(datetime(2031, 6, 1, 3, 59, 30, tzinfo=UTC))
    _fill(world)
    world.run_until(NOON)
    on_disk = [r for r in world.pulses() if r.intended_utc is not None]
    assert len([m for m in world.pins.moves if m.on]) <= len(on_disk)
    assert not world.valve_set.bank.open_lines()
    assert world.ask(ask="status")["ok"]


def test_a_full_disk_at_the_first_opening_is_retried_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until(datetime(2031, 6, 1, 3, 59, 30, tzinfo=UTC))

    def full(*_: object) -> int:
        raise LogbookError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(world.journal, "intend", full)
        patch.setattr(world.journal, "happening", full)
        world.run_for(300.0)
        assert not world.pins.moves
    world.run_for(120.0)
    assert [m.on for m in world.pins.moves] == [True]  # late, but by less than ten minutes
    assert any("the disk is full" in words for _, words in world.happenings())


def test_a_pulse_ten_minutes_late_is_missed_and_its_water_planned_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = World(tmp_path, a_slow_garden())
    calm = sum(p.litres for p in world.engine.pending)
    world.run_until(datetime(2031, 6, 1, 3, 59, 30, tzinfo=UTC))

    def full(*_: object) -> int:
        raise LogbookError("the disk is full")

    with monkeypatch.context() as patch:
        patch.setattr(world.journal, "intend", full)
        world.run_for(700.0)
    world.run_until(NOON)
    assert [r.slot for r in world.pulses() if r.state is PulseState.MISSED][:1] == [1]
    assert sum(world.litres().values()) == approx(calm, abs=1.0)


def test_an_end_that_a_slow_disk_took_late_does_not_stop_the_planning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until_open()
    ended, times = world.journal.ended, []

    def slow(*args: Any, **more: Any) -> None:
        ended(*args, **more)
        times.append(1)
        if len(times) == 1:
            raise LogbookError("the disk is slow to take it, so it may be there later")

    monkeypatch.setattr(world.journal, "ended", slow)
    world.run_until(NOON)
    assert len(times) > 1
    assert world.openings.all_written
    assert sum(world.litres().values()) > 30.0  # the rest of the day was watered
    assert len({r.key for r in world.pulses()}) == len(world.pulses())


def test_an_intent_that_a_slow_disk_took_late_costs_no_water(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calm = tmp_path / "calm"
    calm.mkdir()
    undisturbed = World(calm)
    undisturbed.run_until(NOON)
    world = World(tmp_path)
    world.run_until(datetime(2031, 6, 1, 3, 59, tzinfo=UTC))
    intend, times = world.journal.intend, []

    def slow(*args: Any, **more: Any) -> int:
        found = intend(*args, **more)
        times.append(1)
        if len(times) == 1:
            raise LogbookError("the disk is slow to take it, so it may be there later")
        return found

    monkeypatch.setattr(world.journal, "intend", slow)
    world.run_until(NOON)
    given, asked = sum(world.litres().values()), sum(undisturbed.litres().values())
    assert asked > 0.0 and given == approx(asked, abs=1.0)
