"""Something done as another user of this machine, with real files and modes; needs root."""

from __future__ import annotations

import json
import os
import tempfile
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from shutil import rmtree
from typing import Any

import pytest

# Numbers that no user of the machine has to have: the daemon, its group, and two people, of whom
# the first is in that group.
DAEMON, GROUP, MEMBER, STRANGER = 61001, 61000, 61002, 61003
needs_root = pytest.mark.skipif(os.geteuid() != 0, reason="only root may act as another user")


def as_user(uid: int, do: Callable[[], Any], *, umask: int = 0o022) -> Any:
    """What `do` gives as JSON, done by that user in a process of its own; its faults are ours.

    Import what `do` needs beforehand: that user may not read where it lies.
    """
    ours, theirs = os.pipe()
    child = os.fork()
    if child == 0:
        told: dict[str, Any]
        try:
            os.setgroups([GROUP] if uid in (DAEMON, MEMBER) else [])
            os.setgid(GROUP if uid == DAEMON else uid)
            os.setuid(uid)
            os.umask(umask)
            os.chdir("/")
            told = {"gives": do()}
        except OSError as fault:
            told = {"errno": fault.errno, "words": str(fault)}
        except BaseException:  # noqa: BLE001 - told to the parent
            told = {"mistake": traceback.format_exc()}
        os.write(theirs, json.dumps(told).encode())
        os._exit(0)
    os.close(theirs)
    with os.fdopen(ours, encoding="utf-8") as pipe:
        found = json.loads(pipe.read())
    os.waitpid(child, 0)
    if "mistake" in found:
        raise AssertionError(found["mistake"])
    if "errno" in found:
        raise OSError(found["errno"], found["words"])
    return found["gives"]


def a_folder(path: Path, owner: int, mode: int) -> Path:
    """A folder of that owner and the daemon's group."""
    path.mkdir()
    os.chown(path, owner, GROUP)
    path.chmod(mode)
    return path


@pytest.fixture
def shared_machine() -> Iterator[Path]:
    """A folder that everybody may pass through, and only root may write in."""
    folder = Path(tempfile.mkdtemp(prefix="rowgate-users-"))
    folder.chmod(0o755)
    yield folder
    rmtree(folder)
