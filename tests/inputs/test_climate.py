"""The climate in force is said: by `check`, and in a plan that stands on it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock
from support.gardens import a_garden
from support.said import said
from support.stationyears import WAGENINGEN, days_of

from controller.cli import main
from controller.demand.climate.usual_et import CLIMATES, season_eto_mm_day
from controller.garden.model import Garden, WeatherSource
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.climatology import Normals, normals_from
from controller.inputs.days import demand_days
from controller.inputs.gather import Gatherer
from controller.inputs.monthly_climate import climate_in_force, climate_messages
from controller.paper.printout import timetable_text
from controller.timetable.need.jobs import Grounds
from controller.timetable.plan import NOTHING_GIVEN, Installation, Span, Weather, plan_on
from controller.weather.day import WeatherDay
from controller.wording.say import say
from crops.catalogue import load

FIRST = date(2031, 7, 6)
DAY = timedelta(days=1)
TABLE = "month,tmin_c,tmax_c,rain_mm\n" + "".join(f"{m},12,24,62\n" for m in range(1, 13))
GARDEN_FILE = """
site = { name = "Plot", latitude = 47.1, longitude = 8.2, elevation = "430 m", timezone = "ZONE" }
supply = { static_pressure = "48 psi", flow_test = { fill = "5 gal", seconds = 40 } }
WEATHER

[[zone]]
name = "leeks"
main_run = "18 ft"
valve = { hand = true }
row = [ { length = "11 ft", every = "6 in", bore = "1/16 in" } ]
planting = [ { crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 } ]
"""


def with_climate(climate: str) -> Garden:
    return a_garden(weather=replace(WeatherSource(), climate=climate))


def usual_mm(climate: str, days: list[date]) -> float:
    site = a_garden().site
    return sum(
        season_eto_mm_day(
            day, latitude_deg=site.latitude_deg, elevation_m=site.elevation_m, climate=climate
        )
        for day in days
    ) / len(days)


def with_table(tmp_path: Path) -> tuple[Garden, Normals]:
    (tmp_path / "months.csv").write_text(TABLE, encoding="utf-8")
    garden = a_garden(weather=replace(WeatherSource(), climate_table="months.csv"))
    found = Gatherer(tmp_path, tmp_path, HandClock()).usual(garden, [])
    assert found is not None
    return garden, found


def plan_words(garden: Garden, weather: Weather) -> str:
    timetable = plan_on(
        Installation(garden, Grounds(garden, load()), Lines(garden)),
        weather,
        NOTHING_GIVEN,
        Span.between(first=FIRST, last=FIRST + 6 * DAY, today=FIRST),
    )
    return " ".join(timetable_text(timetable, garden).split())


@pytest.mark.parametrize("climate", CLIMATES)
def test_check_says_the_class_its_peak_and_what_the_others_would_have(climate: str) -> None:
    words = say(climate_in_force(with_climate(climate), None), us=False)
    july = [date(2031, 7, 1) + n * DAY for n in range(31)]
    peak = re.fullmatch(
        rf"the season's table for an? {climate} climate: reference ET is greatest in July, "
        r"([\d.]+) mm a day \((.*)\); set climate or climate_table in \[weather\]",
        words,
    )
    assert peak is not None, words
    assert float(peak[1]) == approx(usual_mm(climate, july), abs=0.05)
    others = dict(re.findall(r"([\d.]+) mm if ([a-z ]+)", peak[2]))
    wanted = {"arid", "very humid"} - {climate}
    assert set(others.values()) == wanted
    for shown, name in others.items():
        assert float(shown) == approx(usual_mm(name, july), abs=0.05)


def test_with_a_table_check_says_its_peak_and_that_its_rain_is_not_counted(tmp_path: Path) -> None:
    words = say(climate_in_force(*with_table(tmp_path)), us=False)
    assert words.startswith("the climate table months.csv: reference ET is greatest in ")
    assert words.endswith("its usual rain, 744 mm, is not counted before it has fallen")  # 12 x 62


def test_with_years_of_its_own_check_says_so() -> None:
    rows = [d for d in days_of(WAGENINGEN) if d.day.year >= 1990]
    garden = replace(a_garden(), site=WAGENINGEN.site)
    words = say(climate_in_force(garden, normals_from(rows, garden.site)), us=False)
    assert re.match(r"what is normal here in \d+ years: reference ET is greatest in Ju", words)


def test_a_plan_without_weather_says_which_class_it_stands_on() -> None:
    days = [FIRST + n * DAY for n in range(7)]
    usual = usual_mm("sub-humid", days)
    times = [usual_mm(name, days) / usual for name in ("arid", "very humid")]
    assert (
        f"Note: climate sub-humid stands in on 7 days: ETo {usual:.1f} mm a day, {times[0]:.1f} "
        f"times that if arid, {times[1]:.1f} times that if very humid; set climate or "
        "climate_table in [weather]."
    ) in plan_words(a_garden(), Weather(rows=()))


def test_a_plan_on_a_table_says_so(tmp_path: Path) -> None:
    garden, normals = with_table(tmp_path)
    words = plan_words(garden, Weather(rows=(), normals=normals))
    # WORKED: 62 mm / 31 days x 7 days = 14 mm.
    assert "Note: the climate table stands in on 7 days: ETo " in words
    assert "its usual rain, 14 mm, is not counted before it has fallen." in words
    assert "climate sub-humid" not in words


def test_a_plan_on_weather_says_nothing_of_it() -> None:
    rows = tuple(
        WeatherDay(day=FIRST + n * DAY, tmin_c=12.0, tmax_c=24.0, rain_mm=0.0, source="a.csv")
        for n in range(-5, 7)
    )
    words = plan_words(a_garden(), Weather(rows=rows))
    assert "climate" not in words


def test_a_reading_of_the_gauge_takes_its_day_out_of_the_rain_that_is_not_counted(
    tmp_path: Path,
) -> None:
    garden, normals = with_table(tmp_path)
    found = demand_days(
        [],
        garden.site,
        first=FIRST,
        last=FIRST + 6 * DAY,
        normals=normals,
        rain_gauge_mm={FIRST: 3.0},
    )
    (words,) = said(climate_messages(garden, found.days.values(), normals))
    assert "its usual rain, 12 mm," in words  # WORKED: 6 days of 2 mm
    assert found.days[FIRST].rain_mm == 3.0


def check(tmp_path: Path, capsys: pytest.CaptureFixture[str], weather: str) -> tuple[int, str]:
    path = tmp_path / "garden.toml"
    text = GARDEN_FILE.replace("WEATHER", weather).replace("ZONE", "Europe/Zurich")
    path.write_text(text, encoding="utf-8")
    done = main(["check", str(path)])
    return done, " ".join(capsys.readouterr().out.split())


def test_check_prints_the_climate_and_reads_the_table_beside_the_garden_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    done, said = check(tmp_path, capsys, "")
    assert done == 0
    assert "Where no weather is known the season's table for a sub-humid climate" in said
    (tmp_path / "months.csv").write_text(TABLE, encoding="utf-8")
    done, said = check(tmp_path, capsys, 'weather = { climate_table = "months.csv" }')
    assert done == 0
    assert "Where no weather is known the climate table months.csv: reference ET is" in said
    assert "climate: sub-humid" not in said


def test_check_names_every_fault_of_the_table_and_says_no(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = TABLE.replace("\n3,12,", "\n3,1x,").replace("\n9,12,24", "\n9,12,")
    (tmp_path / "months.csv").write_text(broken, encoding="utf-8")
    done, said = check(tmp_path, capsys, 'weather = { climate_table = "months.csv" }')
    assert done == 1
    assert "weather: no climate table: months.csv, line 4, tmin_c: found '1x'; allowed is" in said
    assert "weather: no climate table: months.csv, line 10, tmax_c: found nothing;" in said
    assert "the season's table for a sub-humid climate" in said
