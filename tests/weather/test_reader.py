"""A station's own log: separators, units, clocks and counters. All readings are invented."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from math import pi, sin
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.weather_formats import log, read_as

from controller.errors import WeatherFileError
from controller.weather.files.reader import WeatherFile, read_weather

FIRST = datetime(2031, 6, 14)
HEAD = "Time,Outdoor Temp (°C)"


def times(days: float = 1, minutes: int = 10, first: datetime = FIRST) -> Iterator[datetime]:
    count = int(days * 24 * 60 / minutes)
    return (first + timedelta(minutes=minutes * n) for n in range(count))


def warm(time: datetime) -> float:
    """12 °C at three in the night, 24 °C at three in the afternoon."""
    return round(18.0 + 6.0 * sin((time.hour + time.minute / 60.0 - 9.0) / 12.0 * pi), 1)


def one_column(
    folder: Path,
    heading: str,
    value: Callable[[datetime], object],
    days: float = 1,
    **options: Any,
) -> WeatherFile:
    """A log of temperature and one column more."""
    rows = [(t, (warm(t), value(t))) for t in times(days)]
    return read_as(folder, log(f"{HEAD},{heading}", rows), **options)


def test_readings_become_the_days_extremes_and_means(tmp_path: Path) -> None:
    heading = f"{HEAD},Outdoor Humidity (%),Dew Point (°C),Wind Speed (m/s)"
    rows = [
        (t, (warm(t), 40 if t.hour == 14 else 80, 9.5, 1 if t.hour < 12 else 3)) for t in times(2)
    ]
    found = read_as(tmp_path, log(heading, rows))
    assert found.kind == "station-log"
    assert [d.day for d in found.days] == [date(2031, 6, 14), date(2031, 6, 15)]
    day = found.days[0]
    assert (day.tmin_c, day.tmax_c) == (12.0, 24.0)
    assert (day.rh_min_pct, day.rh_max_pct) == (40.0, 80.0)
    assert day.rh_mean_pct == pytest.approx(80 - 40 / 24, abs=0.3)  # one hour of 24 at 40. WORKED.
    assert day.dewpoint_c == pytest.approx(9.5)
    assert day.wind_m_s == pytest.approx(2.0, abs=0.02)
    assert day.source == "given.csv"
    assert not found.faults


def test_the_sun_is_summed_from_power_over_the_day(tmp_path: Path) -> None:
    # A half sine of 800 W/m2 over 12 h: 800 * 2/pi * 43 200 s = 22.0 MJ/m2. WORKED.
    def sun(t: datetime) -> float:
        return max(0.0, 800.0 * sin((t.hour + t.minute / 60.0 - 6.0) / 12.0 * pi))

    found = one_column(tmp_path, "Solar Radiation (W/m2)", sun)
    assert found.days[0].solar_mj_m2 == pytest.approx(800 * 2 / pi * 43_200 / 1e6, rel=0.002)


def test_the_sun_is_summed_from_langleys_of_each_interval(tmp_path: Path) -> None:
    found = one_column(
        tmp_path, "Solar Energy (Ly)", lambda t: 7.0 if 6 <= t.hour < 18 and t.minute < 30 else 0.0
    )
    # 36 readings of 7 langley. WORKED.
    assert found.days[0].solar_mj_m2 == pytest.approx(36 * 7 * 0.041868)


@pytest.mark.parametrize(
    ("heading", "value", "field", "expected"),
    [
        ("Wind (mph)", 10, "wind_m_s", 4.4704),
        ("Wind Speed km/h", 9, "wind_m_s", 2.5),
        ("Average Wind [knots]", 10, "wind_m_s", 5.14444),
        ("wind_speed_m/s", 2, "wind_m_s", 2.0),
        ("windSpeed (mph)", 10, "wind_m_s", 4.4704),
        ("Dew Point (°F)", 50, "dewpoint_c", 10.0),
        ("dewpoint_f", 50, "dewpoint_c", 10.0),
        ("RH", 60, "rh_mean_pct", 60.0),
        ("Humidity", 60, "rh_mean_pct", 60.0),
    ],
)
def test_units_are_read_from_the_heading(
    tmp_path: Path, heading: str, value: float, field: str, expected: float
) -> None:
    found = one_column(tmp_path, heading, lambda _: value)
    # WORKED: 0.44704 m/s a mph, 3.6 km/h, 0.514444 a knot, 1.8 F a degree from 32 F.
    assert found.days[0].value(field) == pytest.approx(expected, rel=1e-5)


def test_fahrenheit_is_read_from_the_heading(tmp_path: Path) -> None:
    rows = [(t, (round(warm(t) * 1.8 + 32, 2),)) for t in times()]
    for heading in ("Time,Temp (°F)", "Date Time,Temperature deg F", "timestamp,temp_f"):
        day = read_as(tmp_path, log(heading, rows)).days[0]
        # WORKED: the lowest and the highest of `warm`.
        assert (day.tmin_c, day.tmax_c) == pytest.approx((12.0, 24.0))


def test_a_unit_behind_each_figure_or_in_a_line_of_its_own_is_read(tmp_path: Path) -> None:
    behind = [(t, (f"{warm(t)} °C", f"{9} km/h")) for t in times()]
    day = read_as(tmp_path, log("Time,Temperature,Wind", behind)).days[0]
    assert day.tmax_c == 24.0
    # WORKED: 9 km/h over 3.6.
    assert day.wind_m_s == pytest.approx(2.5)
    below = [(t, (warm(t), 9)) for t in times()]
    day = read_as(tmp_path, log("Time,Temperature,Wind\n,degC,km/h", below)).days[0]
    assert day.tmax_c == 24.0
    assert day.wind_m_s == pytest.approx(2.5)


def test_a_column_without_a_unit_is_asked_about_and_not_used(tmp_path: Path) -> None:
    found = one_column(tmp_path, "Wind", lambda _: 9)
    assert found.days[0].wind_m_s is None
    assert "line 1, Wind: found no unit" in found.faults[0]
    assert "(m/s), (km/h), (mph) or (knots)" in found.faults[0]


def test_indoor_columns_gusts_and_rates_are_left_out_and_said(tmp_path: Path) -> None:
    heading = ("Time,Temp (°C),Indoor Temp (°C),Temp In (°C),Indoor Humidity (%),Wind Gust (m/s),"
               "Rain Rate (mm/h),Soil Temp (°C),Hi Temp (°C),Pressure (hPa)")  # fmt: skip
    rows = [(t, (warm(t), 40, 40, 1, 9, 30, 50, 50, 1013)) for t in times()]
    found = read_as(tmp_path, log(heading, rows))
    assert found.days[0].known() == {"tmin_c": 12.0, "tmax_c": 24.0}
    for column, why in [("Indoor Temp", "indoors"), ("Temp In", "indoors"),
                        ("Indoor Humidity", "indoors"), ("Wind Gust", "not the mean wind"),
                        ("Rain Rate", "never summed as rain"), ("Soil Temp", "not the air's"),
                        ("Hi Temp", "not a reading")]:  # fmt: skip
        assert any(column in r and why in r for r in found.remarks), column
    assert any("only gusts, no mean wind" in r for r in found.remarks)
    assert any("no usable column of rain; unknown rain is not none" in r for r in found.remarks)


def test_of_two_temperatures_the_outdoor_one_is_used_and_two_alike_are_refused(
    tmp_path: Path,
) -> None:
    rows = [(t, (50, warm(t))) for t in times()]
    found = read_as(tmp_path, log("Time,Temp (°C),Outdoor Temp (°C)", rows))
    assert found.days[0].tmax_c == 24.0
    assert any("Temp (°C) is not used: Outdoor Temp (°C) is plainer" in r for r in found.remarks)
    moist = [(t, (50, warm(t), 60)) for t in times()]
    found = read_as(tmp_path, log("Time,Temp 1 (°C),Temp 2 (°C),Humidity (%)", moist))
    assert found.days[0].tmax_c is None
    assert "2 columns of one meaning" in found.faults[0]


def test_semicolons_decimal_commas_and_a_byte_order_mark_are_told_from_the_file(
    tmp_path: Path,
) -> None:
    rows = [(t, (warm(t), 5.4)) for t in times()]
    points = log("Time,Temp (°C),Wind (km/h)", rows)
    commas = "\ufeff" + points.replace(",", ";").replace(".", ",")
    tabs = points.replace(",", "\t")
    quoted = "Time,Temp (°C),Wind (km/h)\n" + "".join(
        f'{t:%Y-%m-%d %H:%M},"{str(a).replace(".", ",")}","{str(b).replace(".", ",")}"\n'
        for t, (a, b) in rows
    )
    wanted = read_as(tmp_path, points).days
    # WORKED: 5.4 km/h over 3.6.
    assert wanted[0].wind_m_s == pytest.approx(1.5)
    for text in (commas, tabs, quoted):
        assert read_as(tmp_path, text).days == wanted


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
def test_the_encodings_of_old_and_new_programs_read(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(log("Time,Temp (°C)", [(t, (warm(t),)) for t in times()]).encode(encoding))
    assert read_weather(path).days[0].tmax_c == 24.0


@pytest.mark.parametrize(
    "stamp",
    ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y/%m/%d %H:%M", "%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M",
     "%d.%m.%Y %H:%M", "%d.%m.%y %H:%M:%S", "%m/%d/%y %I:%M %p", "%d-%b-%Y %H:%M",
     "%b %d %Y %H:%M", "%Y%m%d %H:%M"],
)  # fmt: skip
def test_dates_in_every_common_order_read(tmp_path: Path, stamp: str) -> None:
    rows = [(t, (warm(t),)) for t in times(2)]
    found = read_as(tmp_path, log(HEAD, rows, stamp), timezone="Europe/Madrid")
    assert [d.day for d in found.days] == [date(2031, 6, 14), date(2031, 6, 15)]
    assert (found.days[0].tmin_c, found.days[0].tmax_c) == (12.0, 24.0)


@pytest.mark.parametrize(("stamp", "first"), [("%d/%m/%Y %H:%M", True), ("%m/%d/%Y %H:%M", False)])
def test_days_below_the_thirteenth_are_told_by_their_neighbours(
    tmp_path: Path, stamp: str, first: bool
) -> None:
    rows = [(t, (warm(t),)) for t in times(3, first=datetime(2031, 6, 2))]
    found = read_as(tmp_path, log(HEAD, rows, stamp))
    assert [d.day for d in found.days] == [date(2031, 6, n) for n in (2, 3, 4)]


def test_dates_that_could_be_either_are_refused_and_asked_about(tmp_path: Path) -> None:
    rows = [(t, (warm(t),)) for t in times(1, first=datetime(2031, 6, 2))]
    with pytest.raises(WeatherFileError, match="whether the day or the month stands first"):
        read_as(tmp_path, log(HEAD, rows, "%d/%m/%Y %H:%M"))
    mixed = log(HEAD, rows, "%d/%m/2031 %H:%M") + "30/06/2031 10:00,20\n06/30/2031 10:00,20\n"
    with pytest.raises(WeatherFileError, match="day first in some lines"):
        read_as(tmp_path, mixed)


def test_date_and_time_in_two_columns_and_words_before_the_header_read(tmp_path: Path) -> None:
    body = log("Date;Time;Temp (°C)", [], "").strip()
    body += "".join(f"\n{t:%d.%m.%Y};{t:%H:%M};{warm(t)}" for t in times())
    found = read_as(tmp_path, f"Export of an invented station\nmade on a day\n\n{body}\n")
    assert found.days[0].tmax_c == 24.0


def test_newest_first_and_out_of_order_read_the_same(tmp_path: Path) -> None:
    rows = [(t, (warm(t), round(0.1 * n, 1))) for n, t in enumerate(times(2))]
    heading = f"{HEAD},Rain Total (mm)"
    wanted = read_as(tmp_path, log(heading, rows)).days
    newest_first = read_as(tmp_path, log(heading, rows[::-1], "%d/%m/%Y %H:%M")).days
    assert newest_first == wanted
    some = rows[100:] + rows[:100]
    assert read_as(tmp_path, log(heading, some)).days == wanted


def test_times_with_their_offset_are_turned_to_the_gardens_clock(tmp_path: Path) -> None:
    zone = ZoneInfo("America/Denver")
    rows = [(t, (warm(t),)) for t in times(1)]
    utc = [(t.replace(tzinfo=zone).astimezone(ZoneInfo("UTC")), cells) for t, cells in rows]
    for stamp in ("%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d %H:%M+00:00"):
        found = read_as(tmp_path, log(HEAD, utc, stamp), timezone="America/Denver")
        assert [(d.day, d.tmin_c, d.tmax_c) for d in found.days] == [(FIRST.date(), 12.0, 24.0)]
        with pytest.raises(WeatherFileError, match="its times are UTC"):
            read_as(tmp_path, log(HEAD, utc, stamp))


def test_local_time_is_preferred_to_utc_and_utc_alone_is_turned(tmp_path: Path) -> None:
    zone = ZoneInfo("America/Denver")
    utc = [t.replace(tzinfo=zone).astimezone(ZoneInfo("UTC")) for t in times(1)]
    alone = [(u, (warm(t),)) for t, u in zip(times(1), utc, strict=True)]
    beside = [(u, (f"{t:%Y-%m-%d %H:%M}", warm(t))) for t, u in zip(times(1), utc, strict=True)]
    for text in (log("Time (UTC),Temp (°C)", alone), log("UTC Time,Local Time,Temp (°C)", beside)):
        found = read_as(tmp_path, text, timezone="America/Denver")
        assert [(d.day, d.tmin_c, d.tmax_c) for d in found.days] == [(FIRST.date(), 12.0, 24.0)]
    assert read_as(tmp_path, log("UTC Time,Local Time,Temp (°C)", beside)).days[0].tmin_c == 12.0
    with pytest.raises(WeatherFileError, match="its times are UTC"):
        read_as(tmp_path, log("Time (UTC),Temp (°C)", alone))


def test_separators_at_the_ends_of_lines_are_no_cells(tmp_path: Path) -> None:
    lines = log("Time,Temp (°C)", [(t, (warm(t),)) for t in times()]).splitlines()
    for head, body in ((";", ";"), ("", ";"), (";", "")):
        text = "\n".join([lines[0] + head, *(line + body for line in lines[1:])]).replace(",", ";")
        assert read_as(tmp_path, text).days[0].tmax_c == 24.0


def test_a_unit_that_belies_its_heading_is_refused(tmp_path: Path) -> None:
    rows = [(t, (warm(t) * 1.8 + 32, 0.6)) for t in times(6)]
    found = read_as(tmp_path, log("Time,Temp (°C),Humidity (%)", rows))
    assert found.days[0].known() == {}
    assert any("line 1, Temp (°C): found" in f and "in another unit" in f for f in found.faults)
    assert any("line 1, Humidity (%): found" in f and "another unit" in f for f in found.faults)


def rain_of(found: WeatherFile) -> list[float | None]:
    return [None if d.rain_mm is None else round(d.rain_mm, 2) for d in found.days]


def shower(t: datetime) -> float:
    """What fell in the ten minutes before: 2.4 mm at noon, 0.6 mm towards midnight."""
    return (
        0.4
        if t.hour == 12
        else 0.2
        if (t.hour, t.minute) in {(23, 30), (23, 40), (23, 50)}
        else 0.0
    )


def counted(days: float, *, from_midnight: bool, start: float = 0.0) -> dict[datetime, float]:
    total, found, day = start, {}, None
    for t in times(days):
        if from_midnight and t.date() != day:
            total, day = 0.0, t.date()
        total = round(total + shower(t), 1)
        found[t] = total
    return found


@pytest.mark.parametrize(
    ("heading", "from_midnight", "start"),
    [("Daily Rain (mm)", True, 0.0), ("Rain since midnight (mm)", True, 0.0),
     ("Rain Today (mm)", True, 0.0), ("Total Rain (mm)", False, 812.4),
     ("Yearly Rain (mm)", False, 96.2), ("Rain (mm)", True, 0.0), ("Rain (mm)", False, 41.2)],
)  # fmt: skip
def test_rain_is_what_the_counter_rose_by(
    tmp_path: Path, heading: str, from_midnight: bool, start: float
) -> None:
    counter = counted(3, from_midnight=from_midnight, start=start)
    found = one_column(tmp_path, heading, counter.__getitem__, days=3)
    assert rain_of(found) == [3.0, 3.0, 3.0]


def test_rain_of_each_interval_is_summed(tmp_path: Path) -> None:
    found = one_column(tmp_path, "Rain (mm)", shower, days=3)
    assert rain_of(found) == [3.0, 3.0, 3.0]
    assert any("its figures are amounts since the reading before" in r for r in found.remarks)


def test_a_counter_that_begins_anew_at_another_hour_loses_nothing(tmp_path: Path) -> None:
    total, values = 5.0, {}
    for t in times(3):
        if (t.hour, t.minute) == (9, 0):
            total = 0.0
        total = round(total + shower(t), 1)
        values[t] = total
    assert rain_of(one_column(tmp_path, "Rain Event (mm)", values.__getitem__, days=3)) == [3.0] * 3


def test_a_counter_of_inches_reset_at_new_year_loses_nothing(tmp_path: Path) -> None:
    total, rows = 31.2, []
    for t in times(3, first=datetime(2030, 12, 30)):
        total = 0.0 if (t.month, t.day, t.hour, t.minute) == (1, 1, 0, 0) else total
        total += 0.01 if t.hour == 12 else 0.0
        rows.append((t, (round(total, 2),)))
    found = read_as(tmp_path, log("Time,Annual Rain (in)", rows))
    assert rain_of(found) == [1.52, 1.52, 1.52]  # six times 0.01 in. WORKED.


def test_one_bad_moment_of_a_total_counter_makes_no_rain(tmp_path: Path) -> None:
    counter = counted(3, from_midnight=False, start=812.4)
    counter[FIRST + timedelta(hours=30)] = 0.0
    assert (
        rain_of(one_column(tmp_path, "Total Rain (mm)", counter.__getitem__, days=3)) == [3.0] * 3
    )


def test_a_total_counter_counts_through_a_gap_by_day_and_not_through_one_by_midnight(
    tmp_path: Path,
) -> None:
    counter = counted(4, from_midnight=False, start=812.4)

    def rain(gone: Callable[[datetime], bool]) -> list[float | None]:
        rows = [(t, (warm(t), counter[t])) for t in counter if not gone(t)]
        found = read_as(tmp_path, log(f"{HEAD},Total Rain (mm)", rows))
        known = {d.day.day: d.rain_mm for d in found.days}
        return [None if known.get(n) is None else round(known[n] or 0.0, 2) for n in range(14, 18)]

    assert rain(lambda t: t.day == 15 and 6 <= t.hour < 18) == [3.0, 3.0, 3.0, 3.0]
    # From 20:00 to 04:00 it rained 0.6 mm: on which day cannot be known.
    found = rain(lambda t: FIRST + timedelta(hours=44) <= t < FIRST + timedelta(hours=52))
    assert found == [3.0, None, None, 3.0]
    # From 13:00 to 23:20 and 01:00 on nothing fell: the counter stood still, and that is known.
    found = rain(lambda t: FIRST + timedelta(hours=24.5) <= t < FIRST + timedelta(hours=34))
    assert found == [3.0, 3.0, 3.0, 3.0]


def test_a_total_counter_that_stood_still_through_a_night_without_readings_is_known(
    tmp_path: Path,
) -> None:
    def total(t: datetime) -> float:
        return 812.4 + (2.0 if t >= FIRST + timedelta(hours=36) else 0.0)

    rows = [(t, (round(total(t), 1),)) for t in times(4)
            if not FIRST + timedelta(hours=40) <= t < FIRST + timedelta(hours=80)]  # fmt: skip
    found = read_as(tmp_path, log("Time,Total Rain (mm)", rows))
    # Through the whole third day nothing was read, and the counter did not move.
    assert rain_of(found) == [0.0, 2.0, 0.0, 0.0]


def test_a_counter_since_midnight_tells_of_the_hours_before_its_first_reading(
    tmp_path: Path,
) -> None:
    counter = counted(2, from_midnight=True)
    away = (FIRST + timedelta(hours=20), FIRST + timedelta(hours=38))
    rows = [(t, (rain,)) for t, rain in counter.items() if not away[0] <= t < away[1]]
    found = read_as(tmp_path, log("Time,Daily Rain (mm)", rows))
    # WORKED: what fell after 20:00 on the first day was not read; by 14:00 on the second it had
    # 2.4 mm, by midnight 3.0.
    assert [(d.day.day, d.rain_mm) for d in found.days] == [(15, pytest.approx(3.0))]


def test_a_leap_of_the_counter_is_no_rain(tmp_path: Path) -> None:
    counter = counted(3, from_midnight=False)
    leapt = {
        t: v + (500.0 if t >= FIRST + timedelta(hours=30) else 0.0) for t, v in counter.items()
    }
    found = one_column(tmp_path, "Total Rain (mm)", leapt.__getitem__, days=3)
    assert rain_of(found) == [3.0, None, 3.0]


def test_a_thousands_comma_is_never_taken_for_a_decimal_one(tmp_path: Path) -> None:
    rows = [(t, (warm(t), f'"{1},{234}"' if t.hour == 12 else 0.5)) for t in times()]
    found = read_as(tmp_path, log(f"{HEAD},Wind (km/h)", rows))
    assert any("Wind (km/h): found '1,234'" in f and "6 cells" in f for f in found.faults)
    assert found.days[0].wind_m_s == pytest.approx(0.5 / 3.6)


def test_amounts_of_a_long_even_shower_are_no_counter(tmp_path: Path) -> None:
    found = one_column(tmp_path, "Rain (mm)", lambda t: 0.2 if t.hour in {9, 10} else 0.0, days=2)
    assert rain_of(found) == [2.4, 2.4]


def test_a_counter_with_one_late_shower_is_told_from_amounts(tmp_path: Path) -> None:
    late = {(23, 10): 0.2, (23, 20): 0.8, (23, 30): 0.8, (23, 40): 1.0, (23, 50): 1.0}
    found = one_column(tmp_path, "Rain (mm)", lambda t: late.get((t.hour, t.minute), 0.0), days=2)
    assert rain_of(found) == [1.0, 1.0]


def test_rain_that_may_be_either_is_asked_about(tmp_path: Path) -> None:
    found = one_column(tmp_path, "Rain (mm)", lambda t: 0.2 if 8 <= t.hour < 13 else 0.0, days=2)
    assert rain_of(found) == [None, None]
    assert any("neither plainly a counter nor amounts" in f for f in found.faults)


def test_a_named_counter_that_falls_again_and_again_is_refused(tmp_path: Path) -> None:
    def falls(t: datetime) -> float:
        return [0.6, 0.2, 0.4, 0.0, 0.2, 0.0][t.minute // 10]

    found = one_column(tmp_path, "Daily Rain (mm)", falls, days=2)
    assert rain_of(found) == [None, None]
    assert any("fall again and again" in f for f in found.faults)


def test_a_day_counter_is_preferred_to_a_total_and_said(tmp_path: Path) -> None:
    counter = counted(2, from_midnight=True)
    rows = [(t, (9, counter[t], 1.0)) for t in counter]
    found = read_as(tmp_path, log("Time,Rain Rate (mm/h),Daily Rain (mm),Monthly Rain (mm)", rows))
    assert rain_of(found) == [3.0, 3.0]
    assert any("Monthly Rain (mm) is not used" in r for r in found.remarks)


def test_a_column_of_noughts_alone_is_a_sensor_not_fitted(tmp_path: Path) -> None:
    heading = "Time,Temp (°C),Humidity (%),Wind (m/s),Solar (W/m2),Daily Rain (mm)"
    found = read_as(tmp_path, log(heading, [(t, (warm(t), 0, 0, 0, 0)) for t in times(2)]))
    assert set(found.days[0].known()) == {"tmin_c", "tmax_c", "rain_mm"}
    assert sum("sensor is not fitted" in r for r in found.remarks) == 3
    assert rain_of(found) == [0.0, 0.0]  # no rain is something known


@pytest.mark.parametrize(
    ("gone", "whole"),
    [
        (lambda t: 10 <= t.hour < 12, True),
        (lambda t: 10 <= t.hour < 14, False),  # a gap of four hours
        (lambda t: t.hour in {3, 9, 14, 20}, True),
        (lambda t: t.hour in {3, 6, 9, 14, 20}, False),  # only 19 hours have readings
        (lambda t: t.hour < 4, False),
        (lambda t: t.hour >= 20, False),
    ],
)
def test_a_day_counts_only_if_enough_of_it_is_covered(
    tmp_path: Path, gone: Callable[[datetime], bool], whole: bool
) -> None:
    rows = [(t, (warm(t),)) for t in times(3) if t.day != 15 or not gone(t)]
    found = read_as(tmp_path, log(HEAD, rows))
    assert (date(2031, 6, 15) in {d.day for d in found.days}) is whole
    told = [r for r in found.remarks if "too little read on 1 day" in r and "2031-06-15" in r]
    assert bool(told) is not whole


def test_a_variable_that_is_missing_leaves_the_others_of_the_day(tmp_path: Path) -> None:
    rows = [(t, (warm(t), "--" if t.hour > 12 else 60)) for t in times(2)]
    found = read_as(tmp_path, log(f"{HEAD},Humidity (%)", rows))
    assert set(found.days[0].known()) == {"tmin_c", "tmax_c"}
    assert any("Humidity (%): too little read on 2 days" in r for r in found.remarks)


def test_a_gap_at_noon_costs_the_sun_and_not_the_temperature(tmp_path: Path) -> None:
    rows = [(t, (warm(t), 500 if 6 <= t.hour < 18 else 0)) for t in times(2)
            if t.day != 14 or t.hour not in {12, 13}]  # fmt: skip
    found = read_as(tmp_path, log(f"{HEAD},Solar (W/m2)", rows))
    assert [d.solar_mj_m2 is None for d in found.days] == [True, False]
    assert [d.tmax_c for d in found.days] == [24.0, 24.0]


def test_hourly_readings_are_enough(tmp_path: Path) -> None:
    rows = [(t, (warm(t), 2.0)) for t in times(2, minutes=60)]
    found = read_as(tmp_path, log(f"{HEAD},Wind (m/s)", rows))
    assert [(d.tmin_c, d.tmax_c, d.wind_m_s) for d in found.days] == [(12.0, 24.0, 2.0)] * 2


def test_a_single_slip_of_the_thermometer_is_no_extreme(tmp_path: Path) -> None:
    at = FIRST + timedelta(hours=15)
    rows = [(t, (55.0 if t == at else warm(t),)) for t in times()]
    found = read_as(tmp_path, log(HEAD, rows))
    # WORKED: the highest of `warm`.
    assert found.days[0].tmax_c == pytest.approx(24.0, abs=0.1)
    assert any("1 single readings far from those before and after" in r for r in found.remarks)


def test_readings_out_of_range_are_left_out_and_fog_is_not(tmp_path: Path) -> None:
    found = one_column(tmp_path, "Humidity (%)", lambda t: 250 if t.hour == 3 else 102)
    assert (found.days[0].rh_max_pct, found.days[0].rh_min_pct) == (100.0, 100.0)
    assert any("Humidity (%): found 250" in f and "6 readings" in f for f in found.faults)


def test_a_line_twice_alike_is_used_once_and_twice_differently_not_at_all(tmp_path: Path) -> None:
    rows = [(t, (warm(t), 0.2)) for t in times(2)]
    alike = read_as(tmp_path, log(f"{HEAD},Rain (mm)", [*rows, rows[-1]]))
    assert not alike.faults
    differing = read_as(
        tmp_path, log(HEAD, [(rows[5][0], (50.0,)), *((t, c[:1]) for t, c in rows)])
    )
    assert differing.days[0].tmax_c == 24.0
    assert "other figures for one moment on lines 2 and 8" in differing.faults[0]


def local_times(first: datetime, zone: str, hours: int, minutes: int = 10) -> list[datetime]:
    """What a clock on the wall shows, both changes kept."""
    start = first.replace(tzinfo=ZoneInfo(zone)).timestamp()
    return [
        datetime.fromtimestamp(start + 60 * minutes * n, ZoneInfo(zone)).replace(tzinfo=None)
        for n in range(hours * 60 // minutes)
    ]


@pytest.mark.parametrize("zone", ["Europe/Madrid", None])
@pytest.mark.parametrize("newest_first", [False, True])
def test_the_hour_that_comes_twice_is_counted_twice(
    tmp_path: Path, zone: str | None, newest_first: bool
) -> None:
    shown = local_times(datetime(2031, 10, 26), "Europe/Madrid", 25 + 24)
    # One unit of rain and 100 W/m2 in every reading: 150 readings on the day of 25 hours. WORKED.
    rows = [(t, (warm(t), round(0.1 * n, 1), 100)) for n, t in enumerate(shown)]
    if newest_first:
        rows.reverse()
    text = log(f"{HEAD},Total Rain (mm),Solar (W/m2)", rows)
    found = read_as(tmp_path, text, timezone=zone)
    assert [d.day.day for d in found.days] == [26, 27]
    assert found.days[0].solar_mj_m2 == pytest.approx(100 * 25 * 3600 / 1e6)
    assert found.days[1].solar_mj_m2 == pytest.approx(100 * 24 * 3600 / 1e6)
    assert found.days[0].rain_mm == pytest.approx(15.0)
    assert not found.faults


def test_the_hour_left_out_in_spring_is_no_gap(tmp_path: Path) -> None:
    shown = local_times(datetime(2031, 3, 30), "Europe/Madrid", 23)
    assert len(shown) == 138
    rows = [(t, (warm(t), 100)) for t in shown]
    found = read_as(tmp_path, log(f"{HEAD},Solar (W/m2)", rows), timezone="Europe/Madrid")
    assert found.days[0].solar_mj_m2 == pytest.approx(100 * 23 * 3600 / 1e6)


def test_a_station_that_keeps_one_time_all_year_is_found_out(tmp_path: Path) -> None:
    rows = [(t, (warm(t),)) for t in times(2, first=datetime(2031, 3, 30))]
    found = read_as(tmp_path, log(HEAD, rows), timezone="Europe/Madrid")
    assert len(found.days) == 2
    assert any("keep one time all year" in r for r in found.remarks)


def test_lines_that_are_no_readings_are_named_and_many_are_counted(tmp_path: Path) -> None:
    text = log(HEAD, [(t, (warm(t),)) for t in times()])
    broken = "".join(f"broken {n}\n" for n in range(8)) + "2031-02-30 10:00,20\n"
    found = read_as(tmp_path, text + broken)
    assert found.days[0].tmax_c == 24.0
    assert len(found.faults) == 6
    assert any("4 lines more like this" in f for f in found.faults)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "no header of a station's log"),
        ("Time,Temp (°C)\n", "no header of a station's log"),
        ("2031-06-01 10:00,20\n2031-06-01 10:10,20\n", "no header of a station's log"),
        ("Time,Temp\n2031-06-01 10:00,20\n", "no column of it can be used"),
        ("Time,Indoor Temp (°C),Humidity (%)\n2031-06-01,20,50\n", "no column of it can be used"),
    ],
)
def test_a_file_that_is_no_log_is_refused(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(WeatherFileError, match=match):
        read_as(tmp_path, text, kind="station-log")


def test_a_log_too_short_for_a_day_has_no_day_and_says_so(tmp_path: Path) -> None:
    found = read_as(tmp_path, log(HEAD, [(t, (warm(t),)) for t in times(0.5)]))
    assert found.days == ()
    assert any("no day with enough readings" in f for f in found.faults)


def test_a_time_zone_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="no time zone is called"):
        read_as(tmp_path, log(HEAD, [(t, (warm(t),)) for t in times()]), timezone="Mars/Olympus")


@settings(max_examples=30)
@given(
    amounts=st.lists(st.integers(0, 40), min_size=49, max_size=49),
    start=st.integers(0, 5000),
    way=st.sampled_from(["total", "midnight", "interval"]),
)
def test_rain_written_in_any_way_sums_to_what_fell(
    tmp_path_factory: pytest.TempPathFactory, amounts: list[int], start: int, way: str
) -> None:
    """Hourly tenths over two days, with a reading at each midnight that closes the day before."""
    shown = [FIRST + timedelta(hours=n) for n in range(49)]
    total, rows = start if way == "total" else 0, []
    for n, t in enumerate(shown):
        fell = 0 if n == 0 else amounts[n]
        total = fell if way == "interval" else total + fell
        rows.append((t, (f"{total / 10:.1f}",)))
        if way == "midnight" and t.hour == 0:
            total = 0
    heading = {"total": "Total Rain (mm)", "midnight": "Daily Rain (mm)",
               "interval": "Rain per Interval (mm)"}[way]  # fmt: skip
    found = read_as(tmp_path_factory.getbasetemp(), log(f"Time,{heading}", rows), "rain.csv")
    by_day = [sum(amounts[1:25]) / 10, sum(amounts[25:49]) / 10]
    if way == "midnight" and amounts[25] >= sum(amounts[1:25]) > 0:
        return  # as high within the hour as the day before: a new start cannot be seen
    assert [d.rain_mm for d in found.days if d.rain_mm is not None] == pytest.approx(by_day)


@settings(max_examples=60)
@given(at=st.integers(0, 600), raw=st.binary(max_size=20), cut=st.integers(0, 1500))
def test_a_garbled_file_is_read_or_refused_and_brings_nothing_down(
    tmp_path_factory: pytest.TempPathFactory, at: int, raw: bytes, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "garbled.csv"
    rows = [(t, (warm(t), 0.2, 50)) for t in times(1, minutes=30)]
    good = log(f"{HEAD},Rain (mm),Humidity (%)", rows, "%d/%m/%Y %H:%M").encode()
    path.write_bytes((good[:at] + raw + good[at:])[:cut])
    for kind in ("station-log", "auto"):
        try:
            found = read_weather(path, kind=kind, timezone="Europe/Madrid")
        except WeatherFileError:
            continue
        assert all(d.tmax_c is None or -50.0 <= d.tmax_c <= 60.0 for d in found.days)
