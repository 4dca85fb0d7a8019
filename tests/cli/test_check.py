"""What `check` prints: its verdict, faults, cautions, and on request what was filled in."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.clock import HandClock

import controller.cli.garden_commands as garden_commands
import controller.cli.plan_commands as plan_commands
from controller.cli import main

Run = Callable[..., tuple[int, str, str]]

# An invented garden: one throttled row by hand, in which nothing is wrong.
SOUND = """
[site]
name = "Quillmoor yard"
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
[supply]
static_pressure = "4 bar"
flow_test = { flow = "28 L/min", pressure = "2.5 bar" }
[[bed]]
name = "front"
length = "3 m"
width = "1 m"
[[zone]]
name = "leeks"
bed = "front"
opening = { flow = "1 L/min" }
valve = { hand = true, longest_open = "2 h" }
row = [{ length = "2.8 m", every = "15 cm", bore = "1.5 mm" }]
planting = [{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }]
"""
RELAY = SOUND.replace("hand = true", "relay = 4")
# The same row with nothing that throttles it: it leaves no pressure to shut a diaphragm against.
OPEN = RELAY.replace('opening = { flow = "1 L/min" }', 'opening = "full"').replace(
    'length = "2.8 m", every = "15 cm"', 'length = "2.8 m", every = "3 cm"'
)
FILES = '[weather]\nfile = "wether.csv"\nnormals = "years.csv"\nclimate_table = "months.csv"\n'


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """A command on a garden file of this text, early on the tenth of June."""
    clock = HandClock(datetime(2031, 6, 10, 4, 0, tzinfo=UTC))
    for module in (garden_commands, plan_commands):
        monkeypatch.setattr(module, "system_clock", lambda: clock)

    def run(text: str, command: str, *argv: str) -> tuple[int, str, str]:
        path = tmp_path / "garden.toml"
        path.write_text(text)
        code = main([command, str(path), *argv])
        out, err = capsys.readouterr()
        assert "--json" in argv or max(map(len, out.splitlines()), default=0) <= 80
        return code, out, err

    return run


def _joined(out: str) -> str:
    return " ".join(out.split())


def test_a_sound_garden_is_told_so_first(run: Run) -> None:
    code, out, _ = run(SOUND, "check")
    assert code == 0
    lines = out.splitlines()
    assert lines[0] == "Quillmoor yard: nothing is wrong."
    assert "Faults" not in out and "Cautions" not in out
    assert "Filled in for you" not in out
    assert "1 bed, 1 zone, 1 row; " in out and "add --all." in _joined(out)


def test_what_was_filled_in_comes_on_request(run: Run) -> None:
    _, out, _ = run(SOUND, "check", "--all")
    assert out.startswith("Quillmoor yard: nothing is wrong.\n\nFilled in for you\n")
    assert "pipe = 3/4 in" in out and "A usual season" in out and "--all" not in out
    found = json.loads(run(SOUND, "check", "--json")[1])
    assert found["faults"] == found["cautions"] == []
    assert any(one["key"] == "pipe" for one in found["filled"])


def test_faults_come_before_cautions_and_the_verdict_counts_both(run: Run) -> None:
    spare = SOUND.replace("[[zone]]", '[[bed]]\nname = "spare"\n[[zone]]')
    code, out, _ = run(spare, "check")
    assert code == 0
    assert out.splitlines()[0] == (
        "Quillmoor yard: no faults, 1 caution: it can water. Look at it."
    )
    code, out, _ = run(spare + '[weather]\nfile = "wether.csv"\n', "check")
    assert code == 1
    assert out.splitlines()[0] == "Quillmoor yard: 1 fault, 1 caution: correct the fault first."
    assert out.index("Faults") < out.index("Cautions") < out.index("A usual season")
    assert run(SOUND + FILES, "check")[1].splitlines()[0] == (
        "Quillmoor yard: 3 faults: correct them first."
    )


def test_a_file_that_does_not_read_gets_a_verdict_too(run: Run) -> None:
    code, out, err = run(SOUND.replace('"15 cm"', "15"), "check")
    assert (code, out) == (2, "")
    assert err.startswith(
        "1 fault: correct it first. The garden is checked once its file can be read\n"
    )


@pytest.mark.parametrize(
    ("key", "name"),
    [("file", "wether.csv"), ("normals", "years.csv"), ("climate_table", "months.csv")],
)
def test_a_file_of_weather_that_is_not_there_is_a_fault_in_the_same_words_in_plan(
    run: Run, tmp_path: Path, key: str, name: str
) -> None:
    text = f'{SOUND}[weather]\n{key} = "{name}"\n'
    words = (
        f'{key} = "{name}" in [weather]: there is no such file. Looked for at '
        f"{tmp_path.resolve() / name}. Correct the name, or put the file there"
    )
    code, out, _ = run(text, "check", "--json")
    assert (code, json.loads(out)["faults"]) == (1, [f"weather: {words}"])
    code, out, err = run(text, "plan", "--from", "2031-07-01", "--days", "1")
    assert code == 0
    assert f"weather: {words}" in " ".join(err.split())


def test_a_weather_file_that_cannot_be_read_is_a_fault_and_bad_lines_are_cautions(
    run: Run, tmp_path: Path
) -> None:
    text = SOUND + '[weather]\nfile = "days.csv"\n'
    days = tmp_path / "days.csv"
    days.write_text("nothing of the kind\n")
    (found,) = json.loads(run(text, "check", "--json")[1])["faults"]
    assert found.startswith("weather: no weather from days.csv: ")
    rows = [f"2031-06-{day:02d},{'warm' if day < 7 else 12},24\n" for day in range(1, 11)]
    days.write_text("date,tmin_c,tmax_c\n" + "".join(rows))
    checked = json.loads(run(text, "check", "--json")[1])
    assert checked["faults"] == []
    of_file = [line for line in checked["cautions"] if "days.csv" in line]
    assert len(of_file) == 4
    assert of_file[-1] == "weather: days.csv: 3 more lines like these"


def test_a_valve_without_a_kind_is_not_opened_where_a_diaphragm_would_stay_open(run: Run) -> None:
    code, out, _ = run(OPEN, "check")
    assert code == 1
    said = _joined(out)
    assert (
        'zone "leeks": it is not opened: no kind is written for its valve, so a diaphragm is '
        "assumed. That needs 68.9 kPa before it to shut"
    ) in said
    assert "no water at all, see the faults: leeks" in said
    season = json.loads(run(OPEN, "check", "--json")[1])["usual_season"]
    assert season["never_watered"] == ["leeks"]
    _, plan, _ = run(OPEN, "plan", "--from", "2031-07-01", "--days", "3")
    assert "no kind is written, so a diaphragm is assumed" in _joined(plan)


def test_one_word_in_the_file_opens_it_again(run: Run) -> None:
    direct = OPEN.replace("relay = 4", 'relay = 4, kind = "direct"')
    code, out, _ = run(direct, "check")
    assert code == 0 and "diaphragm" not in out
    _, plan, _ = run(direct, "plan", "--from", "2031-07-01", "--days", "3")
    assert "diaphragm" not in plan


def test_a_throttled_row_leaves_a_valve_without_a_kind_its_pressure(run: Run) -> None:
    code, out, _ = run(RELAY, "check", "--all")
    assert code == 0
    assert "kind = diaphragm (assumed: it needs pressure to shut; write the kind of" in out
