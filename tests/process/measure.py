"""The numbers of docs/daemon-proof.md, measured here and printed.

`python -m process.measure [late|hung|disk|memory|year|deaths ...]` from the folder `tests`; all
of them where none is named (about an hour). Nothing is written into the docs.
"""

from __future__ import annotations

import gc
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from process.late import Burning
from process.manager import CHIP, ON_LEVEL, ON_PATH, Manager
from process.recorder import PERSIST, RELEASED, Recorder
from process.season import BEGINS, LINES, Haste, a_plot, its_weather
from process.twin import Twin
from process.verdict import of, season_of_deaths

ROOT = ON_PATH.parents[2]
DISK_RATE = 10.0


def how_late(folder: Path, count: int = 10_000) -> dict[str, list[float]]:
    """Lateness by the bank's clock, by the recorder's, and of a bare loop, all cores busy. [s]"""
    recorder = Recorder(folder, mode=PERSIST)
    try:
        with Burning():
            time.sleep(1.0)
            bank = _child("bank", count, recorder)
            bare = _child("bare", count, recorder)
    finally:
        recorder.close()
    spans: dict[int, list[float]] = {}
    for span in recorder.spans(ON_LEVEL):
        assert span.end_s is not None
        spans.setdefault(span.line, []).append(span.end_s)
    deadlines: dict[int, list[float]] = {}
    for line, deadline_s, _, _ in bank:
        deadlines.setdefault(int(line), []).append(deadline_s)
    by_recorder = []
    for line, asked in deadlines.items():
        assert len(asked) == len(spans[line])
        by_recorder += [end - due for end, due in zip(spans[line], sorted(asked), strict=True)]
    return {"bank": [each[3] for each in bank], "recorder": by_recorder, "bare": bare}


def _child(how: str, count: int, recorder: Recorder) -> list:  # type: ignore[type-arg]
    done = subprocess.run(
        [sys.executable, "-m", "process.late", how, str(count)],
        env=os.environ
        | {
            "PYTHONPATH": os.pathsep.join((str(ON_PATH), str(ROOT), str(ROOT / "tests"))),
            "ROWGATE_RECORDER": str(recorder.socket),
        },
        stdout=subprocess.PIPE,
        check=True,
        timeout=1800.0,
    )
    found: list = json.loads(done.stdout)  # type: ignore[type-arg]
    return found


def hung_line(folder: Path) -> dict[str, float]:
    """A line whose writes never come back: seconds past deadlines, to answers and to the end.

    At the clock's own pace. Leeks hang; kale ends by its deadline after that, beets are closed by
    a person, corn stays open until the process ends itself.
    """
    manager = Manager(
        folder,
        garden=a_plot("leeks", "kale", "beets", "corn"),
        weather=its_weather(),
        wall_s=BEGINS.timestamp(),
    )
    try:
        child = manager.started()
        begun = {}
        for zone, seconds in (("corn", 60.0), ("beets", 60.0), ("kale", 5.0), ("leeks", 3.0)):
            manager.until(
                lambda zone=zone, seconds=seconds: manager.ask(  # type: ignore[misc]
                    ask="open", zone=zone, seconds=seconds
                )["ok"]
            )
            begun[zone] = time.monotonic()
        manager.hang(LINES["leeks"])
        time.sleep(max(0.0, begun["leeks"] + 3.1 - time.monotonic()))  # it hangs now
        asked_s = time.monotonic()
        assert manager.ask(ask="close", zone="beets")["ok"]
        answered_s = time.monotonic() - asked_s
        barred = manager.ask(ask="status")["barred"]
        manager.until(lambda: child.poll() is not None, within_s=60.0)
        ended_s = time.monotonic()
        manager.release()
        manager.stop_step()
        manager.started()
        cured = manager.ask(ask="open", zone="leeks", seconds=60.0)["ok"]
        assert manager.terminate() == 0
        spans = {span.line: span for span in reversed(manager.recorder.spans(ON_LEVEL))}
        ends = {zone: spans[LINES[zone]].end_s for zone in begun}
        hung, kale, beets, corn = (ends[zone] for zone in ("leeks", "kale", "beets", "corn"))
        assert hung is not None and kale is not None and beets is not None and corn is not None
        due_s = spans[LINES["leeks"]].begin_s + 3.0
        return {
            "another past its deadline": kale - spans[LINES["kale"]].begin_s - 5.0,
            "another closed by a person": beets - asked_s,
            "answered": answered_s,
            "told": float(barred == [{"zone": "leeks", "state": "stuck"}]),
            "another shut for the end": corn - due_s,
            "ended": ended_s - due_s,
            "hung line off": hung - due_s,
            "code": float(child.returncode),
            "opens again after the next start": float(cured),
        }
    finally:
        manager.close()


def hung_engine(folder: Path, rate: float = 10.0) -> dict[str, float]:
    """An engine that never comes back from the disk: seconds of its clock to the watchdog's abort.

    The garden file lies on a disk that does not answer any more. Lines close meanwhile.
    """
    manager = Manager(
        folder,
        garden=a_plot("leeks"),
        weather=its_weather(),
        wall_s=BEGINS.timestamp(),
        rate=rate,
    )
    try:
        manager.started()
        manager.until(lambda: manager.ask(ask="open", zone="leeks", seconds=50.0)["ok"])
        manager.disk_dies()
        hung_s = manager.page.mono_s()
        code = manager.watchdog()
        seen_s = manager.page.mono_s() - hung_s
        (span,) = manager.recorder.spans(ON_LEVEL)
        assert span.end_s is not None
        late_s = span.end_s - span.begin_s - 50.0 / rate
        return {"aborted": seen_s, "code": float(code), "line_late": late_s}
    finally:
        manager.close()


def written_a_day(folder: Path, days: int = 4) -> dict[str, float]:
    """Bytes the example garden's daemon sends to the disk, each day of June; and its files."""
    config = ROOT / "config"
    text = (config / "example-garden.toml").read_text("utf-8")
    text = text.replace('pins = "mock"', f'pins = "lgpio"\nchip = {CHIP}')
    text = text.replace("example-weather.csv", "weather.csv")
    begins = datetime(2031, 6, 10, 4, 30, tzinfo=UTC)  # half past midnight there
    manager = Manager(
        folder,
        garden=text,
        weather=(config / "example-weather.csv").read_text("utf-8"),
        wall_s=begins.timestamp(),
        rate=DISK_RATE,
    )
    found: dict[str, float] = {}
    try:
        child = manager.started()
        haste, before = Haste(manager), _written(child.pid)
        found["start"] = before
        for day in range(days):
            ends = begins + timedelta(days=day + 1)
            while manager.page.now().wall_s < ends.timestamp():
                assert child.poll() is None, manager.log_text()[-3000:]
                haste.go_on()
                time.sleep(0.01)
            now = _written(child.pid)
            found[f"day {day + 1}"], before = now - before, now
            found[f"pulses to day {day + 1}"] = len(manager.recorder.spans(ON_LEVEL))
        found["files"] = manager.kept_bytes()
        found["log"] = manager.log.stat().st_size
        manager.terminate()
    finally:
        manager.close()
    return found


def _written(pid: int) -> float:
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        if line.startswith("write_bytes:"):
            return float(line.split()[1])
    raise AssertionError("this kernel does not count what a process writes")


def resident_over_a_season(folder: Path, rate: float = 12.0) -> Mapping[str, float]:
    """Resident megabytes on the first of each month, one process through a season and past it."""
    manager = Manager(
        folder,
        garden=a_plot("leeks", "kale"),
        weather=its_weather(days=460),
        wall_s=BEGINS.timestamp(),
        rate=rate,
    )
    found: dict[str, float] = {}
    try:
        child = manager.started()
        haste, month = Haste(manager), ""
        ends = datetime(2031, 12, 2, tzinfo=UTC).timestamp()
        while manager.page.now().wall_s < ends:
            assert child.poll() is None, manager.log_text()[-3000:]
            now = datetime.fromtimestamp(manager.page.now().wall_s, UTC)
            if f"{now:%Y-%m}" != month and manager.ready:
                month = f"{now:%Y-%m}"
                found[month] = _resident_mb(child.pid)
                print(month, round(found[month], 1), flush=True)
            haste.go_on()
            time.sleep(0.01)
        found["pulses"] = len(manager.recorder.spans(ON_LEVEL))
        found["files_mb"] = manager.kept_bytes() / 1e6
        manager.terminate()
    finally:
        manager.close()
    return found


def resident_by_hand(folder: Path, months: int = 12) -> Mapping[str, float]:
    """The same of the daemon's mind, logbook and bank in hand-turned time: a year in a minute."""
    twin = Twin(folder, garden=a_plot(), weather=its_weather(days=460))
    found: dict[str, float] = {}
    for month in range(months + 1):
        at = BEGINS + timedelta(days=30.4 * month)
        twin.run_until(at)
        twin.pins.moves.clear()  # the stand-in remembers them all; the daemon does not
        gc.collect()
        found[f"{at:%Y-%m-%d}"] = _resident_mb(os.getpid())
    found["pulses"] = len(twin.pulses())
    found["files_mb"] = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file()) / 1e6
    twin.kill()
    return found


def _resident_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGESIZE") / 1e6


def _late() -> None:
    for who, late in how_late(_folder()).items():
        print(f"late, {who}: {len(late)} pulses, {of([1000.0 * s for s in late])} ms")


def _hung() -> None:
    print("hung line:", hung_line(_folder()))
    print("hung engine:", hung_engine(_folder()))


def _disk() -> None:
    for what, much in written_a_day(_folder()).items():
        print(f"disk, {what}: {much:,.0f}")


def _memory() -> None:
    for what, much in resident_over_a_season(_folder()).items():
        print(f"memory, {what}: {much:.1f}")


def _year() -> None:
    for what, much in resident_by_hand(_folder()).items():
        print(f"by hand, {what}: {much:.1f}")


def _deaths() -> None:
    for mode, seed in ((PERSIST, 7), (RELEASED, 8)):
        print(f"deaths, {mode}:")
        for line in season_of_deaths(_folder(), mode=mode, seed=seed, deaths=150).lines():
            print(f"  {line}")


def _folder() -> Path:
    return Path(tempfile.mkdtemp(prefix="rowgate-"))


ALL: Mapping[str, Callable[[], None]] = {
    "late": _late,
    "hung": _hung,
    "disk": _disk,
    "memory": _memory,
    "year": _year,
    "deaths": _deaths,
}

if __name__ == "__main__":
    print(f"{date.today()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    for name in sys.argv[1:] or ALL:
        ALL[name]()
