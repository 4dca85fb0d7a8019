"""note soil, and balance with it: shown beside the ledger, which it does not move."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.clock import HandClock

import controller.cli.keeping as keeping
import controller.cli.reckoning as reckoning
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
flow_test = { fill = "5 gal", seconds = 40 }
[[zone]]
name = "leeks"
main_run = "18 ft"
valve = { hand = true }
row = [ { length = "11 ft", every = "6 in", bore = "1/16 in" } ]
planting = [ { crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 } ]
"""

Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    garden = tmp_path / "garden.toml"
    garden.write_text(GARDEN, encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 26, 4, 0, tzinfo=UTC))
    for module in (keeping, reckoning):
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
    assert "no account is changed by it" in said
    after = json.loads(run("balance", "--json")[1])
    assert after["balance"] == before
    (check,) = after["soil_read"]
    assert (check["zone"], check["day"]) == ("leeks", "2031-06-24")
    code, text = run("balance")
    assert code == 0
    assert "Soil read on 24 June 2031, leeks:" in " ".join(text.split())


@pytest.mark.parametrize("value", [("soggy",), ("120",), ("nan",)])
def test_what_is_no_reading_is_refused(run: Run, value: tuple[str, ...]) -> None:
    code, said = run("note", "soil", "leeks", *value)
    assert code == 2
    assert value[0] in said
