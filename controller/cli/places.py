"""Where things are when nobody names them: the garden file, its logbook, the running daemon.

This module is kept small: a request to the daemon imports it, and starts at once.
"""

from __future__ import annotations

import argparse
import os
import stat
import sys
from pathlib import Path

from controller.daemon.control.protocol import SOCKET_NAME
from controller.errors import InputError

GARDEN_NAME = "garden.toml"
SYSTEM_GARDEN = Path("/etc/rowgate/garden.toml")  # these three: docs/install.md
SYSTEM_STATE = Path("/var/lib/rowgate")
SYSTEM_RUNTIME = Path("/run/rowgate")
SOCKETS = Path("/proc/net/unix")
_LISTENS = 0x10000  # __SO_ACCEPTCON in the flags of /proc/net/unix, proc(5)
_LONGEST_SOCKET = 107  # bytes of a socket's path, unix(7)


def find_garden(args: argparse.Namespace) -> Path | None:
    """The garden file: the named one, ROWGATE_GARDEN, in this folder or above, the system's.

    A folder above that everybody may write in, such as /tmp, is passed over: anybody could have
    put the file there.

    Raises
    ------
    InputError
        If ROWGATE_GARDEN names a file that is not there.
    """
    if named := getattr(args, "garden", None):
        return Path(named)
    if named := os.environ.get("ROWGATE_GARDEN"):
        if not Path(named).is_file():
            raise InputError(f"ROWGATE_GARDEN names {named}, and there is no such file")
        return Path(named)
    if os.path.isfile(GARDEN_NAME):  # noqa: PTH113 (no error where this folder is gone)
        return Path(GARDEN_NAME)
    try:
        above = Path.cwd().parents
    except OSError:
        above = ()
    for folder in above:
        if os.access(folder / GARDEN_NAME, os.R_OK) and not folder.stat().st_mode & stat.S_IWOTH:
            return folder / GARDEN_NAME
    return SYSTEM_GARDEN if os.access(SYSTEM_GARDEN, os.R_OK) else None


def need_garden(args: argparse.Namespace, why: str) -> Path:
    """The garden file, for what the example cannot do; InputError without one."""
    found = find_garden(args)
    if found is None:
        raise InputError(
            f"no {GARDEN_NAME} in this folder or above; name your garden file with --garden FILE "
            f"or in ROWGATE_GARDEN; {why}"
        )
    say_found(args, found)
    args.garden = str(found)
    return found


def say_found(args: argparse.Namespace, garden: Path) -> None:
    """Say on stderr which garden file it is, where it was found outside this folder."""
    if garden.is_absolute() and not args.garden:
        print(f"Garden file: {garden}", file=sys.stderr)


def state_beside(garden: Path) -> Path:
    """The logbook's folder where none is named: the garden file's, or the system's for its file."""
    is_system = garden == SYSTEM_GARDEN and os.access(SYSTEM_STATE, os.X_OK)
    return SYSTEM_STATE if is_system else garden.parent


def find_daemon(args: argparse.Namespace) -> Path:
    """The folder of the socket of the daemon that is meant, from whatever folder it is asked.

    The named one; the one beside the named garden file or in ROWGATE_STATE; the only one that runs;
    of several that beside the garden file found here.

    Raises
    ------
    InputError
        If several run and it is not clear which is meant.
    """
    if args.runtime:
        return Path(args.runtime)
    state, named = os.environ.get("ROWGATE_STATE"), getattr(args, "garden", None)
    if state and not named and _is_socket(Path(state) / SOCKET_NAME):
        return Path(state)
    running = running_daemons()
    if len(running) == 1 and not named:
        return running[0]
    garden = find_garden(args)
    beside = None if garden is None else Path(os.path.abspath(garden)).parent  # noqa: PTH100
    if beside is not None and beside in running:
        return beside
    if named and beside is not None and garden != SYSTEM_GARDEN:
        return beside  # nobody listens there, and the error says where that is
    if len(running) > 1:
        folders = ", ".join(str(folder) for folder in running)
        raise InputError(f"several daemons run; say which by --runtime FOLDER: {folders}")
    if running:
        return running[0]
    return SYSTEM_RUNTIME if SYSTEM_RUNTIME.is_dir() else Path()


def running_daemons() -> list[Path]:
    """The folders of all daemons that listen here: the system's, and those of this user or root.

    Others' are left out: whoever has an account could open a socket of that name, and answer.

    Source
    ------
    /proc/net/unix, proc(5): a line for each socket; flags fourth, its path last.
    """
    try:
        lines = SOCKETS.read_text(encoding="utf-8", errors="surrogateescape").splitlines()[1:]
    except OSError:
        lines = []
    found = {SYSTEM_RUNTIME} if _is_socket(SYSTEM_RUNTIME / SOCKET_NAME) else set()
    for line in lines:
        words = line.split(maxsplit=7)
        if len(words) == 8 and int(words[3], 16) & _LISTENS:
            path = Path(words[7])
            if path.name == SOCKET_NAME and path.is_absolute() and _may_be_trusted(path):
                found.add(path.parent)
    return sorted(found)


def daemon_folders(*folders: Path) -> list[Path]:
    """The folders of a new daemon, absolute, so that its socket is found from any other folder.

    As given where the path to the socket would be longer than the kernel allows.
    """
    whole = [Path(os.path.abspath(folder)) for folder in folders]  # noqa: PTH100 (links stay)
    too_long = any(len(os.fsencode(f / SOCKET_NAME)) > _LONGEST_SOCKET for f in whole)
    return list(folders) if too_long else whole


def _is_socket(path: Path) -> bool:
    try:
        return stat.S_ISSOCK(path.lstat().st_mode)
    except OSError:
        return False


def _may_be_trusted(path: Path) -> bool:
    if path.parent == SYSTEM_RUNTIME:
        return True
    try:
        return path.lstat().st_uid in (os.getuid(), 0)
    except OSError:
        return False
