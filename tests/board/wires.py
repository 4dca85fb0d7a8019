"""The three wires to the emulated board: serial line, the emulator's monitor, the chip itself."""

from __future__ import annotations

import contextlib
import json
import os
import queue
import socket
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

GPIO_BASE = 0x3F200000  # BCM2837: GPFSEL0..5 at +0x00, GPSET0 +0x1c, GPCLR0 +0x28, GPLEV0 +0x34
TIMER_PENDING = 0x40000060  # of each core, four bytes apart
GPIO_CHIP = "/machine/soc/peripherals/gpio"


class BoardError(Exception):
    """The board, or what it should have done, is not as the test needs it."""


def connected(path: Path, *, within_s: float = 20.0) -> socket.socket:
    """A stream to the socket that the emulator makes at its start."""
    deadline = time.monotonic() + within_s
    while True:
        wire = socket.socket(socket.AF_UNIX)
        try:
            wire.connect(os.fspath(path))
            return wire
        except OSError:
            wire.close()
            if time.monotonic() > deadline:
                raise
            time.sleep(0.02)


class AgentWire:
    """The serial line to the agent in the guest.

    A thread reads it all the time: were nobody to read, the emulator would stop the whole guest as
    soon as the socket's small buffer is full.
    """

    def __init__(self, path: Path) -> None:
        self._wire = connected(path)
        self._asked = 0
        self._waiting: dict[str, queue.Queue[dict[str, Any] | None]] = {}
        self._lock = threading.Lock()
        self._closed = False
        self._tag = f"{os.getpid()}-{time.monotonic_ns()}"
        threading.Thread(target=self._read, daemon=True).start()

    def ask(self, request: dict[str, Any], *, within_s: float) -> dict[str, Any]:
        """Ask, and wait for the answer; TimeoutError if none comes."""
        if self._closed:
            raise BoardError("the board is off")
        with self._lock:
            self._asked += 1
            name = f"{self._tag}-{self._asked}"
        box = self._waiting[name] = queue.Queue()
        try:
            self.tell(request | {"id": name})
            answer = box.get(timeout=within_s)
        except queue.Empty:
            self._waiting.pop(name, None)
            raise TimeoutError(f"no answer from the guest in {within_s} s") from None
        except OSError as fault:
            raise BoardError(f"the board is off: {fault}") from None
        if answer is None:
            raise BoardError("the board went off")
        if "error" in answer:
            raise BoardError(f"{request}: {answer['error']}"[:2000])
        return answer

    def tell(self, request: dict[str, Any]) -> None:
        """Ask for something and wait for nothing."""
        with self._lock:
            self._wire.sendall(b"\n" + json.dumps(request).encode() + b"\n")

    def close(self) -> None:
        """Let go of the line."""
        self._closed = True
        with contextlib.suppress(OSError):
            self._wire.shutdown(socket.SHUT_RDWR)
        self._wire.close()

    def _read(self) -> None:
        kept = b""
        while True:
            try:
                came = self._wire.recv(65536)
            except OSError:
                came = b""
            if not came:
                break
            kept += came
            while b"\n" in kept:
                line, kept = kept.split(b"\n", 1)
                self._take(line)
        self._closed = True
        for box in list(self._waiting.values()):
            box.put(None)

    def _take(self, line: bytes) -> None:
        try:
            answer = json.loads(line)
        except ValueError:
            return
        # A request of our own comes back while the port of a booting guest still echoes.
        if isinstance(answer, dict) and "op" not in answer:
            box = self._waiting.pop(str(answer.get("id")), None)
            if box is not None:
                box.put(answer)


class MonitorWire:
    """The emulator's monitor, which speaks JSON."""

    def __init__(self, path: Path) -> None:
        self._wire = connected(path)
        self._wire.settimeout(20)
        self._lines = self._wire.makefile("rb")
        self._lock = threading.Lock()
        self._next()
        self.ask("qmp_capabilities")

    def ask(self, command: str, **arguments: Any) -> Any:
        """One command; what it returns. Events that come in between are let go by."""
        with self._lock:
            asked = {"execute": command, "arguments": arguments}
            self._wire.sendall(json.dumps(asked).encode() + b"\n")
            while True:
                answer = json.loads(self._next())
                if "error" in answer:
                    raise BoardError(f"{command}: {answer['error']}")
                if "return" in answer:
                    return answer["return"]

    def _next(self) -> bytes:
        line = self._lines.readline()
        if not line:
            raise BoardError("the board is off")
        return line

    def close(self) -> None:
        """Let go of the wire."""
        self._wire.close()


@dataclass(frozen=True, slots=True)
class Edge:
    """The chip changed the level of an output, at this moment of the test's monotonic clock."""

    at_s: float
    line: int
    high: bool


class ChipWire:
    """The emulated chip's registers, read from outside; no code of the guest runs for it.

    Besides, the chip tells of every change of level of a pin that is an output, however short: what
    a look every few milliseconds would miss. It takes a pin to be low when the wire is connected,
    so that it does not tell of a first fall, but of each rise after it.
    """

    def __init__(self, path: Path) -> None:
        self._wire = connected(path)
        self._answers: queue.Queue[bytes | None] = queue.Queue()
        self._lock = threading.Lock()
        self.edges: list[Edge] = []
        threading.Thread(target=self._read, daemon=True).start()
        self._ask(f"irq_intercept_out {GPIO_CHIP}")

    def read(self, address: int) -> int:
        """A register."""
        return int(self._ask(f"readl {address:#x}")[1], 16)

    def write(self, address: int, value: int) -> None:
        """Set a register."""
        self._ask(f"writel {address:#x} {value:#x}")

    def gpio(self) -> list[int]:
        """The six words of functions and the two of levels."""
        with self._lock:
            return [
                int(self._asked(f"readl {GPIO_BASE + offset:#x}")[1], 16)
                for offset in (0, 4, 8, 12, 16, 20, 0x34, 0x38)
            ]

    def _ask(self, words: str) -> list[bytes]:
        with self._lock:
            return self._asked(words)

    def _asked(self, words: str) -> list[bytes]:
        try:
            self._wire.sendall(words.encode() + b"\n")
            answer = self._answers.get(timeout=20)
        except (OSError, queue.Empty) as fault:
            raise BoardError(f"the board is off: {fault}") from None
        if answer is None:
            self._answers.put(None)
            raise BoardError("the board is off")
        told = answer.split()
        if told[0] != b"OK":
            raise BoardError(f"{words}: {answer!r}")
        return told

    def _read(self) -> None:
        kept = b""
        while True:
            try:
                came = self._wire.recv(65536)
            except OSError:
                came = b""
            if not came:
                break
            now = time.monotonic()
            kept += came
            while b"\n" in kept:
                line, kept = kept.split(b"\n", 1)
                if line.startswith(b"IRQ"):
                    _, which, number = line.split()
                    self.edges.append(Edge(now, int(number), which == b"raise"))
                else:
                    self._answers.put(line)
        self._answers.put(None)

    def close(self) -> None:
        """Let go of the wire."""
        with contextlib.suppress(OSError):
            self._wire.shutdown(socket.SHUT_RDWR)
        self._wire.close()


def state_of(words: list[int], number: int) -> str:
    """'high' or 'low': driven so. 'float': an input. 'alt': in use by a peripheral."""
    function = (words[number // 10] >> 3 * (number % 10)) & 7
    level = (words[6 + number // 32] >> number % 32) & 1
    if function == 1:
        return "high" if level else "low"
    return "float" if function == 0 else "alt"
