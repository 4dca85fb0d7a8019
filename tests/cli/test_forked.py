"""A garden on a main that forks, through the command line: check, flow and plan."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from support.clock import HandClock
from support.garden_files import FORKED

import controller.cli.plan_commands as plan_commands

Run = Callable[..., tuple[int, str, str]]
WEATHER = "date,tmin_c,tmax_c,rain_mm\n" + "".join(
    f"2031-06-{day:02d},11,27,0\n" for day in range(1, 31)
)


@pytest.fixture
def garden(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The forked garden with a dry June, early on the tenth of it."""
    (tmp_path / "weather.csv").write_text(WEATHER, encoding="utf-8")
    path = tmp_path / "garden.toml"
    path.write_text(FORKED + '[weather]\nfile = "weather.csv"\n', encoding="utf-8")
    clock = HandClock(datetime(2031, 6, 10, 4, 0, tzinfo=UTC))
    monkeypatch.setattr(plan_commands, "system_clock", lambda: clock)
    return path


def fits(text: str) -> bool:
    return all(len(line) <= 80 for line in text.splitlines())


def test_check_lists_the_runs_with_what_they_carry_and_lose(run: Run, garden: Path) -> None:
    code, out, _ = run("check", "--all", str(garden))
    assert code == 0
    assert fits(out)
    said = " ".join(out.split())
    assert 'The main "trunk": 30 ft of 1 in from the tap; feeds "leeks", "carrots" and' in said
    assert '"left arm": 40 ft of 3/4 in from 30 ft along "trunk"; feeds "leeks".' in said
    assert '"cold frame": 12 ft of 1/2 in from 10 ft along "right arm"; feeds "salad".' in said
    assert 'loss_k = 3.1 (side branch; our choice, with 2 x elbow): main, run "left arm"' in said
    assert 'through the run "cold frame" of the main; over 5.0 ft/s' in said


def test_the_rows_for_programs_agree_with_flow(run: Run, garden: Path) -> None:
    _, out, _ = run("check", "--json", str(garden))
    rows = {row["run"]: row for row in json.loads(out)["main_runs"]}
    assert list(rows) == ["trunk", "left arm", "right arm", "cold frame"]
    _, out, _ = run("flow", "--json", str(garden))
    alone = {}
    for found in json.loads(out)["sets"]:
        for zone in found["zones"]:
            alone[zone["zone"]] = zone["flow_m3_s"]
    assert rows["trunk"]["feeds"] == ["leeks", "carrots", "salad"]
    assert rows["trunk"]["thirstiest"] == max(alone, key=lambda name: alone[name])
    assert rows["left arm"]["flow_m3_s"] == pytest.approx(alone["leeks"], rel=1e-5)
    # WORKED: 3/4 in is 20.4216 mm inside.
    area_m2 = 3.14159265 / 4.0 * 0.0204216**2
    assert rows["left arm"]["speed_m_s"] == pytest.approx(alone["leeks"] / area_m2, rel=1e-5)
    assert rows["cold frame"]["from"] == "right arm"
    assert rows["cold frame"]["along_m"] == pytest.approx(10 * 0.3048)


def test_a_main_of_one_pipe_has_no_runs_to_list(run: Run) -> None:
    _, out, _ = run("check", "--json")
    assert json.loads(out)["main_runs"] == []
    _, out, _ = run("check", "--all")
    assert "\nThe main\n" not in out


def test_flow_and_plan_stand_on_the_forked_main(run: Run, garden: Path) -> None:
    code, out, _ = run("flow", str(garden), "--open", "leeks,salad")
    assert code == 0
    assert fits(out)
    assert "open together: leeks, salad" in out
    code, out, _ = run("plan", str(garden), "--days", "3")
    assert code == 0
    assert fits(out)
    assert "carrots" in out


def test_advice_names_the_run_that_is_too_narrow(run: Run, garden: Path) -> None:
    code, out, _ = run("check", "--advice", str(garden))
    assert code == 0
    assert fits(out)
    said = " ".join(out.split())
    assert 'main, run "cold frame": zone "salad" alone draws' in said
    assert "1/2 in, which takes" in said
    assert "3/4 in pipe would give it" in said


def test_a_loop_is_refused_with_its_names(run: Run, garden: Path) -> None:
    text = FORKED.replace('from = "tap"', 'from = "cold frame"')
    garden.write_text(text, encoding="utf-8")
    code, _, err = run("check", str(garden))
    assert code == 2
    assert 'found a loop: "trunk" from "cold frame" from "right arm" from "trunk"' in " ".join(
        err.split()
    )
