"""The chain from days of weather to pulses, on the real network, ledger and tables."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN

from controller.demand.records import DayInput
from controller.garden.model import Garden, Hold, Planting, Watering, Window
from controller.garden.plumbing import Opening, ValveKind
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.jobs import Given, Grounds, allowed_mm
from controller.timetable.plan import Installation, Span, plan_garden
from controller.timetable.records import Timetable
from controller.units import l_from_m3, m3_s_from_l_min
from controller.wording.say import say
from crops.catalogue import load

CATALOGUE = load()
BEGINS, FIRST = date(2031, 6, 1), date(2031, 7, 1)
DAY = timedelta(days=1)


def planned(
    garden: Garden,
    days: dict[date, DayInput] | None = None,
    *,
    first: date = FIRST,
    count: int = 7,
    given: Given | None = None,
    not_before_utc: datetime | None = None,
) -> Timetable:
    return plan_garden(
        Installation(garden, Grounds(garden, CATALOGUE), Lines(garden)),
        even_days(first - 3 * DAY, first + count * DAY) if days is None else days,
        Span(first=first, count=count, not_before_utc=not_before_utc),
        given=NOTHING_GIVEN if given is None else given,
    )


def test_what_the_timetable_gives_is_what_its_ledger_credits() -> None:
    garden = a_garden(a_zone("a"), a_zone("b", relay=27, rows=(a_row(12), a_row(6))))
    timetable = planned(garden)
    for zone in garden.zones:
        litres = math.fsum(p.litres for p in timetable.pulses if p.zone == zone.name)
        credited = math.fsum(
            d.watered_mm for d in timetable.ledger if d.zone == zone.name and d.day >= FIRST
        )
        assert litres > 0.0
        assert credited * zone.ground_m2 == approx(litres, abs=1e-9)


def test_a_dose_is_the_deficit_over_the_ground_divided_by_evenness_plus_the_line() -> None:
    timetable = planned(a_garden(), count=1)
    (dose,) = timetable.doses
    evening = next(d for d in timetable.ledger if d.day == FIRST - DAY)
    # WORKED: litres = mm * m2 / evenness + pulses * line
    missing_mm = evening.wet_depletion_mm * evening.wetted_fraction
    expected = missing_mm * dose.ground_m2 / dose.evenness
    assert dose.litres == approx(expected + dose.pulses * dose.line_litres, rel=1e-9)
    # Each pulse's time is rounded to a tenth of a second.
    slack = (
        0.06 * dose.pulses * l_from_m3(Lines(a_garden()).open_set(frozenset("a")).supply_flow_m3_s)
    )
    assert sum(p.litres for p in timetable.pulses) == approx(dose.litres, abs=slack)


def test_a_bed_of_six_tenths_of_a_square_metre_gets_its_dose_and_one_of_none_gets_none() -> None:
    row = a_row(8.0)
    small = a_zone(rows=(replace(row, ground_width_m=0.6 / row.length_m),))
    (dose,) = planned(a_garden(small), count=1).doses
    assert dose.ground_m2 == approx(0.6) and dose.litres > 1.0
    plugged = a_zone(rows=(replace(row, plugged=True),))
    assert planned(a_garden(plugged, a_zone("b", relay=27)), count=1).doses[0].zone == "b"


def test_a_dose_says_what_rain_fell_since_the_last_water_and_what_nobody_measured() -> None:
    days = even_days(FIRST - 9 * DAY, FIRST + 2 * DAY)
    changed: dict[int, dict[str, object]] = {
        6: {"rain_mm": 12.0},  # before the last water
        4: {"rain_mm": 3.0, "measured": False},
        3: {"rain_mm": None},
        2: {"rain_mm": 2.0, "measured": False, "rung": "second service"},  # of a weather model
        1: {"rain_mm": 0.9},  # under a fifth of 5 mm: it never reached the ground
    }
    for ago, more in changed.items():
        days[FIRST - ago * DAY] = replace(days[FIRST - ago * DAY], **more)  # type: ignore[arg-type]
    given = replace(NOTHING_GIVEN, litres={("a", FIRST - 5 * DAY): 9.0})
    why = planned(a_garden(), days, count=1, given=given).doses[0].why
    assert why.rain_mm == approx(5.0)
    assert (why.rain_unknown_days, why.stand_in_days) == (1, 1)


def test_what_a_dose_says_of_its_evening_is_of_the_wetted_ground_on_the_eve() -> None:
    timetable = planned(a_garden(), count=1)
    (dose,) = timetable.doses
    eve = next(d for d in timetable.ledger if d.day == FIRST - DAY)
    assert dose.why.depletion_mm == eve.wet_depletion_mm
    assert (dose.why.account, dose.why.stage, dose.why.kc) == (eve.account, eve.stage, eve.kc)
    assert (dose.why.raw_mm, dose.why.eto_mm, dose.why.method) == (eve.raw_mm, 5.0, "test")
    garden = a_garden()
    assert dose.why.allowed_mm == allowed_mm(eve, garden, Grounds(garden, CATALOGUE))


def test_what_may_be_missing_goes_by_zone_then_garden_then_the_crop_and_its_years() -> None:
    def allowed(garden: Garden, **changed: object) -> float | None:
        row = replace(planned(garden, count=1).ledger[-1], raw_mm=20.0, **changed)  # type: ignore[arg-type]
        return allowed_mm(row, garden, Grounds(garden, CATALOGUE))

    quarter = Watering(windows=(EVERY_DAY,), refill_at=0.25)
    assert allowed(a_garden(a_zone(refill_at=0.7), watering=quarter)) == approx(14.0)
    assert allowed(a_garden(watering=quarter)) == 5.0
    # WORKED: leeks have shallow roots: half, and from development on 0.6, of 20 mm.
    assert allowed(a_garden(), stage="initial") == 10.0
    assert allowed(a_garden(), stage="mid") == 12.0
    assert allowed(a_garden(), crop=None) is None
    # Asparagus has deep ones; in its first year half is the most (stages.FIRST_YEAR_REFILL_AT),
    # and a bed of 0.3 m makes it shallow.
    young = Planting(crop="asparagus", start=date(2031, 4, 20), until=date(2033, 10, 10))
    old = replace(young, years_before=9)
    for planting, limit_m, mm in ((young, None, 10.0), (old, None, 16.0), (old, 0.3, 12.0)):
        bed = replace(a_zone().bed, rooting_limit_m=limit_m)
        zone = a_zone(plantings=(planting,), bed=bed)
        assert allowed(a_garden(zone), stage="mid") == approx(mm)


def test_a_first_year_that_is_over_is_not_that_of_what_stands_there_now() -> None:
    gone = Planting(crop="asparagus", start=date(2031, 4, 1), until=date(2031, 6, 1))
    now = replace(gone, start=date(2031, 6, 2), until=date(2033, 9, 1), years_before=9)
    garden = a_garden(a_zone(plantings=(gone, now)))
    row = replace(planned(garden, count=1).ledger[-1], raw_mm=20.0, stage="mid")
    assert row.crop == "asparagus"
    # WORKED: 0.8 of 20 mm, for roots so deep; in a first year half.
    assert allowed_mm(row, garden, Grounds(garden, CATALOGUE)) == approx(16.0)
    then = replace(row, day=date(2031, 5, 1))
    assert allowed_mm(then, garden, Grounds(garden, CATALOGUE)) == approx(10.0)


def test_an_unthrottled_short_row_gets_its_water_in_seconds() -> None:
    """`common practice, no source`: nobody opens such a row for long."""
    timetable = planned(a_garden(a_zone(refill_at=0.1)), count=3)
    assert timetable.pulses
    assert all(p.open_s < 60.0 for p in timetable.pulses)


def test_a_throttled_row_gets_the_same_water_in_minutes() -> None:
    full = planned(a_garden(a_zone()), count=1)
    slow = planned(a_garden(a_zone(opening=Opening(alone_flow_m3_s=m3_s_from_l_min(1.5)))), count=1)
    assert sum(p.open_s for p in slow.pulses) > 10 * sum(p.open_s for p in full.pulses)
    assert sum(p.litres for p in slow.pulses) == approx(
        sum(p.litres for p in full.pulses), rel=0.25
    )


def test_zones_open_together_are_timed_at_the_flow_they_have_together() -> None:
    zones = [a_zone(n, relay=r) for n, r in (("a", 17), ("b", 27), ("c", 22))]
    watering = Watering(windows=(EVERY_DAY,), least_share=0.1)
    alone = planned(a_garden(zones[0], watering=watering), count=1)
    together = planned(a_garden(*zones, watering=watering), count=1)
    mine = [p for p in together.pulses if p.zone == "a"]
    assert mine[0].together == ("b", "c")
    # `common practice, no source`: a row's flow collapses when others open beside it; its time
    # grows by a factor, not by percent.
    assert sum(p.open_s for p in mine) > 1.8 * sum(p.open_s for p in alone.pulses)
    assert sum(p.litres for p in mine) == approx(sum(p.litres for p in alone.pulses), rel=0.1)


def test_open_zones_never_ask_more_than_the_supply_gives() -> None:
    zones = [a_zone(n, relay=r) for n, r in (("a", 17), ("b", 27), ("c", 22))]
    garden = a_garden(*zones)
    lines = Lines(garden)
    changes = defaultdict(set)
    for p in planned(garden).pulses:
        changes[p.opens_utc].add(("open", p.zone))
        changes[p.closes_utc].add(("close", p.zone))
    now: set[str] = set()
    for moment in sorted(changes):
        for what, zone in sorted(changes[moment]):  # close before open
            now = now - {zone} if what == "close" else now | {zone}
        if now:
            flow = lines.open_set(frozenset(now))
            assert flow.tap_head_m == approx(lines.supply.head_m(flow.supply_flow_m3_s), abs=1e-6)
            assert flow.tap_head_m >= -1e-9
            assert len(now) <= garden.watering.most_open


@pytest.mark.parametrize("night", [date(2031, 3, 30), date(2031, 10, 26)])
def test_on_a_clock_change_night_each_slot_comes_once_and_keeps_its_length(night: date) -> None:
    window = Window(opens=time(1, 30), closes=time(4))
    garden = a_garden(
        a_zone(
            plantings=(
                replace(a_zone().plantings[0], start=night - 60 * DAY, until=night + 30 * DAY),
            )
        ),
        watering=Watering(windows=(window,)),
    )
    days = even_days(night - 3 * DAY, night + 8 * DAY)
    timetable = planned(garden, days, first=night, count=1)
    assert timetable.pulses
    assert len({p.key for p in timetable.pulses}) == len(timetable.pulses)
    for p in timetable.pulses:
        assert (p.closes_utc - p.opens_utc).total_seconds() == approx(p.open_s, abs=1e-3)
        local = p.opens_utc.astimezone(garden.site.zone_info)
        assert time(1, 30) <= local.time() < time(4)


def test_a_hold_gives_nothing_and_the_water_is_owed_the_day_after() -> None:
    hold = Hold(begins=datetime(2031, 7, 1), ends=datetime(2031, 7, 2), reason="guests")
    held = planned(a_garden(watering=Watering(windows=(EVERY_DAY,), holds=(hold,))), count=2)
    assert [(n.day, say(n.reason, us=False)) for n in held.not_fitted] == [(FIRST, "held: guests")]
    assert {p.day for p in held.pulses} == {FIRST + DAY}
    assert held.doses[1].net_mm > held.doses[0].net_mm


def test_water_given_already_is_taken_off_and_never_given_twice() -> None:
    first = planned(a_garden(), count=1)
    half = sum(p.litres for p in first.pulses) / 2
    again = planned(
        a_garden(),
        count=1,
        given=replace(NOTHING_GIVEN, litres={("a", FIRST): half}, slots={("a", FIRST): 3}),
    )
    total = half + sum(p.litres for p in again.pulses)
    line = first.doses[0].line_litres
    assert total == approx(first.doses[0].litres, abs=2 * line + 1.0)
    assert min(p.slot for p in again.pulses) == 4


def test_a_dose_given_whole_leaves_nothing_for_the_day() -> None:
    first = planned(a_garden(), count=1)
    given = replace(
        NOTHING_GIVEN,
        litres={("a", FIRST): sum(p.litres for p in first.pulses)},
        slots={("a", FIRST): 1},
    )
    again = planned(a_garden(), count=1, given=given)
    assert again.pulses == ()


def test_nothing_opens_before_the_moment_said_or_while_the_last_pulse_soaks() -> None:
    moment = datetime(2031, 7, 1, 4, 30, tzinfo=UTC)  # 06:30 in the garden
    late = planned(a_garden(), count=1, not_before_utc=moment)
    assert late.pulses
    assert all(p.opens_utc >= moment for p in late.pulses)
    soaking = replace(NOTHING_GIVEN, soaking_until_utc={"a": moment})
    assert planned(a_garden(), count=1, given=soaking).pulses[0].opens_utc >= moment


def test_rain_unknown_yesterday_makes_a_zone_wait_until_it_must() -> None:
    # Slow days: one on which the allowed share is just used up, and far from all that is easy.
    days = even_days(BEGINS, FIRST + 8 * DAY, eto_mm=1.5)
    ledger = planned(a_garden(), days, first=BEGINS + 20 * DAY, count=1).ledger
    evening = next(d for d in ledger if d.depletion_mm > 0.5 * d.raw_mm)
    assert evening.depletion_mm + 2 * evening.etc_mm < evening.raw_mm
    first = evening.day + DAY
    assert planned(a_garden(), days, first=first, count=1).doses
    days[evening.day] = replace(days[evening.day], rain_mm=None)
    assert planned(a_garden(), days, first=first, count=1).doses == ()
    later = next(d for d in ledger if d.depletion_mm + d.etc_mm > d.raw_mm)
    days[later.day] = replace(days[later.day], rain_mm=None)
    assert planned(a_garden(), days, first=later.day + DAY, count=1).doses


def test_after_a_long_doubt_it_waters_and_says_so() -> None:
    days = even_days(FIRST - 10 * DAY, FIRST + 8 * DAY)
    for ahead in range(1, 11):
        days[FIRST - ahead * DAY] = replace(days[FIRST - ahead * DAY], rain_mm=None)
    timetable = planned(a_garden(), days, count=1)
    assert timetable.doses[0].why.rain_unknown_days == 10


def test_the_same_inputs_give_the_same_timetable() -> None:
    zones = (a_zone("a"), a_zone("b", relay=27), a_zone("h", relay=None))
    assert planned(a_garden(*zones)) == planned(a_garden(*zones))


def test_hand_zones_are_planned_in_their_own_window() -> None:
    hand = Window(opens=time(18), closes=time(20), valves=frozenset({ValveKind.HAND}))
    relay = replace(EVERY_DAY, valves=frozenset({ValveKind.RELAY}))
    garden = a_garden(
        a_zone("a"), a_zone("h", relay=None), watering=Watering(windows=(relay, hand))
    )
    hours = {
        p.zone: p.opens_utc.astimezone(garden.site.zone_info).hour for p in planned(garden).pulses
    }
    assert hours["a"] in range(5, 8)
    assert hours["h"] in range(18, 20)


rain = st.lists(st.floats(min_value=0.0, max_value=30.0), min_size=10, max_size=10)


@settings(max_examples=25)
@given(rain=rain, day=st.integers(min_value=0, max_value=9), more=st.floats(0.0, 40.0))
def test_more_rain_never_means_more_watering(rain: list[float], day: int, more: float) -> None:
    """On any morning, for the same record of watering, a wetter past asks for no more water."""
    garden = a_garden()
    days = even_days(BEGINS, FIRST + 8 * DAY)
    for i, mm in enumerate(rain):
        days[FIRST - (i + 1) * DAY] = replace(days[FIRST - (i + 1) * DAY], rain_mm=mm)
    wetter = dict(days)
    when = FIRST - (day + 1) * DAY
    wetter[when] = replace(days[when], rain_mm=rain[day] + more)

    def asked(d: dict[date, DayInput]) -> float:
        return sum(dose.litres for dose in planned(garden, d, count=1).doses)

    # The line's filling is paid by the pulse; a smaller dose has no more pulses.
    assert asked(wetter) <= asked(days) + 1e-9


@settings(max_examples=15)
@given(
    eto=st.lists(st.floats(0.2, 9.0), min_size=40, max_size=40),
    rain=st.lists(st.one_of(st.just(0.0), st.floats(0.0, 40.0)), min_size=40, max_size=40),
)
def test_no_water_is_made_or_lost_over_random_seasons(eto: list[float], rain: list[float]) -> None:
    garden = a_garden(a_zone("a"), a_zone("b", relay=27))
    days = {
        BEGINS + i * DAY: DayInput(day=BEGINS + i * DAY, eto_mm=e, method="test", rain_mm=r)
        for i, (e, r) in enumerate(zip(eto, rain, strict=True))
    }
    timetable = planned(garden, days, first=BEGINS + DAY, count=39)
    for zone in garden.zones:
        account = [d for d in timetable.ledger if d.zone == zone.name]
        watered = math.fsum(p.litres for p in timetable.pulses if p.zone == zone.name)
        into = watered / zone.ground_m2 + math.fsum(
            d.rain_mm - d.rain_unused_mm - d.runoff_mm for d in account
        )
        out = math.fsum(d.used_mm + d.drained_mm + d.handed_over_mm + d.passed_mm for d in account)
        missing = account[-1].depletion_mm - account[0].start_depletion_mm
        assert out - into == approx(missing, abs=1e-8)
