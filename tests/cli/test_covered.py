"""A bed under cover, by the commands: check, balance and plan on a real logbook."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from pytest import approx
from support.clock import HandClock

import controller.cli.logbook_commands as logbook_commands
import controller.cli.plan_commands as plan_commands
from controller.cli import main

GARDEN = """
[site]
name = "Small"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
[supply]
static_pressure = "48 psi"
flow_test = {{ fill = "5 gal", seconds = 40 }}
salt = "1.5 dS/m"
[weather]
file = "weather.csv"
[[bed]]
name = "house"
{cover}
[[zone]]
name = "leeks"
bed = "house"
main_run = "18 ft"
valve = {{ hand = true }}
row = [ {{ length = "11 ft", every = "6 in", bore = "1/16 in" }} ]
planting = [ {{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }} ]
"""
TUNNEL = 'cover = { kind = "high tunnel", from = 2031-03-01, until = 2031-10-31 }'
WEATHER = "date,tmin_c,tmax_c,rain_mm\n" + "".join(
    f"2031-06-{day:02d},11,24,{8 if day % 5 == 0 else 0}\n" for day in range(1, 26)
)
Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """A command on the garden under that cover, on 26 June 2031; what it says."""
    (tmp_path / "weather.csv").write_text(WEATHER, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    for module in (logbook_commands, plan_commands):
        monkeypatch.setattr(module, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)

    def call(cover: str, command: str, *argv: str) -> tuple[int, str]:
        path = tmp_path / "garden.toml"
        path.write_text(GARDEN.format(cover=cover), encoding="utf-8")
        code = main([command, *(["--garden"] if command == "note" else []), str(path), *argv])
        return code, capsys.readouterr().out

    return call


def by_day(run: Run, cover: str) -> dict[str, dict[str, Any]]:
    code, out = run(cover, "balance", "--json")
    assert code == 0
    return {row["date"]: row for row in json.loads(out)["balance"]}


def test_balance_has_the_eto_and_rain_of_the_bed(run: Run) -> None:
    run("", "note", "rain", "20 mm", "--on", "2031-06-23")
    outside, inside = by_day(run, ""), by_day(run, TUNNEL)
    assert outside.keys() == inside.keys()
    # WORKED: each fifth day of the file has 8 mm, and 20 mm were noted.
    assert outside["2031-06-20"]["rain_mm"] == approx(8.0)
    assert outside["2031-06-23"]["rain_mm"] == approx(20.0)
    for day, row in inside.items():
        assert row["eto_mm"] == approx(0.75 * outside[day]["eto_mm"], abs=1e-3)
        assert row["rain_mm"] == 0.0


@pytest.mark.parametrize("command", ["plan", "balance"])
def test_what_is_printed_names_the_cover_once_and_fits(run: Run, command: str) -> None:
    code, out = run(TUNNEL, command)
    assert code == 0 and max(map(len, out.splitlines())) <= 80
    assert " ".join(out.split()).count("leeks: under the high tunnel from 2031-03-01 until") == 1
    assert "under the" not in run("", command)[1]


def test_check_shows_what_it_takes_and_warns_of_salt(run: Run) -> None:
    code, out = run(TUNNEL, "check", "--all")
    said = " ".join(out.split())
    assert code == 0 and max(map(len, out.splitlines())) <= 80
    assert 'eto_factor = 0.75 (high tunnel: 0.6 to 0.85, from memory): bed "house", cover' in said
    assert 'rain_factor = 0 (high tunnel: film; its edges get some): bed "house", cover' in said
    assert "keeps all rain out, and the water has 1.5 dS/m of salt" in said
    assert "keeps all rain out" not in run("", "check")[1]


def test_a_cover_that_does_not_read_exits_with_2(
    run: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run('cover = "tunel"', "plan")[0] == 2
