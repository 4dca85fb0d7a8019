"""What the tests of the command line share."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.cli import main


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """A command as it is typed: its exit code, what it prints, and what it says beside that."""

    def call(*argv: str) -> tuple[int, str, str]:
        code = main(list(argv))
        out = capsys.readouterr()
        return code, out.out, out.err

    return call
