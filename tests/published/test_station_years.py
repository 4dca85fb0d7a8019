"""Reference ET on real stations: daily files that the crop library pcse (6.0.13, EUPL-1.2) has.

They are found without importing pcse, whose import makes a folder in the user's home.
"""

from __future__ import annotations

import csv
import importlib.util
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import groupby
from math import isnan, sqrt
from pathlib import Path
from typing import Any

import pytest
from support.fao56 import hargreaves_mm_day

from controller.demand.climate.atmosphere import day_saturation_kpa, wind_at_2m_m_s
from controller.demand.climate.radiation import (
    clear_sky_mj_m2,
    day_of_year,
    extraterrestrial_mj_m2,
    net_longwave_mj_m2,
    net_shortwave_mj_m2,
)
from controller.demand.climate.reference_et import (
    Note,
    ReferenceEt,
    penman_monteith_mm_day,
    reference_et,
)

MONTHS = ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"]


@dataclass(frozen=True)
class Station:
    latitude_deg: float
    elevation_m: float
    coastal: bool


@dataclass(frozen=True)
class Row:
    day: date
    tmin_c: float
    tmax_c: float
    vapour_kpa: float
    solar_mj_m2: float
    wind_m_s: float
    eto_mm: float | None = None


STATIONS = {
    "8011_asturias": Station(43.5667, 130.0, True),
    "2297_sweden": Station(64.4833, 37.0, True),
    "10870_munchen_flughafen": Station(48.3667, 453.0, False),
    # The file lists 3 m; its figures fit some 740 m, and no figure of it is held to a tolerance.
    "8443_ronda": Station(36.75, 740.0, False),
}
WAGENINGEN = Station(51.97, 7.0, False)
# Days with all figures: of 527, 527, 527 and 402 rows, four of Asturias have blanks.
WITH_ETO = {"8011_asturias": 523, "2297_sweden": 527, "10870_munchen_flughafen": 527}


def data_folder() -> Path:
    spec = importlib.util.find_spec("pcse")
    assert spec is not None and spec.submodule_search_locations, "pcse is in the test extra"
    return Path(spec.submodule_search_locations[0]) / "tests" / "test_data"


@cache
def station_rows(name: str) -> tuple[Row, ...]:
    """The rows that have every figure; the last field may trail a blank, a bracket, a semicolon."""
    rows = []
    with (data_folder() / f"{name}.csv").open(encoding="latin-1", newline="") as file:
        for line in csv.DictReader(file):
            day, month, year = line["DAY"].split("-")
            written = [
                line[c]
                for c in (
                    "TEMPERATURE_MIN",
                    "TEMPERATURE_MAX",
                    "VAPOURPRESSURE",
                    "RADIATION",
                    "WINDSPEED_10M",
                    "ET0",
                )
            ]
            if not all(text.strip() for text in written):
                continue
            tmin, tmax, vapour, solar, wind, eto = map(float, written)
            when = date(2000 + int(year), MONTHS.index(month) + 1, int(day))
            rows.append(Row(when, tmin, tmax, vapour / 10, solar / 1000, wind, eto))
    return tuple(rows)


@cache
def wageningen_rows() -> tuple[Row, ...]:
    """Days of NL1.976 to NL1.999 with every figure, in order of the files.

    Rows that begin with -999 hold status codes, as do the first rows of the eight days of 1989 that
    stand twice: of two rows of a day the later is the weather.
    """
    days: dict[date, Row | None] = {}
    twice = 0
    for path in sorted(data_folder().glob("NL1.9*")):
        for line in path.read_text(encoding="latin-1").splitlines():
            fields = line.split()
            if line.startswith("*") or len(fields) != 9 or fields[0] == "-999":
                continue
            figures = [float(field) for field in fields[3:]]
            when = date(int(fields[1]), 1, 1) + timedelta(days=int(fields[2]) - 1)
            twice += when in days
            solar, tmin, tmax, vapour, wind, _rain = figures
            missing = -99.0 in figures[:5]
            days[when] = None if missing else Row(when, tmin, tmax, vapour, solar / 1000, wind)
    assert twice == 8
    return tuple(row for row in days.values() if row is not None)


def found_et(station: Station, row: Row, *, wind_height_m: float) -> ReferenceEt:
    return reference_et(
        day=row.day,
        latitude_deg=station.latitude_deg,
        elevation_m=station.elevation_m,
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        vapour_pressure_kpa=row.vapour_kpa,
        solar_mj_m2=row.solar_mj_m2,
        wind_m_s=row.wind_m_s,
        wind_height_m=wind_height_m,
    )


def eto_mm(station: Station, row: Row, *, wind_height_m: float) -> float:
    return found_et(station, row, wind_height_m=wind_height_m).eto_mm_day


def as_printed_mm(station: Station, row: Row) -> float:
    """The bare equation on a station's row, vapour as it comes."""
    above = extraterrestrial_mj_m2(
        latitude_deg=station.latitude_deg, day_of_year=day_of_year(row.day)
    )
    lost = net_longwave_mj_m2(
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        vapour_pressure_kpa=row.vapour_kpa,
        solar_mj_m2=row.solar_mj_m2,
        clear_sky_mj_m2=clear_sky_mj_m2(
            extraterrestrial_mj_m2=above, elevation_m=station.elevation_m
        ),
    )
    eto = penman_monteith_mm_day(
        tmean_c=(row.tmin_c + row.tmax_c) / 2,
        elevation_m=station.elevation_m,
        net_radiation_mj_m2=net_shortwave_mj_m2(row.solar_mj_m2) - lost,
        wind_2m_m_s=wind_at_2m_m_s(row.wind_m_s, height_m=10.0),
        deficit_kpa=day_saturation_kpa(tmin_c=row.tmin_c, tmax_c=row.tmax_c) - row.vapour_kpa,
    )
    return max(eto, 0.0)


# PRINTED: the files' own ET0 column, to 0.01 mm, from temperatures, vapour and wind given to one
# decimal, which is worth up to 0.04 mm: hence 0.05.
@pytest.mark.parametrize("name", WITH_ETO)
def test_each_day_of_a_station_has_the_et_that_its_file_gives(name: str) -> None:
    station, rows = STATIONS[name], station_rows(name)
    assert len(rows) == WITH_ETO[name]
    for row in rows:
        assert as_printed_mm(station, row) == pytest.approx(row.eto_mm, abs=0.05), row


# The files let air be over-full of vapour (ea > es on 31 days in Sweden, 15 at Munich), which takes
# a little off ETo; we let no deficit fall below 0, and say so. No day is calmer than 0.5 m/s.
@pytest.mark.parametrize("name", WITH_ETO)
def test_a_day_differs_from_its_file_only_where_a_note_says_why(name: str) -> None:
    noted = []
    for row in station_rows(name):
        found = found_et(STATIONS[name], row, wind_height_m=10.0)
        if Note.SATURATED in found.notes:
            noted.append(row)
            assert found.eto_mm_day == pytest.approx(row.eto_mm, abs=0.16), row
        else:
            assert found.eto_mm_day == pytest.approx(row.eto_mm, abs=0.05), row
    assert len(noted) <= 31


def test_every_day_of_wageningen_has_a_sound_et() -> None:
    rows = wageningen_rows()
    # 24 years are 8766 days; 1991 ends at day 243 (122 fewer) and 1990 lacks six.
    assert len(rows) == 8766 - 122 - 6
    for row in rows:
        found = eto_mm(WAGENINGEN, row, wind_height_m=2.0)
        assert not isnan(found)
        assert 0.0 <= found < 8.0, row


def test_the_years_of_wageningen_ask_for_what_the_netherlands_do() -> None:
    # RECORDED by an independent program from the same files: 557 to 734 mm a year. 1991 ends in
    # August; 1990 lacks six days.
    totals = {
        year: sum(eto_mm(WAGENINGEN, row, wind_height_m=2.0) for row in rows)
        for year, rows in groupby(wageningen_rows(), key=lambda row: row.day.year)
        if year != 1991
    }
    assert len(totals) == 23
    assert min(totals.values()) == pytest.approx(557, abs=1)
    assert max(totals.values()) == pytest.approx(734, abs=1)


def test_more_sun_than_there_is_above_the_air_is_cut_and_said() -> None:
    # A fault of the file: on day 68 of 1988 it has 19.98 MJ/m2; above the air there are 19.3
    # (WORKED, FAO-56, eq. 21: 19.32 at 51.97 degrees).
    (row,) = [r for r in wageningen_rows() if r.day == date(1988, 3, 8)]
    assert row.solar_mj_m2 == 19.98
    found = reference_et(
        day=row.day,
        latitude_deg=WAGENINGEN.latitude_deg,
        elevation_m=WAGENINGEN.elevation_m,
        tmin_c=row.tmin_c,
        tmax_c=row.tmax_c,
        solar_mj_m2=row.solar_mj_m2,
    )
    assert found.solar_mj_m2 == pytest.approx(19.3, abs=0.05)
    assert Note.SUN_ABOVE_AIR in found.notes


def test_from_temperatures_alone_filling_in_is_better_than_hargreaves_at_most_stations() -> None:
    # FAO-56 (1998), chapter 3, says "usually somewhat better"; this is why Hargreaves is not used.
    # Root mean square of the daily error against ET from all measurements.
    better = {}
    for name, station, rows, height in _all_stations():
        filled, hargreaves = [], []
        for row in rows:
            site: dict[str, Any] = {
                "day": row.day,
                "latitude_deg": station.latitude_deg,
                "elevation_m": station.elevation_m,
                "tmin_c": row.tmin_c,
                "tmax_c": row.tmax_c,
                "coastal": station.coastal,
            }
            whole = eto_mm(station, row, wind_height_m=height)
            filled.append(reference_et(**site).eto_mm_day - whole)
            above = extraterrestrial_mj_m2(
                latitude_deg=station.latitude_deg, day_of_year=day_of_year(row.day)
            )
            by_swing = hargreaves_mm_day(
                tmin_c=row.tmin_c, tmax_c=row.tmax_c, extraterrestrial_mj_m2=above
            )
            hargreaves.append(by_swing - whole)
        better[name] = _rms(filled) < _rms(hargreaves)
        assert _rms(filled) < 0.65, name  # single days; seen 0.51 to 0.61
    assert [name for name, is_better in better.items() if not is_better] == ["8443_ronda"]


def _all_stations() -> Iterator[tuple[str, Station, tuple[Row, ...], float]]:
    for name, station in STATIONS.items():
        yield name, station, station_rows(name), 10.0
    yield "wageningen", WAGENINGEN, wageningen_rows(), 2.0


def _rms(errors: list[float]) -> float:
    return sqrt(sum(e * e for e in errors) / len(errors))
