"""How late lines close: a bank and its closer on many lines, with every core kept busy.

`python -m process.late PULSES` runs as a child of `measure`, whose recorder it speaks to; it prints
what the bank's own clock says, as JSON. `bare` is the same appointments kept by nothing but a
sleep on the monotonic clock: what this machine can do at all.
"""

from __future__ import annotations

import heapq
import json
import multiprocessing
import os
import queue
import random
import sys
import time

from controller.clock import SystemClock, slept_s
from controller.valves.bank import Bank
from controller.valves.closer import Closer
from controller.valves.gpio import GpioPins
from controller.valves.group import BankRecord, What
from controller.valves.line import LineLimits
from controller.valves.pins import TimedPins
from process.manager import CHIP

LINES = tuple(range(2, 22))
SHORTEST_S, LONGEST_S = 0.05, 0.25


def pulses(count: int) -> list[tuple[int, float, float, float]]:
    """Line, deadline, for how long and lateness by the bank's own clock, of so many openings."""
    clock, ends = SystemClock(), queue.SimpleQueue[BankRecord]()
    limits = [
        LineLimits(number=n, active_low=True, longest_open_s=60.0, most_open_s_per_day=86400.0)
        for n in LINES
    ]
    pins = TimedPins(GpioPins("lgpio", CHIP), clock)
    bank = Bank(limits, pins, clock, ends.put, glance=pins.glance)
    closer = Closer(bank, clock)
    closer.start()
    chance = random.Random(1)
    asked: dict[int, tuple[float, float]] = {}
    done: list[tuple[int, float, float, float]] = []

    def open_one(line: int) -> None:
        for_s = chance.uniform(SHORTEST_S, LONGEST_S)
        asked[line] = (bank.open(line, for_s=for_s), for_s)

    begun = 0
    for line in LINES[:count]:
        open_one(line)
        begun += 1
    while len(done) < count:
        record = ends.get(timeout=30.0)
        if record.what is not What.CLOSED or record.number not in asked:
            continue
        deadline_s, for_s = asked.pop(record.number)
        # The recorder stamps by the clock that leaves out what the machine slept.
        done.append((record.number, deadline_s - slept_s(), for_s, record.open_s - for_s))
        if begun < count:
            open_one(record.number)
            begun += 1
    bank.shut_down("the end")
    closer.stop()
    return done


def bare(count: int) -> list[float]:
    """As many appointments at a time, kept by sleeping; how late each was. [s]"""
    chance, late = random.Random(1), list[float]()
    due = [time.monotonic() + chance.uniform(SHORTEST_S, LONGEST_S) for _ in LINES]
    heapq.heapify(due)
    while len(late) < count:
        wait_s = due[0] - time.monotonic()
        if wait_s > 0.0:
            time.sleep(wait_s)
        late.append(time.monotonic() - heapq.heappop(due))
        heapq.heappush(due, time.monotonic() + chance.uniform(SHORTEST_S, LONGEST_S))
    return late


class Burning:
    """Every core busy with nothing."""

    def __enter__(self) -> None:
        self._processes = [
            multiprocessing.get_context("spawn").Process(target=_burn, daemon=True)
            for _ in range(os.cpu_count() or 2)
        ]
        for process in self._processes:
            process.start()

    def __exit__(self, *_: object) -> None:
        for process in self._processes:
            process.kill()
            process.join()


def _burn() -> None:
    while True:
        sum(range(10_000))


if __name__ == "__main__":
    how, count = sys.argv[1], int(sys.argv[2])
    print(json.dumps(pulses(count) if how == "bank" else bare(count)))
