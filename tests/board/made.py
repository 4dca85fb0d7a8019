"""What is made once and kept beside the image: the installed disk, and moments to go on from.

A moment is a snapshot of the running board: "due" ten seconds before the window opens, "watering"
some seconds after, with all three lines open.
"""

from __future__ import annotations

import os
import shutil
import time
from dataclasses import dataclass
from pathlib import Path

from board import guest, project
from board.cpio import Extra
from board.figures import Figures
from board.machine import Board, cache_dir, copy_sparse

INSTALL_AT_S = guest.WINDOW_OPENS_S - 3600.0
FIRST_START_AT_S = guest.WINDOW_OPENS_S - 70.0
DUE_BEFORE_S, WATERING_AFTER_S = 10.0, 5.0
BOOT_AT_S = guest.WINDOW_OPENS_S - 5.0  # a cold boot: the daemon is ready after the window opened
# No package index can be reached: pip takes the wheels that lie there. Nothing else is changed.
PIP_HERE = "export PIP_NO_INDEX=1 PIP_FIND_LINKS=$HOME/wheels"


@dataclass(frozen=True, slots=True)
class Made:
    """Where it lies."""

    disk: Path
    due: Path  # persist=True
    watering: dict[bool | None, Path]


def made(figures: Figures) -> Made:
    """Make what is missing for the project as it is now; what was made for an older one goes."""
    guest_files = [guest.HERE / "garden.toml", guest.HERE / "weather.csv", guest.HERE / "made.py"]
    image_key = (cache_dir() / "key").read_text().strip()
    folder = cache_dir() / "made" / f"{image_key}-{project.key(*guest_files)}"
    if folder.parent.is_dir():
        for old in folder.parent.iterdir():
            if old != folder:
                shutil.rmtree(old)
    folder.mkdir(parents=True, exist_ok=True)
    found = Made(
        disk=folder / "installed.img",
        due=folder / "due",
        watering={True: folder / "watering-kept", None: folder / "watering-freed"},
    )
    work = folder / f"work-{os.getpid()}"
    try:
        if not found.due.is_dir() or not found.disk.exists():
            _install(found, work / "install", figures)
        if not found.watering[None].is_dir():
            _freed(found, work / "freed", figures)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    return found


def _install(found: Made, work: Path, figures: Figures) -> None:
    wheels = project.wheels(work / "wheels")
    extra: Extra = {
        f"{guest.HOME}/wheels": wheels,
        guest.HOME: project.own_wheel(work / "wheels").parent,
        f"{guest.HOME}/my-garden.toml": guest.HERE / "garden.toml",
        "/etc/rowgate/weather.csv": guest.HERE / "weather.csv",
    }
    with Board(work / "board", persist=True) as board:
        board.start(extra=extra, words=guest.at(INSTALL_AT_S))
        board.wait_booted()
        begun_s = time.monotonic()
        for block in project.install_blocks():
            board.run(f"set -e; {PIP_HERE}; {block}", within_s=600)
        figures.add("install, all commands", time.monotonic() - begun_s)
        board.set_clock(FIRST_START_AT_S)
        with board.watch(guest.NUMBERS) as watch:
            started = board.run(project.first_start(), within_s=200, check=False)
            assert started.rc == 0, guest.journal(board)
            figures.add("first start of the unit", started.seconds)
            assert all(watch.state(line) == guest.OFF for line in guest.NUMBERS), watch.seen
            assert watch.openings(guest.is_on) == [], watch.seen
            assert watch.edges == [], watch.edges
        left_s = guest.WINDOW_OPENS_S - DUE_BEFORE_S - board.now_s()
        assert left_s > 0.0, f"the first start took too long by {-left_s:.0f} s"
        time.sleep(left_s)
        _keep(board, found.due)
        copy_sparse(found.due / "disk.img", found.disk)
        _wait_watering(board)
        _keep(board, found.watering[True])


def _freed(found: Made, work: Path, figures: Figures) -> None:
    with Board(work, persist=None) as board:
        board.start(disk=found.disk, words=guest.at(BOOT_AT_S))
        board.wait_agent()
        guest.wait_active(board)
        _wait_watering(board)
        _keep(board, found.watering[None])


def _wait_watering(board: Board) -> None:
    with board.watch(guest.NUMBERS) as watch:
        guest.wait_all(watch, guest.ON, within_s=90)
    guest.wait_pulses(board, "state = 'open'", len(guest.NUMBERS))
    time.sleep(WATERING_AFTER_S)


def _keep(board: Board, folder: Path) -> None:
    unfinished = folder.with_name(folder.name + ".new")
    shutil.rmtree(unfinished, ignore_errors=True)
    board.save(unfinished)
    unfinished.rename(folder)
