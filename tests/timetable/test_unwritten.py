"""What water counts of days that are over: by the record, as printed, as confirmed."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, time, timedelta

import pytest
from pytest import approx
from support.gardens import a_garden, a_row, a_zone, even_days
from support.given import EveryDay
from support.mornings import a_plan
from support.said import said

from controller.garden.model import Bed, Garden, HandWater, Window
from controller.garden.plumbing import Opening, ValveKind
from controller.timetable.need.jobs import NOTHING_GIVEN, Given
from controller.timetable.records import Timetable
from controller.timetable.unwritten import NO_RECORD, Record, record_messages, zones_as_printed
from controller.units import m3_s_from_l_min

DAY = timedelta(days=1)
BEGINS, TODAY = date(2031, 5, 1), date(2031, 7, 1)
DAYS = even_days(BEGINS, TODAY + 14 * DAY)
# Apart, so that no relay zone changes the flow of a hand valve, and the minutes it is rounded to.
MORNING = Window(opens=time(5), closes=time(8), valves=frozenset({ValveKind.RELAY}))
EVENING = Window(opens=time(17), closes=time(20), valves=frozenset({ValveKind.HAND}))
SLOW = Opening(alone_flow_m3_s=m3_s_from_l_min(2.0))


def garden(hand_water: HandWater = HandWater.AS_PRINTED) -> Garden:
    """One zone with a relay, one by hand with the garden's rule, one that must be confirmed."""
    plain = a_garden()
    return a_garden(
        a_zone("relay", 17, opening=SLOW),
        a_zone("hand", None, opening=SLOW, rows=(a_row(6.0),)),
        # Of a keeper of its own, so that no round of theirs decides when "hand" is watered.
        a_zone(
            "asks",
            None,
            opening=SLOW,
            hand_water=HandWater.AS_CONFIRMED,
            bed=Bed(name="bed asks", soil="loam", keeper="Bram"),
        ),
        watering=replace(plain.watering, hand_water=hand_water, windows=(MORNING, EVENING)),
    )


def planned(given: Given, count: int = 7, first: date = TODAY, **more: object) -> Timetable:
    return a_plan(garden(**more), DAYS, first=first, count=count, given=given)  # type: ignore[arg-type]


def litres(timetable: Timetable, zone: str) -> float:
    return math.fsum(pulse.litres for pulse in timetable.pulses if pulse.zone == zone)


def known(record: Record, **more: object) -> Given:
    return replace(NOTHING_GIVEN, record=record, **more)  # type: ignore[arg-type]


NO_LOGBOOK = planned(NOTHING_GIVEN)


def test_a_note_of_any_kind_does_not_turn_a_garden_into_one_that_nobody_watered() -> None:
    """The reported fault: one rain gauge note made a week's sheet ask 710 L in place of 308."""
    begun_by_a_note = known(Record(begun=BEGINS + 10 * DAY))
    week = planned(begun_by_a_note)
    for zone in ("relay", "hand"):
        assert litres(NO_LOGBOOK, zone) > 0.0
        # Whom a zone shares the tap with may round its last tenth of a second.
        assert litres(week, zone) == approx(litres(NO_LOGBOOK, zone), rel=1e-3)
    # The keeper who said that only notes count is taken at the word.
    assert litres(week, "asks") > 1.5 * litres(NO_LOGBOOK, "asks")


def test_a_relay_zone_goes_by_the_daemons_own_record_from_its_first_day() -> None:
    ran = TODAY - 12 * DAY
    by_daemon = planned(known(Record(begun=BEGINS, daemon_from=ran, watched=EveryDay())))
    assert litres(by_daemon, "relay") > litres(NO_LOGBOOK, "relay")
    rows = {row.day: row for row in by_daemon.ledger if row.zone == "relay"}
    assert all(row.water_from != "assumed" for day, row in rows.items() if day >= ran)
    assert any(row.water_from == "assumed" for day, row in rows.items() if day < ran)


def test_what_the_daemons_sheet_had_counts_for_a_hand_zone_and_not_for_one_that_is_confirmed() -> (
    None
):
    sheet = {("hand", TODAY - DAY): 11.0, ("asks", TODAY - DAY): 11.0}
    record = Record(begun=BEGINS, daemon_from=BEGINS, watched=EveryDay(), printed_litres=sheet)
    rows = {(r.zone, r.day): r for r in planned(known(record)).ledger}
    ground_m2 = garden().zone("hand").ground_m2
    assert rows["hand", TODAY - DAY].watered_mm == approx(11.0 / ground_m2)
    assert rows["hand", TODAY - DAY].water_from == "assumed"
    assert rows["asks", TODAY - DAY].watered_mm == 0.0
    assert rows["hand", TODAY - 2 * DAY].watered_mm == 0.0  # watched, and nothing on its sheet


def test_a_note_of_a_day_goes_before_what_was_printed_nought_among_them() -> None:
    as_printed = {row.day: row for row in NO_LOGBOOK.ledger if row.zone == "hand"}
    given_on = next(d for d in sorted(as_printed, reverse=True) if as_printed[d].watered_mm > 0.0
                    and d < TODAY)  # fmt: skip
    for noted in (0.0, 3.0):
        record = Record(begun=BEGINS)
        week = planned(known(record, litres={("hand", given_on): noted}))
        row = next(r for r in week.ledger if (r.zone, r.day) == ("hand", given_on))
        assert row.watered_mm == approx(noted / garden().zone("hand").ground_m2)
        assert row.water_from == ("recorded" if noted else "")
        assert litres(week, "hand") > litres(NO_LOGBOOK, "hand")


def test_litres_are_credited_as_they_were_logged_and_else_by_todays_figures() -> None:
    day = TODAY - DAY
    record = Record(begun=BEGINS, daemon_from=BEGINS, watched=EveryDay())
    rows = []
    for stored in ({}, {("relay", day): 9.0}):
        given = known(record, litres={("relay", day): 20.0}, stored_litres=stored)
        (row,) = [r for r in planned(given).ledger if (r.zone, r.day) == ("relay", day)]
        rows.append(row)
    today, logged = rows
    ground_m2 = garden().zone("relay").ground_m2
    assert today.watered_mm == logged.watered_mm == approx(20.0 / ground_m2)
    assert logged.watered_mm - logged.passed_mm == approx(9.0 / ground_m2)
    # WORKED: (20 L - what fills the line once) times the uniformity a dose is divided by.
    (dose,) = [d for d in planned(known(record), count=1).doses if d.zone == "relay"]
    credited = (20.0 - dose.line_litres) * dose.evenness / ground_m2
    assert today.watered_mm - today.passed_mm == approx(credited)


def test_a_gap_without_a_daemon_is_said_once_and_counted_by_each_zones_rule() -> None:
    watched = [BEGINS + n * DAY for n in range(60) if not 40 <= n < 50]
    record = Record(begun=BEGINS, daemon_from=BEGINS, watched=frozenset(watched))
    assert record.gaps(TODAY) == [
        (BEGINS + 40 * DAY, BEGINS + 49 * DAY),
        (BEGINS + 60 * DAY, TODAY - DAY),
    ]
    rows = [r for r in planned(known(record)).ledger if r.day in (BEGINS + 44 * DAY,)]
    words = said(record_messages(garden(), record, first=TODAY))
    assert sum("no daemon ran" in found for found in words) == 2
    assert "no daemon ran from 2031-06-10 to 2031-06-19" in words[-2]
    week = [
        r for r in planned(known(record)).ledger
        if BEGINS + 40 * DAY <= r.day < BEGINS + 50 * DAY and r.watered_mm > 0.0
    ]  # fmt: skip
    assert {r.zone for r in week} == {"hand"} and {r.water_from for r in week} == {"assumed"}
    assert len(rows) == 3


@pytest.mark.parametrize(
    ("record", "rules"),
    [
        (NO_RECORD, ["counts as printed on the sheet, unless a note has something else"]),
        (
            Record(begun=BEGINS, daemon_from=BEGINS, watched=frozenset((TODAY - DAY,))),
            [
                "(relay) does not count: the daemon's own record counts; before 2031-05-01 it "
                "counts as printed",
                "(hand) counts as printed on the sheet, unless a note has something else",
                "(asks) does not count (as confirmed); before 2031-05-01 it counts as printed",
            ],
        ),
    ],
)
def test_the_printout_says_how_each_zone_counts(record: Record, rules: list[str]) -> None:
    noted = {(zone, TODAY - DAY) for zone in ("hand", "asks")}
    found = record_messages(garden(), record, first=TODAY, litres=noted)
    assert [*said(found)] == [f"water that nobody wrote down {rule}" for rule in rules]


def test_a_month_of_which_nobody_wrote_anything_down_is_said_once_for_each_rule() -> None:
    record = Record(begun=BEGINS, daemon_from=BEGINS, watched=EveryDay())

    def silent(last: date, record: Record = record, today: date = TODAY) -> list[str]:
        noted = {(zone, last) for zone in ("hand", "asks")}
        found = record_messages(garden(), record, first=today, today=today, litres=noted)
        return [words for words in said(found) if "Nobody wrote any down" in words]

    for days, lines in ((31, 2), (30, 0)):
        assert len(silent(TODAY - days * DAY)) == lines
    assert "Nobody wrote any down for 31 days, since 2031-05-31" in silent(TODAY - 31 * DAY)[0]
    # What the daemon's sheet had is on record for the zone that counts as printed.
    sheet = {(zone, TODAY - DAY): 5.0 for zone in ("hand", "asks")}
    (words,) = silent(TODAY - 31 * DAY, replace(record, printed_litres=sheet))
    assert words.startswith("water that nobody wrote down (asks) ")
    # Leeks of 20 April: for less than a month before 20 May, and none after 10 October.
    for day in (date(2031, 5, 20), date(2031, 10, 11)):
        assert silent(date(2031, 3, 1), replace(record, begun=date(2031, 3, 1)), day) == []
    assert silent(BEGINS, NO_RECORD) == []


def test_the_garden_s_rule_is_the_zone_s_unless_it_has_its_own() -> None:
    assert zones_as_printed(garden()) == {"relay", "hand"}
    assert zones_as_printed(garden(HandWater.AS_CONFIRMED)) == frozenset()


def test_a_note_made_days_later_changes_what_is_missing_and_no_sheet_that_was_printed_before() -> (
    None
):
    """The reported fault: nobody watered on that day, and the sheets that followed, which could
    not know, were taken to have asked for it."""
    rows = {row.day: row for row in NO_LOGBOOK.ledger if row.zone == "hand"}
    dry = max(day for day, row in rows.items() if row.watered_mm > 0.0 and day < TODAY - 4 * DAY)
    noted = {("hand", dry): 0.0}
    record = Record(begun=BEGINS)
    weeks = {
        on: planned(known(record, litres=noted, noted_on={("hand", dry): on}))
        for on in (dry + DAY, TODAY - DAY, TODAY)
    }
    for on, week in weeks.items():
        given = {row.day: row.watered_mm for row in week.ledger if row.zone == "hand"}
        assert given[dry] == 0.0
        for day in given:
            if dry < day < on:  # as that day's sheet had it
                assert given[day] == approx(rows[day].watered_mm, rel=2e-3), day
        missed = rows[dry].watered_mm - rows[dry].passed_mm
        if on == TODAY:
            (row,) = [r for r in week.ledger if (r.zone, r.day) == ("hand", TODAY - DAY)]
            assert row.depletion_mm > rows[TODAY - DAY].depletion_mm + 0.5 * missed
    assert litres(weeks[TODAY], "hand") > litres(NO_LOGBOOK, "hand") + 5.0


def test_a_reading_of_the_soil_taken_as_a_start_is_what_is_missing_that_evening() -> None:
    read_on = TODAY - 3 * DAY
    read = replace(NOTHING_GIVEN, soil_starts={("relay", read_on): 0.20})
    rows = {row.day: row for row in planned(read).ledger if row.zone == "relay"}
    was = {row.day: row for row in NO_LOGBOOK.ledger if row.zone == "relay"}
    row = rows[read_on]
    # WORKED, FAO-56 (1998), eq. 87: loam at field capacity has 0.26; 60 mm of each metre are gone.
    assert row.wet_depletion_mm == approx(60.0 * row.root_depth_m)
    assert row.rest_depletion_mm == was[read_on].rest_depletion_mm  # nobody read it
    assert rows[read_on - DAY] == was[read_on - DAY]
    assert rows[read_on + DAY] != was[read_on + DAY]
