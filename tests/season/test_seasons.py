"""What a season comes to for eleven crops in two invented climates, beside published needs.

docs/numbers.md shows the table; -rP prints it. Hot and dry: reference ET 4.9 + 3.1 sin (8.0 mm a
day at most), no rain, wind 2.5 m/s, least humidity 20 %. Cool and humid: 2.5 + 1.9 sin (4.4 mm at
most), 9 mm of rain each fourth day, wind 2.0 m/s, 60 %. Peaks on 5 July. Beds are bare loam, half
of it wetted by the line, with plants close enough to close; of squash the line wets an eighth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from math import ceil, cos, tau

import pytest
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone
from support.mornings import a_plan, catalogue

from controller.demand.records import DayInput
from controller.garden.model import Bed, Coefficients, Planting, Watering
from controller.garden.plumbing import Opening, Row, Walls
from controller.units import m3_s_from_l_min

pytestmark = pytest.mark.slow

DAY = timedelta(days=1)
PEAK = date(2031, 7, 5)
HOT, COOL = "hot and dry", "cool and humid"
BY_STAGE = None


@dataclass(frozen=True)
class Crop:
    """How it is grown, and its published seasonal need. [mm]

    PRINTED (from memory): FAO-33, Doorenbos and Kassam (1979), and FAO Irrigation Water Management
    Training Manual 3, table 14; lettuce, carrot and strawberry by growers' guides. They are for
    usual fields in usual seasons, whose reference ET is 400 to 700 mm.
    """

    planted: tuple[int, int]
    need_mm: tuple[int, int]
    sown: bool = False
    supported: bool = False
    wide: bool = False


CROPS = {
    "tomato": Crop((5, 1), (400, 800), supported=True),
    "lettuce": Crop((5, 1), (200, 350)),
    "carrot": Crop((5, 1), (350, 550), sown=True),
    "strawberry": Crop((4, 1), (400, 700)),
    "onion": Crop((4, 1), (350, 550)),
    "pepper": Crop((5, 10), (600, 900)),
    "bush_bean": Crop((5, 15), (300, 500), sown=True),
    "cabbage": Crop((5, 1), (350, 500)),
    "sweet_corn": Crop((5, 10), (500, 800), sown=True),
    "potato": Crop((4, 15), (500, 700)),
    "summer_squash_zucchini": Crop((5, 10), (400, 600), wide=True),
}


@dataclass(frozen=True)
class Season:
    """Of the driest quarter, from planting until ripe. [mm]"""

    days: int
    eto: float
    etc: float
    given: float
    evaporated: float
    runs: int
    short: int
    least_stress: float


def weather(climate: str, first: date, last: date) -> dict[date, DayInput]:
    mean, swing = (4.9, 3.1) if climate == HOT else (2.5, 1.9)
    days = {}
    for number in range((last - first).days + 1):
        day = first + number * DAY
        rain = climate == COOL and number % 4 == 3
        days[day] = DayInput(
            day=day,
            eto_mm=mean + swing * cos(tau * (day - PEAK).days / 365.0),
            method="invented",
            rain_mm=9.0 if rain else 0.0,
            wind_2m_m_s=2.5 if climate == HOT else 2.0,
            rh_min_pct=20.0 if climate == HOT else 60.0,
        )
    return days


def row_for(grown: Crop, *, whole: bool) -> Row:
    """Half of 0.9 m wetted, or all; of squash a group of holes at each plant, 1.0 by 1.5 m."""
    if whole:
        both = replace(a_row().drilling, walls=Walls.BOTH)
        return a_row(10.0, ground_width_m=0.45, drilling=both)
    if not grown.wide:
        return a_row(10.0, ground_width_m=0.9)
    drilling = replace(a_row().drilling, every_m=1.0, first_m=0.5, group=4)
    return a_row(20.0, ground_width_m=1.5, drilling=drilling)


@cache
def season(
    name: str,
    climate: str,
    coefficients: Coefficients = Coefficients.DUAL,
    refill_at: float | None = BY_STAGE,
    *,
    whole: bool = False,
) -> Season:
    grown, crop = CROPS[name], catalogue().crop(name)
    first = date(2031, *grown.planted)
    last = first + (sum(crop.stage_days) - 1) * DAY
    row = row_for(grown, whole=whole)
    lines = 1 if grown.wide else ceil(row.ground_width_m / crop.spread_m)
    zone = a_zone(
        rows=(row,),
        bed=Bed(name="bed", soil="loam"),
        plantings=(
            Planting(
                crop=name,
                start=first,
                until=last,
                transplanted=not grown.sown,
                emerges_days=10 if grown.sown else None,
                plant_lines=lines,
                supported=grown.supported,
            ),
        ),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(12.0 if whole else 3.0)),
        daily_cap_m3=2.0,
    )
    garden = a_garden(
        zone,
        watering=Watering(
            windows=(EVERY_DAY,), coefficients=coefficients, refill_at=refill_at, basin_mm=60.0
        ),
    )
    timetable = a_plan(
        garden, weather(climate, first, last), first=first + DAY, count=(last - first).days
    )
    rows = timetable.ledger
    felt = [d for d in rows if d.phase != "seedbed" and d.day_of_planting > 1]
    return Season(
        days=len(rows),
        eto=sum(d.eto_mm for d in rows),
        etc=sum(d.etc_mm for d in rows),
        given=sum(d.watered_mm - d.passed_mm for d in rows),
        evaporated=sum(d.evaporated_mm for d in rows),
        runs=sum(d.watered_mm > 0.0 for d in rows),
        short=sum(d.stress < 0.98 for d in felt),
        least_stress=min(d.stress for d in felt),
    )


def hot_squash(name: str, climate: str) -> bool:
    return CROPS[name].wide and climate == HOT


@pytest.mark.parametrize("climate", [HOT, COOL])
def test_what_seasons_lose_lies_in_a_band_about_reference_et(climate: str) -> None:
    """Our choice of band, about what eq. 72 makes of wettings as often as these.

    With 1.1 in eq. 72 throughout, two wettings in three days and one store, hand sums gave 0.90 to
    1.10 (hot; wide squash 0.65 to 0.75) and 0.95 to 1.10. Ours lie up to 0.05 higher: a strip with
    a store of its own is watered nearly daily, so its surface is always wet; and where rain comes
    each fourth day, eq. 72 has 1.2.
    """
    print(f"\n{climate}, the line wets half; the driest quarter, mm")
    print(
        "| crop (days) | ETo | ETc | ETc/ETo | dried | given | runs | short | single: ETc | given |"
    )
    for name, crop in CROPS.items():
        dual, single = season(name, climate), season(name, climate, Coefficients.SINGLE)
        low, high = crop.need_mm
        ratio = dual.etc / dual.eto
        print(
            f"| {name} ({dual.days}) | {dual.eto:.0f} | {dual.etc:.0f} | {ratio:.2f} | "
            f"{dual.evaporated:.0f} | {dual.given:.0f} | {dual.runs} | {dual.short} | "
            f"{single.etc:.0f} | {single.given:.0f} | {low} to {high} |"
        )
        band = (0.65, 0.75) if hot_squash(name, climate) else (0.95, 1.15)
        assert band[0] <= ratio <= band[1], (name, ratio)
        assert dual.short == 0
        # FAO-56 says of crops wetted more often than every third day that they lose more than the
        # single figure has: 10 to 30 % (from memory). Strawberry's rows are bare the longest.
        assert 0.9 * single.etc <= dual.etc <= (1.7 if name == "strawberry" else 1.45) * single.etc


@pytest.mark.parametrize("climate", [HOT, COOL])
def test_refill_by_stage_waters_no_more_often_and_leaves_nobody_short(climate: str) -> None:
    print(f"\n{climate}, all the ground wetted: by stage, and at half of RAW throughout")
    print("| crop | by stage: given | runs | short | at half: given | runs | short |")
    for name in ("tomato", "lettuce", "carrot", "strawberry", "onion", "pepper", "potato"):
        stage = season(name, climate, whole=True)
        half = season(name, climate, refill_at=0.5, whole=True)
        print(
            f"| {name} | {stage.given:.0f} | {stage.runs} | {stage.short} | "
            f"{half.given:.0f} | {half.runs} | {half.short} |"
        )
        assert stage.runs <= half.runs
        assert stage.short == half.short == 0
        assert stage.given <= 1.15 * half.given
