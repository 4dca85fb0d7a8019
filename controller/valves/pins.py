"""The pins of the board as the other rooms know them: outputs, inputs, and calls that come back.

The bank holds its one lock while it drives a line. A driver that hangs on one line would delay the
closing of all others. So a worker thread makes each call, and the bank waits a bounded time. A
worker that hangs stays with its line; others go on with another.

While a call of a line hangs, that line is only driven off, and read, by one more worker. A hung
call to drive it on may still come through: until it is back the line is not known to be off,
whatever is read. Once it is back, the worker itself drives the line off.

One thing this cannot help: a driver that holds the interpreter while it hangs. Then no thread moves
at all, and the service manager's watchdog ends the process.

Inputs are switches and pulse counters; a counter works from any thread, and never raises. Debounce
is our own, on the times of the edges, because not every pin driver does it. An edge to active
counts only if the input was at rest for the debounce time before it. A bounce follows its edge
within that time, so one closing of a contact counts once.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from controller.clock import Clock
from controller.errors import ValveFault, require_range


class PinDriver(Protocol):
    """What the bank knows of pins; `on` means current in the relay's coil and water in the row."""

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line as an output that is off from its first moment."""

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""

    def read(self, number: int) -> bool:
        """Whether the line's level, as it is now, is the one for on."""

    def let_go(self, number: int) -> None:
        """Drive the line off and give it back: it may be claimed anew, or taken as an input."""

    def release_all(self) -> None:
        """Drive every line off, for the end of the process."""


# Our choice: so many looks, so long apart, a call is waited for. A process that gets no time itself
# looks more slowly, so a busy board is not taken for a driver that hangs.
LOOKS, LOOK_S = 10, 0.05
LOOKS_AGAIN = 3  # at a line of which a call hangs already; our choice
# Our choice: taking a line is waited for so many times longer. The first one asks what board it
# is, which takes a small board long; nothing is open meanwhile.
TAKING = 10
_MOST_WORKERS = 2  # at a line: one that hangs, and one that drives it off


class _Call:
    """One call of the driver, and its result."""

    def __init__(self, number: int, act: Callable[[], Any], *, on: bool, moves: bool) -> None:
        self.number, self.act = number, act
        self.on, self.moves = on, moves  # drives the line on; may change its level
        self.done = threading.Lock()
        self.done.acquire()
        self.left = False  # nobody waits for it any more
        self.result: Any = None
        self.fault: BaseException | None = None


class _Worker:
    """A thread that makes one call at a time."""

    def __init__(self, back: Callable[[_Worker, _Call], None]) -> None:
        self._back = back
        self._given = threading.Semaphore(0)
        self._call: _Call | None = None
        self.thread = threading.Thread(target=self._run, name="pins", daemon=True)
        self.thread.start()

    def give(self, call: _Call | None) -> None:
        """Make this call; None ends the worker."""
        self._call = call
        self._given.release()

    def _run(self) -> None:
        while True:
            self._given.acquire()
            call = self._call
            if call is None:
                return
            try:
                call.result = call.act()
            except BaseException as fault:  # noqa: BLE001 - raised again where it was asked for
                call.fault = fault
            self._back(self, call)


class TimedPins:
    """A pin driver whose every call comes back in time, or is a `ValveFault`. Thread-safe."""

    def __init__(
        self, pins: PinDriver, clock: Clock, *, looks: int = LOOKS, look_s: float = LOOK_S
    ) -> None:
        self._pins, self._clock, self._looks, self._look_s = pins, clock, looks, look_s
        self._lock = threading.Lock()
        self._idle: deque[_Worker] = deque()
        self._hanging: dict[int, list[tuple[_Call, float]]] = {}  # by line, with since when
        self._claimed: dict[int, None] = {}
        self._late: dict[int, bool] = {}  # taken after all, and whether active low
        # One more than is needed: it must be there when no thread can be begun.
        for _ in range(2):
            self._idle.append(_Worker(self._came_back))

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line, off; drive it off where it was taken in a call that came back late."""

        def take() -> None:
            if self._late.get(number) == active_low:
                self._pins.write(number, False)
                return
            self._pins.claim(number, active_low)
            self._late[number] = active_low

        self._made(number, take, "taking", looks=self._looks * TAKING)
        del self._late[number]
        self._claimed[number] = None

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""
        words = "driving on" if on else "driving off"
        self._made(number, lambda: self._pins.write(number, on), words, on=on, safe=not on)
        if not on:
            with self._lock:
                if any(call.on for call, _ in self._hanging.get(number, ())):
                    raise ValveFault(f"line {number} was driven off, but driving it on still hangs")

    def read(self, number: int) -> bool:
        """Whether the line's level is the one for on."""
        act = lambda: self._pins.read(number)  # noqa: E731
        return bool(self._made(number, act, "reading", safe=True, moves=False))

    def let_go(self, number: int) -> None:
        """Drive the line off and give it back."""
        self._made(number, lambda: self._pins.let_go(number), "giving back")
        self._claimed.pop(number, None)

    def release_all(self) -> None:
        """Drive every line off, each in its own try, and end the free workers."""
        failed = []
        for number in self._claimed:
            try:
                self.write(number, False)
            except Exception as fault:  # noqa: BLE001 - a dead line must not stop the others
                failed.append(str(fault))
        with self._lock:
            while self._idle:
                self._idle.pop().give(None)
        if failed:
            raise ValveFault("; ".join(failed))

    def glance(self, number: int) -> bool:
        """As `read`, in the calling thread; only while nothing hangs, and never with a lock."""
        if self._hanging:
            raise ValveFault(f"line {number} is not read in passing while a call hangs")
        return self._pins.read(number)

    def hanging(self) -> Mapping[int, float]:
        """The lines of which a call hangs, and since when on the monotonic clock. [s]"""
        with self._lock:
            return {number: calls[0][1] for number, calls in self._hanging.items()}

    def _made(
        self,
        number: int,
        act: Callable[[], Any],
        words: str,
        *,
        on: bool = False,
        safe: bool = False,
        moves: bool = True,
        looks: int | None = None,
    ) -> Any:
        """Let a worker make the call, and wait for it; its result, or its fault raised."""
        hangs = f"the pin driver does not come back from {words} line {number}"
        call = _Call(number, act, on=on, moves=moves)
        with self._lock:
            waiting = len(self._hanging.get(number, ()))
            if waiting and (not safe or waiting >= _MOST_WORKERS):
                raise ValveFault(hangs)
            worker = self._free_worker()
            if worker is None and waiting:
                raise ValveFault(hangs)
        if worker is None:
            return act()  # no thread can be begun: as well as can be
        begun_mono_s = self._clock.mono_s()
        worker.give(call)
        if waiting:
            looks = LOOKS_AGAIN
        for _ in range(self._looks if looks is None else looks):
            if call.done.acquire(timeout=self._look_s):
                break
        else:
            with self._lock:
                if not call.done.acquire(blocking=False):
                    call.left = True
                    self._hanging.setdefault(number, []).append((call, begun_mono_s))
                    raise ValveFault(hangs)
        if call.fault is not None:
            raise call.fault
        return call.result

    def _free_worker(self) -> _Worker | None:
        """A worker for a call; another is begun if it was the last. None where none can be had."""
        worker = self._idle.popleft() if self._idle else None
        with contextlib.suppress(RuntimeError):  # no thread can be begun
            if not self._idle:
                self._idle.append(_Worker(self._came_back))
            if worker is None:
                worker = self._idle.popleft()
        return worker

    def _came_back(self, worker: _Worker, call: _Call) -> None:
        """In the worker's own thread, after its call: it tidies up if it is late, and is free."""
        with self._lock:
            call.done.release()
            if not call.left:
                self._idle.appendleft(worker)
                return
        if call.moves:  # nobody knows what it did to the line in the end
            with contextlib.suppress(Exception):  # the bank drives it off again, and checks that
                self._pins.write(call.number, False)
        with self._lock:
            left = [(each, at) for each, at in self._hanging[call.number] if each is not call]
            self._hanging[call.number] = left
            if not left:
                del self._hanging[call.number]
            self._idle.append(worker)


OnEdge = Callable[[float], None]
"""Called for each edge to active that counts, with its moment on the monotonic clock. [s]"""


class InputDriver(Protocol):
    """What other rooms know of input pins; `active` means contact closed, switch on."""

    def watch(self, number: int, *, active_low: bool, debounce_s: float, on_edge: OnEdge) -> None:
        """Take the line as an input and report every edge to active; `ValveFault` if that fails.

        `on_edge` is called from a thread of the driver's, and must return at once.
        """

    def level(self, number: int) -> bool:
        """Whether a watched line is active now; `ValveFault` if it cannot be read."""


class Debounce:
    """Separates edges that count from the bounces after them; it gets each change and its time."""

    def __init__(self, debounce_s: float) -> None:
        self._debounce_s = require_range("debounce_s", debounce_s, 0.0, 60.0)
        self._active: bool | None = None
        self._changed_s = float("-inf")

    def changed(self, active: bool, at_s: float) -> bool:
        """Whether this change is an edge to active that counts."""
        if active == self._active:
            return False  # an edge in between was missed, or the first look found it already
        rested = at_s - self._changed_s >= self._debounce_s
        self._active, self._changed_s = active, at_s
        return active and rested

    def starts(self, active: bool) -> None:
        """Take the level found when the watch begins: it is no edge."""
        self._active = active


class PulseCounter:
    """Counts the pulses of a meter or gauge; thread-safe. A driver calls `edge`."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._count = 0

    def edge(self, mono_s: float) -> None:
        """Count a pulse; never raises."""
        with self._lock:
            self._count += 1

    def count(self) -> int:
        """Pulses since the start."""
        with self._lock:
            return self._count
