"""note soil, and balance with it: shown beside the ledger, which it does not move."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from support.clock import HandClock
from support.garden_files import BY_HAND, LEEKS, hand_zone
from support.gardens import a_garden, a_zone, even_days
from support.mornings import a_plan

import controller.cli.garden_commands as garden_commands
import controller.cli.logbook_commands as logbook_commands
import controller.cli.plan_commands as plan_commands
from controller.cli import main
from controller.cli.loading import LOGBOOK_NAME
from controller.logbook.logbook import Logbook
from crops.catalogue import load

GARDEN = BY_HAND + hand_zone("leeks", LEEKS)

Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    garden = tmp_path / "garden.toml"
    garden.write_text(GARDEN, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    for module in (logbook_commands, plan_commands, garden_commands):
        monkeypatch.setattr(module, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)

    def call(*argv: str) -> tuple[int, str]:
        code = main([*argv[:1], *_garden(argv[0], garden), *argv[1:]])
        out = capsys.readouterr()
        return code, out.out + ("" if "--json" in argv else out.err)

    return call


def _garden(command: str, path: Path) -> list[str]:
    return ["--garden", str(path)] if command == "note" else [str(path)]


@pytest.mark.parametrize("value", [("21",), ("21", "%"), ("moist",)])
def test_a_reading_is_shown_beside_the_ledger_and_moves_nothing(
    run: Run, value: tuple[str, ...]
) -> None:
    before = json.loads(run("balance", "--json")[1])["balance"]
    code, said = run("note", "soil", "leeks", *value, "--on", "2031-06-24")
    assert code == 0, said
    assert "it changes no account" in said
    after = json.loads(run("balance", "--json")[1])
    assert after["balance"] == before
    (check,) = after["soil_read"]
    assert (check["zone"], check["day"]) == ("leeks", "2031-06-24")
    code, text = run("balance")
    assert code == 0
    assert "Soil read on 24 June 2031, leeks:" in " ".join(text.split())


def _evening(run: Run, day: str) -> dict[str, float]:
    rows = json.loads(run("balance", "--json")[1])["balance"]
    (found,) = [row for row in rows if row["date"] == day]
    return found  # type: ignore[no-any-return]


def test_a_reading_becomes_the_accounts_new_start_and_is_taken_back(run: Run) -> None:
    before = _evening(run, "2031-06-24")
    code, said = run("note", "soil", "leeks", "17", "--start", "--on", "2031-06-24")
    assert code == 0, said
    number = said.split("rowgate note withdraw ")[1].split()[0]
    after = _evening(run, "2031-06-24")
    # FAO-56 (1998), eq. 87: field capacity less 17 %, over the depth of the roots.
    capacity = load().soil("loam").field_capacity
    missing = 1000.0 * (capacity - 0.17) * after["root_depth_m"]
    wetted = after["wetted_fraction"]
    assert after["wet_depletion_mm"] == pytest.approx(min(missing, after["taw_mm"]), abs=0.01)
    more = wetted * (after["wet_depletion_mm"] - before["wet_depletion_mm"])
    assert after["depletion_mm"] - before["depletion_mm"] == pytest.approx(more, abs=0.01)
    assert after["handed_over_mm"] - before["handed_over_mm"] == pytest.approx(more, abs=0.01)
    assert after["rest_depletion_mm"] == before["rest_depletion_mm"]
    assert _evening(run, "2031-06-25")["start_depletion_mm"] == after["depletion_mm"]
    (check,) = json.loads(run("balance", "--json")[1])["soil_read"]
    assert not check["far"]
    assert "leeks: the account starts from 17 % by volume" in run("note", "list")[1]
    code, said = run("note", "withdraw", number)
    assert code == 0 and "withdrawn as 3: 2, leeks: the account" in said
    assert _evening(run, "2031-06-24") == before
    assert "the account starts" not in run("note", "list", "--standing")[1]
    code, said = run("note", "withdraw", number)
    assert code == 2 and "note 2 was taken back already, by note 3" in said


def test_plan_says_what_contradicts_the_ledger_for_a_fortnight(run: Run) -> None:
    assert "Soil read" not in run("plan")[1]
    run("note", "soil", "leeks", "12", "--on", "2031-06-22")
    run("note", "soil", "leeks", "12", "--on", "2031-06-10")
    said = " ".join(run("plan")[1].split())
    assert said.count("Soil read on") == 1
    assert "Soil read on 22 June 2031, leeks: 12 % by volume; the ledger has" in said
    assert "look at the soil. Likely causes: water that did not come" in said
    (check,) = json.loads(run("plan", "--json")[1])["soil_read"]
    assert check["far"] and check["day"] == "2031-06-22"


def test_check_says_so_where_a_daemon_keeps_the_ledger(run: Run, tmp_path: Path) -> None:
    assert run("note", "soil", "leeks", "27", "--on", "2031-06-22")[0] == 0
    assert "Soil read" not in run("check")[1]
    # Nobody watered these: the ledger is at the wilting point, near 12 %.
    days = even_days(date(2031, 4, 22), date(2031, 6, 25))
    rows = a_plan(a_garden(a_zone("leeks")), days, first=date(2031, 6, 25)).ledger
    with Logbook(tmp_path / LOGBOOK_NAME, HandClock(datetime(2031, 6, 26, tzinfo=UTC))) as book:
        book.keep_ledger(row for row in rows if row.day >= date(2031, 6, 15))
    said = " ".join(run("check")[1].split())
    assert 'zone "leeks": Soil read on 22 June 2031, leeks: 27 % by volume; the ledger' in said


@pytest.mark.parametrize(
    ("value", "hint"),
    [("0.2", "A probe that shows a share means 20 %"), ("70", "soil full of water has 55 %")],
)
def test_what_no_soil_has_is_asked_about(run: Run, value: str, hint: str) -> None:
    code, said = run("note", "soil", "leeks", value, "--on", "2031-06-24")
    said = " ".join(said.split())
    assert code == 2 and hint in said and "nothing is written down" in said
    assert json.loads(run("balance", "--json")[1])["soil_read"] == []
    code, _ = run("note", "soil", "leeks", value, "--force", "--on", "2031-06-24")
    assert code == 0


@pytest.mark.parametrize(
    ("words", "on", "said"),
    [("moist", "2031-06-24", "a feel is too rough"), ("21", "2031-04-01", "nothing grows there")],
)
def test_what_cannot_start_an_account_is_refused(run: Run, words: str, on: str, said: str) -> None:
    code, found = run("note", "soil", "leeks", words, "--start", "--on", on)
    assert code == 2 and said in found


def test_a_zone_of_unlike_rows_cannot_start_from_one_reading(run: Run, tmp_path: Path) -> None:
    garden = tmp_path / "garden.toml"
    row = '{ length = "11 ft", every = "6 in", bore = "1/16 in" }'
    text = GARDEN.replace(f"[ {row} ]", f"[ {row}, {row} ]")
    garden.write_text(text.replace('"leek", trans', '"leek", rows = [1], trans'), encoding="utf-8")
    code, said = run("note", "soil", "leeks", "21", "--start", "--on", "2031-06-24")
    assert code == 2 and "its rows have different plantings" in said
    assert run("note", "soil", "leeks", "21", "--on", "2031-06-24")[0] == 0


@pytest.mark.parametrize("value", [("soggy",), ("120",), ("nan",)])
def test_what_is_no_reading_is_refused(run: Run, value: tuple[str, ...]) -> None:
    code, said = run("note", "soil", "leeks", *value)
    assert code == 2
    assert value[0] in said
