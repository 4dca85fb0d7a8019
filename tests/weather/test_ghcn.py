"""The daily climate network's files, shaped as its readme has them; all days are invented."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.weather_formats import dly, element_csv, read_as

from controller.errors import WeatherFileError
from controller.weather.files.reader import read_weather

DAY = date(2031, 6, 3)
ORDINARY = {
    (DAY, "TMAX"): (287, "", ""),
    (DAY, "TMIN"): (125, "", ""),
    (DAY, "PRCP"): (52, "", ""),
    (DAY, "ADPT"): (98, "", ""),
    (DAY, "RHAV"): (61, "", ""),
    (DAY, "RHMX"): (92, "", ""),
    (DAY, "RHMN"): (34, "", ""),
    (DAY, "AWND"): (31, "", ""),
    (DAY, "TSUN"): (564, "", ""),
}


@pytest.mark.parametrize("shape", [dly, element_csv])
def test_each_element_is_read_in_the_formats_unit(tmp_path: Path, shape: Any) -> None:
    found = read_as(tmp_path, shape(ORDINARY))
    assert found.kind == "ghcn-daily"
    # WORKED: tenths of a degree, mm and m/s, as the format's page says; 564 min are 9.4 h.
    assert found.days[0].known() == pytest.approx(
        {"tmax_c": 28.7, "tmin_c": 12.5, "rain_mm": 5.2, "dewpoint_c": 9.8, "rh_mean_pct": 61,
         "rh_max_pct": 92, "rh_min_pct": 34, "wind_m_s": 3.1, "sunshine_h": 9.4}
    )  # fmt: skip
    assert found.days[0].day == DAY
    assert not found.faults


@pytest.mark.parametrize("shape", [dly, element_csv])
def test_wind_run_stands_in_where_there_is_no_mean_wind(tmp_path: Path, shape: Any) -> None:
    only_run = {(DAY, "WDMV"): (216, "", "")}  # 216 km in 24 h are 2.5 m/s. WORKED.
    assert read_as(tmp_path, shape(only_run)).days[0].wind_m_s == pytest.approx(2.5)
    both = only_run | {(DAY, "AWND"): (31, "", "")}
    assert read_as(tmp_path, shape(both)).days[0].wind_m_s == pytest.approx(3.1)


@pytest.mark.parametrize("shape", [dly, element_csv])
def test_what_failed_the_archives_checks_is_not_used_and_counted(
    tmp_path: Path, shape: Any
) -> None:
    values = ORDINARY | {(DAY, "TMAX"): (487, "", "X"), (DAY, "PRCP"): (52, "", "I")}
    found = read_as(tmp_path, shape(values))
    assert (found.days[0].tmax_c, found.days[0].rain_mm) == (None, None)
    assert any("TMAX: 1 values failed" in r and "out of bounds 1" in r for r in found.remarks)
    assert any("PRCP: 1 values failed" in r and "at odds with itself 1" in r for r in found.remarks)


@pytest.mark.parametrize("shape", [dly, element_csv])
def test_a_trace_is_nought_and_a_presumed_nought_is_unknown(tmp_path: Path, shape: Any) -> None:
    later = DAY + timedelta(days=1)
    values = ORDINARY | {
        (DAY, "PRCP"): (0, "T", ""),
        (later, "PRCP"): (0, "P", ""),
        (later, "TMAX"): (250, "", ""),
    }
    found = read_as(tmp_path, shape(values))
    assert [d.rain_mm for d in found.days] == [0.0, None]
    assert any("a trace, taken as 0, on 2031-06-03" in r for r in found.remarks)
    assert any("presumed zero by the archive, on 2031-06-04" in r for r in found.remarks)


@pytest.mark.parametrize("shape", [dly, element_csv])
def test_rain_of_several_days_leaves_each_of_them_unknown(tmp_path: Path, shape: Any) -> None:
    days = [DAY + timedelta(days=n) for n in range(-2, 2)]
    values = {(day, "TMAX"): (250, "", "") for day in days}
    values |= {(day, "PRCP"): (0, "", "") for day in days}
    values |= {(DAY, "MDPR"): (124, "", ""), (DAY, "DAPR"): (3, "", "")}
    found = read_as(tmp_path, shape(values))
    assert [d.rain_mm for d in found.days] == [None, None, None, 0.0]
    assert any(
        "MDPR: 12.4 mm on 2031-06-03 over 3 days" in r and "2031-06-01 to 2031-06-03" in r
        for r in found.remarks
    )


def test_a_morning_observer_is_told_of_and_an_evening_one_is_not(tmp_path: Path) -> None:
    morning = read_as(tmp_path, element_csv(ORDINARY, hour="0700"))
    assert any("mostly at 07:00" in r and "day before" in r for r in morning.remarks)
    assert not any("read in the morning" in r for r in
                   read_as(tmp_path, element_csv(ORDINARY, hour="2400")).remarks)  # fmt: skip
    assert any("does not say at what hour" in r for r in read_as(tmp_path, dly(ORDINARY)).remarks)


def test_fresh_snow_is_named_and_its_water_left_in_the_rain(tmp_path: Path) -> None:
    found = read_as(tmp_path, dly(ORDINARY | {(DAY, "SNOW"): (30, "", "")}))
    # WORKED: 52 tenths of a millimetre.
    assert found.days[0].rain_mm == pytest.approx(5.2)
    assert any("SNOW: fresh snow on 2031-06-03" in r for r in found.remarks)


def test_two_stations_in_one_file_are_refused(tmp_path: Path) -> None:
    text = element_csv(ORDINARY) + element_csv(ORDINARY, station="XX000000002")
    with pytest.raises(
        WeatherFileError, match=r"2 stations in one file .*keep the lines of the one"
    ):
        read_as(tmp_path, text)


def test_two_values_of_one_element_and_day_are_both_left_out(tmp_path: Path) -> None:
    text = element_csv(ORDINARY) + element_csv({(DAY, "TMAX"): (301, "", "")})
    found = read_as(tmp_path, text)
    assert found.days[0].tmax_c is None
    assert any("TMAX: found two values for 2031-06-03" in f for f in found.faults)


def test_a_line_that_breaks_off_leaves_the_rest_of_its_month_unknown(tmp_path: Path) -> None:
    values = {(date(2031, 6, n), "TMAX"): (200 + n, "", "") for n in range(1, 31)}
    whole = dly(values)
    cut = whole[: 21 + 8 * 10 + 3]  # three figures into the eleventh day
    found = read_as(tmp_path, cut)
    assert [d.tmax_c for d in found.days] == pytest.approx([20.0 + n / 10 for n in range(1, 11)])
    assert any("a line that ends at day" in f for f in found.faults)


def test_a_value_in_a_day_the_month_has_not_is_a_fault(tmp_path: Path) -> None:
    line = dly({(date(2031, 6, 30), "TMAX"): (200, "", "")}).rstrip("\n")
    line = line[: 21 + 8 * 30] + "  210  W"
    found = read_as(tmp_path, line)
    assert [d.day.day for d in found.days] == [30]
    assert any("day 31 of a month of 30" in f for f in found.faults)


def test_a_heading_line_and_strange_lines_are_passed_over(tmp_path: Path) -> None:
    text = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"
    found = read_as(tmp_path, text + element_csv(ORDINARY) + "the end\n")
    assert len(found.days) == 1
    assert len(found.faults) == 1
    assert "'the end'" in found.faults[0]


def test_a_csv_without_its_flags_is_not_trusted(tmp_path: Path) -> None:
    found = read_as(tmp_path, "XX000000001,20310603,TMAX,287\nXX000000001,20310603,TMIN,187,,,W\n")
    assert found.days[0].known() == {"tmin_c": 18.7}
    assert any("TMAX: found 4 cells" in f for f in found.faults)


@pytest.mark.parametrize(
    "line",
    ['"XX000000001,20310604,TMAX,287,,,W,', 'XX000000001,20310604,TMAX,"287,5",,,W,',
     "XX000000001,20310604,TMAX,28712345,,,W,", "XX000000001,20311304,TMAX,287,,,W,",
     "XX000000001,00310604,TMAX,287,,,W,", 'XX000000001,20310604,TMAX,287,"' + "x" * 200_000 + '"'],
)  # fmt: skip
def test_a_line_that_only_looks_right_is_a_fault(tmp_path: Path, line: str) -> None:
    found = read_as(tmp_path, element_csv(ORDINARY) + line + "\n")
    assert [d.day for d in found.days] == [DAY]
    assert len(found.faults) == 1
    assert "line 10, " in found.faults[0]


def test_the_height_of_the_wind_is_the_gardens_and_is_said(tmp_path: Path) -> None:
    found = read_as(tmp_path, dly(ORDINARY), wind_height_m=10.0)
    assert found.days[0].wind_height_m == 10.0
    assert any("10 m above the ground" in r for r in found.remarks)


def test_another_file_called_this_kind_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WeatherFileError, match="no line as the daily climate network writes it"):
        read_as(tmp_path, "date,tmax_c\n2031-06-01,20\n", kind="ghcn-daily")


_ROOM = {"TMAX": (150, 450), "TMIN": (-200, 100), "PRCP": (0, 3000), "AWND": (1, 150)}
_values = st.dictionaries(
    st.dates(date(2030, 1, 1), date(2031, 12, 31)),
    st.fixed_dictionaries({e: st.none() | st.integers(*room) for e, room in _ROOM.items()}),
    min_size=1,
    max_size=6,
).filter(lambda days: any(v is not None for d in days.values() for v in d.values()))


@settings(max_examples=60)
@given(days=_values, fixed=st.booleans())
def test_what_is_written_as_the_network_has_it_reads_back(
    tmp_path_factory: pytest.TempPathFactory, days: Any, fixed: bool
) -> None:
    values = {(d, e): (v, "", "") for d, es in days.items() for e, v in es.items() if v is not None}
    text = (dly if fixed else element_csv)(values)
    found = read_as(tmp_path_factory.getbasetemp(), text, "ghcn")
    fields = {"TMAX": "tmax_c", "TMIN": "tmin_c", "PRCP": "rain_mm", "AWND": "wind_m_s"}
    expected: dict[date, dict[str, float]] = {}
    for (d, e), (v, _, _) in values.items():
        expected.setdefault(d, {})[fields[e]] = v / 10.0
    assert {d.day: d.known() for d in found.days} == expected
    assert not found.faults


@settings(max_examples=60)
@given(
    text=st.sampled_from([dly(ORDINARY), element_csv(ORDINARY, hour="0700")]),
    at=st.integers(0, 400),
    raw=st.binary(max_size=12),
    cut=st.integers(0, 700),
)
def test_a_garbled_file_is_read_or_refused_and_brings_nothing_down(
    tmp_path_factory: pytest.TempPathFactory, text: str, at: int, raw: bytes, cut: int
) -> None:
    path = tmp_path_factory.getbasetemp() / "garbled"
    good = text.encode()
    path.write_bytes((good[:at] + raw + good[at:])[:cut])
    try:
        found = read_weather(path, kind="ghcn-daily")
    except WeatherFileError:
        return
    assert all(d.tmax_c is None or -50.0 <= d.tmax_c <= 60.0 for d in found.days)
