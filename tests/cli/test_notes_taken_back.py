"""note list, withdraw, --corrects: what was written down is shown, and taken back, by numbers."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from pytest import approx
from support.clock import HandClock
from support.garden_files import WITH_WEATHER

import controller.cli.logbook_commands as logbook_commands
import controller.cli.plan_commands as plan_commands
from controller.cli import main
from controller.logbook.queries import Questions

GARDEN = (
    WITH_WEATHER
    + """\
[watering]
hand_water = "as confirmed"
[[zone]]
name = "carrots"
valve = { hand = true }
row = [ { length = "4 m", every = "15 cm", bore = "1.6 mm", width = "60 cm" } ]
planting = [ { crop = "carrot", sown = 2031-04-22, until = 2031-10-10 } ]
[[zone]]
name = "leeks"
valve = { hand = true }
row = [ { length = "4 m", every = "15 cm", bore = "1.6 mm", width = "60 cm" } ]
planting = [ { crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 } ]
"""
)
WEATHER = "date,tmin_c,tmax_c,rain_mm\n" + "".join(
    f"2031-06-{day:02d},{11 + day % 2},{24 + day % 3},0\n" for day in range(1, 26)
)
ON = ("--on", "2031-06-24")
Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Commands in that garden on 26 June 2031; nobody sits at a terminal."""
    path = tmp_path / "garden.toml"
    path.write_text(GARDEN, encoding="utf-8")
    (tmp_path / "weather.csv").write_text(WEATHER, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    for module in (logbook_commands, plan_commands):
        monkeypatch.setattr(module, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)

    def call(command: str, *argv: str) -> tuple[int, str]:
        garden = ("--garden", str(path)) if command in ("note", "report") else (str(path),)
        code = main([command, *garden, *argv])
        out = capsys.readouterr()
        return code, out.out + " ".join(out.err.split())

    return call


def listed(run: Run, *argv: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(run("note", "list", "--json", *argv)[1])["notes"]
    return found


def ledger(run: Run, zone: str, day: str) -> dict[str, Any]:
    rows = json.loads(run("balance", "--json", "--zone", zone)[1])["balance"]
    (found,) = [row for row in rows if row["date"] == day]
    return found  # type: ignore[no-any-return]


def test_the_answer_has_number_words_and_day(run: Run) -> None:
    code, said = run("note", "watered", "carrots", "--amount", "38 L", *ON)
    assert code == 0
    assert said.startswith("written down as 1: carrots watered by hand, 38 L, 24 June 2031")
    code, said = run("note", "watered", "carrots", "--minutes", "2")
    assert code == 0
    assert said.startswith("written down as 2: carrots watered by hand, 2 min, ")
    assert " L, 26 June 2031 (at the computed flow" in said


def test_the_list_is_by_zone_and_days_and_fits_the_page(run: Run) -> None:
    run("note", "watered", "carrots", "--amount", "38 L", *ON, "--who", "Odile")
    run("note", "watered", "leeks", "--amount", "5 L", "--on", "2031-06-20")
    run("note", "rain", "4 mm", *ON)
    run("note", "words", "the far end drips, as it did in the spring " * 3, "--zone", "leeks")
    code, text = run("note", "list")
    assert code == 0 and max(map(len, text.splitlines())) <= 80
    assert text.splitlines()[:3] == [
        "    2   2031-06-20  leeks watered by hand, 5 L",
        "    1   2031-06-24  carrots watered by hand, 38 L (Odile)",
        "    3   2031-06-24  4.0 mm of rain",
    ]
    assert [one["number"] for one in listed(run, "--zone", "leeks")] == [2, 4]
    assert [one["number"] for one in listed(run, "--from", "2031-06-24")] == [1, 3, 4]
    assert [one["number"] for one in listed(run, "--to", "2031-06-24")] == [2, 1, 3]
    first = listed(run)[1]
    assert first["litres"] == 38.0 and first["who"] == "Odile" and first["stands"]
    assert first["day"] == "2031-06-24" and first["zones"] == ["carrots"]
    assert run("note", "list", "--zone", "peas")[0] == 2
    assert run("note", "list", "--from", "2031-06-25", "--to", "2031-06-24")[0] == 2


def test_a_withdrawn_watering_is_out_of_ledger_plan_and_report(run: Run) -> None:
    run("note", "words", "begun")  # from then on the logbook is what counts
    run("note", "watered", "leeks", "--amount", "1 L", *ON)
    before, plan = ledger(run, "carrots", "2031-06-25"), run("plan", "--json")[1]
    run("note", "watered", "carrots", "--amount", "38 L", *ON)
    watered = ledger(run, "carrots", "2031-06-25")
    assert watered["depletion_mm"] < before["depletion_mm"]
    assert run("plan", "--json")[1] != plan
    code, said = run("note", "withdraw", "3", "--who", "Tim", "--why", "it was the leeks")
    assert code == 0
    assert "withdrawn as 4: 3, carrots watered by hand, 38 L, 24 June 2031." in said
    assert ledger(run, "carrots", "2031-06-25") == before
    assert run("plan", "--json")[1] == plan
    report = json.loads(run("report", "--json", "--from", "2031-06-20")[1])["report"]
    assert {row["zone"]: row["given_litres"] for row in report} == {"carrots": 0.0, "leeks": 1.0}
    text = run("note", "list")[1]
    assert "    3 x 2031-06-24  carrots watered by hand, 38 L\n" in text
    assert "withdrawn as 4 on 26 June 2031, Tim: it was the leeks" in text
    assert [one["number"] for one in listed(run, "--standing")] == [2, 1]
    code, said = run("note", "withdraw", "3")
    assert code == 2 and "note 3 was taken back already, by note 4" in said


def test_a_corrected_note_keeps_its_day_and_is_judged_without_the_wrong_one(
    run: Run, tmp_path: Path
) -> None:
    run("note", "watered", "carrots", "--amount", "380 L", *ON, "--force")
    code, said = run("note", "watered", "carrots", "--amount", "38 L", "--corrects", "1")
    assert code == 0
    assert said.startswith(
        "written down as 2, in place of 1 (carrots watered by hand, 380 L, 24 June 2031): "
        "carrots watered by hand, 38 L, 24 June 2031"
    )
    assert "count for that day" not in said
    with Questions(tmp_path / "logbook.db") as ask:
        assert ask.litres_by_zone_day() == {("carrots", date(2031, 6, 24)): 38.0}
    # Another day is named with --on; another zone is no other kind.
    code, said = run("note", "watered", "leeks", "--amount", "38 L", "--corrects", "2", "--on",
                     "2031-06-23")  # fmt: skip
    assert code == 0 and "leeks watered by hand, 38 L, 23 June 2031" in said
    assert "corrected by 2 on 26 June 2031" in run("note", "list")[1]


def test_rain_and_meter_are_corrected_too(run: Run, tmp_path: Path) -> None:
    run("note", "rain", "6 mm", *ON)
    run("note", "rain", "40 mm", *ON)
    assert run("note", "rain", "4 mm", "--corrects", "2")[0] == 0
    run("note", "meter", "81234 L", *ON)
    run("note", "meter", "91300 L", "--on", "2031-06-25")
    assert run("note", "meter", "81300 L", "--corrects", "5")[0] == 0
    assert run("note", "meter", "81310 L")[0] == 0
    with Questions(tmp_path / "logbook.db") as ask:
        # WORKED: 6 + 4 mm.
        assert ask.gauge_by_day() == approx({date(2031, 6, 24): 10.0})
        assert [r.value for r in ask.readings("meter")] == approx([81234.0, 81300.0, 81310.0])


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (("rain", "4 mm", "--corrects", "9"), "no note has the number 9; rowgate note list"),
        (("rain", "4 mm", "--corrects", "1"), "1 is a note of another kind (words)"),
        (("words", "so", "--corrects", "2"), "note 2 was taken back already, by note 3"),
        (("withdraw", "9"), "no note has the number 9"),
        (("withdraw", "3"), "no note has the number 3"),
    ],
)
def test_what_cannot_be_taken_back_is_said_and_nothing_is_written(
    run: Run, argv: tuple[str, ...], said: str
) -> None:
    run("note", "words", "all well")
    run("note", "words", "all ill")
    run("note", "withdraw", "2")
    before = run("note", "list", "--json")[1]
    code, found = run("note", *argv)
    assert code == 2 and said in found
    assert run("note", "list", "--json")[1] == before


def test_a_garden_without_a_logbook_has_no_notes_and_gets_none(run: Run, tmp_path: Path) -> None:
    assert run("note", "list") == (0, "no notes\n")
    assert run("note", "withdraw", "1")[0] == 2
    assert not (tmp_path / "logbook.db").exists()


def test_the_year_at_a_glance_and_the_meter_by_the_command_line(run: Run) -> None:
    run("note", "watered", "carrots", "--amount", "38 L", *ON)
    run("note", "meter", "100 L", "--on", "2031-06-20")
    code, said = run("report", "--meter")
    assert code == 0 and "Two readings of the water meter are needed" in said
    run("note", "meter", "150 L", "--on", "2031-06-25")
    (span,) = json.loads(run("report", "--meter", "--json")[1])["meter"]
    # WORKED: 150 - 100 - 38 L.
    assert (span["by_hand_litres"], span["unexplained_litres"]) == (38.0, 12.0)
    assert run("report", "--meter", "--csv")[1].splitlines()[0].startswith("first_day,last_day,")
    rows = json.loads(run("report", "--year", "2031", "--json")[1])["report"]
    assert [row["month"] for row in rows] == [f"2031-{n:02d}" for n in range(1, 7)]
    # WORKED: 26 days of June so far, one of them with water.
    assert (rows[5]["waterings"], rows[5]["days_without_water"]) == (1, 25)
    code, said = run("report", "--year", "2032")
    assert code == 2 and "--year 2032 lies ahead" in said
    code, said = run("report", "--year", "2031", "--from", "2031-06-01")
    assert code == 2 and "leave --from and --to out" in said
