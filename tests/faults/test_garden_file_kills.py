"""Whatever is wrong with the garden file, the daemon waters on by the last good one."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from support.daemon import World
from support.daemon_faults import a_slow_garden

from controller.daemon.service import _without_links
from controller.errors import GardenFileError

pytestmark = pytest.mark.usefixtures("seldom_looks")

NOON = datetime(2031, 6, 1, 10, 0, tzinfo=UTC)


def _loop(file: Path) -> None:
    other = file.with_name("other.toml")
    file.symlink_to(other)
    other.symlink_to(file)


def _huge(file: Path) -> None:
    with file.open("wb") as sparse:
        sparse.truncate(5_000_000_000)


WRONG: dict[str, Callable[[Path], object]] = {
    "a loop of links": _loop,
    "a link to nothing": lambda file: file.symlink_to("nowhere.toml"),
    "a folder": lambda file: file.mkdir(),
    "a pipe": os.mkfifo,
    "a device without end": lambda file: file.symlink_to("/dev/zero"),
    "a large file": _huge,
    "no text": lambda file: file.write_bytes(b"\xff\xfe\x00"),
}


@pytest.mark.parametrize("restarts", [False, True], ids=["running", "at a start"])
@pytest.mark.parametrize("which", WRONG)
def test_what_is_no_garden_file_changes_nothing(tmp_path: Path, which: str, restarts: bool) -> None:
    world = World(tmp_path, a_slow_garden())
    world.file.unlink()
    WRONG[which](world.file)
    if restarts:
        world.restart()
    world.run_until(NOON)
    assert sum(world.litres().values()) > 0.0
    status = world.ask(ask="status")
    assert status["garden_from_copy"] is restarts
    assert len(status["garden_faults"]) == 1
    assert "garden.toml" in status["garden_faults"][0]


@pytest.mark.parametrize("fault", [RecursionError(), MemoryError(), OverflowError("too large")])
@pytest.mark.parametrize("restarts", [False, True], ids=["running", "at a start"])
def test_a_mistake_of_ours_over_a_file_ends_nothing(
    tmp_path: Path, fault: Exception, restarts: bool
) -> None:
    world = World(tmp_path, a_slow_garden())
    good = world._read

    def read(text: str) -> Any:
        if text == "a trap":
            raise fault
        return good(text)

    world._read = read  # type: ignore[method-assign]
    if world.engine is not None:
        world.engine.garden_file._read = read
    world.file.write_text("a trap", encoding="utf-8")
    if restarts:
        world.restart()
    world.run_until(NOON)
    assert sum(world.litres().values()) > 0.0
    (said,) = world.ask(ask="status")["garden_faults"]
    assert type(fault).__name__ in said and "the log says more" in said


def test_without_a_copy_the_fault_of_the_file_is_said(tmp_path: Path) -> None:
    world = World(tmp_path, a_slow_garden())
    world.file.unlink()
    _loop(world.file)
    (tmp_path / "copy.toml").unlink()
    with pytest.raises(GardenFileError, match=r"garden\.toml"):
        world.restart()


def test_a_loop_of_links_does_not_end_the_start(tmp_path: Path) -> None:
    file = tmp_path / "garden.toml"
    _loop(file)
    assert _without_links(file) == file
