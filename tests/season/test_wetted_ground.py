"""What the wetted ground does to a season's water, and that no dose is more than it holds.

Gardens and weather are invented; a season of 5 mm a day without rain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan

from controller.garden.model import Bed, Planting, Watering
from controller.garden.plumbing import Face, Opening, Row, Walls
from controller.timetable.records import Timetable
from controller.units import m3_s_from_l_min

DAY = timedelta(days=1)
START = date(2031, 5, 1)


def season(crop: str, row: Row, *, soil: str, length: int, flow_l_min: float = 6.0) -> Timetable:
    zone = a_zone(
        rows=(row,),
        bed=Bed(name="bed", soil=soil),
        plantings=(Planting(crop=crop, start=START, until=START + (length + 9) * DAY),),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(flow_l_min)),
        daily_cap_m3=3.0,
    )
    garden = a_garden(zone, watering=Watering(windows=(EVERY_DAY,), basin_mm=60.0))
    days = even_days(START, START + (length + 9) * DAY)
    return a_plan(garden, days, first=START + DAY, count=length - 1)


def watered_mm(timetable: Timetable) -> float:
    return sum(day.watered_mm - day.passed_mm for day in timetable.ledger)


def test_a_row_through_both_walls_wets_two_strips_and_not_all_the_ground() -> None:
    """Lettuce on sand, 1.5 m of ground to a row: it once took 61 % more than through one wall."""
    one = a_row(10.0, ground_width_m=1.5)
    both = replace(one, drilling=replace(one.drilling, walls=Walls.BOTH, face=Face.SIDE))
    found = {
        name: season("lettuce", row, soil="sand", length=75)
        for name, row in (("one", one), ("both", both))
    }
    share = {name: t.ledger[0].wetted_fraction for name, t in found.items()}
    mm = {name: watered_mm(t) for name, t in found.items()}
    assert share["one"] < share["both"] <= 2.0 * share["one"] < 0.5
    # RECORDED: 211 and 171 mm; the second strip's evaporation.
    assert 1.0 < mm["both"] / mm["one"] < 1.3


WIDE: Mapping[str, tuple[str, float, int]] = {
    "squash": ("summer_squash_zucchini", 1.0, 90),
    "tomato": ("tomato", 0.9, 130),
    "watermelon": ("watermelon", 1.2, 100),
}


@pytest.mark.parametrize("soil", ["sand", "loam"])
@pytest.mark.parametrize("name", WIDE)
def test_no_dose_for_wide_plants_is_more_than_their_wetted_ground_can_hold(
    name: str, soil: str
) -> None:
    """A hole at each plant, rows 1.5 m apart: doses once were 178 mm on ground that holds 84."""
    crop, every_m, length = WIDE[name]
    drilling = replace(a_row().drilling, every_m=every_m, first_m=every_m / 2.0)
    row = replace(a_row(), length_m=6.0 * every_m, drilling=drilling, ground_width_m=1.5)
    timetable = season(crop, row, soil=soil, length=length, flow_l_min=0.8)
    evenings = {day.day: day for day in timetable.ledger}
    planted = [day for day in timetable.ledger if day.day_of_planting > 1]
    for dose in timetable.doses:
        evening = evenings[dose.day - DAY]
        assert evening.wetted_fraction < 0.2
        assert dose.net_mm / evening.wetted_fraction <= evening.taw_mm + 1e-9
    assert sum(day.drained_mm for day in planted) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("name", WIDE)
def test_a_crop_whose_wetted_ground_holds_less_than_its_day_is_said_to_go_short(name: str) -> None:
    """One hole at each wide plant on sand: the disc of 0.3 m, filled each morning, is dry by noon.

    Such a season once came to 141 of the 248 mm that squash asks for, with Ks 1 on every day.
    """
    crop, every_m, length = WIDE[name]
    drilling = replace(a_row().drilling, every_m=every_m, first_m=every_m / 2.0)
    row = replace(a_row(), length_m=6.0 * every_m, drilling=drilling, ground_width_m=1.5)
    timetable = season(crop, row, soil="sand", length=length, flow_l_min=0.8)
    mid = [day for day in timetable.ledger if day.stage == "mid"]
    for day in mid:
        asked = day.kcb * day.eto_mm
        # WORKED: at most what the disc holds, TAW times its share; the rest has long been dry.
        assert day.transpired_mm <= day.taw_mm * day.wetted_fraction + 1e-9
        assert day.stress * asked == pytest.approx(day.transpired_mm, abs=1e-6)
    assert max(day.stress for day in mid) < 0.6
    (short,) = timetable.short
    assert short.days > len(mid)
