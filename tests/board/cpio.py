"""Files for the guest, as an archive that the kernel unpacks over its first file system."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path

Entry = tuple[str, int, bytes]  # path, mode, content
Extra = Mapping[str, Path | bytes]
_SKIP = {"__pycache__", ".git"}


def archive(entries: list[Entry]) -> bytes:
    """An archive in the form "newc" (the kernel's Documentation/driver-api/early-userspace)."""
    out = bytearray()
    for inode, (path, mode, data) in enumerate([*entries, ("TRAILER!!!", 0, b"")], 1):
        name = path.encode() + b"\0"
        numbers = (inode, mode, 0, 0, 1, 0, len(data), 0, 0, 0, 0, len(name), 0)
        out += b"070701" + b"".join(b"%08X" % number for number in numbers) + name
        out += b"\0" * (-len(out) % 4) + data
        out += b"\0" * (-len(out) % 4)
    out += b"\0" * (-len(out) % 512)
    return bytes(out)


def entries_of(extra: Extra) -> list[Entry]:
    """Everything in `extra` (path in the guest: a file or folder here, or bytes), under /extra."""
    entries: list[Entry] = [("extra", 0o40755, b"")]
    seen: set[str] = set()
    for path, source in extra.items():
        parts = path.strip("/").split("/")
        for depth in range(1, len(parts)):
            folder = "extra/" + "/".join(parts[:depth])
            if folder not in seen:
                seen.add(folder)
                entries.append((folder, 0o40755, b""))
        target = "extra/" + path.strip("/")
        if isinstance(source, bytes):
            entries.append((target, 0o100644, source))
        else:
            entries += _tree(source, target)
    return entries


def _tree(source: Path, target: str) -> Iterator[Entry]:
    if source.is_symlink():
        yield target, 0o120777, os.readlink(source).encode()  # noqa: PTH115 - as it is written
    elif source.is_dir():
        yield target, 0o40755, b""
        for inner in sorted(source.iterdir()):
            if inner.name not in _SKIP:
                yield from _tree(inner, f"{target}/{inner.name}")
    else:
        yield target, 0o100000 | (source.stat().st_mode & 0o777), source.read_bytes()
