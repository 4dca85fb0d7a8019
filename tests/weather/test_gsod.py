"""The global summary of the day. Its units and codes are its readme's; all days are invented."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.weather_formats import GSOD_HEADER, gsod, gsod_line, read_as

from controller.errors import WeatherFileError
from controller.weather.files.reader import WeatherFile, read_weather

DAY = date(2031, 6, 3)


def one(folder: Path, **cells: str) -> WeatherFile:
    return read_as(folder, gsod([gsod_line(DAY, **cells)]))


def test_fahrenheit_knots_and_inches_are_turned(tmp_path: Path) -> None:
    found = one(tmp_path)
    assert found.kind == "gsod"
    # 86 °F = 30 °C, 59 = 15, 50 = 10; 10 knots = 5.14444 m/s; half an inch = 12.7 mm. WORKED.
    assert found.days[0].known() == pytest.approx(
        {"tmax_c": 30.0, "tmin_c": 15.0, "dewpoint_c": 10.0, "wind_m_s": 5.14444, "rain_mm": 12.7},
        rel=1e-5,
    )
    assert any("midnight UTC" in r for r in found.remarks)
    assert not found.faults


@pytest.mark.parametrize(
    ("cell", "code", "field"),
    [("MAX", "9999.9", "tmax_c"), ("MIN", "9999.9", "tmin_c"), ("DEWP", "9999.9", "dewpoint_c"),
     ("WDSP", "999.9", "wind_m_s"), ("PRCP", "99.99", "rain_mm")],
)  # fmt: skip
def test_each_fields_own_code_for_nothing_is_unknown(
    tmp_path: Path, cell: str, code: str, field: str
) -> None:
    found = one(tmp_path, **{cell: code})
    assert found.days[0].value(field) is None
    assert len(found.days[0].known()) == 4
    assert any(f"{cell}: no figure on 1 of 1 days" in r for r in found.remarks)
    assert not found.faults


def test_a_code_of_another_field_is_no_code_but_out_of_range(tmp_path: Path) -> None:
    found = one(tmp_path, MAX="999.9")
    assert found.days[0].tmax_c is None
    assert any("MAX: found 999.9" in f for f in found.faults)


@pytest.mark.parametrize(
    ("letter", "amount", "rain_mm"),
    [("G", "0.00", 0.0), ("D", "0.10", 2.54), ("F", "0.10", 2.54), ("H", "0.00", None),
     ("I", "0.00", None), ("A", "0.00", None), ("A", "0.10", 2.54), ("E", "0.10", 2.54)],
)  # fmt: skip
def test_rain_that_nobody_saw_whole_is_not_taken_as_none(
    tmp_path: Path, letter: str, amount: str, rain_mm: float | None
) -> None:
    found = one(tmp_path, PRCP=amount, PRCP_ATTRIBUTES=letter)
    # WORKED: 0.10 in of 25.4 mm.
    assert found.days[0].rain_mm == (pytest.approx(rain_mm) if rain_mm is not None else None)
    if letter in "HI":
        assert any("no whole report" in r and str(DAY) in r for r in found.remarks)
    if letter in "AE":
        assert any("only part of the day" in r and str(DAY) in r for r in found.remarks)


@pytest.mark.parametrize("cells", [{"MAX": " 86.0*"}, {"MAX_ATTRIBUTES": "*"}])
def test_a_star_is_read_over_and_said(tmp_path: Path, cells: dict[str, str]) -> None:
    found = one(tmp_path, **cells)
    # WORKED: 86 F.
    assert found.days[0].tmax_c == pytest.approx(30.0)
    assert any("hourly reports (*)" in r and str(DAY) in r for r in found.remarks)


def test_a_mean_far_from_the_middle_is_odd_and_costs_nothing(tmp_path: Path) -> None:
    found = one(tmp_path, TEMP="80.6")  # 27 °C, where 22.5 is the middle
    # WORKED: 86 F.
    assert found.days[0].tmax_c == pytest.approx(30.0)
    assert any("TEMP: more than 3 °C from the middle" in r and str(DAY) in r for r in found.remarks)


def test_two_stations_in_one_file_are_refused(tmp_path: Path) -> None:
    lines = [gsod_line(DAY), gsod_line(DAY, station="00000000002")]
    with pytest.raises(WeatherFileError, match="2 stations in one file"):
        read_as(tmp_path, gsod(lines))


def test_a_day_twice_with_other_figures_is_not_used(tmp_path: Path) -> None:
    lines = [gsod_line(DAY), gsod_line(DAY, MAX="90.0"), gsod_line(DAY + timedelta(days=1))]
    found = read_as(tmp_path, gsod(lines))
    assert [d.day.day for d in found.days] == [4]
    assert "2031-06-03 with other figures on lines 2 and 3" in found.faults[0]


def test_a_line_cut_short_and_a_date_that_is_none_are_faults(tmp_path: Path) -> None:
    lines = [gsod_line(DAY), gsod_line("2031-06-31"), gsod_line(DAY)[:40]]
    found = read_as(tmp_path, gsod(lines))
    assert len(found.days) == 1
    assert "line 3, DATE: found '2031-06-31'" in found.faults[0]
    assert "line 4, the line: found 6 cells; allowed are 28" in found.faults[1]


@pytest.mark.parametrize("cell", ["warm", "nan", "1e999", "--", "1_0"])
def test_what_is_no_number_is_a_fault(tmp_path: Path, cell: str) -> None:
    found = one(tmp_path, MAX=cell)
    assert found.days[0].tmax_c is None
    assert f"line 2, MAX: found '{cell}'" in found.faults[0]


def test_another_file_called_this_kind_is_refused(tmp_path: Path) -> None:
    for text in ("", "date,tmax_c\n2031-06-01,20\n"):
        with pytest.raises(WeatherFileError, match="no header of the global summary"):
            read_as(tmp_path, text, kind="gsod")


@settings(max_examples=60)
@given(
    written=st.dictionaries(
        st.dates(date(2030, 1, 1), date(2031, 12, 31)),
        st.tuples(st.integers(600, 1000), st.integers(0, 500), st.integers(0, 500),
                  st.integers(0, 900)),
        min_size=1,
        max_size=6,
    )
)  # fmt: skip
def test_what_is_written_as_the_summary_has_it_reads_back(
    tmp_path_factory: pytest.TempPathFactory, written: Any
) -> None:
    lines = [
        gsod_line(d, MAX=f"{hi / 10:.1f}", MIN=f"{lo / 10:.1f}", WDSP=f"{wind / 10:.1f}",
                  DEWP="9999.9", PRCP=f"{rain / 100:.2f}")
        for d, (hi, lo, wind, rain) in written.items()
    ]  # fmt: skip
    found = read_as(tmp_path_factory.getbasetemp(), gsod(lines), "gsod.csv")
    assert len(found.days) == len(written)
    for day in found.days:
        hi, lo, wind, rain = written[day.day]
        assert day.tmax_c == pytest.approx((hi / 10 - 32) * 5 / 9)
        assert day.tmin_c == pytest.approx((lo / 10 - 32) * 5 / 9)
        if wind <= 350:
            assert day.wind_m_s == pytest.approx(wind / 10 * 1852 / 3600)
        assert day.rain_mm == pytest.approx(rain / 100 * 25.4)


@settings(max_examples=60)
@given(at=st.integers(0, 600), raw=st.binary(max_size=12), cut=st.integers(0, 700))
def test_a_garbled_file_is_read_or_refused_and_brings_nothing_down(
    tmp_path_factory: pytest.TempPathFactory, at: int, raw: bytes, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "garbled.csv"
    good = gsod([gsod_line(DAY), gsod_line(DAY + timedelta(days=1))]).encode()
    path.write_bytes((good[:at] + raw + good[at:])[:cut])
    try:
        found = read_weather(path, kind="gsod")
    except WeatherFileError:
        return
    assert all(d.tmax_c is None or -50.0 <= d.tmax_c <= 60.0 for d in found.days)


def test_the_header_has_every_cell_of_a_line() -> None:
    assert len(GSOD_HEADER.split(",")) == 28
