"""note seen and unseen: what a gardener saw, in the gardener's words."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.garden_files import BY_HAND, LEEKS, hand_zone

import controller.cli.logbook_commands as logbook_commands
from controller.cli import main
from controller.demand.records import Observation
from controller.logbook.queries import Questions

GARDEN = (
    BY_HAND
    + hand_zone("leeks", LEEKS)
    + hand_zone(
        "mixed",
        'crop = "carrot", sown = 2031-04-10, until = 2031-08-01, rows = [1]',
        'crop = "onion", sown = 2031-04-10, until = 2031-08-01, rows = [2]',
        rows=2,
    )
    + hand_zone("beans", 'crop = "green bean", sown = 2031-04-20, until = 2031-08-20')
    + hand_zone("berries", 'crop = "strawberry", transplanted = 2030-04-10, until = 2034-12-31')
    + hand_zone("potatoes", 'crop = "potato", sown = 2031-03-15, until = 2031-08-20')
)

Note = Callable[..., tuple[int, str]]


@pytest.fixture
def note(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Note:
    """rowgate note in the morning of 26 June 2031; code, and what was said, its lines joined."""
    garden = tmp_path / "garden.toml"
    garden.write_text(GARDEN, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    monkeypatch.setattr(logbook_commands, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)

    def call(*argv: str) -> tuple[int, str]:
        code = main(["note", "--garden", str(garden), *argv])
        out = capsys.readouterr()
        return code, out.out + " ".join(out.err.split())

    return call


def _kept(folder: Path) -> list[Observation]:
    book = folder / "logbook.db"
    if not book.is_file():
        return []
    with Questions(book) as ask:
        return ask.observations()


@pytest.mark.parametrize(
    ("words", "event"),
    [
        (("full", "cover"), "full"),
        (("first flower",), "full"),
        (("first", "picked"), "first ripe"),
    ],
)
def test_what_was_seen_is_written_down_as_what_it_means(
    note: Note, tmp_path: Path, words: tuple[str, ...], event: str
) -> None:
    code, said = note("seen", "leeks", *words, "--on", "2031-06-20", "--who", "Odile")
    assert code == 0, said
    assert _kept(tmp_path) == [Observation(zone="leeks", day=date(2031, 6, 20), event=event)]
    assert said.startswith("written down as 1: leeks: ") and ", 20 June 2031. It is about" in said
    assert "leek from 22 April 2031; the ledger is computed anew from then on" in said


def test_without_a_day_it_was_seen_today(note: Note, tmp_path: Path) -> None:
    assert note("seen", "leeks", "full", "cover")[0] == 0
    assert _kept(tmp_path)[0].day == date(2031, 6, 26)


def test_a_crop_is_named_where_a_zone_holds_several(note: Note, tmp_path: Path) -> None:
    code, said = note("seen", "mixed", "full", "cover")
    assert code == 2 and "mixed holds carrot and onion on 26 June 2031" in said
    assert "--crop" in said and _kept(tmp_path) == []
    assert note("seen", "mixed", "full", "cover", "--crop", "Carrot")[0] == 0
    assert _kept(tmp_path) == [
        Observation(zone="mixed", day=date(2031, 6, 26), event="full", crop="carrot")
    ]


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (("leaks", "full"), "found zone 'leaks'"),
        (("leeks", "looks", "lovely"), '"looks lovely" is nothing that can be noted'),
        (("leeks", "full", "--crop", "kale"), "no kale grows there"),
        (("leeks", "full", "--on", "2031-04-21"), "from 22 April 2031 to 10 October 2031"),
        (("leeks", "full", "--on", "2031-06-27"), "lies ahead"),
        (("leeks", "emerged"), "set out as plants"),
    ],
)
def test_what_makes_no_sense_is_refused_and_nothing_written(
    note: Note, tmp_path: Path, argv: tuple[str, ...], said: str
) -> None:
    code, found = note("seen", *argv)
    assert (code, said in found) == (2, True), found
    assert _kept(tmp_path) == []


def test_the_same_seen_again_is_refused_until_the_first_is_taken_back(
    note: Note, tmp_path: Path
) -> None:
    note("seen", "leeks", "full", "--on", "2031-06-10")
    code, said = note("seen", "leeks", "full", "--on", "2031-06-20")
    assert code == 2 and "was noted for 2031-06-10 already" in said and "note list" in said
    code, said = note("withdraw", "1")
    assert code == 0 and "withdrawn as 2: 1, leeks: " in said and "10 June 2031" in said
    assert note("seen", "leeks", "full", "--on", "2031-06-20")[0] == 0
    assert [seen.day for seen in _kept(tmp_path)] == [date(2031, 6, 20)]


def test_what_no_longer_counts_because_of_it_is_said(note: Note) -> None:
    note("seen", "leeks", "spreading", "--on", "2031-06-10")
    code, said = note("seen", "leeks", "full", "--on", "2031-06-05")
    assert code == 0
    assert 'because of it: leek from 2031-04-22: "spreading" noted for 2031-06-10' in said


def test_what_stands_is_listed_with_its_numbers(note: Note) -> None:
    assert note("list") == (0, "no notes\n")
    note("seen", "leeks", "full", "--on", "2031-06-10", "--who", "Odile")
    note("seen", "mixed", "up", "--on", "2031-05-02", "--crop", "onion")
    code, said = note("list")
    first, second, more = said.splitlines()
    assert code == 0
    assert first == "    2   2031-05-02  mixed, onion: the plants are up"
    assert second.startswith("    1   2031-06-10  leeks: ") and more.endswith("open (Odile)")


def test_a_number_that_does_not_stand_is_refused(note: Note) -> None:
    code, said = note("withdraw", "4")
    assert code == 2 and said.startswith("rowgate: no note has the number 4; rowgate note list")


def test_a_running_daemon_is_told(note: Note, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[Any] = []

    def ask(folder: Path, question: dict[str, Any]) -> dict[str, Any]:
        asked.append(question)
        return {"words": "planned anew"}

    monkeypatch.setattr(logbook_commands, "ask", ask)
    assert "daemon: planned anew" in note("seen", "leeks", "full")[1]
    assert "daemon: planned anew" in note("withdraw", "1")[1]
    assert asked == [{"ask": "replan"}] * 2


# Words that end or cut water


@pytest.mark.parametrize(("zone", "gone"), [("beans", True), ("berries", False)])
@pytest.mark.parametrize("words", ["harvested", "picked"])
def test_harvested_asks_what_is_meant_and_ends_no_crop(
    note: Note, tmp_path: Path, zone: str, gone: bool, words: str
) -> None:
    code, said = note("seen", zone, words)
    assert code == 2
    assert '"first ripe"' in said and '"last picking"' in said and ('"gone"' in said) is gone
    assert not (tmp_path / "logbook.db").exists()  # what is refused begins no logbook


@pytest.mark.parametrize(
    ("answer", "event"), [("first ripe", "first ripe"), ('"gone"', "gone"), ("last picked", "")]
)
def test_at_a_terminal_harvested_is_asked_about(
    note: Note, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str, event: str
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda prompt: answer)
    assert note("seen", "beans", "harvested")[0] == 0
    assert [seen.event for seen in _kept(tmp_path)] == [event or "last picking"]


def test_an_answer_that_is_none_of_them_writes_nothing(
    note: Note, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    for answer in ("", "full cover", "picked"):
        monkeypatch.setattr("builtins.input", lambda prompt, said=answer: said)
        assert note("seen", "beans", "harvested")[0] == 2
    assert _kept(tmp_path) == []


def test_a_first_picking_waters_on_and_the_end_says_that_no_water_comes(note: Note) -> None:
    code, said = note("seen", "beans", "first", "picked")
    assert code == 0 and "It is still watered in full" in said
    code, said = note("seen", "beans", "pulled", "up")
    assert code == 0
    assert "It gets no water after 26 June 2031; without this note it would until" in said
    assert "20 August 2031. If that is wrong, take it back: rowgate note withdraw 2" in said


def test_a_perennial_is_gone_only_where_a_person_insists(note: Note, tmp_path: Path) -> None:
    code, said = note("seen", "berries", "cleared")
    assert code == 2 and "is a perennial" in said and "--force" in said
    assert _kept(tmp_path) == []
    code, said = note("seen", "berries", "cleared", "--force")
    assert code == 0 and "It gets no water after 26 June 2031" in said
    assert "31 December 2034" in said


def test_a_stop_long_before_the_late_stage_is_refused(note: Note, tmp_path: Path) -> None:
    # Potato of 15 March, stages 25/30/45/30: WORKED, late from day 101, 23 June. 1 June is day 79.
    for words in ("tops fallen", "yellow lower leaves"):
        code, said = note("seen", "potatoes", words, "--on", "2031-06-01")
        assert code == 2 and "is 22 days away" in said and "--force" in said
    assert _kept(tmp_path) == []
    code, said = note("seen", "potatoes", "tops fallen", "--on", "2031-06-02")
    assert code == 0
    assert "Its watering ends: none from 2 June 2031 on, to dry down" in said
    assert "lift it by 23 June 2031" in said


def test_yellow_lower_leaves_say_that_the_water_falls_and_what_stops_it(note: Note) -> None:
    code, said = note("seen", "potatoes", "yellow leaves", "--on", "2031-06-10")
    assert code == 0 and "Its late stage begins: it gets less" in said
    code, said = note("seen", "potatoes", "tops died", "--on", "2031-06-20")
    assert code == 0 and "Its watering ends: none from 20 June 2031 on" in said


def test_ripe_potatoes_ask_which_sign_it_was(note: Note) -> None:
    code, said = note("seen", "potatoes", "ripe")
    assert code == 2 and '"ripening"' in said and '"tops fallen"' in said
