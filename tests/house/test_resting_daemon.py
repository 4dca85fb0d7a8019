"""A daemon with nothing open: what it writes, what it starts, how often it looks."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon import World
from support.gardens import a_garden, a_zone
from support.pins import RecordingPins

from controller.daemon import garden_reload
from controller.daemon.garden_reload import KeptFieldTests
from controller.garden.model import Meter
from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions
from controller.valves.bank import Bank
from controller.valves.closer import AT_REST, BEAT_S, Closer, Supervisor
from controller.valves.line import LineLimits

BEGINS = datetime(2031, 6, 1, 2, 0, tzinfo=UTC)
MOST_BYTES_A_DAY = 150_000  # of three zones that rest; 66,000 to 74,000 were seen

# What starts a process says so to an audit hook (sys.addaudithook, "Audit events table").
HOOK = """
import sys
begun = []
starts = ("subprocess.Popen", "os.fork", "os.forkpty", "os.posix_spawn", "os.exec", "os.system")
sys.addaudithook(lambda event, args: begun.append(args) if event in starts else None)
"""


def _run(code: str) -> str:
    ran = subprocess.run(
        [sys.executable, "-c", HOOK + code], capture_output=True, text=True, check=True
    )
    return ran.stdout


def test_asking_whether_the_clock_is_set_starts_no_process() -> None:
    code = (
        "import controller.clock as c, pathlib\n"
        "c.SYNC_FLAG = pathlib.Path('/nowhere/at/all')\n"
        "print(type(c.SystemClock().synced()).__name__, begun)"
    )
    assert _run(code) == "bool []\n"


def test_the_hook_sees_what_the_clock_once_started() -> None:
    found = _run("import ctypes.util\nctypes.util.find_library('c')\nprint(len(begun) > 0)")
    assert found == "True\n"


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="this kernel counts no bytes")
def test_a_day_without_a_pulse_writes_little(tmp_path: Path) -> None:
    """Simulated time; what is handed to the system, as /proc/self/io counts it (proc(5))."""
    garden = a_garden(*(a_zone(name, 17 + n) for n, name in enumerate("abc")))
    world = World(tmp_path, garden, now_utc=BEGINS)
    world.ask(ask="hold", hours=24.0 * 8.0, zones=[], reason="we rest")
    world.run_until(BEGINS + timedelta(days=2))
    for day in (3, 4):
        before = _bytes_written()
        world.run_until(BEGINS + timedelta(days=day))
        assert 0 < _bytes_written() - before < MOST_BYTES_A_DAY
    assert world.pulses() == []


def _bytes_written() -> int:
    text = Path("/proc/self/io").read_text(encoding="ascii")
    return int(text.split("wchar:")[1].split()[0])


def test_a_logbook_nobody_wrote_to_is_not_opened_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each opening had the disk write 4 kB: SQLite, as root, gives the log beside the file its
    owner anew, and readers leave their mark."""
    opened: list[Path] = []
    real = Questions

    def counted(path: Path) -> object:
        opened.append(path)
        return real(path)

    monkeypatch.setattr(garden_reload, "Questions", counted)
    book = Logbook(tmp_path / "logbook.db", HandClock())
    kept = KeptFieldTests(tmp_path / "logbook.db")
    assert [kept.mark() for _ in range(20)] == [None] * 20
    assert len(opened) == 2  # once more after a change: two writings may have one stamp
    number = book.keep_fit({}, [book.keep_measurement({"kind": "bucket"})])
    assert [kept.mark() for _ in range(20)] == [number] * 20
    assert len(opened) == 4
    book.close()


def _a_bank() -> tuple[Bank, Closer, Supervisor, HandClock]:
    clock = HandClock()
    line = LineLimits(number=5, active_low=True, longest_open_s=60.0, most_open_s_per_day=600.0)
    bank = Bank([line], RecordingPins(clock), clock, lambda record: None)
    closer = Closer(bank, clock)
    return bank, closer, Supervisor(bank, closer, clock), clock


def test_the_supervisor_says_when_no_line_is_under_way() -> None:
    bank, _, supervisor, clock = _a_bank()
    assert supervisor.check().at_rest
    bank.open(5, for_s=30.0)
    assert not supervisor.check().at_rest
    clock.advance(30.0)
    bank.close_due()
    assert supervisor.check().at_rest


def test_the_closer_rests_only_while_nothing_is_under_way(monkeypatch: pytest.MonkeyPatch) -> None:
    bank, _, _, _ = _a_bank()
    waits: list[float] = []
    monkeypatch.setattr(bank._changed, "wait", waits.append)
    bank.wait_until_due(BEAT_S, at_rest_s=AT_REST * BEAT_S)
    bank.open(5, for_s=30.0)
    bank.wait_until_due(BEAT_S, at_rest_s=AT_REST * BEAT_S)
    assert waits == [AT_REST * BEAT_S, BEAT_S]


def test_the_steward_rests_only_where_nothing_is_open_and_no_pin_is_watched(
    tmp_path: Path,
) -> None:
    world = World(tmp_path, a_garden(a_zone()), now_utc=BEGINS)
    assert world.engine.at_rest
    assert world.ask(ask="open", zone="a", seconds=30)["ok"]
    assert not world.engine.at_rest
    world.run_for(60.0)
    assert world.engine.at_rest


def test_a_meter_is_looked_at_every_second(tmp_path: Path) -> None:
    garden = a_garden(a_zone(), meter=Meter(line=22, litres_per_pulse=0.01))
    assert not World(tmp_path, garden, now_utc=BEGINS).engine.at_rest
