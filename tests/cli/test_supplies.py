"""Pumps, regulators and barrels by the commands: what check, flow and plan say of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from controller.cli import main

PUMP = """\
kind = "pump"
switch_on = "30 psi"
switch_off = "50 psi"
tank = "20 gal"
flow_test = { fill = "5 gal", seconds = 30, pressure = "40 psi" }"""
REGULATOR = 'kind = "regulator"\nset_pressure = "25 psi"'
BARREL = """\
kind = "barrel"
level = "4 ft"
falls_to = "1 ft"
flow_test = { fill = "5 gal", seconds = 60 }"""
MAINS = 'static_pressure = "48 psi"\nflow_test = { fill = "5 gal", seconds = 40 }'


def garden(folder: Path, supply: str) -> str:
    """Two invented zones, one of them more than most supplies give."""
    path = folder / "garden.toml"
    path.write_text(
        f"""
[site]
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"
units = "us"
[supply]
{supply}
[[zone]]
name = "kale"
main_run = "18 ft"
valve = {{ relay = 17, kind = "direct" }}
row = [{{ length = "4 ft", every = "6 in", bore = "1/16 in", width = "18 in" }}]
planting = [{{ crop = "kale", transplanted = 2031-05-22, until = 2031-08-10 }}]
[[zone]]
name = "leeks"
main_run = "18 ft"
valve = {{ hand = true }}
row = [{{ length = "20 ft", every = "6 in", bore = "1/16 in", width = "18 in" }}]
planting = [{{ crop = "leek", transplanted = 2031-04-22, until = 2031-10-10 }}]
"""
    )
    return str(path)


@pytest.mark.parametrize(
    ("supply", "taken", "between"),
    [
        (PUMP, "a pump that starts at 30 psi and stops at 50 psi", "from a full tank at first"),
        (REGULATOR, "a regulator that holds 25 psi with nothing flowing", "nobody tested"),
        (BARREL, "", "at the barrel's lowest"),
        (MAINS, "", ""),
    ],
    ids=["pump", "regulator", "barrel", "mains"],
)
def test_each_supply_is_checked_planned_and_said_within_a_terminal(
    supply: str, taken: str, between: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = garden(tmp_path, supply)
    for command in ("check", "flow", "plan"):
        more = {"plan": ["--from", "2031-07-01", "--days", "2"], "check": ["--all"]}.get(
            command, []
        )
        assert main([command, path, *more]) == 0
        text = capsys.readouterr().out
        assert max(map(len, text.splitlines())) <= 80
        said = " ".join(text.split())
        if command == "check":
            assert ("How the supply is understood" in said) == bool(taken)
            assert taken in said
        if command == "flow":
            assert between in said
        if command == "plan":
            assert "leeks" in said


@pytest.mark.parametrize("supply", [PUMP, BARREL, MAINS], ids=["pump", "barrel", "mains"])
def test_the_range_of_a_set_is_in_the_document(
    supply: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["flow", garden(tmp_path, supply), "--open", "kale", "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["sets"]
    low, high = found["supply_flow_range_m3_s"]
    flow = found["supply_flow_m3_s"]
    if supply is MAINS:
        assert low == high == pytest.approx(flow, rel=1e-5)
    else:
        assert low < 0.95 * flow
        assert high > 1.05 * flow
