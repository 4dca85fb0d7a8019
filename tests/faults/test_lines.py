"""A line that disobeys, at each moment: every line that still obeys is off by its deadline."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock
from support.daemon import World
from support.daemon_faults import FaultyPins, a_slow_garden

from controller.logbook.records import PulseState
from controller.valves.line import State

pytestmark = pytest.mark.usefixtures("seldom_looks")

START, NOON = datetime(2031, 6, 1, 2, 0, tzinfo=UTC), datetime(2031, 6, 1, 10, 0, tzinfo=UTC)
BAD, GOOD = 17, 22


def _world(folder: Path, *faults: str) -> World:
    clock = HandClock(START)
    pins = FaultyPins(clock)
    for fault in faults:
        getattr(pins, fault).add(BAD)
    garden = a_slow_garden(("bad", BAD), ("good", GOOD))
    return World(folder, garden, clock=clock, pins=pins)


def _litres(world: World, zone: str) -> float:
    return sum(litres for (name, _), litres in world.litres().items() if name == zone)


@pytest.fixture(scope="module")
def undisturbed_l(tmp_path_factory: pytest.TempPathFactory) -> float:
    world = World(tmp_path_factory.mktemp("calm"), a_slow_garden(("good", GOOD)))
    world.run_until(NOON)
    return _litres(world, "good")


def test_a_line_that_does_not_open_harms_no_other(tmp_path: Path, undisturbed_l: float) -> None:
    world = _world(tmp_path, "fails_on")
    world.run_until(NOON)
    assert _litres(world, "bad") == 0.0
    assert _litres(world, "good") == approx(undisturbed_l, rel=0.05)
    assert PulseState.REFUSED in {r.state for r in world.pulses() if r.zone == "bad"}
    assert any(kind == "valve" and "does not answer" in words for kind, words in world.happenings())
    assert world.ask(ask="status")["barred"] == [{"zone": "bad", "state": "barred"}]


def test_a_line_that_does_not_close_is_told_until_it_does(
    tmp_path: Path, undisturbed_l: float
) -> None:
    world = _world(tmp_path)
    world.run_until_open("bad")
    world.pins.fails_off.add(BAD)
    ends = world.openings.running["bad"].deadline_mono_s
    world.run_for(ends - world.clock.mono_s() + 40.0)
    assert world.ask(ask="status")["barred"] == [{"zone": "bad", "state": "stuck"}]
    assert [r["zone"] for r in world.ask(ask="status")["open"] if r["zone"] == "bad"]
    world.pins.fails_off.clear()
    world.run_for(5.0)
    assert not world.pins.read(BAD)
    (row,) = [r for r in world.pulses() if r.zone == "bad" and r.state is PulseState.CLOSED]
    assert row.open_s > row.planned_open_s + 39.0  # water that ran is water that counts
    assert row.litres == approx(row.open_s * 3.0 / 60, rel=0.1)
    world.run_until(NOON)
    assert _litres(world, "good") == approx(undisturbed_l, rel=0.05)
    assert world.valve_set.bank.states()[BAD] is State.BARRED


def test_a_line_that_sticks_on_is_told_of_and_opens_no_more(tmp_path: Path) -> None:
    world = _world(tmp_path, "sticks")
    world.run_until_open("bad")
    world.run_for(2000.0)
    assert world.valve_set.bank.states()[BAD] is State.STUCK
    assert not world.pins.read(GOOD)
    assert any(kind == "valve" and "close" in words for kind, words in world.happenings())
    assert len([m for m in world.pins.moves if m.number == BAD]) == 1
    refused = world.ask(ask="open", zone="bad", seconds=60)
    assert not refused["ok"]


def test_a_line_that_answers_to_nobody_at_the_start_leaves_the_others(
    tmp_path: Path, undisturbed_l: float
) -> None:
    world = _world(tmp_path, "fails_on", "fails_off")
    world.run_until(NOON)
    assert _litres(world, "good") == approx(undisturbed_l, rel=0.05)


def test_a_reset_line_waters_again(tmp_path: Path) -> None:
    world = _world(tmp_path, "fails_on")
    world.run_until(NOON)
    world.pins.fails_on.clear()
    assert not world.ask(ask="open", zone="bad", seconds=60)["ok"]
    assert world.ask(ask="reset", zone="bad")["ok"]
    assert world.ask(ask="open", zone="bad", seconds=60)["ok"]
    world.run_for(61.0)
    # WORKED: 1 min of 3 L/min.
    assert _litres(world, "bad") == approx(3.0, rel=1e-6)


def test_a_pulse_longer_than_its_valve_may_be_open_is_refused_by_the_bank(tmp_path: Path) -> None:
    world = _world(tmp_path)
    pulse = next(p for p in world.engine.pending if p.zone == "bad")
    longest = world.engine.accepted.garden.zone("bad").valve.longest_open_s
    world.engine.dispatcher.open(pulse, longest + 1.0)
    (row,) = [r for r in world.pulses() if r.key == pulse.key]
    assert row.state is PulseState.REFUSED
    assert f"{longest:g}" in row.why
    assert not world.pins.moves
