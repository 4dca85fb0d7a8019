"""The smallest pulse: fills its line at the flow of the set, then waters."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from pytest import approx
from support.gardens import a_garden, a_row, a_zone
from support.jobs import FIVE, SharedTap, a_job, alike

from controller.garden.plumbing import Drilling, Face
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.dose import Soaking
from controller.timetable.need.pulse_length import (
    filling_s,
    smallest_pulse_s,
    too_little,
    why_too_short,
)
from controller.timetable.packing.fit_day import Job, Packed, pack
from controller.timetable.windows import Stretch
from controller.units import l_from_m3
from controller.wording.say import say


def a_filling_job(zone: str = "a", minutes: float = 180.0, **more: Any) -> Job:
    """60 L through a line of 3 L, from five o'clock for so many minutes."""
    window = (Stretch(FIVE, FIVE + timedelta(minutes=minutes)),)
    return a_job(zone, **{"line_litres": 3.0, "stretches": window, **more})


def packed(*jobs: Job, tap: SharedTap) -> Packed:
    return pack(jobs, tap, most_open=3, least_share=0.3)


# WORKED: 8 ft of 3/4 in pipe (average inside width 20.42 mm) hold 0.80 L: 1.7 s at 28 L/min and
# 32 s at 1.5 L/min.
@pytest.mark.parametrize(("l_min", "seconds"), [(28.0, 1.7), (1.5, 32.0)])
def test_filling_takes_seconds_full_open_and_half_a_minute_throttled(
    l_min: float, seconds: float
) -> None:
    line = Lines(a_garden(a_zone(rows=(a_row(8.0),)))).line("a")
    assert l_from_m3(line.volume_m3) == approx(0.80, abs=0.005)
    litres = l_from_m3(line.drains_m3)
    assert filling_s(line_litres=litres, flow_l_s=l_min / 60.0) == approx(seconds, rel=0.02)


def test_a_line_with_holes_up_stays_full_and_needs_no_filling() -> None:
    up = Drilling(bore_m=0.0015875, every_m=0.1524, first_m=0.0762, face=Face.UP)
    line = Lines(a_garden(a_zone(rows=(a_row(8.0, drilling=up),)))).line("a")
    assert line.drains_m3 == approx(0.0, abs=1e-9)
    assert smallest_pulse_s(line_litres=0.0, flow_l_s=0.1, shortest_pulse_s=5.0) == 5.0


def test_a_dose_that_would_be_mostly_filling_waits() -> None:
    # WORKED: 2 L at 0.5 L/s run 4 s after the 6 s that fill 3 L: under 5 s.
    found = packed(a_filling_job(even_litres=2.0), tap=alike(1.0, 0.5))
    assert found.pulses == ()
    (left,) = found.not_fitted
    assert left.litres == approx(2.0)
    assert say(left.reason, us=False) == (
        "it would take less than 5 s after filling its line for 6 s; it waits until more is missing"
    )


def test_a_valve_that_may_not_stay_open_long_enough_to_fill_its_line_stays_shut() -> None:
    found = packed(a_filling_job(longest_open_s=10.0), tap=alike(1.0, 0.5))
    assert found.pulses == ()
    assert say(found.not_fitted[0].reason, us=False) == (
        "its valve may be open 10 s at most, and its smallest pulse is 11 s, 6 s to fill its line "
        "and 5 s to water"
    )


def test_a_window_too_short_to_fill_a_line_is_not_used() -> None:
    found = packed(a_filling_job(minutes=0.1), tap=alike(1.0, 0.5))
    assert found.pulses == ()
    assert say(found.not_fitted[0].reason, us=False).startswith(
        "no window of the day is long enough: its smallest"
    )


def test_a_long_dose_is_cut_into_equal_openings_that_each_fill_the_line() -> None:
    # WORKED: 30 s open are 15 L, of which 3 L fill the line: 60 L make five pulses of 12 L, and
    # each is open for 30 s. Sand takes in 10 L/s, so nothing stands between them.
    found = packed(a_filling_job(longest_open_s=30.0), tap=alike(1.0, 0.5))
    assert [p.open_s for p in found.pulses] == [30.0] * 5
    assert sum(p.litres for p in found.pulses) == approx(60.0 + 5 * 3.0)
    assert found.not_fitted == ()


def test_a_zone_does_not_join_a_set_in_which_its_line_would_not_fill() -> None:
    # WORKED: alone "b" has 0.5 L/s and fills 3 L in 6 s; beside "a" 0.25 L/s and 12 s, past the 14
    # s it may be open with the 5 s to water. It waits for "a" to shut.
    a, b = a_filling_job("a", urgency=0.9), a_filling_job("b", longest_open_s=14.0, even_litres=3.0)
    found = packed(a, b, tap=alike(0.5, 0.5))
    first, *later = found.pulses
    assert first.zone == "a"
    assert first.together == ()
    assert later
    assert all(p.opens_utc >= first.closes_utc for p in later)


def test_what_is_left_of_a_cut_dose_waits_if_it_is_too_little() -> None:
    # WORKED: the window of 30 s gives 15 L, 3 of them to fill: of 14 L 2 are left, 4 s of water;
    # with a second window an hour later they still wait.
    windows = (
        Stretch(FIVE, FIVE + timedelta(seconds=30)),
        Stretch(FIVE + timedelta(hours=1), FIVE + timedelta(hours=2)),
    )
    found = packed(a_filling_job(even_litres=14.0, stretches=windows), tap=alike(1.0, 0.5))
    assert len(found.pulses) == 1
    assert found.not_fitted[0].litres == approx(2.0)
    assert "less than 5 s after filling" in say(found.not_fitted[0].reason, us=False)


def test_what_runs_out_of_the_line_finds_room_in_the_basin_and_soaks_away_too() -> None:
    # WORKED: 3 L on 2 m2 are 1.5 mm, so 8.5 of the basin's 10 mm may be filled: at 0.5 L/s less
    # 0.05 mm/s that is 0.2 mm/s net, 42.5 s and 21.25 L. 42.5 L make two pulses, each 6 s longer to
    # fill the line. Then 8.5 and 1.5 mm stand, and soak away in 200 s.
    basin = Soaking(strip_m2=2.0, intake_mm_s=0.05, basin_mm=10.0)
    found = packed(a_filling_job(even_litres=42.5, soaking=basin), tap=alike(1.0, 0.5))
    assert [p.open_s for p in found.pulses] == [48.5, 48.5]
    first, second = found.pulses
    assert (second.opens_utc - first.closes_utc).total_seconds() == approx(200.0, abs=1.0)


def test_enough_is_enough() -> None:
    assert too_little(2.5, 6.0, 0.5, 5.0) is None
    assert (
        why_too_short(
            even_litres=2.5,
            line_litres=3.0,
            flow_l_s=0.5,
            shortest_pulse_s=5.0,
            longest_open_s=11.0,
            longest_window_s=11.0,
        )
        is None
    )
