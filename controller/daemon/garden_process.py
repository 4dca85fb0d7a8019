"""Reads the garden file in a process of its own.

Reading takes some 20 MB that are not needed afterwards; they go with the process, and only the
garden comes back. Where no such process can be had, or it ends without an answer, the file is read
here. This module stands apart from `garden_reload`: the process imports it and no more.
"""

from __future__ import annotations

import logging
import pickle
import subprocess
import sys

from controller.errors import GardenFileError, InputError, RowgateError
from controller.garden.model import Garden

WITHIN_S = 60.0  # a big file on a busy small board takes some seconds; our choice
_LOG = logging.getLogger("rowgate.garden")


def read_apart(text: str, path: str) -> Garden:
    """The garden of this text; `path` only names it in the faults.

    Raises
    ------
    GardenFileError
        With every fault, unknown crops and soils among them.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "controller.daemon.garden_process", path],
            input=text.encode("utf-8", "surrogatepass"),
            stdout=subprocess.PIPE,
            timeout=WITHIN_S,
            check=True,
        )
        outcome = pickle.loads(done.stdout)  # from our own child
    except (OSError, subprocess.SubprocessError, pickle.UnpicklingError, EOFError) as fault:
        _LOG.warning("the garden file is read in the daemon itself: %s", fault)
        outcome = _outcome_of(text, path)
    if isinstance(outcome, Garden):
        return outcome
    if isinstance(outcome, tuple):
        raise GardenFileError(outcome)
    raise InputError(outcome)


def _outcome_of(text: str, path: str) -> Garden | tuple[str, ...] | str:
    """The garden, or its faults, or what else is wrong."""
    # Imported here: this is what takes so much.
    from controller.inputs.garden_loader import garden_from_text
    from crops.catalogue import load

    try:
        return garden_from_text(text, path, load())
    except GardenFileError as fault:
        return fault.faults
    except RowgateError as fault:
        return str(fault)


def main() -> int:
    """Run the process: text in, garden out."""
    text = sys.stdin.buffer.read().decode("utf-8", "surrogatepass")
    outcome = pickle.dumps(_outcome_of(text, sys.argv[1]), pickle.HIGHEST_PROTOCOL)
    sys.stdout.buffer.write(outcome)
    return 0


if __name__ == "__main__":
    sys.exit(main())
