"""A garden file that stops reading changes nothing; one that reads again does."""

from __future__ import annotations

from datetime import UTC, datetime, time
from pathlib import Path

import pytest
from pytest import approx
from support.daemon import World
from support.daemon_faults import a_slow_garden
from support.gardens import a_garden, a_zone

from controller.errors import GardenFileError
from controller.garden.model import Watering, Window

NOON = datetime(2031, 6, 1, 10, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def undisturbed_l(tmp_path_factory: pytest.TempPathFactory) -> float:
    world = World(tmp_path_factory.mktemp("calm"), a_slow_garden())
    world.run_until(NOON)
    return sum(world.litres().values())


@pytest.mark.parametrize("broken", ["nonsense", None], ids=["does not read", "gone"])
def test_a_broken_garden_file_leaves_the_good_one_running(
    tmp_path: Path, undisturbed_l: float, broken: str | None
) -> None:
    world = World(tmp_path, a_slow_garden())
    if broken is None:
        world.file.unlink()
    else:
        world.file.write_text(broken, encoding="utf-8")
    world.run_until(NOON)
    assert sum(world.litres().values()) == approx(undisturbed_l, rel=1e-9)
    status = world.ask(ask="status")
    assert status["garden_faults"] and not status["garden_from_copy"]
    faults = [words for kind, words in world.happenings() if kind == "garden file"]
    assert len(faults) == 1 and "garden.toml" in faults[0]


def test_a_restart_over_a_broken_file_runs_on_the_last_good_copy(
    tmp_path: Path, undisturbed_l: float
) -> None:
    world = World(tmp_path, a_slow_garden())
    world.file.write_text("nonsense", encoding="utf-8")
    world.restart()
    assert world.ask(ask="status")["garden_from_copy"]
    assert world.ask(ask="status")["garden_faults"]
    world.run_until(NOON)
    assert sum(world.litres().values()) == approx(undisturbed_l, rel=1e-9)


def test_without_a_copy_a_broken_file_is_refused(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.file.write_text("nonsense", encoding="utf-8")
    (tmp_path / "copy.toml").unlink()
    with pytest.raises(GardenFileError, match=r"garden\.toml, line 1"):
        world.restart()


def test_a_mended_file_is_taken_up_and_said_so(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.file.write_text("nonsense", encoding="utf-8")
    world.run_for(120.0)
    world.file.write_text("good", encoding="utf-8")
    world.run_for(120.0)
    assert not world.ask(ask="status")["garden_faults"]
    assert ("garden file", "reads again") in world.happenings()


def test_a_changed_garden_gets_its_own_lines_and_windows(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    evening = Watering(windows=(Window(opens=time(19), closes=time(21)),))
    world.gardens["other"] = a_garden(a_zone("a", 17), a_zone("new", 27), watering=evening)
    world.run_until_open()
    world.file.write_text("other", encoding="utf-8")
    world.run_for(45.0)
    assert world.pins.read(17)  # what runs, runs out; then the lines are changed
    world.run_until(datetime(2031, 6, 2, 2, 0, tzinfo=UTC))
    assert set(world.valve_set.bank.states()) == {17, 27}
    opened = [r for r in world.pulses() if r.zone == "new" and r.opened_utc]
    assert opened
    for row in opened:
        assert 17 <= row.opened_utc.hour < 19  # 19 to 21 local time is 17 to 19 UTC


def test_a_changed_garden_does_not_forget_how_long_a_line_was_open(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.run_until(NOON)
    used = world.valve_set.bank.used_s(17)
    assert used > 600.0
    world.gardens["other"] = a_garden(a_zone("a", 17), a_zone("new", 27))
    world.file.write_text("other", encoding="utf-8")
    world.run_for(60.0)
    assert world.valve_set.bank.used_s(17) == approx(used, abs=1.0)
