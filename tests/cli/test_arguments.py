"""The command line takes words as people write them, and says what is wrong with the others."""

from __future__ import annotations

import argparse
import json
import shlex
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from support.clock import HandClock

import controller.cli.loading as loading
import controller.cli.logbook_commands as logbook_commands
from controller.cli import main
from controller.cli.arguments import (
    EXAMPLES,
    WEEKDAYS,
    FromToday,
    Parser,
    below,
    command_first,
    day,
    settle_days,
)
from controller.cli.command_tree import whole_tree

Run = Callable[..., tuple[int, str, str]]
SUNDAY = date(2031, 7, 6)


def _all(parser: Parser) -> Iterator[Parser]:
    yield parser
    for under in below(parser).values():
        yield from _all(under)


PARSERS = {parser.prog: parser for parser in _all(whole_tree())}


@pytest.mark.parametrize("prog", PARSERS)
def test_each_help_page_has_an_example_and_fits_eighty_columns(
    prog: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    page = PARSERS[prog].format_help()
    assert "Example" in page and f"\n  {prog}" in page
    assert max(map(len, page.splitlines())) <= 80


@pytest.mark.parametrize("line", [line for lines in EXAMPLES.values() for line in lines])
def test_each_example_is_one_the_program_takes(line: str) -> None:
    words = shlex.split(line.replace("\\\n", " "))
    words = words[: words.index(">")] if ">" in words else words
    whole_tree().parse_args(words[1:])


def test_examples_stand_where_there_is_a_page_for_them() -> None:
    assert {f"rowgate {path}".rstrip() for path in EXAMPLES} == set(PARSERS)


def test_a_bare_call_prints_a_short_help_and_exits_as_a_wrong_call_does() -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "controller.cli"], capture_output=True, text=True, check=False
    )
    assert (ran.returncode, ran.stdout) == (2, "")
    assert "rowgate plan " in ran.stderr and len(ran.stderr.splitlines()) <= 12
    assert max(map(len, ran.stderr.splitlines())) <= 80


def _refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    with pytest.raises(SystemExit) as refused:
        main(list(words))
    out = capsys.readouterr()
    assert (refused.value.code, out.out) == (2, "")
    return out.err


def test_a_note_without_its_kind_shows_the_kinds(capsys: pytest.CaptureFixture[str]) -> None:
    said = _refused(capsys, "note")
    assert "usage: rowgate note " in said and "a zone was watered by hand" in said


@pytest.mark.parametrize(
    ("line", "guess"),
    [
        ("plam", "found 'plam'; did you mean plan?"),
        ("STATUS", "did you mean status?"),
        ("note rian 3", "found 'rian'; did you mean rain?"),
        ("report --by moth", "found 'moth'; did you mean month?"),
        ("plan --jsn", "--jsn is unknown; did you mean --json?"),
        ("plan --form=2031-07-06", "--form is unknown; did you mean --from?"),
        ("open leeks --mintues 5", "--mintues is unknown; did you mean --minutes?"),
        ("note watered leeks --amonut 5", "--amonut is unknown; did you mean --amount?"),
        ("plan --from tomorow", "found 'tomorow'; did you mean tomorrow?"),
        ("balance --to fridya", "did you mean friday?"),
    ],
)
def test_a_slip_is_guessed(line: str, guess: str, capsys: pytest.CaptureFixture[str]) -> None:
    said = _refused(capsys, *line.split())
    assert guess in said
    assert "--help shows what is allowed, with examples." in said


def test_where_nothing_is_alike_nothing_is_guessed(capsys: pytest.CaptureFixture[str]) -> None:
    said = _refused(capsys, "xyzzy")
    assert "did you mean" not in said and "allowed are: plan, balance" in said
    assert "did you mean" not in _refused(capsys, "plan", "--qqq")


def test_an_option_may_be_cut_short_as_before(run: Run) -> None:
    assert run("flow", "--js")[1] == run("flow", "--json")[1]


@pytest.mark.parametrize(
    ("line", "moved"),
    [
        ("--json plan", "plan --json"),
        ("--garden plan plan --days 2", "plan --garden plan --days 2"),
        ("--garden=g.toml --json flow --open a", "flow --garden=g.toml --json --open a"),
        ("--state s note rain 3", "note --state s rain 3"),
        ("--days 3 plan", "plan --days 3"),
        ("--help", "--help"),
        ("--version", "--version"),
        ("--json", "--json"),
        ("plan --json", "plan --json"),
        ("", ""),
    ],
)
def test_options_may_stand_before_the_command(line: str, moved: str) -> None:
    assert command_first(line.split(), whole_tree()) == moved.split()


def test_help_may_be_asked_for_as_a_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as done:
        main(["help", "hold"])
    assert done.value.code == 0
    assert capsys.readouterr().out.startswith("usage: rowgate hold ")


@pytest.mark.parametrize(
    ("text", "gone", "ahead"),
    [
        ("today", "2031-07-06", "2031-07-06"),
        ("Tomorrow", "2031-07-07", "2031-07-07"),
        ("yesterday", "2031-07-05", "2031-07-05"),
        ("+7", "2031-07-13", "2031-07-13"),
        ("-1", "2031-07-05", "2031-07-05"),
        ("+0", "2031-07-06", "2031-07-06"),
        ("-366", "2030-07-05", "2030-07-05"),
        ("sunday", "2031-07-06", "2031-07-06"),
        ("Monday", "2031-06-30", "2031-07-07"),
        ("sat", "2031-07-05", "2031-07-12"),
        ("tu", "2031-07-01", "2031-07-08"),
    ],
)
def test_a_day_counts_from_today(text: str, gone: str, ahead: str) -> None:
    """WORKED: 6 July 2031 is a Sunday."""
    assert SUNDAY.weekday() == 6
    found = day(text)
    assert isinstance(found, FromToday)
    assert found.on(SUNDAY, ahead=False).isoformat() == gone
    assert found.on(SUNDAY, ahead=True).isoformat() == ahead


@pytest.mark.parametrize("today", range(7))
@pytest.mark.parametrize("name", WEEKDAYS)
def test_a_weekday_is_the_last_or_the_coming_one_within_a_week(today: int, name: str) -> None:
    on = date(2031, 7, 7 + today)
    gone, ahead = (day(name).on(on, ahead=a) for a in (False, True))  # type: ignore[union-attr]
    assert WEEKDAYS[gone.weekday()] == WEEKDAYS[ahead.weekday()] == name
    assert 0 <= (on - gone).days < 7 and 0 <= (ahead - on).days < 7


@pytest.mark.parametrize("text", ["2031-07-06", "2031-7-6", " 2031-07-06 ", "20310706"])
def test_a_written_day_is_itself(text: str) -> None:
    assert day(text) == SUNDAY


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("6.7.2031", "a day is written year-month-day, as in 2031-07-06, or today"),
        ("07/06/2031", "+7 or -1 for days from today, or a weekday"),
        ("2031-02-30", "there is no such day"),
        ("2031-13-01", "there is no such day"),
        ("t", "a day is written"),
        ("s", "a day is written"),
        ("+", "a day is written"),
        ("+12345", "a day is written"),
        ("", "a day is written"),
    ],
)
def test_what_is_no_day_is_refused_with_what_is_allowed(text: str, said: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="found") as refused:
        day(text)
    assert said in str(refused.value)


def test_days_are_settled_by_the_garden_s_today_and_asked_for_only_then() -> None:
    def never() -> date:
        raise AssertionError

    args = argparse.Namespace(command="report", first=SUNDAY, last=None)
    settle_days(args, never)
    assert vars(args) == {"command": "report", "first": SUNDAY, "last": None}
    for command, first in (("report", "2031-07-02"), ("plan", "2031-07-09")):
        args = argparse.Namespace(command=command, first=day("wednesday"), last=day("+1"))
        settle_days(args, lambda: SUNDAY)
        assert (args.first.isoformat(), args.last.isoformat()) == (first, "2031-07-07")


def test_the_example_counts_from_its_own_day(run: Run) -> None:
    found = json.loads(run("plan", "--from", "tomorrow", "--days", "1", "--json")[1])
    assert found["first"] == "2031-07-07"
    rows = json.loads(run("balance", "--from", "-3", "--to", "-1", "--zone", "leeks", "--json")[1])[
        "balance"
    ]
    assert [row["date"] for row in rows] == ["2031-07-03", "2031-07-04", "2031-07-05"]


def test_today_is_the_garden_s_day_and_not_the_machine_s(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # WORKED: 11:00 UTC of 25 June is 23:00 of that day in Auckland in winter (UTC+12), and 12:00
    # UTC is midnight: the garden is on the 26th while a machine on UTC is on the 25th.
    garden = tmp_path / "garden.toml"
    example = loading.config_file(loading.EXAMPLE_GARDEN).read_text(encoding="utf-8")
    assert '"America/New_York"' in example
    garden.write_text(example.replace("America/New_York", "Pacific/Auckland"), encoding="utf-8")
    for hour, on in ((11, "25 June 2031"), (12, "26 June 2031")):
        clock = HandClock(datetime(2031, 6, 25, hour, 0, tzinfo=UTC))
        monkeypatch.setattr(loading, "system_clock", lambda clock=clock: clock)
        monkeypatch.setattr(logbook_commands, "system_clock", lambda clock=clock: clock)
        note = ("note", "watered", "leeks", "--amount", "1 L", "--on", "today", "--garden")
        assert on in run(*note, str(garden))[2]
    code, out, err = run(*note[:-2], "tomorrow", "--garden", str(garden))
    assert (code, out) == (2, "") and "--on 2031-06-27 lies ahead" in err


@pytest.mark.parametrize("order", range(3))
def test_a_note_answers_as_json_wherever_the_option_stands(
    run: Run, tmp_path: Path, order: int
) -> None:
    garden = tmp_path / "garden.toml"
    example = loading.config_file(loading.EXAMPLE_GARDEN).read_text(encoding="utf-8")
    garden.write_text(example, encoding="utf-8")
    here = ("--garden", str(garden), "--json")
    words = ["note", "words", "first leeks up"]
    words[order:order] = here
    code, out, _ = run(*words)
    assert code == 0
    answer = json.loads(out)
    assert answer["ok"] is True and answer["words"].startswith("written down")
    assert (tmp_path / "logbook.db").is_file()


def test_the_exit_codes_stand_in_the_help() -> None:
    page = " ".join(whole_tree().format_help().split())
    assert "Exit codes: 0 done; 1 the answer is no" in page and "130 ended by Ctrl-C" in page


def test_what_the_help_page_loads_is_small() -> None:
    """Start-up: what guesses, completes and compares days is loaded only when it is used."""
    look = (
        "import sys\nfrom controller.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(*sys.modules, file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    loaded = set(ran.stderr.split())
    assert "controller.cli.entry" in loaded
    assert not loaded & {"difflib", "shtab", "threading", "controller.cli.loading", "dataclasses"}
    ours = {name for name in loaded if name.startswith("controller.")}
    assert ours == {
        "controller.cli",
        "controller.cli.arguments",
        "controller.cli.command_tree",
        "controller.cli.entry",
        "controller.cli.output",
        "controller.cli.progress",
        "controller.errors",
    }
