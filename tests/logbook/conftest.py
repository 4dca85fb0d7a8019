"""A logbook of its own for each test, its clock, and who reads it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.clock import HandClock

from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def book(tmp_path: Path, clock: HandClock) -> Iterator[Logbook]:
    with Logbook(tmp_path / "logbook.db", clock) as book:
        yield book


@pytest.fixture
def ask(book: Logbook) -> Iterator[Questions]:
    with Questions(book.path) as ask:
        yield ask
