"""A station's log made of open hourly data, against sums and extremes taken plainly.

The data: typical hourly weather of Greensboro, North Carolina (TMY3 file 723170, a work of the US
government), which the sun library pvlib (BSD-3) carries. Its hours end at their stamps, 01:00 to
24:00, in local standard time; its months come from different years, so each is read by itself.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from datetime import date, datetime, timedelta
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest
from support.weather_formats import log, read_as

COLUMNS = {
    "Dry-bulb (C)": "Outdoor Temp (°C)",
    "Dew-point (C)": "Dew Point (°C)",
    "RHum (%)": "Humidity (%)",
    "Wspd (m/s)": "Wind Speed (m/s)",
    "GHI (W/m^2)": "Solar Radiation (W/m²)",
}


@cache
def hours() -> dict[int, list[tuple[datetime, tuple[float, ...]]]]:
    """The readings of each month."""
    spec = find_spec("pvlib")
    assert spec is not None and spec.submodule_search_locations, "pvlib is in the test extra"
    path = Path(spec.submodule_search_locations[0]) / "data" / "723170TYA.CSV"
    months = defaultdict(list)
    with path.open(encoding="ascii", newline="") as file:
        next(file)
        for row in csv.DictReader(file):
            day = datetime.strptime(row["Date (MM/DD/YYYY)"], "%m/%d/%Y")
            time = day + timedelta(hours=int(row["Time (HH:MM)"][:2]))
            months[day.month].append((time, tuple(float(row[name]) for name in COLUMNS)))
    return months


@pytest.mark.parametrize("month", range(1, 13))
def test_days_of_hourly_readings_have_their_plain_sums_and_extremes(
    tmp_path: Path, month: int
) -> None:
    rows = hours()[month]
    plain: dict[date, list[tuple[float, ...]]] = defaultdict(list)
    for time, values in rows:
        plain[time.date()].append(values)
    heading = ",".join(["Time", *COLUMNS.values()])
    found = read_as(tmp_path, log(heading, rows, "%m/%d/%Y %H:%M"))
    assert not found.faults
    # The last stamp, 24:00, opens a day of one reading, which is no day.
    assert [d.day for d in found.days] == sorted(plain)[:-1]
    for day in found.days:
        temps, dews, humidities, winds, suns = zip(*plain[day.day], strict=True)
        assert (day.tmin_c, day.tmax_c) == (min(temps), max(temps))
        assert (day.rh_min_pct, day.rh_max_pct) == (min(humidities), max(humidities))
        # Hourly means summed; the night's noughts at both ends leave nothing to differ by.
        assert day.solar_mj_m2 == pytest.approx(sum(suns) * 0.0036, abs=1e-9)
        # Between readings the line is straight, at the ends level: within half a step of the mean.
        assert day.dewpoint_c == pytest.approx(sum(dews) / len(dews), abs=0.5)
        assert day.wind_m_s == pytest.approx(sum(winds) / len(winds), abs=0.2)
        assert day.rh_mean_pct == pytest.approx(sum(humidities) / len(humidities), abs=2.0)


def test_a_year_of_open_data_is_all_there(tmp_path: Path) -> None:
    assert sum(len(rows) for rows in hours().values()) == 8760
