"""`new` as a person meets it: in a terminal, through pipes, cut off, and its first sheet."""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.clock import HandClock
from support.typist import NOON, Terminal

from controller.cli import main
from controller.cli.new import command

Run = Callable[..., tuple[int, str, str]]
FIRST = ["Invented", "zurich", "47.1, 8.2", "metric", "410 m", "climate", "humid", "tap", "3.4 bar"]
REST = [*("10 L", "30", "", "leeks", "2", "1.2 m", "loam", "", "3 m", "", "", "", "", ""), "6 m"]
BED = ["", "hand", "1.5 L/min", "leek", "set out", "2031-04-10", "", "no"]
ALL = [*FIRST, *REST, *BED]


@pytest.fixture
def at_noon(monkeypatch: pytest.MonkeyPatch) -> None:
    for room in ("new.command", "plan_commands", "garden_commands"):
        monkeypatch.setattr(f"controller.cli.{room}.system_clock", lambda: HandClock(NOON))


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    opened = Terminal("new", "mine.toml", folder=tmp_path)
    yield opened
    opened.close()


def _typed(monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


@pytest.mark.usefixtures("at_noon")
def test_it_ends_with_the_sheet_and_the_next_steps(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "mine.toml"
    _typed(monkeypatch, ALL)
    code, out, err = run("new", str(path))
    assert (code, err) == (0, "")
    _, _, after = out.partition(f"{path} is written.\n")
    sheet, _, steps = after.partition("\nNext steps\n")
    assert run("plan", str(path), "--from", "2031-04-20")[1] == sheet.lstrip("\n")
    assert "leeks" in sheet and "rowgate check" in steps and "rowgate note" in steps
    assert "rowgate run" not in steps  # no relay
    assert run("check", str(path))[0] == 0
    kept = path.read_bytes()
    code, _, err = run("new", str(path))
    assert code == 2 and "is there already" in err
    assert path.read_bytes() == kept


@pytest.mark.usefixtures("at_noon")
def test_a_garden_planted_later_has_its_sheet_from_that_day_on(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _typed(monkeypatch, [*ALL[:-3], "2031-06-01", "", "no"])
    code, out, _ = run("new", str(tmp_path / "mine.toml"))
    assert code == 0
    assert "Nothing grows before Sunday 1 June 2031" in out
    assert "Sunday 1 June to Saturday 7 June 2031" in out


def test_without_any_answer_nothing_is_written(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _typed(monkeypatch, ["back", "?"])
    code, _, err = run("new", str(tmp_path / "mine.toml"))
    assert code == 2 and "nothing is written" in err
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("at_noon")
def test_answers_that_end_early_are_kept(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "mine.toml"
    _typed(monkeypatch, ALL[:14])
    code, out, _ = run("new", str(path))
    assert code == 1 and "The answers ended." in out
    assert 'static_pressure = "3.4 bar"' in path.read_text(encoding="utf-8")
    assert run("check", str(path))[0] == 0


def test_a_file_that_cannot_be_is_refused_before_anything_is_asked(
    run: Run, tmp_path: Path
) -> None:
    code, out, err = run("new", str(tmp_path / "nowhere" / "mine.toml"))
    assert (code, out) == (2, "") and "there is no folder" in err


def test_what_cannot_be_written_is_printed(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "mine.toml"
    path.mkdir()  # it came while the questions were answered
    monkeypatch.setattr(command, "_require_room", lambda path: None)
    _typed(monkeypatch, ALL)
    code, out, err = run("new", str(path))
    assert code == 2 and "cannot be written" in err
    assert 'static_pressure = "3.4 bar"' in out


def test_bytes_that_are_no_text_are_asked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    raw = io.BytesIO(b"Inv\n" + b"\xff\n" + b"zurich\n")
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(raw, "utf-8"))
    path = tmp_path / "mine.toml"
    assert main(["new", str(path)]) in (1, 2)
    assert "Found a sign that is no text" in capsys.readouterr().out


def test_in_a_terminal_from_nothing_to_a_sheet(terminal: Terminal, tmp_path: Path) -> None:
    for answer in [*ALL[:3], "back", *ALL[2:10], "?", *ALL[10:]]:
        terminal.asked()
        terminal.press(f"{answer}\n")
    assert terminal.ended() == 0
    assert "Next steps" in terminal.heard and "when to water" in terminal.heard
    # What is typed stands behind the question, so such a line may be longer.
    long = [line for line in terminal.heard.splitlines() if len(line) > 80 and "]: |" not in line]
    assert not long
    assert 'name = "leeks"' in (tmp_path / "mine.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize("key", ["\x04", "\x03"])
def test_control_d_and_control_c_write_what_was_answered(
    terminal: Terminal, tmp_path: Path, key: str
) -> None:
    for answer in ALL[:16]:
        terminal.asked()
        terminal.press(f"{answer}\n")
    terminal.asked()
    terminal.press(key * 3)  # impatient
    assert terminal.ended() == 1
    assert "Traceback" not in terminal.heard and "The answers ended." in terminal.heard
    text = (tmp_path / "mine.toml").read_text(encoding="utf-8")
    assert 'elevation = "410 m"' in text and 'name = "leeks"' in text


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM])
def test_a_terminal_that_closes_loses_nothing(
    terminal: Terminal, tmp_path: Path, number: signal.Signals
) -> None:
    for answer in ALL[:9]:
        terminal.asked()
        terminal.press(f"{answer}\n")
    terminal.asked()
    os.kill(terminal.child.pid, number)
    terminal.ended()
    assert 'static_pressure = "3.4 bar"' in (tmp_path / "mine.toml").read_text(encoding="utf-8")
