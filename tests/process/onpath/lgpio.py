"""A stand-in for the board's lgpio module, whose chip is another process: the recorder.

Names and signatures are lgpio 0.2's, as gpiozero 2.0 and the stop step call them. Every claim,
write and read is one question over a socket and comes back once the recorder has stamped it.
"""

from __future__ import annotations

import os
import socket
import sys
import threading
import time

ENVIRONMENT = "ROWGATE_RECORDER"
HANG = "ROWGATE_HANG"
BOTH_EDGES, RISING_EDGE, FALLING_EDGE = 3, 1, 2
SET_PULL_NONE, SET_PULL_UP, SET_PULL_DOWN = 128, 32, 64
_GPIO_IS_OUT = 1 << 1


class error(Exception):  # noqa: N801 - lgpio's own name
    """lgpio's own error."""


_lock = threading.Lock()
_chips: dict[int, socket.socket] = {}
_outputs: set[int] = set()


def gpiochip_open(chip: int) -> int:
    """Connect to the recorder."""
    line = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    try:
        line.connect(os.environ[ENVIRONMENT])
    except OSError as fault:
        raise error(f"can not open gpiochip ({fault})") from fault
    handle = max(_chips, default=0) + 1
    _chips[handle] = line
    return handle


def gpiochip_close(handle: int) -> None:
    """Let the chip go, and with it every line."""
    _chips.pop(handle).close()


def gpio_claim_input(handle: int, number: int, flags: int = 0) -> None:
    """Take a line as an input."""
    _asked(handle, f"input {number} {flags}")
    _outputs.discard(number)


def gpio_claim_output(handle: int, number: int, level: int = 0, flags: int = 0) -> None:
    """Take a line as an output that begins at this level."""
    _asked(handle, f"output {number} {int(level)}")
    _outputs.add(number)


def gpio_write(handle: int, number: int, level: int) -> None:
    """Drive a line; nobody comes back from driving the line that the file of HANG names."""
    try:
        with open(os.environ.get(HANG, os.devnull), encoding="ascii") as named:  # noqa: PTH123
            hangs = named.read() == str(number)
    except OSError:
        hangs = False
    if hangs:
        time.sleep(3600.0)
    _asked(handle, f"write {number} {int(level)}")


def gpio_read(handle: int, number: int) -> int:
    """The level of a line."""
    return int(_asked(handle, f"read {number} 0"))


def gpio_get_mode(handle: int, number: int) -> int:
    """Whether a line is an output."""
    return _GPIO_IS_OUT if number in _outputs else 0


def _asked(handle: int, question: str) -> str:
    with _lock:
        try:
            line = _chips[handle]
            line.sendall(question.encode())
            answer = line.recv(256).decode()
        except OSError as fault:
            raise error(f"the chip does not answer ({fault})") from fault
    if not answer.startswith("ok"):
        raise error(answer or "the chip is gone")
    return answer[3:]


def _know_the_board() -> None:
    """gpiozero asks which board this is; it is one whose header it knows."""
    from gpiozero.pins.local import LocalPiFactory

    LocalPiFactory._get_revision = lambda self: 0xA02082


if "gpiozero" in sys.modules:
    _know_the_board()
