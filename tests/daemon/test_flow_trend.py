"""A set against its own past weeks and the others: the rule by tables, and at a daemon."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from math import exp, log
from pathlib import Path
from random import Random
from typing import Any

import pytest
from pytest import approx
from support.clock import HandClock

from controller.daemon.flow.rules import ComputedFlow
from controller.daemon.flow.trend import (
    BASE_LEAST,
    LEAST_CHANGE,
    Change,
    Past,
    by_set,
    changed_words,
    changes,
    day_share,
    reference_flow,
)
from controller.errors import LogbookError
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import MENDED, FlowStretch

START = date(2031, 5, 1)
A, B, C, AB = frozenset("a"), frozenset("b"), frozenset("c"), frozenset("ab")
ShareOf = Callable[[int], float]


def _days(
    share_of: ShareOf, count: int = 30, *, scatter: float = 0.0, seed: int = 1
) -> dict[date, float]:
    """Logarithms of metered over computed flow, a day each."""
    dice = Random(seed)
    return {
        START + timedelta(days=n): log(share_of(n)) + dice.gauss(0.0, scatter) for n in range(count)
    }


def _from(day: int, share: float, before: float = 1.0) -> ShareOf:
    return lambda n: share if n >= day else before


def _named(found: list[Change]) -> list[tuple[str, int, bool]]:
    """Zones, change in whole per cent, and whether the other may be meant."""
    return [("".join(sorted(c.zones)), round(100 * c.share), c.either) for c in found]


def test_a_zone_that_departs_from_the_others_is_named_three_days_later() -> None:
    for count, found in [(21, []), (22, [("a", -6, False)]), (30, [("a", -6, False)])]:
        sets = {
            A: _days(_from(20, 0.94), count, scatter=0.003),
            B: _days(lambda _: 1.1, count, scatter=0.003, seed=2),
            C: _days(lambda _: 0.8, count, scatter=0.003, seed=3),
        }
        assert _named(changes(sets)) == found, count


def test_hot_evenings_that_weaken_the_tap_are_no_clog() -> None:
    """A fifth of the days, from the tenth on, 15 % weaker, all zones alike."""
    hot = lambda n: 0.85 if n >= 10 and n % 5 == 0 else 1.0  # noqa: E731
    sets = {A: _days(hot, 60), B: _days(hot, 60), C: _days(hot, 60)}
    assert changes(sets) == []


def test_a_fortnight_of_a_weaker_tap_is_the_taps_and_no_zones() -> None:
    sets = {z: _days(_from(20, 0.85), 34, scatter=0.003, seed=n) for n, z in enumerate((A, B, C))}
    assert _named(changes(sets)) == [("", -15, False)]
    words = changed_words(changes(sets)[0])
    assert words.startswith("all zones give 15 % less than in their first weeks")
    assert "the tap, a filter ahead of all zones, or the meter" in words


def test_under_a_weaker_tap_the_clogged_zone_is_still_the_one_named() -> None:
    sets = {
        A: _days(_from(20, 0.85 * 0.93), scatter=0.003),
        B: _days(_from(20, 0.85), scatter=0.003, seed=2),
        C: _days(_from(20, 0.85), scatter=0.003, seed=3),
    }
    assert _named(changes(sets)) == [("a", -7, False)]


def test_of_two_zones_the_one_that_moved_is_named_where_the_tap_is_steady() -> None:
    sets = {A: _days(_from(20, 1.12), scatter=0.003), B: _days(lambda _: 1.0, scatter=0.003)}
    assert _named(changes(sets)) == [("a", 12, False)]


def test_of_two_zones_on_an_unsteady_tap_both_are_named() -> None:
    dice = Random(5)
    tap = [exp(dice.gauss(0.0, 0.04)) for _ in range(30)]
    sets = {
        A: _days(lambda n: tap[n] * (1.07 if n >= 20 else 1.0), scatter=0.003),
        B: _days(lambda n: tap[n], scatter=0.003, seed=2),
    }
    (change,) = changes(sets)
    assert change.either
    assert change.zones | change.others == AB
    assert "look the same" in changed_words(change)


def test_a_zone_alone_is_found_late_and_the_tap_is_said() -> None:
    """No other zone tells the tap's part: a small change is not told at all, a large one is, after
    a week of it, and the words say what else it may be."""
    assert changes({A: _days(_from(20, 0.94), scatter=0.003)}) == []
    large = {n: changes({A: _days(_from(20, 0.85), n, scatter=0.003)}) for n in (22, 24)}
    assert large[22] == []
    (change,) = large[24]
    assert change.others == frozenset()
    assert "a tap that gives less looks the same" in changed_words(change)


def test_sets_that_share_a_zone_are_not_compared_and_the_good_zone_is_let_go() -> None:
    sets = {
        A: _days(_from(20, 0.90), scatter=0.002),
        B: _days(lambda _: 1.0, scatter=0.002, seed=2),
        AB: _days(_from(20, 0.95), scatter=0.002, seed=3),
        C: _days(lambda _: 1.0, scatter=0.002, seed=4),
    }
    assert _named(changes(sets)) == [("a", -10, False)]
    only_together = {AB: sets[AB], C: sets[C], frozenset("d"): sets[B]}
    assert _named(changes(only_together)) == [("ab", -5, False)]


@pytest.mark.parametrize(("share", "told"), [(1.03, False), (1.04, True), (0.96, True)])
def test_changes_from_the_stated_size_on_are_told(share: float, told: bool) -> None:
    assert share == 1.03 or abs(log(share)) > log(1.0 + LEAST_CHANGE)
    sets = {A: _days(_from(20, share)), B: _days(lambda _: 1.0), C: _days(lambda _: 1.0)}
    assert bool(changes(sets)) is told


def test_one_day_of_a_hose_on_the_same_tap_is_no_change() -> None:
    hose = lambda n: 1.6 if n == 29 else 1.0  # noqa: E731
    sets = {A: _days(hose), B: _days(lambda _: 1.0), C: _days(lambda _: 1.0)}
    assert changes(sets) == []


def test_slow_clogging_is_held_against_the_first_weeks_and_not_the_last() -> None:
    """A tenth of the flow over a hundred days; a base that followed would never see it."""
    sets = {
        A: _days(lambda n: 1.0 - 0.001 * n, 101, scatter=0.003),
        B: _days(lambda _: 1.0, 101, scatter=0.003, seed=2),
        C: _days(lambda _: 1.0, 101, scatter=0.003, seed=3),
    }
    (change,) = changes(sets)
    assert change.zones == A
    # WORKED: 0.90 at the end over some 0.99 in the first weeks.
    assert change.share == approx(-0.09, abs=0.01)


def _stretch(day: int, zones: str, share: float, computed_l_s: float = 0.2) -> FlowStretch:
    return FlowStretch(
        day=START + timedelta(days=day),
        zones=frozenset(zones),
        seconds=100.0,
        litres=share * computed_l_s * 100.0,
        computed_l_s=computed_l_s,
    )


def test_stretches_of_a_day_are_summed_and_another_computed_flow_begins_anew() -> None:
    early = [_stretch(n, "a", 1.0) for n in range(3)]
    anew = [_stretch(3, "a", 0.9, 0.25), _stretch(3, "a", 1.1, 0.251), _stretch(4, "a", 1.0, 0.25)]
    (days,) = by_set([*early, *anew]).values()
    assert list(days) == [START + timedelta(days=n) for n in (3, 4)]
    assert days[START + timedelta(days=3)] == approx(log(1.0), abs=0.001)
    (slightly,) = by_set([*early, _stretch(3, "a", 1.0, 0.2005)]).values()
    assert len(slightly) == 4


def test_what_the_other_sets_lack_on_a_day_is_taken_off() -> None:
    hot = lambda n: 0.85 if n == 29 else 1.0  # noqa: E731
    sets = {A: _days(hot), B: _days(hot), AB: _days(hot)}
    today = START + timedelta(days=29)
    assert day_share(sets, A, today) == approx(0.85)
    assert day_share({A: sets[A], AB: sets[AB]}, A, today) is None
    assert day_share(sets, A, today + timedelta(days=1)) is None


def test_a_flow_nobody_knew_is_judged_by_its_own_first_week() -> None:
    unknown = ComputedFlow(flow_l_s=0.4, error=2.0)
    assert reference_flow(unknown, _days(lambda _: 0.1, BASE_LEAST - 1)) is unknown
    own = reference_flow(unknown, _days(lambda _: 0.1, BASE_LEAST))
    assert own.is_known
    # WORKED: a tenth of 0.4 L/s.
    assert own.flow_l_s == approx(0.04)
    known = ComputedFlow(flow_l_s=0.4, error=0.1)
    assert reference_flow(known, _days(lambda _: 0.8)) is known


# --- in the logbook --------------------------------------------------------------------------


def test_what_was_seen_before_a_line_was_mended_does_not_count(tmp_path: Path) -> None:
    clock = HandClock(datetime(2031, 5, 20, 4, 0, tzinfo=UTC))
    kept = [_stretch(n, zones, 1.0) for n in range(3) for zones in ("a", "b", "ab")]
    with Logbook(tmp_path / "logbook.db", clock) as book, Questions(book.path) as ask:
        for one in kept:
            book.flow_stretch(one)
        assert ask.flow_stretches() == kept
        book.reading(MENDED, 1.0, "", day=START + timedelta(days=1), zone="a")
        left = [k for k in kept if k.zones == B or k.day > START + timedelta(days=1)]
        assert ask.flow_stretches() == left


def test_a_logbook_that_takes_nothing_costs_only_the_past() -> None:
    def fails(*_: object) -> Any:
        raise LogbookError("the disk is full")

    past = Past(fails, fails)
    past.keep(_stretch(0, "a", 1.0))
    assert past.stretches(START) == [_stretch(0, "a", 1.0)]


def test_the_past_is_read_anew_each_day() -> None:
    rows = [_stretch(0, "a", 1.0)]
    past = Past(lambda: rows, rows.append)
    past.keep(_stretch(0, "b", 1.0))
    assert len(past.stretches(START)) == 2
    rows.clear()  # mended
    assert len(past.stretches(START)) == 2
    assert past.stretches(START + timedelta(days=1)) == []
