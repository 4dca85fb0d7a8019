"""run, status, open, close, resume, hold: run the daemon, and send requests to it.

A request imports no garden, no pipes and no crops: on a small board those take seconds.
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import Any

from controller.cli.output import print_json, to_stderr
from controller.cli.places import (
    SYSTEM_RUNTIME,
    daemon_folders,
    find_daemon,
    need_garden,
    state_beside,
)
from controller.daemon.control.protocol import SHORTEST_HOLD_S, SHORTEST_OPEN_S, ask
from controller.errors import InputError


def run(args: argparse.Namespace) -> int:
    """Run the daemon until a signal ends it."""
    from controller.daemon.host.process import Folders
    from controller.daemon.service import run_service

    path = need_garden(args, "the daemon never waters the example")
    folder = Path(args.state) if args.state else state_beside(path)
    own = Path(args.own) if args.own else folder
    state, runtime, own = daemon_folders(folder, runtime_dir(args, folder), own)
    folders = Folders(state=state, runtime=runtime, own=own)
    return run_service(path, folders, pins=args.pins, leave=os._exit)


def status(args: argparse.Namespace) -> int:
    """Print the daemon's status; exit 1 where the garden file has a fault."""
    answer = ask(_daemon(args), {"ask": "status"})
    if args.json:
        print_json(answer)
    else:
        from controller.paper.status import status_text

        print(status_text(answer), end="")
    return 1 if answer.get("garden_faults") else 0


def open_zone(args: argparse.Namespace) -> int:
    """Open a zone for some minutes."""
    if not SHORTEST_OPEN_S <= args.minutes * 60.0 <= 24 * 3600.0:
        raise InputError(f"--minutes {args.minutes:g}: allowed is 0.02, a second, up to 1440")
    return _send(args, {"ask": "open", "zone": args.zone, "seconds": args.minutes * 60.0})


def close_zone(args: argparse.Namespace) -> int:
    """Close a zone, or all."""
    return _send(args, {"ask": "close", "zone": args.zone})


def resume(args: argparse.Namespace) -> int:
    """Let the rest of today, which a close ended, be planned anew."""
    return _send(args, {"ask": "resume", "zone": args.zone})


def reset(args: argparse.Namespace) -> int:
    """Let a line that disobeyed open again, once somebody looked at it."""
    return _send(args, {"ask": "reset", "zone": args.zone})


def hold(args: argparse.Namespace) -> int:
    """Begin a hold, or lift those in force."""
    if args.lift:
        return _send(args, {"ask": "lift"})
    hours = 24.0 if args.hours is None else args.hours
    if not SHORTEST_HOLD_S <= hours * 3600.0 <= 366 * 86_400.0:
        raise InputError(f"--hours {hours:g}: allowed is 0.02, which is a minute, to a year")
    return _send(
        args, {"ask": "hold", "hours": hours, "zones": args.zone or [], "reason": args.reason}
    )


def _send(args: argparse.Namespace, request: dict[str, Any]) -> int:
    answer = ask(_daemon(args), request)
    if getattr(args, "json", False):
        print_json(answer)
    else:
        to_stderr(str(answer.get("words", "done")))
    return 0 if answer.get("ok") else 1


def _daemon(args: argparse.Namespace) -> Path:
    """The folder of the daemon's socket; said where a search beyond this folder found it."""
    folder = find_daemon(args)
    if not args.runtime and folder != SYSTEM_RUNTIME and not _is_here(folder):
        to_stderr(f"Daemon in {folder}")
    return folder


def _is_here(folder: Path) -> bool:
    try:
        return folder.samefile(Path())
    except OSError:
        return False


def runtime_dir(args: argparse.Namespace, folder: Path) -> Path:
    """The folder of this garden's socket: the named one, the system's, else the state folder."""
    if args.runtime:
        return Path(args.runtime)
    return SYSTEM_RUNTIME if SYSTEM_RUNTIME.is_dir() else folder
