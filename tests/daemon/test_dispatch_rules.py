"""What happens to a planned pulse: the table of rules, each by its own case."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from controller.daemon.planning import LATEST_S, Moment, Verdict, decide
from controller.garden.plumbing import ValveKind
from controller.timetable.records import Pulse

OPENS = datetime(2031, 6, 1, 4, 0, tzinfo=UTC)
PULSE = Pulse(
    zone="a",
    day=date(2031, 6, 1),
    slot=1,
    opens_utc=OPENS,
    closes_utc=OPENS + timedelta(seconds=300),
    open_s=300.0,
    litres=15.0,
    valve=ValveKind.RELAY,
    relay_line=17,
)


def _moment(late_s: float = 0.0, **more: Any) -> Moment:
    plain: dict[str, Any] = {
        "now_utc": OPENS + timedelta(seconds=late_s),
        "untrusted": "",
        "shut_by": "",
        "key_spent": False,
        "held": None,
        "is_open": False,
        "may_run_until_utc": OPENS + timedelta(hours=2),
        "shortest_s": 5.0,
    }
    return Moment(**(plain | more))


@pytest.mark.parametrize(
    "moment, verdict",
    [
        (_moment(), Verdict.OPEN),
        (_moment(LATEST_S), Verdict.OPEN),
        (_moment(-0.1), Verdict.WAIT),
        (_moment(LATEST_S + 1.0), Verdict.MISSED),
        (_moment(untrusted="the clock was moved"), Verdict.WAIT),
        (_moment(LATEST_S + 1.0, untrusted="the clock was moved"), Verdict.WAIT),
        (_moment(LATEST_S + 1.0, shut_by="the rain switch is wet"), Verdict.WAIT),
        (_moment(key_spent=True), Verdict.DROP),
        (_moment(key_spent=True, untrusted="x", held="x", is_open=True), Verdict.DROP),
        (_moment(held=""), Verdict.MISSED),
        (_moment(held="guests"), Verdict.MISSED),
        (_moment(is_open=True), Verdict.WAIT),
        (_moment(LATEST_S + 1.0, is_open=True), Verdict.MISSED),
        (_moment(may_run_until_utc=None), Verdict.MISSED),
        (_moment(may_run_until_utc=OPENS + timedelta(seconds=4.9)), Verdict.MISSED),
        (_moment(may_run_until_utc=OPENS + timedelta(seconds=5.0)), Verdict.OPEN),
    ],
)
def test_each_rule_decides_its_case(moment: Moment, verdict: Verdict) -> None:
    assert decide(PULSE, moment).verdict is verdict


def test_a_late_pulse_ends_with_its_window() -> None:
    judged = decide(PULSE, _moment(60.0, may_run_until_utc=OPENS + timedelta(seconds=200)))
    assert judged.open_s == 140.0


def test_a_pulse_in_time_runs_as_long_as_planned() -> None:
    assert decide(PULSE, _moment()).open_s == 300.0


def test_what_does_not_open_says_why() -> None:
    def why(late_s: float = 0.0, **more: Any) -> str:
        return decide(PULSE, _moment(late_s, **more)).why

    assert why(held="guests") == "held: guests"
    assert why(held="") == "held: no reason given"
    assert why(660.0) == "11 minutes late"
    assert why(may_run_until_utc=None) == "no window allows it any more"
    assert why(may_run_until_utc=OPENS) == "its window closes now"
    assert why(is_open=True) == "its valve is open already"
    assert why(key_spent=True) == "it has run already"
    assert why(untrusted="the clock was moved") == "the clock was moved"
    assert why(shut_by="the rain switch is wet") == "the rain switch is wet"
    assert why() == ""


def test_a_pulse_shorter_than_the_shortest_opens_whole_or_not_at_all() -> None:
    # Its plan knew why it is so short; cut by the window it is not worth opening.
    def verdict(left_s: float) -> Verdict:
        ends = OPENS + timedelta(seconds=left_s)
        return decide(PULSE, _moment(may_run_until_utc=ends, shortest_s=400.0)).verdict

    assert (verdict(300.0), verdict(299.9)) == (Verdict.OPEN, Verdict.MISSED)
