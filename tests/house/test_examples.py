"""The example garden and its weather: they load, and they are what they say."""

from __future__ import annotations

import csv
from datetime import date, timedelta
from itertools import pairwise
from math import acos, cos, pi, sin, tan
from pathlib import Path
from typing import Any

import pytest
from support.tables import CROP_NAMES, SOIL_NAMES

from controller.garden.model import Garden
from controller.garden.plumbing import Walls
from controller.garden.read import read_garden
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.pipe import PIPES

CONFIG = Path(__file__).parents[2] / "config"
GARDEN, WEATHER = CONFIG / "example-garden.toml", CONFIG / "example-weather.csv"


@pytest.fixture(scope="module")
def garden() -> Garden:
    return read_garden(GARDEN, pipes=PIPES, known_crops=CROP_NAMES, known_soils=SOIL_NAMES)


@pytest.fixture(scope="module")
def days() -> list[tuple[date, dict[str, float]]]:
    lines = WEATHER.read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [
        (date.fromisoformat(row.pop("date")), {key: float(value) for key, value in row.items()})
        for row in rows
    ]


@pytest.mark.parametrize("path", [GARDEN, WEATHER])
def test_the_first_line_says_that_it_is_invented(path: Path) -> None:
    assert "nvented" in path.read_text(encoding="utf-8").splitlines()[0]


def test_the_example_shows_what_a_garden_file_can_hold(garden: Any) -> None:
    assert (len(garden.beds), len(garden.zones)) == (8, 10)
    rows = [row for zone in garden.zones for row in zone.rows]
    assert {zone.valve.kind.value for zone in garden.zones} == {"relay", "hand"}
    assert len({bed.soil for bed in garden.beds}) >= 4
    assert len({bed.keeper for bed in garden.beds}) >= 3
    assert any(row.drilling.group == 3 for row in rows)
    assert any(row.drilling.walls is Walls.BOTH for row in rows)
    assert any(row.plugged_beyond_m for row in rows)
    assert any(zone.opening.alone_flow_m3_s for zone in garden.zones)
    assert garden.watering.holds
    bare = [
        (after.start - before.until).days
        for zone in garden.zones
        for before, after in pairwise(zone.plantings)
    ]
    assert max(bare) > 10
    assert garden.us_units


def test_every_zone_of_the_example_gives_water_from_all_its_holes(garden: Any) -> None:
    lines = Lines(garden)
    for zone in garden.zones:
        flow = lines.open_set(frozenset({zone.name})).zones[zone.name]
        assert flow.flow_m3_s > 0
        assert flow.dry_holes == 0
        asked = zone.opening.alone_flow_m3_s
        if asked is not None:  # a measured stream is given back
            assert flow.flow_m3_s == pytest.approx(asked, rel=1e-3)


def test_the_example_weather_has_every_day_of_its_season(days: Any) -> None:
    assert days[0][0] == date(2031, 3, 1)
    assert days[-1][0] == date(2031, 7, 20)
    steps = {after - before for (before, _), (after, _) in pairwise(days)}
    assert steps == {timedelta(days=1)}


def test_the_example_weather_could_be(days: Any, garden: Any) -> None:
    elevation_m = garden.site.elevation_m
    for day, told in days:
        assert -25 < told["tmin_c"] < told["tmax_c"] < 42, day
        assert 10 <= told["rh_min_pct"] < told["rh_max_pct"] <= 100, day
        assert 0 < told["wind_m_s"] < 8, day
        assert 0 <= told["rain_mm"] < 60, day
        # Allen et al. (1998), FAO Paper 56, eq. 37: under a clear sky, by elevation.
        clear = (0.75 + 2e-5 * elevation_m) * _above_the_air(day, garden.site.latitude_deg)
        assert 0.1 * clear < told["solar_mj_m2"] <= clear, day
        if told["rain_mm"] > 5:
            assert told["solar_mj_m2"] < 0.75 * clear, day


def test_the_days_before_the_example_plan_are_dry_and_hot(days: Any) -> None:
    before = [told for day, told in days if date(2031, 6, 28) <= day <= date(2031, 7, 9)]
    assert all(told["rain_mm"] == 0 for told in before)
    assert sum(told["tmax_c"] for told in before) / len(before) > 28


def _above_the_air(day: date, latitude_deg: float) -> float:
    """Extraterrestrial radiation, MJ/m2: FAO Paper 56, eq. 21 to 25, written out anew here."""
    angle, latitude = 2 * pi * day.timetuple().tm_yday / 365, latitude_deg * pi / 180
    nearness, tilt = 1 + 0.033 * cos(angle), 0.409 * sin(angle - 1.39)
    sunset = acos(-tan(latitude) * tan(tilt))
    rise = sunset * sin(latitude) * sin(tilt) + cos(latitude) * cos(tilt) * sin(sunset)
    return 24 * 60 / pi * 0.0820 * nearness * rise
