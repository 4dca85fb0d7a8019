"""The table of a line's states, every pair of it."""

from __future__ import annotations

import math

import pytest

from controller.errors import OutOfRange, ValveRefused
from controller.valves.states import NEXT, Event, LineLimits, State, next_state

CLOSED, OPEN, STUCK, BARRED, NO = State.CLOSED, State.OPEN, State.STUCK, State.BARRED, None
# Written here a second time, row by row, from the rules in the docstrings: what must follow.
TABLE = {
    #                    closed  open    stuck   barred
    Event.OPEN_ASKED: (OPEN, NO, NO, NO),
    Event.ON_FAILED: (NO, STUCK, NO, NO),
    Event.OFF_TOOK: (CLOSED, CLOSED, BARRED, BARRED),
    Event.OFF_FAILED: (STUCK, STUCK, STUCK, STUCK),
    Event.FOUND_ON: (STUCK, NO, STUCK, STUCK),
    Event.RESET_ASKED: (CLOSED, NO, NO, CLOSED),
}
PAIRS = [
    (state, event, to)
    for event, row in TABLE.items()
    for state, to in zip((CLOSED, OPEN, STUCK, BARRED), row, strict=True)
]


def test_the_table_here_has_every_pair() -> None:
    assert {(s, e) for s, e, _ in PAIRS} == {(s, e) for s in State for e in Event}


@pytest.mark.parametrize(("state", "event", "to"), PAIRS)
def test_every_pair_goes_where_the_rules_say(state: State, event: Event, to: State | None) -> None:
    if to is None:
        with pytest.raises(ValveRefused):
            next_state(state, event)
    else:
        assert next_state(state, event) is to


def test_nothing_but_asking_opens_a_line_and_only_a_closed_one() -> None:
    assert {pair for pair, to in NEXT.items() if to is OPEN} == {(CLOSED, Event.OPEN_ASKED)}


def test_off_is_listed_for_every_state() -> None:
    assert all((state, event) in NEXT for state in State for event in TABLE if "off" in event)


def test_nothing_but_a_reset_leads_out_of_barred_to_closed() -> None:
    leaves = {event for (state, event), to in NEXT.items() if state is BARRED and to is CLOSED}
    assert leaves == {Event.RESET_ASKED}


def test_a_refusal_says_what_to_do() -> None:
    with pytest.raises(ValveRefused, match="look at its wiring, relay and valve, then reset it"):
        next_state(BARRED, Event.OPEN_ASKED)


@pytest.mark.parametrize(
    "wrong",
    [
        {"number": -1},
        {"number": True},
        {"number": 17.0},
        {"longest_open_s": 0.0},
        {"longest_open_s": math.nan},
        {"longest_open_s": 86_401.0},
        {"most_open_s_per_day": 0.0},
        {"most_open_s_per_day": math.nan},
        {"most_open_s_per_day": math.inf},
    ],
)
def test_a_line_without_sound_limits_is_not_made(wrong: dict[str, float]) -> None:
    sound = {"number": 17, "active_low": True, "longest_open_s": 60.0, "most_open_s_per_day": 99.0}
    LineLimits(**sound)  # type: ignore[arg-type]
    with pytest.raises(OutOfRange):
        LineLimits(**(sound | wrong))  # type: ignore[arg-type]
