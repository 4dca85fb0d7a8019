"""A gardener's weather file: units by column name, faults by line, nothing made up."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.weather import FIRST, days, read

from controller.errors import InputError, WeatherFileError
from controller.weather.checks import LIMITS
from controller.weather.columns import COLUMNS, KNOWN_NAMES
from controller.weather.day import VALUES, WeatherDay
from controller.weather.file import column_help, read_weather_csv, write_weather_csv

# Factors: NIST SP 811 (2008), appendix B, for degF, mile/h, knot, inch, W h; the calorie is the
# international-table one there, 4.1868 J, so a langley is 0.041868 MJ/m2. 86 400 s a day. WORKED.
CONVERSIONS = [
    ("tmax_f", "68", "tmax_c", 20.0),
    ("tmin_f", "-4", "tmin_c", -20.0),
    ("dewpoint_f", "50", "dewpoint_c", 10.0),
    ("vapour_pressure_hpa", "14.2", "vapour_pressure_kpa", 1.42),
    ("wind_km_h", "9", "wind_m_s", 2.5),
    ("wind_mph", "5", "wind_m_s", 2.2352),
    ("wind_knot", "10", "wind_m_s", 5.14444),
    ("solar_w_m2", "250", "solar_mj_m2", 21.6),
    ("solar_kwh_m2", "6", "solar_mj_m2", 21.6),
    ("solar_langley", "500", "solar_mj_m2", 20.934),
    ("rain_in", "0.5", "rain_mm", 12.7),
    ("rain_cm", "1.2", "rain_mm", 12.0),
]


@pytest.mark.parametrize(("column", "cell", "field", "expected"), CONVERSIONS)
def test_a_column_is_read_in_the_unit_of_its_name(
    tmp_path: Path, column: str, cell: str, field: str, expected: float
) -> None:
    found = read(tmp_path, f"date,{column}\n2031-06-01,{cell}\n")
    assert found.days[0].value(field) == pytest.approx(expected, rel=1e-5)
    assert not found.faults


def test_every_column_in_another_unit_is_among_the_conversions() -> None:
    assert {c.name for c in COLUMNS if c.name != c.field} == {name for name, *_ in CONVERSIONS}


def test_columns_stand_in_any_order(tmp_path: Path) -> None:
    found = read(tmp_path, "rain_mm,Date , TMAX_C\n1.5,2031-06-02,21\n0,2031-06-01,20\n")
    assert [(d.day.day, d.tmax_c, d.rain_mm) for d in found.days] == [(1, 20, 0), (2, 21, 1.5)]
    assert found.days[0].source == "station.csv"
    assert found.days[0].measured


def test_the_wind_keeps_its_height(tmp_path: Path) -> None:
    found = read(tmp_path, "date,wind_m_s\n2031-06-01,3\n", wind_height_m=10.0)
    assert found.days[0].wind_height_m == 10.0


def test_an_unknown_column_is_named_with_the_nearest_known(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmax_c,rain_mmm,pressure\n2031-06-01,20,1,1013\n")
    assert any(
        "line 1: column rain_mmm" in r and "did you mean rain_mm" in r for r in found.remarks
    )
    assert any("pressure is not known and not used" in r for r in found.remarks)
    assert found.days[0].rain_mm is None
    assert not found.faults


@pytest.mark.parametrize("header", ["date,rain_mm,rain_in", "date,rain_mm,rain_mm"])
def test_a_quantity_given_twice_is_used_from_neither_column(tmp_path: Path, header: str) -> None:
    found = read(tmp_path, f"{header}\n2031-06-01,25.4,1\n")
    assert re.search(
        r"line 1, rain_mm and rain_\w+: found the same quantity twice", found.faults[0]
    )
    assert found.days[0].rain_mm is None


@pytest.mark.parametrize(
    "cell", ["", " ", "-", "--", "NaN", "NA", "n/a", "null", "-999", "-9999.0"]
)
def test_what_stands_for_no_figure_is_unknown_and_not_nought(tmp_path: Path, cell: str) -> None:
    found = read(tmp_path, f"date,tmax_c,rain_mm\n2031-06-01,20,{cell}\n2031-06-02,20,0\n")
    assert [d.rain_mm for d in found.days] == [None, 0.0]
    assert any("rain_mm: no figure on 1 of 2 days" in r for r in found.remarks)
    assert not found.faults


def test_a_trace_of_rain_is_known_rain_of_nought(tmp_path: Path) -> None:
    assert read(tmp_path, "date,rain_mm\n2031-06-01,T\n").days[0].rain_mm == 0.0
    assert read(tmp_path, "date,tmax_c\n2031-06-01,T\n").days[0].tmax_c is None


def test_a_decimal_comma_is_read_between_semicolons(tmp_path: Path) -> None:
    found = read(tmp_path, "date;tmax_c;rain_mm\n2031-06-01;24,6;0.4\n")
    assert (found.days[0].tmax_c, found.days[0].rain_mm) == (24.6, 0.4)


def test_a_decimal_comma_between_commas_is_a_fault(tmp_path: Path) -> None:
    found = read(tmp_path, 'date,tmax_c\n2031-06-01,24,6\n2031-06-02,"24,6"\n')
    assert "line 2, the line: found 3 cells; allowed are 2" in found.faults[0]
    assert "line 3, tmax_c: found '24,6'" in found.faults[1]
    assert "decimal comma needs ';'" in found.faults[1]
    assert found.days[0].tmax_c is None


def test_a_thousands_comma_is_never_taken_for_a_decimal_one(tmp_path: Path) -> None:
    found = read(tmp_path, "date;solar_langley\n2031-06-01;1,234.5\n")
    assert "found '1,234.5'" in found.faults[0]


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_line_ends_and_byte_order_marks_of_all_systems_read(
    tmp_path: Path, newline: str, mark: str
) -> None:
    lines = ["# invented", "", "date,tmax_c", "2031-06-01,20", "# a note", "2031-06-02,200", ""]
    found = read(tmp_path, mark + newline.join(lines))
    assert len(found.days) == 2
    assert "line 6, tmax_c" in found.faults[0]


@pytest.mark.parametrize(
    "cell", ["01/06/2031", "1.6.2031", "20310601", "2031-W23-1", "2031-6-1", "2031-02-30", "",
             "2031-06-01 00:00", "0001-06-01", "9999-06-01"]
)  # fmt: skip
def test_only_a_date_written_as_year_month_day_is_read(tmp_path: Path, cell: str) -> None:
    found = read(tmp_path, f"date,tmax_c\n2031-06-03,20\n{cell},20\n")
    assert "line 3, date: found" in found.faults[0]
    assert len(found.days) == 1


def test_a_leap_day_is_a_day(tmp_path: Path) -> None:
    text = "date,tmax_c\n2032-02-28,9\n2032-02-29,9\n2032-03-01,9\n"
    assert read(tmp_path, text).missing_days == ()


@pytest.mark.parametrize("cell", ["1_0", "0x10", "inf", "1e999", "ten", "20 °C", "٢٠"])
def test_what_is_no_plain_number_is_a_fault_and_no_figure(tmp_path: Path, cell: str) -> None:
    found = read(tmp_path, f"date,tmax_c\n2031-06-01,{cell}\n")
    assert "line 2, tmax_c: found" in found.faults[0]
    assert found.days[0].tmax_c is None


def test_days_that_are_missing_are_named_and_not_filled(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmax_c\n2031-06-01,20\n2031-06-03,21\n2031-06-06,20\n")
    assert [d.day.day for d in found.days] == [1, 3, 6]
    assert [d.day for d in found.missing_days] == [2, 4, 5]
    assert any("line 3: no usable line for 2031-06-02, before" in r for r in found.remarks)
    assert any("2031-06-04 to 2031-06-05 (2 days)" in r for r in found.remarks)


def test_a_day_written_twice_alike_is_used_once(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmax_c\n2031-06-01,20\n2031-06-01,20.0\n")
    assert len(found.days) == 1
    assert any("2031-06-01 stands alike on lines 2 and 3" in r for r in found.remarks)
    assert not found.faults


def test_a_day_written_twice_differently_is_not_used_at_all(tmp_path: Path) -> None:
    text = "date,tmax_c\n2031-06-01,20\n2031-06-02,20\n2031-06-02,21\n2031-06-03,20\n"
    found = read(tmp_path, text)
    assert [d.day.day for d in found.days] == [1, 3]
    assert found.missing_days == (date(2031, 6, 2),)
    assert "line 4, date: found 2031-06-02 with other figures on lines 3 and 4" in found.faults[0]


def test_an_impossible_figure_is_left_out_and_the_rest_of_the_day_kept(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmax_f,rain_mm\n2031-06-01,250,-0.2\n")
    assert (found.days[0].tmax_c, found.days[0].rain_mm) == (None, None)
    assert found.faults[0] == (
        "station.csv, line 2, tmax_f: found 250 (121.1 °C); allowed is -50 to 60 °C"
    )
    assert found.faults[1] == "station.csv, line 2, rain_mm: found -0.2; allowed is 0 to 610 mm"


def test_lowest_above_highest_takes_out_both(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmin_c,tmax_c,rain_mm\n2031-06-01,20,10,3\n")
    assert found.days[0].known() == {"rain_mm": 3.0}
    assert "line 2, tmin_c and tmax_c" in found.faults[0]


def test_degrees_fahrenheit_under_a_celsius_name_are_suspected_not_converted(
    tmp_path: Path,
) -> None:
    lines = [f"2031-06-{n:02d},8{n % 10}" for n in range(1, 11)]
    found = read(tmp_path, "\n".join(["date,tmax_c", *lines]))
    assert all(d.tmax_c is None for d in found.days)
    (fault,) = found.faults
    assert "line 1, tmax_c: found a usual figure of 84.5 and up to 89" in fault
    assert "tmax_f" in fault and "nothing is converted on a guess" in fault


def test_the_sun_is_held_to_a_clear_day_where_one_is_known(tmp_path: Path) -> None:
    text = "date,solar_mj_m2\n2031-06-01,30\n2031-06-02,33\n2031-06-03,41\n"
    found = read(tmp_path, text, clear_sky_mj_m2=lambda _: 30.0)
    assert [d.solar_mj_m2 for d in found.days] == [30.0, 33.0, None]
    assert any("line 3: solar_mj_m2: 33 is odd" in r for r in found.remarks)
    assert "line 4, solar_mj_m2: found 41" in found.faults[0]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "nothing in it"),
        ("# only a note\n", "nothing in it"),
        ("2031-06-01,20,10\n", "must name the columns"),
        ("day,tmax_c\n2031-06-01,20\n", "one of them is date"),
        ("date,tmx\n2031-06-01,20\n", "no column of weather"),
        ("date,tmax_c\n2031-06-01,\0\n", "not a text file"),
    ],
)
def test_a_file_that_is_no_weather_is_refused(tmp_path: Path, text: str, match: str) -> None:
    with pytest.raises(WeatherFileError, match=match):
        read(tmp_path, text)


def test_a_file_that_is_not_there_is_an_input_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such file"):
        read_weather_csv(tmp_path / "none.csv")
    with pytest.raises(WeatherFileError, match="cannot be read"):
        read_weather_csv(tmp_path)


def test_a_file_in_another_encoding_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes("date,tmax_c\n# 20 °C\n".encode("latin-1"))
    with pytest.raises(WeatherFileError, match=r"line 2: not UTF-8"):
        read_weather_csv(path)


def test_a_header_without_days_is_a_fault(tmp_path: Path) -> None:
    found = read(tmp_path, "date,tmax_c\n")
    assert found.days == ()
    assert "no line with a day" in found.faults[0]


def test_the_help_names_every_column() -> None:
    assert [line.split()[0] for line in column_help().splitlines()] == list(KNOWN_NAMES)


# Figures within their limits whose order the day's own rules cannot fault.
_ROOM = {"tmin_c": (-50.0, 0.0), "tmax_c": (20.0, 60.0), "dewpoint_c": (-50.0, 20.0),
         "rh_min_pct": (0.0, 30.0), "rh_mean_pct": (30.0, 60.0), "rh_max_pct": (60.0, 100.0),
         "vapour_pressure_kpa": (0.0, 2.3)}  # fmt: skip
_figures = {
    name: st.none() | st.floats(*_ROOM.get(name, (LIMITS[name].low, LIMITS[name].high)))
    for name in VALUES
}
_days = st.lists(
    st.builds(
        WeatherDay,
        day=st.dates(date(2000, 1, 1), date(2003, 1, 1)),
        measured=st.booleans(),
        **_figures,
    ),
    min_size=1,
    max_size=4,  # from five days on, figures usual in another unit are refused
    unique_by=lambda d: d.day,
)


@settings(max_examples=40)  # each one waits for the disk
@given(written=_days)
def test_what_is_written_reads_back(tmp_path_factory: pytest.TempPathFactory, written) -> None:
    path = tmp_path_factory.getbasetemp() / "round.csv"
    write_weather_csv(path, written)
    found = read_weather_csv(path)
    assert list(found.days) == [
        d.with_(source="round.csv") for d in sorted(written, key=lambda d: d.day)
    ]
    assert not found.faults
    span = (found.days[-1].day - found.days[0].day).days + 1
    assert len(found.missing_days) == span - len(found.days)


@given(raw=st.binary(max_size=300) | st.text(max_size=300).map(lambda t: t.encode("utf-8")))
def test_no_file_brings_the_reader_down(
    tmp_path_factory: pytest.TempPathFactory, raw: bytes
) -> None:
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_bytes(b"date;tmax_c;rain_mm\n" + raw)
    try:
        found = read_weather_csv(path)
    except WeatherFileError:
        return
    assert all(d.tmax_c is None or -50.0 <= d.tmax_c <= 60.0 for d in found.days)


def test_days_with_wind_from_two_heights_are_not_written_to_one_file(tmp_path: Path) -> None:
    mixed = [
        WeatherDay(day=FIRST, wind_m_s=2.0),
        WeatherDay(day=FIRST + timedelta(days=1), wind_m_s=2.0, wind_height_m=10.0),
    ]
    with pytest.raises(WeatherFileError, match="one height"):
        write_weather_csv(tmp_path / "x.csv", mixed)


def test_a_file_that_cannot_be_written_leaves_nothing_half(tmp_path: Path) -> None:
    (tmp_path / "x.csv").mkdir()
    with pytest.raises(WeatherFileError, match="cannot be written"):
        write_weather_csv(tmp_path / "x.csv", days(3, tmax_c=20.0))
    assert [p.name for p in tmp_path.iterdir()] == ["x.csv"]
