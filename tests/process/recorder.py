"""Another process that stands for the chip: it holds the lines, and writes down each change.

`python recorder.py SOCKET RECORD MODE [LOGBOOK]`. A process that asks owns the lines it takes; when
it is gone, however it went, its lines stay driven (MODE "persist") or are let go ("released"), as
the two kernels do. Each change is stamped by the recorder's own monotonic clock before it is
answered. Where a logbook is named, the recorder looks at each change of a level, before it
answers, which pulses are written down there as meant to open: the intent must be on disk before
water flows.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import selectors
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

PERSIST, RELEASED = "persist", "released"
PR_SET_PDEATHSIG = 1


@dataclass
class Chip:
    """The lines: level and owner of each; a line nobody drives rests at no level."""

    record: IO[str]
    mode: str
    logbook: str | None
    levels: dict[int, int | None] = field(default_factory=dict)
    owners: dict[int, int] = field(default_factory=dict)

    def answer(self, who: int, question: str) -> str:
        """Do what is asked."""
        if question.startswith("power off"):
            for number in list(self.levels):
                self._set(number, None, "power off", who)
            self.owners.clear()
            return "ok"
        what, number_text, value_text = question.split()
        number, value = int(number_text), int(value_text)
        owner = self.owners.get(number)
        if what == "read":
            return f"ok {self.levels.get(number) or 0}"
        if owner not in (None, who):
            return "GPIO busy"
        if what == "write" and owner is None:
            return "GPIO not allocated"
        if what == "input":
            self.owners[number] = who
            self._set(number, None, "input", who)
        else:
            self.owners[number] = who
            self._set(number, value, what, who)
        return "ok"

    def gone(self, who: int) -> None:
        """A process is gone."""
        for number, owner in list(self.owners.items()):
            if owner == who:
                del self.owners[number]
                if self.mode == RELEASED:
                    self._set(number, None, "let go", who)
        self._tell({"what": "gone", "who": who})

    def _set(self, number: int, level: int | None, what: str, who: int) -> None:
        stamp = time.monotonic()
        changed = self.levels.get(number) != level
        self.levels[number] = level
        told = {"what": what, "line": number, "level": level, "who": who, "real_s": stamp}
        if changed and what == "write" and self.logbook and os.path.exists(self.logbook):  # noqa: PTH110
            told["meant"] = self._meant(number)
        self._tell(told)

    def _meant(self, number: int) -> list[int] | str:
        try:
            with closing(sqlite3.connect(f"file:{self.logbook}?mode=ro", uri=True)) as book:
                rows = book.execute(
                    "SELECT id FROM pulses WHERE relay_line = ? AND state = 'intended'", [number]
                )
                return [row[0] for row in rows]
        except sqlite3.Error as fault:
            return str(fault)

    def _tell(self, told: dict[str, Any]) -> None:
        told.setdefault("real_s", time.monotonic())
        self.record.write(json.dumps(told) + "\n")
        self.record.flush()


def serve(path: str, record_path: str, mode: str, logbook: str | None) -> None:
    """Answer until killed."""
    selector = selectors.DefaultSelector()
    with open(record_path, "a", encoding="utf-8") as record:  # noqa: PTH123
        chip = Chip(record, mode, logbook)
        door = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        door.bind(path)
        door.listen(16)
        selector.register(door, selectors.EVENT_READ, 0)
        count = 0
        while True:
            # Who is gone is noticed before anybody new is let in.
            ready = sorted(selector.select(), key=lambda found: found[0].data == 0)
            for key, _ in ready:
                if key.data == 0:
                    count += 1
                    talker, _ = door.accept()
                    selector.register(talker, selectors.EVENT_READ, count)
                    continue
                talker = key.fileobj  # type: ignore[assignment]
                try:
                    question = talker.recv(256)
                except ConnectionResetError:
                    question = b""
                if question:
                    answer = chip.answer(key.data, question.decode())
                    with contextlib.suppress(OSError):  # it died over it; its end is read next
                        talker.send(answer.encode())
                else:
                    selector.unregister(talker)
                    talker.close()
                    chip.gone(key.data)


@dataclass(frozen=True, slots=True)
class Change:
    """One entry of the record."""

    what: str
    real_s: float
    who: int
    line: int = -1
    level: int | None = None
    meant: tuple[int, ...] | None = None  # None: not looked, or could not look


@dataclass(frozen=True, slots=True)
class OnSpan:
    """A stretch in which a line was on; `end_s` is None while it still is."""

    line: int
    begin_s: float
    end_s: float | None
    meant: tuple[int, ...] | None
    ended_by: str = ""


def die_with_parent() -> None:
    """In a child: its end if the tests end, so that nothing is left behind."""
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)


class Recorder:
    """The recorder process, started, and its record read."""

    def __init__(self, folder: Path, *, mode: str, logbook: Path | None = None) -> None:
        self.socket, self.record = folder / "chip", folder / "record.jsonl"
        self._changes: list[Change] = []
        self._levels: dict[int, int | None] = {}
        self._read_to = self._summed = 0
        words = [sys.executable, __file__, str(self.socket), str(self.record), mode]
        self.process = subprocess.Popen(
            words + ([str(logbook)] if logbook else []), preexec_fn=die_with_parent
        )
        ends = time.monotonic() + 20.0
        while not self.socket.exists():
            assert time.monotonic() < ends and self.process.poll() is None, "no recorder"
            time.sleep(0.01)

    def ask(self, question: str) -> str:
        """One question, from a process that owns nothing."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET) as line:
            line.connect(str(self.socket))
            line.send(question.encode())
            return line.recv(256).decode()

    def any_on(self, on_level: int) -> bool:
        """Whether a line is driven on now."""
        return any(level == on_level for level in self.levels().values())

    def changes(self) -> list[Change]:
        """All that was written down, read on from where it was read last."""
        if self.record.exists():
            with self.record.open("rb") as file:
                file.seek(self._read_to)
                for text in file:
                    if not text.endswith(b"\n"):
                        break
                    self._read_to += len(text)
                    told = json.loads(text)
                    meant = told.pop("meant", None)
                    looked = tuple(meant) if isinstance(meant, list) else None
                    self._changes.append(Change(**told, meant=looked))
        return self._changes

    def levels(self) -> dict[int, int | None]:
        """The level of each line now, by the record."""
        for change in self.changes()[self._summed :]:
            self._summed += 1
            if change.line >= 0:
                self._levels[change.line] = change.level
        return self._levels

    def spans(self, on_level: int) -> list[OnSpan]:
        """When which line was on. A line nobody drives is off: the relay's pull holds it so."""
        begun: dict[int, Change] = {}
        found: list[OnSpan] = []
        for change in self.changes():
            if change.line < 0:
                continue
            on = change.level == on_level
            if on and change.line not in begun:
                begun[change.line] = change
            elif not on and change.line in begun:
                first = begun.pop(change.line)
                found.append(
                    OnSpan(change.line, first.real_s, change.real_s, first.meant, change.what)
                )
        found += [OnSpan(line, c.real_s, None, c.meant) for line, c in begun.items()]
        return sorted(found, key=lambda span: span.begin_s)

    def close(self) -> None:
        """End the process."""
        self.process.kill()
        self.process.wait()


if __name__ == "__main__":
    serve(sys.argv[1], sys.argv[2], sys.argv[3], sys.argv[4] if len(sys.argv) > 4 else None)
