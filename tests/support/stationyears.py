"""Whole years of real days for tests: the files that the crop library pcse (6.0.13, EUPL-1.2) has.

Found without importing pcse, whose import makes a folder in the user's home. As WeatherDay rows,
with a Site for each; a row that lacks a figure is left out. Beside them two typical years of the
US government (TMY3) that the solar library pvlib (BSD-3) has: hours, each month from another year.
"""

from __future__ import annotations

import csv
import importlib.util
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from pathlib import Path

from controller.garden.model import Site
from controller.weather.day import WeatherDay

_MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_COLUMNS = ("TEMPERATURE_MIN", "TEMPERATURE_MAX", "VAPOURPRESSURE", "RADIATION", "WINDSPEED_10M")


@dataclass(frozen=True)
class Station:
    """A station, and the climate class (FAO-56, Table 16) its place is taken for; our judgement."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    coastal: bool
    climate: str

    @property
    def site(self) -> Site:
        return Site(
            name=self.name,
            latitude_deg=self.latitude_deg,
            longitude_deg=self.longitude_deg,
            elevation_m=self.elevation_m,
            timezone="UTC",
            coastal=self.coastal,
        )


WAGENINGEN = Station("wageningen", 51.97, 5.67, 7.0, False, "sub-humid")
ASTURIAS = Station("8011_asturias", 43.5667, -6.0442, 130.0, True, "sub-humid")
SWEDEN = Station("2297_sweden", 64.4833, 21.5833, 37.0, True, "sub-humid")
MUNICH = Station("10870_munchen_flughafen", 48.3667, 11.8, 453.0, False, "sub-humid")
# The file lists 3 m; its figures fit some 740 m.
RONDA = Station("8443_ronda", 36.75, -5.1667, 740.0, False, "semi-arid")
GREENSBORO = Station("723170TYA", 36.1, -79.95, 273.0, False, "sub-humid")
SAND_POINT = Station("703165TY", 55.317, -160.517, 7.0, True, "very humid")
STATIONS = (WAGENINGEN, ASTURIAS, SWEDEN, MUNICH, RONDA)


@cache
def days_of(station: Station) -> tuple[WeatherDay, ...]:
    """The station's days that have every figure, in order."""
    found = _wageningen() if station.name == WAGENINGEN.name else _with_et(station)
    return tuple(found[day] for day in sorted(found))


@cache
def typical_year(station: Station) -> tuple[WeatherDay, ...]:
    """The 365 days of a typical year, as of 2031; its wind is taken as 10 m above the ground."""
    hours: dict[date, list[dict[str, str]]] = {}
    (path,) = (_package("pvlib") / "data").glob(f"{station.name}.[cC][sS][vV]")
    with path.open(encoding="latin-1", newline="") as file:
        next(file)
        for line in csv.DictReader(file):
            month, number, _ = (int(text) for text in line["Date (MM/DD/YYYY)"].split("/"))
            hours.setdefault(date(2031, month, number), []).append(line)
    days = []
    for day, lines in sorted(hours.items()):
        assert len(lines) == 24
        warmth, dew, wind, sun = (
            [float(line[column]) for line in lines]
            for column in ("Dry-bulb (C)", "Dew-point (C)", "Wspd (m/s)", "GHI (W/m^2)")
        )
        days.append(
            WeatherDay(
                day=day,
                tmin_c=min(warmth),
                tmax_c=max(warmth),
                dewpoint_c=sum(dew) / 24,
                wind_m_s=sum(wind) / 24,
                wind_height_m=10.0,
                solar_mj_m2=sum(sun) * 0.0036,  # an hour's mean W/m2
            )
        )
    return tuple(days)


def data_folder() -> Path:
    """Where pcse keeps its test data."""
    return _package("pcse") / "tests" / "test_data"


def _package(name: str) -> Path:
    spec = importlib.util.find_spec(name)
    assert spec is not None and spec.submodule_search_locations, f"{name} is in the test extra"
    return Path(spec.submodule_search_locations[0])


def _wageningen() -> Mapping[date, WeatherDay]:
    """Of two rows of a day the later is the weather; rows from -999 on hold status codes."""
    days: dict[date, WeatherDay] = {}
    for path in sorted(data_folder().glob("NL1.9*")):
        for line in path.read_text(encoding="latin-1").splitlines():
            fields = line.split()
            if line.startswith("*") or len(fields) != 9 or fields[0] == "-999":
                continue
            day = date(int(fields[1]), 1, 1) + timedelta(days=int(fields[2]) - 1)
            solar, tmin, tmax, vapour, wind, rain = (float(field) for field in fields[3:])
            days.pop(day, None)
            if -99.0 not in (solar, tmin, tmax, vapour, wind):
                days[day] = WeatherDay(
                    day=day,
                    tmin_c=tmin,
                    tmax_c=tmax,
                    vapour_pressure_kpa=vapour,
                    solar_mj_m2=solar / 1000.0,
                    wind_m_s=wind,
                    rain_mm=None if rain == -99.0 else rain,
                    source="station.csv",
                )
    return days


def _with_et(station: Station) -> Mapping[date, WeatherDay]:
    days = {}
    path = data_folder() / f"{station.name}.csv"
    with path.open(encoding="latin-1", newline="") as file:
        for line in csv.DictReader(file):
            if not all(line[column].strip() for column in _COLUMNS):
                continue
            number, month, year = line["DAY"].split("-")
            day = date(2000 + int(year), _MONTHS.index(month) + 1, int(number))
            tmin, tmax, vapour, solar, wind = (float(line[column]) for column in _COLUMNS)
            days[day] = WeatherDay(
                day=day,
                tmin_c=tmin,
                tmax_c=tmax,
                vapour_pressure_kpa=vapour / 10.0,
                solar_mj_m2=solar / 1000.0,
                wind_m_s=wind,
                wind_height_m=10.0,
                source="station.csv",
            )
    return days
