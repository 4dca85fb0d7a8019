"""What a daemon of sixty zones holds in memory; `python -m process.sixty` from the folder `tests`,
`python -m process.sixty season` for one process from March to November.

It needs no more than a base install, so that nothing else is counted. Sixty zones are 26 relays, as
many as a board has lines for, and 34 hand valves.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from process.manager import Manager
from process.season import (
    a_big_plot,
    a_mixed_plot,
    garden_of,
    its_weather,
    write_a_season,
    write_days,
)

FIRST_DAY = date(2031, 5, 8)
SEASON_DAYS = 180
SETTLED_S = 4.0
SOON_S = 1.5  # the same for the many plans of a season
# From the first of March it comes to the 28th of June, whose plan spans two accounts: its last day
# is the first whose account begins with this year, and not with the year before.
STEP_DAYS = 7


def resident_of_sixty(folder: Path, *, after_days: int, days: int = 5) -> Mapping[str, float]:
    """MiB when a daemon is ready, after each of some days of plans, and at most.

    It is started `after_days` into the season, with all of the season until then in its logbook.
    """
    first, garden = FIRST_DAY + timedelta(days=after_days), a_big_plot()
    folder.mkdir(parents=True, exist_ok=True)
    manager = Manager(
        folder,
        garden=garden,
        weather=its_weather(date(2031, 1, 1), 365),
        wall_s=datetime(first.year, first.month, first.day, 2, 50, tzinfo=UTC).timestamp(),
    )
    found: dict[str, float] = {}
    try:
        if after_days:
            eve = first - timedelta(days=1)
            found["pulses"] = write_a_season(manager.logbook, garden_of(garden), FIRST_DAY, eve)
        child = manager.started()
        _wait_for_plan(manager, "")
        found["ready"] = of_process(child.pid, "VmRSS")
        for day in range(1, days + 1):
            planned = _planned(manager)
            manager.page.turn(by_s=86_400.0)
            _wait_for_plan(manager, planned)
            found[f"day {day}"] = of_process(child.pid, "VmRSS")
        found["most"] = of_process(child.pid, "VmHWM")
        manager.terminate()
        found["logbook"] = manager.logbook.stat().st_size / 2**20
    finally:
        manager.close()
    return found


def most_by_month(folder: Path, *, step_days: int = STEP_DAYS) -> Iterator[tuple[str, float]]:
    """One process from March to November: its start, then each month, and the most it held. [MiB]

    It is let sleep some days at a time, and plans; on each of them every zone is watered twice.
    """
    day, garden = date(2031, 3, 1), a_mixed_plot()
    folder.mkdir(parents=True, exist_ok=True)
    manager = Manager(
        folder,
        garden=garden,
        weather=its_weather(date(2031, 1, 1), 365, rain_every=6),
        wall_s=datetime(day.year, day.month, day.day, 2, 50, tzinfo=UTC).timestamp(),
    )
    zones, month, most = garden_of(garden), "start", 0.0
    try:
        child = manager.started()
        _wait_for_plan(manager, "", SOON_S)
        while day <= date(2031, 11, 30):
            most = max(most, of_process(child.pid, "VmHWM"))
            if month != f"{day:%B}":
                yield month, most
                month, most = f"{day:%B}", 0.0
                # From here on the most is counted anew: proc(5), clear_refs.
                Path(f"/proc/{child.pid}/clear_refs").write_text("5")
            planned = _planned(manager)
            write_days(manager.logbook, zones, day, day + timedelta(step_days - 1))
            manager.page.turn(by_s=86_400.0 * step_days)
            day += timedelta(step_days)
            _wait_for_plan(manager, planned, SOON_S)
        yield month, max(most, of_process(child.pid, "VmHWM"))
        manager.terminate()
    finally:
        manager.close()


def _wait_for_plan(manager: Manager, before: str, settled_s: float = SETTLED_S) -> None:
    """Until there is a plan made after that moment, and no other has followed for a while."""
    ends, last, since = time.monotonic() + 120.0, before, time.monotonic()
    while last <= before or time.monotonic() - since < settled_s:
        assert time.monotonic() < ends, manager.log_text()[-3000:]
        time.sleep(0.2)
        now = _planned(manager)
        if now and now != last:
            last, since = now, time.monotonic()


def _planned(manager: Manager) -> str:
    """When the plan in force was made; "" where there is none yet, or nobody answers now."""
    status = manager.ask_or_none(ask="status") or {}
    return str(status.get("planned_utc") or "")


def of_process(pid: int, what: str) -> float:
    """A line of /proc/PID/status. [MiB]"""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{what}:"):
            return float(line.split()[1]) / 1024.0
    raise AssertionError("this kernel does not tell")


if __name__ == "__main__":
    if sys.argv[1:] == ["season"]:
        for month, much in most_by_month(Path(tempfile.mkdtemp(prefix="rowgate-"))):
            print(f"sixty zones, {month}: {much:.1f}", flush=True)
        raise SystemExit
    for after_days in [int(word) for word in sys.argv[1:]] or [0, SEASON_DAYS]:
        place = Path(tempfile.mkdtemp(prefix="rowgate-"))
        for what, much in resident_of_sixty(place, after_days=after_days).items():
            print(f"sixty zones, day {after_days}, {what}: {much:.1f}", flush=True)
