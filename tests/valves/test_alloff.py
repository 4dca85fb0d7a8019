"""The stop step: whatever happened to the daemon, every line goes to its off level."""

from __future__ import annotations

import errno
import fcntl
import json
import os
import re
import select
import shutil
import struct
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from support.lgpio import StandIn

from controller.clock import SystemClock
from controller.errors import ValveFault
from controller.valves import alloff
from controller.valves.line import LONGEST_TRAVEL_S, LineLimits, MasterLimits, drive_s


def lines(*numbers: int, active_low: bool = True) -> list[LineLimits]:
    return [
        LineLimits(number=n, active_low=active_low, longest_open_s=60, most_open_s_per_day=600)
        for n in numbers
    ]


# PRINTED: linux/gpio.h of the kernel (its UAPI header, 5.10 and later) and asm-generic/ioctl.h for
# _IOWR. What "must be zero filled" there, numbers out of range there, and a call to a descriptor
# that cannot have it are refused; fields past `num_lines` and `num_attrs` are not looked at.
GPIO_MAX_NAME_SIZE, GPIO_V2_LINES_MAX, GPIO_V2_LINE_NUM_ATTRS_MAX = 32, 64, 10
FLAG_USED, FLAG_INPUT, FLAG_OUTPUT, LAST_FLAG = 1 << 0, 1 << 2, 1 << 3, 1 << 12
ATTR_FLAGS, ATTR_OUTPUT_VALUES, ATTR_DEBOUNCE = 1, 2, 3
OFFSETS, CONSUMER, CONFIG, ATTRS, NUM_LINES, FD, REQUEST_SIZE = 0, 256, 288, 320, 560, 588, 592
VALUES_SIZE = 16


def iowr(number: int, size: int) -> int:
    """_IOWR(0xB4, number, a struct of that size)."""
    return 3 << 30 | size << 16 | 0xB4 << 8 | number


GET_LINE = iowr(0x07, REQUEST_SIZE)
GET_VALUES, SET_VALUES = iowr(0x0E, VALUES_SIZE), iowr(0x0F, VALUES_SIZE)


def refuse(number: int) -> OSError:
    return OSError(number, os.strerror(number))


class Kernel:
    """Stands in for the kernel's GPIO device, and refuses what the kernel's header forbids."""

    lines = 54  # of the chip, as on a BCM2835

    def __init__(self, monkeypatch: pytest.MonkeyPatch, chip: int = 0) -> None:
        self.levels: dict[int, int] = {}
        self.driven: list[tuple[int, int]] = []  # every level, in order
        self.refuses: set[int] = set()
        self.ties: dict[int, int] = {}
        self.consumers: dict[int, str] = {}
        self.boards: list[int] = []  # descriptors of the chip, open or not
        self._requests: dict[int, list[int]] = {}  # descriptor of a request: its lines
        self._real_open, self._path = os.open, f"/dev/gpiochip{chip}"
        monkeypatch.setattr(os, "open", self._open)
        monkeypatch.setattr(fcntl, "ioctl", self._ioctl)

    def process_ends(self) -> None:
        """The kernel takes back what it gave."""
        self.levels.clear()
        self._requests.clear()

    def _open(self, path: Any, flags: int, *more: int) -> int:
        if str(path) == self._path:
            self.boards.append(self._real_open(os.devnull, flags))
            return self.boards[-1]
        return self._real_open(path, flags, *more)

    def _ioctl(self, descriptor: int, call: int, data: bytearray) -> int:
        if call == GET_LINE and descriptor in self.boards:
            os.fstat(descriptor)  # EBADF where it is closed
            self._get_line(data)
        elif call in (GET_VALUES, SET_VALUES) and descriptor in self._requests:
            self._values(self._requests[descriptor], call, data)
        else:
            raise refuse(errno.ENOTTY)
        return 0

    def _get_line(self, data: bytearray) -> None:
        if len(data) != REQUEST_SIZE:
            raise refuse(errno.EFAULT)
        flags, attributes = struct.unpack_from("=QI", data, CONFIG)
        (count,) = struct.unpack_from("=I", data, NUM_LINES)
        if any(data[CONFIG + 12 : ATTRS]) or any(data[NUM_LINES + 8 : FD]):
            raise refuse(errno.EINVAL)  # padding
        if not 0 < count <= GPIO_V2_LINES_MAX or attributes > GPIO_V2_LINE_NUM_ATTRS_MAX:
            raise refuse(errno.EINVAL)
        if flags & FLAG_USED or flags >= LAST_FLAG << 1:
            raise refuse(errno.EINVAL)
        if flags & FLAG_INPUT and flags & FLAG_OUTPUT:
            raise refuse(errno.EINVAL)
        first_levels = [0] * count
        for i in reversed(range(attributes)):  # the first that names a line has precedence
            name, padding, bits, mask = struct.unpack_from("=IIQQ", data, ATTRS + 24 * i)
            if padding or name not in (ATTR_FLAGS, ATTR_OUTPUT_VALUES, ATTR_DEBOUNCE):
                raise refuse(errno.EINVAL)
            for line in range(count):
                if name == ATTR_OUTPUT_VALUES and mask >> line & 1:
                    first_levels[line] = bits >> line & 1
        numbers = list(struct.unpack_from(f"={count}I", data, OFFSETS))
        if any(number >= self.lines for number in numbers):
            raise refuse(errno.EINVAL)
        if any(number in self.levels or number in self.refuses for number in numbers):
            raise refuse(errno.EBUSY)  # a line is given once
        for number, level in zip(numbers, first_levels, strict=True):
            self.consumers[number] = data[CONSUMER:CONFIG].rstrip(b"\0").decode()
            self.levels[number] = 0
            if flags & FLAG_OUTPUT:
                self._drive(number, level)
        self._requests[1000 + numbers[0]] = numbers
        struct.pack_into("=i", data, FD, 1000 + numbers[0])

    def _values(self, numbers: list[int], call: int, data: bytearray) -> None:
        if len(data) != VALUES_SIZE:
            raise refuse(errno.EFAULT)
        bits, mask = struct.unpack("=QQ", data)
        asked = [i for i in range(len(numbers)) if mask >> i & 1]
        if not asked:
            raise refuse(errno.EINVAL)
        if call == SET_VALUES:
            for i in asked:
                self._drive(numbers[i], bits >> i & 1)
        else:
            bits = sum(self.levels[numbers[i]] << i for i in asked)
            data[:] = struct.pack("=QQ", bits, mask)

    def _drive(self, number: int, level: int) -> None:
        self.driven.append((number, level))
        self.levels[number] = self.ties.get(number, level)


@pytest.fixture
def kernel(monkeypatch: pytest.MonkeyPatch) -> Kernel:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    return Kernel(monkeypatch)


def test_every_line_is_driven_to_its_own_off_level(
    tmp_path: Path, kernel: Kernel, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, [*lines(17, 27), *lines(22, active_low=False)], "lgpio", 0)
    assert alloff.main([str(file)]) == 0
    assert kernel.levels == {17: 1, 27: 1, 22: 0}
    assert kernel.driven == [(17, 1), (27, 1), (22, 0)]  # and no other, at no other level
    assert set(kernel.consumers.values()) == {"rowgate stop step"}
    assert capsys.readouterr().err == "rowgate stop step: driven off: 17, 27, 22\n"
    kernel.process_ends()
    assert alloff.main([str(file)]) == 0  # twice does no harm


def test_no_descriptor_is_left_open_but_those_of_the_lines(tmp_path: Path, kernel: Kernel) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27), "lgpio", 0)
    before = len(list(Path("/dev/fd").iterdir()))
    assert alloff.main([str(file)]) == 0
    assert (
        len(list(Path("/dev/fd").iterdir())) == before
    )  # the stand-in's lines have numbers of its own
    assert len(kernel.boards) == 2


def test_a_board_without_a_named_chip_has_its_lines_on_the_first(
    tmp_path: Path, kernel: Kernel
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "lgpio", None)
    assert alloff.main([str(file)]) == 0
    assert kernel.levels == {17: 1}


def test_on_another_chip_than_the_first_its_lines_are_driven_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "lgpio", None)
    kernel = Kernel(monkeypatch, chip=4)
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "lgpio", 4)
    assert alloff.main([str(file)]) == 0
    assert kernel.levels == {17: 1}


def test_lgpio_is_imported_where_it_may_make_its_fifo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """lgpio makes a FIFO in the working directory as it is imported."""
    elsewhere, home = tmp_path / "elsewhere", tmp_path / "home"
    for place in (elsewhere, home):
        place.mkdir()
    monkeypatch.setitem(sys.modules, "lgpio", StandIn())
    file = home / "lines.json"
    alloff.write_line_file(file, lines(17), "lgpio", 98)
    monkeypatch.chdir(elsewhere)
    assert alloff.main([str(file)]) == 0
    assert Path.cwd() == elsewhere  # it may be written to
    writable = os.access
    monkeypatch.setattr(
        os,
        "access",
        lambda path, mode: False if (path, mode) == (".", os.W_OK) else writable(path, mode),
    )
    assert alloff.main([str(file)]) == 0
    assert Path.cwd() == home


def test_one_dead_line_does_not_stop_the_others(
    tmp_path: Path, kernel: Kernel, capsys: pytest.CaptureFixture[str]
) -> None:
    kernel.refuses.add(17)
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27), "lgpio", 0)
    assert alloff.main([str(file)]) == 1
    assert kernel.levels == {27: 1}
    said = capsys.readouterr().err
    assert "line 17 IS NOT KNOWN TO BE OFF" in said
    assert said.endswith(": driven off: 27\n")
    shut_at = alloff.read_shut_at(file)
    assert shut_at is not None
    assert shut_at["shut"] == (27,)
    assert shut_at["failed"][17].startswith("OSError: [Errno 16] Device or resource busy; ")


def test_a_line_that_is_read_as_on_counts_as_failed(tmp_path: Path, kernel: Kernel) -> None:
    kernel.ties[17] = 0
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27), "lgpio", 0)
    assert alloff.main([str(file)]) == 1
    assert kernel.levels == {17: 0, 27: 1}
    shut_at = alloff.read_shut_at(file)
    assert shut_at and "was driven to level 1 and is read as 0" in shut_at["failed"][17]


def test_where_no_line_could_be_driven_off_it_says_none(
    tmp_path: Path, kernel: Kernel, capsys: pytest.CaptureFixture[str]
) -> None:
    kernel.refuses.add(17)
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "lgpio", 0)
    assert alloff.main([str(file)]) == 1
    assert capsys.readouterr().err.endswith(": driven off: none\n")


def test_where_the_kernel_is_not_to_be_had_lgpio_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lgpio = StandIn()
    monkeypatch.setitem(sys.modules, "lgpio", lgpio)
    monkeypatch.chdir(tmp_path)
    lgpio.dead.add(17)
    lgpio.tied[22] = 0
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27, 22), "lgpio", 98)  # no such chip here
    assert alloff.main([str(file)]) == 1
    assert lgpio.calls == [("claim output", 27, 1), ("claim output", 22, 1)]
    assert lgpio.chips == [98]
    shut_at = alloff.read_shut_at(file)
    assert shut_at is not None
    assert shut_at["shut"] == (27,)


def balls(*pairs: tuple[int, int], active_low: bool = True) -> list[LineLimits]:
    """Balls that stay: eight seconds to shut, driven for ten."""
    return [
        LineLimits(
            number=opens,
            close_number=closes,
            active_low=active_low,
            longest_open_s=60,
            most_open_s_per_day=600,
            opens_in_s=8.0,
            closes_in_s=8.0,
        )
        for opens, closes in pairs
    ]


@pytest.mark.parametrize("active_low", [True, False])
def test_balls_are_driven_shut_all_at_once_and_left_without_current(
    tmp_path: Path, kernel: Kernel, active_low: bool
) -> None:
    off, on = (1, 0) if active_low else (0, 1)
    file, waits = tmp_path / "lines.json", list[float]()
    master = MasterLimits(number=4, active_low=active_low)
    valves = [*lines(22, active_low=active_low), *balls((17, 27), (5, 6), active_low=active_low)]
    alloff.write_line_file(file, valves, "lgpio", 0, [master])

    def wait(seconds: float) -> None:
        waits.append(seconds)
        assert {n: kernel.levels[n] for n in (17, 5, 27, 6)} == {17: off, 5: off, 27: on, 6: on}
        shut_at = alloff.read_shut_at(file)  # should somebody end it now
        assert shut_at is not None and set(shut_at["shut"]) == {4, 22, 17, 27, 5, 6}

    assert alloff.main([str(file)], wait) == 0
    assert waits == [10.0]
    assert kernel.driven == [
        *((4, off), (22, off), (17, off), (5, off)),  # the master first: dry at once
        *((27, on), (6, on), (6, off), (27, off)),
    ]


def test_a_close_line_is_not_driven_while_its_open_line_may_be_on(
    tmp_path: Path, kernel: Kernel
) -> None:
    kernel.ties[17] = 0  # on, whatever it is told
    kernel.refuses.add(6)
    file, waits = tmp_path / "lines.json", list[float]()
    alloff.write_line_file(file, balls((17, 27), (5, 6)), "lgpio", 0)
    assert alloff.main([str(file)], waits.append) == 1
    assert waits == []  # nothing is being shut
    assert (27, 0) not in kernel.driven
    assert (kernel.levels[27], kernel.levels[5]) == (1, 1)
    shut_at = alloff.read_shut_at(file)
    assert shut_at is not None
    assert "close line cannot be driven" in shut_at["failed"][5]
    assert 17 in shut_at["failed"] and 5 not in shut_at["shut"]


def test_a_close_line_that_stays_on_is_cried_out(
    tmp_path: Path, kernel: Kernel, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, balls((17, 27)), "lgpio", 0)
    assert alloff.main([str(file)], lambda _: kernel.ties.update({27: 0})) == 1
    assert "line 27 IS NOT KNOWN TO BE OFF" in capsys.readouterr().err


def test_a_line_that_opens_one_ball_and_closes_another_is_only_driven_off(
    tmp_path: Path, kernel: Kernel
) -> None:
    # Between two gardens a line file names the valves of both.
    file, waits = tmp_path / "lines.json", list[float]()
    alloff.write_line_file(file, balls((17, 27), (27, 17)), "lgpio", 0)
    assert alloff.main([str(file)], waits.append) == 1
    assert (17, 0) not in kernel.driven and (27, 0) not in kernel.driven
    shut_at = alloff.read_shut_at(file)
    why = "off, but its close line is another valve's open line"
    assert shut_at and shut_at["failed"] == {17: why, 27: why}


def test_a_close_line_that_opens_another_ball_is_off_before_that_one_is_driven_shut(
    tmp_path: Path, kernel: Kernel
) -> None:
    file, waits = tmp_path / "lines.json", list[float]()
    alloff.write_line_file(file, balls((17, 27), (27, 28)), "lgpio", 0)
    assert alloff.main([str(file)], waits.append) == 1  # the first cannot be driven shut
    assert kernel.driven == [(17, 1), (27, 1), (28, 0), (27, 1), (28, 1)]


def test_a_broken_time_in_the_line_file_does_not_hold_up_the_next_start(
    tmp_path: Path, kernel: Kernel
) -> None:
    file, waits = tmp_path / "lines.json", list[float]()
    alloff.write_line_file(file, balls((17, 27)), "lgpio", 0)
    file.write_text(file.read_text().replace("10.0", "1e9"))
    assert alloff.main([str(file)], waits.append) == 0
    assert waits == [alloff.LONGEST_WAIT_S]


def test_no_wait_that_a_valve_may_need_is_cut_short() -> None:
    assert drive_s(LONGEST_TRAVEL_S) <= alloff.LONGEST_WAIT_S


def test_the_unit_gives_the_stop_step_time_for_the_balls_it_names() -> None:
    unit = (Path(__file__).parents[2] / "systemd" / "rowgate.service").read_text()
    (stop,) = re.findall(r"^TimeoutStopSec=(\d+)$", unit, re.M)
    (travel,) = re.findall(r"enough for balls that travel (\d+) s", unit)
    assert drive_s(float(travel)) < float(stop)


def test_through_lgpio_a_close_line_is_claimed_once_and_written_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lgpio = StandIn()
    monkeypatch.setitem(sys.modules, "lgpio", lgpio)
    monkeypatch.chdir(tmp_path)
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, balls((17, 27)), "lgpio", 98)
    assert alloff.main([str(file)], lambda _: None) == 0
    assert lgpio.calls == [("claim output", 17, 1), ("claim output", 27, 0), ("write", 27, 1)]


def test_a_line_file_of_an_older_rowgate_still_drives_its_lines_off(
    tmp_path: Path, kernel: Kernel
) -> None:
    # RECORDED: what the version before balls and masters wrote, word for word.
    file, waits = tmp_path / "lines.json", list[float]()
    file.write_text(
        '{"pins": "lgpio", "chip": 0, "lines": [{"number": 17, "off_level": 1}, '
        '{"number": 22, "off_level": 0}]}'
    )
    assert alloff.main([str(file)], waits.append) == 0
    assert (kernel.levels, waits) == ({17: 1, 22: 0}, [])


def test_an_older_stop_step_finds_every_line_in_a_newer_line_file(tmp_path: Path) -> None:
    # What the version before balls and masters read, word for word; it knows no other key.
    file = tmp_path / "lines.json"
    master = MasterLimits(number=4, active_low=True)
    alloff.write_line_file(file, [*balls((17, 27)), *lines(22)], "lgpio", 0, [master])
    told = json.loads(file.read_text())
    off_levels = {int(line["number"]): int(line["off_level"]) for line in told["lines"]}
    assert (told["pins"], told["chip"]) == ("lgpio", 0)
    assert off_levels == {4: 1, 17: 1, 27: 1, 22: 1}


@pytest.mark.parametrize(
    "wrong", ['[{"open": 17}]', '[{"open": 17, "close": 99, "for_s": 1}]', "3"]
)
def test_balls_that_do_not_read_are_cried_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], wrong: str
) -> None:
    file = tmp_path / "lines.json"
    line = '{"number": 17, "off_level": 1}'
    file.write_text(f'{{"pins": "lgpio", "chip": 0, "lines": [{line}], "balls": {wrong}}}')
    assert alloff.main([str(file)]) == 1
    assert "NO LINE WAS DRIVEN OFF: shut the tap" in capsys.readouterr().err


def test_a_list_that_others_may_write_is_cried_out_with_what_comes_next(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "lines.json"
    file.write_text('{"pins": "lgpio", "chip": 0, "lines": [{"number": 17, "off_level": 1}]}')
    file.chmod(0o664)
    assert alloff.main([str(file)]) == 1
    assert capsys.readouterr().err == (
        f"rowgate stop step: {file}: others may write it (mode 664), so it is not used; "
        "NO LINE WAS DRIVEN OFF: shut the tap\n"
        "rowgate stop step: the next start of the daemon drives every line of the garden file off\n"
    )


def test_real_balls_are_given_their_time_asleep(
    tmp_path: Path,
    kernel: Kernel,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    slept = []
    monkeypatch.setattr(select, "select", lambda *asked: slept.append(asked))
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, balls((17, 27), (5, 6)), "lgpio", 0)
    assert alloff.main([str(file)]) == 0
    assert slept == [((), (), (), 10.0)]
    assert "driving 2 valves shut, 10 s" in capsys.readouterr().err


def test_pretended_balls_leave_a_mark_and_take_no_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(select, "select", lambda *asked: pytest.fail("it waits"))
    file, waits = tmp_path / "lines.json", list[float]()
    alloff.write_line_file(file, balls((17, 27)), "mock", None)
    assert alloff.main([str(file)], waits.append) == 0
    assert json.loads((tmp_path / alloff.PRETENDED).read_text()) == {
        "off_levels": {"17": 1, "27": 1},
        "driven_shut_s": {"27": 10.0},
    }
    assert waits == []


def test_pretended_valves_that_are_no_balls_are_driven_nowhere(tmp_path: Path) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "mock", None)
    assert alloff.main([str(file)]) == 0
    assert json.loads((tmp_path / alloff.PRETENDED).read_text()) == {"off_levels": {"17": 1}}


def test_no_line_file_is_nothing_to_do_and_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert alloff.main([str(tmp_path / "lines.json")]) == 0
    assert "nothing to do" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", ["", "{", "[]", '{"pins": "lgpio"}'])
def test_a_line_file_that_does_not_read_is_cried_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str
) -> None:
    file = tmp_path / "lines.json"
    file.write_text(content)
    assert alloff.main([str(file)]) == 1
    assert "NO LINE WAS DRIVEN OFF: shut the tap" in capsys.readouterr().err


def test_wrong_arguments_are_refused() -> None:
    assert alloff.main([]) == 2
    assert alloff.main(["a", "b"]) == 2


def test_a_line_file_is_whole_or_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "mock", None)
    before = file.read_text()

    def power_cut(descriptor: int) -> None:
        raise OSError("power cut")

    monkeypatch.setattr(os, "fsync", power_cut)
    with pytest.raises(ValveFault, match="list of lines for the stop step cannot be written"):
        alloff.write_line_file(file, lines(27), "mock", None)
    assert file.read_text() == before


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """As the unit runs it: a Python of its own, the working directory off its path."""
    return subprocess.run(
        [sys.executable, "-I", "-m", "controller.valves.alloff", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_run_by_itself_it_leaves_a_mark_for_pretended_pins_and_the_time(tmp_path: Path) -> None:
    file = tmp_path / "lines.json"
    (tmp_path / "json.py").write_text("raise SystemExit('not this one')")  # must not be imported
    alloff.write_line_file(file, [*lines(17), *lines(22, active_low=False)], "mock", None)
    done = run(str(file), cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "rowgate stop step: driven off: 17, 22\n")
    mark = json.loads((tmp_path / alloff.PRETENDED).read_text())
    assert mark == {"off_levels": {"17": 1, "22": 0}}
    shut_at = alloff.read_shut_at(file)
    assert shut_at is not None
    assert (shut_at["shut"], shut_at["failed"]) == ((17, 22), {})
    assert shut_at["wall_utc"].endswith("+00:00")
    assert shut_at["mono_s"] > 0.0
    assert shut_at["boot_id"]


def test_the_first_of_several_stop_steps_says_when_the_lines_were_off(tmp_path: Path) -> None:
    # Two deaths in a row, the second before the daemon had computed what the first one gave.
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27), "mock", None)
    assert alloff.main([str(file)]) == 0
    first = alloff.read_shut_at(file)
    assert alloff.main([str(file)]) == 0
    assert alloff.read_shut_at(file) == first
    alloff.forget_shut_at(file)
    assert alloff.read_shut_at(file) is None
    assert alloff.main([str(file)]) == 0
    second = alloff.read_shut_at(file)
    assert first and second and second["mono_s"] > first["mono_s"]


@pytest.mark.parametrize(
    "told",
    [{"boot_id": "another"}, {"shut": [17]}, {"failed": {"27": "stuck"}}],
    ids=["another boot", "not every line", "one failed"],
)
def test_a_stop_step_that_does_not_cover_this_one_is_replaced(
    tmp_path: Path, told: dict[str, Any]
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17, 27), "mock", None)
    assert alloff.main([str(file)]) == 0
    mark = tmp_path / alloff.SHUT_AT
    before = json.loads(mark.read_text()) | told
    mark.write_text(json.dumps(before))
    assert alloff.main([str(file)]) == 0
    after = alloff.read_shut_at(file)
    assert after and after["mono_s"] > before["mono_s"] and after["shut"] == (17, 27)


def test_a_stop_step_that_drives_a_ball_says_its_own_moment(tmp_path: Path) -> None:
    ball = LineLimits(
        number=17,
        active_low=True,
        longest_open_s=60,
        most_open_s_per_day=600,
        close_number=27,
        opens_in_s=5.0,
        closes_in_s=5.0,
    )
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, [ball], "mock", None)
    assert alloff.main([str(file)]) == 0
    first = alloff.read_shut_at(file)
    assert alloff.main([str(file)]) == 0
    second = alloff.read_shut_at(file)
    assert first and second and second["mono_s"] > first["mono_s"]


def test_it_keeps_the_service_manager_s_word_for_how_the_daemon_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "mock", None)
    monkeypatch.setenv("SERVICE_RESULT", "watchdog")
    assert alloff.main([str(file)]) == 0
    found = alloff.read_shut_at(file)
    assert found and found["result"] == "watchdog"
    alloff.forget_shut_at(file)
    monkeypatch.delenv("SERVICE_RESULT")
    assert alloff.main([str(file)]) == 0  # by hand: nobody says a word
    assert json.loads((tmp_path / alloff.SHUT_AT).read_text())["result"] == ""
    told = json.loads((tmp_path / alloff.SHUT_AT).read_text())
    del told["result"]  # as an older Rowgate left it
    (tmp_path / alloff.SHUT_AT).write_text(json.dumps(told))
    older = alloff.read_shut_at(file)
    assert older and older["result"] == ""


def test_a_time_that_cannot_be_had_or_kept_is_said_and_stops_nothing(
    tmp_path: Path, kernel: Kernel, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    file = tmp_path / "lines.json"
    alloff.write_line_file(file, lines(17), "lgpio", 0)
    (tmp_path / f"{alloff.SHUT_AT}.new").mkdir()  # in the way of the file
    assert alloff.main([str(file)]) == 0
    assert "when that was cannot be written down: " in capsys.readouterr().err
    (tmp_path / f"{alloff.SHUT_AT}.new").rmdir()
    kernel.process_ends()

    def no_clock(self: SystemClock) -> float:
        raise OSError("no clock")

    monkeypatch.setattr(SystemClock, "mono_s", no_clock)
    assert alloff.main([str(file)]) == 0
    assert "when that was is not known: no clock" in capsys.readouterr().err
    assert kernel.levels == {17: 1}
    assert json.loads((tmp_path / alloff.SHUT_AT).read_text()) == {"shut": [17], "failed": {}}


def test_there_is_no_time_of_a_stop_step_that_never_ran(tmp_path: Path) -> None:
    assert alloff.read_shut_at(tmp_path / "lines.json") is None
    alloff.forget_shut_at(tmp_path / "lines.json")  # nothing to forget
    (tmp_path / alloff.SHUT_AT).write_text('{"wall_utc": 3}')
    assert alloff.read_shut_at(tmp_path / "lines.json") is None


def test_importing_it_brings_in_nothing_but_the_standard_library() -> None:
    code = (
        "import sys; before = set(sys.modules); import controller.valves.alloff;"
        "print(*sorted(set(sys.modules) - before))"
    )
    found = subprocess.run(
        [sys.executable, "-I", "-c", code], capture_output=True, text=True, timeout=60, check=True
    ).stdout.split()
    ours = {"controller", "controller.valves", "controller.valves.alloff"}
    assert ours <= set(found)
    foreign = [m for m in found if m.split(".")[0] not in sys.stdlib_module_names]
    assert set(foreign) == ours


@pytest.mark.skipif(
    not (Path("/usr/include/linux/gpio.h").is_file() and shutil.which("cc")),
    reason="no C compiler, or no linux/gpio.h (Debian's linux-libc-dev), on this machine",
)
def test_numbers_and_sizes_are_the_kernels(tmp_path: Path) -> None:
    # PRINTED: linux/gpio.h, the kernel's own header, by compiling it. Offsets of the fields we set
    # are looked up in our packing with a value no other field has.
    source = tmp_path / "gpio.c"
    source.write_text(
        "#include <linux/gpio.h>\n#include <stdio.h>\n#include <stddef.h>\n"
        "#define R struct gpio_v2_line_request\n#define C struct gpio_v2_line_config\n"
        "int main(void){printf("
        '"%lu %lu %lu %zu %zu %llu %d %zu %zu %zu %zu %zu",'
        "(unsigned long)GPIO_V2_GET_LINE_IOCTL,(unsigned long)GPIO_V2_LINE_GET_VALUES_IOCTL,"
        "(unsigned long)GPIO_V2_LINE_SET_VALUES_IOCTL,"
        "sizeof(R),sizeof(struct gpio_v2_line_values),"
        "(unsigned long long)GPIO_V2_LINE_FLAG_OUTPUT,GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES,"
        "offsetof(R,config)+offsetof(C,flags),offsetof(R,config)+offsetof(C,num_attrs),"
        "offsetof(R,config)+offsetof(C,attrs),offsetof(R,num_lines),offsetof(R,fd));}"
    )
    program = tmp_path / "gpio"
    subprocess.run(["cc", str(source), "-o", str(program)], check=True, timeout=60)
    printed = subprocess.run([str(program)], check=True, capture_output=True, text=True, timeout=60)
    (get_line, get_values, set_values, size, values_size, output, output_values, *offsets) = (
        int(n) for n in printed.stdout.split()
    )
    assert (get_line, get_values) == (alloff.GET_LINE_IOCTL, alloff.GET_VALUES_IOCTL)
    assert set_values == alloff.SET_VALUES_IOCTL
    assert (size, values_size) == (alloff.LINE_REQUEST.size, alloff.LINE_VALUES.size)
    assert (output, output_values) == (alloff.FLAG_OUTPUT, alloff.OUTPUT_VALUES)
    fields = [0] * 64 + [b""] + [0] * (1 + 1 + 5 + 40 + 1 + 1 + 5 + 1)
    ours = []
    for index in (65, 66, 72, 112, 119):  # flags, num_attrs, first attribute's id, num_lines, fd
        marked = list(fields)
        marked[index] = 0x5A
        ours.append(alloff.LINE_REQUEST.pack(*marked).index(0x5A))
    assert ours == offsets
