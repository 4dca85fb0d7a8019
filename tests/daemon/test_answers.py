"""Requests to the daemon: what it answers and does."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pytest import approx
from support.daemon import MORNING, World
from support.daemon_faults import a_slow_garden
from support.gardens import a_garden, a_zone

from controller.logbook.records import PulseState
from controller.paper.status import status_text

pytestmark = pytest.mark.usefixtures("seldom_looks")

NOON = datetime(2031, 6, 1, 10, 0, tzinfo=UTC)


@pytest.fixture
def world(tmp_path: Path) -> World:
    return World(tmp_path, a_slow_garden(("a", 17), ("b", 22)))


@pytest.mark.parametrize(
    "request_, words",
    [
        ({}, "known are"),
        ({"ask": "dance"}, "known are"),
        ({"ask": ["open"]}, "known are"),
        ({"ask": "open"}, 'this garden has: "a" and "b"'),
        ({"ask": "open", "zone": "c", "seconds": 10}, 'this garden has: "a" and "b"'),
        ({"ask": "open", "zone": "a"}, "allowed is a number"),
        ({"ask": "open", "zone": "a", "seconds": "10"}, "allowed is a number"),
        ({"ask": "open", "zone": "a", "seconds": True}, "allowed is a number"),
        ({"ask": "open", "zone": "a", "seconds": -1}, "above 0"),
        ({"ask": "open", "zone": "a", "seconds": float("nan")}, "above 0"),
        ({"ask": "open", "zone": "a", "seconds": 4000}, "at most 60 minutes"),
        ({"ask": "close", "zone": 7}, "this garden has"),
        ({"ask": "resume", "zone": "c"}, "this garden has"),
        ({"ask": "hold"}, "allowed is a number"),
        ({"ask": "hold", "hours": 9999999}, "within a year"),
        ({"ask": "hold", "until": "tomorrow"}, "allowed is a time as in"),
        ({"ask": "hold", "until": "2031-05-01T00:00"}, "after now"),
        ({"ask": "hold", "hours": 1, "zones": "a"}, "list of names"),
        ({"ask": "hold", "hours": 1, "zones": ["c"]}, "this garden has"),
        ({"ask": "hold", "hours": 1, "reason": 3}, "text"),
        ({"ask": "reset"}, "this garden has"),
    ],
)
def test_a_request_that_is_not_clear_is_told_what_is_wanted(
    world: World, request_: dict[str, Any], words: str
) -> None:
    answer = world.ask(**request_)
    assert answer["ok"] is False
    assert words in answer["words"]
    assert not world.pins.moves


def test_open_opens_for_that_long_and_writes_it_down(world: World) -> None:
    assert world.ask(ask="open", zone="a", seconds=90)["ok"]
    assert world.ask(ask="status")["open"][0]["remaining_s"] == approx(90.0, abs=0.1)
    assert "open already" in world.ask(ask="open", zone="a", seconds=90)["words"]
    world.run_for(91.0)
    assert not world.pins.read(17)
    (row,) = [r for r in world.pulses() if r.state is PulseState.CLOSED]
    # WORKED: 90 s of 3 L/min.
    assert (row.open_s, row.litres) == (approx(90.0, abs=0.01), approx(4.5, rel=1e-3))


def test_what_a_person_gave_comes_off_todays_dose(world: World, tmp_path: Path) -> None:
    planned = sum(p.litres for p in world.engine.pending if p.zone == "a")
    world.ask(ask="open", zone="a", seconds=400)
    world.run_until(NOON)
    given = sum(litres for (zone, _), litres in world.litres().items() if zone == "a")
    assert given == approx(planned, abs=1.0)


def test_the_daily_cap_holds_for_a_person_too(tmp_path: Path) -> None:
    slow = a_slow_garden()
    zone = a_zone("a", 17, rows=slow.zones[0].rows, opening=slow.zones[0].opening, daily_cap_m3=0.1)
    world = World(tmp_path, a_garden(zone, watering=MORNING))
    world.run_until(NOON)
    answer = world.ask(ask="open", zone="a", seconds=1000)
    assert not answer["ok"] and "more today" in answer["words"]


def test_a_hand_valve_is_not_opened_from_here(tmp_path: Path) -> None:
    world = World(tmp_path, a_garden(a_zone("h", None), watering=MORNING))
    for asked in ("open", "close", "reset"):
        answer = world.ask(ask=asked, zone="h", seconds=60)
        assert not answer["ok"] and "hand valve" in answer["words"]


def test_close_shuts_now_and_keeps_the_rest_of_the_dose_for_tomorrow(world: World) -> None:
    world.run_until_open("a")
    world.run_for(20.0)
    assert world.ask(ask="close", zone="a")["ok"]
    assert not world.pins.read(17)
    opened = len([m for m in world.pins.moves if m.number == 17 and m.on])
    world.run_until(NOON)
    assert len([m for m in world.pins.moves if m.number == 17 and m.on]) == opened
    assert [m for m in world.pins.moves if m.number == 22 and m.on]
    world.run_until(datetime(2031, 6, 2, 10, 0, tzinfo=UTC))
    assert [r for r in world.pulses() if r.zone == "a" and r.day.day == 2 and r.open_s]


def test_close_without_a_zone_shuts_all(world: World) -> None:
    world.run_until_open("a")
    world.ask(ask="open", zone="b", seconds=600)
    world.ask(ask="close", zone=None)
    assert not world.valve_set.bank.open_lines()


def test_close_without_a_zone_says_that_today_is_over_and_status_shows_it(world: World) -> None:
    assert world.ask(ask="status")["closed_for_today"] == []
    answer = world.ask(ask="close", zone=None)
    assert answer["words"] == (
        "nothing was open. It also ends the rest of today: nothing more opens today by plan in any "
        "zone. To have it planned anew: rowgate resume"
    )
    day = {"day": "2031-06-01"}
    status = world.ask(ask="status")
    assert status["closed_for_today"] == [{"zone": "a"} | day, {"zone": "b"} | day]
    words = " ".join(status_text(status).split())
    assert (
        "closed by a person for the rest of today: all zones on relays. To have it planned anew"
        in words
    )
    world.run_until(NOON)
    assert not [m for m in world.pins.moves if m.on]
    # The next day it is over by itself.
    world.run_until(datetime(2031, 6, 2, 10, 0, tzinfo=UTC))
    assert world.ask(ask="status")["closed_for_today"] == []
    assert {m.number for m in world.pins.moves if m.on} == {17, 22}


def test_resume_lets_the_rest_of_today_be_planned_anew_and_opens_nothing_itself(
    world: World,
) -> None:
    before = [(p.zone, p.open_s) for p in world.engine.pending]
    world.ask(ask="close", zone=None)
    assert world.engine.pending == []
    answer = world.ask(ask="resume", zone=None)
    assert answer["ok"] and answer["words"].startswith("resumed: a, b; planned anew: ")
    assert not [m for m in world.pins.moves if m.on]
    assert [(p.zone, p.open_s) for p in world.engine.pending] == before
    assert world.ask(ask="status")["closed_for_today"] == []
    world.run_until(NOON)
    assert {m.number for m in world.pins.moves if m.on} == {17, 22}
    assert world.ask(ask="resume", zone=None)["words"] == "no zone was closed for today"


def test_resume_of_one_zone_leaves_the_others_closed(world: World) -> None:
    world.ask(ask="close", zone=None)
    assert "resumed: a;" in world.ask(ask="resume", zone="a")["words"]
    assert world.ask(ask="resume", zone="a")["words"] == "a was not closed"
    status = world.ask(ask="status")
    assert [row["zone"] for row in status["closed_for_today"]] == ["b"]
    assert "for the rest of today: b. To have it" in " ".join(status_text(status).split())
    world.run_until(NOON)
    assert {m.number for m in world.pins.moves if m.on} == {17}


def test_what_was_given_before_the_close_is_not_given_again(world: World) -> None:
    world.run_until_open("a")
    world.run_for(20.0)
    world.ask(ask="close", zone="a")
    world.ask(ask="resume", zone="a")
    world.run_until(NOON)
    rows = [r for r in world.pulses() if r.zone == "a" and r.open_s]
    assert len(rows) > 1 and len({r.key for r in rows}) == len(rows)
    (world.folder / "other").mkdir()
    other = World(world.folder / "other", a_slow_garden(("a", 17), ("b", 22)))
    other.run_until(NOON)
    whole_s = sum(r.open_s or 0.0 for r in other.pulses() if r.zone == "a")
    again_s = sum(r.open_s or 0.0 for r in rows)
    # What is cut in two fills its line once more, and the rest is rounded up to a pulse.
    assert whole_s <= again_s + 30.0 and again_s < 1.5 * whole_s


def test_resume_in_a_hold_opens_nothing(world: World) -> None:
    world.ask(ask="hold", hours=24, zones=[], reason="guests")
    world.ask(ask="close", zone=None)
    assert world.ask(ask="resume", zone=None)["ok"]
    world.run_until(NOON)
    assert not [m for m in world.pins.moves if m.on]


def test_a_hold_shuts_what_runs_by_plan_and_nothing_opens_until_it_ends(world: World) -> None:
    world.run_until_open("a")
    world.run_for(10.0)
    answer = world.ask(ask="hold", hours=24, zones=[], reason="guests")
    assert answer["ok"] and "until 2031-06-02" in answer["words"]
    assert not world.valve_set.bank.open_lines()
    opened = len(world.pins.moves)
    world.run_until(NOON)
    assert len(world.pins.moves) == opened
    assert world.ask(ask="status")["holds"][0]["reason"] == "guests"
    world.run_until(datetime(2031, 6, 3, 10, 0, tzinfo=UTC))
    assert len(world.pins.moves) > opened


def test_a_hold_of_one_zone_leaves_the_others(world: World) -> None:
    world.ask(ask="hold", hours=12, zones=["a"], reason="repair")
    world.run_until(NOON)
    assert {m.number for m in world.pins.moves} == {22}


def test_a_hold_outlives_a_restart_and_is_lifted_by_word(world: World) -> None:
    world.ask(ask="hold", hours=24, zones=[], reason="")
    world.restart()
    world.run_until(datetime(2031, 6, 1, 4, 30, tzinfo=UTC))
    assert not world.pins.moves
    assert world.ask(ask="lift")["words"] == "lifted: 1 hold"
    world.run_until(NOON)
    assert world.pins.moves
    assert "no hold" in world.ask(ask="lift")["words"]


def test_a_person_may_open_in_a_hold(world: World) -> None:
    world.ask(ask="hold", hours=24, zones=[], reason="")
    answer = world.ask(ask="open", zone="a", seconds=30)
    assert answer["ok"] and "held" in answer["words"]


def test_replan_plans_anew(world: World) -> None:
    world.run_for(600.0)
    before = world.engine.planned_utc
    assert world.ask(ask="replan")["ok"]
    after = world.engine.planned_utc
    assert before is not None and after is not None and after > before


def test_status_is_json_and_reads_on_paper(world: World) -> None:
    world.run_until_open("a")
    world.run_for(5.0)
    status = json.loads(json.dumps(world.ask(ask="status")))
    text = status_text(status)
    assert "a is open" in text and "mock: no valve moves" in text
    assert status["open"][0]["zone"] == "a"
    assert status["next"] and status["planned_utc"] and status["started_utc"]
    assert status["weather"]["last_day"] == "2031-05-31"
