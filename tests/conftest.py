"""What all rooms' tests share, and how many of them run at once."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path

# Byte code is kept, here and in the processes that tests start, also where the environment says
# otherwise: to rewrite and compile 300 files anew takes each worker six seconds.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False
# The garden and the logbook of whoever runs the tests are none of theirs.
os.environ.pop("ROWGATE_GARDEN", None)
os.environ.pop("ROWGATE_STATE", None)

import pytest  # noqa: E402
from hypothesis import HealthCheck, settings  # noqa: E402

MEMORY = Path("/dev/shm")
ENOUGH_BYTES = 1 << 30  # more than the largest tests write together; our choice

# Speed is measured by benchmarks alone: a busy machine fails no test. Examples are the same in each
# run, so that no change fails by one that it did not cause; `--hypothesis-profile=search` draws new
# ones.
for _name, _same in (("rowgate", True), ("search", False)):
    settings.register_profile(
        _name, deadline=None, derandomize=_same, suppress_health_check=[HealthCheck.too_slow]
    )
settings.load_profile("rowgate")


def pytest_configure() -> None:
    """`tmp_path` lies in memory where there is such a place: there a logbook's fsync takes no time.

    No test can tell: a killed process loses nothing that it wrote, with fsync or without.
    """
    if os.access(MEMORY, os.W_OK):
        there = os.statvfs(MEMORY)
        if there.f_bavail * there.f_frsize >= ENOUGH_BYTES and not there.f_flag & os.ST_NOEXEC:
            os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """One more than there are cores; none for one file, for benchmarks and for what prints (-s).

    Workers take seconds to start, measure beside each other, and show nothing that a test prints.
    """
    shown = config.getoption("capture") == "no" or config.getoption("benchmark_only")
    one_file = len(config.args) == 1 and not Path(config.args[0]).is_dir()
    if shown or one_file:
        return 0
    # One more than there are cores: some tests wait for a process or a socket.
    return len(os.sched_getaffinity(0)) + 1


def pytest_collection_finish() -> None:
    """What was imported stays: the collector need not look through it at every turn."""
    gc.collect()
    gc.freeze()


@pytest.fixture
def seldom_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine looks at the garden file every five minutes: most of a quiet day is that.

    For days in which the file stays what it is.
    """
    monkeypatch.setattr("controller.daemon.engine.GARDEN_EVERY_S", 300.0)
