"""A monthly climate table: read whole, or refused with everything that is amiss."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pytest import approx

from controller.errors import WeatherFileError
from controller.weather.files.monthly_table import MONTHS, read_months
from controller.weather.files.reader import read_weather

PAGE = (Path(__file__).parents[2] / "docs" / "weather-file.md").read_text(encoding="utf-8")
SHOWN = re.findall(r"^```\w*\n(month,.*?)^```$", PAGE, re.S | re.M)[0]


def table(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "months.csv"
    path.write_text(text, encoding="utf-8")
    return path


def faults(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(WeatherFileError) as caught:
        read_months(table(tmp_path, text))
    return str(caught.value).splitlines()


def plain(header: str = "month,tmin_c,tmax_c", cells: str = "5,15") -> str:
    return "\n".join([header, *(f"{month},{cells}" for month in range(1, 13))]) + "\n"


def test_the_table_that_the_page_shows_is_read(tmp_path: Path) -> None:
    found = read_months(table(tmp_path, SHOWN), wind_height_m=10.0)
    assert found.remarks == ()
    assert [day.day.month for day in found.days] == list(range(1, 13))
    july = found.days[6]
    assert (july.tmin_c, july.tmax_c, july.wind_m_s, july.rh_mean_pct) == (13.0, 24.0, 1.9, 69.0)
    assert (july.sunshine_h, july.wind_height_m, july.rain_mm) == (7.5, 10.0, None)
    assert found.rain_mm[6] == 112.0


def test_the_units_of_either_world_and_any_order_of_months(tmp_path: Path) -> None:
    lines = [f"{name};41,0;59;2,0;10" for name in MONTHS]
    text = "\n".join(["month;tmin_f;tmax_f;rain_in;wind_mph", *reversed(lines)])
    found = read_months(table(tmp_path, text))
    # WORKED: 41 and 59 F are 5 and 15 C, 2 in are 50.8 mm, 10 miles an hour 4.4704 m/s.
    assert found.days[0].tmin_c == approx(5.0)
    assert found.days[0].tmax_c == approx(15.0)
    assert found.days[11].wind_m_s == approx(4.4704)
    assert found.rain_mm == approx((50.8,) * 12)


@pytest.mark.parametrize("said", ["1", "01", "Jan", "jan.", "JANUARY", "Janu"])
def test_a_month_by_number_or_name(tmp_path: Path, said: str) -> None:
    text = plain().replace("\n1,", f"\n{said},")
    assert read_months(table(tmp_path, text)).days[0].tmin_c == 5.0


def test_rain_and_all_else_but_temperatures_may_be_left_out(tmp_path: Path) -> None:
    found = read_months(table(tmp_path, plain()))
    assert found.rain_mm == ()
    assert found.days[3].known() == {"tmin_c": 5.0, "tmax_c": 15.0}


def test_an_unknown_column_is_named_and_left_out(tmp_path: Path) -> None:
    found = read_months(table(tmp_path, plain("month,tmin_c,tmax_c,tmxa_c", "5,15,9")))
    assert found.remarks == (
        "months.csv, line 1: column tmxa_c is not used; did you mean tmax_c or tmin_c?",
    )


def test_every_fault_is_named_at_once_with_line_and_column(tmp_path: Path) -> None:
    text = (
        plain("month,tmin_c,tmax_c,rain_mm", "5,15,60")
        .replace("\n3,5,15", "\n3,x,15")
        .replace("\n4,5,15,60", "\n4,5,15,")
        .replace("\n7,", "\nJuli?,")
        .replace("\n9,5,15,60", "\n9,5,15,99999")
        .replace("\n12,", "\n11,")
    )
    assert faults(tmp_path, text) == [
        "months.csv, line 4, tmin_c: found 'x'; allowed is a number without its unit",
        "months.csv, line 5, rain_mm: found nothing; allowed is a figure in every month, or no "
        "such column",
        "months.csv, line 8, month: found 'Juli?'; allowed is 1 to 12, or a month's name",
        "months.csv, line 10, rain_mm: found 99999; allowed is 0 to 5000 mm a month",
        "months.csv, line 13, month: found 11; line 12 has November already",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "months.csv: nothing in it"),
        (
            "date,tmin_c,tmax_c\n2031-01-01,1,2\n",
            "months.csv, line 1: found the columns date, tmin_c, tmax_c; the first line must name "
            "the columns, and one of them is month; a file of days is named with normals",
        ),
        ("month,tmin_c\n1,2\n", "line 1, tmax_c: found no such column; needed is tmax_c or tmax_f"),
        (plain("month,tmin_c,tmin_f,tmax_c", "5,41,15"), "tmin_c and tmin_f: found the same"),
        (plain().replace("\n6,5,15", ""), "months.csv: no line for June"),
        (plain().replace("\n6,5,15", "\n6,5"), "line 7, the line: found 2 cells; allowed are 3"),
        (plain().replace("\n6,5,15", "\n6,25,15"), "line 7, tmin_c and tmax_c: found 25 and 15"),
        (plain("month,tmin_c,tmax_c,sunshine_h", "5,15,186"), "divide a month's sum by its days"),
        (plain(cells="41,59"), "looks like degrees Fahrenheit (tmin_f)"),
        (plain("month,tmin_f,tmax_f", "5,15"), "looks like degrees Celsius"),
        (plain("month,tmin_c,tmax_c,rh_mean_pct", "5,15,0.7"), "a fraction, 0 to 1, not percent"),
        (plain("month,tmin_c,tmax_c,vapour_pressure_kpa", "5,15,9.9"), "allowed is 0 to 8 kPa"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path: Path, text: str, told: str) -> None:
    assert told in "\n".join(faults(tmp_path, text))


def test_a_table_named_as_a_file_of_days_says_where_it_belongs(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="a table of months, not of days; name it as clim"):
        read_weather(table(tmp_path, SHOWN))


def test_a_file_that_is_not_there_says_so(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="there is no such file"):
        read_months(tmp_path / "none.csv")
