"""The stop step: `python -m controller.valves.alloff LINE_FILE` drives every line off.

The master comes first, then the lines that open valves, then the close lines of balls that stay:
these go on all at once, for their whole closing time, and off again. A close line is not driven
while the open line of its valve is not known to be off.

The service manager runs it after every end of the daemon, also after a kill or a crash. It needs no
daemon and no database, may run twice, and imports only the standard library. It asks the kernel
directly, and lgpio only for a line where that fails.

A line file that others may have written is not trusted, and drives nothing: at the wrong level
"off" opens a valve. The next start of the daemon drives the garden file's lines off.

Exit codes: 0 every line is off, or there is no line file; 1 some line is not, or the line file is
not trusted; 2 wrong arguments.
"""

from __future__ import annotations

import contextlib
import json
import os
import select
import stat
import struct
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from controller.valves.line import LineLimits, MasterLimits


SHUT_AT = "shut-at.json"  # beside the line file: when the lines were last surely off
PRETENDED = "pretended-off.json"  # beside it, in place of pins: how "mock" lines were driven

# The kernel's GPIO character device, second version (Linux 5.10 and later): linux/gpio.h. A test
# compiles that header, where it is installed, and compares sizes and numbers.
GET_LINE_IOCTL = 0xC250B407  # GPIO_V2_GET_LINE_IOCTL
GET_VALUES_IOCTL = 0xC010B40E  # GPIO_V2_LINE_GET_VALUES_IOCTL
SET_VALUES_IOCTL = 0xC010B40F  # GPIO_V2_LINE_SET_VALUES_IOCTL
# struct gpio_v2_line_request: 64 offsets, consumer; flags, number of attributes, 5 words padding;
# 10 attributes (id, padding, value, mask); number of lines, event buffer, 5 words padding, fd
LINE_REQUEST = struct.Struct("=64I32sQI5I" + "IIQQ" * 10 + "II5Ii")
LINE_VALUES = struct.Struct("=QQ")  # bits, mask
FLAG_OUTPUT, OUTPUT_VALUES = 1 << 3, 2
LONGEST_WAIT_S = 400.0  # whatever the line file says; a broken one must not hold up the next start


def main(arguments: Sequence[str], wait: Callable[[float], None] | None = None) -> int:
    """Drive off every line the line file names, and shut every ball that stays; the exit code."""
    if len(arguments) != 1:
        _print("usage: python -m controller.valves.alloff LINE_FILE")
        return 2
    path = os.path.abspath(arguments[0])  # noqa: PTH100 - pathlib is one import more
    try:
        known = read_line_file(path)
    except FileNotFoundError:
        _print(f"{path}: no such file, so no line was ever taken; nothing to do")
        return 0
    except NotTrusted as fault:
        _print(f"{path}: {fault}, so it is not used; NO LINE WAS DRIVEN OFF: shut the tap")
        _print("the next start of the daemon drives every line of the garden file off")
        return 1
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as fault:
        _print(f"{path}: cannot be read ({fault!r}); NO LINE WAS DRIVEN OFF: shut the tap")
        return 1
    if known.pins == "mock":
        driven = {str(closes): for_s for _, closes, for_s in known.balls}
        mark: dict[str, Any] = {"off_levels": known.off_levels}
        _replace(_beside(path, PRETENDED), mark | ({"driven_shut_s": driven} if driven else {}))
        roads: Sequence[Road] = (lambda number, level: None,)
        wait = no_wait
    else:
        roads = _roads(0 if known.chip is None else known.chip, path)
    failed = _all_off(known.off_levels, known.balls, roads, wait or _wait, path)
    for number, why in failed.items():
        _print(f"line {number} IS NOT KNOWN TO BE OFF: {why}; shut the tap")
    shut = [number for number in known.off_levels if number not in failed]
    _print(f"driven off: {', '.join(map(str, shut)) or 'none'}")
    return 1 if failed else 0


class NotTrusted(OSError):
    """Others may have written the line file."""


def _trusted_contents(path: str) -> Any:
    """The contents of the line file. The open file, not its name, shows who may write it.

    Raises
    ------
    Doubted
        If others may have written it.
    """
    flags = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
    with open(os.open(path, flags), encoding="utf-8") as file:  # noqa: PTH123
        found = os.fstat(file.fileno())
        if not stat.S_ISREG(found.st_mode):
            raise NotTrusted("it is no plain file")
        us = os.geteuid()
        owners = {0, us}
        if us == 0:  # root, who looks after another's daemon by hand
            owners.add(os.stat(_beside(path, "")).st_uid)  # noqa: PTH116
        if found.st_uid not in owners:
            raise NotTrusted(f"it belongs to user {found.st_uid}, who is not the daemon")
        if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            raise NotTrusted(f"others may write it (mode {stat.S_IMODE(found.st_mode):o})")
        return json.load(file)


Road = Callable[[int, int], None]  # drives one line to a level, or raises
Ball = tuple[int, int, float]  # open line, close line, how long the close line is driven


class Known(NamedTuple):
    """The contents of the line file."""

    pins: str  # "lgpio" or "mock"
    chip: int | None  # the chip that was opened; None where none was
    named_chip: int | None  # the one the garden file names; None where it names none
    off_levels: dict[int, int]  # of every line, the master's first
    balls: list[Ball]


def _all_off(
    off_levels: Mapping[int, int],
    balls: Sequence[Ball],
    roads: Sequence[Road],
    wait: Callable[[float], None],
    path: str,
) -> dict[int, str]:
    """Drive everything off, balls shut in between; what failed, by line."""
    openers, closers = {ball[0] for ball in balls}, {ball[1] for ball in balls}
    first = {n: level for n, level in off_levels.items() if n in openers or n not in closers}
    failed = drive(first, roads)
    waits_s = []
    for opens, closes, for_s in balls:
        if opens in failed or closes in openers:  # never both
            failed.setdefault(opens, "off, but its close line is another valve's open line")
            continue
        unmoved = drive({closes: 1 - off_levels[closes]}, roads)
        if unmoved:
            failed[opens] = f"off, but its close line cannot be driven: {unmoved[closes]}"
        else:
            waits_s.append(for_s)
    moment = _moment()
    if not balls and not failed:  # a ball may have been left half shut
        moment = _first_moment(path, moment, off_levels)
    # Written down before the wait: should somebody end this, what was done so far is known.
    _remember(path, moment, off_levels, failed)
    if waits_s:
        _print(f"driving {len(waits_s)} valves shut, {max(waits_s):.0f} s")
        wait(min(max(waits_s), LONGEST_WAIT_S))
    late = drive({closes: off_levels[closes] for closes in sorted(closers)}, roads)
    if late:
        failed |= late
        _remember(path, moment, off_levels, failed)
    return failed


def drive(levels: Mapping[int, int], roads: Sequence[Road]) -> dict[int, str]:
    """Drive each line to its level by the first way that works; what failed, by line."""
    failed = {}
    for number, level in levels.items():
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
    path: str | os.PathLike[str],
    lines: Iterable[LineLimits],
    pins: str,
    chip: int | None,
    masters: Iterable[MasterLimits] = (),
    *,
    named_chip: int | None = None,
) -> None:
    """Write the lines for the stop step. The daemon calls this before it takes the first of them.

    "lines" has every line, close lines too, so that an older stop step drives all of them off.
    """
    valves = [*(master.line for master in masters), *lines]
    contents = {
        "pins": pins,
        "chip": chip,
        "named_chip": named_chip,
        "lines": [
            {"number": number, "off_level": 1 if valve.active_low else 0}
            for valve in valves
            for number in valve.numbers
        ],
        "balls": [
            {"open": valve.number, "close": valve.close_number, "for_s": valve.closing_s}
            for valve in valves
            if valve.close_number is not None
        ],
    }
    try:
        _replace(os.fspath(path), contents)
    except OSError as fault:
        from controller.errors import ValveFault

        raise ValveFault(
            f"{os.fspath(path)}: the list of lines for the stop step cannot be written: {fault}"
        ) from fault


def read_line_file(path: str | os.PathLike[str]) -> Known:
    """Read what `write_line_file` wrote.

    Raises
    ------
    FileNotFoundError
        If no line was ever taken.
    Doubted
        If others may have written it.
    OSError, ValueError, KeyError, TypeError, AttributeError
        If it does not read.
    """
    contents = _trusted_contents(os.fspath(path))
    chip = None if contents["chip"] is None else int(contents["chip"])
    off_levels = {int(line["number"]): int(line["off_level"]) for line in contents["lines"]}
    # A line file of an older Rowgate has no balls, and does not say who named the chip.
    balls = [
        (int(ball["open"]), int(ball["close"]), float(ball["for_s"]))
        for ball in contents.get("balls", ())
    ]
    for number in {n for ball in balls for n in ball[:2]}:
        _ = off_levels[number]
    named = contents.get("named_chip", chip)
    return Known(contents["pins"], chip, None if named is None else int(named), off_levels, balls)


def read_shut_at(line_file: str | os.PathLike[str]) -> dict[str, Any] | None:
    """What the last stop step left, or None if nothing.

    wall_utc, mono_s, boot_id; shut, failed (lines); result: the service manager's word for how the
    daemon ended ("watchdog", "signal"), or "".
    It counts only for openings before it: `mono_s` may be compared within the same `boot_id` alone,
    and an older stop step says nothing of a later opening. Whoever has computed with it removes it
    (`forget_shut_at`): until then a further stop step leaves the moment as it is.
    """
    try:
        path = _beside(os.fspath(line_file), SHUT_AT)
        with open(path, encoding="utf-8") as file:  # noqa: PTH123
            found = json.load(file)
        return {
            "wall_utc": str(found["wall_utc"]),
            "mono_s": float(found["mono_s"]),
            "boot_id": str(found["boot_id"]),
            "result": str(found.get("result", "")),  # an older stop step did not say
            "shut": tuple(int(number) for number in found["shut"]),
            "failed": {int(number): str(why) for number, why in found["failed"].items()},
        }
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def forget_shut_at(line_file: str | os.PathLike[str]) -> None:
    """Remove what the last stop step left, once it was used; the next one starts anew."""
    with contextlib.suppress(OSError):
        os.unlink(_beside(os.fspath(line_file), SHUT_AT))  # noqa: PTH108


def _roads(chip: int, path: str) -> tuple[Road, ...]:
    return (_kernel_road(chip), _lgpio_road(chip, path))


def _kernel_road(chip: int) -> Road:
    """Drive a line through the kernel. Its descriptor stays open until this process ends."""

    taken: dict[int, int] = {}

    def take(number: int, level: int) -> int:
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
        board = os.open(f"/dev/gpiochip{chip}", os.O_RDWR)
        try:
            fcntl.ioctl(board, GET_LINE_IOCTL, request)
        finally:
            os.close(board)
        line: int = LINE_REQUEST.unpack(request)[-1]
        return line

    def go(number: int, level: int) -> None:
        import fcntl

        if number in taken:
            fcntl.ioctl(taken[number], SET_VALUES_IOCTL, bytearray(LINE_VALUES.pack(level, 1)))
        else:
            taken[number] = take(number, level)
        values = bytearray(LINE_VALUES.pack(0, 1))
        fcntl.ioctl(taken[number], GET_VALUES_IOCTL, values)
        _check(level, LINE_VALUES.unpack(values)[0] & 1)

    return go


def _lgpio_road(chip: int, path: str) -> Road:
    """Drive a line through lgpio, as the daemon does."""
    opened: list[tuple[Any, int]] = []
    taken: set[int] = set()

    def go(number: int, level: int) -> None:
        if not opened:
            if not os.access(".", os.W_OK):  # lgpio makes a FIFO where it is imported
                os.chdir(os.path.dirname(path))  # noqa: PTH120
            import lgpio

            opened.append((lgpio, lgpio.gpiochip_open(chip)))
        lgpio, handle = opened[0]
        if number in taken:
            lgpio.gpio_write(handle, number, level)
        else:
            lgpio.gpio_claim_output(handle, number, level)
            taken.add(number)
        _check(level, lgpio.gpio_read(handle, number))

    return go


def _check(level: int, found: int) -> None:
    if found != level:
        raise OSError(f"was driven to level {level} and is read as {found}")


def no_wait(seconds: float) -> None:
    """Wait for nothing: for pretended valves, and for those already shut."""


def _wait(seconds: float) -> None:
    select.select((), (), (), seconds)


def _moment() -> dict[str, Any]:
    """The moment now, from which the daemon computes what was delivered; empty if it fails."""
    try:
        from controller.clock import SystemClock

        clock = SystemClock()
        return {
            "wall_utc": clock.now_utc().isoformat(),
            "mono_s": clock.mono_s(),
            "boot_id": clock.boot_id(),
            "result": os.environ.get("SERVICE_RESULT", ""),  # systemd.exec(5)
        }
    except Exception as fault:  # noqa: BLE001 - the lines are off; only the note of it is missing
        _print(f"when that was is not known: {fault}")
        return {}


def _first_moment(path: str, now: dict[str, Any], lines: Iterable[int]) -> dict[str, Any]:
    """When an earlier stop step shut these lines, if no daemon has read its file since.

    A daemon that dies before it has computed what the one before it gave leaves that file in place.
    Nothing opened in between, so the earlier moment is the true one.
    """
    earlier = read_shut_at(path)
    if (
        earlier is None
        or earlier["failed"]
        or earlier["boot_id"] != now.get("boot_id")
        or not set(lines) <= set(earlier["shut"])
    ):
        return now
    return {key: earlier[key] for key in now}


def _remember(
    path: str, moment: dict[str, Any], lines: Iterable[int], failed: Mapping[int, str]
) -> None:
    """Write down when the lines were off."""
    shut = [number for number in lines if number not in failed]
    try:
        _replace(_beside(path, SHUT_AT), moment | {"shut": shut, "failed": dict(failed)})
    except OSError as fault:
        _print(f"when that was cannot be written down: {fault}")


def _replace(path: str, content: dict[str, Any]) -> None:
    """Write a small file, complete or not at all, also after a power cut.

    Only its owner may write it, whatever the umask; a link planted at its name is not followed.
    """
    directory = os.path.dirname(os.path.abspath(path))  # noqa: PTH100, PTH120
    unfinished = f"{path}.new"
    with contextlib.suppress(FileNotFoundError):
        os.unlink(unfinished)  # noqa: PTH108
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC
    with open(os.open(unfinished, flags, 0o644), "w", encoding="utf-8") as file:  # noqa: PTH123
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


def _print(words: str) -> None:
    print(f"rowgate stop step: {words}", file=sys.stderr)  # noqa: T201 - it has no log


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
