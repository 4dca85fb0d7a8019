"""The tests' hand in the guest: one JSON request a line in, one JSON answer a line out, by serial.

It runs on the guest's own Python, without site packages, and imports nothing of Rowgate.
"""

import base64
import json
import os
import subprocess
import sys
import threading
import tty
from typing import Any

ENVIRONMENT = {
    "PATH": "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin",
    "HOME": "/root",
    "LANG": "C.UTF-8",
    "TERM": "dumb",
    "PAGER": "cat",
    "SYSTEMD_COLORS": "0",
    "SYSTEMD_PAGER": "cat",
}


class Agent:
    """Answers requests, each in a thread of its own: a slow one does not hold up the next."""

    def __init__(self, port: str) -> None:
        self._port = os.open(port, os.O_RDWR | os.O_NOCTTY)
        tty.setraw(self._port)
        self._lock = threading.Lock()

    def serve(self) -> None:
        """Answer for ever."""
        self._send({"hello": boot_id()})
        kept = b""
        while True:
            kept += os.read(self._port, 4096)
            while b"\n" in kept:
                line, kept = kept.split(b"\n", 1)
                try:
                    asked = json.loads(line)
                except ValueError:
                    continue  # half a line from before the reset
                threading.Thread(target=self._answer, args=(asked,), daemon=True).start()

    def _answer(self, asked: dict[str, Any]) -> None:
        told: dict[str, Any] = {"id": asked.get("id")}
        try:
            told |= {"ping": ping, "run": run, "put": put, "get": get}[asked["op"]](asked)
        except Exception as fault:  # noqa: BLE001 - the answer carries it to the test
            told["error"] = repr(fault)
        self._send(told)

    def _send(self, told: dict[str, Any]) -> None:
        data = (json.dumps(told) + "\n").encode()
        with self._lock:
            while data:
                data = data[os.write(self._port, data) :]


def boot_id() -> str:
    """The kernel's name for this boot."""
    with open("/proc/sys/kernel/random/boot_id") as file:  # noqa: PTH123
        return file.read().strip()


def ping(_: dict[str, Any]) -> dict[str, Any]:
    """Say that the guest is up, and in which boot."""
    return {"boot_id": boot_id()}


def run(asked: dict[str, Any]) -> dict[str, Any]:
    """Run a bash command as root; both outputs together."""
    done = subprocess.run(
        ["/bin/bash", "-c", asked["cmd"]],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        timeout=asked.get("timeout", 60),
        cwd="/root",
        env=ENVIRONMENT,
    )
    return {"rc": done.returncode, "out": done.stdout.decode("utf-8", "replace")}


def put(asked: dict[str, Any]) -> dict[str, Any]:
    """Write, or append to, a file."""
    with open(asked["path"], "ab" if asked.get("append") else "wb") as file:  # noqa: PTH123
        file.write(base64.b64decode(asked["data"]))
        if asked.get("mode") is not None:
            os.fchmod(file.fileno(), asked["mode"])
    return {}


def get(asked: dict[str, Any]) -> dict[str, Any]:
    """Read a piece of a file."""
    with open(asked["path"], "rb") as file:  # noqa: PTH123
        file.seek(asked.get("offset", 0))
        return {"data": base64.b64encode(file.read(asked.get("size", 65536))).decode()}


if __name__ == "__main__":
    Agent(sys.argv[1]).serve()
