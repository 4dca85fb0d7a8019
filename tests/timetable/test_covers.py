"""Beds under cover in plan, balance and check: the ETo and the rain they really have."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from typing import Any

import pytest
from pytest import approx
from support.findings import where_of, words_of
from support.gardens import a_garden, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.mornings import a_plan, catalogue
from support.said import said

from controller.check.cautions import findings
from controller.demand.records import DayInput, LedgerDay
from controller.demand.soil.ground import Season, parts_of
from controller.demand.soil.water_balance import advance
from controller.garden.model import Bed, Cover, Garden, Planting, Zone
from controller.garden.plumbing import Opening, Row
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.climatology import normals_from
from controller.timetable.need.jobs import Grounds
from controller.timetable.plan import Installation, Span, Weather, plan_on
from controller.timetable.records import Timetable
from controller.timetable.unwritten import NO_RECORD
from controller.units import m3_s_from_l_min
from controller.weather.day import WeatherDay

DAY = timedelta(days=1)
SET_OUT, LIFTED = date(2031, 4, 20), date(2031, 10, 10)
FIRST = date(2031, 7, 1)
GLASS = Cover(kind="glasshouse", eto_factor=0.65, rain_factor=0.0, is_film=True)
TUNNEL = replace(
    GLASS,
    kind="high tunnel",
    eto_factor=0.75,
    begins=date(2031, 3, 1),
    until=date(2031, 7, 31),
)
CLOTH = Cover(kind="shade cloth", eto_factor=0.60, rain_factor=1.0)
FLEECE = Cover(kind="row cover", eto_factor=0.85, rain_factor=0.8, warmer_c=3.0)
NET = Cover(kind="insect net", eto_factor=0.85, rain_factor=1.0)
SLOW = Opening(alone_flow_m3_s=m3_s_from_l_min(1.0))


def under(*covers: Cover, name: str = "a", relay: int = 17, **more: Any) -> Zone:
    """A zone of leeks under these; a frame lets no rain run off."""
    bed = Bed(name=f"bed {name}", soil="loam", covers=covers, holds_rain=True)
    return a_zone(name, relay, bed=bed, opening=SLOW, **more)


def season(garden: Garden, days: Mapping[date, DayInput], zone: str = "a") -> list[LedgerDay]:
    """The ledger of a season planned in one go, from setting out to the end."""
    count = (LIFTED - SET_OUT).days + 1
    timetable = a_plan(garden, days, first=SET_OUT, count=count)
    return [row for row in timetable.ledger if row.zone == zone and row.day >= SET_OUT]


def rainy(first: date, last: date) -> dict[date, DayInput]:
    """5 mm of ETo a day, 12 mm of rain every sixth; wind and dry air."""
    days = even_days(first, last, eto_mm=5.0)
    return {
        day: replace(
            made, rain_mm=12.0 if day.toordinal() % 6 == 0 else 0.0, wind_2m_m_s=3.0, rh_min_pct=30
        )
        for day, made in days.items()
    }


def test_a_season_under_glass_uses_its_share_of_the_eto_and_no_rain() -> None:
    days = rainy(SET_OUT - DAY, LIFTED)
    garden = a_garden(under(GLASS), under(name="open", relay=27))
    glass, outside = season(garden, days), season(garden, days, "open")
    assert [row.eto_mm for row in outside] == [5.0] * len(outside)
    # WORKED: 0.65 x 5 mm.
    assert [row.eto_mm for row in glass] == approx([3.25] * len(glass))
    assert math.fsum(row.rain_mm for row in outside) > 300.0
    assert {row.rain_mm for row in glass} == {0.0}
    assert all(row.rain_known for row in glass)
    # What both lose is Kc x ETo; under glass the air pulls Kc down a little as well.
    for one, other in zip(glass, outside, strict=True):
        assert one.kcb <= other.kcb
    used = math.fsum(row.used_mm for row in glass)
    given = math.fsum(row.watered_mm for row in glass)
    assert 0.4 < used / math.fsum(row.used_mm for row in outside) < 0.65
    # All of it comes from the line: what is missing at the end is missing from the start's full.
    drained = math.fsum(row.drained_mm for row in glass)
    passed = math.fsum(row.passed_mm for row in glass)
    missing = glass[-1].depletion_mm - _handed(glass)
    assert given - passed == approx(used + drained - missing, abs=1e-6)


def _handed(rows: list[LedgerDay]) -> float:
    return math.fsum(row.handed_over_mm for row in rows) + rows[0].start_depletion_mm


def test_kc_under_film_is_that_of_still_and_moist_air_and_else_the_outside_s() -> None:
    """FAO-56, eq. 70: the adjustment of Kcb is by wind and lowest humidity alone."""
    windy = rainy(SET_OUT - DAY, LIFTED)
    calm = {d: replace(made, wind_2m_m_s=1.0, rh_min_pct=60) for d, made in windy.items()}
    garden = a_garden(under(GLASS), under(CLOTH, name="cloth", relay=27))

    def kcb(days: Mapping[date, DayInput], zone: str) -> list[float]:
        return [row.kcb for row in season(garden, days, zone) if row.stage == "mid"]

    assert kcb(windy, "a") == kcb(calm, "a") == approx(kcb(calm, "cloth"))
    assert min(kcb(windy, "cloth")) > max(kcb(windy, "a"))


def test_the_tunnel_s_skin_comes_off_on_its_day() -> None:
    days = rainy(SET_OUT - DAY, LIFTED)
    rows = {row.day: row for row in season(a_garden(under(TUNNEL)), days)}
    # WORKED: 0.75 x 5.0.
    assert rows[TUNNEL.until].eto_mm == approx(3.75)
    assert rows[TUNNEL.until + DAY].eto_mm == 5.0
    assert math.fsum(r.rain_mm for d, r in rows.items() if d <= TUNNEL.until) == 0.0
    rained = sum(1 for d in rows if d > TUNNEL.until and d.toordinal() % 6 == 0)
    assert math.fsum(r.rain_mm for r in rows.values()) == 12.0 * rained > 0.0


def _share_of(share: float, row: Row) -> float:
    return row.ground_m2 * share


def test_film_that_sheds_rain_is_watered_for_what_it_sheds() -> None:
    """Played on the ground as it is, where a third of the rain gets in."""
    days = rainy(SET_OUT - DAY, LIFTED)
    film = replace(under().bed, mulch="plastic", mulch_rain=1.0 / 3.0)
    so, felt = replace(under(), bed=film), {}
    for share in (None, 1.0):  # the default; and all of it, as if it soaked in at the edges
        zone = replace(under(), bed=replace(film, mulch_rain=share))
        given = season(a_garden(zone), days)
        wetted = given[-1].wetted_fraction
        (part,) = parts_of(
            so,
            catalogue().soil("loam"),
            Season(crop_for=catalogue().crop, days=days),
            wetted_m2=partial(_share_of, wetted),
        )
        ledger: list[LedgerDay] = []
        for row in given:
            ledger.append(
                advance(
                    ledger[-1] if ledger else None,
                    part=part,
                    today=days[row.day],
                    watered_mm=row.watered_mm,
                    stored_mm=row.watered_mm - row.passed_mm,
                )
            )
        felt[share] = sum(row.stress < 0.999 for row in ledger)
    assert felt[None] == 0 and felt[1.0] > 5


def one_morning(
    *covers: Cover,
    rain_mm: float | None = 0.0,
    fallen_mm: float | None = None,
    chance_pct: float | None = None,
) -> Timetable:
    """A morning after ten dry days; today is forecast with this rain."""
    days = even_days(FIRST - 10 * DAY, FIRST)
    days[FIRST] = replace(days[FIRST], rain_mm=rain_mm, measured=False, rain_chance_pct=chance_pct)
    given = NOTHING_GIVEN
    if fallen_mm is not None:
        given = replace(given, fallen_mm={FIRST: fallen_mm})
    return a_plan(a_garden(under(*covers)), days, first=FIRST, given=given)


def test_forecast_rain_lowers_no_dose_under_glass() -> None:
    def net_mm(*covers: Cover, rain_mm: float) -> float:
        (dose,) = one_morning(*covers, rain_mm=rain_mm, chance_pct=90.0).doses
        return dose.net_mm

    assert net_mm(rain_mm=15.0) < net_mm(rain_mm=0.0)
    assert net_mm(GLASS, rain_mm=15.0) == net_mm(GLASS, rain_mm=0.0)
    assert net_mm(FLEECE, rain_mm=10.0) == approx(
        net_mm(replace(FLEECE, rain_factor=1.0), rain_mm=8.0)
    )


def test_rain_that_the_gauge_caught_outside_is_multiplied_too() -> None:
    def net_mm(*covers: Cover, fallen_mm: float) -> float:
        timetable = one_morning(*covers, rain_mm=fallen_mm, fallen_mm=fallen_mm)
        return sum(dose.net_mm for dose in timetable.doses)

    assert net_mm(fallen_mm=60.0) == 0.0
    assert net_mm(GLASS, fallen_mm=60.0) == net_mm(GLASS, fallen_mm=0.0) > 0.0
    # WORKED: of 5 mm in the gauge a fleece passes 4, which are not missing any more where the line
    # wets the ground.
    share = one_morning().ledger[-1].wetted_fraction
    less = net_mm(FLEECE, fallen_mm=0.0) - net_mm(FLEECE, fallen_mm=5.0)
    assert less == approx(4.0 * share)


def test_rain_that_film_sheds_lowers_no_dose() -> None:
    """Under a fleece over film what passes both: of the gauge's rain and of the forecast's."""

    def morning(film: bool, *, fallen_mm: float | None = None, coming_mm: float = 0.0) -> float:
        days = even_days(FIRST - 10 * DAY, FIRST)
        days[FIRST] = replace(
            days[FIRST], rain_mm=fallen_mm or coming_mm, measured=False, rain_chance_pct=90.0
        )
        bed = replace(under(FLEECE).bed, mulch="plastic", mulch_rain=0.5 if film else 1.0)
        given = (
            NOTHING_GIVEN
            if fallen_mm is None
            else replace(NOTHING_GIVEN, fallen_mm={FIRST: fallen_mm})
        )
        (dose,) = a_plan(a_garden(replace(under(), bed=bed)), days, first=FIRST, given=given).doses
        return dose.net_mm

    # WORKED: 0.8 x 0.5 = 0.4 of the rain outside; a film that sheds half of 10 mm is one that lets
    # in all of 5.
    assert morning(True, fallen_mm=4.0) == approx(morning(False, fallen_mm=2.0))
    assert morning(True, coming_mm=10.0) == approx(morning(False, coming_mm=5.0))
    assert morning(False, coming_mm=10.0) < morning(True, coming_mm=10.0) < morning(True)


def test_unknown_rain_raises_no_doubt_where_none_passes() -> None:
    days = even_days(FIRST - 10 * DAY, FIRST, rain_mm=None)
    for covers, unknown in (((GLASS,), 0), ((), 10)):
        timetable = a_plan(a_garden(under(*covers)), days, first=FIRST)
        (dose,) = timetable.doses
        assert dose.why.rain_unknown_days == unknown


def test_the_days_before_a_logbook_are_taken_as_watered_under_the_same_cover() -> None:
    days = rainy(FIRST - 30 * DAY, FIRST)
    sums = {}
    for name, covers in (("glass", (GLASS,)), ("open", ())):
        garden = a_garden(under(*covers))
        unknown = replace(NOTHING_GIVEN, record=NO_RECORD)
        ledger = a_plan(garden, days, first=FIRST, given=unknown).ledger
        sums[name] = math.fsum(row.watered_mm for row in ledger if row.day < FIRST)
        assert {row.eto_mm for row in ledger} == {3.25 if covers else 5.0}
    # Rain falls on the one, none on the other: 12 mm in six days are 2 mm a day of 5.
    assert sums["glass"] > 0.0 and sums["open"] > 0.0


def test_stages_by_warmth_come_sooner_under_fleece() -> None:
    weather = [
        WeatherDay(day=SET_OUT + n * DAY, tmin_c=8.0, tmax_c=18.0, rain_mm=0.0, source="a.csv")
        for n in range(-400, 60)
    ]
    planting = Planting(crop="leek", start=SET_OUT, until=LIFTED, by_warmth=True)
    garden = a_garden(
        under(FLEECE, plantings=(planting,)),
        under(name="open", relay=27, plantings=(planting,)),
        under(GLASS, name="glass", relay=22, plantings=(planting,)),
    )
    normals = normals_from(
        [replace(w, day=w.day - 365 * n * DAY) for n in (1, 2) for w in weather], garden.site
    )
    timetable = plan_on(
        Installation(garden, Grounds(garden, catalogue()), Lines(garden)),
        Weather(rows=tuple(weather), normals=normals),
        NOTHING_GIVEN,
        Span.between(first=SET_OUT + 59 * DAY, last=SET_OUT + 59 * DAY, today=SET_OUT + 59 * DAY),
    )

    def initial_days(zone: str) -> int:
        return sum(
            row.stage == "initial" and row.crop is not None
            for row in timetable.ledger
            if row.zone == zone
        )

    assert 0 < initial_days("a") < initial_days("open") == initial_days("glass")


def test_a_plan_says_the_cover_once_for_all_zones_under_it() -> None:
    garden = a_garden(under(TUNNEL), under(TUNNEL, name="b", relay=27), under(name="c", relay=22))
    days = even_days(FIRST - 3 * DAY, FIRST + 40 * DAY)
    named = [
        r for r in said(a_plan(garden, days, first=FIRST, count=3).remarks) if "under the" in r
    ]
    assert named == [
        "a and b: under the high tunnel from 2031-03-01 until 2031-07-31 (0.75 of the reference "
        "ET outside, no rain); ETo and rain are as the bed has them under it"
    ]
    later = a_plan(garden, days, first=TUNNEL.until + DAY, count=3)
    assert not [r for r in said(later.remarks) if "under the" in r]
    both = said(a_plan(a_garden(under(TUNNEL, CLOTH)), days, first=FIRST).remarks)
    assert any(
        "(0.75 of the reference ET outside, no rain) and the shade cloth (0.60 of the reference "
        "ET outside, all rain)" in r
        for r in both
    )


# What check says ----------------------------------------------------------------------------------


def check(garden: Garden) -> list[str]:
    found = findings(garden, Grounds(garden, catalogue()), Lines(garden))
    said = [f"{where_of(f)}: {words_of(f)}" for f in found]
    return [words for words in said if "rain out" in words or "planting" in words]


def salty(garden: Garden, salt_ds_m: float | None = 1.2) -> Garden:
    return replace(garden, supply=replace(garden.supply, salt_ds_m=salt_ds_m))


def test_check_warns_of_salt_that_no_rain_washes_down() -> None:
    (words,) = check(salty(a_garden(under(TUNNEL))))
    assert words.startswith(
        'zone "a": the high tunnel from 2031-03-01 until 2031-07-31 keeps all rain out, and the '
        "water has 1.2 dS/m of salt. No rain washes it down, so all leaching must come from the "
        "line"
    )
    for garden in (
        a_garden(under(TUNNEL)),
        salty(a_garden(under(CLOTH))),
        salty(a_garden(under(FLEECE))),
        salty(a_garden(under(TUNNEL)), 0.0),
    ):
        assert check(garden) == []


@pytest.mark.parametrize(
    ("begins", "until", "stands_over_nothing"),
    [
        (date(2032, 3, 1), date(2032, 10, 31), True),  # next year's, by a slip
        (date.min, SET_OUT - DAY, True),
        (date.min, SET_OUT, False),
        (LIFTED, date.max, False),
        (LIFTED + DAY, date.max, True),
    ],
)
def test_check_warns_of_dates_that_touch_no_planting(
    begins: date, until: date, stands_over_nothing: bool
) -> None:
    found = check(a_garden(under(replace(NET, begins=begins, until=until))))
    assert len(found) == stands_over_nothing
    assert all("covers no planting: look at its dates" in words for words in found)


def test_a_bed_s_cover_may_stand_over_one_of_its_zones_only() -> None:
    spring = replace(FLEECE, until=date(2031, 4, 19))
    early = Planting(crop="radish", start=date(2031, 3, 20), until=date(2031, 4, 30))
    one, other = under(spring), under(spring, name="b", relay=27, plantings=(early,))
    assert check(a_garden(one, replace(other, bed=one.bed))) == []
    assert len(check(a_garden(one))) == 1
