"""What is credited of a count that may be wrong, and how far it may lengthen a zone's day."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from math import exp
from pathlib import Path

import pytest
from pytest import approx

from controller.daemon.flow.litres import (
    MORE_THAN_PLAN,
    Counted,
    Credit,
    DayGiven,
    cut_words,
    day_given,
    held_to_plan,
)
from controller.daemon.flow.rules import ComputedFlow, passing_l, passing_shares
from controller.garden.plumbing import ValveKind
from controller.timetable.records import Pulse

DAY, NEXT = date(2031, 6, 1), date(2031, 6, 2)
SIX = datetime(2031, 6, 1, 6, 0, tzinfo=UTC)
# 0.5 L/s known to 4 %: far = 3 sqrt(0.04^2 + 0.03^2) + 0.08 = 0.23. WORKED.
BAND = ComputedFlow(flow_l_s=0.5, error=0.04)
LEAST, MOST = exp(-0.23), exp(0.23)
PER_PULSE_L = 0.01
A, B = frozenset("a"), frozenset("b")


def a_credit(band: ComputedFlow = BAND, most_l_s: float = 1.0) -> Credit:
    return Credit(PER_PULSE_L, lambda _: band, most_l_s)


def counted(zones: frozenset[str], metered_l: float, timed_l: float = 10.0) -> Counted:
    return Counted(zones=zones, metered_l=metered_l, timed_l=timed_l, seconds=timed_l / 0.5)


def a_pulse(zone: str = "a", minute: int = 0, open_s: float = 30.0, day: date = DAY) -> Pulse:
    opens = SIX + timedelta(minutes=minute)
    return Pulse(
        zone=zone,
        day=day,
        slot=minute + 1,
        opens_utc=opens,
        closes_utc=opens + timedelta(seconds=open_s),
        open_s=open_s,
        litres=open_s / 2.0,
        valve=ValveKind.RELAY,
        relay_line=17,
    )


def test_the_shares_that_pass_are_those_of_the_litres_that_pass() -> None:
    low, high = passing_shares(BAND)
    assert (low, high) == (approx(LEAST), approx(MOST))
    least, most = passing_l(BAND, 100.0, PER_PULSE_L)
    assert least == approx(50.0 * low - 0.02)
    assert most == approx(50.0 * high + 0.02)
    falls = ComputedFlow(flow_l_s=0.5, error=0.04, low_l_s=0.25, high_l_s=0.6)
    assert passing_shares(falls) == (approx(0.5 * LEAST), approx(1.2 * MOST))
    assert passing_shares(ComputedFlow(flow_l_s=0.0, error=0.04)) == (0.0, float("inf"))


def test_openings_put_together_are_each_two_pulses_off() -> None:
    once, thrice = (passing_l(BAND, 100.0, PER_PULSE_L, n) for n in (1, 3))
    assert once[0] - thrice[0] == approx(0.04)
    assert thrice[1] - once[1] == approx(0.04)


@pytest.mark.parametrize("metered_l", [8.0, 9.9, 12.4])
def test_a_count_within_the_band_is_credited_as_it_is(metered_l: float) -> None:
    found = a_credit().of(counted(A, metered_l), DAY)
    assert (found.litres, found.by_meter) == (metered_l, True)


@pytest.mark.parametrize("metered_l", [0.0, 10.0 / 3.0, 7.9])
def test_a_count_below_the_band_is_credited_the_least_that_passes(metered_l: float) -> None:
    """10 L by time: the least is 10 exp(-0.23) less two pulses of 0.01 L, or 7.925 L. WORKED."""
    found = a_credit().of(counted(A, metered_l), DAY)
    assert (found.litres, found.by_meter) == (approx(7.925, abs=0.001), False)


def test_a_low_count_is_believed_once_another_zone_was_seen_right_that_day() -> None:
    credit = a_credit()
    assert credit.of(counted(B, 10.1), DAY).by_meter
    assert credit.of(counted(A, 3.3), DAY).litres == 3.3
    assert credit.of(counted(A, 0.0), DAY).litres == 0.0
    # WORKED: of 10 L by time the least that passes, less two pulses: 10 exp(-0.23) - 0.02.
    assert credit.of(counted(A, 3.3), NEXT).litres == approx(7.925, abs=0.001)  # yesterday's word


def test_what_ran_with_the_zone_or_was_low_itself_vouches_for_nothing() -> None:
    credit = a_credit()
    credit.of(counted(A | B, 10.0), DAY)
    assert not credit.of(counted(A, 3.3), DAY).by_meter
    credit.of(counted(B, 10.0), DAY)
    assert credit.of(counted(A, 3.3), DAY).by_meter
    credit.of(counted(B, 3.3), DAY)  # b is low too, now
    assert not credit.of(counted(A, 3.3), DAY).by_meter


def test_a_few_pulses_vouch_for_nothing() -> None:
    credit = a_credit()
    credit.of(counted(B, 0.19, 0.2), DAY)
    assert not credit.of(counted(A, 3.3), DAY).by_meter
    credit.of(counted(B, 0.21, 0.2), DAY)
    assert credit.of(counted(A, 3.3), DAY).by_meter


def test_missing_pulses_are_counted_over_all_openings_of_a_set() -> None:
    """0.02 L each by time, two pulses: the least of all is 0.02 n exp(-0.23) less two pulses once,
    or 0.0159 n - 0.02. WORKED. With two for each opening it was nothing, for ever."""
    credit = a_credit()
    given_l = [credit.of(counted(A, 0.0, 0.02), DAY).litres for _ in range(10)]
    assert given_l[0] == 0.0
    assert sum(given_l) == approx(10 * 0.02 * LEAST - 0.02)
    # Over the days, too; and what a healthy meter counts brings it into balance again.
    assert credit.of(counted(A, 0.0, 0.02), NEXT).litres == approx(0.02 * LEAST)
    credit.of(counted(A, 10.0), NEXT)
    assert credit.of(counted(A, 0.0, 0.02), NEXT).litres == 0.0


def test_a_coarse_meter_that_counts_rightly_is_believed() -> None:
    """Doses of a third of a pulse: every third is counted as a whole one, wherever it begins."""
    for begins in range(3):
        credit = a_credit()
        for number in range(60):
            metered_l = PER_PULSE_L if (number + begins) % 3 == 0 else 0.0
            found = credit.of(counted(A, metered_l, PER_PULSE_L / 3.0), DAY)
            assert (found.litres, found.by_meter) == (metered_l, True)


def test_the_page_says_how_much_a_bad_meter_waters() -> None:
    """What is credited is the least that passes, so a dose is given 1 / least times. WORKED: known
    to 10 %, far = 3 sqrt(0.10^2 + 0.03^2) + 0.08 = 0.393, and exp(0.393) = 1.48."""
    page = (Path(__file__).parents[2] / "docs" / "watching.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (\d+) % .*−(\d+) % \| \+(\d+) % \| ([\d.]+) times \|$", page, re.M)
    assert [int(row[0]) for row in rows] == [2, 4, 6, 10, 15, 30]
    for error, clogged, burst, times in rows:
        low, high = passing_shares(ComputedFlow(flow_l_s=0.5, error=int(error) / 100.0))
        assert round(100.0 * (1.0 - low)) == int(clogged)
        assert round(100.0 * (high - 1.0)) == int(burst)
        assert f"{1.0 / low:.2f}" == times


def test_more_than_any_tap_gives_is_no_water_and_goes_by_time() -> None:
    """A tap of 1 L/s over 20 s, twice believed: 40 L, and 20 pulses. WORKED."""
    credit = a_credit()
    assert credit.of(counted(A, 40.1), DAY).litres == 40.1
    found = credit.of(counted(A, 40.3), DAY)
    assert (found.litres, found.by_meter) == (10.0, False)
    # A flood of 10 kHz for 20 s is 2000 L. It vouches for nothing.
    assert credit.of(counted(B, 2000.0), DAY).litres == 10.0
    assert not credit.of(counted(A, 3.3), DAY).by_meter


@pytest.mark.parametrize("wrong_l", [2000.0, 3.3], ids=["far too much", "too little"])
def test_a_set_that_was_seen_right_and_then_wrong_vouches_for_nobody(wrong_l: float) -> None:
    credit = a_credit()
    credit.of(counted(B, 10.0), DAY)
    assert credit.of(counted(A, 3.3), DAY).by_meter  # b was seen right
    credit.of(counted(B, wrong_l), DAY)
    assert not credit.of(counted(A, 3.3), DAY).by_meter


def test_a_flow_that_nobody_knows_is_credited_as_it_was_counted() -> None:
    unknown = ComputedFlow(flow_l_s=0.5, error=0.8)
    assert a_credit(unknown).of(counted(A, 0.7), DAY).litres == 0.7


def cut(
    given: DayGiven, planned_s: Sequence[float], shortest_s: float = 5.0
) -> tuple[list[float], bool]:
    pulses = [a_pulse(minute=10 * n, open_s=s) for n, s in enumerate(planned_s)]
    kept, which = held_to_plan(pulses, {("a", DAY): given}, {"a": shortest_s})
    for pulse in kept:
        assert pulse.litres == approx(pulse.open_s / 2.0)
        assert (pulse.closes_utc - pulse.opens_utc).total_seconds() == approx(pulse.open_s)
    return [p.open_s for p in kept], bool(which)


def test_a_third_of_the_pulses_makes_a_day_a_quarter_longer_and_no_more() -> None:
    """30 s planned and open; a third was counted, so 20 s are planned again. By time nothing would
    be: 1.25 x 30 - 30 = 7.5 s more. WORKED."""
    assert MORE_THAN_PLAN == 0.25
    assert cut(DayGiven(open_s=30.0, lacking_s=20.0), [20.0]) == ([approx(7.5)], True)
    # Then 25 s of 37.5 lack, and 17.5 are planned to make 30: nothing is left of 37.5.
    assert cut(DayGiven(open_s=37.5, lacking_s=25.0), [17.5]) == ([], True)


def test_what_is_planned_for_other_reasons_is_not_cut() -> None:
    assert cut(DayGiven(open_s=30.0, lacking_s=0.0), [300.0]) == ([300.0], False)
    # Half of the dose is to come, and 2 s lack: 30 + 32 - 2 = 60 by time, 75 allowed.
    assert cut(DayGiven(open_s=30.0, lacking_s=2.0), [32.0]) == ([32.0], False)


def test_the_first_pulses_of_a_day_stay_and_a_rest_too_short_is_left_out() -> None:
    given = DayGiven(open_s=60.0, lacking_s=60.0)  # WORKED: planned 60: 75 in all, so 15 more
    assert cut(given, [10.0, 10.0, 40.0]) == ([10.0, approx(5.0)], True)
    assert cut(given, [10.0, 10.0, 40.0], shortest_s=6.0) == ([10.0], True)
    assert cut(given, [4.0, 56.0], shortest_s=5.0) == ([4.0, approx(11.0)], True)


def test_only_that_zone_and_day_are_cut() -> None:
    pulses = [a_pulse("a"), a_pulse("b", 1), a_pulse("a", 2, day=NEXT)]
    given = {("a", DAY): DayGiven(open_s=30.0, lacking_s=30.0)}
    kept, which = held_to_plan(pulses, given, {})
    # WORKED: a quarter over the 30 s of the plan.
    assert [(p.zone, p.day, p.open_s) for p in kept] == [
        ("a", DAY, approx(7.5)),
        ("b", DAY, 30.0),
        ("a", NEXT, 30.0),
    ]
    assert which == [("a", DAY)]


def test_a_day_that_lacks_nothing_shields_no_other_from_the_cut() -> None:
    given = {
        ("b", DAY): DayGiven(open_s=30.0, lacking_s=0.0),
        ("c", DAY): DayGiven(open_s=30.0, lacking_s=30.0),  # nothing of it is planned
        ("a", DAY): DayGiven(open_s=30.0, lacking_s=30.0),
    }
    kept, which = held_to_plan([a_pulse("a"), a_pulse("b", 1)], given, {})
    # WORKED: a quarter over the 30 s of the plan.
    assert [(p.zone, p.open_s) for p in kept] == [("a", approx(7.5)), ("b", 30.0)]
    assert which == [("a", DAY)]


def test_a_zones_day_is_summed_up_and_more_than_time_says_lacks_nothing() -> None:
    found = day_given(
        [("a", DAY, 30.0, 5.0, 0.5), ("a", DAY, 10.0, 8.0, 0.5), ("b", DAY, 20.0, 0.0, 0.0)]
    )
    assert found == {
        ("a", DAY): DayGiven(open_s=40.0, lacking_s=20.0),
        ("b", DAY): DayGiven(open_s=20.0, lacking_s=0.0),
    }
    assert cut_words(found["a", DAY]) == (
        "open for 40 s today, of which 20 s gave nothing by the meter; it gets no more than 25 % "
        "above its plan in a day, and the rest stays owed"
    )


# ---- just at the bounds ----------------------------------------------------------------------


def test_just_the_least_that_passes_is_the_meters_own() -> None:
    low, high = passing_shares(BAND)
    least_l, most_l = low * 10.0 - 2 * PER_PULSE_L, high * 10.0 + 2 * PER_PULSE_L
    assert a_credit().of(counted(A, least_l), DAY).by_meter
    assert not a_credit().of(counted(A, least_l - 1e-9), DAY).by_meter
    for metered_l, vouches in ((most_l, True), (most_l + 1e-9, False)):
        credit = a_credit()
        credit.of(counted(B, metered_l), DAY)
        assert credit.of(counted(A, 3.3), DAY).by_meter is vouches


def test_twenty_pulses_vouch_and_fewer_do_not() -> None:
    for metered_l, vouches in ((20 * PER_PULSE_L, True), (19.99 * PER_PULSE_L, False)):
        credit = a_credit()
        credit.of(counted(B, metered_l, 0.2), DAY)
        assert credit.of(counted(A, 3.3), DAY).by_meter is vouches


def test_where_nothing_is_due_by_time_the_count_is_credited() -> None:
    found = a_credit().of(Counted(zones=A, metered_l=0.05, timed_l=0.0, seconds=20.0), DAY)
    assert (found.litres, found.by_meter) == (0.05, True)


def test_just_what_the_tap_may_give_is_water() -> None:
    # WORKED: twice 1 L/s over 20 s, and 20 pulses of 0.01 L: 40.2 L.
    credit = a_credit()
    assert not credit.is_absurd(40.2, 20.0)
    assert credit.is_absurd(40.2001, 20.0)


def test_a_day_that_may_be_just_so_long_is_not_cut() -> None:
    # WORKED: 40 s open and 10 s planned, 10 s lack: 1.25 x 40 - 40 = 10 s.
    assert cut(DayGiven(open_s=40.0, lacking_s=10.0), [10.0]) == ([10.0], False)
    assert cut(DayGiven(open_s=40.0, lacking_s=10.25), [10.0]) == ([approx(9.6875)], True)


def test_a_second_planned_is_held_to_the_plan_too() -> None:
    assert cut(DayGiven(open_s=40.0, lacking_s=40.0), [1.0], shortest_s=0.5) == ([], True)


def test_a_rest_of_just_the_shortest_opening_is_given() -> None:
    given = DayGiven(open_s=60.0, lacking_s=60.0)  # 15 s more of the 60 planned
    assert cut(given, [60.0], shortest_s=15.0) == ([15.0], True)
    assert cut(given, [60.0], shortest_s=15.1) == ([], True)
    # After a pulse that no longer fits nothing later is given either.
    assert cut(given, [10.0, 45.0, 5.0], shortest_s=6.0) == ([10.0], True)


def test_without_a_known_shortest_opening_nothing_of_no_length_is_planned() -> None:
    pulses = [a_pulse(open_s=30.0), a_pulse(minute=10, open_s=30.0)]
    kept, _ = held_to_plan(pulses, {("a", DAY): DayGiven(open_s=0.0, lacking_s=36.0)}, {})
    assert [p.open_s for p in kept] == [approx(30.0)]
    kept, _ = held_to_plan(pulses, {("a", DAY): DayGiven(open_s=30.0, lacking_s=60.0)}, {})
    # WORKED: by time 30 + 60 - 60 = 30 s, and a quarter over them: 37.5 s, of which 30 are over.
    assert [p.open_s for p in kept] == [approx(7.5)]


def test_what_a_pulse_keeps_when_it_is_shortened() -> None:
    (kept,), _ = held_to_plan(
        [a_pulse(open_s=40.0)], {("a", DAY): DayGiven(open_s=60.0, lacking_s=50.0)}, {}
    )
    # WORKED: 1.25 x 50 - 60 = 2.5 s of 40, 20 L of which a sixteenth.
    assert (kept.open_s, kept.litres) == (approx(2.5), approx(1.25))
    assert kept.opens_utc == SIX
    assert kept.closes_utc == SIX + timedelta(seconds=2.5)
