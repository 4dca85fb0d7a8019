"""What a forecast's rain is worth to a plan. The rules are the module's own choice."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_zone, even_days
from support.given import NOTHING_GIVEN
from support.said import reasons_of

from controller.demand.records import DayInput, LedgerDay
from controller.garden.model import Watering, Window
from controller.garden.plumbing import Opening
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.dose import (
    as_planned,
    counted_mm,
    counted_on,
    lowered_mm,
    to_come_mm,
)
from controller.timetable.plan import Given, Grounds, Installation, Span, plan_garden
from controller.timetable.records import Timetable
from controller.units import m3_s_from_l_min
from crops.catalogue import load

CATALOGUE = load()
TODAY = date(2031, 7, 1)
DAY = timedelta(days=1)


def forecast(rain_mm: float | None, chance_pct: float | None = 80.0, ahead: int = 0) -> DayInput:
    return DayInput(
        day=TODAY + ahead * DAY,
        eto_mm=5.0,
        method="test",
        rain_mm=rain_mm,
        measured=False,
        rain_chance_pct=chance_pct,
    )


def test_rain_that_a_model_says_has_fallen_is_no_forecast() -> None:
    been = replace(forecast(10.0), rung="second service")
    assert counted_mm(been, 0) == 0.0
    planned = as_planned({TODAY: been}, {}, first=TODAY, fallen_mm={}, trust=0.5)
    assert planned[TODAY].rain_mm == 10.0  # discounted already, where the day was made


@pytest.mark.parametrize(
    ("rain_mm", "chance_pct", "ahead", "worth_mm"),
    [
        (10.0, 80.0, 0, 8.0),
        (10.0, 80.0, 1, 4.0),  # tomorrow by half
        (10.0, 80.0, 2, 0.0),  # later not at all
        (10.0, 80.0, -1, 0.0),  # nor yesterday's forecast
        (10.0, 40.0, 0, 4.0),
        (10.0, 39.0, 0, 0.0),  # unlikely
        (2.0, 100.0, 0, 2.0),
        (1.9, 100.0, 0, 0.0),  # light
        (10.0, None, 0, 5.0),  # an amount and no chance
        (None, 90.0, 0, 0.0),
    ],
)
def test_rain_to_come_counts_by_chance_amount_and_lead(
    rain_mm: float | None, chance_pct: float | None, ahead: int, worth_mm: float
) -> None:
    # WORKED by the rule (our choice): amount times chance, or by half; tomorrow half of it.
    assert counted_mm(forecast(rain_mm, chance_pct), ahead) == approx(worth_mm)


def test_measured_rain_is_no_rain_to_come() -> None:
    assert counted_mm(replace(forecast(10.0), measured=True), 0) == 0.0


def test_a_day_whose_gauge_was_read_has_nothing_to_come() -> None:
    days = {TODAY: forecast(6.0, None), TODAY + DAY: forecast(10.0, ahead=1)}
    counted = counted_on(days, first=TODAY, fallen_mm={TODAY: 6.0})
    # WORKED: half of 0.8 x 10 tomorrow; today the gauge's own.
    assert to_come_mm(counted, TODAY) == approx(4.0)
    assert as_planned(days, counted, first=TODAY, fallen_mm={TODAY: 6.0}, trust=0.5)[
        TODAY
    ].rain_mm == approx(6.0)


def test_a_plan_credits_rain_to_come_once_discounted() -> None:
    days = {TODAY + n * DAY: forecast(10.0, ahead=n) for n in range(3)}
    counted = counted_on(days, first=TODAY, fallen_mm={})
    planned = as_planned(days, counted, first=TODAY, fallen_mm={}, trust=0.5)
    # WORKED: 8, 4 and 0 mm, trusted by half.
    assert [d.rain_mm for d in planned.values()] == approx([4.0, 2.0, 0.0])


mm = st.floats(0.0, 60.0)


@given(net=mm, coming=mm, trust=st.floats(0.0, 1.0), raw=mm, expected=mm)
def test_a_lowered_dose_leaves_enough_should_the_rain_fail(
    net: float, coming: float, trust: float, raw: float, expected: float
) -> None:
    found = lowered_mm(net, to_come_mm=coming, trust=trust, raw_mm=raw, expected_etc_mm=expected)
    left = net - found
    assert 0.0 <= found <= net
    assert left <= trust * coming + 1e-9
    assert left == 0.0 or left + expected <= raw + 1e-9


EVERY_OTHER = replace(EVERY_DAY, weekdays=frozenset({1, 3, 5}))  # today is one of them


def plan_of(
    days: dict[date, DayInput],
    *,
    trust: float,
    given: Given = NOTHING_GIVEN,
    first: date = TODAY,
    count: int = 1,
    window: Window = EVERY_DAY,
) -> Timetable:
    # Throttled, so that the shortest pulse is a fraction of a millimetre.
    zone = a_zone(opening=Opening(alone_flow_m3_s=m3_s_from_l_min(1.0)))
    garden = a_garden(zone, watering=Watering(windows=(window,), forecast_trust=trust))
    return plan_garden(
        Installation(garden, Grounds(garden, CATALOGUE), Lines(garden)),
        days,
        Span(first=first, count=count),
        given=given,
    )


def days_with(*rain_mm: float, chance_pct: float = 80.0) -> dict[date, DayInput]:
    """A dry fortnight, then days that are forecast."""
    days = even_days(TODAY - 14 * DAY, TODAY - DAY)
    for ahead in range(6):
        rain = rain_mm[ahead] if ahead < len(rain_mm) else 0.0
        days[TODAY + ahead * DAY] = forecast(rain, chance_pct, ahead)
    return days


# A record after which today asks for a middling dose, with room for rain.
GIVEN = replace(NOTHING_GIVEN, litres={("a", TODAY - n * DAY): 28.0 for n in (14, 12, 10, 8, 6, 4)})


def net_mm(timetable: Timetable) -> float:
    return math.fsum(d.net_mm for d in timetable.doses if d.day == TODAY)


def test_likely_rain_lowers_the_dose_by_the_trusted_share_of_it_and_says_so() -> None:
    dry = plan_of(days_with(), trust=0.5, given=GIVEN)
    wet = plan_of(days_with(5.0), trust=0.5, given=GIVEN)
    # WORKED: 0.5 * 5 mm * 80 % = 2 mm, of them what falls on the ground that the line wets.
    share = dry.ledger[-1].wetted_fraction
    assert 0.7 < share < 0.8  # strips of 0.45 m on ground of 0.6 m
    assert net_mm(dry) - net_mm(wet) == approx(2.0 * share)
    assert "less 1.5 mm for rain that is likely" in reasons_of(wet.doses[0].why)


def test_without_trust_a_forecast_changes_nothing() -> None:
    dry = plan_of(days_with(), trust=0.0, given=GIVEN, count=4)
    wet = plan_of(days_with(30.0, 30.0, 30.0, 30.0), trust=0.0, given=GIVEN, count=4)
    assert dry.doses and wet.doses == dry.doses
    assert wet.pulses == dry.pulses


def test_the_gauge_lowers_todays_dose_in_full_and_once() -> None:
    dry = plan_of(days_with(), trust=0.5, given=GIVEN)
    # What the day stands on once somebody has read the gauge: its reading, no chance.
    caught = plan_of(days_with(3.0), trust=0.5, given=replace(GIVEN, fallen_mm={TODAY: 3.0}))
    assert net_mm(dry) - net_mm(caught) == approx(3.0 * dry.ledger[-1].wetted_fraction)


@settings(max_examples=40)
@given(
    rain=st.lists(st.floats(0.0, 60.0), min_size=2, max_size=2),
    chance=st.floats(40.0, 100.0),
    trust=st.floats(0.0, 1.0),
    litres=st.floats(0.0, 30.0),
    wait=st.sampled_from([1, 2]),
)
def test_rain_that_fails_lets_no_crop_run_short_for_the_dose_it_lowered(
    rain: list[float], chance: float, trust: float, litres: float, wait: int
) -> None:
    given = replace(NOTHING_GIVEN, litres={**GIVEN.litres, ("a", TODAY - 2 * DAY): litres})
    next_chance = TODAY + wait * DAY
    window = EVERY_DAY if wait == 1 else EVERY_OTHER
    dry = even_days(TODAY - 14 * DAY, next_chance)  # as it turned out

    def evenings(days: dict[date, DayInput], trust: float) -> list[LedgerDay]:
        """The two that follow what a plan on these days gave, in the weather that came."""
        pulses = plan_of(days, trust=trust, given=given, window=window).pulses
        litres = {**given.litres, ("a", TODAY): math.fsum(p.litres for p in pulses)}
        kept = plan_of(dry, trust=0.0, given=replace(given, litres=litres), first=next_chance)
        return [d for d in kept.ledger if TODAY <= d.day < next_chance]

    trusting = evenings(days_with(*rain, chance_pct=chance), trust)
    for day, otherwise in zip(trusting, evenings(dry, 0.0), strict=True):
        # Kcb grows from day to day, and with it what is felt: 0.4 mm.
        assert day.wet_depletion_mm <= max(day.raw_mm, otherwise.wet_depletion_mm) + 0.4
