"""The sheet for the shed door: rounds, whole minutes, the clock, rain, empty weeks, pages."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone, even_days
from support.mornings import a_plan

from controller.demand.records import DayInput
from controller.garden.model import Bed, Cover, Garden, Planting, Watering, Zone
from controller.garden.plumbing import Opening, ValveKind
from controller.messages import Message, Quantity, Value, verbatim
from controller.paper.printout import (
    PAGE_LINES,
    Look,
    of_zones,
    timetable_pages,
    timetable_text,
)
from controller.paper.reasons import notes_text
from controller.paper.rounds import hand_minutes, opening_words, rounds_of
from controller.paper.sheet_head import rain_that_replaces
from controller.paper.text import WIDTH
from controller.timetable.plan import NOTHING_GIVEN as NO_LOGBOOK
from controller.timetable.records import NotFitted, Pulse, Timetable
from controller.weather.source_priority import FORECAST, SEASON, STATION

DAY = timedelta(days=1)
FIRST = date(2031, 7, 1)


def days_of(rungs: str = "", *, rain: dict[date, float] | None = None) -> dict[date, DayInput]:
    """Even days; `rungs` are those of the day before the sheet and on, as initials."""
    named = {"s": STATION, "f": FORECAST, "u": SEASON}
    found = even_days(date(2031, 3, 1), FIRST + 30 * DAY)
    for n, initial in enumerate(rungs):
        day = FIRST + (n - 1) * DAY
        found[day] = replace(found[day], rung=named[initial], measured=initial == "s")
    for day, rain_mm in (rain or {}).items():
        found[day] = replace(found[day], rain_mm=rain_mm)
    return found


def a_pulse(zone: str = "h", at: str = "17:00", open_s: float = 600.0, **more: object) -> Pulse:
    hour, minute = map(int, at.split(":"))
    opens = datetime(2031, 7, 1, hour - 2, minute, tzinfo=UTC)  # Zurich in summer
    plain = Pulse(
        zone=zone, day=FIRST, slot=0, opens_utc=opens, closes_utc=opens + timedelta(seconds=open_s),
        open_s=open_s, litres=20.0, valve=ValveKind.HAND, relay_line=None,
    )  # fmt: skip
    return replace(plain, **more)  # type: ignore[arg-type]


def a_sheet(*pulses: Pulse, last: date = FIRST) -> Timetable:
    return Timetable(first=FIRST, last=last, pulses=pulses, doses=(), not_fitted=(), ledger=())


def hand(name: str = "h", **more: object) -> Zone:
    return replace(a_zone(name, relay=None), **more)  # type: ignore[arg-type]


def test_a_line_says_when_to_open_and_when_to_shut_so_that_nobody_adds() -> None:
    garden = a_garden(hand(opening=Opening(alone_flow_m3_s=2e-3 / 60)))
    line = "[ ]    17:00    17:07  h                     2 L/min        7 min    20.0 L ____"
    assert line in timetable_text(a_sheet(a_pulse(open_s=404.0)), garden).splitlines()
    twelve = timetable_text(a_sheet(a_pulse(open_s=404.0)), garden, Look(twelve_hours=True))
    assert "[ ]  5:00 pm  5:07 pm  h  " in twelve


@pytest.mark.parametrize(
    ("open_s", "minutes"),
    # WORKED: a tenth of the time at most may come or go by rounding: 1:29 to 1 min is a third.
    [(404.0, 7), (420.0, 7), (89.0, None), (36.0, None), (65.0, 1), (5.0, None), (660.0, 11)],
)
def test_minutes_by_hand_are_whole_where_that_changes_little(
    open_s: float, minutes: int | None
) -> None:
    assert hand_minutes(open_s) == minutes


def test_a_time_too_short_for_whole_minutes_is_shown_to_the_second() -> None:
    text = timetable_text(a_sheet(a_pulse(open_s=36.0), a_pulse(at="18:00", open_s=89.0)), GARDEN)
    assert "17:00 17:00:36" in text and "36 s" in text
    assert "18:00 18:01:29" in text and "1:29" in text


GARDEN = a_garden(hand(), hand("g"), a_zone("b", relay=27))


def test_openings_with_a_pause_of_more_than_a_quarter_hour_are_two_rounds() -> None:
    pulses = (a_pulse("g", "17:11"), a_pulse(), a_pulse(at="17:37"), a_pulse("g", "17:47"))
    assert [[p.zone for p in r] for r in rounds_of(pulses, GARDEN)] == [["h", "g"], ["h", "g"]]
    text = timetable_text(a_sheet(*pulses), GARDEN)
    assert "Tuesday 1 July, round 1 of 2\n" in text and "    round 2 of 2\n" in text
    assert text.count("[ ]") == text.count("____") == 4


def test_what_is_planned_as_one_visit_is_one_round_and_the_sheet_says_until_when_to_wait() -> None:
    pulses = (a_pulse(visit=1), a_pulse("g", "17:11", visit=1), a_pulse(at="17:50", visit=1))
    assert len(rounds_of(pulses, GARDEN)) == 1
    lines = timetable_text(a_sheet(*pulses), GARDEN).splitlines()
    at = lines.index("    wait until 17:50, while the soil takes the water in")
    assert "by hand" in lines[at - 3] and lines[at + 1].startswith("[ ]    17:50")
    # A second visit that the plan counts is another round, however soon it comes.
    soon = (a_pulse(visit=1), a_pulse("g", "17:12", visit=2))
    assert len(rounds_of(soon, GARDEN)) == 2


def test_of_several_keepers_the_sheet_says_who_waits() -> None:
    garden = a_garden(hand(), hand("g", bed=replace(hand("g").bed, keeper="Bram")))
    pulses = (a_pulse(visit=1), a_pulse("g", "17:11", visit=1), a_pulse(at="17:50", visit=1))
    text = timetable_text(a_sheet(*pulses), garden)
    assert "by hand, Odile and Bram\n" in text
    assert "    Odile waits until 17:50, while the soil takes the water in\n" in text


def test_what_one_reason_holds_back_day_after_day_is_gathered() -> None:
    held = Message("left.held", {"reason": verbatim("new gravel")})
    left = [
        NotFitted(zone=zone, day=FIRST + n * DAY, litres=10.0 + n, reason=held)
        for n, zone in enumerate(("h", "h", "g", "h"))
    ]
    sheet = replace(a_sheet(last=FIRST + 5 * DAY), not_fitted=tuple(left))
    text = timetable_text(sheet, GARDEN)
    assert "  h: held: new gravel: 1 July 10.0 L, 2 July 11.0 L, 4 July 13.0 L\n" in text
    assert 'Tuesday 1 July and Wednesday 2 July: nothing is opened, see "Not given"\n' in text
    assert "    not given: g, 12.0 L: held: new gravel\n" in text  # once, so on its day
    assert "Saturday 5 July and Sunday 6 July: no zone needs water\n" in text
    many = [replace(left[0], day=FIRST + n * DAY, litres=10.0 + n % 4) for n in range(9)]
    sheet = replace(a_sheet(last=FIRST + 8 * DAY), not_fitted=tuple(many))
    text = " ".join(timetable_text(sheet, GARDEN).split())
    assert "h: held: new gravel: on 9 days from 1 July to 9 July, 10.0 L to 13.0 L" in text


def test_a_round_names_its_keepers_where_a_garden_has_several() -> None:
    bram = replace(hand("g").bed, keeper="Bram")
    garden = a_garden(hand(), hand("g", bed=bram))
    assert "by hand, Odile and Bram\n" in timetable_text(
        a_sheet(a_pulse(), a_pulse("g", "17:11")), garden
    )
    assert "by hand\n" in timetable_text(a_sheet(a_pulse()), GARDEN)


def test_a_relay_s_line_is_no_task() -> None:
    pulse = a_pulse("b", valve=ValveKind.RELAY, relay_line=27, open_s=61.0)
    (line,) = re.findall("^.*relay 27.*$", timetable_text(a_sheet(pulse), GARDEN), re.M)
    assert line.startswith("       17:00    17:02  b ")  # open within these minutes
    assert "1:01" in line and "[ ]" not in line and "____" not in line


@pytest.mark.parametrize(
    ("opening", "words"),
    [
        (Opening(angle_deg=0.0), "full"),
        (Opening(angle_deg=40.0), "40 deg"),
        (Opening(alone_flow_m3_s=1.6e-3 / 60), "1.6 L/min"),
        (Opening(stream_m=0.08), "jet 8 cm"),
        (Opening(unknown=True), "as it is"),
    ],
)
def test_how_far_to_open_is_what_the_garden_file_has(opening: Opening, words: str) -> None:
    assert opening_words(hand(opening=opening), us=False) == words


def test_the_head_says_the_weather_and_until_when_the_sheet_is_good() -> None:
    garden = a_garden(hand())
    plan = a_plan(garden, days_of("sffuu"), first=FIRST, count=4)
    text = " ".join(timetable_text(plan, garden, Look(printed=FIRST)).split())
    assert "Printed Tuesday 1 July 2031." in text
    assert (
        "Weather: the garden's own station until 30 June; a forecast for 1 to 2 July; none for "
        "3 to 4 July: the season's table stands in." in text
    )
    assert "Good until Wednesday 2 July, and a rough guide after that" in text
    whole = a_plan(garden, days_of("sffff"), first=FIRST, count=4)
    assert "Good until Friday 4 July. " in timetable_text(whole, garden)
    none = a_plan(garden, days_of("suuuu"), first=FIRST, count=4)
    assert "no weather is known for its" in timetable_text(none, garden)


WATERED = a_garden(a_zone("a"), watering=Watering(windows=(EVERY_DAY,)))


def planned(garden: Garden, rain: dict[date, float], first: date, count: int) -> Timetable:
    """What was planned before counts as given: there is no logbook."""
    return a_plan(garden, days_of(rain=rain), first=first, count=count, given=NO_LOGBOOK)


def waterings(garden: Garden, rain: dict[date, float], day: date) -> int:
    return len(planned(garden, rain, day, 1).pulses)


def test_the_rain_that_the_sheet_names_replaces_a_watering_and_a_third_of_it_does_not() -> None:
    timetable = planned(WATERED, {}, FIRST, 7)
    enough_mm = rain_that_replaces(timetable, WATERED.zone("a"))
    assert enough_mm is not None and 5.0 < enough_mm < 30.0
    watered = sorted({pulse.day for pulse in timetable.pulses})
    assert len(watered) >= 2
    assert all(day - DAY not in watered for day in watered)  # it finds what a watering would
    for day in watered[1:]:
        assert waterings(WATERED, {}, day)
        assert not waterings(WATERED, {day - DAY: enough_mm}, day)
    # What is missing on a day grows by some 5 mm a day: a third of it puts no second one off.
    assert any(waterings(WATERED, {day - DAY: enough_mm / 3.0}, day) for day in watered[1:])


def test_the_head_has_the_rain_for_what_is_watered_by_hand() -> None:
    garden = a_garden(hand(), a_zone("b", relay=27), watering=Watering(windows=(EVERY_DAY,)))
    timetable = planned(garden, {}, FIRST, 7)
    enough_mm = rain_that_replaces(timetable, garden.zone("h"))
    assert enough_mm is not None
    text = timetable_text(timetable, garden)
    assert f"\n{math.ceil(enough_mm):4d} mm  h\n" in text and " mm  b" not in text
    us = timetable_text(timetable, replace(garden, us_units=True))
    assert f"\n{math.ceil(enough_mm / 2.54) / 10:4.1f} in  h\n" in us  # WORKED: 25.4 mm are 1 in
    board = timetable_text(timetable, garden, Look(zones=frozenset("b")))
    assert "If it rains: note it, and the board plans anew." in board


def test_rain_under_a_cover_counts_by_what_comes_through() -> None:
    def kept(share: float) -> float | None:
        cover = Cover(kind="fleece", eto_factor=1.0, rain_factor=share)
        zone = a_zone("a", bed=Bed(name="b", soil="loam", covers=(cover,)))
        timetable = a_plan(WATERED, days_of(), first=FIRST, count=7)  # the same doses
        return rain_that_replaces(timetable, zone)

    open_mm, half_mm = kept(1.0), kept(0.5)
    assert open_mm is not None and half_mm == pytest.approx(2.0 * open_mm)
    assert kept(0.0) is None


def test_an_empty_week_is_explained() -> None:
    coming = Planting(crop="leek", start=date(2031, 8, 1), until=date(2031, 10, 1))
    bare = a_garden(hand(plantings=(coming,)))
    plan = a_plan(bare, days_of(), first=FIRST, count=3)
    assert "\nNothing is planted until 1 August.\n" in timetable_text(plan, bare)
    over = a_garden(hand(plantings=(replace(coming, start=date(2031, 4, 1), until=FIRST - DAY),)))
    plan = a_plan(over, days_of(), first=FIRST, count=3)
    assert "nothing is planted any more" in timetable_text(plan, over)
    rain = {FIRST - 2 * DAY: 22.0, FIRST - DAY: 0.4}
    plan = planned(WATERED, rain, FIRST, 1)
    assert not plan.pulses
    assert "\nNo zone needs water: rain of 22.0 mm on 29 June.\n" in timetable_text(plan, WATERED)


def _throttle(zone: str) -> Message:
    values: dict[str, Value] = {
        "zone": zone,
        "takes": Quantity(29.0, "duration"),
        "flow": Quantity(1.6e-3 / 60.0, "rough flow"),
        "then": Quantity(285.0, "duration"),
    }
    return Message("plan.throttle_for_soil", values)


def test_what_to_throttle_is_said_once_for_many_zones() -> None:
    names = ("beans", "leeks", "corn")
    few = notes_text([_throttle(name) for name in names[:2]], us=False)
    assert sum("Note: zone" in line for line in few) == 2
    many = notes_text([_throttle(name) for name in names], us=False)
    assert sum("Note:" in line for line in many) == 1
    assert many[-3:] == [
        f"      {name}: to about 1.6 L/min; it then takes 4 min 45 s" for name in names
    ]


def test_a_sheet_of_some_zones_has_only_what_is_about_them() -> None:
    garden = a_garden(a_zone("a"), a_zone("b", relay=27), watering=Watering(windows=(EVERY_DAY,)))
    plan = a_plan(garden, days_of(), first=FIRST, count=4)
    some = of_zones(plan, frozenset("b"))
    assert {p.zone for p in some.pulses} == {d.zone for d in some.doses} == {"b"}
    assert len(some.pulses) == sum(p.zone == "b" for p in plan.pulses)
    remarks = (
        Message("plan.of_zone", {"zone": "a", "remark": verbatim("of a alone")}),
        Message("plan.of_zone", {"zone": "b", "remark": verbatim("of b alone")}),
        Message("record.whose", {"zones": ("a", "b")}),
        verbatim("of the garden"),
    )
    kept = of_zones(replace(plan, remarks=remarks), frozenset("b")).remarks
    assert kept == remarks[1:]
    text = timetable_text(plan, garden, Look(zones=frozenset("b"), whose="for Odile"))
    assert text.startswith("Invented plot: when to water, for Odile\n")
    assert "relay 27" in text and "relay 17" not in text


@pytest.mark.parametrize("rounds", [4, 9, 30])
def test_pages_hold_every_line_and_no_page_is_too_long(rounds: int) -> None:
    pulses = [
        replace(
            a_pulse("hg"[n % 2], f"{17 + n // 4}:{15 * (n % 4):02d}" if n < 24 else "23:00"),
            day=FIRST + d * DAY,
        )
        for d in range(7)
        for n in range(rounds)
    ]
    sheet = a_sheet(*pulses, last=FIRST + 6 * DAY)
    pages = timetable_pages(sheet, GARDEN)
    lines = [line for page in pages for line in page.splitlines()]
    whole = timetable_text(sheet, GARDEN).splitlines()
    assert [x for x in lines if "[ ]" in x] == [x for x in whole if "[ ]" in x]
    assert {*whole} - {*lines} == set()
    assert max(len(page.splitlines()) for page in pages) <= PAGE_LINES
    assert (len(pages) == 1) == (rounds == 4)
    assert all(f"page {n}\n" in page for n, page in enumerate(pages[1:], 2))
    if rounds == 9:  # a day that fits on a page is not cut
        for page in pages:
            assert page.count("[ ]") % rounds == 0


def test_a_page_fits_on_letter_and_a4_at_ten_and_a_half_points() -> None:
    # PRINTED: A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 in (ANSI/ASME Y14.1); a point is 1/72
    # in. From memory: a letter of Courier is 0.6 of its size wide. A line of 12 points is six
    # lines an inch.
    for wide_mm, high_mm in ((210.0, 297.0), (215.9, 279.4)):
        assert wide_mm - 2 * 12.0 >= WIDTH * 0.6 * 10.5 / 72 * 25.4
        assert high_mm - 2 * 12.0 >= PAGE_LINES * 12.0 / 72 * 25.4


def test_a_week_of_eight_hand_zones_fits_on_one_page() -> None:
    garden = a_garden(
        *(hand(f"zone {n}", rows=(a_row(6.0 + n),)) for n in range(8)),
        watering=Watering(windows=(EVERY_DAY,)),
    )
    # WORKED: four openings a day in two rounds are 7 x (4 + 2) lines; without blank lines between
    # the days there is room for 60 - 42 lines of the head.
    pulses = [
        replace(
            a_pulse(f"zone {n + d % 3}", f"{17 + n // 2}:{12 * n % 60:02d}"), day=FIRST + d * DAY
        )
        for d in range(7)
        for n in range(4)
    ]
    sheet = replace(a_plan(garden, days_of("sfffffff"), first=FIRST, count=7), pulses=tuple(pulses))
    first, *rest = timetable_pages(sheet, garden)
    assert first.count("[ ]") == 28
    assert not any("[ ]" in page for page in rest)
