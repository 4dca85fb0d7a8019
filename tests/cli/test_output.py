"""What reaches a terminal is plain text, and a cell of a CSV is never a formula."""

from __future__ import annotations

import csv
import io
import json
import sys
from datetime import date

import pytest

from controller.cli.arguments import day
from controller.cli.command_tree import number
from controller.cli.entry import main
from controller.cli.loading import print_csv
from controller.cli.output import plain, plain_streams, print_json
from controller.daemon.control import protocol
from controller.paper.text import cells

# Clears a screen, sets a window's title, colours, moves the cursor (ECMA-48, 5.3 and 8.3), the
# same with the one-byte CSI of its 8-bit form, and turns text round (Unicode's UAX #9).
HOSTILE = "guests\x1b[2J\x1b]0;owned\x07\x1b[31m\x9b5A\x08\x7f\u202etxt.exe"


def test_no_sign_that_moves_a_terminal_passes() -> None:
    assert plain(HOSTILE) == "guests?[2J?]0;owned??[31m?5A???txt.exe"
    assert plain("Grüße, 12 °C\n\t½ in; 喜") == "Grüße, 12 °C\n\t½ in; 喜"


def test_status_shows_a_hold_s_reason_as_text(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = {
        "ok": True,
        "site": f"plot {HOSTILE}",
        "holds": [{"ends_local": "2031-06-02T18:00:00", "zones": [HOSTILE], "reason": HOSTILE}],
        "happenings": [{"at_utc": None, "kind": "refused", "zone": HOSTILE, "words": HOSTILE}],
    }
    from controller.cli import daemon_commands

    monkeypatch.setattr(daemon_commands, "ask", lambda *_, **__: answer)
    assert main(["status", "--runtime", "/nonexistent"]) == 0
    shown = capsys.readouterr().out
    assert "hold: guests?[2J" in shown
    assert all(sign.isprintable() or sign == "\n" for sign in shown)
    assert main(["status", "--json", "--runtime", "/nonexistent"]) == 0
    text = capsys.readouterr().out
    assert all(sign.isprintable() or sign == "\n" for sign in text)
    assert json.loads(text) == answer, "a program gets it to the last sign"


def test_the_words_of_an_answer_and_of_an_error_are_text_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from controller.cli import daemon_commands

    monkeypatch.setattr(daemon_commands, "ask", lambda *_, **__: {"ok": False, "words": HOSTILE})
    assert main(["close", "--runtime", "/nonexistent"]) == 1
    assert main(["check", f"/nonexistent/{HOSTILE}"]) == 2
    assert "\x1b" not in capsys.readouterr().err


def test_the_streams_are_put_back(monkeypatch: pytest.MonkeyPatch) -> None:
    out, err = sys.stdout, sys.stderr
    with plain_streams():
        assert sys.stdout is not out
        assert sys.stdout.encoding == out.encoding
    assert (sys.stdout, sys.stderr) == (out, err)

    def broken(argv: object) -> int:
        raise ZeroDivisionError

    monkeypatch.setattr(sys.modules["controller.cli.entry"], "_run", broken)
    with pytest.raises(ZeroDivisionError):
        main([])
    assert (sys.stdout, sys.stderr) == (out, err)


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t=", "\r=", "\n="])
def test_a_cell_that_a_spreadsheet_would_work_out_is_text(
    begin: str, capsys: pytest.CaptureFixture[str]
) -> None:
    hostile = begin + 'HYPERLINK("http://x.invalid")'
    rows = [{"zone": hostile, "depth_mm": -3.5, "said": "-3.5", "together": [hostile, "b"]}]
    print_csv(rows)
    (read,) = csv.DictReader(io.StringIO(capsys.readouterr().out, newline=""))
    assert read["zone"] == "'" + hostile
    assert read["together"] == f"'{hostile}+b"
    assert (read["depth_mm"], read["said"]) == ("-3.5", "-3.5"), "a number stays one"


@pytest.mark.parametrize("value", ["leeks", "a=b", "", "2031-06-01", 3, None, True, -1.5, "-0"])
def test_other_cells_stay_as_they_are(value: object) -> None:
    assert cells({"a": value}) == {"a": value}


def test_json_keeps_what_is_written() -> None:
    out = io.StringIO()
    before, sys.stdout = sys.stdout, out
    try:
        print_json({"a": HOSTILE, "b": "Grüße"})
    finally:
        sys.stdout = before
    assert json.loads(out.getvalue()) == {"a": HOSTILE, "b": "Grüße"}
    assert "Grüße" in out.getvalue()


@pytest.mark.parametrize("minutes", ["0", "1e-9", "1e-300", "0.016", "-1", "nan", "inf", "1e999"])
def test_minutes_of_nearly_nothing_are_refused(
    minutes: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["open", "leeks", f"--minutes={minutes}", "--runtime", "/nonexistent"]) == 2
    assert "allowed is 0.02, a second, up to 1440" in capsys.readouterr().err


@pytest.mark.parametrize("hours", ["0", "1e-9", "0.016", "nan", "1e999"])
def test_hours_of_nearly_nothing_are_refused(
    hours: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hold", f"--hours={hours}", "--runtime", "/nonexistent"]) == 2
    assert "allowed is 0.02, which is a minute" in capsys.readouterr().err


def test_the_shortest_that_is_said_is_let_through(capsys: pytest.CaptureFixture[str]) -> None:
    assert protocol.SHORTEST_OPEN_S <= 0.02 * 60.0
    assert protocol.SHORTEST_HOLD_S <= 0.02 * 3600.0
    for command in (["open", "leeks", "--minutes", "0.02"], ["hold", "--hours", "0.02"]):
        assert main([*command, "--runtime", "/nonexistent"]) == 1
        assert "no daemon runs here" in capsys.readouterr().err


@pytest.mark.parametrize("text", ["9" * 4000, "9" * 5000, "-1", "1.5", "", "1e9", "1000000000"])
def test_a_number_of_a_list_has_nine_digits_at_most(
    text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as refused:
        main(["note", "--garden", "x.toml", "withdraw", text])
    assert refused.value.code == 2
    said = capsys.readouterr().err
    assert len(said) < 2000
    assert number("999999999") == 999_999_999


@pytest.mark.parametrize("text", ["9999-12-31", "0001-01-01", "2200-01-01", "1899-12-31"])
def test_a_day_beyond_all_gardens_is_refused(text: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refused:
        main(["plan", "--from", text])
    assert refused.value.code == 2
    assert "allowed are the years 1900 to 2199" in capsys.readouterr().err
    assert day("2199-12-31") == date(2199, 12, 31)
