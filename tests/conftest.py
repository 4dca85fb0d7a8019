"""What all rooms' tests share, and how many of them run at once."""

from __future__ import annotations

import gc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# Speed is measured by benchmarks alone: a busy machine fails no test.
settings.register_profile("rowgate", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("rowgate")


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """None of their own for one file, for benchmarks and for what prints as it goes (-s).

    Workers take seconds to start, measure beside each other, and show nothing that a test prints.
    """
    shown = config.getoption("capture") == "no" or config.getoption("benchmark_only")
    one_file = len(config.args) == 1 and not Path(config.args[0]).is_dir()
    return 0 if shown or one_file else None


def pytest_collection_finish() -> None:
    """What was imported stays: the collector need not look through it at every turn."""
    gc.collect()
    gc.freeze()


@pytest.fixture
def seldom_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The steward looks at the garden file every five minutes: most of a quiet day is that.

    For days in which the file stays what it is.
    """
    monkeypatch.setattr("controller.daemon.steward.GARDEN_EVERY_S", 300.0)
