"""The report: its width, its units, and how the litres are known."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.gardens import a_garden, a_zone
from support.logbook import DAY, a_ledger_day, a_pulse, close

from controller.garden.model import Bed
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import Sums
from controller.logbook.totals import BY
from controller.paper.report import report_csv, report_rows, report_text

GARDEN = a_garden(
    a_zone("leeks", bed=Bed(name="north", keeper="Odile")),
    a_zone("beans", bed=Bed(name="south")),
)
LAST = date(2031, 6, 30)


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.db", HandClock()) as book:
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
    assert ["zone", "pulses", "open", "litres"] in lines
    assert ["leeks", "4", "15:50", "158.0"] in lines
    assert ["beans", "1", "?", "2.5"] in lines
    assert ["all", "5", "15:50+", "160.5"] in lines
    assert "gal" not in text


def test_the_report_says_how_the_litres_are_known(book: Logbook) -> None:
    _a_mixed_month(book)
    known = _text(book).split("How the litres are known\n")[1].split("\n\n")[0]
    assert [" ".join(line.split()) for line in known.splitlines()] == [
        "timed: open time by computed flow 100.0",
        "metered 50.0",
        "by hand, as told by who gave it 2.5",
        "cut by a crash: as far as signs of life tell 8.0",
        "not known; counted as nothing 0.0",
    ]


def test_the_report_says_what_was_cut_missed_refused_and_stood_in_for(book: Logbook) -> None:
    _a_mixed_month(book)
    words = " ".join(_text(book).split())
    assert "a crash ended 1 pulse; only water known to have flowed is in the sum" in words
    assert "planned but not given: 2 pulses (their time went by)" in words
    assert "planned but not given: 1 pulse (refused)" in words
    assert "1 of 3 zone-days of the ledger stood on a stand-in for the weather" in words
    assert "(stand-in: mean of 7 days)" in words
    assert "1 of 3 zone-days of the ledger stood on a forecast" in words
    assert "1 watering by hand came without it" in words


def test_days_on_a_lower_service_are_told(book: Logbook) -> None:
    rungs = ("station", "station", "service", "second service")
    days = [
        a_ledger_day("leeks", day=DAY + timedelta(days=n), rung=rung)
        for n, rung in enumerate(rungs)
    ]
    book.keep_ledger(days[2:])
    text = " ".join(_text(book).split())
    assert "1 of 2 zone-days of the ledger stood on the second service" in text
    assert "the first service" not in text  # the first step there is
    book.keep_ledger(days)
    text = " ".join(_text(book).split())
    assert "1 of 4 zone-days of the ledger stood on the first service" in text


def test_a_plain_month_has_no_notes(book: Logbook) -> None:
    _run(book, 1, 100.0, 600.0, "timed")
    assert "Note:" not in _text(book)
    assert ["beans", "0", "-", "0.0"] in [line.split() for line in _text(book).splitlines()]


def test_gallons_stand_beside_litres_where_the_garden_is_in_them(book: Logbook) -> None:
    # PRINTED: NIST SP 811 (2008), Appendix B.8: 1 US gallon is 3.785 412 E-03 m3.
    _run(book, 1, 3.785412, 60.0, "timed")
    _run(book, 2, 378.5412, 600.0, "metered")
    lines = [line.split() for line in _text(book, us=True).splitlines()]
    assert ["zone", "pulses", "open", "litres", "US", "gal"] in lines
    assert ["leeks", "2", "11:00", "382.3", "101.0"] in lines


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
    assert "987,8" in text  # WORKED: 987 654.3 + 160.5 = 987 814.8 L in all


def test_an_empty_period_says_so(book: Logbook) -> None:
    assert "No water is written down for these days." in _text(book)


def test_rows_are_si_flat_and_add_up(book: Logbook) -> None:
    _a_mixed_month(book)
    rows = report_rows(_sums(book))
    assert rows[0] == {
        "zone": "leeks",
        "first_day": "2031-06-01",
        "last_day": "2031-06-30",
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
        kinds = [v for k, v in row.items() if k.endswith("_litres") and k != "given_litres"]
        assert math.fsum(float(str(v)) for v in kinds) == row["given_litres"]


def test_csv_reads_back_to_the_same_figures(book: Logbook) -> None:
    _run(book, 1, 0.1 + 0.2, 1 / 3, "timed")
    read = list(csv.DictReader(io.StringIO(report_csv(_sums(book, "bed")))))
    assert [row["bed"] for row in read] == ["north", "south"]
    assert (float(read[0]["given_litres"]), float(read[0]["open_s"])) == (0.1 + 0.2, 1 / 3)


def test_csv_of_nothing_has_a_header(book: Logbook) -> None:
    assert report_csv(_sums(book, "month")).startswith("month,first_day,last_day,pulses")


def test_the_printed_sum_is_the_sum_over_the_pulses(book: Logbook) -> None:
    for slot in range(1, 11):
        _run(book, slot, 0.1, 1.0, "timed")
    sums = _sums(book)
    assert sums.total.litres == 1.0  # WORKED: ten tenths, exactly, as fsum has it
    assert "1.0" in next(line for line in _text(book).splitlines() if line.startswith("  all"))
