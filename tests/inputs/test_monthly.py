"""From a monthly climate table to days: its curve, reference ET, and its place in the ladder."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from itertools import pairwise
from math import cos, pi
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.clock import HandClock
from support.gardens import a_garden
from support.said import said
from support.stationyears import ASTURIAS, MUNICH, SWEDEN, WAGENINGEN, Station, days_of

from controller.demand.climate.usual_et import season_eto_mm_day
from controller.garden.model import Site, WeatherSource
from controller.inputs.climatology import Normals, eto_of, normals_from
from controller.inputs.days import demand_days
from controller.inputs.gather import Gatherer, best_normals
from controller.inputs.monthly_climate import daily_from_months, normals_of_months
from controller.messages import Message
from controller.timetable.extremes import heat_messages
from controller.weather.day import WeatherDay
from controller.weather.files.monthly_table import YEAR, MonthlyTable
from controller.weather.source_priority import CLIMATE_TABLE, DAYS_BEFORE, NORMAL

PAGE = Path(__file__).parents[2] / "docs" / "weather-file.md"
SITE = a_garden().site
DAY = timedelta(days=1)
LENGTHS = [monthrange(YEAR, month)[1] for month in range(1, 13)]
CSV = "month,tmin_c,tmax_c,rain_mm,wind_m_s,rh_mean_pct\n" + "".join(
    f"{m},{10 - 8 * cos(2 * pi * (m - 1) / 12):.1f},{20 - 10 * cos(2 * pi * (m - 1) / 12):.1f},"
    "62,3,60\n"
    for m in range(1, 13)
)


def even(rain_mm: Sequence[float] = (), **figures: float) -> MonthlyTable:
    """Every month alike."""
    return MonthlyTable(
        days=tuple(WeatherDay(day=date(YEAR, m, 15)).with_(**figures) for m in range(1, 13)),
        rain_mm=tuple(rain_mm),
    )


def months_of(days: Sequence[float]) -> list[list[float]]:
    starts = [sum(LENGTHS[:n]) for n in range(13)]
    return [list(days[a:b]) for a, b in pairwise(starts)]


@given(st.lists(st.floats(-40.0, 50.0), min_size=12, max_size=12))
def test_every_month_keeps_its_mean(means: list[float]) -> None:
    for month, mean in zip(months_of(daily_from_months(means)), means, strict=True):
        assert sum(month) / len(month) == approx(mean, abs=1e-9)


@given(st.lists(st.floats(-40.0, 50.0), min_size=12, max_size=12))
def test_there_is_no_step_and_no_kink_between_months_nor_between_years(means: list[float]) -> None:
    days = daily_from_months(means)
    span = max(means) - min(means)
    slopes = [days[n] - days[n - 1] for n in range(365)]
    for n in range(365):
        assert abs(slopes[n]) <= 0.2 * span + 1e-9
        assert abs(slopes[n] - slopes[n - 1]) <= 0.02 * span + 1e-9


def test_a_year_that_is_a_wave_comes_back_as_that_wave() -> None:
    # The outside opinion: means of a known curve give the curve back, its top with it.
    wave = [10.0 + 9.0 * cos(2 * pi * (n + 0.5 - 200) / 365) for n in range(365)]
    means = [sum(month) / len(month) for month in months_of(wave)]
    found = daily_from_months(means)
    assert max(abs(a - b) for a, b in zip(found, wave, strict=True)) < 0.03
    # WORKED: the wave's top is 10 + 9.
    assert max(found) == approx(19.0, abs=0.02)
    assert max(means) < 18.9


def test_bangkok_in_april_as_printed() -> None:
    # PRINTED: FAO-56, Example 17: Tmax 34.8, Tmin 25.6, ea 2.85 kPa, u2 2 m/s, n 8.5 h: 5.72 mm a
    # day, with a soil heat flux of 0.14 MJ/m2 that a day of ours does not have.
    site = replace(SITE, latitude_deg=13 + 44 / 60, elevation_m=2.0)
    table = even(tmin_c=25.6, tmax_c=34.8, vapour_pressure_kpa=2.85, wind_m_s=2.0, sunshine_h=8.5)
    found = normals_of_months(table, site).eto_mm(date(2031, 4, 15))
    # WORKED, with the print's slope 0.246 and psychrometric constant 0.0674: 0.408 x 0.246 x 0.14 /
    # (0.246 + 0.0674 x 1.68) = 0.039 mm.
    assert found == approx(5.72 + 0.039, abs=0.02)


def test_each_months_mean_reference_et_is_near_that_of_its_mean_day() -> None:
    site = replace(SITE, latitude_deg=47.0)
    lows = [10 - 8 * cos(2 * pi * m / 12) for m in range(12)]
    table = MonthlyTable(
        days=tuple(
            WeatherDay(
                day=date(YEAR, m + 1, 15),
                tmin_c=low,
                tmax_c=low + 11.0,
                rh_mean_pct=65.0,
                wind_m_s=2.0,
            )
            for m, low in enumerate(lows)
        ),
        rain_mm=(),
    )
    found = normals_of_months(table, site)
    for month, mean_day in enumerate(table.days, 1):
        days = [date(2031, month, 1) + n * DAY for n in range(LENGTHS[month - 1])]
        mean = sum(found.eto_mm(day) or 0.0 for day in days) / len(days)
        eto = eto_of(mean_day, site)
        assert eto is not None
        assert mean == approx(eto.eto_mm_day, abs=0.08)


# Months of real stations

_FULL = ("tmin_c", "tmax_c", "vapour_pressure_kpa", "wind_m_s", "solar_mj_m2")
_BOUND_PCT = {WAGENINGEN: 2.0, ASTURIAS: 2.0, SWEDEN: 3.0, MUNICH: 3.0}


def months_from(days: Sequence[WeatherDay], fields: Sequence[str]) -> MonthlyTable:
    rows = [[d for d in days if d.day.month == month] for month in range(1, 13)]
    return MonthlyTable(
        days=tuple(
            WeatherDay(day=date(YEAR, n, 15), wind_height_m=of[0].wind_height_m).with_(
                **{f: sum(d.value(f) or 0.0 for d in of) / len(of) for f in fields}
            )
            for n, of in enumerate(rows, 1)
        ),
        rain_mm=(),
    )


@cache
def season_off_pct(station: Station, fields: tuple[str, ...]) -> float:
    """April to September by the table, against the days themselves; mean of all years. [%]"""
    days, off = days_of(station), []
    for year in sorted({d.day.year for d in days}):
        own = [d for d in days if d.day.year == year and 4 <= d.day.month <= 9]
        if len(own) < 170:
            continue
        # Wageningen has other years to make the table of; the rest have this one alone.
        others = [d for d in days if d.day.year != year or station is not WAGENINGEN]
        normals = normals_of_months(months_from(others, fields), station.site)
        true = sum(e.eto_mm_day for d in own if (e := eto_of(d, station.site)) is not None)
        off.append(100.0 * (sum(normals.eto_mm(d.day) or 0.0 for d in own) / true - 1.0))
    return sum(off) / len(off)


@pytest.mark.parametrize("station", _BOUND_PCT, ids=lambda s: s.name)
def test_a_real_stations_months_give_its_seasons(station: Station) -> None:
    """Open data: the daily records of pcse."""
    assert abs(season_off_pct(station, _FULL)) <= _BOUND_PCT[station]
    own = [d for d in days_of(station) if 4 <= d.day.month <= 9]
    true = sum(e.eto_mm_day for d in own if (e := eto_of(d, station.site)) is not None)
    by_class = sum(
        season_eto_mm_day(
            d.day,
            latitude_deg=station.latitude_deg,
            elevation_m=station.elevation_m,
            climate=station.climate,
            coastal=station.coastal,
        )
        for d in own
    )
    assert abs(season_off_pct(station, _FULL)) < 100.0 * abs(by_class / true - 1.0)


def test_the_page_tells_these_figures() -> None:
    page = PAGE.read_text(encoding="utf-8")
    full = [season_off_pct(station, _FULL) for station in _BOUND_PCT]
    warmth = [season_off_pct(station, _FULL[:2]) for station in _BOUND_PCT]
    assert (
        f"Wageningen {full[0]:+.1f} (23 seasons, each by the table of the other years), Asturias "
        f"{full[1]:+.1f}, northern Sweden {full[2]:+.1f}, Munich {full[3]:+.1f}."
    ) in page
    assert ", ".join(f"{off:+.1f}" for off in warmth) + " %" in page


# Its place in the ladder


def a_table(tmp_path: Path, **more: object) -> tuple[Gatherer, WeatherSource]:
    (tmp_path / "months.csv").write_text(CSV, encoding="utf-8")
    source = replace(WeatherSource(), climate_table="months.csv", **more)  # type: ignore[arg-type]
    return Gatherer(tmp_path, tmp_path / "cache", HandClock()), source


def usual(tmp_path: Path, site: Site = SITE) -> Normals:
    gatherer, source = a_table(tmp_path)
    said: list[Message] = []
    found = gatherer.usual(a_garden(weather=source, site=site), said)
    assert said == []
    assert found is not None
    return found


def test_without_weather_its_days_stand_and_its_rain_waters_nothing(tmp_path: Path) -> None:
    table = usual(tmp_path)
    first = date(2031, 7, 1)
    found = demand_days([], SITE, first=first, last=first + 6 * DAY, normals=table)
    for day, made in found.days.items():
        assert made.rung == CLIMATE_TABLE
        assert made.method == "stand-in: monthly climate table"
        assert not made.measured
        assert made.eto_mm == table.eto_mm(day)
        assert made.normal_eto_mm == made.eto_mm
        assert made.rain_mm is None and made.rain_chance_pct is None
        # The crop coefficients' climate is the table's too.
        assert made.wind_2m_m_s == approx(3.0)
        normal = table.on(day)
        assert normal is not None and made.rh_min_pct == normal.rh_min_pct
        assert normal.rain_mm == approx(62.0 / 31)  # WORKED: 62 mm over July's 31 days


def test_a_year_of_its_rain_is_the_sum_of_its_months(tmp_path: Path) -> None:
    found = [normal.rain_mm for normal in usual(tmp_path).by_number if normal is not None]
    assert sum(mm or 0.0 for mm in found) == approx(12 * 62.0)


def test_what_was_measured_or_foretold_goes_before_it(tmp_path: Path) -> None:
    table, today = usual(tmp_path), date(2031, 7, 10)
    rows = [
        WeatherDay(day=today - DAY, tmin_c=9.0, tmax_c=17.0, source="station.csv"),
        WeatherDay(day=today + DAY, tmin_c=9.0, tmax_c=17.0, source="x forecast", measured=False),
    ]
    found = demand_days(
        rows, SITE, first=today - DAY, last=today + 20 * DAY, today=today, normals=table
    )
    rungs = [made.rung for made in found.days.values()]
    assert rungs[:3] == ["station", DAYS_BEFORE, "forecast"]
    assert rungs[3:7] == [DAYS_BEFORE] * 4
    assert set(rungs[7:]) == {CLIMATE_TABLE}


def test_normals_of_years_go_before_it_and_it_fills_what_they_lack(tmp_path: Path) -> None:
    table = usual(tmp_path)
    summers = [
        WeatherDay(day=date(y, 5, 1) + n * DAY, tmin_c=10.0, tmax_c=22.0)
        for y in (2029, 2030)
        for n in range(150)
    ]
    normals = normals_from(summers, SITE)
    assert normals is not None
    both = normals.filled_by(table)
    summer, winter = date(2031, 7, 1), date(2031, 1, 20)
    assert both.eto_mm(summer) == normals.eto_mm(summer)
    assert both.eto_mm(winter) == table.eto_mm(winter)
    rungs = [
        demand_days([], SITE, first=day, last=day, normals=both).days[day].rung
        for day in (summer, winter)
    ]
    assert rungs == [NORMAL, CLIMATE_TABLE]
    # Rows that a logbook kept for years do the same; of less than two years nothing is normal.
    garden = a_garden()
    kept = best_normals(table, summers, garden=garden, order=(), today=date(2031, 6, 1))
    assert kept is not None and kept.years == 2
    assert kept.eto_mm(winter) == table.eto_mm(winter)
    assert best_normals(table, summers[-9:], garden=garden, order=(), today=summer) is table


def test_a_garden_file_of_years_is_filled_by_its_table(tmp_path: Path) -> None:
    rows = [
        f"{date(y, 5, 1) + n * DAY},{10 + n % 3},{22 + n % 5}\n"
        for y in (2029, 2030)
        for n in range(150)
    ]
    (tmp_path / "years.csv").write_text("date,tmin_c,tmax_c\n" + "".join(rows), encoding="utf-8")
    gatherer, source = a_table(tmp_path, normals_file="years.csv")
    found = gatherer.usual(a_garden(weather=source), [])
    assert found is not None and found.years == 2
    summer, winter = found.on(date(2031, 7, 1)), found.on(date(2031, 1, 20))
    assert summer is not None and not summer.of_table
    assert winter is not None and winter.of_table


def test_a_broken_table_is_named_and_the_seasons_table_stands(tmp_path: Path) -> None:
    gatherer, source = a_table(tmp_path)
    (tmp_path / "months.csv").write_text(CSV.replace("\n4,", "\nx,"), encoding="utf-8")
    found = gatherer.gather(a_garden(weather=source), forecast_days=3)
    assert found.normals is None
    assert said(found.remarks) == (
        "no climate table: months.csv, line 5, month: found 'x'; allowed is 1 to 12, or a month's "
        "name",
    )
    # So is a file of normals.
    both = replace(source, climate_table=None, normals_file="none.csv")
    (words,) = said(gatherer.gather(a_garden(weather=both), forecast_days=3).remarks)
    assert 'normals = "none.csv" in [weather]: there is no such file' in words
    # Mended, it is read anew.
    (tmp_path / "months.csv").write_text(CSV, encoding="utf-8")
    assert gatherer.gather(a_garden(weather=source), forecast_days=3).normals is not None


def test_a_day_far_above_the_table_says_so_by_its_name(tmp_path: Path) -> None:
    table, today = usual(tmp_path), date(2031, 7, 10)
    hot = [
        WeatherDay(day=today - n * DAY, tmin_c=22.0, tmax_c=42.0, wind_m_s=9.0, rh_mean_pct=12.0)
        for n in (0, 1)
    ]
    found = demand_days(hot, SITE, last=today, today=today + DAY, normals=table)
    (words,) = said(heat_messages(found.days, today, normals=table))
    assert "usual by the climate table is" in words


@given(
    st.floats(-60.0, 70.0),
    st.lists(st.floats(-30.0, 34.0), min_size=12, max_size=12),
    st.lists(st.floats(0.5, 18.0), min_size=12, max_size=12),
    st.lists(st.floats(0.0, 8.0), min_size=12, max_size=12),
    st.lists(st.floats(0.0, 100.0), min_size=12, max_size=12),
)
def test_any_table_gives_days_that_weather_can_have(
    latitude: float, lows: list[float], swings: list[float], winds: list[float], damp: list[float]
) -> None:
    table = MonthlyTable(
        days=tuple(
            WeatherDay(
                day=date(YEAR, n + 1, 15),
                tmin_c=lows[n],
                tmax_c=lows[n] + swings[n],
                wind_m_s=winds[n],
                rh_mean_pct=damp[n],
            )
            for n in range(12)
        ),
        rain_mm=(),
    )
    found = normals_of_months(table, replace(SITE, latitude_deg=latitude))
    for normal in found.by_number:
        assert normal is not None
        assert 0.0 <= normal.eto_mm < 30.0
        assert normal.tmin_c <= normal.tmax_c
