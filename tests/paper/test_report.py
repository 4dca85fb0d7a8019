"""The report: its width, its units, and how the litres are known."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.gardens import a_garden, a_zone
from support.logbook import DAY, a_hand_pulse, a_ledger_day, a_pulse, close

from controller.garden.model import Bed, HandWater
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import MeterSpan, Sums
from controller.logbook.totals import BY
from controller.paper.report import (
    meter_rows,
    meter_text,
    report_csv,
    report_rows,
    report_text,
)

GARDEN = a_garden(
    a_zone("leeks", bed=Bed(name="north", keeper="Odile")),
    a_zone("beans", bed=Bed(name="south")),
)
LAST = date(2031, 6, 30)
HOW = ("timed", "metered", "by_hand", "cut_by_crash", "not_known")


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def book(tmp_path: Path, clock: HandClock) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.db", clock) as book:
        yield book


def _run(book: Logbook, slot: int, litres: float, open_s: float, how: str) -> None:
    pulse_id = book.intend(a_pulse(slot, "leeks"))
    book.opened(pulse_id, 1.0)
    if how == "heartbeat":
        book.cut(pulse_id, open_s, litres, how)
    else:
        close(book, pulse_id, open_s, litres, how)


def _a_mixed_month(book: Logbook) -> None:
    """WORKED: 100 + 50 + 8 + 2.5 + 0 = 160.5 L; 600 + 300 + 30 + 20 = 950 s = 15:50."""
    _run(book, 1, 100.0, 600.0, "timed")
    _run(book, 2, 50.0, 300.0, "metered")
    _run(book, 3, 8.0, 30.0, "heartbeat")
    _run(book, 4, 0.0, 20.0, "none")
    book.hand_watering("beans", DAY, 2.5, None, "Odile", book.clock.now_utc())
    book.refused(book.intend(a_pulse(5, "leeks")), "the day's limit")
    book.plan_day(DAY, [a_pulse(6, "leeks"), a_pulse(7, "leeks")])
    book.missed(a_pulse(6, "leeks").key, "late")
    book.missed(a_pulse(7, "leeks").key, "late")
    book.keep_ledger(
        [
            a_ledger_day("leeks"),
            a_ledger_day("beans", measured=False, method="stand-in: mean of 7 days"),
            a_ledger_day("beans", day=DAY + timedelta(days=1), measured=False),
        ]
    )


def _sums(book: Logbook, by: str = "zone") -> Sums:
    with Questions(book.path) as ask:
        return ask.sums(by, DAY, LAST, GARDEN)


def _text(book: Logbook, by: str = "zone", *, us: bool = False) -> str:
    garden = replace(GARDEN, us_units=us)
    return report_text(_sums(book, by), garden, by=by, first=DAY, last=LAST)


def test_the_report_says_its_period_and_what_each_zone_got(book: Logbook) -> None:
    _a_mixed_month(book)
    text = _text(book)
    assert "Sunday 1 June 2031 to Monday 30 June 2031" in text
    lines = [line.split() for line in text.splitlines()]
    assert ["by", "relay", "by", "hand", "assumed"] in lines
    assert ["zone", "waterings", "open", "L", "L", "L"] in lines
    # WORKED: four openings of one day are one watering.
    assert ["leeks", "1", "15:50", "158.0", "-", "-"] in lines
    assert ["beans", "1", "?", "-", "2.5", "-"] in lines
    assert ["all", "2", "15:50+", "158.0", "2.5", "-"] in lines
    assert "gal" not in text


def test_the_report_says_how_the_litres_are_known(book: Logbook) -> None:
    _a_mixed_month(book)
    known = _text(book).split("How the litres are known\n")[1].split("\n\n")[0]
    assert [" ".join(line.split()) for line in known.splitlines()] == [
        "timed: open time by computed flow 100.0 L",
        "metered 50.0 L",
        "by hand, as reported by who gave it 2.5 L",
        "cut by a crash: as far as signs of life show 8.0 L",
        "not known; counted as nothing 0.0 L",
        "reported in all 160.5 L",
    ]


def test_the_report_says_what_was_cut_missed_refused_and_stood_in_for(book: Logbook) -> None:
    _a_mixed_month(book)
    words = " ".join(_text(book).split())
    assert "a crash ended 1 opening; only water known to have flowed is in the sum" in words
    assert "planned but not given: 2 openings (their time went by)" in words
    assert "planned but not given: 1 opening (refused)" in words
    assert "1 of 3 zone-days of the ledger go by a stand-in for the weather" in words
    assert "(stand-in: mean of 7 days)" in words
    assert "1 of 3 zone-days of the ledger go by a forecast" in words
    assert "1 note of water by hand came without it" in words


def test_days_on_a_lower_service_are_told(book: Logbook) -> None:
    rungs = ("station", "station", "service", "second service")
    days = [
        a_ledger_day("leeks", day=DAY + timedelta(days=n), rung=rung)
        for n, rung in enumerate(rungs)
    ]
    book.keep_ledger(days[2:])
    text = " ".join(_text(book).split())
    assert "1 of 2 zone-days of the ledger go by the second service" in text
    assert "the first service" not in text  # the first step there is
    book.keep_ledger(days)
    text = " ".join(_text(book).split())
    assert "1 of 4 zone-days of the ledger go by the first service" in text


def test_a_plain_month_has_no_notes(book: Logbook) -> None:
    _run(book, 1, 100.0, 600.0, "timed")
    assert "Note:" not in _text(book)
    assert ["beans", "0", "-", "-", "-", "-"] in [line.split() for line in _text(book).splitlines()]


def test_gallons_stand_in_place_of_litres_where_the_garden_is_in_them(book: Logbook) -> None:
    # PRINTED: NIST SP 811 (2008), Appendix B.8: 1 US gallon is 3.785 412 E-03 m3.
    _run(book, 1, 3.785412, 60.0, "timed")
    _run(book, 2, 378.5412, 600.0, "metered")
    lines = [line.split() for line in _text(book, us=True).splitlines()]
    assert ["zone", "waterings", "open", "gal", "gal", "gal"] in lines
    assert ["leeks", "1", "11:00", "101.0", "-", "-"] in lines


@pytest.mark.parametrize("us", [False, True])
@pytest.mark.parametrize("by", BY)
def test_the_report_fits_80_columns(book: Logbook, by: str, us: bool) -> None:
    _a_mixed_month(book)
    long = a_garden(a_zone("z" * 90, bed=Bed(name="b" * 90, keeper="k" * 90)), us_units=us)
    pulse_id = book.intend(a_pulse(1, "z" * 90))
    close(book, pulse_id, 360_000.0, 987_654.3, "timed")
    with Questions(book.path) as ask:
        sums = ask.sums(by, DAY, LAST, long)
    text = report_text(sums, long, by=by, first=DAY, last=LAST)
    assert max(len(line) for line in text.splitlines()) <= 80
    # WORKED: 987 654.3 + 158 = 987 812.3 L by relays; by 3.785 412 L a gallon 260 952.4.
    assert ("260,952.4" if us else "987,812.3") in text


def test_an_empty_period_says_so(book: Logbook) -> None:
    assert "No water is written down for these days." in _text(book)


def test_rows_are_si_flat_and_add_up(book: Logbook) -> None:
    _a_mixed_month(book)
    rows = report_rows(_sums(book))
    assert rows[0] == {
        "zone": "leeks",
        "first_day": "2031-06-01",
        "last_day": "2031-06-30",
        "month": "",
        "waterings": 1,
        "days_with_water": 1,
        "days_without_water": 29,
        "of_it_by_relay_litres": 158.0,
        "of_it_by_hand_litres": 0.0,
        "assumed_as_printed_litres": 0.0,
        "assumed_as_printed_waterings": 0,
        "pulses": 4,
        "pulses_cut_by_crash": 1,
        "pulses_without_open_time": 0,
        "open_s": 950.0,
        "given_litres": 158.0,
        "timed_litres": 100.0,
        "metered_litres": 50.0,
        "by_hand_litres": 0.0,
        "cut_by_crash_litres": 8.0,
        "not_known_litres": 0.0,
    }
    assert json.loads(json.dumps(rows)) == rows
    for row in rows:
        kinds = [row[f"{how}_litres"] for how in HOW]
        parts = [float(str(row[f"of_it_by_{way}_litres"])) for way in ("relay", "hand")]
        assert math.fsum(parts) == row["given_litres"]
        assert math.fsum(float(str(v)) for v in kinds) == row["given_litres"]


def test_csv_reads_back_to_the_same_figures(book: Logbook) -> None:
    _run(book, 1, 0.1 + 0.2, 1 / 3, "timed")
    read = list(csv.DictReader(io.StringIO(report_csv(_sums(book, "bed")))))
    assert [row["bed"] for row in read] == ["north", "south"]
    assert (float(read[0]["given_litres"]), float(read[0]["open_s"])) == (0.1 + 0.2, 1 / 3)


def test_csv_of_nothing_has_a_header(book: Logbook) -> None:
    assert report_csv(_sums(book, "month")).startswith("month,first_day,last_day,waterings")


def test_the_printed_sum_is_the_sum_over_the_pulses(book: Logbook) -> None:
    for slot in range(1, 11):
        _run(book, slot, 0.1, 1.0, "timed")
    sums = _sums(book)
    assert sums.total.litres == 1.0  # WORKED: ten tenths, exactly, as fsum has it
    assert "1.0" in next(line for line in _text(book).splitlines() if line.startswith("  all"))


# By month; what was assumed; the meter ----------------------------------------------------------

HANDS = a_garden(
    a_zone("leeks", bed=Bed(name="north", keeper="Odile")),
    a_zone("hedge", None, bed=Bed(name="west", keeper="Bram")),
    a_zone("herbs", None, bed=Bed(name="east", keeper="Bram"), hand_water=HandWater.AS_CONFIRMED),
)


def _a_spring(book: Logbook) -> None:
    """Leeks by relay on 30 May, 1 and 2 June; the hedge by hand on 1 June, as printed on 3 June."""
    for number, day in enumerate((date(2031, 5, 30), DAY, DAY + timedelta(days=1)), 1):
        pulse_id = book.intend(a_pulse(1, "leeks", day=day))
        book.opened(pulse_id, 1.0)
        close(book, pulse_id, 60.0, 10.0 * number, "timed")
    for day in (DAY, DAY + timedelta(days=2)):
        pulse = a_hand_pulse(1, "hedge", day=day)
        book.plan_day(day, [pulse])
        book.assumed(pulse.key, "its day is over")
    book.hand_watering("hedge", DAY, 7.0, 3.0, "Bram", book.clock.now_utc())


def _of(book: Logbook, by: str, **more: bool) -> Sums:
    with Questions(book.path) as ask:
        return ask.sums(by, date(2031, 5, 1), LAST, HANDS, **more)


def test_the_months_at_a_glance(book: Logbook) -> None:
    _a_spring(book)
    sums = _of(book, "month")
    text = report_text(sums, HANDS, by="month", first=date(2031, 5, 1), last=LAST)
    lines = [line.split() for line in text.splitlines()]
    assert ["month", "waterings", "with", "without", "L", "L", "L"] in lines
    assert ["May", "2031", "1", "1", "30", "10.0", "-", "-"] in lines
    # WORKED: 20 + 30 L by relay, 7 L by hand; three waterings on two days of thirty.
    assert ["June", "2031", "3", "2", "28", "50.0", "7.0", "5.0"] in lines
    # WORKED: 31 + 30 days less three.
    assert ["all", "4", "3", "58", "60.0", "7.0", "5.0"] in lines
    assert max(map(len, text.splitlines())) <= 80


def test_what_was_assumed_is_apart_and_none_of_a_day_somebody_reported(book: Logbook) -> None:
    _a_spring(book)
    sums = _of(book, "zone")
    hedge = next(row for row in sums.rows if row.name == "hedge")
    # The printed 5 L of 1 June stand for nothing: 7 L were reported of that day.
    assert (hedge.litres, hedge.assumed_litres, hedge.assumed_waterings) == (7.0, 5.0, 1)
    assert (sums.total.litres, sums.total.relay_litres, sums.total.hand_litres) == (67.0, 60.0, 7.0)
    text = " ".join(report_text(sums, HANDS, by="zone", first=date(2031, 5, 1), last=LAST).split())
    assert "assumed as printed, 1 watering; in no sum 5.0 L" in text
    assert "water that nobody reported counts as printed (zones by hand: hedge)" in text
    assert "water that nobody reported does not count (zones by hand: herbs)" in text


def test_days_from_before_the_logbook_are_named(book: Logbook) -> None:
    _a_spring(book)
    sums, first = _of(book, "month"), date(2031, 5, 1)
    words = "the logbook was begun on 20 May 2031; of the days before it has only what was noted"
    for begun, is_said in ((date(2031, 5, 20), True), (first, False), (None, False)):
        text = report_text(sums, HANDS, by="month", first=first, last=LAST, begun=begun)
        assert (words in " ".join(text.split())) == is_said


def test_each_keeper_month_by_month(book: Logbook) -> None:
    _a_spring(book)
    sums = _of(book, "keeper", months=True)
    assert [(row.name, row.month, row.litres, row.waterings) for row in sums.rows] == [
        ("Odile", "2031-05", 10.0, 1),
        ("Odile", "2031-06", 50.0, 2),
        ("Bram", "2031-06", 7.0, 1),
    ]
    assert [row.days_without for row in sums.rows] == [30, 28, 29]
    text = report_text(sums, HANDS, by="keeper", first=date(2031, 5, 1), last=LAST)
    lines = text.splitlines()
    at = lines.index("  Odile")
    assert lines[at + 1].split()[:3] == ["May", "2031", "1"]
    assert lines[at + 3] == "  Bram"
    rows = report_rows(sums)
    assert [(row["keeper"], row["month"]) for row in rows][1] == ("Odile", "2031-06")


def _spans(book: Logbook) -> list[MeterSpan]:
    with Questions(book.path) as ask:
        return ask.meter_spans(date.min, date.max, HANDS.site.zone_info)


def _at(day: int, hour: int = 12) -> datetime:
    return datetime(2031, 6, day, hour, tzinfo=UTC)


def _two_weeks_of_meter(book: Logbook, clock: HandClock) -> None:
    """The meter on 1, 8, 12 and 15 June, exchanged on the 12th; water in between."""
    for day, litres in ((3, 30.0), (6, 40.0), (10, 50.0), (13, 9.0)):
        clock.wall = _at(day, 5)
        pulse_id = book.intend(a_pulse(1, "leeks", day=date(2031, 6, day)))
        book.opened(pulse_id, 1.0)
        close(book, pulse_id, 60.0, litres, "timed")
    clock.wall = _at(20)
    book.hand_watering("hedge", date(2031, 6, 1), 99.0, None, "Bram", clock.now_utc())
    book.hand_watering("hedge", date(2031, 6, 8), 12.0, None, "Bram", clock.now_utc())
    for day, litres, new in ((1, 1000.0, False), (8, 1090.0, False), (12, 3.0, True),
                             (15, 10.0, False)):  # fmt: skip
        book.meter_reading(litres, _at(day), day=date(2031, 6, day), new_meter=new)


def test_between_two_readings_pulses_notes_and_meter_are_compared(
    book: Logbook, clock: HandClock
) -> None:
    _two_weeks_of_meter(book, clock)
    first, second, third = _spans(book)
    # WORKED: 30 + 40 L of pulses, 12 L by hand (that of the first day lies before the reading).
    assert (first.relay_litres, first.hand_litres, first.meter_litres) == (70.0, 12.0, 90.0)
    assert first.unexplained_litres == 8.0
    assert (second.relay_litres, second.meter_litres) == (50.0, None)
    assert second.unexplained_litres is None
    # WORKED: 10 - 3 - 9 L: the meter counted less.
    assert third.unexplained_litres == -2.0


def test_the_meter_s_table(book: Logbook, clock: HandClock) -> None:
    assert "Two readings of the water meter are needed" in meter_text([], HANDS)
    _two_weeks_of_meter(book, clock)
    text = meter_text(_spans(book), HANDS)
    assert max(map(len, text.splitlines())) <= 80
    lines = [line.split() for line in text.splitlines()]
    assert ["from", "to", "pulses", "by", "hand", "meter", "unexplained"] in lines
    assert ["1", "Jun", "2031", "8", "Jun", "2031", "70.0", "12.0", "90.0", "8.0"] in lines
    assert ["8", "Jun", "2031", "12", "Jun", "2031", "50.0", "0.0", "?", "?"] in lines
    # WORKED: 70 + 9, 12, 90 + 7, 8 - 2 L; the exchange is in none of them.
    assert ["all", "79.0", "12.0", "97.0", "6.0"] in lines
    assert "? where the meter was exchanged" in text
    rows = meter_rows(_spans(book))
    assert json.loads(json.dumps(rows)) == rows
    assert rows[0]["unexplained_litres"] == 8.0 and rows[1]["meter_litres"] is None


def test_what_was_assumed_is_named_beside_the_meter(book: Logbook, clock: HandClock) -> None:
    clock.wall = _at(20)
    pulse = a_hand_pulse(1, "hedge", day=date(2031, 6, 5))
    book.plan_day(pulse.day, [pulse])
    book.assumed(pulse.key, "its day is over")
    for day, litres in ((1, 1000.0), (8, 1020.0)):
        book.meter_reading(litres, _at(day), day=date(2031, 6, day))
    (span,) = _spans(book)
    assert (span.assumed_litres, span.unexplained_litres) == (5.0, 20.0)
    assert "5.0 L of hand valves count as printed" in " ".join(meter_text([span], HANDS).split())


def test_a_withdrawn_reading_is_no_reading(book: Logbook, clock: HandClock) -> None:
    _two_weeks_of_meter(book, clock)
    with Questions(book.path) as ask:
        wrong = next(e.number for e in ask.entries() if getattr(e.what, "value", 0.0) == 1090.0)
    book.withdraw(wrong)
    assert len(_spans(book)) == 2
