"""The table of a line's states, every pair of it."""

from __future__ import annotations

import math

import pytest

from controller.errors import OutOfRange, ValveFault, ValveRefused
from controller.valves.line import (
    MAY_RUN,
    NEXT,
    Event,
    LineLimits,
    MasterLimits,
    State,
    drive_s,
    next_state,
)

CLOSED, OPEN, CLOSING, AGAIN = State.CLOSED, State.OPEN, State.CLOSING, State.RECLOSING
STUCK, BARRED, NO = State.STUCK, State.BARRED, None
STATES = (CLOSED, OPEN, CLOSING, AGAIN, STUCK, BARRED)
# Written here a second time, row by row, from the rules in the docstrings: what must follow.
TABLE = {
    #                    closed   open     closing  again   stuck  barred
    Event.OPEN_ASKED: (OPEN, NO, NO, NO, NO, NO),
    Event.ON_FAILED: (NO, STUCK, NO, NO, NO, NO),
    Event.CLOSE_BEGAN: (CLOSING, CLOSING, CLOSING, AGAIN, AGAIN, AGAIN),
    Event.OFF_TOOK: (CLOSED, CLOSED, CLOSED, BARRED, BARRED, BARRED),
    Event.OFF_FAILED: (STUCK, STUCK, STUCK, STUCK, STUCK, STUCK),
    Event.FOUND_ON: (STUCK, NO, STUCK, STUCK, STUCK, STUCK),
    Event.RESET_ASKED: (CLOSED, NO, NO, NO, NO, CLOSED),
}
PAIRS = [
    (state, event, to)
    for event, row in TABLE.items()
    for state, to in zip(STATES, row, strict=True)
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


def test_what_disobeyed_once_ends_nowhere_but_barred() -> None:
    # Walked: every way out of stuck, by any events but a reset, and never through closed.
    reached, todo = set(), [STUCK]
    while todo:
        state = todo.pop()
        if state not in reached:
            reached.add(state)
            todo += [to for (s, e), to in NEXT.items() if s is state and e is not Event.RESET_ASKED]
    assert reached == {STUCK, AGAIN, BARRED}


def test_water_may_run_in_every_state_but_closed_and_barred() -> None:
    assert set(State) - MAY_RUN == {CLOSED, BARRED}


@pytest.mark.parametrize("state", [s for s in State if s is not CLOSED])
def test_no_refusal_to_open_is_without_its_own_words(state: State) -> None:
    with pytest.raises(ValveRefused) as refused:
        next_state(state, Event.OPEN_ASKED)
    assert "does not happen" not in str(refused.value)


def test_what_the_table_does_not_know_is_said_with_both_words() -> None:
    with pytest.raises(ValveRefused, match='"on failed" does not happen to a line that is closed'):
        next_state(CLOSED, Event.ON_FAILED)


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
        {"close_number": True},
        {"close_number": -1},
        {"opens_in_s": -1.0},
        {"closes_in_s": math.nan},
        {"closes_in_s": math.inf},
        {"opens_in_s": 300.1},
    ],
)
def test_a_line_without_sound_limits_is_not_made(wrong: dict[str, float]) -> None:
    sound = {"number": 17, "active_low": True, "longest_open_s": 60.0, "most_open_s_per_day": 99.0}
    LineLimits(**sound)  # type: ignore[arg-type]
    (key,) = wrong
    with pytest.raises(OutOfRange, match=rf"^{key}\b"):
        LineLimits(**(sound | wrong))  # type: ignore[arg-type]


@pytest.mark.parametrize("key", ["number", "close_number"])
def test_what_is_no_number_is_told_which_are(key: str) -> None:
    with pytest.raises(OutOfRange, match=rf"^{key}: found nan; allowed is 0 to 1023$"):
        LineLimits(**(BALL | {key: True}))  # type: ignore[arg-type]


BALL = {"number": 17, "active_low": True, "longest_open_s": 60.0, "most_open_s_per_day": 99.0}


@pytest.mark.parametrize(
    "wrong",
    [
        {"close_number": 17, "opens_in_s": 5.0, "closes_in_s": 5.0},
        {"close_number": 27, "closes_in_s": 5.0},
        {"close_number": 27, "opens_in_s": 5.0},
    ],
)
def test_a_ball_that_stays_has_two_lines_and_its_travel(wrong: dict[str, float]) -> None:
    with pytest.raises(ValveFault, match="line 17"):
        LineLimits(**(BALL | wrong))  # type: ignore[arg-type]


def test_a_valve_is_given_more_than_its_travel() -> None:
    # WORKED: a quarter more, and a second more where that is longer; nothing for what snaps.
    assert [drive_s(t) for t in (0.0, 2.0, 4.0, 15.0)] == [0.0, 3.0, 5.0, 18.75]


@pytest.mark.parametrize(
    "wrong",
    [
        {"leads_s": -1.0},
        {"leads_s": 600.1},
        {"lags_s": math.nan},
        {"lags_s": 601.0},
        {"number": 1024},
    ],
)
def test_a_master_without_sound_limits_is_not_made(wrong: dict[str, float]) -> None:
    (key,) = wrong
    with pytest.raises(OutOfRange, match=rf"^{key}\b"):
        MasterLimits(**({"number": 5, "active_low": True} | wrong))  # type: ignore[arg-type]


def test_a_master_leads_at_least_until_it_is_open() -> None:
    master = MasterLimits(number=5, active_low=True, leads_s=2.0, opens_in_s=8.0)
    assert master.lead_s == 10.0
