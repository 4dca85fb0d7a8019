"""Dates and times as logs write them: read plainly, or not at all."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.errors import WeatherFileError
from controller.weather.station_log.timestamps import (
    day_first,
    local_time,
    on_one_clock,
    written_of,
)


def local(text: str, *, first: bool = True, zone: str | None = None) -> datetime | None:
    written = written_of(text)
    if written is None:
        return None
    return local_time(written, day_first=first, zone=ZoneInfo(zone) if zone else None)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2031-06-03 14:10", datetime(2031, 6, 3, 14, 10)),
        ("2031-06-03T14:10:59.7", datetime(2031, 6, 3, 14, 10, 59)),
        ("3.6.31 7:05", datetime(2031, 6, 3, 7, 5)),
        ("03/06/2031 12:00 AM", datetime(2031, 6, 3)),
        ("03/06/2031 12:30 p.m.", datetime(2031, 6, 3, 12, 30)),
        ("03-Jun-2031 23:59", datetime(2031, 6, 3, 23, 59)),
        ("June 3, 2031 1:02 pm", datetime(2031, 6, 3, 13, 2)),
        ("2031-06-03 24:00", datetime(2031, 6, 4)),
        ("2031-06-03", datetime(2031, 6, 3)),
        # What is no moment is none.
        ("2031-02-30 10:00", None),
        ("2031-06-03 25:00", None),
        ("2031-06-03 24:01", None),
        ("2031-06-03 10:60", None),
        ("2031-06-03 13:10 pm", None),
        ("03/06-2031 10:00", None),
        ("3 Foo 2031 10:00", None),
        ("0031-06-03 10:00", None),
        ("14:10", None),
        ("", None),
    ],
)
def test_a_moment_reads_as_it_is_meant(text: str, expected: datetime | None) -> None:
    assert local(text) == expected


def test_times_with_an_offset_are_turned_where_the_zone_is_known() -> None:
    assert local("2031-06-03T12:00:00Z", zone="Europe/Madrid") == datetime(2031, 6, 3, 14)
    assert local("2031-06-03 12:00-06:00", zone="Europe/Madrid") == datetime(2031, 6, 3, 20)
    assert local("2031-06-03 12:00-06:00") == datetime(2031, 6, 3, 12)
    # 1 June 2031, 00:00 UTC in seconds since 1970: 22 431 days. WORKED: 61 years, 15 leap days
    # (1972 to 2028), and 151 days to June: 61 * 365 + 15 + 151 = 22 431.
    assert local(str(22_431 * 86_400), zone="Europe/Madrid") == datetime(2031, 6, 1, 2)
    with pytest.raises(WeatherFileError, match="UTC"):
        local(str(22_431 * 86_400))


@given(
    st.datetimes(datetime(1990, 1, 1), datetime(2060, 1, 1)).map(
        lambda t: t.replace(microsecond=0)
    ),
    st.sampled_from(["%Y-%m-%d %H:%M:%S", "%d/%m/%Y %H:%M:%S", "%d.%m.%Y %I:%M:%S %p"]),
)
def test_what_is_written_reads_back(time: datetime, stamp: str) -> None:
    assert local(time.strftime(stamp)) == time


@given(st.text(max_size=30))
def test_no_text_brings_it_down(text: str) -> None:
    written = written_of(text)
    if written is not None and written.utc_offset_s is None:
        local_time(written, day_first=True, zone=None)


@pytest.mark.parametrize(
    ("dates", "first"),
    [
        (["13/06/2031", "01/06/2031"], True),
        (["06/13/2031", "06/01/2031"], False),
        (["30/06/2031", "01/07/2031"], True),
        (["02/06/2031", "03/06/2031"], True),
        (["06/02/2031", "06/03/2031"], False),
        (["02.06.2031"], True),
        (["06.13.2031"], False),
    ],
)
def test_the_order_of_day_and_month_is_told(dates: list[str], first: bool) -> None:
    assert day_first([w for d in dates if (w := written_of(d)) is not None]) is first


def test_lines_out_of_order_are_not_taken_for_the_hour_that_comes_again() -> None:
    zone = ZoneInfo("Europe/Madrid")
    shown = [datetime(2031, 10, 26, 12), datetime(2031, 10, 26, 2, 30)]
    moments, _, _ = on_one_clock(shown, zone)
    assert moments[1] == shown[1].replace(tzinfo=zone, fold=0).timestamp()


@settings(max_examples=20)
@given(
    st.datetimes(datetime(2030, 1, 1), datetime(2032, 1, 1)),
    st.sampled_from(["Europe/Madrid", "America/Denver", "Australia/Sydney", "Asia/Kolkata"]),
)
def test_moments_go_on_through_every_change_of_clocks(start: datetime, name: str) -> None:
    zone = ZoneInfo(name)
    first = start.replace(second=0, microsecond=0, tzinfo=zone).timestamp()
    real = [first + 600.0 * n for n in range(6 * 24 * 200)][::7]
    shown = [datetime.fromtimestamp(s, zone).replace(tzinfo=None) for s in real]
    moments, clock, remarks = on_one_clock(shown, zone)
    # Readings every 70 minutes cannot show that an hour came again: then they may be an hour off.
    assert sum(a != b for a, b in zip(moments, real, strict=True)) <= 4
    assert moments == sorted(moments)
    assert not remarks
    day = shown[300].date()
    assert clock.start_s(day) <= moments[300] < clock.start_s(day + timedelta(days=1))
