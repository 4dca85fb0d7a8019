"""The stop step: `python -m controller.valves.alloff LINE_FILE` drives every line off.

The service manager runs it after every end of the daemon, kill and crash included. It talks to no
daemon, asks no database, can be run twice, and imports nothing but the standard library: the kernel
is asked directly, and lgpio only for a line where that fails.

Exit codes: 0 every line is off, or there is no line file; 1 some line is not; 2 wrong arguments.
"""

from __future__ import annotations

import json
import os
import struct
import sys
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from controller.valves.states import LineLimits

SHUT_AT = "shut-at.json"  # beside the line file: when the lines were last surely off
PRETENDED = "pretended-off.json"  # beside it, in place of pins: what "mock" lines were told

# The kernel's GPIO character device, second version (Linux 5.10 and later): linux/gpio.h. A test
# compiles that header, where it is installed, and compares sizes and numbers.
GET_LINE_IOCTL = 0xC250B407  # GPIO_V2_GET_LINE_IOCTL
GET_VALUES_IOCTL = 0xC010B40E  # GPIO_V2_LINE_GET_VALUES_IOCTL
# struct gpio_v2_line_request: 64 offsets, consumer; flags, number of attributes, 5 words padding;
# 10 attributes (id, padding, value, mask); number of lines, event buffer, 5 words padding, fd
LINE_REQUEST = struct.Struct("=64I32sQI5I" + "IIQQ" * 10 + "II5Ii")
LINE_VALUES = struct.Struct("=QQ")  # bits, mask
FLAG_OUTPUT, OUTPUT_VALUES = 1 << 3, 2


def main(arguments: Sequence[str]) -> int:
    """Drive off every line the line file names; the exit code."""
    if len(arguments) != 1:
        _say("usage: python -m controller.valves.alloff LINE_FILE")
        return 2
    path = os.path.abspath(arguments[0])  # noqa: PTH100 - pathlib is one import more
    try:
        with open(path, encoding="utf-8") as file:  # noqa: PTH123
            told = json.load(file)
        kind, chip = told["pins"], told["chip"]
        off_levels = {int(line["number"]): int(line["off_level"]) for line in told["lines"]}
    except FileNotFoundError:
        _say(f"{path}: no such file, so no line was ever taken; nothing to do")
        return 0
    except (OSError, ValueError, KeyError, TypeError) as fault:
        _say(f"{path}: cannot be read ({fault!r}); NO LINE WAS DRIVEN OFF: shut the tap")
        return 1
    if kind == "mock":
        failed: dict[int, str] = {}
        _replace(_beside(path, PRETENDED), {"off_levels": off_levels})
    else:
        failed = drive_off(off_levels, _roads(0 if chip is None else int(chip), path))
    for number, why in failed.items():
        _say(f"line {number} IS NOT KNOWN TO BE OFF: {why}; shut the tap")
    shut = [number for number in off_levels if number not in failed]
    _say(f"driven off: {', '.join(map(str, shut)) or 'none'}")
    _remember(path, shut, failed)
    return 1 if failed else 0


Road = Callable[[int, int], None]  # drives one line to a level, or raises


def drive_off(off_levels: dict[int, int], roads: Sequence[Road]) -> dict[int, str]:
    """Drive each line to its off level by the first road that works; what failed, by line."""
    failed = {}
    for number, level in off_levels.items():
        why = []
        for road in roads:
            try:
                road(number, level)
                break
            except Exception as fault:  # noqa: BLE001 - one dead line must not stop the others
                why.append(f"{type(fault).__name__}: {fault}")
        else:
            failed[number] = "; ".join(why)
    return failed


def write_line_file(
    path: str | os.PathLike[str], lines: Iterable[LineLimits], pins: str, chip: int | None
) -> None:
    """Name the lines for the stop step. The daemon calls this before it takes the first of them."""
    told = {
        "pins": pins,
        "chip": chip,
        "lines": [
            {"number": line.number, "off_level": 1 if line.active_low else 0} for line in lines
        ],
    }
    try:
        _replace(os.fspath(path), told)
    except OSError as fault:
        from controller.errors import ValveFault

        raise ValveFault(
            f"{os.fspath(path)}: the list of lines for the stop step cannot be written: {fault}"
        ) from fault


def read_shut_at(line_file: str | os.PathLike[str]) -> dict[str, Any] | None:
    """What the last stop step left: wall_utc, mono_s, boot_id, shut, failed; None if nothing.

    It tells only of openings before it: `mono_s` may be compared within the same `boot_id` alone,
    and an older stop step says nothing of a later opening.
    """
    try:
        path = _beside(os.fspath(line_file), SHUT_AT)
        with open(path, encoding="utf-8") as file:  # noqa: PTH123
            found = json.load(file)
        return {
            "wall_utc": str(found["wall_utc"]),
            "mono_s": float(found["mono_s"]),
            "boot_id": str(found["boot_id"]),
            "shut": tuple(int(number) for number in found["shut"]),
            "failed": {int(number): str(why) for number, why in found["failed"].items()},
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _roads(chip: int, path: str) -> tuple[Road, ...]:
    return (_kernel_road(chip), _lgpio_road(chip, path))


def _kernel_road(chip: int) -> Road:
    """Ask the kernel itself. The line's descriptor stays open until this process ends."""

    def drive(number: int, level: int) -> None:
        import fcntl

        attributes = [OUTPUT_VALUES, 0, level, 1] + [0] * (4 * 9)
        request = bytearray(
            LINE_REQUEST.pack(
                *([number] + [0] * 63),
                b"rowgate stop step",
                *(FLAG_OUTPUT, 1, 0, 0, 0, 0, 0),
                *attributes,
                *(1, 0, 0, 0, 0, 0, 0, 0),
            )
        )
        board = os.open(f"/dev/gpiochip{chip}", os.O_RDWR | os.O_CLOEXEC)
        try:
            fcntl.ioctl(board, GET_LINE_IOCTL, request)
        finally:
            os.close(board)
        line = LINE_REQUEST.unpack(request)[-1]
        values = bytearray(LINE_VALUES.pack(0, 1))
        fcntl.ioctl(line, GET_VALUES_IOCTL, values)
        if LINE_VALUES.unpack(values)[0] & 1 != level:
            raise OSError(f"was driven to level {level} and is read as {1 - level}")

    return drive


def _lgpio_road(chip: int, path: str) -> Road:
    """Go through lgpio, as the daemon does."""
    opened: list[tuple[Any, int]] = []

    def drive(number: int, level: int) -> None:
        if not opened:
            if not os.access(".", os.W_OK):  # lgpio makes a FIFO where it is imported
                os.chdir(os.path.dirname(path))  # noqa: PTH120
            import lgpio

            opened.append((lgpio, lgpio.gpiochip_open(chip)))
        lgpio, handle = opened[0]
        lgpio.gpio_claim_output(handle, number, level)
        if lgpio.gpio_read(handle, number) != level:
            raise OSError(f"was driven to level {level} and is read as {1 - level}")

    return drive


def _remember(path: str, shut: list[int], failed: dict[int, str]) -> None:
    """Write down when the lines were off, for whoever reckons what was delivered."""
    try:
        from controller.clock import SystemClock

        clock = SystemClock()
        told = {
            "wall_utc": clock.now_utc().isoformat(),
            "mono_s": clock.mono_s(),
            "boot_id": clock.boot_id(),
            "shut": shut,
            "failed": failed,
        }
        _replace(_beside(path, SHUT_AT), told)
    except Exception as fault:  # noqa: BLE001 - the lines are off; only the note of it is missing
        _say(f"when that was cannot be written down: {fault}")


def _replace(path: str, content: dict[str, Any]) -> None:
    """Write a small file that is there whole, or not at all, also after a power cut."""
    directory = os.path.dirname(os.path.abspath(path))  # noqa: PTH100, PTH120
    unfinished = f"{path}.new"
    with open(unfinished, "w", encoding="utf-8") as file:  # noqa: PTH123
        json.dump(content, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(unfinished, path)  # noqa: PTH105
    descriptor = os.open(directory, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _beside(path: str, name: str) -> str:
    return os.path.join(os.path.dirname(os.path.abspath(path)), name)  # noqa: PTH100, PTH118, PTH120


def _say(words: str) -> None:
    print(f"rowgate stop step: {words}", file=sys.stderr)  # noqa: T201 - it has no log


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
