"""Columns that look as if they were in another unit: refused, never converted."""

from __future__ import annotations

from datetime import date
from math import cos, pi
from pathlib import Path

import pytest
from support.weather import days, read

from controller.weather.day import unit_suspicions


def clear(day: date) -> float:
    """An invented clear sky: 8 MJ/m2 in midwinter, 30 in midsummer."""
    return 19.0 - 11.0 * cos(2 * pi * (day.timetuple().tm_yday + 10) / 365)


@pytest.mark.parametrize(
    ("field", "own", "other", "word"),
    [
        ("tmin_c", 14.0, 57.0, "tmin_f"),
        ("tmax_c", 27.0, 80.6, "tmax_f"),
        ("dewpoint_c", 11.0, 52.0, "dewpoint_f"),
        ("solar_mj_m2", 24.0, 278.0, "solar_w_m2"),
        ("wind_m_s", 3.6, 13.0, "wind_km_h"),
        ("vapour_pressure_kpa", 1.3, 13.0, "hpa"),
        ("rh_max_pct", 91.0, 0.91, "fraction"),
        ("rh_mean_pct", 60.0, 0.6, "fraction"),
    ],
)
def test_figures_usual_in_another_unit_are_refused(
    field: str, own: float, other: float, word: str
) -> None:
    names = {field: field}
    assert unit_suspicions(days(9, **{field: own}), names) == ()
    (suspicion,) = unit_suspicions(days(9, **{field: other}), names)
    assert suspicion.field == field
    assert suspicion.refused
    assert word in suspicion.found
    (suspicion,) = unit_suspicions(days(9, **{field: other}), {field: "Another (unit)"})
    assert "another unit than its heading says" in suspicion.found
    assert unit_suspicions(days(4, **{field: other}), names) == ()


def test_a_cold_year_in_fahrenheit_is_told_by_its_warm_days_and_one_slip_is_not() -> None:
    names = {"tmax_c": "tmax_c"}
    # Half the year at 40 °F, a tenth at 70 °F: 4 °C and 21 °C.
    year = [d.with_(tmax_c=70.0 if n % 8 == 0 else 40.0) for n, d in enumerate(days(200))]
    assert [s.refused for s in unit_suspicions(year, names)] == [True]
    slip = [d.with_(tmax_c=55.0 if n == 3 else 21.0) for n, d in enumerate(days(60))]
    assert unit_suspicions(slip, names) == ()


def test_small_rain_in_hundredths_is_said_and_refused_only_where_it_rained_often() -> None:
    def look(amounts: list[float]) -> list[bool]:
        written = [d.with_(rain_mm=r) for d, r in zip(days(len(amounts)), amounts, strict=True)]
        return [s.refused for s in unit_suspicions(written, {"rain_mm": "rain_mm"})]

    inches = [0.0, 0.12, 0.05, 0.0, 1.31, 0.02, 0.4, 0.33]
    assert look(inches) == [False]
    assert look(inches * 4) == [True]
    assert look([0.0, 0.2, 0.6, 0.0, 2.4, 1.2, 0.4, 1.0]) == []  # a gauge that tips 0.2 mm
    assert look([*inches, 12.7]) == []
    assert look([0.0] * 9) == []


def test_celsius_under_a_fahrenheit_name_is_refused_over_a_season() -> None:
    names = {"tmax_c": "tmax_f"}
    # 24 °C read as 24 °F is -4.4 °C.
    (suspicion,) = unit_suspicions(days(200, tmax_c=-4.4), names)
    assert suspicion.refused
    assert unit_suspicions(days(100, tmax_c=-4.4), names) == ()  # may be a hard winter
    assert unit_suspicions(days(200, tmax_c=21.0), names) == ()


def test_sun_far_from_any_sky_is_refused_in_whatever_unit_it_is_named() -> None:
    for column, ratio, refused in [
        ("solar_mj_m2", 0.6, False),
        ("solar_w_m2", 1.6, True),
        ("solar_w_m2", 0.6 * 0.0864, True),  # MJ/m2 under the name of W/m2
    ]:
        written = [d.with_(solar_mj_m2=ratio * clear(d.day)) for d in days(90)]
        names = {"solar_mj_m2": column}
        found = unit_suspicions(written, names, clear_sky_mj_m2=clear)
        assert [s.refused for s in found] == ([True] if refused else [])


def test_a_refused_column_gives_no_figure_and_one_fault_and_leaves_the_others(
    tmp_path: Path,
) -> None:
    lines = [f"2031-06-{n:02d},9,21,13.{n}" for n in range(1, 11)]
    text = "\n".join(["date,tmin_c,tmax_c,vapour_pressure_kpa", *lines])
    found = read(tmp_path, text)
    assert all(set(d.known()) == {"tmin_c", "tmax_c"} for d in found.days)
    assert len(found.days) == 10
    (fault,) = found.faults
    assert fault.startswith("station.csv, line 1, vapour_pressure_kpa: found a usual figure of 13")
