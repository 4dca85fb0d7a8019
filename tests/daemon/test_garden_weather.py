"""The daemon reads a station's file by the same rules as the command line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from support.clock import HandClock
from support.gardens import a_garden

from controller.daemon.weather import GardenWeather
from controller.garden.model import WeatherSource
from controller.inputs.days import read_station

GARDEN = replace(a_garden(), weather=WeatherSource(file="station.csv", wind_height_m=10.0))


def test_a_sun_brighter_than_the_sky_allows_is_left_out_and_said(tmp_path: Path) -> None:
    (tmp_path / "station.csv").write_text(
        "date,tmin_c,tmax_c,solar_mj_m2,rain_mm\n2031-06-01,11,24,25,0\n2031-06-02,11,24,60,0\n"
    )
    answer = GardenWeather(tmp_path, tmp_path / "cache", HandClock())(GARDEN)
    assert [day.solar_mj_m2 for day in answer.days] == [25.0, None]
    assert any("solar_mj_m2" in words for words in answer.remarks)
    assert answer.days == read_station(tmp_path / "station.csv", GARDEN).days
    assert answer.days[0].wind_height_m == 10.0


def test_a_missing_file_is_an_answer_without_days(tmp_path: Path) -> None:
    answer = GardenWeather(tmp_path, tmp_path / "cache", HandClock())(GARDEN)
    assert answer.days == ()
    assert answer.failed
