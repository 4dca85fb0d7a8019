"""What a day needs: seedbeds, settling in, dry-down, observations, salt, frost, snow."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.mornings import a_plan, catalogue, ledger_of, mornings
from support.said import reasons_of, said

from controller.demand.records import DayInput, LedgerDay, Observation
from controller.demand.soil.salinity import leaching_share_of
from controller.garden.model import Bed, Coefficients, Garden, Hold, Planting, Watering, Window
from controller.garden.plumbing import Opening
from controller.inputs.days import demand_days
from controller.timetable.need.wetted_area import wet_ground_m2
from controller.timetable.records import Timetable
from controller.units import m3_s_from_l_min
from controller.weather.day import WeatherDay
from controller.wording.say import say

DAY = timedelta(days=1)
SPRING = date(2031, 5, 1)
EVENING = Window(opens=time(19), closes=time(21))


def one(planting: Planting, *, supply: dict[str, Any] | None = None, **watering: Any) -> Garden:
    """One throttled row of it, so that the shortest pulse is a fraction of a millimetre."""
    zone = a_zone(plantings=(planting,), opening=Opening(alone_flow_m3_s=m3_s_from_l_min(1.0)))
    windows = watering.pop("windows", (EVERY_DAY,))
    garden = a_garden(zone, watering=Watering(windows=windows, **watering))
    return replace(garden, supply=replace(garden.supply, **(supply or {})))


def words(timetable: Timetable) -> str:
    return "".join(reasons_of(dose.why) for dose in timetable.doses)


CARROT = Planting(
    crop="carrot", start=SPRING, until=SPRING + 110 * DAY, transplanted=False, emerges_days=14
)


@pytest.mark.parametrize("coefficients", list(Coefficients))
def test_a_seedbed_is_kept_moist_until_it_is_up_and_then_waits_for_its_roots(
    coefficients: Coefficients,
) -> None:
    days = even_days(SPRING, SPRING + 60 * DAY, eto_mm=4.5)
    garden = one(CARROT, coefficients=coefficients)
    plans, _ = mornings(garden, days, first=SPRING, last=SPRING + 40 * DAY)
    up = SPRING + 14 * DAY
    said = {day: words(plan) for day, plan in plans.items()}
    assert said[SPRING] == ""  # sown into soil just watered
    moist = [d for d, w in said.items() if "moist" in w]
    assert moist == [SPRING + n * DAY for n in range(1, 14)]  # each day, and none once it is up
    for day in moist:
        evening = ledger_of(plans[day])[day]
        if coefficients is Coefficients.DUAL:
            rew_mm = catalogue().soil("loam").rew_mm
            assert evening.surface_depletion_mm < rew_mm  # it never dries so far as to slow
    after = [w for d, w in said.items() if d >= up]
    assert any("the allowed share" in w for w in after)
    assert after.count("") > len(after) / 3  # no longer every day


def test_a_seedbed_gets_light_doses() -> None:
    days = even_days(SPRING, SPRING + 20 * DAY, eto_mm=4.5)
    plans, _ = mornings(one(CARROT), days, first=SPRING, last=SPRING + 12 * DAY)
    for plan in plans.values():
        for dose in plan.doses:
            # 2 to 5 mm: extension services' practice, no source. Ours is over the strip of 0.45 m
            # on ground of 0.6 m; more where half of what roots get easily is gone below the top:
            # WORKED: 0.5 x 14.6 mm of 0.2 m of loam, and what is lost in a day beyond it.
            top = reasons_of(dose.why) == "the top is kept moist until seedlings show"
            assert 2.0 <= dose.net_mm * 0.6 / 0.45 <= (6.0 if top else 7.3 + 1.0)


@pytest.mark.parametrize("coefficients", list(Coefficients))
def test_seeds_where_the_line_wets_little_are_not_left_on_dry_ground(
    coefficients: Coefficients,
) -> None:
    """Potatoes on sand under straw, a hole each 0.9 m: an eighth of the ground, soon dry below.

    Its top then had no more to lose, and looked moist enough for days on end.
    """
    row = a_row(10.0, drilling=replace(a_row().drilling, every_m=0.9, first_m=0.45))
    planting = replace(CARROT, crop="potato", emerges_days=19)
    zone = a_zone(
        rows=(row,),
        plantings=(planting,),
        bed=Bed(name="bed", soil="sand", mulch="straw"),
        opening=Opening(alone_flow_m3_s=m3_s_from_l_min(0.5)),
    )
    garden = a_garden(zone, watering=Watering(windows=(EVERY_DAY,), coefficients=coefficients))
    days = even_days(SPRING, SPRING + 20 * DAY, eto_mm=6.0)
    for n in range(4, 20, 5):  # a dull day, on which the top stays moist
        days[SPRING + n * DAY] = replace(days[SPRING + n * DAY], eto_mm=2.0)
    timetable = a_plan(garden, days, first=SPRING + DAY, count=18)
    gaps = [d.day for d in timetable.ledger if d.day > SPRING + DAY and not d.watered_mm]
    assert gaps == []
    wetted = timetable.ledger[0].wetted_fraction
    assert coefficients is Coefficients.SINGLE or all(
        # WORKED: Kcb 0.15 of 6 mm, drawn from an eighth of the ground, are 7.2 mm of it; and what
        # evaporates there, some 3.
        2.0 <= dose.net_mm / wetted <= 10.5
        for dose in timetable.doses
    )
    # Before there are plants none goes short.
    assert timetable.short == ()


@pytest.mark.parametrize("coefficients", list(Coefficients))
def test_seeds_in_ground_long_dry_get_no_more_than_the_top_can_lack(
    coefficients: Coefficients,
) -> None:
    before = Planting(crop="radish", start=SPRING - 60 * DAY, until=SPRING - 30 * DAY)
    garden = one(CARROT, coefficients=coefficients)
    drilling = replace(a_row().drilling, every_m=0.9, first_m=0.45)
    zone = replace(
        garden.zones[0],
        plantings=(before, CARROT),
        rows=(a_row(drilling=drilling, ground_width_m=1.2),),
    )
    garden = replace(garden, zones=(zone,))
    days = even_days(before.start, SPRING + 20 * DAY, eto_mm=4.5)
    plans, _ = mornings(garden, days, first=SPRING, last=SPRING + 12 * DAY)
    doses = [dose for plan in plans.values() for dose in plan.doses]
    assert doses
    loam = catalogue().soil("loam")
    wetted = wet_ground_m2(zone.rows[0], loam) / zone.ground_m2
    assert wetted < 0.2
    assert all(dose.net_mm <= wetted * loam.tew_mm + 1e-9 for dose in doses)


@pytest.mark.parametrize(("eto_mm", "windows_used"), [(4.5, 1), (5.5, 2)])
def test_on_a_thirsty_day_a_seedbed_is_watered_at_each_window(
    eto_mm: float, windows_used: int
) -> None:
    days = even_days(SPRING, SPRING + 20 * DAY, eto_mm=eto_mm)
    garden = one(CARROT, windows=(EVERY_DAY, EVENING))
    plans, _ = mornings(garden, days, first=SPRING, last=SPRING + 5 * DAY)
    hours = {
        p.opens_utc.astimezone(garden.site.zone_info).hour for p in plans[SPRING + 5 * DAY].pulses
    }
    assert len({hour >= 12 for hour in hours}) == windows_used


def test_a_seedbed_goes_before_a_crop_that_is_nearly_out_of_easy_water() -> None:
    seeds = one(CARROT).zones[0]
    leek = Planting(crop="leek", start=SPRING - 30 * DAY, until=SPRING + 140 * DAY)
    dry = a_zone("0 before a in the alphabet", 22, plantings=(leek,))
    garden = a_garden(dry, seeds, watering=Watering(windows=(EVERY_DAY,), most_open=1))
    days = even_days(SPRING - 4 * DAY, SPRING + 6 * DAY, eto_mm=4.5)
    plan = a_plan(garden, days, first=SPRING + DAY)
    order = sorted(plan.pulses, key=lambda p: p.opens_utc)
    assert {p.zone for p in order} == {"a", dry.name}
    assert order[0].zone == "a"


def test_rain_in_the_gauge_waters_a_seedbed() -> None:
    days = even_days(SPRING, SPRING + 20 * DAY, eto_mm=4.5)
    _, given = mornings(one(CARROT), days, first=SPRING, last=SPRING + 4 * DAY)
    today = SPRING + 5 * DAY
    assert a_plan(one(CARROT), days, first=today, given=given).doses
    caught = replace(given, fallen_mm={today: 6.0})
    assert a_plan(one(CARROT), days, first=today, given=caught).doses == ()


def test_plants_just_set_out_are_watered_daily_and_then_by_their_roots() -> None:
    leek = Planting(crop="leek", start=SPRING, until=SPRING + 140 * DAY)
    days = even_days(SPRING, SPRING + 60 * DAY, eto_mm=3.0)
    plans, _ = mornings(one(leek), days, first=SPRING, last=SPRING + 30 * DAY)
    settling = [d for d, plan in plans.items() if "settling in" in words(plan)]
    assert settling == [SPRING + n * DAY for n in range(1, 7)]
    later = [d for d, plan in plans.items() if d >= SPRING + 7 * DAY and plan.doses]
    assert later and len(later) < 15
    assert not mornings(one(leek, settling_days=0), days, first=SPRING, last=SPRING + DAY)[0][
        SPRING + DAY
    ].doses


ONION = Planting(
    crop="onion_dry", start=SPRING, until=SPRING + 150 * DAY, stage_days=(15, 25, 40, 30)
)


def test_onions_are_watered_until_somebody_saw_them_ripen() -> None:
    late = SPRING + 85 * DAY
    days = even_days(SPRING, late + 40 * DAY)
    unseen, _ = mornings(one(ONION), days, first=late, last=late + 20 * DAY)
    assert ledger_of(unseen[late])[late].stage == "late"
    assert sum(bool(plan.doses) for plan in unseen.values()) > 5
    assert any('note "tops fallen"' in remark for remark in said(unseen[late].remarks))
    fallen = Observation(zone="a", day=late + 10 * DAY, event="tops fallen")
    seen, _ = mornings(one(ONION), days, first=late, last=late + 20 * DAY, seen=[fallen])
    for day, plan in seen.items():
        if day < fallen.day:
            assert plan.doses == unseen[day].doses
        else:
            assert plan.doses == ()
            assert ledger_of(plan)[day].phase == "dry-down"


def test_beans_left_to_dry_stop_in_the_last_half_of_their_last_stage() -> None:
    bean = Planting(
        crop="dry_bean", start=SPRING, until=SPRING + 120 * DAY, stage_days=(20, 30, 40, 20)
    )
    late = SPRING + 90 * DAY
    garden = one(bean, refill_at=0.1)
    days = even_days(SPRING, late + 21 * DAY)
    plans, _ = mornings(garden, days, first=late, last=late + 19 * DAY)
    dosed = [(day - late).days for day, plan in plans.items() if plan.doses]
    assert dosed and max(dosed) == 9  # of days 0 to 19


def test_what_was_seen_moves_the_stage_and_the_doses_from_there_on_and_nothing_before() -> None:
    leek = Planting(crop="leek", start=SPRING, until=SPRING + 140 * DAY)
    seen_on = SPRING + 30 * DAY  # by date the eleventh of its development
    days = even_days(SPRING, SPRING + 60 * DAY)
    _, given = mornings(one(leek), days, first=SPRING, last=seen_on + 5 * DAY)
    today = seen_on + 6 * DAY
    full = Observation(zone="a", day=seen_on, event="full")
    before = a_plan(one(leek), days, first=today, count=5, given=given)
    after = a_plan(
        one(leek), days, first=today, count=5, given=replace(given, observations=(full,))
    )
    old, new = ledger_of(before), ledger_of(after)
    assert {day for day in old if old[day] != new[day]} == {d for d in old if d >= seen_on}
    assert old[seen_on].stage == "development" and new[seen_on].stage == "mid"
    # A full stand has used more; its roots reach further, so that less of it is from the strip.
    assert new[today - DAY].depletion_mm - old[today - DAY].depletion_mm > 1.0
    missing = _missing_mm(new[today - DAY]) - _missing_mm(old[today - DAY])
    assert after.doses[0].net_mm - before.doses[0].net_mm == approx(missing, abs=1e-9)


def _missing_mm(day: LedgerDay) -> float:
    """From the ground that the line wets, over all of it."""
    return day.wet_depletion_mm * day.wetted_fraction


def test_better_weather_changes_its_own_days_and_enters_the_next_dose_once() -> None:
    leek = Planting(crop="leek", start=SPRING, until=SPRING + 140 * DAY)
    days = even_days(SPRING, SPRING + 60 * DAY)
    garden = one(leek)
    today = SPRING + 40 * DAY
    _, given = mornings(garden, days, first=SPRING, last=today - DAY)
    stand_in = today - DAY
    better = {**days, stand_in: replace(days[stand_in], eto_mm=7.0)}
    was, now = (a_plan(garden, d, first=today, given=given) for d in (days, better))
    old, new = ledger_of(was), ledger_of(now)
    assert {day for day in old if old[day] != new[day]} == {stand_in, today}
    used = new[stand_in].used_mm - old[stand_in].used_mm
    gone = new[stand_in].depletion_mm - old[stand_in].depletion_mm
    assert gone == approx(used, abs=1e-9)
    more = _missing_mm(new[stand_in]) - _missing_mm(old[stand_in])
    assert 1.0 < more <= gone
    assert now.doses[0].net_mm - was.doses[0].net_mm == approx(more, abs=1e-9)
    # Filled up both times, nothing of it is left for tomorrow where the line waters, but a tenth of
    # a second's water.
    _, then = mornings(garden, better, first=today, last=today, given=given)
    _, also = mornings(garden, days, first=today, last=today, given=given)
    tomorrow = a_plan(garden, better, first=today + DAY, given=then)
    otherwise = a_plan(garden, days, first=today + DAY, given=also)
    left = _missing_mm(ledger_of(otherwise)[today]) - _missing_mm(ledger_of(tomorrow)[today])
    assert left == approx(0.0, abs=0.06)


SALTY = {"salt_ds_m": 1.5}


def test_salty_water_gets_a_share_to_wash_out_and_rain_pays_it() -> None:
    bean = Planting(crop="bush_bean", start=SPRING, until=SPRING + 90 * DAY)
    days = even_days(SPRING, SPRING + 85 * DAY)
    last = SPRING + 80 * DAY
    fresh, _ = mornings(one(bean), days, first=SPRING, last=last)
    salty, _ = mornings(one(bean, supply=SALTY), days, first=SPRING, last=last)
    assert not any("salt" in words(plan) for plan in fresh.values())
    assert sum("to wash out salt" in words(plan) for plan in salty.values()) > 5
    account = ledger_of(salty[last])
    watered = math.fsum(d.watered_mm - d.passed_mm for d in account.values())
    drained = math.fsum(d.wet_drained_mm * d.wetted_fraction for d in account.values())
    share = leaching_share_of(catalogue().crop("bush_bean"), 1.5)
    assert share > 0.2
    # What is owed is a day's own use behind, which drinks first of what is given for it.
    assert share - 0.03 < drained / watered < share + 0.02


def _soil_salt_ds_m(account: list[LedgerDay], water_ds_m: float, *, begins_ds_m: float) -> float:
    """ECe of the wetted ground at the end: a box of salt apart from ours.

    Watering brings salt, water that drains carries it away at the strength it has below the roots,
    2C - ECw where C is the mean (FAO-56 (1998), chapter 8: ECe = C / 2.5; at rest it is eq. 93).
    """
    crop = catalogue().crop("strawberry")
    soil = catalogue().soil("loam")
    held_mm = 1000.0 * soil.field_capacity * crop.root_min_m
    salt = begins_ds_m * 2.5 * held_mm
    for day in account:
        salt += (day.watered_mm - day.passed_mm) / day.wetted_fraction * water_ds_m
        salt -= day.wet_drained_mm * max(2.0 * salt / held_mm - water_ds_m, 0.0)
    return salt / held_mm / 2.5


def test_rain_of_a_wet_spring_pays_for_no_watering_after_it() -> None:
    berry = Planting(crop="strawberry", start=SPRING, until=SPRING + 140 * DAY, years_before=3)
    last, dry = SPRING + 130 * DAY, SPRING + 30 * DAY
    days = even_days(SPRING, last + 5 * DAY)
    days |= {d: replace(days[d], rain_mm=20.0) for d in days if d < dry}
    garden = one(berry, supply={"salt_ds_m": 1.0})
    plans, _ = mornings(garden, days, first=SPRING, last=last)
    account = [d for d in ledger_of(plans[last]).values() if d.day >= dry]
    drained = math.fsum(d.wet_drained_mm * d.wetted_fraction for d in account)
    watered = math.fsum(d.watered_mm - d.passed_mm for d in account)
    share = leaching_share_of(catalogue().crop("strawberry"), 1.0)
    assert share == approx(0.25)  # WORKED: 1.0 / (5 x 1.0 - 1.0)
    assert share - 0.05 < drained / watered < share + 0.03
    # What it bears is 1.0 dS/m (FAO-29, table 4); 2.0 costs a third of the fruit.
    assert _soil_salt_ds_m(account, 1.0, begins_ds_m=0.3) < 1.2
    # Rain that drains pays what is owed when it falls.
    wet = {**days, dry + 60 * DAY: replace(days[dry + 60 * DAY], rain_mm=60.0)}
    rained, _ = mornings(garden, wet, first=SPRING, last=dry + 90 * DAY)
    after = [words(rained[d]) for d in sorted(rained) if d > dry + 60 * DAY and rained[d].doses]
    said = ["salt" in each for each in after if each]
    assert said[0] is False and any(said[1:])


def frosty(tmins: list[float], first: date) -> dict[date, DayInput]:
    days = even_days(first - 6 * DAY, first + 10 * DAY, eto_mm=3.0)
    for number, tmin in enumerate(tmins):
        day = first + number * DAY
        days[day] = replace(days[day], measured=False, tmin_c=tmin, tmax_c=tmin + 8.0)
    return days


def test_frost_holds_the_valves_and_the_water_is_owed_after() -> None:
    leek = Planting(crop="leek", start=SPRING - 60 * DAY, until=SPRING + 90 * DAY)
    cold = frosty([4.0, -1.0, 5.0, 6.0], SPRING)
    mild = frosty([4.0, 2.0, 5.0, 6.0], SPRING)
    garden = one(leek)
    held = a_plan(garden, cold, first=SPRING, count=4)
    free = a_plan(garden, mild, first=SPRING, count=4)
    assert any(p.day == SPRING for p in free.pulses)
    assert min(p.day for p in held.pulses) == SPRING + 2 * DAY
    assert {(n.day, say(n.reason, us=False)) for n in held.not_fitted} == {
        (SPRING, "held: frost is forecast"),
        (SPRING + DAY, "held: frost is forecast"),
    }
    (owed,) = [d for d in held.doses if d.day == SPRING + 2 * DAY]
    assert owed.net_mm > max(d.net_mm for d in free.doses)
    assert any(remark.startswith("frost: ") for remark in said(held.remarks))
    never = replace(garden, weather=replace(garden.weather, frost_hold_c=None))
    assert a_plan(never, cold, first=SPRING, count=4).pulses == free.pulses


def test_snow_waters_when_it_melts() -> None:
    winter = date(2031, 3, 1)
    asked = [(-6.0, 12.0), (-4.0, 0.0), (-3.0, 0.0), (2.0, 0.0), (9.0, 0.0), (9.0, 0.0)]
    rows = [
        WeatherDay(
            day=winter + n * DAY, tmin_c=mean - 2.0, tmax_c=mean + 2.0, rain_mm=fell, source="x"
        )
        for n, (mean, fell) in enumerate(asked)
    ]
    garden = one(Planting(crop="leek", start=winter, until=winter + 140 * DAY))
    days = demand_days(rows, garden.site, last=winter + 6 * DAY, first=winter).days
    assert [days[winter + n * DAY].rain_mm for n in range(6)] == approx(
        [0.0, 0.0, 0.0, 6.0, 6.0, 0.0]  # WORKED: 3 mm for each degree of 2, and what is left
    )
    ledger = ledger_of(a_plan(garden, days, first=winter + 5 * DAY))
    assert [ledger[winter + n * DAY].snow_mm for n in range(5)] == approx([12, 12, 12, 6, 0])
    assert math.fsum(d.rain_mm for d in ledger.values()) == approx(12.0)


def test_a_hold_and_a_frost_are_told_apart() -> None:
    garden = one(Planting(crop="leek", start=SPRING - 60 * DAY, until=SPRING + 90 * DAY))
    hold = Hold(begins=datetime(2031, 5, 1), ends=datetime(2031, 5, 2), reason="guests")
    held = replace(garden, watering=replace(garden.watering, holds=(hold,)))
    plan = a_plan(held, frosty([4.0, 5.0], SPRING), first=SPRING, given=NOTHING_GIVEN)
    assert [say(n.reason, us=False) for n in plan.not_fitted] == ["held: guests"]
