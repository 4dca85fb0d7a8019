"""A valve's travel in time and litres: the ramp itself, and what packing makes of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.gardens import EVERY_DAY
from support.jobs import FIVE, SharedTap, a_job, alike

from controller.garden.model import Watering
from controller.garden.plumbing import Valve, ValveKind
from controller.timetable.need.dose import Soaking
from controller.timetable.need.pulse_length import (
    least_water_s,
    open_for_s,
    shortest_pulse_s,
    water_s,
    water_span_s,
)
from controller.timetable.packing.fit_day import Job, Packed, pack
from controller.timetable.records import Pulse
from controller.timetable.windows import Stretch
from controller.wording.say import say

travel = st.floats(min_value=0.0, max_value=30.0)


def a_ball(zone: str = "a", **more: Any) -> Job:
    """60 L by a ball that opens in 8 s and shuts in 4, from five o'clock for three hours."""
    return a_job(zone, **{"shortest_pulse_s": 6.0, "opens_in_s": 8.0, "closes_in_s": 4.0, **more})


def packed(*jobs: Job, tap: SharedTap, most_open: int = 3) -> Packed:
    return pack(jobs, tap, most_open=most_open, least_share=0.3)


def test_half_of_each_travel_counts() -> None:
    # WORKED: opening 10 s ramp up to 1: area 5; 50 s level; closing 4 s ramp down: area 2. 57 s.
    assert water_s(open_s=60.0, opens_in_s=10.0, closes_in_s=4.0) == approx(57.0, abs=1e-9)
    assert open_for_s(wanted_s=57.0, opens_in_s=10.0, closes_in_s=4.0) == approx(60.0, abs=1e-9)
    assert water_span_s(open_s=60.0, opens_in_s=10.0, closes_in_s=4.0) == (5.0, 62.0)


def test_a_valve_told_to_shut_on_its_way_has_let_less_through() -> None:
    # WORKED: after 5 of 10 s it stands half open: area 5 * 0.5 / 2 = 1.25; back from there takes
    # half of 4 s: 2 * 0.5 / 2 = 0.5. 1.75 s.
    assert water_s(open_s=5.0, opens_in_s=10.0, closes_in_s=4.0) == approx(1.75, abs=1e-9)
    assert water_s(open_s=0.0, opens_in_s=10.0, closes_in_s=4.0) == 0.0


ticks = st.integers(min_value=0, max_value=600)


@given(open_for=st.integers(min_value=1, max_value=1200), opens=ticks, closes=ticks)
def test_the_rule_is_the_area_under_the_valves_own_way(
    open_for: int, opens: int, closes: int
) -> None:
    # The valve itself, a twentieth of a second at a time, told to shut after `open_for`.
    tick_s, stands, area, at = 0.05, 0.0, 0.0, 0
    if opens == 0:
        stands = 1.0
    while at < open_for or stands > 1e-9:
        before = stands
        if at < open_for:
            stands = min(1.0, stands + (1.0 / opens if opens else 1.0))
        else:
            stands = max(0.0, stands - (1.0 / closes if closes else 1.0))
            before = before if closes else 0.0
        area += (before + stands) / 2.0 * tick_s
        at += 1
    found = water_s(
        open_s=open_for * tick_s, opens_in_s=opens * tick_s, closes_in_s=closes * tick_s
    )
    # A valve that turns round on its way may be shut within a tick.
    assert found == approx(area, abs=tick_s / 2.0)


@given(wanted=st.floats(min_value=0.0, max_value=3600.0), opens=travel, closes=travel)
def test_what_is_asked_for_is_what_comes_but_for_the_travel_itself(
    wanted: float, opens: float, closes: float
) -> None:
    open_s = open_for_s(wanted_s=wanted, opens_in_s=opens, closes_in_s=closes)
    assert open_s >= max(opens, 0.1) - 1e-9
    came_s = water_s(open_s=open_s, opens_in_s=opens, closes_in_s=closes)
    least_s = least_water_s(opens_in_s=opens, closes_in_s=closes)
    # A tenth of a second is the least that a relay can be told.
    assert max(wanted, least_s) - 1e-9 <= came_s <= max(wanted, least_s + 0.1) + 1e-9
    if wanted >= least_s + 0.1:
        assert came_s == approx(wanted, abs=1e-9)
    begins_s, ends_s = water_span_s(open_s=open_s, opens_in_s=opens, closes_in_s=closes)
    assert ends_s - begins_s == approx(came_s, abs=1e-9)


def test_the_shortest_pulse_is_the_valves_own_else_the_gardens_and_never_under_its_travel() -> None:
    watering = Watering(windows=(EVERY_DAY,), shortest_pulse_s=5.0)
    plain = Valve(kind=ValveKind.RELAY, relay_line=17)
    assert shortest_pulse_s(plain, watering) == 5.0
    assert shortest_pulse_s(replace(plain, shortest_pulse_s=20.0), watering) == 20.0
    assert shortest_pulse_s(replace(plain, shortest_pulse_s=2.0), watering) == 2.0
    # WORKED: (12 + 6) / 2.
    ball = replace(plain, opens_in_s=12.0, closes_in_s=6.0)
    assert shortest_pulse_s(ball, watering) == 9.0
    assert shortest_pulse_s(replace(ball, shortest_pulse_s=15.0), watering) == 15.0


def test_a_ball_is_told_to_be_open_for_its_litres_and_half_its_travel() -> None:
    # WORKED: 60 L at 0.5 L/s are 120 s; 8/2 more to open, 4/2 less to shut: 122 s.
    found = packed(a_ball(), tap=alike(1.0, 0.5))
    assert [(p.opens_utc, p.open_s) for p in found.pulses] == [(FIVE, 122.0)]
    assert found.pulses[0].litres == approx(60.0, abs=1e-9)
    assert found.not_fitted == ()


def test_filling_the_line_comes_on_top() -> None:
    # WORKED: 3 L more are 6 s more.
    found = packed(a_ball(line_litres=3.0), tap=alike(1.0, 0.5))
    assert [p.open_s for p in found.pulses] == [128.0]
    assert found.pulses[0].litres == approx(63.0, abs=1e-9)


def test_a_ball_is_quite_shut_when_its_window_ends() -> None:
    # WORKED: told to shut 4 s before the minute is over, at 56 s: 56 - 4 + 2 = 54 s, 27 L.
    window = (Stretch(FIVE, FIVE + timedelta(minutes=1)),)
    found = packed(a_ball(stretches=window), tap=alike(1.0, 0.5))
    assert [p.open_s for p in found.pulses] == [56.0]
    assert found.pulses[0].litres == approx(27.0, abs=1e-9)
    (left,) = found.not_fitted
    assert left.litres == approx(33.0, abs=1e-9)
    assert say(left.reason, us=False) == "the windows closed first"


def test_no_zone_comes_in_for_one_that_still_travels() -> None:
    # WORKED: told to shut at 122 s, quite shut at 126.
    found = packed(a_ball("a", urgency=0.9), a_ball("b"), tap=alike(1.0, 0.5), most_open=1)
    first, second = found.pulses
    assert (second.opens_utc - first.closes_utc).total_seconds() == 4.0


def test_a_ball_is_not_opened_again_before_it_is_shut() -> None:
    # WORKED: 100 s at most are 98 s of water, 49 L: 60 L make two pulses of 30 L, 60 s of water, 62
    # s told. Sand has drunk it all at once, so the second waits for the travel alone.
    found = packed(a_ball(longest_open_s=100.0), tap=alike(1.0, 0.5))
    first, second = found.pulses
    assert (first.open_s, second.open_s) == (62.0, 62.0)
    assert (second.opens_utc - first.closes_utc).total_seconds() == 4.0


def test_two_balls_share_the_tap_until_the_first_is_quite_shut() -> None:
    # WORKED: each 0.5 L/s together, 0.8 alone. "a" wants 30 L, 60 s of water, told to shut at 62,
    # shut at 66. "b" has had 66 - 4 = 62 s at 0.5 by then: 31 L. Its last 29 L come at 0.8 L/s in
    # 36.25 s, 2 of them while it shuts: told at 66 + 34.25 = 100.25, to the tenth 100.2.
    found = packed(
        a_ball("a", even_litres=30.0, urgency=0.9), a_ball("b"), tap=alike(1.0, 0.8), most_open=2
    )
    assert {p.zone: p.open_s for p in found.pulses} == {"a": 62.0, "b": approx(100.2, abs=0.051)}
    litres = {p.zone: p.litres for p in found.pulses}
    assert litres["a"] == approx(30.0, abs=1e-9)
    assert litres["b"] == approx(60.0, abs=0.05)


def test_a_dose_under_the_travel_waits() -> None:
    # WORKED: 2.5 L at 0.5 L/s are 5 s; the valve's shortest pulse is 6.
    found = packed(a_ball(even_litres=2.5), tap=alike(1.0, 0.5))
    assert found.pulses == ()
    assert "less than 6 s" in say(found.not_fitted[0].reason, us=False)


def test_a_window_must_have_room_for_the_travel_too() -> None:
    # WORKED: told to be open 6 + 4 - 2 = 8 s, and 4 s to shut: 12 s.
    def in_a_window(seconds: int) -> Packed:
        window = (Stretch(FIVE, FIVE + timedelta(seconds=seconds)),)
        return packed(a_ball(stretches=window), tap=alike(1.0, 0.5))

    assert [p.open_s for p in in_a_window(12).pulses] == [8.0]
    refused = in_a_window(11)
    assert refused.pulses == ()
    assert say(refused.not_fitted[0].reason, us=False) == (
        "no window of the day is long enough: its smallest pulse is 8 s, 0 s to fill its line and "
        "6 s to water beside its valve's travel"
    )


def test_a_window_without_room_for_the_travel_is_left_for_the_next() -> None:
    # WORKED: as above, 12 s are needed; in the second window all 122 s follow at once.
    short, long = FIVE + timedelta(seconds=11), FIVE + timedelta(hours=1)
    windows = (Stretch(FIVE, short), Stretch(long, long + timedelta(hours=1)))
    found = packed(a_ball(stretches=windows), tap=alike(1.0, 0.5))
    assert [(p.opens_utc, p.open_s) for p in found.pulses] == [(long, 122.0)]


@given(
    wants=st.lists(st.floats(min_value=0.5, max_value=300.0), min_size=1, max_size=5),
    tap=st.floats(min_value=0.2, max_value=3.0),
    alone=st.floats(min_value=0.05, max_value=1.5),
    intake=st.floats(min_value=0.001, max_value=0.5),
    line=st.floats(min_value=0.0, max_value=1.5),
    minutes=st.integers(min_value=1, max_value=120),
    opens=travel,
    closes=travel,
    most_open=st.integers(min_value=1, max_value=4),
)
def test_with_any_travel_no_litre_is_lost_and_all_are_shut_in_time(
    wants: list[float],
    tap: float,
    alone: float,
    intake: float,
    line: float,
    minutes: int,
    opens: float,
    closes: float,
    most_open: int,
) -> None:
    ends = FIVE + timedelta(minutes=minutes)
    soaking = Soaking(strip_m2=1.5, intake_mm_s=intake, basin_mm=10.0)
    least_s = least_water_s(opens_in_s=opens, closes_in_s=closes)
    jobs = {
        f"z{i}": a_ball(
            f"z{i}",
            even_litres=want,
            line_litres=line,
            soaking=soaking,
            stretches=(Stretch(FIVE, ends),),
            opens_in_s=opens,
            closes_in_s=closes,
            shortest_pulse_s=max(5.0, least_s),
        )
        for i, want in enumerate(wants)
    }
    found = packed(*jobs.values(), tap=alike(tap, alone), most_open=most_open)
    assert _most_open_at_once(found.pulses, closes) <= most_open
    given_l: dict[str, float] = defaultdict(float)
    left_l: dict[str, float] = defaultdict(float)
    count: dict[str, int] = defaultdict(int)
    for p in found.pulses:
        assert p.open_s >= opens - 0.05
        assert p.opens_utc >= FIVE
        assert p.closes_utc + timedelta(seconds=closes) <= ends + timedelta(seconds=0.051)
        given_l[p.zone] += p.litres
        count[p.zone] += 1
    for n in found.not_fitted:
        left_l[n.zone] += n.litres
    for name, job in jobs.items():
        # A pulse is rounded to a tenth of a second; one the travel makes longer than it would be
        # for its basin may bring a little more than its share.
        slack = (0.06 * count[name] + 0.05) * alone + 1e-6
        over = count[name] * least_s * alone
        filled = count[name] * line
        assert given_l[name] >= job.even_litres + filled - left_l[name] - slack
        assert given_l[name] <= job.even_litres + filled - left_l[name] + slack + over


def _most_open_at_once(pulses: Sequence[Pulse], closes_s: float) -> int:
    """Each counted until it is quite shut; to the tenth that a pulse is rounded to."""
    shut = timedelta(seconds=closes_s - 0.051)
    changes = sorted(
        [(p.opens_utc, 1) for p in pulses] + [(p.closes_utc + shut, -1) for p in pulses],
        key=lambda change: (change[0], change[1]),
    )
    most = now = 0
    for _, change in changes:
        now += change
        most = max(most, now)
    return most


@pytest.mark.parametrize("open_s", [0.0, 3.0, 60.0])
def test_a_valve_without_travel_passes_water_all_the_time_it_is_open(open_s: float) -> None:
    assert water_s(open_s=open_s, opens_in_s=0.0, closes_in_s=0.0) == open_s
