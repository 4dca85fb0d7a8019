"""The board's fixtures: skipped with a reason where it cannot run."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from board.figures import Figures
from board.machine import EMULATOR, FILES, Board, cache_dir
from board.made import Made, made

MAKER = Callable[..., Board]
_FIGURES = pytest.StashKey[Figures]()


@pytest.fixture(scope="session")
def figures(request: pytest.FixtureRequest) -> Figures:
    """Where measured seconds go."""
    kept = Figures(cache_dir() / "figures.jsonl")
    request.config.stash[_FIGURES] = kept
    return kept


@pytest.fixture(scope="session")
def image() -> Path:
    """The image; the test is skipped where there is none."""
    if shutil.which(EMULATOR) is None:
        pytest.skip(f"no emulator here ({EMULATOR}); tests/board/run installs it and runs these")
    missing = [name for name in (*FILES, "key") if not (cache_dir() / name).exists()]
    if missing:
        pytest.skip(
            f"no image in {cache_dir()} (no {missing[0]}); tests/board/build-image makes it"
        )
    return cache_dir() / "base.img"


@pytest.fixture(scope="session")
def ready(image: Path, figures: Figures) -> Made:
    """The installed disk and the moments to go on from."""
    return made(figures)


@pytest.fixture
def new_board(request: pytest.FixtureRequest) -> Iterator[MAKER]:
    """Makes boards for this test; afterwards they are off, and their disks gone."""
    # Beside the image and not in /tmp: a disk is a gigabyte, and /tmp may be kept in memory.
    folder = cache_dir() / f"run-{os.getpid()}"
    boards: list[Board] = []

    def maker(**how: object) -> Board:
        board = Board(folder / str(len(boards)), **how)  # type: ignore[arg-type]
        boards.append(board)
        return board

    yield maker
    for board in boards:
        board.cut_power()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def due(ready: Made, new_board: MAKER) -> Board:
    """Ten seconds before the window opens; a freed line keeps its level."""
    board = new_board(persist=True)
    board.start(snapshot=ready.due)
    board.wait_agent()
    return board


@pytest.fixture
def watering(ready: Made, new_board: MAKER) -> Board:
    """All three lines open; a freed line keeps its level."""
    board = new_board(persist=True)
    board.start(snapshot=ready.watering[True])
    board.wait_agent()
    return board


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Tell what was measured."""
    kept = config.stash.get(_FIGURES, None)
    if kept is not None and (lines := kept.lines()):
        terminalreporter.section("measured on the board")
        for line in lines:
            terminalreporter.line(line)
