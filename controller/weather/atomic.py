"""A file is there whole, or as it was before: never half."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write beside `path`, force it to the disk, then rename over it; OSError if that fails."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)  # the rename itself must outlive a power cut
    finally:
        os.close(folder)
