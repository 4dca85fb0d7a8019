"""Who may note may not say what the stop step drives: real files, real modes, real users.

A member of the group writes in the state folder (mode 2770, as the unit makes it). What the stop
step and the next start believe lies in a folder of the daemon's own (mode 0700).
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
import signal
import socket
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.daemon_faults import TINY_GARDEN
from support.pins import RecordingPins
from support.users import (
    DAEMON,
    MEMBER,
    STRANGER,
    a_folder,
    as_user,
    needs_root,
    shared_machine,
)

from controller.clock import SystemClock
from controller.daemon.garden_reload import COPY_NAME
from controller.daemon.host.clock_trust import OVERRULED_NAME
from controller.daemon.host.process import Folders, OneDaemon, leave_to_others, warn_of_others
from controller.daemon.service import LOGBOOK_NAME, StandIns, run_service
from controller.daemon.valve_set import LINE_FILE
from controller.errors import DaemonError, GardenFileError
from controller.valves import alloff
from controller.valves.alloff import PRETENDED, SHUT_AT
from controller.valves.line import LineLimits

__all__ = ["shared_machine"]
STATE_MODE, OWN_MODE, UMASK = 0o2770, 0o700, 0o007  # of systemd/rowgate.service
LEEKS = [LineLimits(number=17, active_low=True, longest_open_s=60.0, most_open_s_per_day=600.0)]
OPENS_LEEKS = {"pins": "mock", "chip": None, "lines": [{"number": 17, "off_level": 0}]}
# What a stop step loads late is loaded before we are somebody else.
SystemClock().boot_id()  # real time: no time is asked


def daemon_lists(folder: Path) -> Path:
    """The list of lines, as the daemon writes it there."""
    path = folder / LINE_FILE
    as_user(DAEMON, lambda: alloff.write_line_file(path, LEEKS, "mock", None), umask=UMASK)
    return path


def stop_step(path: Path, by: int = DAEMON) -> tuple[int, dict[str, Any] | None]:
    """Its exit code, and the levels it drove; None where it drove nothing."""
    mark = path.with_name(PRETENDED)
    mark.unlink(missing_ok=True)
    code = as_user(by, lambda: alloff.main([str(path)]), umask=UMASK)
    return code, json.loads(mark.read_text())["off_levels"] if mark.exists() else None


def refused(number: int, do: Callable[[], object], by: int = MEMBER) -> None:
    with pytest.raises(OSError) as found:
        as_user(by, do)
    assert found.value.errno == number, found.value


# ---- the stop step believes a list that nobody else may have written --------------------------


@needs_root
def test_a_member_who_puts_another_list_in_its_place_is_not_believed(
    shared_machine: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    # In the folder of an older unit, which held the list, too. It was driven before: line 17, whose
    # relay is on at the low level, went to 0 when the daemon died.
    path = daemon_lists(a_folder(shared_machine / "state", DAEMON, STATE_MODE))
    assert stop_step(path) == (0, {"17": 1})
    refused(errno.EACCES, lambda: path.write_text(json.dumps(OPENS_LEEKS)))

    def replace() -> None:
        path.with_name("mine").write_text(json.dumps(OPENS_LEEKS))
        path.with_name("mine").replace(path)

    as_user(MEMBER, replace)
    capfd.readouterr()
    assert stop_step(path) == (1, None)
    told = capfd.readouterr().err
    assert f"it belongs to user {MEMBER}" in told
    assert "NO LINE WAS DRIVEN OFF: shut the tap" in told
    assert "the next start of the daemon drives every line of the garden file off" in told
    assert not path.with_name(SHUT_AT).exists() or path.with_name(SHUT_AT).stat().st_uid == DAEMON


@needs_root
@pytest.mark.parametrize("mode", [0o660, 0o646, 0o602])
def test_a_list_that_others_may_write_is_not_believed(
    shared_machine: Path, mode: int, capfd: pytest.CaptureFixture[str]
) -> None:
    # 660: as an older Rowgate wrote it.
    path = daemon_lists(a_folder(shared_machine / "state", DAEMON, STATE_MODE))
    path.chmod(mode)
    assert stop_step(path) == (1, None)
    assert f"others may write it (mode {mode:o})" in capfd.readouterr().err


@needs_root
@pytest.mark.parametrize("what", ["pipe", "link", "folder"])
def test_what_is_no_plain_file_is_not_believed_and_not_waited_for(
    shared_machine: Path, what: str, capfd: pytest.CaptureFixture[str]
) -> None:
    folder = a_folder(shared_machine / "state", DAEMON, STATE_MODE)
    older = daemon_lists(folder).rename(folder / "older.json")
    path = folder / LINE_FILE

    def put() -> None:
        if what == "pipe":
            os.mkfifo(path)
        elif what == "link":
            path.symlink_to(older)
        else:
            path.mkdir()

    as_user(DAEMON, put)
    assert stop_step(path) == (1, None)
    assert "NO LINE WAS DRIVEN OFF: shut the tap" in capfd.readouterr().err


@needs_root
def test_roots_list_and_a_look_by_root_are_believed(shared_machine: Path) -> None:
    own = a_folder(shared_machine / "own", DAEMON, OWN_MODE)
    path = daemon_lists(own)
    assert alloff.main([str(path)]) == 0  # as root, by hand: the folder's owner is believed
    os.chown(path, MEMBER, -1)
    assert alloff.main([str(path)]) == 1
    os.chown(path, 0, 0)
    path.chmod(0o644)
    (own / SHUT_AT).unlink()
    assert stop_step(path) == (0, {"17": 1})  # root wrote it: a walk without `sudo -u rowgate`


@needs_root
def test_whatever_the_umask_nobody_else_may_write_the_list(shared_machine: Path) -> None:
    folder = a_folder(shared_machine / "desk", MEMBER, 0o755)
    path = folder / LINE_FILE
    for umask in (0o000, 0o002, 0o022, 0o077):
        as_user(MEMBER, lambda: alloff.write_line_file(path, LEEKS, "mock", None), umask=umask)
        assert path.stat().st_mode & 0o022 == 0
        assert stop_step(path, by=MEMBER) == (0, {"17": 1})


@needs_root
def test_what_is_planted_where_the_list_is_written_is_not_followed(shared_machine: Path) -> None:
    folder = a_folder(shared_machine / "state", DAEMON, STATE_MODE)
    precious = folder / LOGBOOK_NAME
    as_user(DAEMON, lambda: precious.write_text("years"))
    as_user(MEMBER, lambda: (folder / f"{LINE_FILE}.new").symlink_to(precious))
    assert stop_step(daemon_lists(folder)) == (0, {"17": 1})
    assert precious.read_text() == "years"


# ---- the daemon's own folder ------------------------------------------------------------------


@needs_root
@pytest.mark.parametrize("by", [MEMBER, STRANGER])
def test_nobody_else_reads_replaces_removes_or_locks_what_lies_in_the_own_folder(
    shared_machine: Path, by: int
) -> None:
    own = a_folder(shared_machine / "rowgate-daemon", DAEMON, OWN_MODE)
    path = daemon_lists(own)
    for do in (
        lambda: path.read_text(),
        lambda: path.write_text("{}"),
        lambda: path.unlink(),
        lambda: (own / "mine").write_text("{}"),
        lambda: path.rename(own / "elsewhere"),
        lambda: own.rename(shared_machine / "elsewhere"),
        lambda: own.rmdir(),
        lambda: list(own.iterdir()),
        lambda: fcntl.flock(os.open(own, os.O_RDONLY), fcntl.LOCK_EX),
        lambda: (shared_machine / "rowgate-mine").mkdir(),
    ):
        refused(errno.EACCES, do, by)
    refused(errno.EPERM, lambda: own.chmod(0o777), by)
    assert stop_step(path) == (0, {"17": 1})


@needs_root
def test_the_daemon_leaves_the_older_files_of_the_shared_folder_unread(
    shared_machine: Path,
) -> None:
    state = a_folder(shared_machine / "state", DAEMON, STATE_MODE)
    own = a_folder(shared_machine / "own", DAEMON, OWN_MODE)
    as_user(MEMBER, lambda: (state / LINE_FILE).write_text(json.dumps(OPENS_LEEKS)))
    as_user(MEMBER, lambda: (state / "mine.txt").write_text("mine"))
    assert stop_step(own / LINE_FILE) == (0, None)  # no line was taken yet: nothing is driven
    as_user(DAEMON, lambda: leave_to_others(state, own, (LINE_FILE,)), umask=UMASK)
    assert sorted(path.name for path in state.iterdir()) == ["mine.txt", "weather-cache"]
    # People's `plan` keeps its weather there, whoever of them came first.
    as_user(MEMBER, lambda: (state / "weather-cache" / "an-answer").write_text("{}"))


@needs_root
def test_where_others_may_write_beside_the_list_it_is_said(
    shared_machine: Path, caplog: pytest.LogCaptureFixture
) -> None:
    warn_of_others(a_folder(shared_machine / "own", DAEMON, OWN_MODE))
    assert caplog.text == ""
    warn_of_others(a_folder(shared_machine / "state", DAEMON, STATE_MODE))
    assert "others may write in this folder" in caplog.text and "--own" in caplog.text


# ---- the daemon itself ------------------------------------------------------------------------


class Life:
    """One life of the daemon, told to end as soon as it is ready."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.state, self.own, self.runtime = folder / "state", folder / "own", folder / "run"
        self.pins = RecordingPins(HandClock())
        self.garden = folder / "garden.toml"
        self.garden.write_text(TINY_GARDEN, encoding="utf-8")

    def live(self, own: Path | None) -> int:
        self.pins = RecordingPins(HandClock())  # those before were let go
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
            (self.folder / "notify").unlink(missing_ok=True)
            manager.bind(str(self.folder / "notify"))
            manager.settimeout(60.0)
            ends = threading.Thread(target=_end_it, args=(manager,))
            ends.start()
            try:
                return run_service(
                    self.garden,
                    Folders(state=self.state, runtime=self.runtime, own=own or self.state),
                    pins="mock",
                    stand_ins=StandIns(driver=self.pins),
                    environ={"NOTIFY_SOCKET": str(self.folder / "notify")},
                )
            finally:
                with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
                    other.sendto(b"over", str(self.folder / "notify"))
                ends.join()


def _end_it(manager: socket.socket) -> None:
    while (heard := manager.recv(4096)) != b"over":
        if b"READY=1" in heard:
            os.kill(os.getpid(), signal.SIGTERM)


def test_with_a_folder_of_its_own_only_the_logbook_lies_in_the_shared_one(tmp_path: Path) -> None:
    life = Life(tmp_path)
    life.state.mkdir()
    # What an older Rowgate left, or somebody put there since: lines and a garden of their making.
    (life.state / LINE_FILE).write_text(json.dumps(OPENS_LEEKS))
    (life.state / SHUT_AT).write_text("{}")
    (life.state / COPY_NAME).write_text(TINY_GARDEN.replace("relay = 17", "relay = 5"))
    (life.state / OVERRULED_NAME).write_text("2099-01-01T00:00:00+00:00")
    (life.state / "daemon.lock").touch()
    assert life.live(life.own) == 0
    assert {p.name for p in life.state.iterdir()} - {"weather-cache"} <= {
        LOGBOOK_NAME,
        f"{LOGBOOK_NAME}-wal",
        f"{LOGBOOK_NAME}-shm",
    }
    assert {LINE_FILE, COPY_NAME} <= {p.name for p in life.own.iterdir()}
    assert life.own.stat().st_mode & 0o777 == 0o700
    assert (life.own / COPY_NAME).read_text() == TINY_GARDEN
    assert {move.number for move in life.pins.moves} <= {17}


def test_the_last_good_copy_of_the_shared_folder_is_not_believed_and_not_lost(
    tmp_path: Path,
) -> None:
    life = Life(tmp_path)
    life.state.mkdir()
    (life.state / COPY_NAME).write_text(TINY_GARDEN)
    life.garden.write_text("[site]\nname = 3\n")
    with pytest.raises(GardenFileError):
        life.live(life.own)
    assert (life.state / COPY_NAME).read_text() == TINY_GARDEN
    assert life.pins.moves == []


@needs_root
def test_a_start_takes_no_line_that_only_a_list_of_others_names(tmp_path: Path) -> None:
    life = Life(tmp_path)
    life.own.mkdir(0o700)
    told = {"pins": "mock", "chip": None, "lines": [{"number": 5, "off_level": 0}]}
    (life.own / LINE_FILE).write_text(json.dumps(told))
    os.chown(life.own / LINE_FILE, MEMBER, -1)
    claimed: list[int] = []
    claim = RecordingPins.claim

    def seen(self: RecordingPins, number: int, active_low: bool) -> None:
        claimed.append(number)
        claim(self, number, active_low)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(RecordingPins, "claim", seen)
        assert life.live(life.own) == 0
    assert claimed == [17]


def test_at_a_desk_one_folder_holds_all(tmp_path: Path) -> None:
    life = Life(tmp_path)
    assert life.live(None) == 0
    assert {LINE_FILE, COPY_NAME, LOGBOOK_NAME} <= {p.name for p in life.state.iterdir()}
    assert not life.own.exists()
    assert alloff.main([str(life.state / LINE_FILE)]) == 0
    life.garden.write_text("[site]\nname = 3\n")  # the copy waters on, as it always did
    assert life.live(None) == 0


@pytest.mark.parametrize("locked", ["own", "state", "run"])
def test_a_daemon_that_shares_any_of_its_folders_is_refused(tmp_path: Path, locked: str) -> None:
    life = Life(tmp_path)
    (tmp_path / locked).mkdir()
    with (
        OneDaemon(tmp_path / locked),
        pytest.raises(DaemonError, match=f"{locked} already; there can be only one"),
    ):
        life.live(life.own)
    assert life.pins.moves == []
