"""Balls that stay, slow valves and a master in the daemon's day: what they give, and what dies."""

from __future__ import annotations

import json
import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock
from support.daemon import World
from support.daemon_faults import TINY_GARDEN, FaultyPins, a_slow_garden, run_here
from support.until import until

from controller.clock import SystemClock
from controller.daemon.control.protocol import ask
from controller.daemon.engine_thread import EngineThread
from controller.daemon.recovery import recover
from controller.daemon.valve_set import LINE_FILE, ValveSet
from controller.errors import DaemonError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Device, Master, Valve, ValveKind
from controller.logbook.records import PulseState
from controller.timetable.need.pulse_length import water_s
from controller.valves.alloff import SHUT_AT
from controller.valves.line import MasterLimits, State

NOON = datetime(2031, 6, 1, 10, 0, tzinfo=UTC)
FLOW_L_S = 3.0 / 60  # as measured, alone
OPENER, SHUTTER, MASTER = 17, 27, 4
OPENS_S, SHUTS_S, CLOSING_S = 12.0, 8.0, 10.0
MASTER_VALVE = Master(
    valve=Valve(kind=ValveKind.RELAY, relay_line=MASTER, device=Device.DIRECT),
    leads_s=2.0,
    lags_s=3.0,
)


def _ball(zone: Zone, close_line: int | None = SHUTTER) -> Zone:
    device = Device.BALL_RETURNS if close_line is None else Device.BALL_STAYS
    valve = replace(
        zone.valve,
        device=device,
        close_line=close_line,
        opens_in_s=OPENS_S,
        closes_in_s=SHUTS_S,
    )
    return replace(zone, valve=valve)


def _garden(
    *more: tuple[str, int], close_line: int | None = SHUTTER, master: Master | None = None
) -> Garden:
    garden = a_slow_garden(("a", OPENER), *more)
    zones = tuple(_ball(z, close_line) if z.name == "a" else z for z in garden.zones)
    return replace(garden, zones=zones, master=master)


def _moves(world: World, *numbers: int) -> list[tuple[float, int, bool]]:
    return [(m.mono_s, m.number, m.on) for m in world.pins.moves if m.number in numbers]


def _never_both(world: World) -> bool:
    on: set[int] = set()
    for move in world.pins.moves:
        (on.add if move.on else on.discard)(move.number)
        if {OPENER, SHUTTER} <= on:
            return False
    return True


@pytest.mark.parametrize("close_line", [SHUTTER, None], ids=["stays", "returns"])
def test_half_of_each_travel_counts_in_the_litres(tmp_path: Path, close_line: int | None) -> None:
    world = World(tmp_path, _garden(close_line=close_line))
    world.run_until(NOON)
    rows = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert len(rows) > 1
    for row in rows:
        seconds = water_s(open_s=row.open_s, opens_in_s=OPENS_S, closes_in_s=SHUTS_S)
        assert row.open_s == approx(row.planned_open_s, abs=1e-6)
        assert row.litres == approx(seconds * FLOW_L_S, rel=1e-6)
    assert _never_both(world)


def test_a_slow_opening_does_not_use_up_a_lines_day_before_its_litres(tmp_path: Path) -> None:
    # WORKED: 12 s to open and 8 s to shut: a pulse of 12 s gives 10 s of water, 1.2 told for one.
    plain = World(tmp_path, a_slow_garden()).valve_set.bank.limits(OPENER).most_open_s_per_day
    other = tmp_path / "other"
    other.mkdir()
    slow = World(other, _garden()).valve_set.bank.limits(OPENER).most_open_s_per_day
    assert slow == approx(1.2 * plain, rel=1e-9)


def test_a_persons_opening_and_closing_give_what_the_ball_let_through(tmp_path: Path) -> None:
    world = World(tmp_path, _garden())
    world.run_for(CLOSING_S + 1.0)
    assert world.ask(ask="open", zone="a", seconds=300)["ok"]
    world.run_for(100.0)
    world.ask(ask="close", zone="a")
    assert world.valve_set.bank.states()[OPENER] is State.CLOSING
    at_once = world.openings.running["a"]
    assert at_once.open_s(world.clock.mono_s()) == approx(100.0, abs=0.1)
    so_far_l = world.openings.litres_so_far("a", world.engine.flow_l_s)
    world.run_for(5.0)
    assert not world.ask(ask="open", zone="a", seconds=300)["ok"]  # it is not shut yet
    assert world.openings.litres_so_far("a", world.engine.flow_l_s) >= so_far_l
    world.run_for(6.0)
    (row,) = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert row.open_s == approx(100.0, abs=0.1)
    assert row.litres == approx((row.open_s - OPENS_S / 2 + SHUTS_S / 2) * FLOW_L_S, rel=1e-6)
    assert row.why == "a person closed it"


@pytest.mark.parametrize("rebooted", [False, True], ids=["same boot", "after a reboot"])
@pytest.mark.parametrize("into_closing_s", [None, 4.0], ids=["open", "closing"])
def test_a_daemon_that_dies_credits_to_its_heartbeat_and_drives_the_ball_shut(
    tmp_path: Path, rebooted: bool, into_closing_s: float | None
) -> None:
    world = World(tmp_path, _garden())
    world.run_until_open("a")
    opened, deadline = (
        world.openings.running["a"].opened_mono_s,
        world.openings.running["a"].deadline_mono_s,
    )
    into_s = 36.0 if into_closing_s is None else deadline - opened + into_closing_s
    world.run_for(opened + into_s - world.clock.mono_s())
    told_open_s = min(into_s, deadline - opened)
    moves = len(world.pins.moves)
    world.restart(rebooted=rebooted)
    born = world.clock.mono_s()
    (row,) = [r for r in world.pulses() if r.state is PulseState.CUT and r.zone == "a"]
    assert told_open_s - 10.1 <= row.open_s <= told_open_s + 1e-6
    assert row.litres <= water_s(open_s=told_open_s, opens_in_s=OPENS_S, closes_in_s=SHUTS_S) * (
        FLOW_L_S * (1 + 1e-9)
    )
    words = " ".join(w for kind, w in world.happenings() if kind == "recovery")
    assert words
    assert world.valve_set.bank.states()[OPENER] is State.CLOSING
    world.run_for(CLOSING_S + 0.5)
    assert world.valve_set.bank.states()[OPENER] in (State.CLOSED, State.OPEN)
    after = [m for m in world.pins.moves[moves:] if m.number == SHUTTER]
    assert [m.on for m in after[:2]] == [True, False]
    assert after[1].mono_s - after[0].mono_s == approx(CLOSING_S, abs=1e-6)
    assert after[0].mono_s == born


def test_the_stop_steps_moment_counts_for_a_ball_too(tmp_path: Path) -> None:
    world = World(tmp_path, _garden())
    world.run_until_open("a")
    opened = world.openings.running["a"].opened_mono_s
    world.run_for(36.0)
    shut = world.clock.mono_s() + 1.5
    told = {"wall_utc": "", "mono_s": shut, "boot_id": "boot-1", "shut": [OPENER], "failed": {}}
    (tmp_path / SHUT_AT).write_text(json.dumps(told), encoding="utf-8")
    world.restart()
    (row,) = [r for r in world.pulses() if r.state is PulseState.CUT and r.zone == "a"]
    assert row.open_s == approx(shut - opened, abs=1e-6)
    assert row.litres == approx((row.open_s - OPENS_S / 2) * FLOW_L_S, rel=1e-6)


@pytest.mark.parametrize(("boot", "said"), [("boot-1", False), ("boot-2", True)])
def test_a_power_cut_under_an_open_ball_is_said_and_not_credited(
    tmp_path: Path, boot: str, said: bool
) -> None:
    world = World(tmp_path, _garden())
    world.run_until_open("a")
    world.run_for(36.0)
    (found,) = recover(
        world.journal.unfinished(),
        boot_id=boot,
        stopped=None,
        flow_l_s=world.engine.flow_or_nothing_l_s,
        stays_open={"a"},
    )
    assert ("water may have run till now" in found.why) == said
    assert found.open_s <= 36.1


def test_an_open_line_that_sticks_harms_no_other_zone_and_is_told_of(tmp_path: Path) -> None:
    clock = HandClock(datetime(2031, 6, 1, 2, 0, tzinfo=UTC))
    pins = FaultyPins(clock)
    world = World(tmp_path, _garden(("b", 22)), clock=clock, pins=pins)
    world.run_until_open("a")
    pins.sticks.add(OPENER)
    world.run_for(3000.0)
    assert world.valve_set.bank.states()[OPENER] is State.STUCK
    assert world.litres()[("b", datetime(2031, 6, 1).date())] > 10.0
    assert any(k == "valve" and "does not rest" in w for k, w in world.happenings())
    assert _never_both(world)


def test_the_master_frames_every_pulse_and_its_lead_is_no_water(tmp_path: Path) -> None:
    world = World(tmp_path, replace(a_slow_garden(), master=MASTER_VALVE))
    world.run_until(NOON)
    rows = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert len(rows) > 1
    for row in rows:
        assert row.open_s == approx(row.planned_open_s, abs=1e-6)
        assert row.litres == approx(row.open_s * FLOW_L_S, rel=1e-6)
    moves = _moves(world, MASTER, OPENER)
    assert [(n, on) for _, n, on in moves] == [
        (MASTER, True),
        (OPENER, True),
        (OPENER, False),
        (MASTER, False),
    ] * len(rows)
    for i in range(0, len(moves), 4):
        at = [moves[i + j][0] for j in range(4)]
        assert at[1] - at[0] == approx(2.0, abs=1e-6)
        assert at[3] - at[2] == approx(3.0, abs=1e-6)
    told = json.loads((tmp_path / LINE_FILE).read_text(encoding="utf-8"))
    assert [line["number"] for line in told["lines"]] == [MASTER, OPENER]


def test_a_pulse_ended_while_the_master_leads_gave_nothing(tmp_path: Path) -> None:
    world = World(tmp_path, replace(a_slow_garden(), master=MASTER_VALVE))
    assert world.ask(ask="open", zone="a", seconds=300)["ok"]
    world.clock.advance(0.5)
    world.ask(ask="close", zone="a")
    world.run_for(10.0)
    (row,) = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    assert (row.open_s, row.litres) == (0.0, 0.0)
    assert not world.openings.running
    assert _moves(world, OPENER) == []


def test_a_line_that_fails_after_the_lead_ends_its_pulse_with_nothing(tmp_path: Path) -> None:
    clock = HandClock(datetime(2031, 6, 1, 2, 0, tzinfo=UTC))
    pins = FaultyPins(clock)
    pins.fails_on.add(OPENER)
    garden = replace(a_slow_garden(("a", OPENER), ("b", 22)), master=MASTER_VALVE)
    world = World(tmp_path, garden, clock=clock, pins=pins)
    world.run_until(NOON)
    assert sum(litres for (zone, _), litres in world.litres().items() if zone == "a") == 0.0
    assert sum(litres for (zone, _), litres in world.litres().items() if zone == "b") > 10.0
    assert world.ask(ask="status")["barred"] == [{"zone": "a", "state": "barred"}]


def test_a_changed_garden_drives_new_balls_shut_and_leaves_shut_ones_alone(tmp_path: Path) -> None:
    world = World(tmp_path, _garden(("b", 22)))
    world.run_for(CLOSING_S + 1.0)
    before = len(world.pins.moves)
    other = a_slow_garden(("a", OPENER), ("b", 22), ("c", 5))
    zones = (
        _ball(other.zones[0]),
        replace(other.zones[1], name="b2"),
        _ball(other.zones[2], close_line=6),
    )
    world.gardens["other"] = replace(other, zones=zones, master=MASTER_VALVE)
    world.file.write_text("other", encoding="utf-8")
    world.run_for(60.0)
    assert set(world.valve_set.bank.states()) == {MASTER, 5, OPENER, 22}
    assert [(m.number, m.on) for m in world.pins.moves[before:]] == [(6, True), (6, False)]
    told = json.loads((tmp_path / LINE_FILE).read_text(encoding="utf-8"))
    assert [b["close"] for b in told["balls"]] == [SHUTTER, 6]


def test_an_open_line_that_becomes_a_close_line_wants_a_new_start(tmp_path: Path) -> None:
    world = World(tmp_path, _garden(("b", 22)))
    world.run_for(CLOSING_S + 1.0)
    swapped = a_slow_garden(("a", SHUTTER), ("b", 22))
    zones = (_ball(swapped.zones[0], close_line=OPENER), swapped.zones[1])
    world.gardens["other"] = replace(swapped, zones=zones)
    world.file.write_text("other", encoding="utf-8")
    world.run_for(60.0)
    words = [w for k, w in world.happenings() if k == "garden file"]
    assert any("an open line has become a close line" in w for w in words)
    assert _never_both(world)


def test_the_line_file_names_old_and_new_while_lines_change(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = World(tmp_path, _garden(("b", 22), master=MASTER_VALVE))
    world.run_for(CLOSING_S + 1.0)
    seen: list[set[int]] = []
    real = ValveSet._write_line_file

    def spy(self: ValveSet, *arguments: object) -> None:
        real(self, *arguments)  # type: ignore[arg-type]
        told = json.loads((tmp_path / LINE_FILE).read_text(encoding="utf-8"))
        seen.append({line["number"] for line in told["lines"]})

    monkeypatch.setattr(ValveSet, "_write_line_file", spy)
    world.gardens["other"] = a_slow_garden(("a", 5))
    world.file.write_text("other", encoding="utf-8")
    world.run_for(60.0)
    assert seen == [{MASTER, OPENER, SHUTTER, 22, 5}, {5}]


def test_the_process_waits_for_a_ball_at_its_start_and_at_its_end(tmp_path: Path) -> None:
    # real time: some seconds, a ball of 0.2 s is given 1.2 s
    (tmp_path / "garden.toml").write_text(TINY_GARDEN, encoding="utf-8")
    pins = FaultyPins(SystemClock())
    master = MasterLimits(
        number=MASTER, active_low=True, close_number=3, opens_in_s=0.2, closes_in_s=0.2
    )
    ended: list[int] = []

    def service() -> None:
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr("controller.daemon.valve_set.master_of", lambda accepted: master)
            ended.append(run_here(tmp_path, driver=pins))

    threads: list[EngineThread] = []
    real = EngineThread.wait_for_plan

    def waits(self: EngineThread) -> bool:
        threads.append(self)
        assert [m.number for m in pins.moves] == [3, 3]  # shut before anybody plans
        return real(self)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(EngineThread, "wait_for_plan", waits)
        thread = threading.Thread(target=service)
        thread.start()

        def opened() -> bool:
            try:
                return bool(ask(tmp_path, {"ask": "open", "zone": "leeks", "seconds": 60})["ok"])
            except DaemonError:
                return False

        until(opened)
        until(lambda: pins.read(17))
        threads[0]._ending.request("the test is over")
        thread.join(60.0)
    assert ended == [0]
    assert [(m.number, m.on) for m in pins.moves[-3:]] == [(17, False), (3, True), (3, False)]
    closing = [m for m in pins.moves if m.number == 3][-2:]
    assert [m.on for m in closing] == [True, False]
    travel_s = closing[1].mono_s - closing[0].mono_s
    assert 1.19 <= travel_s < 20.0  # 1.2 s, and what the machine is late
    assert not any(pins.read(n) for n in (17, MASTER, 3))
