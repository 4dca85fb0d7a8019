"""Windows, holds, and the two odd nights."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from controller.garden.model import Hold, Watering, Window
from controller.garden.plumbing import ValveKind
from controller.timetable.windows import (
    allowed,
    clock_change_messages,
    days_to_next_window,
    hold_in_force,
    utc_from_local,
    windows_on,
)
from controller.wording.say import say

BERLIN = ZoneInfo("Europe/Berlin")
SPRING = date(2026, 3, 29)  # 02:00 becomes 03:00 (EU summer time, Directive 2000/84/EC)
AUTUMN = date(2026, 10, 25)  # 03:00 becomes 02:00


def _watering(opens: time, closes: time, **more: object) -> Watering:
    return Watering(windows=(Window(opens=opens, closes=closes),), **more)  # type: ignore[arg-type]


def _stretch(opens: time, closes: time, day: date) -> tuple[datetime, datetime] | None:
    found = allowed(_watering(opens, closes), "a", ValveKind.RELAY, day, BERLIN)
    return (found[0].begins_utc, found[0].ends_utc) if found else None


def test_an_ordinary_window_is_as_long_as_it_reads() -> None:
    assert _stretch(time(5), time(8), date(2026, 7, 1)) == (
        datetime(2026, 7, 1, 3, tzinfo=UTC),
        datetime(2026, 7, 1, 6, tzinfo=UTC),
    )


@pytest.mark.parametrize(
    ("opens", "closes", "minutes"),
    [
        (time(1, 30), time(3, 30), 60),  # WORKED: an hour of it does not exist
        (time(2, 30), time(3, 30), 30),  # WORKED: begins at the jump, 03:00
        (time(2, 0), time(2, 45), 0),  # WORKED: none of it exists
        (time(3, 0), time(4, 0), 60),
    ],
)
def test_in_spring_a_window_is_what_of_it_exists(opens: time, closes: time, minutes: int) -> None:
    stretch = _stretch(opens, closes, SPRING)
    length = 0.0 if stretch is None else (stretch[1] - stretch[0]).total_seconds() / 60
    assert length == minutes


@pytest.mark.parametrize(
    ("opens", "closes", "day", "words"),
    [
        (time(1), time(4), SPRING, "it is 2:00 h long, not 3:00 h"),
        (time(1), time(4), AUTUMN, "it is 4:00 h long, not 3:00 h"),
        (time(2, 0), time(2, 45), SPRING, "it is 0:00 h long, not 0:45 h"),
        (time(23), time(5), SPRING - timedelta(days=1), "it is 5:00 h long, not 6:00 h"),
        (time(5), time(8), SPRING, None),
        (time(23), time(1), SPRING - timedelta(days=1), None),
        (time(3), time(6), AUTUMN, None),
    ],
)
def test_a_window_that_spans_a_change_of_the_clocks_is_named(
    opens: time, closes: time, day: date, words: str | None
) -> None:
    found = clock_change_messages(
        _watering(opens, closes), BERLIN, day - timedelta(days=9), day + timedelta(days=9)
    )
    assert len(found) == (words is not None)
    assert words is None or say(found[0], us=False) == (
        f"the clocks change in the window {opens:%H:%M} to {closes:%H:%M} of {day}: {words}"
    )
    # On the days beside it nothing is odd, nor where the window does not open on that weekday.
    assert not clock_change_messages(
        _watering(opens, closes), BERLIN, *[day - timedelta(days=3)] * 2
    )
    others = frozenset(range(7)) - {day.weekday()}
    window = Window(opens=opens, closes=closes, weekdays=others)
    assert not clock_change_messages(Watering(windows=(window,)), BERLIN, day, day)


@pytest.mark.parametrize(
    ("opens", "closes", "minutes"),
    [
        (time(2, 15), time(2, 45), 30),  # WORKED: the first coming only
        (time(1, 30), time(2, 30), 60),
        (time(1, 30), time(3, 30), 180),  # WORKED: the doubled hour lies inside
    ],
)
def test_in_autumn_a_doubled_time_is_its_first_coming(
    opens: time, closes: time, minutes: int
) -> None:
    stretch = _stretch(opens, closes, AUTUMN)
    assert stretch is not None
    assert (stretch[1] - stretch[0]).total_seconds() / 60 == minutes


@pytest.mark.parametrize("minute", range(0, 180, 7))
def test_every_minute_of_the_spring_night_has_one_moment(minute: int) -> None:
    local = datetime(2026, 3, 29, 1) + timedelta(minutes=minute)
    moment = utc_from_local(local, BERLIN)
    back = moment.astimezone(BERLIN).replace(tzinfo=None)
    assert back == local or (local.hour == 2 and back == datetime(2026, 3, 29, 3))


def test_a_window_past_midnight_belongs_to_the_evening_it_begins_on() -> None:
    found = allowed(
        Watering(windows=(Window(opens=time(22), closes=time(1), weekdays=frozenset({0})),)),
        "a",
        ValveKind.RELAY,
        date(2026, 6, 29),  # a Monday
        BERLIN,
    )
    assert [s.seconds for s in found] == [3 * 3600]


def test_windows_that_overlap_are_one() -> None:
    watering = Watering(
        windows=(Window(opens=time(5), closes=time(7)), Window(opens=time(6), closes=time(8)))
    )
    found = allowed(watering, "a", ValveKind.RELAY, date(2026, 7, 1), BERLIN)
    assert [s.seconds for s in found] == [3 * 3600]


def test_a_hand_window_is_not_for_relays() -> None:
    watering = Watering(
        windows=(Window(opens=time(18), closes=time(20), valves=frozenset({ValveKind.HAND})),)
    )
    assert allowed(watering, "a", ValveKind.RELAY, date(2026, 7, 1), BERLIN) == []
    assert len(allowed(watering, "a", ValveKind.HAND, date(2026, 7, 1), BERLIN)) == 1


def test_a_hold_is_cut_out_of_the_window_and_only_for_its_zones() -> None:
    hold = Hold(
        begins=datetime(2026, 7, 1, 6),
        ends=datetime(2026, 7, 1, 7),
        zones=frozenset({"a"}),
        reason="guests",
    )
    watering = _watering(time(5), time(8), holds=(hold,))
    day = date(2026, 7, 1)
    assert [s.seconds for s in allowed(watering, "a", ValveKind.RELAY, day, BERLIN)] == [3600, 3600]
    assert [s.seconds for s in allowed(watering, "b", ValveKind.RELAY, day, BERLIN)] == [3 * 3600]
    assert hold_in_force(watering, "a", day, BERLIN) == hold
    assert hold_in_force(watering, "b", day, BERLIN) is None


def test_the_next_chance_is_counted_in_days() -> None:
    watering = Watering(
        windows=(Window(opens=time(5), closes=time(8), weekdays=frozenset({0, 3})),)
    )
    monday = date(2026, 6, 29)
    assert days_to_next_window(watering, ValveKind.RELAY, monday) == 3
    assert days_to_next_window(watering, ValveKind.RELAY, monday + timedelta(days=3)) == 4
    # None within a fortnight, the furthest that is looked (our choice), counts as a fortnight.
    assert days_to_next_window(watering, ValveKind.RELAY, monday, at_most=2) == 2
    assert days_to_next_window(Watering(windows=()), ValveKind.RELAY, monday) == 14


def test_windows_of_a_day_are_counted_for_a_kind_of_valve() -> None:
    hand = Window(opens=time(18), closes=time(20), valves=frozenset({ValveKind.HAND}))
    mondays = Window(opens=time(5), closes=time(6), weekdays=frozenset({0}))
    watering = Watering(windows=(hand, mondays, mondays))
    monday = date(2026, 6, 29)
    assert windows_on(watering, ValveKind.HAND, monday) == 3
    assert windows_on(watering, ValveKind.RELAY, monday) == 2
    assert windows_on(watering, ValveKind.RELAY, monday + timedelta(days=1)) == 0


def test_a_hold_is_in_force_on_each_local_day_that_it_touches() -> None:
    hold = Hold(begins=datetime(2026, 7, 1, 23), ends=datetime(2026, 7, 3), reason="guests")
    watering = _watering(time(5), time(8), holds=(hold,))
    found = [hold_in_force(watering, "a", date(2026, 7, n), BERLIN) for n in (1, 2, 3)]
    assert found == [hold, hold, None]
    assert hold_in_force(watering, "a", date(2026, 6, 30), BERLIN) is None


@pytest.mark.parametrize(
    ("begins", "ends", "left_h"),
    [
        (3, 5, [3.0]),  # it ends as the window opens
        (8, 9, [3.0]),
        (5, 6, [2.0]),
        (7, 8, [2.0]),
        (5, 8, []),
        (4, 9, []),
        (6, 7, [1.0, 1.0]),
    ],
)
def test_a_hold_leaves_what_it_does_not_cover(begins: int, ends: int, left_h: list[float]) -> None:
    hold = Hold(begins=datetime(2026, 7, 1, begins), ends=datetime(2026, 7, 1, ends), reason="x")
    watering = _watering(time(5), time(8), holds=(hold,))
    found = allowed(watering, "a", ValveKind.RELAY, date(2026, 7, 1), BERLIN)
    assert [s.seconds / 3600.0 for s in found] == left_h


def test_windows_that_touch_are_one_and_others_stay_apart() -> None:
    def hours(*spans: tuple[int, int]) -> list[float]:
        windows = tuple(Window(opens=time(a), closes=time(b)) for a, b in spans)
        watering = Watering(windows=windows)
        found = allowed(watering, "a", ValveKind.RELAY, date(2026, 7, 1), BERLIN)
        return [s.seconds / 3600.0 for s in found]

    assert hours((5, 6), (6, 8)) == [3.0]
    assert hours((5, 8), (6, 7)) == [3.0]
    assert hours((7, 9), (5, 8)) == [4.0]
    assert hours((5, 6), (7, 8)) == [1.0, 1.0]
