"""Hours in UTC become the garden's own days. Expected sums are WORKED beside each check."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.weather.online.answers import (
    Interval,
    Point,
    Span,
    centred_in,
    in_turn,
    is_covered,
    local_day,
    mean_of_points,
    mean_over,
    sum_over,
    within,
)

HOUR = timedelta(hours=1)
MADRID = ZoneInfo("Europe/Madrid")
DAY = local_day(date(2031, 6, 2), MADRID)  # 1 June 22:00 to 2 June 22:00 UTC


def hours(first_utc: datetime, lasts_h: float, value: float) -> Interval:
    return Interval(
        span=Span(begins_utc=first_utc, ends_utc=first_utc + lasts_h * HOUR), value=value
    )


def at(day: int, hour: int) -> datetime:
    return datetime(2031, 6, day, hour, tzinfo=UTC)


@pytest.mark.parametrize(
    ("day", "zone", "begins", "lasts_h"),
    [
        (date(2031, 6, 2), "Europe/Madrid", datetime(2031, 6, 1, 22), 24),
        # The last Sundays of March and October 2031 (EU directive 2000/84/EC).
        (date(2031, 3, 30), "Europe/Madrid", datetime(2031, 3, 29, 23), 23),
        (date(2031, 10, 26), "Europe/Madrid", datetime(2031, 10, 25, 22), 25),
        # Furthest ahead and furthest behind Greenwich, and a zone at three quarters of an hour.
        (date(2031, 6, 2), "Pacific/Kiritimati", datetime(2031, 6, 1, 10), 24),
        (date(2031, 6, 2), "Pacific/Pago_Pago", datetime(2031, 6, 2, 11), 24),
        (date(2031, 6, 2), "Asia/Kathmandu", datetime(2031, 6, 1, 18, 15), 24),
        # Clocks that skip midnight itself: the day begins at one o'clock by the wall.
        (date(2018, 11, 4), "America/Sao_Paulo", datetime(2018, 11, 4, 3), 23),
        # And one that a zone has left out altogether, going over to the other side of the line.
        (date(2011, 12, 30), "Pacific/Apia", datetime(2011, 12, 30, 10), 0),
    ],
)
def test_a_day_begins_and_ends_at_the_gardens_midnights(
    day: date, zone: str, begins: datetime, lasts_h: float
) -> None:
    span = local_day(day, ZoneInfo(zone))
    assert span.begins_utc == begins.replace(tzinfo=UTC)
    assert span.seconds == lasts_h * 3600


def test_rain_past_midnight_is_split_evenly_by_the_hour() -> None:
    # WORKED: midnights at 22 UTC. Of 18-24 h on the 1st a third is ours: 2; then 1, 0, 3; of
    # 18-24 h on the 2nd two thirds: 4. Together 10.
    rain = [
        hours(at(1, 18), 6, 6.0), hours(at(2, 0), 6, 1.0), hours(at(2, 6), 6, 0.0),
        hours(at(2, 12), 6, 3.0), hours(at(2, 18), 6, 6.0),
    ]  # fmt: skip
    assert sum_over(DAY, rain) == pytest.approx(10.0)
    assert sum_over(DAY, rain[1:]) is None  # two hours of it are not told of
    assert sum_over(DAY, rain[:2] + rain[3:]) is None
    assert sum_over(DAY, []) is None


def test_a_state_weighs_as_long_as_it_lasts() -> None:
    # WORKED: 8 h of 3, then 16 h of 6, (24 + 96) / 24 = 5; what lies outside does not weigh.
    wind = [hours(at(1, 10), 20, 3.0), hours(at(2, 6), 30, 6.0)]
    assert mean_over(DAY, wind) == pytest.approx(5.0)
    assert within(DAY, wind) == [3.0, 6.0]
    assert mean_over(DAY, wind[:1]) is None


def test_moments_are_joined_by_straight_lines() -> None:
    # WORKED: at 18, 0, 6, 18 and 24 UTC 0, 6, 6, 0, 0. At midnight (22 UTC) 4. Areas in h: 22-24
    # (4 + 6) / 2 * 2 = 10; 0-6 36; 6-18 36; 18-22 0. Together 82 / 24.
    points = [
        Point(at_utc=t, value=v)
        for t, v in [(at(1, 18), 0), (at(2, 0), 6), (at(2, 6), 6), (at(2, 18), 0), (at(3, 0), 0)]
    ]
    assert mean_of_points(DAY, points, longest_gap=12 * HOUR) == pytest.approx(82 / 24)
    assert mean_of_points(DAY, points, longest_gap=6 * HOUR) is None
    assert mean_of_points(DAY, points[1:], longest_gap=12 * HOUR) is None
    assert mean_of_points(DAY, points[:-1], longest_gap=12 * HOUR) is None
    assert mean_of_points(DAY, [], longest_gap=12 * HOUR) is None


def test_a_stretch_past_midnight_belongs_to_the_day_that_has_its_middle() -> None:
    night = hours(at(1, 18), 14, 9.0)  # its middle at 1 UTC, 3 o'clock in the garden
    assert centred_in(DAY, [night]) == [9.0]
    assert centred_in(local_day(date(2031, 6, 1), MADRID), [night]) == []
    evening = hours(at(1, 15), 14, 9.0)  # its middle at midnight: the day that begins
    assert centred_in(DAY, [evening]) == [9.0]


def test_what_overlaps_counts_once() -> None:
    # WORKED: six hours of 6 mm, told of anew after two: 2 mm of the first remain, and the second.
    first, second = hours(at(2, 0), 6, 6.0), hours(at(2, 2), 6, 3.0)
    assert [s.value for s in in_turn([second, first], sums=True)] == [2.0, 3.0]
    assert [s.value for s in in_turn([second, first], sums=False)] == [6.0, 3.0]
    assert in_turn([first, first], sums=True) == [first]


@pytest.mark.parametrize("day", [date(2031, 3, 30), date(2031, 10, 26)])
def test_a_day_of_23_or_25_hours_gets_23_or_25_hours_of_rain(day: date) -> None:
    span = local_day(day, MADRID)
    rain = [hours(span.begins_utc + n * HOUR, 1, 1.0) for n in range(-3, 30)]
    assert sum_over(span, rain) == pytest.approx(span.seconds / 3600.0)
    assert mean_over(span, rain) == pytest.approx(1.0)


def test_a_date_that_never_was_has_no_weather() -> None:
    never = local_day(date(2011, 12, 30), ZoneInfo("Pacific/Apia"))
    assert not is_covered(never, [hours(never.begins_utc - HOUR, 9, 1.0)])
    assert mean_over(never, []) is None


@given(
    edges=st.lists(st.integers(-48 * 60, 96 * 60), min_size=2, max_size=12, unique=True),
    zone=st.sampled_from(["Europe/Madrid", "Asia/Kathmandu", "Pacific/Kiritimati", "UTC"]),
)
def test_no_water_is_lost_or_made_between_days(edges: list[int], zone: str) -> None:
    """Days that are covered whole hold at most what fell, and all of it where they cover it all."""
    begins = at(1, 0)
    times = [begins + timedelta(minutes=m) for m in sorted(edges)]
    rain = [
        Interval(span=Span(begins_utc=a, ends_utc=b), value=float(n + 1))
        for n, (a, b) in enumerate(pairwise(times))
    ]
    days = [local_day(date(2031, 5, 28) + timedelta(days=n), ZoneInfo(zone)) for n in range(12)]
    shares = [s.value * s.span.shared_s(d) / s.span.seconds for s in rain for d in days]
    assert sum(shares) == pytest.approx(sum(s.value for s in rain))
    whole = [found for d in days if (found := sum_over(d, rain)) is not None]
    assert sum(whole) <= sum(s.value for s in rain) + 1e-9
