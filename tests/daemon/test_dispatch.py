"""Due pulses are judged, opened or missed; test_dispatch_rules.py has the rules themselves."""

from __future__ import annotations

import logging
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from support.clock import HandClock
from support.gardens import a_zone

from controller.daemon.openings import Controls
from controller.daemon.planning import RETRY_S, Dispatcher, Moment
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import Zone
from controller.garden.plumbing import ValveKind
from controller.timetable.records import Pulse

DAY = date(2031, 6, 1)
SIX = datetime(2031, 6, 1, 6, 0, tzinfo=UTC)
LATER = SIX + timedelta(hours=2)


def a_pulse(zone: str = "a", minute: int = 0) -> Pulse:
    opens = SIX + timedelta(minutes=minute)
    return Pulse(
        zone=zone,
        day=DAY,
        slot=minute + 1,
        opens_utc=opens,
        closes_utc=opens + timedelta(seconds=60),
        open_s=60.0,
        litres=30.0,
        valve=ValveKind.RELAY,
        relay_line=17,
    )


class Set:
    """What is due, with everybody it talks to in the test's hand."""

    def __init__(self, *pulses: Pulse) -> None:
        self.clock = HandClock(SIX)
        self.story: list[tuple[Any, ...]] = []  # what was opened, missed, told and wanted
        self.fault: Exception | None = None  # of opening
        self.row_fault: Exception | None = None  # of writing down what was missed
        self.moment: dict[str, Any] = {}
        self.bank = object()
        self.dispatcher = Dispatcher(
            Controls(
                valve_set=self,  # type: ignore[arg-type]
                openings=self,  # type: ignore[arg-type]
                journal=self,  # type: ignore[arg-type]
                clock=self.clock,
            ),
            lambda kind, words, zone=None: self.story.append((kind, words, zone)),
            lambda reason: self.story.append(("plan", reason)),
        )
        self.dispatcher.pending = list(pulses)

    def open(self, bank: object, pulse: Pulse, *, open_s: float, manual: bool) -> None:
        assert bank is self.bank and not manual
        if self.fault is not None:
            raise self.fault
        self.story.append(("opened", pulse.zone, open_s))

    def missed(self, pulse: Pulse, why: str) -> None:
        if self.row_fault is not None:
            raise self.row_fault
        self.story.append(("row", pulse.zone, why))

    def look(self) -> list[tuple[Any, ...]]:
        self.dispatcher.dispatch(self._zone, self._moment)
        story, self.story = self.story, []
        return story

    def _zone(self, name: str) -> Zone | None:
        return None if name == "gone" else replace(a_zone(), name=name)

    def _moment(self, pulse: Pulse, zone: Zone) -> Moment:
        assert pulse.zone == zone.name
        usual: dict[str, Any] = {
            "now_utc": self.clock.now_utc(),
            "untrusted": "",
            "shut_by": "",
            "key_spent": False,
            "held": None,
            "is_open": False,
            "may_run_until_utc": LATER,
            "shortest_s": 10.0,
        }
        found = {**usual, **self.moment}
        if isinstance(found["key_spent"], Exception):
            raise found["key_spent"]
        return Moment(**found)

    @property
    def left(self) -> list[str]:
        return [pulse.zone for pulse in self.dispatcher.pending]


def test_only_what_has_not_come_yet_is_coming() -> None:
    s = Set(a_pulse("a"), a_pulse("b", 5))
    assert s.dispatcher.next_openings(SIX - timedelta(seconds=1)) == [
        SIX,
        SIX + timedelta(minutes=5),
    ]
    assert s.dispatcher.next_openings(SIX) == [SIX + timedelta(minutes=5)]


def test_a_zone_that_is_left_out_leaves_the_others() -> None:
    s = Set(a_pulse("a"), a_pulse("b"), a_pulse("a", 5))
    s.dispatcher.drop_zone("a")
    assert s.left == ["b"]


def test_what_is_due_opens_at_its_moment_and_only_once() -> None:
    s = Set(a_pulse("a"), a_pulse("b", 5))
    s.clock.advance(-1.0)
    assert s.look() == []
    s.clock.advance(1.0)
    assert s.look() == [("opened", "a", 60.0)]
    assert s.left == ["b"] and s.look() == []


def test_a_pulse_opens_for_what_its_window_leaves() -> None:
    s = Set(a_pulse())
    s.moment["may_run_until_utc"] = SIX + timedelta(seconds=40)
    assert s.look() == [("opened", "a", 40.0)]


def test_a_zone_that_is_gone_and_one_that_waits_hold_up_no_other() -> None:
    s = Set(a_pulse("gone"), a_pulse("a"), a_pulse("b"))
    assert s.look() == [("opened", "a", 60.0), ("opened", "b", 60.0)]
    assert s.left == []
    s = Set(a_pulse("a"), a_pulse("b"))
    s.moment["untrusted"] = "nobody knows the time"
    assert s.look() == [] and s.left == ["a", "b"]
    s.moment.clear()
    assert s.look() == [("opened", "a", 60.0), ("opened", "b", 60.0)]


def test_what_is_missed_is_told_written_and_planned_anew_and_the_next_is_judged() -> None:
    s = Set(a_pulse("a"), a_pulse("b", 11))
    s.clock.advance(11 * 60.0)
    assert s.look() == [
        ("missed", "11 minutes late; its water stays owed", "a"),
        ("row", "a", "11 minutes late"),
        ("plan", "missed"),
        ("opened", "b", 60.0),
    ]
    assert s.left == []


def test_what_is_missed_is_planned_anew_though_it_cannot_be_written() -> None:
    s = Set(a_pulse())
    s.moment["held"] = "sowing"
    s.row_fault = LogbookError("the disk is full")
    assert s.look() == [
        ("missed", "held: sowing; its water stays owed", "a"),
        ("plan", "missed"),
    ]
    assert s.left == []


def test_a_key_that_was_spent_is_dropped_and_asks_for_another_plan() -> None:
    s = Set(a_pulse("a"), a_pulse("b"))
    s.moment["key_spent"] = True
    assert s.look() == [("plan", "a key that was spent")] * 2
    assert s.left == []


@pytest.mark.parametrize("asking", [True, False])
def test_a_logbook_that_fails_is_asked_again_a_minute_later(asking: bool) -> None:
    s = Set(a_pulse("a"), a_pulse("b"))
    fault = LogbookError("the disk is full")
    if asking:
        s.moment["key_spent"] = fault
        words = "not opened: the disk is full"
    else:
        s.fault = fault
        words = "not opened, it cannot be written down: the disk is full"
    assert s.look() == [("logbook", words, "a")]  # b is not even tried
    s.moment.clear()
    s.fault = None
    s.clock.advance(RETRY_S - 0.1)
    assert s.look() == [] and s.left == ["a", "b"]
    s.clock.advance(0.1)
    assert s.look() == [("opened", "a", 60.0), ("opened", "b", 60.0)]


def test_a_refusal_is_told_and_a_fault_logged_and_neither_is_tried_again(
    caplog: pytest.LogCaptureFixture,
) -> None:
    s = Set(a_pulse())
    s.fault = ValveRefused("line 17 has had its day")
    assert s.look() == [("refused", "line 17 has had its day", "a")]
    assert s.left == []
    s = Set(a_pulse())
    s.fault = ValveFault("line 17 did not open")
    assert s.look() == [] and s.left == []  # the bank's record tells it
    assert caplog.record_tuples == [
        ("rowgate.engine", logging.ERROR, "a: line 17 did not open"),
    ]
