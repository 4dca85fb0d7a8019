"""The daemon as a real process: what it holds with sixty zones, how often it wakes at rest."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest

from process.manager import Manager
from process.season import BEGINS, a_plot, its_weather
from process.sixty import SEASON_DAYS, most_by_month, resident_of_sixty

pytestmark = pytest.mark.slow

# From what was measured (docs/daemon-proof.md, Numbers), with room for other builds of Python.
SETTLED_MIB, MOST_MIB = 58.0, 60.0
MOST_WAKES_A_MINUTE = 160  # 92 were seen on a quiet machine, 358 before
LOOK_S = 30.0


@pytest.mark.parametrize("after_days", [0, SEASON_DAYS])
def test_a_daemon_of_sixty_zones_stays_small(tmp_path: Path, after_days: int) -> None:
    found = resident_of_sixty(tmp_path, after_days=after_days, days=2)
    print(found)
    assert found["day 2"] <= SETTLED_MIB and found["most"] <= MOST_MIB, found


def test_a_season_of_sixty_zones_never_takes_more(tmp_path: Path) -> None:
    """Two minutes of a processor: some forty days of one process from March to November, on each
    of them two plans."""
    found = dict(most_by_month(tmp_path))
    print(found)
    assert len(found) == 10 and {"start", "March", "November"} <= set(found)
    assert max(found.values()) <= MOST_MIB, found


def test_a_resting_daemon_wakes_seldom_and_writes_nothing(tmp_path: Path) -> None:
    manager = Manager(
        tmp_path, garden=a_plot("leeks", "kale"), weather=its_weather(), wall_s=BEGINS.timestamp()
    )
    try:
        # The stand-in's clock has threads look fifty times a second: this one runs without it.
        child = _by_the_own_clock(manager)
        time.sleep(45.0)  # the second look at the logbook after its first writings is over
        wakes, written = _wakes(child.pid), _written(child.pid)
        time.sleep(LOOK_S)
        wakes, written = _wakes(child.pid) - wakes, _written(child.pid) - written
        print(f"{wakes * 60.0 / LOOK_S:.0f} wake-ups a minute, {written} bytes written")
        assert wakes * 60.0 / LOOK_S <= MOST_WAKES_A_MINUTE
        assert written == 0
    finally:
        manager.close()


def _by_the_own_clock(manager: Manager) -> subprocess.Popen[bytes]:
    text = manager.garden.read_text("utf-8").split("[board]")
    manager.garden.write_text(
        text[0] + '[board]\npins = "mock"\nclock = "battery"\n' + text[1].split('active low"')[1],
        encoding="utf-8",
    )
    words: list[str | Path] = [
        "run",
        manager.garden,
        "--state",
        manager.state,
        "--runtime",
        manager.runtime,
    ]
    with manager.log.open("ab") as log:
        child = subprocess.Popen(
            [sys.executable, "-m", "controller.cli", *words], stderr=log, cwd=manager.runtime
        )
    manager._children.append(child)
    manager.until(lambda: "planned (" in manager.log_text() or child.poll() is not None)
    assert child.poll() is None, manager.log_text()[-3000:]
    return child


def _wakes(pid: int) -> int:
    """How often its threads have given up the processor of themselves: proc(5), status."""
    return sum(
        int(line.split()[1])
        for task in Path(f"/proc/{pid}/task").iterdir()
        for line in (task / "status").read_text().splitlines()
        if line.startswith("voluntary_ctxt_switches:")
    )


def _written(pid: int) -> int:
    text = Path(f"/proc/{pid}/io").read_text()
    return int(text.split("\nwrite_bytes:")[1].split()[0])
