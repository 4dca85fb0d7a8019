"""backup as a user calls it; and a copy put in the place of a lost logbook plans on."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from pytest import approx
from support.clock import HandClock
from support.daemon import World
from support.logbook import a_pulse, close

import controller.cli.logbook_commands as logbook_commands
from controller.cli import main
from controller.logbook.files import copy_logbook
from controller.logbook.logbook import Logbook
from controller.logbook.records import HowKnown

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.delenv("ROWGATE_STATE", raising=False)

    def call(*argv: str) -> tuple[int, str, str]:
        code = main([str(a) for a in argv])
        out = capsys.readouterr()
        return code, out.out, out.err

    return call


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder whose logbook knows of one pulse of five litres."""
    folder = tmp_path / "state"
    folder.mkdir()
    with Logbook(folder / "logbook.db", HandClock()) as logbook:
        close(logbook, logbook.intend(a_pulse()), 60.0, 5.0, HowKnown.TIMED)
    return folder


def test_backup_writes_the_copy_and_says_what_it_holds(
    run: Run, state: Path, tmp_path: Path
) -> None:
    code, out, err = run("backup", tmp_path / "copy.db", "--state", state)
    assert (code, err) == (0, "")
    assert "1 pulses, 5 L, 1 June 2031 to 1 June 2031" in out
    assert "garden file is not in it" in out
    assert (tmp_path / "copy.db").is_file()


def test_backup_for_a_program(run: Run, state: Path, tmp_path: Path) -> None:
    code, out, _ = run("backup", tmp_path / "copy.db", "--state", state, "--json")
    row = json.loads(out)
    assert code == 0
    assert (row["litres"], row["first_day"]) == (5.0, "2031-06-01")
    assert row["size_bytes"] == (tmp_path / "copy.db").stat().st_size


def test_backup_never_overwrites(run: Run, state: Path, tmp_path: Path) -> None:
    assert run("backup", tmp_path / "copy.db", "--state", state)[0] == 0
    code, _, err = run("backup", tmp_path / "copy.db", "--state", state)
    assert code == 1
    assert "is there already" in err


def test_backup_finds_the_logbook_where_the_others_do(
    run: Run, state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("backup", tmp_path / "1.db", "--garden", state / "garden.toml")[0] == 0
    monkeypatch.setattr(logbook_commands, "SYSTEM_STATE", state)
    assert run("backup", tmp_path / "2.db")[0] == 0
    monkeypatch.setattr(logbook_commands, "SYSTEM_STATE", tmp_path / "none")
    code, _, err = run("backup", tmp_path / "3.db")
    assert code == 2
    assert "--state" in err
    monkeypatch.setenv("ROWGATE_STATE", str(state))
    assert run("backup", tmp_path / "3.db")[0] == 0


def test_a_copy_put_in_place_of_a_lost_logbook_plans_on_as_if_nothing_had_been_lost(
    tmp_path: Path,
) -> None:
    whole, lost = (tmp_path / name for name in ("whole", "lost"))
    worlds = []
    for folder in (whole, lost):
        folder.mkdir()
        world = World(folder)
        world.run_until(datetime(2031, 6, 3, 12, 0, tzinfo=UTC))
        worlds.append(world)
    steady, world = worlds
    copy = tmp_path / "copy.db"
    held = copy_logbook(world.logbook.path, copy)  # beside the running daemon
    assert held.litres == approx(sum(world.litres().values())) and held.litres > 0.0
    # The card dies: the daemon begins a new logbook, which knows nothing.
    world.kill()
    world.logbook.path.write_bytes(b"\x00" * 20_000)
    world.restart(after_s=60.0)
    assert world.logbook.set_aside is not None and world.litres() == {}
    # Restored as docs/keeping.md has it: stop, put the file in place, start.
    world.kill()
    for beside in ("logbook.db-wal", "logbook.db-shm"):
        (lost / beside).unlink(missing_ok=True)
    (lost / "logbook.db").write_bytes(copy.read_bytes())
    world.restart(after_s=60.0)
    assert sum(world.litres().values()) == approx(held.litres)
    for one in worlds:
        one.run_until(datetime(2031, 6, 6, 12, 0, tzinfo=UTC))
    assert world.litres() == approx(steady.litres(), rel=1e-6)
    assert max(day for _, day in world.litres()) > date(2031, 6, 3)
    assert [(r.zone, r.day, r.depletion_mm) for r in world.ledger()] == [
        (r.zone, r.day, approx(r.depletion_mm)) for r in steady.ledger()
    ]
