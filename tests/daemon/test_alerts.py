"""What a finding of the meter does: what is reported, shut and held, and for how long."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from support.daemon import World
from support.daemon_faults import Locked, a_slow_garden

from controller.daemon.alerts import RETRY_S
from controller.daemon.flow.monitor import Found
from controller.errors import LogbookError, ValveFault
from controller.garden.model import Action, FlowFinding, Hold
from controller.garden.plumbing import Master, Valve, ValveKind
from controller.logbook.queries import Questions

pytestmark = pytest.mark.usefixtures("seldom_looks")

MASTER = Master(valve=Valve(kind=ValveKind.RELAY, relay_line=27))


def found(action: Action, *zones: str, finding: FlowFinding = FlowFinding.BURST) -> Found:
    return Found(finding=finding, zones=zones, action=action, words="9 L/min, not 3")


def both_open(folder: Path, *, master: Master | None = None) -> World:
    world = World(folder, replace(a_slow_garden(("a", 17), ("b", 22)), master=master))
    for zone in ("a", "b"):
        assert world.ask(ask="open", zone=zone, seconds=300)["ok"]
    world.run_for(5.0)
    return world


def act(world: World, what: Found) -> list[tuple[str | None, str]]:
    """What was said, and of which zone."""
    world.engine._finding_actions.act(what, world.engine.garden)
    world.engine.tick()
    with Questions(world.logbook.path) as ask:
        rows = [h for h in reversed(ask.happenings(100)) if h.kind == f"flow: {what.finding}"]
    return [(row.zone, row.words) for row in rows]


def holds(world: World) -> list[tuple[list[str], str]]:
    return [(h["zones"], h["reason"]) for h in world.ask(ask="status")["holds"]]


def is_open(world: World) -> tuple[bool, bool]:
    return world.pins.read(17), world.pins.read(22)


def test_what_is_noted_is_said_and_shuts_nothing(tmp_path: Path) -> None:
    world = both_open(tmp_path)
    assert act(world, found(Action.NOTE, "a")) == [("a", "9 L/min, not 3")]
    assert is_open(world) == (True, True)
    assert holds(world) == []


def test_a_zone_that_is_held_is_shut_and_the_others_run_on(tmp_path: Path) -> None:
    world = both_open(tmp_path)
    said = act(world, found(Action.HOLD_ZONE, "a"))
    assert said == [("a", "9 L/min, not 3; a held until lifted")]
    assert is_open(world) == (False, True)
    assert holds(world) == [(["a"], "flow: burst")]
    world.run_for(2.0)
    (row,) = [r for r in world.pulses() if r.zone == "a" and r.open_s is not None]
    assert row.why == "held: flow: burst"


def test_zones_found_together_are_named_together_and_each_is_told_of(tmp_path: Path) -> None:
    world = both_open(tmp_path)
    words = "a, b: 9 L/min, not 3; a, b held until lifted"
    assert act(world, found(Action.HOLD_ZONE, "a", "b")) == [("a", words), ("b", words)]
    assert is_open(world) == (False, False)
    assert holds(world) == [(["a", "b"], "flow: burst")]


@pytest.mark.parametrize("action", [Action.HOLD_GARDEN, Action.HOLD_ZONE])
def test_a_finding_without_a_zone_holds_the_garden_and_shuts_all(
    tmp_path: Path, action: Action
) -> None:
    world = both_open(tmp_path)
    said = act(world, found(action))
    assert said == [(None, "9 L/min, not 3; the garden held until lifted")]
    assert is_open(world) == (False, False)
    assert holds(world) == [([], "flow: burst")]


def test_the_master_is_shut_and_the_garden_held(tmp_path: Path) -> None:
    world = both_open(tmp_path, master=MASTER)
    said = act(world, found(Action.SHUT_MASTER, "a", finding=FlowFinding.NOT_CLOSED))
    assert said == [("a", "9 L/min, not 3; the master valve is shut; the garden held until lifted")]
    assert is_open(world) == (False, False) and not world.pins.read(27)
    assert holds(world) == [([], "flow: not closed")]


def test_a_master_that_does_not_shut_sends_the_keeper_to_the_tap(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = both_open(tmp_path, master=MASTER)

    def fails(why: str) -> None:
        assert why == "flow: burst"
        raise ValveFault("the valve bank is busy")

    monkeypatch.setattr(world.valve_set.bank, "shut_master", fails)
    ((zone, words),) = act(world, found(Action.SHUT_MASTER, "a"))
    assert zone == "a"
    assert (
        "the command to shut the master valve was given: the valve bank is busy; shut the tap"
        in words
    )
    assert holds(world) == [([], "flow: burst")]


@pytest.mark.parametrize(("zones", "held"), [(("a",), [(["a"], "flow: burst")]), ((), [])])
def test_without_a_master_the_zone_is_held_and_the_tap_named(
    tmp_path: Path, zones: tuple[str, ...], held: list[tuple[list[str], str]]
) -> None:
    world = both_open(tmp_path)
    ((_, words),) = act(world, found(Action.SHUT_MASTER, *zones))
    assert "there is no master valve to shut: shut the tap" in words
    assert ("held until lifted" in words) is bool(held)
    assert holds(world) == held


def test_a_hold_stands_for_a_year_and_is_written_once(tmp_path: Path) -> None:
    world = both_open(tmp_path)
    act(world, found(Action.HOLD_ZONE, "a"))
    act(world, found(Action.HOLD_ZONE, "a"))
    assert holds(world) == [(["a"], "flow: burst")]
    assert world.ask(ask="close")["ok"]
    world.run_for(2.0)
    world.clock.advance(timedelta(days=365).total_seconds())
    assert len(world.journal.hold_rows(world.clock.now_utc())) == 1
    act(world, found(Action.HOLD_ZONE, "b"))
    act(world, found(Action.HOLD_ZONE, "a", finding=FlowFinding.CLOGGED))
    reasons = {
        (tuple(row.zones), row.reason) for row in world.journal.hold_rows(world.clock.now_utc())
    }
    assert reasons == {
        (("a",), "flow: burst"),
        (("b",), "flow: burst"),
        (("a",), "flow: clogged"),
    }


def test_a_hold_the_logbook_does_not_take_holds_and_is_written_a_minute_later(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    world = both_open(tmp_path)
    remedies = world.engine._finding_actions
    with Locked(world.logbook.path):
        remedies.act(found(Action.HOLD_ZONE, "a"), world.engine.garden)
        assert is_open(world) == (False, True)
        assert (remedies.held("a"), remedies.held("b")) == ("flow: burst", None)
    (said,) = [r.getMessage() for r in caplog.records if "a hold is" in r.getMessage()]
    assert said.startswith("a hold is not written down yet: ")
    tries = _counted(world)
    world.clock.advance(59.0)
    remedies.try_again()
    assert tries() == 0
    world.clock.advance(1.0)
    remedies.try_again()
    assert tries() == 1
    assert remedies.held("a") is None
    assert holds(world) == [(["a"], "flow: burst")]


def _counted(world: World) -> Callable[[], int]:
    hold, tries = world.journal.hold, []

    def counted(*arguments: object) -> object:
        tries.append(arguments)
        return hold(*arguments)  # type: ignore[arg-type]

    world.journal.hold = counted  # type: ignore[method-assign, assignment]
    return lambda: len(tries)


def test_a_hold_that_is_written_and_not_read_back_holds_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = both_open(tmp_path)
    with monkeypatch.context() as unread:

        def fails(*_: object) -> list[Hold]:
            raise LogbookError("the disk does not read")

        unread.setattr(world.journal, "holds", fails)
        act(world, found(Action.HOLD_ZONE, "a"))
    assert world.engine._finding_actions.held("a") == "flow: burst"
    world.run_for(RETRY_S + 1.0)
    assert world.engine._finding_actions.held("a") is None
    assert holds(world) == [(["a"], "flow: burst")]
