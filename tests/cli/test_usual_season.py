"""A usual season in what `check` prints, and that long work shows progress on a terminal alone."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock

import controller.cli.garden_commands as garden_commands
from controller.cli import main
from controller.cli.loading import Progress

GARDEN = """
[site]
name = "Small"
latitude = 47.1
longitude = 8.2
elevation = "430 m"
timezone = "Europe/Zurich"
{units}
[supply]
static_pressure = "3.3 bar"
flow_test = {{ flow = "28 L/min", pressure = "2.1 bar" }}
[[zone]]
name = "salad"
main_run = "6 m"
valve = {{ relay = 17 }}
opening = {{ flow = "2 L/min" }}
row = [ {{ length = "3.4 m", every = "15 cm", bore = "1.5 mm", width = "60 cm" }} ]
planting = [ {{ crop = "lettuce", transplanted = 2031-07-01, until = 2031-08-10 }} ]
[watering]
window = [ {{ from = "05:00", to = "08:00"{days} }} ]
{more}
"""


@pytest.fixture
def check(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., tuple[int, str, str]]:
    """`check` of the garden with these windows, on 1 April 2031; its exit code and both outputs."""
    clock = HandClock(datetime(2031, 4, 1, 4, 0, tzinfo=UTC))
    monkeypatch.setattr(garden_commands, "system_clock", lambda: clock)
    monkeypatch.delenv("ROWGATE_STATE", raising=False)

    def call(*argv: str, days: str = "", more: str = "", units: str = "") -> tuple[int, str, str]:
        path = tmp_path / "garden.toml"
        path.write_text(GARDEN.format(days=days, more=more, units=units), encoding="utf-8")
        code = main(["check", str(path), *argv])
        out = capsys.readouterr()
        return code, out.out, out.err

    return call


SATURDAYS = ', days = ["sat"]'


def test_a_saturday_alone_is_a_caution_with_what_would_help(check: Any) -> None:
    code, out, err = check(days=SATURDAYS)
    words = " ".join(out.split())
    assert code == 0  # a caution is no fault
    assert "A usual season 2031-07-01 to 2031-08-10" in words
    assert "short of water, see the cautions: salad" in words
    assert 'zone "salad": in a usual season without rain its lettuce goes short of water' in words
    assert "(no window on those days); windows on " in words
    assert "Saturday would keep it supplied." in words
    assert max(map(len, out.splitlines())) <= 80
    assert err == ""  # no progress in a pipe


def test_every_day_is_no_caution(check: Any) -> None:
    code, out, _ = check()
    assert code == 0
    assert "no crop goes short of water" in " ".join(out.split())
    assert "goes short of water," not in " ".join(out.split())


def test_json_has_who_is_short_what_helps_and_every_zones_water(check: Any) -> None:
    found = json.loads(check("--json", days=SATURDAYS)[1])
    season = found["usual_season"]
    assert (season["from"], season["to"]) == ("2031-07-01", "2031-08-10")
    [short] = season["short"]
    assert (short["zone"], short["crop"]) == ("salad", "lettuce")
    assert 0.0 < short["least_stress"] < 0.6
    [helps] = season["helps"]
    assert (helps["zone"], helps["key"], helps["together"]) == ("salad", "window", False)
    assert any(helps["change"] in caution for caution in found["cautions"])
    [water] = season["zones"]
    assert 0.0 < water["past_driest_quarter_litres"] < water["litres"]


def test_an_uneven_row_is_said_to_cost_water_in_the_gardens_units(check: Any) -> None:
    out = " ".join(check("--all", more="drilling_scatter = 0.2")[1].split())
    assert "past its driest quarter (uniformity 0.7" in out
    assert "rows at 0.90 would take" in out and " L less (" in out
    us = " ".join(check("--all", more="drilling_scatter = 0.2", units='units = "us"')[1].split())
    assert " gal less (" in us


def test_progress_shows_on_a_terminal_after_two_seconds_and_is_wiped_out() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    clock, terminal, pipe = HandClock(), Terminal(), io.StringIO()
    shown, silent = Progress("days", clock, terminal), Progress("days", clock, pipe)
    for _ in range(4):
        shown.step()
        silent.step()
    assert terminal.getvalue() == ""
    clock.advance(2.1)
    shown.step()
    silent.step()
    assert terminal.getvalue() == "\rdays: 5"
    shown.step()
    assert terminal.getvalue() == "\rdays: 5"  # not at every step
    shown.done()
    silent.done()
    assert terminal.getvalue().endswith("\r" + " " * len("days: 6") + "\r")
    assert pipe.getvalue() == ""


def test_the_example_garden_is_kept_supplied(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--json"]) == 0
    season = json.loads(capsys.readouterr().out)["usual_season"]
    assert season["short"] == []
    assert len(season["zones"]) == 10
