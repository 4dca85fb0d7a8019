"""How the daemon stands: what the board reports of itself, and what was counted since the start.

Nothing here can fail: what a board does not report is None. The files are from memory of the
kernel's interfaces, except the setting of released pins, which its documentation names.

The engine writes a new page of facts now and then; the health address reads the last one, and so
neither waits nor holds anything up.
"""

from __future__ import annotations

import math
import os
import shutil
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from controller.clock import Clock, slept_s
from controller.daemon.openings import Ended

HEAT = Path("/sys/class/thermal/thermal_zone0/temp")  # thousandths of a degree C
HWMON = Path("/sys/class/hwmon")
VOLT_NAME, VOLT_ALARM = "rpi_volt", "in0_lcrit_alarm"  # 1 while the supply is too weak
KEEPS_PINS = Path("/sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs")
MEMORY = Path("/proc/self/statm")  # pages; the second figure is what is resident
LOOK_EVERY_S = 60.0  # between two looks for something to report; our choice
LEAST_DISK_MB = 50.0  # reported when less is free; our choice
HOT_C = 80.0  # boards slow down from about there; from memory
SLEPT_LEAST_S = 1.0  # the two clocks are read one after the other
KEEPS_WORDS = (
    "this kernel leaves a pin as it was when the daemon is killed, so a valve may stay open until "
    "the stop step has run; dtparam=strict_gpiod in the board's config.txt ends that"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardFiles:
    """Where the board reports what."""

    heat: Path = HEAT
    hwmon: Path = HWMON
    keeps_pins: Path = KEEPS_PINS
    memory: Path = MEMORY
    slept_s: Callable[[], float] = slept_s


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardNow:
    """How the board stands; None for what it does not report."""

    heat_c: float | None = None
    weak_supply: bool | None = None
    disk_free_mb: float | None = None
    memory_mb: float | None = None
    keeps_pins: bool | None = None
    slept_s: float | None = None  # since its boot
    warnings: tuple[str, ...] = field(default=())

    def as_dict(self) -> Mapping[str, object]:
        """As the status answer carries it."""
        return {
            "heat_c": self.heat_c,
            "weak_supply": self.weak_supply,
            "disk_free_mb": self.disk_free_mb,
            "memory_mb": self.memory_mb,
            "keeps_pins": self.keeps_pins,
            "slept_s": self.slept_s,
            "doubts": list(self.warnings),
        }


class BoardWatch:
    """Reports faults of the board: each kind once a day, the kernel's setting once for good.

    `already` are messages that were reported before this start.
    """

    def __init__(
        self,
        look: Callable[[], BoardNow],
        clock: Clock,
        report: Callable[[str, str], None],
        already: Iterable[str] = (),
    ) -> None:
        self._look, self._clock, self._report = look, clock, report
        self._reported: set[tuple[str, date | None]] = {
            (KEEPS_WORDS, None) for message in already if message == KEEPS_WORDS
        }
        self._looked_mono_s = float("-inf")

    def look(self, today: date) -> None:
        """Look now and then, and report what is new."""
        now = self._clock.mono_s()
        if now - self._looked_mono_s < LOOK_EVERY_S:
            return
        self._looked_mono_s = now
        for message in self._look().warnings:
            # Known by its kind: the figures in it change.
            key = (message, None) if message == KEEPS_WORDS else (_kind(message), today)
            if key not in self._reported:
                self._reported.add(key)
                self._report("board", message)


def _kind(message: str) -> str:
    return "".join(letter for letter in message if not letter.isdigit())


def look_at_board(state_dir: Path, files: BoardFiles | None = None) -> BoardNow:
    """Read everything the board reports now."""
    files = files or BoardFiles()
    heat = _number(files.heat)
    heat_c = None if heat is None else heat / 1000.0
    weak = _weak_supply(files.hwmon)
    free_mb, memory_mb = _disk_free_mb(state_dir), _memory_mb(files.memory)
    keeps = _yes(files.keeps_pins)
    warnings = []
    if heat_c is not None and heat_c >= HOT_C:
        warnings.append(f"the board is at {heat_c:.0f} C; give it air or shade")
    if weak:
        warnings.append("the board's supply is too weak; another power supply or cable is needed")
    if free_mb is not None and free_mb < LEAST_DISK_MB:
        warnings.append(f"only {free_mb:.0f} MB are free where the logbook lies")
    if keeps:
        warnings.append(KEEPS_WORDS)
    slept = files.slept_s()
    if slept >= SLEPT_LEAST_S:
        warnings.append(
            f"the board has slept for {math.ceil(slept / 60.0)} min since its boot; nothing shuts "
            "a valve while it sleeps: forbid it with systemctl mask sleep.target"
        )
    return BoardNow(
        heat_c=heat_c,
        weak_supply=weak,
        disk_free_mb=free_mb,
        memory_mb=memory_mb,
        keeps_pins=keeps,
        slept_s=slept if slept >= SLEPT_LEAST_S else None,
        warnings=tuple(warnings),
    )


def _text(path: Path) -> str | None:
    try:
        return path.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        return None


def _number(path: Path) -> float | None:
    try:
        return float(_text(path) or "")
    except ValueError:
        return None


def _yes(path: Path) -> bool | None:
    text = _text(path)
    return None if text is None else text in ("Y", "y", "1")


def _weak_supply(hwmon: Path) -> bool | None:
    try:
        chips = sorted(hwmon.iterdir())
    except OSError:
        return None
    for chip in chips:
        if _text(chip / "name") == VOLT_NAME:
            return _yes(chip / VOLT_ALARM)
    return None


def _disk_free_mb(state_dir: Path) -> float | None:
    try:
        return shutil.disk_usage(state_dir).free / 1e6
    except OSError:
        return None


def _memory_mb(statm: Path) -> float | None:
    try:
        return int((_text(statm) or "").split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    except (ValueError, IndexError, OSError):
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The daemon's state at a moment of the monotonic clock; None for what never was."""

    at_mono_s: float
    litres: Mapping[str, float] = field(default_factory=dict)  # by zone, since the start
    pulses: Mapping[tuple[str, str], int] = field(default_factory=dict)  # by zone, how known
    reported: Mapping[str, int] = field(default_factory=dict)  # happenings by kind
    open_lines: int = 0
    planned_mono_s: float | None = None
    weather_mono_s: float | None = None  # when a source last gave days
    clock_trusted: bool = True
    litres_by: str = "time"
    starts_in_last_day: int = 1
    board: BoardNow = field(default_factory=BoardNow)


class Counts:
    """Counts since the start; used in the engine's thread."""

    def __init__(self) -> None:
        self.litres: dict[str, float] = {}
        self.pulses: Counter[tuple[str, str]] = Counter()

    def ended(self, end: Ended) -> None:
        """Count an opening that is over."""
        zone = end.running.zone
        self.litres[zone] = self.litres.get(zone, 0.0) + end.litres
        self.pulses[zone, str(end.how)] += 1
