"""A page of memory that says what time it is; every process that maps it has the same clock.

Two of its hands only go forward: one counts what the board sleeps, and one stands still meanwhile.

The clock runs `rate` times as fast as the kernel's monotonic one, and can be put ahead by whoever
holds the page: by both its hands (so much time has passed) or by the wall's (somebody set it).
"""

from __future__ import annotations

import mmap
import struct
import time
from dataclasses import dataclass, replace
from pathlib import Path

ENVIRONMENT = "ROWGATE_TIME_PAGE"
_LAYOUT = struct.Struct("=Q5dQQ")


@dataclass(frozen=True, slots=True)
class ValveGroup:
    """Where the hands stood at one moment of the kernel's clock, and how fast they go."""

    real_s: float
    mono_s: float
    wall_s: float
    rate: float
    boot: int = 1
    synced: bool = True
    slept_s: float = 0.0

    @property
    def awake_s(self) -> float:
        """The hand that stands still while the board sleeps; threads wait by it."""
        return self.mono_s - self.slept_s

    def at(self, real_s: float) -> ValveGroup:
        """The hands at another moment."""
        gone = (real_s - self.real_s) * self.rate
        return replace(self, real_s=real_s, mono_s=self.mono_s + gone, wall_s=self.wall_s + gone)


class TimePage:
    """The page. One process turns the hands; any number read them."""

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        with self.path.open("r+b") as file:
            self._page = mmap.mmap(file.fileno(), mmap.PAGESIZE)

    @classmethod
    def new(
        cls, path: Path, *, wall_s: float, mono_s: float = 1000.0, rate: float = 1.0
    ) -> TimePage:
        """A page whose hands begin to move now."""
        path.write_bytes(bytes(mmap.PAGESIZE))
        page = cls(path)
        page._write(ValveGroup(time.monotonic(), mono_s, wall_s, rate))
        return page

    def now(self) -> ValveGroup:
        """The hands as they stand."""
        return self._read().at(time.monotonic())

    def mono_s(self) -> float:
        """The hand that only goes forward. [s]"""
        return self.now().mono_s

    def turn(
        self,
        *,
        by_s: float = 0.0,
        wall_by_s: float = 0.0,
        rate: float | None = None,
        synced: bool | None = None,
        asleep_s: float = 0.0,
    ) -> None:
        """Let time pass at once, awake or asleep, set the wall clock, or change the pace."""
        hands = self.now()
        self._write(
            replace(
                hands,
                mono_s=hands.mono_s + by_s + asleep_s,
                wall_s=hands.wall_s + by_s + wall_by_s + asleep_s,
                rate=hands.rate if rate is None else rate,
                synced=hands.synced if synced is None else synced,
                slept_s=hands.slept_s + asleep_s,
            )
        )

    def reboot(self) -> None:
        """The monotonic hand begins again, under another boot's name."""
        hands = self.now()
        self._write(replace(hands, mono_s=10.0, boot=hands.boot + 1, slept_s=0.0))

    def _read(self) -> ValveGroup:
        while True:
            turn, real, mono, wall, rate, slept, boot, synced = _LAYOUT.unpack_from(self._page)
            if turn % 2 == 0 and _LAYOUT.unpack_from(self._page)[0] == turn:
                return ValveGroup(real, mono, wall, rate, boot, bool(synced), slept)

    def _write(self, hands: ValveGroup) -> None:
        turn = _LAYOUT.unpack_from(self._page)[0]
        told = (
            *(hands.real_s, hands.mono_s, hands.wall_s, hands.rate, hands.slept_s),
            *(hands.boot, hands.synced),
        )
        struct.pack_into("=Q", self._page, 0, turn + 1)  # odd: a reader waits
        _LAYOUT.pack_into(self._page, 0, turn + 1, *told)
        struct.pack_into("=Q", self._page, 0, turn + 2)
