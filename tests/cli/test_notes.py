"""note rain, watered, meter: what adds up, what is asked about, what is refused; real logbooks."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock

import controller.cli.logbook_commands as logbook_commands
from controller.cli import main
from controller.cli.plausible import DAYS_LATE, RECORD_RAIN_MM, UNLIKELY_RAIN_MM
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.logbook.records import FlowStretch

GARDEN = """
[site]
name = "Small"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
units = "metric"
[supply]
static_pressure = "3.3 bar"
flow_test = { fill = "20 L", seconds = 40 }
[[zone]]
name = "leeks"
main_run = "5 m"
valve = { hand = true }
row = [ { length = "3.3528 m", every = "15 cm", bore = "1.6 mm", width = "60 cm" } ]
planting = [ { crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 } ]
"""
GROUND_M2 = 3.3528 * 0.60
DAY = date(2031, 6, 25)
ON = ("--on", DAY.isoformat())
Note = Callable[..., tuple[int, str]]


@pytest.fixture
def note(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Note:
    """Write down in a garden of metric units on 26 June 2031; nobody sits at a terminal."""
    (tmp_path / "garden.toml").write_text(GARDEN, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    monkeypatch.setattr(logbook_commands, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)
    at_terminal(monkeypatch, None)

    def call(*argv: str) -> tuple[int, str]:
        code = main(["note", "--garden", str(tmp_path / "garden.toml"), *argv])
        out = capsys.readouterr()
        return code, " ".join((out.out + out.err).split())

    return call


def at_terminal(monkeypatch: pytest.MonkeyPatch, answer: str | None) -> list[str]:
    """Who types that answer, or nobody; the questions that were asked."""
    asked: list[str] = []

    def typed(question: str = "") -> str:
        asked.append(question)
        assert answer is not None
        return answer

    monkeypatch.setattr("sys.stdin.isatty", lambda: answer is not None, raising=False)
    monkeypatch.setattr("builtins.input", typed)
    return asked


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return tmp_path / "logbook.db"


def rain(book: Path) -> dict[date, float]:
    with Questions(book) as ask:
        return ask.gauge_by_day()


def litres(book: Path) -> float:
    with Questions(book) as ask:
        return float(ask.litres_by_zone_day().get(("leeks", DAY), 0.0))


# Rain ---------------------------------------------------------------------------------------------


def test_readings_of_one_day_add_up_and_the_answer_has_both_figures(note: Note, book: Path) -> None:
    code, said = note("rain", "6 mm", *ON)
    assert (code, said) == (0, "written down as 1: 6.0 mm of rain, 25 June 2031")
    code, said = note("rain", "4 mm", *ON)
    assert code == 0
    assert (
        "written down as 2: 4.0 mm of rain, 25 June 2031; with 6.0 mm noted before, 10.0 mm count "
        'for that day. If this is all of its rain, write: rowgate note rain "4 mm" --replace --on '
        "2031-06-25"
    ) in said
    note("rain", "1 mm", *ON)
    note("rain", "3 mm")  # another day is another day
    # WORKED: 6 + 4 + 1 mm.
    assert rain(book) == approx({DAY: 11.0, date(2031, 6, 26): 3.0})


def test_a_wrong_reading_is_replaced_and_the_answer_has_both_figures(
    note: Note, book: Path
) -> None:
    note("rain", "60 mm", *ON)
    code, said = note("rain", "6 mm", "--replace", *ON)
    assert code == 0
    assert (
        "written down as 2: 6.0 mm of rain, all of that day, 25 June 2031, in place of 60.0 mm"
        in said
    )
    assert rain(book) == approx({DAY: 6.0})
    note("rain", "2 mm", *ON)
    # WORKED: 6 + 2 mm.
    assert rain(book) == approx({DAY: 8.0})
    assert note("rain", "0 mm", "--replace", *ON)[0] == 0
    assert rain(book) == {DAY: 0.0}


def test_a_logbook_whose_later_words_stood_alone_keeps_its_days(note: Note, book: Path) -> None:
    """Until there was --replace, a second note replaced the first."""
    with Logbook(book, HandClock()) as old:
        old.rain_gauge(DAY, 5.0)
        old.rain_gauge(DAY, 6.5)
    assert rain(book) == {DAY: 6.5}
    note("rain", "1 mm", *ON)
    # WORKED: 6.5 + 1 mm.
    assert rain(book) == approx({DAY: 7.5})


def test_a_first_note_goes_before_what_the_gauge_on_a_pin_counted(note: Note, book: Path) -> None:
    with Logbook(book, HandClock()) as old:
        old.gauge_on_pin(DAY, 7.0, 24.0)
    assert "it goes before 7.0 mm of the gauge on its pin" in note("rain", "5 mm", *ON)[1]
    assert rain(book) == approx({DAY: 5.0})


@pytest.mark.parametrize("depth", ["12 in", "128 mm"])
def test_a_flood_of_rain_is_written_only_where_it_is_insisted_on(
    note: Note, book: Path, depth: str
) -> None:
    code, said = note("rain", depth, *ON)
    assert code == 2
    for words in (
        "found 304.8 mm" if depth == "12 in" else "found 128 mm",
        f"over {UNLIKELY_RAIN_MM:g} mm in a day is seldom seen",
        "note each with its own --on",
        "nothing is written down. If it is so, add --force",
    ):
        assert words in said
    assert not book.exists()  # what is refused begins no logbook
    assert note("rain", depth, "--force", *ON)[0] == 0
    assert rain(book) == approx({DAY: 304.8 if depth == "12 in" else 128.0})


def test_what_rains_in_two_notes_is_judged_together(note: Note, book: Path) -> None:
    assert note("rain", "100 mm", *ON)[0] == 0
    code, said = note("rain", "40 mm", *ON)
    assert code == 2
    assert "found 40 mm of rain on 2031-06-25, 140 mm with what was noted" in said
    assert rain(book) == {DAY: 100.0}
    assert note("rain", "40 mm", "--replace", *ON)[0] == 0


@pytest.mark.parametrize("force", [(), ("--force",)])
@pytest.mark.parametrize(
    ("depth", "said"),
    [("1830 mm", "the most that ever fell in a day, anywhere, is 1825 mm"), ("-3 mm", "0 or more")],
)
def test_rain_that_cannot_be_is_refused_whoever_insists(
    note: Note, book: Path, depth: str, said: str, force: tuple[str, ...]
) -> None:
    code, words = note("rain", *force, f"--on={DAY}", "--", depth)
    assert code == 2
    assert said in words and "--force" not in words
    assert not book.exists()


def test_the_bounds_of_a_day_s_rain() -> None:
    # PRINTED, from memory: 24 hours at Foc-Foc, La Reunion, 7 and 8 January 1966 (WMO archive).
    assert RECORD_RAIN_MM == 1825.0
    # WORKED: 5 in of 25.4 mm.
    assert approx(5 * 25.4) == UNLIKELY_RAIN_MM


# At a terminal ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("answer", "written"), [("yes", True), ("", False), ("no", False)])
def test_a_person_at_a_terminal_is_asked(
    note: Note, book: Path, monkeypatch: pytest.MonkeyPatch, answer: str, written: bool
) -> None:
    asked = at_terminal(monkeypatch, answer)
    code, said = note("rain", "12 in", *ON)
    assert "found 304.8 mm of rain" in said
    assert asked == ["Write it down all the same? yes; no [no]: "]
    assert (code, book.exists()) == ((0, True) if written else (2, False))


def test_nobody_is_asked_about_what_cannot_be(
    note: Note, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = at_terminal(monkeypatch, "yes")
    assert note("rain", "2 m", *ON)[0] == 2
    assert asked == [] and not book.exists()


def test_a_real_terminal_asks_and_a_pipe_does_not(tmp_path: Path) -> None:
    (tmp_path / "garden.toml").write_text(GARDEN, encoding="utf-8")
    garden = str(tmp_path / "garden.toml")
    argv = [sys.executable, "-m", "controller.cli", "note", "--garden", garden, "rain", "12 in"]
    # Nobody answers in a pipe.
    piped = subprocess.run(argv, input="yes\n", capture_output=True, text=True, timeout=60)
    assert piped.returncode == 2 and "--force" in piped.stderr
    mine, theirs = pty.openpty()
    try:
        os.write(mine, b"yes\n")
        done = subprocess.run(argv, stdin=theirs, capture_output=True, text=True, timeout=60)
    finally:
        os.close(theirs)
        os.close(mine)
    assert done.returncode == 0, done.stderr
    # WORKED: 12 in of 25.4 mm.
    assert list(rain(tmp_path / "logbook.db").values()) == approx([304.8])


# Water by hand ------------------------------------------------------------------------------------


def test_a_lake_on_a_strip_is_refused_whoever_insists(note: Note, book: Path) -> None:
    for force in ((), ("--force",)):
        code, said = note("watered", "leeks", "--amount", "6000 L", *ON, *force)
        assert code == 2
        # WORKED: 6,000 L over 3.3528 m x 0.60 m = 2.01168 m2 are 2,982.6 mm.
        assert "found 6000 L for leeks on 2031-06-25: 2982.6 mm over its ground" in said
        assert "no ground takes more than 2000 mm in a day" in said
    assert not book.exists()


def test_more_than_the_root_zone_takes_is_written_only_where_it_is_insisted_on(
    note: Note, book: Path
) -> None:
    code, said = note("watered", "leeks", "--amount", "600 L", *ON)
    assert code == 2
    for words in (
        "found 600 L for leeks on 2031-06-25: 298.3 mm over its ground",
        "its root zone holds",
        "in a day is seldom given; nothing is written down. If it is so, add --force",
    ):
        assert words in said
    assert not book.exists()
    assert note("watered", "leeks", "--amount", "600 L", *ON, "--force")[0] == 0
    assert litres(book) == 600.0


def test_several_waterings_of_a_day_are_judged_and_said_together(note: Note, book: Path) -> None:
    assert note("watered", "leeks", "--amount", "80 L", *ON)[0] == 0
    code, said = note("watered", "leeks", "--amount", "20 L", *ON)
    assert code == 0
    assert (
        "written down as 2: leeks watered by hand, 20 L, 25 June 2031 (as measured); with 80.0 L "
        in said
    )
    assert "100 L count for that day" in said
    code, said = note("watered", "leeks", "--amount", "500 L", *ON)
    assert code == 2
    assert "found 500 L for leeks on 2031-06-25, 600 L with what it got that day before" in said
    assert litres(book) == approx(100.0)


def test_minutes_are_judged_by_the_litres_they_come_to(note: Note, book: Path) -> None:
    code, said = note("watered", "leeks", "--minutes", "600", *ON)
    assert code == 2 and "over its ground" in said
    assert not book.exists()
    assert note("watered", "leeks", "--minutes", "3", *ON)[0] == 0
    assert litres(book) > 1.0


def test_an_amount_that_its_valve_cannot_pass_in_a_day_is_doubtful(
    note: Note, book: Path, tmp_path: Path
) -> None:
    slow = GARDEN.replace("hand = true }", 'hand = true }\nopening = { flow = "0.02 L/min" }')
    (tmp_path / "garden.toml").write_text(slow, encoding="utf-8")
    code, said = note("watered", "leeks", "--amount", "60 L", *ON)
    # WORKED: 0.02 L/min over 1,440 min are 28.8 L.
    assert code == 2 and "open day and night its valve passes 28.8 L" in said
    assert note("watered", "leeks", "--amount", "25 L", *ON)[0] == 0


def test_no_water_may_be_written_down(note: Note, book: Path) -> None:
    assert note("watered", "leeks", "--amount", "0 L", *ON)[0] == 0
    assert litres(book) == 0.0
    code, said = note("watered", "leeks", "--amount=-5 L", *ON)
    assert code == 2 and "allowed is 0 or more" in said


# Meter, day ---------------------------------------------------------------------------------------


def test_a_meter_does_not_run_back_unless_it_was_exchanged(note: Note, book: Path) -> None:
    assert note("meter", "81234 L")[0] == 0
    code, said = note("meter", "8130 L")
    assert code == 2
    assert "found 8130 L; on 2031-06-26 the meter read 81234 L, and it does not run back" in said
    assert note("meter", "81300 L")[0] == 0
    code, said = note("meter", "12 L", "--force")
    assert code == 2 and "If it was exchanged in between" in said and "--new-meter" in said
    assert note("meter", "12 L", "--new-meter")[0] == 0
    assert note("meter", "15 L")[0] == 0
    with Questions(book) as ask:
        assert [r.value for r in ask.readings("meter")] == approx([81234.0, 81300.0, 12.0, 15.0])


def test_a_meter_reading_and_words_are_of_the_day_they_are_said_to_be_of(
    note: Note, book: Path
) -> None:
    assert note("meter", "81300 L")[0] == 0
    code, said = note("meter", "81100 L", "--on", "2031-06-20")
    assert code == 0 and "written down as 2: the meter reads 81,100 L, 20 June 2031" in said
    # It lies between what was read before and after, by their days, not by the order of writing.
    assert note("meter", "81050 L", "--on", "2031-06-22")[0] == 2
    code, said = note("meter", "81400 L", "--on", "2031-06-22")
    assert code == 2 and "on 2031-06-26 the meter read 81300 L" in said
    assert note("words", "the pump hums", "--on", "2031-06-20")[0] == 0
    with Questions(book) as ask:
        read = [(r.value, str(r.day)) for r in ask.readings("meter")]
        assert [one.at_utc.date().isoformat() for one in ask.notes()] == ["2031-06-20"]
    assert read == [(approx(81100.0), "2031-06-20"), (approx(81300.0), "2031-06-26")]


def test_last_year_s_date_by_habit_is_doubtful(note: Note, book: Path) -> None:
    code, said = note("rain", "4 mm", "--on", "2030-06-25")
    assert code == 2
    assert "found --on 2030-06-25, 366 days ago" in said and "is it the year?" in said
    assert not book.exists()
    assert note("rain", "4 mm", "--on", "2030-06-25", "--force")[0] == 0
    assert DAYS_LATE < 366


def test_a_note_for_a_hand_valve_says_that_it_stands_in_place_of_what_was_printed(
    note: Note, book: Path
) -> None:
    code, said = note("watered", "leeks", "--amount", "0 L", *ON)
    assert code == 0 and litres(book) == 0.0
    assert "of that day only what is noted counts, not what was printed" in said


def test_a_mended_line_forgets_what_the_meter_saw_of_it(note: Note, tmp_path: Path) -> None:
    seen = FlowStretch(
        day=DAY, zones=frozenset({"leeks"}), seconds=90.0, litres=9.0, computed_l_s=0.1
    )
    later = replace(seen, day=DAY + timedelta(days=1))
    with Logbook(tmp_path / "logbook.db", HandClock()) as book:
        book.flow_stretch(seen)
        book.flow_stretch(later)
    code, said = note("mended", "leeks", *ON)
    assert code == 0
    assert "the line of leeks is as it should be" in said
    with Questions(tmp_path / "logbook.db") as ask:
        assert ask.flow_stretches() == [later]
    code, said = note("mended", "beans")
    assert code == 2
    assert 'this garden has: "leeks"' in said


def test_rain_without_a_unit_is_asked_back_with_examples_of_rain(note: Note) -> None:
    code, said = note("rain", "10")
    assert code == 2 and 'rain needs its unit, as in "0.4 in" or "10 mm"' in said
