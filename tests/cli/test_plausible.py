"""What a person is about to write down, judged: the bounds themselves, and what the words say.

Through the command line, questions and all: tests/cli/test_notes.py.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from support.gardens import a_garden, a_row, a_zone

from controller.cli.plausible import (
    Doubt,
    of_day,
    of_meter,
    of_moisture,
    of_rain,
    of_watering,
)
from controller.demand.climate.snow import MOST_MM
from controller.garden.model import Planting, Zone
from controller.timetable.need.jobs import Grounds
from crops.catalogue import load

CATALOGUE = load()
TODAY = date(2031, 7, 1)
DAY = timedelta(days=1)


def judged(doubt: Doubt | None) -> str:
    """Taken, asked about, or refused."""
    if doubt is None:
        return "taken"
    return "asked" if doubt.may_be else "refused"


# 1,825 mm in a day is the world's record (World Meteorological Organization, from memory); 127 mm,
# 5 in, is our choice of what is seldom seen.
@pytest.mark.parametrize(
    ("mm", "before_mm", "verdict"),
    [
        (0.0, 0.0, "taken"),
        (127.0, 0.0, "taken"),
        (127.1, 0.0, "asked"),
        (100.0, 27.0, "taken"),
        (100.0, 27.1, "asked"),
        (0.0, 127.1, "asked"),
        (1825.0, 0.0, "asked"),
        (1825.1, 0.0, "refused"),
        (1800.0, 26.0, "refused"),
        (-0.1, 10.0, "refused"),
        (math.nan, 0.0, "refused"),
    ],
)
def test_rain_of_a_day(mm: float, before_mm: float, verdict: str) -> None:
    assert judged(of_rain(mm, before_mm, TODAY, us_units=False)) == verdict


def test_what_is_asked_of_rain_has_the_figures_found() -> None:
    def words(mm: float, before_mm: float, us_units: bool = False) -> str:
        found = of_rain(mm, before_mm, TODAY, us_units=us_units)
        assert found is not None
        return found.words

    assert words(-0.5, 0.0) == "found -0.5 mm of rain; allowed is 0 or more"
    assert words(1830.0, 0.0).endswith("anywhere, is 1825 mm: look at the unit and the point")
    assert words(150.0, 0.0).startswith("found 150 mm of rain on 2031-07-01; over 127 mm")
    assert "150 mm with what was noted for that day before" in words(130.0, 20.0)
    assert "before" not in words(150.0, 0.0)
    assert "over 5 in in a day" in words(150.0, 0.0, us_units=True)


def grounds(*zones: Zone, us_units: bool = False) -> Grounds:
    return Grounds(replace(a_garden(*zones), us_units=us_units), CATALOGUE)


# WORKED, FAO-56 (1998), eq. 73 and Table 19: loam wilts at 12 % and dries to half of that; no
# mineral soil has room for more than 55 % (from memory).
@pytest.mark.parametrize(
    ("percent", "verdict"),
    [(6.0, "taken"), (5.9, "asked"), (0.2, "asked"), (55.0, "taken"), (55.1, "asked")],
)
def test_water_in_the_soil(percent: float, verdict: str) -> None:
    assert judged(of_moisture(percent, a_zone(), grounds=grounds())) == verdict


def test_a_share_read_as_a_percentage_is_guessed() -> None:
    def words(percent: float) -> str:
        found = of_moisture(percent, a_zone(), grounds=grounds())
        assert found is not None
        return found.words

    assert words(0.2).endswith("never under about 6 %. A probe that shows a share means 20 %")
    assert words(1.0).endswith("A probe that shows a share means 100 %")
    assert words(1.1).endswith("never under about 6 %")
    assert words(60.0).startswith("found 60 % of the soil's volume for a; soil full of water")


# Ten square metres of tomatoes, whose roots reach 1.5 m at most (FAO-56, Table 22), in loam of
# 140 mm a metre: WORKED: 2,100 L when dry, and three times that 6,300.
TOMATO = Planting(crop="tomato", start=TODAY - 60 * DAY, until=TODAY + 60 * DAY)
TEN = a_zone(
    plantings=(TOMATO,), rows=(a_row(length_m=10.0, ground_width_m=1.0),), daily_cap_m3=1.0
)


def watered(
    litres: float,
    before_l: float = 0.0,
    zone: Zone = TEN,
    *,
    day: date = TODAY,
    flow_m3_s: float = 0.0,
) -> Doubt | None:
    return of_watering(litres, before_l, zone, day, grounds=grounds(zone), flow_m3_s=flow_m3_s)


@pytest.mark.parametrize(
    ("litres", "before_l", "verdict"),
    [
        (0.0, 0.0, "taken"),
        (6300.0, 0.0, "taken"),
        (6301.0, 0.0, "asked"),
        (6000.0, 301.0, "asked"),
        (-1.0, 100.0, "refused"),
        (math.nan, 0.0, "refused"),
        (10.0 * MOST_MM, 0.0, "asked"),
        (10.0 * MOST_MM + 1.0, 0.0, "refused"),
    ],
)
def test_water_given_by_hand(litres: float, before_l: float, verdict: str) -> None:
    assert judged(watered(litres, before_l)) == verdict


def test_a_bed_takes_what_its_cap_allows_and_what_its_valve_passes_in_a_day() -> None:
    capped = replace(TEN, daily_cap_m3=8.0)
    assert watered(8000.0, zone=capped) is None
    assert judged(watered(8001.0, zone=capped)) == "asked"
    # WORKED: 86,400 s of 0.05 L/s are 4,320 L.
    assert watered(4320.0, flow_m3_s=5e-5) is None
    found = watered(4000.0, 321.0, flow_m3_s=5e-5)
    assert found is not None and "open day and night its valve passes 4320 L" in found.words
    assert "4321 L with what it got that day before" in found.words
    assert ": 432.1 mm over its ground" in found.words
    none = a_zone(rows=(a_row(plugged=True),))
    assert watered(1e9, zone=none) is None  # no ground to drown
    assert judged(watered(-1.0, zone=none)) == "refused"


def test_the_root_zone_is_that_of_what_stands_or_ever_does_and_ends_where_the_bed_ends() -> None:
    # WORKED: leeks reach 0.6 m, 840 L of these ten square metres; three times that 2,520.
    leek = Planting(crop="leek", start=TODAY + 70 * DAY, until=TODAY + 99 * DAY)
    both = replace(TEN, plantings=(TOMATO, leek))
    for day, most_l in (
        (TODAY, 6300.0),
        (leek.start, 2520.0),
        (leek.until, 2520.0),
        (TOMATO.start, 6300.0),
        (leek.until + DAY, 6300.0),  # nothing stands: the deepest that ever does
    ):
        assert watered(most_l, zone=both, day=day) is None
        assert judged(watered(most_l + 1.0, zone=both, day=day)) == "asked"
    shallow = replace(TEN, bed=replace(TEN.bed, rooting_limit_m=0.5))
    assert watered(2100.0, zone=shallow) is None
    assert judged(watered(2101.0, zone=shallow)) == "asked"
    bare = replace(TEN, plantings=())  # a metre of soil: our choice
    assert watered(4200.0, zone=bare) is None
    assert judged(watered(4201.0, zone=bare)) == "asked"


@pytest.mark.parametrize(
    ("litres", "before", "after", "verdict"),
    [
        (500.0, None, None, "taken"),
        (500.0, 500.0, 500.0, "taken"),
        (499.0, 500.0, None, "refused"),
        (501.0, None, 500.0, "refused"),
        (501.0, 400.0, 500.0, "refused"),
        (-1.0, None, None, "refused"),
        (math.nan, 1.0, None, "refused"),
    ],
)
def test_a_meter_does_not_run_back(
    litres: float, before: float | None, after: float | None, verdict: str
) -> None:
    found = of_meter(
        litres,
        None if before is None else (before, TODAY - DAY),
        None if after is None else (after, TODAY + DAY),
        day=TODAY,
        us_units=False,
    )
    assert judged(found) == verdict


def test_a_meter_that_runs_back_is_shown_the_reading_it_runs_back_from() -> None:
    back = of_meter(450.0, (500.0, TODAY - DAY), day=TODAY, us_units=False)
    assert back is not None and "on 2031-06-30 the meter read 500 L" in back.words
    ahead = of_meter(550.0, (400.0, TODAY - DAY), (500.0, TODAY + DAY), day=TODAY, us_units=False)
    assert ahead is not None and "on 2031-07-02 the meter read 500 L" in ahead.words


# WORKED: ISO 4064-1 (from memory): Q4 = 1.25 Q3; 24 h x 1.25 x 2.5 m3/h = 75 m3 a day.
@pytest.mark.parametrize(
    ("rise_l", "days", "verdict"),
    [
        (75_000.0, 1, "taken"),
        (75_001.0, 1, "asked"),
        (75_001.0, 0, "asked"),
        (150_000.0, 2, "taken"),
        (150_001.0, 2, "asked"),
    ],
)
def test_a_rise_that_no_house_meter_passes_is_asked_about(
    rise_l: float, days: int, verdict: str
) -> None:
    before = (81_234.0, TODAY - days * DAY)
    found = of_meter(81_234.0 + rise_l, before, day=TODAY, us_units=False)
    assert judged(found) == verdict
    if found is not None:
        assert "75000 L in a day and a night at most" in found.words


def test_a_note_of_last_year_is_asked_about() -> None:
    # 300 days: our choice.
    assert of_day(TODAY - 300 * DAY, TODAY) is None
    late = of_day(TODAY - 301 * DAY, TODAY)
    assert judged(late) == "asked"
    assert late is not None and "301 days ago" in late.words
