"""A single-board computer in an emulator: power, snapshots, commands in it, its pins from outside.

A Raspberry Pi 3B as QEMU has it (`-M raspi3b`, software only), with the files of `build-image`: a
real kernel with its own pin driver, real systemd, real lgpio. It has no clock battery and no
network. What it cannot show: pulls of the pins, edges on inputs, the hardware watchdog (softdog
stands in), torn sectors, and speed: its processor is some 15 times slower than a desk computer's.
"""

from __future__ import annotations

import base64
import ctypes
import os
import random
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from board.cpio import Extra, archive, entries_of
from board.watch import Watch
from board.wires import (
    GPIO_BASE,
    TIMER_PENDING,
    AgentWire,
    BoardError,
    ChipWire,
    MonitorWire,
    state_of,
)

EMULATOR = "qemu-system-aarch64"
FILES = ("base.img", "vmlinuz", "initrd.cpio", "board.dtb")
PR_SET_PDEATHSIG = 1
KERNEL_WORDS = (
    "console=ttyS1,115200 root=/dev/mmcblk0 rw loglevel=4 systemd.show_status=0 net.ifnames=0 "
    "audit=0 apparmor=0 selinux=0 cma=4M rcupdate.rcu_cpu_stall_suppress=1 panic=1"
)


@dataclass(frozen=True, slots=True)
class Result:
    """What a command in the guest came to; both outputs together."""

    rc: int
    out: str
    seconds: float


def cache_dir() -> Path:
    """Where `build-image` puts what it builds."""
    named = os.environ.get("BOARD_CACHE")
    return Path(named) if named else Path.home() / ".cache" / "rowgate-board"


def copy_sparse(source: Path, target: Path) -> None:
    """Copy a disk, its empty parts left out; the target is there whole or not at all."""
    unfinished = target.with_name(target.name + ".new")
    subprocess.run(["cp", "--sparse=always", "--reflink=auto", source, unfinished], check=True)
    unfinished.rename(target)


class Board:
    """One board. Its folder keeps its disk and logs: after a power cut the disk is as it was.

    `persist`: None for the mainline kernel's own rule, by which a freed output turns into an input;
    True for what the system of most such boards does: a freed output keeps its level.
    """

    def __init__(self, folder: Path, *, persist: bool | None = None, words: str = "") -> None:
        self.folder, self.persist, self.words = folder, persist, words
        folder.mkdir(parents=True, exist_ok=True)
        self.disk, self.console_path = folder / "disk.img", folder / "console.log"
        self._process: subprocess.Popen[bytes] | None = None
        self._sockets: Path | None = None
        self._agent: AgentWire | None = None
        self._monitor: MonitorWire | None = None
        self._chip: ChipWire | None = None
        self.on_since_s = 0.0

    def __enter__(self) -> Board:
        return self

    def __exit__(self, *_: object) -> None:
        self.cut_power()

    # --- power ---------------------------------------------------------------------------------

    def start(
        self,
        *,
        disk: Path | None = None,
        extra: Extra | None = None,
        words: str = "",
        snapshot: Path | None = None,
    ) -> None:
        """Power on; returns at once.

        `disk` is copied if this board has none yet; `extra` is written to it before systemd starts.
        `snapshot`, which save() wrote, goes on from there, with the disk as it was.
        """
        assert not self.running, "it is on already"
        if snapshot is not None:
            copy_sparse(snapshot / "disk.img", self.disk)
        elif not self.disk.exists():
            copy_sparse(disk or cache_dir() / "base.img", self.disk)
        self._sockets = Path(tempfile.mkdtemp(prefix="board"))  # a socket's path must be short
        command = self._command(self._initrd(extra), words)
        if snapshot is not None:
            command += ["-incoming", f"exec:cat '{snapshot.resolve() / 'state'}'"]
        self.on_since_s = time.monotonic()
        with (self.folder / "qemu.log").open("ab") as log:
            self._process = subprocess.Popen(
                command, stdin=subprocess.DEVNULL, stdout=log, stderr=log, preexec_fn=_tied
            )
        self._connect()
        if snapshot is not None:
            self._resume()

    def cut_power(self) -> None:
        """Pull the plug: what the guest had not yet written to its card is gone."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
        self._gone(20)

    def shut_down(self, within_s: float = 90.0) -> float:
        """An orderly end, through systemd; the seconds it took."""
        begun_s = time.monotonic()
        self._hand.tell({"id": "off", "op": "run", "cmd": "systemctl poweroff"})
        self._gone(within_s)
        return time.monotonic() - begun_s

    def wait_reset(self, within_s: float = 60.0) -> float:
        """Until the guest resets itself; start() is then what a real board would do next."""
        begun_s = time.monotonic()
        self._gone(within_s)
        return time.monotonic() - begun_s

    @property
    def running(self) -> bool:
        """Whether it has power and the emulator lives."""
        return self._process is not None and self._process.poll() is None

    def save(self, folder: Path) -> None:
        """Save the running board, memory and disk, for start(snapshot=...); it runs on."""
        folder.mkdir(parents=True, exist_ok=True)
        self.run("sync")
        assert self._monitor is not None and self._chip is not None
        for _ in range(400):
            self._monitor.ask("stop")
            # The emulator forgets an interrupt that is pending: a core's timer would stay silent.
            if not any(self._chip.read(TIMER_PENDING + 4 * core) for core in range(4)):
                break
            self._monitor.ask("cont")
            time.sleep(random.uniform(0.01, 0.1))
        else:
            raise BoardError("no quiet moment for a snapshot")
        self._monitor.ask("migrate", uri=f"exec:cat > '{folder.resolve() / 'state'}'")
        while (found := self._monitor.ask("query-migrate").get("status")) != "completed":
            if found == "failed":
                raise BoardError("the snapshot failed")
            time.sleep(0.05)
        copy_sparse(self.disk, folder / "disk.img")
        self._monitor.ask("cont")

    # --- in the guest ----------------------------------------------------------------------------

    def wait_agent(self, within_s: float = 400.0) -> float:
        """Until the agent answers; seconds since power-on."""
        deadline = time.monotonic() + within_s
        while time.monotonic() < deadline:
            if not self.running:
                raise BoardError(f"the emulator ended: {self._tail('qemu.log')}")
            try:
                self._hand.ask({"op": "ping"}, within_s=2)
                return time.monotonic() - self.on_since_s
            except TimeoutError:
                pass
        raise BoardError(f"no agent after {within_s} s; console: {self._tail('console.log')}")

    def wait_booted(self, within_s: float = 500.0) -> float:
        """Until systemd has done its start jobs; seconds since power-on."""
        self.wait_agent(within_s)
        state = self.run("systemctl is-system-running --wait", within_s=within_s, check=False)
        if state.out.strip() not in ("running", "degraded"):
            raise BoardError(f"the system is {state.out.strip()!r}")
        return time.monotonic() - self.on_since_s

    def run(self, command: str, *, within_s: float = 60.0, check: bool = True) -> Result:
        """A bash command as root."""
        begun_s = time.monotonic()
        request = {"op": "run", "cmd": command, "timeout": within_s}
        answer = self._hand.ask(request, within_s=within_s + 15)
        done = Result(answer["rc"], answer["out"], time.monotonic() - begun_s)
        if check and done.rc != 0:
            raise BoardError(f"{command}: exit {done.rc}: {done.out[-2000:]}")
        return done

    def until(self, command: str, *, within_s: float = 60.0, every_s: float = 0.5) -> float:
        """Until the command exits 0; the seconds waited."""
        begun_s = time.monotonic()
        while (done := self.run(command, within_s=within_s, check=False)).rc != 0:
            if time.monotonic() - begun_s > within_s:
                raise BoardError(f"not true after {within_s} s: {command}: {done.out[-1000:]}")
            time.sleep(every_s)
        return time.monotonic() - begun_s

    def put(self, data: bytes, path: str, *, mode: int = 0o644) -> None:
        """Write a small file; some 16 kB/s."""
        for start in range(0, max(1, len(data)), 6000):
            piece = base64.b64encode(data[start : start + 6000]).decode()
            request = {"op": "put", "path": path, "append": start > 0, "mode": mode, "data": piece}
            self._hand.ask(request, within_s=60)

    def get(self, path: str) -> bytes:
        """Read a file; some 100 kB/s."""
        out, size = b"", 49152
        while True:
            request = {"op": "get", "path": path, "offset": len(out), "size": size}
            piece = base64.b64decode(self._hand.ask(request, within_s=60)["data"])
            out += piece
            if len(piece) < size:
                return out

    def now_s(self) -> float:
        """The guest's wall clock, in seconds since 1970."""
        return float(self.run("date +%s.%N").out)

    def set_clock(self, epoch_s: float) -> None:
        """Set the guest's wall clock; its monotonic clock goes on."""
        self.run(f"date -s @{epoch_s:.3f}")

    def step_clock(self, seconds: float) -> None:
        """Step the guest's wall clock, forward or back."""
        clock = "time.clock_settime(time.CLOCK_REALTIME, time.time() + (%r))" % seconds  # noqa: UP031
        self.run(f"python3 -S -c 'import time; {clock}'")

    def console(self) -> str:
        """What came out of the second serial port since the disk was new; it outlives the guest."""
        return self._tail("console.log", 1 << 22)

    # --- its pins, from outside ------------------------------------------------------------------

    @property
    def chip(self) -> ChipWire:
        """The chip's registers."""
        if self._chip is None:
            raise BoardError("the board is off")
        return self._chip

    def line(self, number: int) -> str:
        """'high', 'low', 'float' (an input) or 'alt'."""
        return state_of(self.chip.gpio(), number)

    def lines(self, numbers: Iterable[int]) -> dict[int, str]:
        """The same for several, at one moment."""
        words = self.chip.gpio()
        return {number: state_of(words, number) for number in numbers}

    def wait_line(self, number: int, state: str, *, within_s: float = 30.0) -> float:
        """Until the line is in that state; the seconds waited."""
        begun_s = time.monotonic()
        while (found := self.line(number)) != state:
            if time.monotonic() - begun_s > within_s:
                raise BoardError(f"line {number} is {found}, not {state}, after {within_s} s")
            time.sleep(0.005)
        return time.monotonic() - begun_s

    def watch(self, numbers: Iterable[int]) -> Watch:
        """See every change of these lines, in the background."""
        return Watch(self.chip, tuple(numbers))

    # --- inside ----------------------------------------------------------------------------------

    @property
    def _hand(self) -> AgentWire:
        if self._agent is None:
            raise BoardError("the board is off")
        return self._agent

    def _initrd(self, extra: Extra | None) -> Path:
        plain = cache_dir() / "initrd.cpio"
        if not extra:
            return plain
        data = plain.read_bytes()
        mixed = self.folder / "initrd.cpio"
        mixed.write_bytes(data + b"\0" * (-len(data) % 512) + archive(entries_of(extra)))
        return mixed

    def _command(self, initrd: Path, words: str) -> list[str]:
        assert self._sockets is not None
        append = f"{KERNEL_WORDS} {self.words} {words}"
        if self.persist is not None:
            append += f" pinctrl_bcm2835.persist_gpio_outputs={int(self.persist)}"
        sockets: list[str] = []
        for name in ("agent", "qmp", "qtest"):
            sockets.append(f"socket,id={name},path={self._sockets / name},server=on,wait=off")
        return [
            EMULATOR,
            *("-M", "raspi3b", "-accel", "tcg,thread=multi", "-display", "none", "-no-reboot"),
            *("-kernel", str(cache_dir() / "vmlinuz"), "-initrd", str(initrd)),
            *("-dtb", str(cache_dir() / "board.dtb"), "-append", append),
            *("-drive", f"file={self.disk},if=sd,format=raw,cache=writeback"),
            *("-chardev", sockets[0], "-serial", "chardev:agent"),
            *("-chardev", f"file,id=con,path={self.console_path},append=on"),
            *("-serial", "chardev:con"),
            *("-chardev", sockets[1], "-mon", "chardev=qmp,mode=control"),
            *("-chardev", sockets[2], "-qtest", "chardev:qtest", "-qtest-log", "none"),
        ]

    def _connect(self) -> None:
        assert self._sockets is not None
        deadline = time.monotonic() + 30
        paths = [self._sockets / name for name in ("agent", "qmp", "qtest")]
        while not all(path.exists() for path in paths):
            if not self.running or time.monotonic() > deadline:
                raise BoardError(f"the emulator did not start: {self._tail('qemu.log')}")
            time.sleep(0.02)
        self._chip = ChipWire(paths[2])
        self._agent, self._monitor = AgentWire(paths[0]), MonitorWire(paths[1])

    def _resume(self) -> None:
        assert self._monitor is not None
        deadline = time.monotonic() + 60
        while self._monitor.ask("query-status")["status"] == "inmigrate":
            if time.monotonic() > deadline:
                raise BoardError("the snapshot was not loaded")
            time.sleep(0.02)
        # The emulator forgets which controller the card is wired to: switching the function of the
        # card's pins off and on again wires it anew.
        at = [GPIO_BASE + 16, GPIO_BASE + 20]
        kept = [self.chip.read(address) for address in at]
        for words in ((kept[0] & ~(0o77 << 24), kept[1] & ~0o7777), kept):
            for address, word in zip(at, words, strict=True):
                self.chip.write(address, word)
        self._monitor.ask("cont")

    def _gone(self, within_s: float) -> None:
        if self._process is not None:
            try:
                self._process.wait(within_s)
            except subprocess.TimeoutExpired:
                raise BoardError("the board does not go off") from None
        for wire in (self._agent, self._monitor, self._chip):
            if wire is not None:
                wire.close()
        self._agent = self._monitor = self._chip = self._process = None
        if self._sockets is not None:
            shutil.rmtree(self._sockets, ignore_errors=True)
        self._sockets = None

    def _tail(self, name: str, size: int = 1500) -> str:
        path = self.folder / name
        return path.read_bytes()[-size:].decode("utf-8", "replace") if path.exists() else ""


def _tied() -> Any:
    """In the child: its own session, and its end if the tests end, so that no guest is left."""
    os.setsid()
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGKILL)
