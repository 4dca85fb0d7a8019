"""What a machine may do to a daemon while water runs, each done to a real process.

The same end each time: the line is off by its deadline, whatever befell; it is said; when the
misfortune is over the daemon waters on, or is started again and does; and the rest is given once,
held against the same plot in hand-turned time where nothing went wrong.
"""

from __future__ import annotations

import resource
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.errors import LogbookError
from controller.logbook.queries import Questions
from controller.logbook.records import PulseState
from process.audit import LATE_S, rows_of
from process.manager import ON_LEVEL, Manager
from process.season import BEGINS, Haste, a_plot, its_weather
from process.twin import undisturbed_l

pytestmark = [pytest.mark.slow, pytest.mark.alone]

RATE = 5.0
PLOT, WEATHER = a_plot("leeks", "kale"), its_weather()
END = datetime(2031, 6, 1, 19, 30, tzinfo=UTC)  # after the day's last window
FILL_L = 1.0  # what a pulse that was cut, or begun anew, costs at most in filling its line


@pytest.fixture(scope="module")
def calm_l(tmp_path_factory: pytest.TempPathFactory) -> dict[int, float]:
    """What the day takes where nothing goes wrong."""
    folder = tmp_path_factory.mktemp("calm")
    return dict(undisturbed_l(folder, garden=PLOT, weather=WEATHER, until=END))


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Callable[..., Manager]]:
    managers: list[Manager] = []

    def new(**more: Path) -> Manager:
        manager = Manager(
            tmp_path,
            garden=PLOT,
            weather=WEATHER,
            wall_s=BEGINS.timestamp(),
            rate=RATE,
            **more,  # type: ignore[arg-type]
        )
        managers.append(manager)
        return manager

    yield new
    for manager in managers:
        manager.close()


@contextmanager
def mounted(folder: Path, *words: str) -> Iterator[Path]:
    """A file system of its own; the test is skipped where none can be had."""
    folder.mkdir(exist_ok=True)
    done = subprocess.run(["mount", *words, str(folder)], capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"no file system of its own: {done.stderr.decode().strip()} (root is needed)")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


# --- the course of every test ---------------------------------------------------------------------


def until_on(manager: Manager) -> None:
    """Let time pass until water runs."""
    haste = Haste(manager)
    ends = time.monotonic() + 60.0
    while not manager.on():
        assert time.monotonic() < ends, manager.log_text()[-3000:]
        haste.go_on()
        time.sleep(0.01)


def off_in_time(manager: Manager) -> None:
    """Wait for the lines to go off: by the deadline of what is open now, and a second."""
    longest_s = 60.0 / RATE  # no pulse of this plot is so long
    manager.until(lambda: not manager.on(), within_s=longest_s)
    time.sleep(0.3)


def keeps_on(manager: Manager, *, ends: datetime = END, restarts: bool = False) -> None:
    """Let time pass to the end of the day; start the daemon again where it ends itself."""
    haste = Haste(manager)
    deadline = time.monotonic() + 120.0
    while manager.page.now().wall_s < ends.timestamp() or manager.on():
        assert time.monotonic() < deadline, manager.log_text()[-3000:]
        assert manager.child is not None
        if manager.child.poll() is not None:
            assert restarts, manager.log_text()[-3000:]
            manager.stop_step()
            manager.started()
        haste.go_on()
        time.sleep(0.01)


def ended_well(manager: Manager) -> None:
    """SIGTERM, and no line on."""
    assert manager.terminate() == 0, manager.log_text()[-3000:]
    assert not manager.on()


def kept_every_deadline(manager: Manager) -> None:
    """By the recorder's own time no line was on for longer than its pulse and a second."""
    rows = {row.id: row for row in rows_of(manager.logbook)}
    for span in manager.recorder.spans(ON_LEVEL):
        assert span.end_s is not None
        assert span.meant is not None and len(span.meant) == 1, span
        planned_s = rows[span.meant[0]].planned_open_s
        assert planned_s is not None
        assert span.end_s - span.begin_s <= planned_s / RATE + LATE_S, (span, planned_s)


def gave_it_once(manager: Manager, calm_l: dict[int, float]) -> None:
    """Recorder's seconds at the pulses' own rates: as much as on the calm day, for each line."""
    rows = rows_of(manager.logbook)
    assert not [r for r in rows if r.state in (PulseState.OPEN, PulseState.INTENDED)]
    really_l = dict.fromkeys(calm_l, 0.0)
    cut = dict.fromkeys(calm_l, 0)
    by_id = {row.id: row for row in rows}
    for span in manager.recorder.spans(ON_LEVEL):
        assert span.end_s is not None and span.meant
        row = by_id[span.meant[0]]
        assert row.open_s is not None and row.litres is not None, row
        on_s = (span.end_s - span.begin_s) * RATE
        assert abs(on_s - row.open_s) < 0.5 * RATE, (row, on_s)
        really_l[span.line] += row.litres * on_s / max(row.open_s, 1e-9)
        cut[span.line] += on_s < (row.planned_open_s or 0.0) - 0.5 * RATE
    for line, litres in calm_l.items():
        # A dose may come in a pulse more or fewer than on the calm day, and each fills the line.
        allowed = FILL_L * (2 + cut[line]) + 0.05 * litres
        assert really_l[line] == pytest.approx(litres, abs=allowed), (line, really_l, calm_l, cut)


def said(manager: Manager, *words: str) -> None:
    """In the log, or among the happenings of the logbook."""
    told = manager.log_text()
    try:
        with Questions(manager.logbook) as ask:
            told += "\n".join(f"{h.kind}: {h.words}" for h in ask.happenings(200))
    except LogbookError:
        pass
    for each in words:
        assert each in told, told[-3000:]


# --- the misfortunes ------------------------------------------------------------------------------


def test_a_full_disk(
    make: Callable[..., Manager], tmp_path: Path, calm_l: dict[int, float]
) -> None:
    with mounted(tmp_path / "card", "-t", "tmpfs", "-o", "size=3m", "rowgate-test") as card:
        manager = make(card=card)
        manager.started()
        until_on(manager)
        filler = card / "filler"
        with filler.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
            while True:
                file.write(bytes(4096))
        off_in_time(manager)
        assert manager.child is not None and manager.child.poll() is None
        time.sleep(30.0 / RATE)
        status = manager.ask(ask="status")
        assert status["open"] == []
        said(manager, "disk is full")
        filler.unlink()
        keeps_on(manager)
        ended_well(manager)
        kept_every_deadline(manager)
        gave_it_once(manager, calm_l)


def test_a_card_that_turns_read_only(
    make: Callable[..., Manager], tmp_path: Path, calm_l: dict[int, float]
) -> None:
    # A real ext4 that finds a fault and goes read-only under open files, as a dying card does.
    image = tmp_path / "image"
    with image.open("wb") as file:
        file.truncate(16 * 2**20)
    if shutil.which("mkfs.ext4") is None:
        pytest.skip("no mkfs.ext4 here")
    subprocess.run(["mkfs.ext4", "-q", "-F", str(image)], check=True)
    with mounted(tmp_path / "card", "-o", "loop,errors=remount-ro", str(image)) as card:
        device = next(
            line.split()[0]
            for line in Path("/proc/mounts").read_text().splitlines()
            if line.split()[1] == str(card)
        )
        trigger = Path("/sys/fs/ext4") / Path(device).name / "trigger_fs_error"
        if not trigger.exists():
            pytest.skip("this kernel cannot be asked for an ext4 fault")
        manager = make(card=card)
        manager.started()
        until_on(manager)
        trigger.write_text("an invented fault\n")
        off_in_time(manager)
        time.sleep(20.0 / RATE)
        status = manager.ask_or_none(ask="status")
        assert status is None or status["open"] == []
        said(manager, "logbook")
        # Nobody can make this one writable again under open files: the board is started anew.
        manager.terminate()
        manager.stop_step()
        assert not manager.on()
        child = manager.start()  # on a read-only card it either waits or says why it cannot
        manager.until(lambda: child.poll() is not None or manager.hear().ready, 30.0)
        assert not manager.on()
        manager.kill()
        subprocess.run(["umount", str(card)], check=True)
        subprocess.run(["e2fsck", "-fy", str(image)], capture_output=True, check=False)
        subprocess.run(["mount", "-o", "loop,errors=remount-ro", str(image), str(card)], check=True)
        manager.stop_step()
        manager.started()
        keeps_on(manager)
        ended_well(manager)
        # What ran before the fault is credited to its last heartbeat: it may be given again.
        kept_every_deadline(manager)


def test_a_logbook_that_another_program_keeps_locked(
    make: Callable[..., Manager], calm_l: dict[int, float]
) -> None:
    manager = make()
    manager.started()
    until_on(manager)
    with closing(sqlite3.connect(manager.logbook, isolation_level=None, timeout=10.0)) as other:
        other.execute("BEGIN IMMEDIATE")
        off_in_time(manager)
        time.sleep(40.0 / RATE)
        assert manager.ask(ask="status")["open"] == []
        assert not manager.ask(ask="open", zone="leeks", seconds=3)["ok"]
        assert not manager.on()
        other.execute("ROLLBACK")
    said(manager, "logbook")
    keeps_on(manager)
    ended_well(manager)
    kept_every_deadline(manager)
    gave_it_once(manager, calm_l)


def test_no_file_descriptors_left(make: Callable[..., Manager], calm_l: dict[int, float]) -> None:
    manager = make()
    child = manager.started()
    until_on(manager)
    before = resource.prlimit(child.pid, resource.RLIMIT_NOFILE)
    resource.prlimit(child.pid, resource.RLIMIT_NOFILE, (3, before[1]))
    off_in_time(manager)
    time.sleep(10.0 / RATE)
    assert child.poll() is None, manager.log_text()[-3000:]
    resource.prlimit(child.pid, resource.RLIMIT_NOFILE, before)
    manager.until(lambda: manager.ask_or_none(ask="status"))
    keeps_on(manager, restarts=True)
    ended_well(manager)
    said(manager, "Too many open files")
    kept_every_deadline(manager)
    gave_it_once(manager, calm_l)


def test_no_memory_left(make: Callable[..., Manager], calm_l: dict[int, float]) -> None:
    manager = make()
    child = manager.started()
    until_on(manager)
    pages = int(Path(f"/proc/{child.pid}/statm").read_text().split()[0])
    before = resource.prlimit(child.pid, resource.RLIMIT_AS)
    resource.prlimit(child.pid, resource.RLIMIT_AS, (pages * resource.getpagesize(), before[1]))
    off_in_time(manager)
    time.sleep(30.0 / RATE)
    if child.poll() is None:
        resource.prlimit(child.pid, resource.RLIMIT_AS, before)
    keeps_on(manager, restarts=True)
    ended_well(manager)
    kept_every_deadline(manager)
    gave_it_once(manager, calm_l)


@pytest.mark.parametrize("hours", [-5.0, 3.0], ids=["back", "forward"])
def test_the_clock_is_set(make: Callable[..., Manager], hours: float) -> None:
    manager = make()
    manager.started()
    until_on(manager)
    manager.page.turn(wall_by_s=hours * 3600.0)
    off_in_time(manager)
    manager.until(lambda: not manager.ask(ask="status")["clock_believed"])
    on_before = len(manager.recorder.spans(ON_LEVEL))
    said(manager, "the clock jumped by")
    time.sleep(1.0)
    assert len(manager.recorder.spans(ON_LEVEL)) == on_before  # nothing opens while in doubt
    manager.page.turn(wall_by_s=-hours * 3600.0)
    # Both jumps were seen: only then does it run on in step.
    manager.until(lambda: manager.log_text().count("the clock jumped by") == 2)
    manager.page.turn(by_s=700.0)  # it has run on in step for long enough
    manager.until(lambda: manager.ask(ask="status")["clock_believed"])
    keeps_on(manager)
    ended_well(manager)
    kept_every_deadline(manager)


def test_the_board_sleeps_while_water_runs(make: Callable[..., Manager]) -> None:
    manager = make()
    child = manager.started()
    until_on(manager)
    manager.page.turn(asleep_s=3600.0)  # the waiting of every thread goes on where it stood
    woke_s = time.monotonic()
    manager.until(lambda: not manager.on(), within_s=30.0)
    assert time.monotonic() - woke_s < 1.0 / RATE + LATE_S
    manager.until(lambda: manager.ask(ask="status")["open"] == [])
    manager.until(lambda: manager.ask(ask="status")["board"]["slept_s"] == 3600.0)
    status = manager.ask(ask="status")
    assert status["clock_believed"]  # no jump: both clocks went on
    assert any("has slept for 60 min" in words for words in status["board"]["doubts"])
    keeps_on(manager)
    assert child.poll() is None, manager.log_text()[-3000:]  # nobody was taken for dead
    ended_well(manager)
    said(manager, "has slept for 60 min")
    # The whole hour is on record: water ran, and the bed's account has it.
    assert max(row.open_s or 0.0 for row in rows_of(manager.logbook)) > 3600.0


def test_the_sockets_folder_is_removed(
    make: Callable[..., Manager], calm_l: dict[int, float]
) -> None:
    manager = make()
    child = manager.started()
    until_on(manager)
    shutil.rmtree(manager.runtime)
    off_in_time(manager)
    assert child.poll() is None
    manager.runtime.mkdir()
    manager.until(lambda: manager.ask_or_none(ask="status"), within_s=30.0)
    keeps_on(manager)
    ended_well(manager)
    kept_every_deadline(manager)
    gave_it_once(manager, calm_l)


def test_the_logbook_is_deleted_under_it(make: Callable[..., Manager]) -> None:
    manager = make()
    manager.started()
    until_on(manager)
    planned_s = max(r.planned_open_s or 0.0 for r in rows_of(manager.logbook))
    for path in manager.state.glob("logbook.db*"):
        path.unlink()
    off_in_time(manager)
    spans = manager.recorder.spans(ON_LEVEL)
    assert all(s.end_s and s.end_s - s.begin_s <= planned_s / RATE + LATE_S for s in spans)
    manager.until(lambda: manager.logbook.exists(), within_s=120.0 / RATE)
    keeps_on(manager)
    ended_well(manager)
    said(manager, "logbook")
    # The new one knows of every opening since.
    late = [s for s in manager.recorder.spans(ON_LEVEL) if s.begin_s > spans[-1].begin_s]
    known = {row.id for row in rows_of(manager.logbook)}
    assert late and all(s.meant and set(s.meant) <= known for s in late)


def test_a_second_daemon_moves_no_line(
    make: Callable[..., Manager], calm_l: dict[int, float]
) -> None:
    manager = make()
    first = manager.started()
    until_on(manager)
    talkers = {c.who for c in manager.recorder.changes()}
    second = manager.start()
    assert second.wait(30.0) != 0
    assert {c.who for c in manager.recorder.changes()} == talkers
    said(manager, "a daemon runs on")
    manager.child, manager.ready = first, True
    off_in_time(manager)
    keeps_on(manager)
    assert first.poll() is None
    first.send_signal(signal.SIGTERM)
    assert first.wait(30.0) == 0
    kept_every_deadline(manager)
    gave_it_once(manager, calm_l)
