"""The reader on two years of a real station, whose faults were found by looking.

Wageningen (Haarweg), the Netherlands, 51.97 N, 7 m, 1988 and 1989: text files that the crop library
pcse (6.0.13, EUPL-1.2) carries. They are found without importing pcse, whose import makes a folder
in the user's home. Columns: station, year, day of the year, sun in kJ/m2, lowest and highest
temperature, vapour pressure in kPa, wind at 2 m, rain; turned here into a weather file.
"""

from __future__ import annotations

import importlib.util
from datetime import date, timedelta
from pathlib import Path

from support.weather import read

from controller.demand.climate.radiation import clear_sky_mj_m2, day_of_year, extraterrestrial_mj_m2
from controller.weather.files.reader import WeatherFile

HEADER = "date,solar_mj_m2,tmin_c,tmax_c,vapour_pressure_kpa,wind_m_s,rain_mm"


def year(folder: Path, which: int) -> WeatherFile:
    spec = importlib.util.find_spec("pcse")
    assert spec is not None and spec.submodule_search_locations, "pcse is in the test extra"
    data = Path(spec.submodule_search_locations[0]) / "tests" / "test_data" / f"NL1.{which % 1000}"
    rows = [
        line.split()
        for line in data.read_text(encoding="latin-1").splitlines()
        if not line.startswith("*")
    ][1:]
    lines = [
        ",".join(
            (
                str(date(which, 1, 1) + timedelta(days=int(day) - 1)),
                str(float(sun) / 1000.0),
                *rest,
            )
        )
        for station, _, day, sun, *rest in rows
        if station != "-999"
    ]
    return read(folder, "\n".join([HEADER, *lines]), clear_sky_mj_m2=cloudless)


def cloudless(day: date) -> float:
    above = extraterrestrial_mj_m2(latitude_deg=51.97, day_of_year=day_of_year(day))
    return clear_sky_mj_m2(extraterrestrial_mj_m2=above, elevation_m=7.0)


def test_a_leap_year_is_read_whole_but_for_the_sun_of_its_one_impossible_day(
    tmp_path: Path,
) -> None:
    found = year(tmp_path, 1988)
    assert len(found.days) == 366
    # Day 68 has 19.98 MJ/m2, where 19.3 reach the top of the air (FAO-56 eq. 21). RECORDED.
    no_sun = [d.day.timetuple().tm_yday for d in found.days if d.solar_mj_m2 is None]
    assert no_sun == [68]
    assert sum("solar_mj_m2: found 19.98" in fault for fault in found.faults) == 1
    assert not any("looks like" in remark for remark in found.remarks)


def test_days_that_a_slip_gave_a_second_line_are_not_used(tmp_path: Path) -> None:
    found = year(tmp_path, 1989)
    there = {d.day.timetuple().tm_yday for d in found.days}
    missing = [number for number in range(1, 366) if number not in there]
    # Eight lines of status codes carry the station's number, as weather would. RECORDED.
    assert missing == [43, 44, 45, 46, 55, 57, 81, 83]
    assert len(found.days) == 365 - 8
    assert sum("with other figures on lines" in fault for fault in found.faults) == 8
