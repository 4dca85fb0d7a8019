"""plan as a sheet: whose zones, which clock, pages, a calendar."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.cli import main
from controller.paper.printout import PAGE_LINES

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*argv: str) -> tuple[int, str, str]:
        code = main(["plan", "--days", "3", *argv])
        out = capsys.readouterr()
        return code, out.out, out.err

    return call


def zones(run: Run, *argv: str) -> set[str]:
    return {row["zone"] for row in json.loads(run(*argv, "--json")[1])["timetable"]}


def test_a_sheet_of_one_keeper_bed_or_zone_has_its_zones_alone(run: Run) -> None:
    everybody = zones(run)
    assert zones(run, "--keeper", "Bram") == {"tomatoes", "peppers", "beans"}
    assert zones(run, "--keeper", "bram", "--keeper", "Tavi") >= {"beans", "strawberries"}
    assert zones(run, "--bed", "long bed") == {"tomatoes", "peppers"}
    assert zones(run, "--zone", "beans", "--zone", "salad") == {"beans", "salad"}
    assert zones(run, "--bed", "long bed", "--zone", "peppers") == {"peppers"}
    assert everybody > {"tomatoes", "peppers", "beans"}
    rows = csv.DictReader(io.StringIO(run("--keeper", "Bram", "--csv")[1]))
    assert {row["zone"] for row in rows} == {"tomatoes", "peppers", "beans"}
    code, out, _ = run("--keeper", "bram")
    assert code == 0 and out.startswith("Tansybeck allotments: when to water, for Bram\n")
    assert "strawberries" not in out and "carrots" not in out


def test_each_opening_is_the_same_on_a_sheet_of_one_zone(run: Run) -> None:
    def of_beans(*argv: str) -> list[dict[str, object]]:
        rows = json.loads(run(*argv, "--json")[1])["timetable"]
        return [row for row in rows if row["zone"] == "beans"]

    assert of_beans() == of_beans("--zone", "beans") != []


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("--keeper", "Nobody"), 'found --keeper \'Nobody\'; this garden has: "Odile", "Bram"'),
        (("--bed", "leeks"), "found --bed 'leeks'; this garden has: \"north terrace\""),
        (
            ("--zone", "beens"),
            'found --zone \'beens\'; did you mean "beans"? This garden has: "leeks"',
        ),
        (("--zone", "leeks", "--keeper", "Bram"), "no zone fits"),
    ],
)
def test_what_the_garden_does_not_have_is_refused(
    run: Run, argv: tuple[str, ...], words: str
) -> None:
    code, out, err = run(*argv)
    assert code == 2 and not out and words in err


def test_the_clock_is_the_garden_s_or_the_one_asked_for(run: Run) -> None:
    assert " 5:30 pm " in run()[1]  # the example is in US units
    assert " 17:30 " in run("--clock", "24")[1]
    assert run("--clock", "12")[1] == run()[1]


def test_a_garden_file_may_choose_its_clock(run: Run, tmp_path: Path) -> None:
    plain = (Path(__file__).parents[2] / "config/example-garden.toml").read_text(encoding="utf-8")
    path = tmp_path / "garden.toml"

    def first(clock: str) -> tuple[int, str, str]:
        text = plain.replace("[site]\n", f"[site]\n{clock}\n", 1)
        path.write_text(text.replace('file = "example-weather.csv"', ""), encoding="utf-8")
        return run(str(path), "--from", "2031-07-06")

    assert " pm " in first("")[1]
    assert " pm " not in first("clock = 24")[1]
    assert " pm " in first('clock = "12"')[1]
    code, _, err = first("clock = 13")
    assert code == 2 and "found 13; clock is 12 (as in 5:30 pm) or 24 (17:30)" in err


def test_pages_are_parted_by_form_feeds_and_nothing_else_is(run: Run) -> None:
    code, out, _ = run("--days", "7", "--page", "--why")
    pages = out.split("\f")
    assert code == 0 and len(pages) >= 2
    assert max(len(page.splitlines()) for page in pages) <= PAGE_LINES
    assert max(map(len, out.splitlines())) <= 80
    assert "\f" not in run("--days", "7", "--why")[1]


def test_a_calendar_is_written_over_its_older_self_and_over_no_other_file(
    run: Run, tmp_path: Path
) -> None:
    path = tmp_path / "water.ics"
    code, out, err = run("--calendar", str(path))
    assert code == 0 and "is written" in err and "[ ]" in out
    text = path.read_bytes()
    assert (
        text.startswith(b"BEGIN:VCALENDAR\r\n")
        and text.count(b"BEGIN:VEVENT") == out.count("[ ] ") - 1
    )
    assert run("--calendar", str(path))[0] == 0
    assert path.read_bytes().count(b"BEGIN:VEVENT") == text.count(b"BEGIN:VEVENT")
    path.write_text("my own notes", encoding="utf-8")
    code, _, err = run("--calendar", str(path))
    assert code == 2 and "is no calendar of Rowgate's" in err
    assert path.read_text(encoding="utf-8") == "my own notes"
    path.write_bytes(b"\xff\xfe")
    assert run("--calendar", str(path))[0] == 2
    assert run("--calendar", str(tmp_path))[0] == 2


def test_the_comparison_with_flooding_is_not_on_the_sheet(run: Run) -> None:
    assert "looding" not in run()[1]
    assert json.loads(run("--json")[1])["against_flooding"]["flooding_efficiency"] == 0.6
