"""The closer, a thread that wakes exactly at each deadline, and the supervisor that checks it.

Neither needs a database, a network, a scheduler or the wall clock. A call that hangs in the pin
driver (`TimedPins`) delays neither for long; the process must end for it. If both fail, the
watchdog gets no sign of life, and the service manager's stop step drives all off.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from controller.clock import Clock
from controller.errors import ValveFault
from controller.valves.bank import Bank
from controller.valves.line import MAY_RUN, State, fault_text

# Our choice: how often the closer moves when nothing is due. So much later than a board that slept
# it wakes at most; the supervisor does sooner.
BEAT_S = 1.0
AT_REST = 2.0  # our choice: so many beats apart while no line is open, closing or stuck
MARGIN_S = 0.5  # our choice: how long past its deadline a line may wait for the closer
STALE_S = 5.0  # our choice: a closer silent for longer than this is taken for dead
LOCK_S = 2.0  # our choice: how long the supervisor waits for the bank's lock
HANGS_S = 5.0  # our choice: how long a call may hang in the pin driver before the process must end


class Closer:
    """Closes each line at its deadline, in a thread of its own."""

    def __init__(self, bank: Bank, clock: Clock, *, beat_s: float = BEAT_S) -> None:
        self._bank, self._clock, self._beat_s = bank, clock, beat_s
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._run, name="closer", daemon=True)
        self._beat_mono_s = clock.mono_s()
        self._fault = ""

    @property
    def last_beat_mono_s(self) -> float:
        """When it last went through the lines without a fault of its own. [s]"""
        return self._beat_mono_s

    @property
    def fault(self) -> str:
        """The text of the fault of its last round; empty if there was none."""
        return self._fault

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, *, at_most_s: float = 2.0) -> bool:
        """End the thread; whether it ended. Call it after `Bank.shut_down`, not before."""
        self._ending.set()
        self._bank.wake()
        if self._thread.is_alive():
            self._thread.join(at_most_s)
        return not self._thread.is_alive()

    def round(self) -> tuple[int, ...]:
        """Close what is due, then beat; the lines that closed. After a fault it does not beat."""
        try:
            closed = self._bank.close_due()
        except Exception as fault:  # noqa: BLE001 - it must live on and try again
            self._fault = fault_text(fault)
            return ()
        self._beat_mono_s, self._fault = self._clock.mono_s(), ""
        return closed

    def _run(self) -> None:
        while not self._ending.is_set():
            self.round()
            if self._fault:
                self._ending.wait(self._beat_s)
            else:
                self._bank.wait_until_due(
                    self._beat_s, at_rest_s=AT_REST * self._beat_s, unless=self._ending.is_set
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What the supervisor found and did at one look."""

    closed_late: tuple[int, ...] = ()  # lines the closer should have closed, and we did
    faulty: tuple[int, ...] = ()  # lines that were not as they should be; driven off
    faults: tuple[str, ...] = ()  # why this process must not go on, from the first time on
    at_rest: bool = False  # no line is open, closing or stuck

    @property
    def sound(self) -> bool:
        """Whether the watchdog may hear that all is well; if not, end the process."""
        return not self.faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long the supervisor lets line, closer, lock and pin driver be late. [s]"""

    margin_s: float = MARGIN_S
    stale_s: float = STALE_S
    lock_s: float = LOCK_S
    hangs_s: float = HANGS_S


USUAL_PATIENCE = Patience()


class Supervisor:
    """Checks the lines and the closer, once a second, from the main thread.

    `hanging` gives the lines whose calls hang in the pin driver, and since when.
    """

    def __init__(
        self,
        bank: Bank,
        closer: Closer,
        clock: Clock,
        patience: Patience = USUAL_PATIENCE,
        *,
        hanging: Callable[[], Mapping[int, float]] = dict,
    ) -> None:
        self._patience, self._hanging = patience, hanging
        self._bank, self._closer, self._clock = bank, closer, clock
        self._looked_mono_s = clock.mono_s()
        self._stood_still_mono_s = -math.inf  # until when the process, or the board, last did
        self._end_because: tuple[str, ...] = ()

    def check(self) -> Findings:
        """Close what is overdue, drive off what is faulty, and say whether the process may go on.

        A closer that does not move, or a bank whose lock cannot be had, shuts the bank for good:
        every line is driven off and nothing opens until the daemon is started anew. So does a call
        that hangs in the pin driver: only our end frees the line for the stop step. Where the line
        is known to be off all the same, the others may end their openings first.
        """
        patience_s = self._patience.lock_s
        try:
            late = self._bank.close_due(margin_s=self._patience.margin_s, patience_s=patience_s)
            faulty = self._bank.look(patience_s=patience_s)
            states = self._bank.states(patience_s=patience_s)
            why = self._stale() or self._hung(states)
            if why:
                self._end_because = self._end_because or (why,)
                self._bank.shut_down(why, patience_s=patience_s)
            states = self._bank.states(patience_s=patience_s)
        except ValveFault as fault:
            self._end_because = self._end_because or (str(fault),)
            self._bank.off_past_the_lock()
            return Findings(faults=self._end_because)
        return Findings(
            closed_late=late,
            faulty=faulty,
            faults=self._end_because,
            at_rest=not any(state in MAY_RUN for state in states.values()),
        )

    def _hung(self, states: Mapping[int, State]) -> str:
        """The line whose call has hung for too long, as text; empty if none has, or it can wait."""
        now = self._clock.mono_s()
        hangs_s = self._patience.hangs_s
        hung = [n for n, since in self._hanging().items() if now - since > hangs_s]
        stuck = State.STUCK in states.values()
        if not hung or (not stuck and not MAY_RUN.isdisjoint(states.values())):
            return ""
        lines = ", ".join(f"line {number}" for number in sorted(hung))
        return f"the pin driver has not come back from {lines} for {hangs_s:g} s"

    def _stale(self) -> str:
        """Why the closer counts as dead; empty if it does not."""
        now, stale_s = self._clock.mono_s(), self._patience.stale_s
        # If we did not look for so long ourselves, the whole process stood still, or the board
        # slept: the closer has as long again from now on. It wakes later than we do.
        if now - self._looked_mono_s > stale_s:
            self._stood_still_mono_s = now
        self._looked_mono_s = now
        silent_s = now - max(self._closer.last_beat_mono_s, self._stood_still_mono_s)
        if silent_s <= stale_s:
            return ""
        why = f" ({self._closer.fault})" if self._closer.fault else ""
        return f"the closer has not moved for {silent_s:.0f} s{why}"
