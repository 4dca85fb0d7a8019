"""How a zone's litres reach its accounts: the line filled, the driest quarter, the parts."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from pytest import approx
from support.gardens import a_garden, a_row, a_zone, even_days
from support.mornings import catalogue

from controller.demand.records import DayInput
from controller.demand.soil.ground import Season, parts_of
from controller.garden.model import Planting, Satisfy, UnlikeRows, Zone
from controller.garden.plumbing import Row
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.need.accounts import ZoneAccount

DAY = timedelta(days=1)
START = date(2031, 6, 1)
LEEK = Planting(crop="leek", start=START, until=START + 90 * DAY)
DAYS = even_days(START - 60 * DAY, START + 60 * DAY)


def an_account(
    zone: Zone | None = None, *, watered_in: bool = False, **watering: object
) -> ZoneAccount:
    zone = zone or a_zone(plantings=(LEEK,))
    garden = a_garden(zone, watering=replace(a_garden().watering, **watering))  # type: ignore[arg-type]
    soil = catalogue().soil(zone.bed.soil)
    season = Season(crop_for=catalogue().crop, days=DAYS)
    return ZoneAccount(
        zone, parts_of(zone, soil, season), Lines(garden), garden.watering, watered_in=watered_in
    )


def credited(
    account: ZoneAccount, litres: float, stored_litres: float | None = None, day: date = START
) -> tuple[float, float]:
    """What passed the valve and what of it was credited, in litres."""
    account.begin_anew()
    account.credit(DAYS[day], litres, stored_litres=stored_litres, water_from="recorded")
    (row,) = account.ledgers[0]
    ground_m2 = account.parts[0].ground_m2
    return row.watered_mm * ground_m2, (row.watered_mm - row.passed_mm) * ground_m2


def test_what_fills_the_line_and_what_the_driest_quarter_does_not_get_passes() -> None:
    account = an_account()
    line_l, divisor = account.line_litres, account.divisor
    assert line_l == approx(0.8, abs=0.01) and 0.8 < divisor < 1.0
    # WORKED: 20 L less 0.8 that fill the line, times the divisor.
    assert account.stored_of(20.0) == approx((20.0 - line_l) * divisor)
    assert credited(account, 20.0) == approx((20.0, (20.0 - line_l) * divisor))
    assert credited(account, 0.5) == approx((0.5, 0.0))  # it never reaches the last hole
    assert account.stored_of(0.5) == 0.0
    assert credited(account, 0.0) == (0.0, 0.0)


def test_what_was_logged_is_credited_as_it_was_and_never_more_than_passed_the_valve() -> None:
    account = an_account()
    assert credited(account, 20.0, 7.0) == approx((20.0, 7.0))
    # Logged by another day's figures: at most what passed, by today's divisor.
    assert credited(account, 20.0, 30.0) == approx((20.0, 20.0 * account.divisor))
    mean = an_account(satisfy=Satisfy.MEAN)
    assert mean.divisor == 1.0 and mean.driest < 1.0
    assert credited(mean, 20.0) == approx((20.0, 20.0 - mean.line_litres))


def test_the_account_begins_six_weeks_and_three_days_before_the_first_planting() -> None:
    later = replace(LEEK, start=START + 100 * DAY, until=START + 190 * DAY)
    account = an_account(a_zone(plantings=(later, LEEK)))
    assert account.begins == START - 45 * DAY
    for ago, rows in ((46, 0), (45, 1)):
        account.begin_anew()
        account.credit(DAYS[START - ago * DAY], 5.0, stored_litres=None, water_from="recorded")
        assert len(account.ledgers[0]) == rows
    none = an_account(a_zone(plantings=()))
    assert none.begins is None
    none.credit(DAYS[START], 5.0, stored_litres=None, water_from="recorded")
    assert [len(days) for days in none.ledgers] == [0] and not none.stands_on(START)


def test_something_stands_from_its_first_day_once_there_is_an_account() -> None:
    account = an_account()
    assert not account.stands_on(START)
    account.credit(DAYS[START - DAY], 0.0, stored_litres=None, water_from="")
    assert account.stands_on(START) and account.stands_on(LEEK.until)
    assert not account.stands_on(START - DAY) and not account.stands_on(LEEK.until + DAY)


@pytest.mark.parametrize("watered_in", [False, True])
def test_what_is_taken_as_watered_in_begins_full(watered_in: bool) -> None:
    account = an_account(watered_in=watered_in)
    for ago in range(20, -1, -1):
        account.credit(DAYS[START - ago * DAY], 0.0, stored_litres=None, water_from="")
    *_, eve, first = account.ledgers[0]
    assert eve.depletion_mm > 15.0
    assert first.start_depletion_mm == (0.0 if watered_in else eve.depletion_mm)


def two_parts(unlike: UnlikeRows, *, plugged: bool = False) -> ZoneAccount:
    """A long row of leeks and a short one of carrots, with its holes twice as near."""
    near = replace(a_row().drilling, every_m=0.0762, first_m=0.0381)
    rows = (a_row(8.0, plugged=False), a_row(4.0, drilling=near, plugged=plugged))
    carrot = replace(LEEK, crop="carrot", rows=(2,))
    zone = a_zone(rows=rows, plantings=(replace(LEEK, rows=(1,)), carrot), unlike_rows=unlike)
    return an_account(zone)


def test_a_litre_reaches_each_part_by_its_holes() -> None:
    account = two_parts(UnlikeRows.NEEDIEST)
    assert [part.name for part in account.parts] == ["row 1", "row 2"]
    # WORKED: 16 holes each: half of the flow, but for what friction takes; half of the ground.
    assert account.shares == approx((0.5, 0.5), abs=0.02) and sum(account.shares) == approx(1.0)
    account.credit(DAYS[START], 20.0, stored_litres=None, water_from="recorded")
    rows = [ledger[-1] for ledger in account.ledgers]
    litres = [
        row.watered_mm * part.ground_m2 for row, part in zip(rows, account.parts, strict=True)
    ]
    assert litres == approx([20.0 * share for share in account.shares])
    assert rows[1].watered_mm == approx(2.0 * rows[0].watered_mm, rel=0.05)
    # Each is credited by the divisor of its own rows, of what was spread evenly.
    even_l = 20.0 - account.line_litres
    for row, part, share, divisor in zip(
        rows, account.parts, account.shares, account.divisors, strict=True
    ):
        stored_mm = row.watered_mm - row.passed_mm
        assert stored_mm * part.ground_m2 == approx(even_l * share * divisor)


def test_for_the_mean_of_unlike_rows_one_divisor_serves_all() -> None:
    mean = two_parts(UnlikeRows.MEAN)
    assert mean.divisors == (mean.divisor, mean.divisor)
    own = two_parts(UnlikeRows.NEEDIEST)
    assert own.divisors != (own.divisor, own.divisor) and own.divisor == mean.divisor


def test_a_reading_of_the_soil_is_of_rows_that_are_all_alike() -> None:
    unlike = two_parts(UnlikeRows.NEEDIEST)
    unlike.credit(DAYS[START], 0.0, stored_litres=None, water_from="")
    before = [ledger[-1] for ledger in unlike.ledgers]
    unlike.as_read(0.2)
    assert [ledger[-1] for ledger in unlike.ledgers] == before
    alike = an_account()
    alike.as_read(0.2)  # there is no evening yet
    alike.credit(DAYS[START], 0.0, stored_litres=None, water_from="")
    alike.as_read(0.2)
    # WORKED, FAO-56 (1998), eq. 87: 1000 x (0.26 - 0.2) over 0.2 m of first roots.
    assert alike.ledgers[0][-1].wet_depletion_mm == approx(12.0)


def test_how_much_to_water_in_is_what_the_wetted_ground_lacks_on_the_eve() -> None:
    account = an_account()

    def day(n: int, litres: float = 0.0, **more: object) -> DayInput:
        today = replace(DAYS[START + n * DAY], **more)  # type: ignore[arg-type]
        account.credit(today, litres, stored_litres=None, water_from="recorded")
        return today

    for n in range(-40, 1):
        day(n, rain_mm=None if n in (-31, -30, -1, 0) else 0.0)
    (found,) = account.to_water_in(START, lambda _: 0.0)
    eve = account.ledgers[0][-2]
    assert (found.zone, found.part, found.day, found.crop) == ("a", "", START, "leek")
    assert found.lacking_mm == approx(eve.depletion_mm)
    ground_m2 = account.parts[0].ground_m2
    assert found.litres == approx(found.lacking_mm * ground_m2 / account.divisor)
    # Rain matters from 30 days before on: that of the day itself is not over.
    assert found.rain_unknown_days == 2
    # What a gauge caught that day is lacking no more; under a millimetre nothing is.
    (less,) = account.to_water_in(START, lambda _: 3.0)
    assert less.lacking_mm == approx(found.lacking_mm - 3.0)
    (least,) = account.to_water_in(START, lambda _: found.lacking_mm - 1.0)
    assert least.lacking_mm == approx(1.0)
    assert not list(account.to_water_in(START, lambda _: found.lacking_mm - 0.9))
    assert not list(account.to_water_in(START + DAY, lambda _: 0.0))
    day(1)
    assert len(list(account.to_water_in(START, lambda _: 0.0))) == 1
    # Watered that day, what was given is lacking no more; and what is sown is not watered in.
    account.begin_anew()
    for n in range(-40, 0):
        day(n)
    day(0, 10.0)
    (given,) = account.to_water_in(START, lambda _: 0.0)
    stored_mm = account.stored_of(10.0) / ground_m2
    assert given.lacking_mm == approx(account.ledgers[0][-2].depletion_mm - stored_mm)
    sown = an_account(a_zone(plantings=(replace(LEEK, transplanted=False),)))
    for n in range(-40, 1):
        sown.credit(DAYS[START + n * DAY], 0.0, stored_litres=None, water_from="")
    assert not list(sown.to_water_in(START, lambda _: 0.0))


@pytest.mark.parametrize(
    ("row", "found"), [(a_row(ground_width_m=0.25), 1), (a_row(plugged=True), 0)]
)
def test_a_small_bed_is_watered_in_too_and_one_without_ground_is_not(row: Row, found: int) -> None:
    account = an_account(a_zone(plantings=(LEEK,), rows=(row,)))
    for n in range(-40, 1):
        account.credit(DAYS[START + n * DAY], 0.0, stored_litres=None, water_from="")
    assert len(list(account.to_water_in(START, lambda _: 0.0))) == found
