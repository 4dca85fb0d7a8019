"""Recovery after a crash: what was open, what it gave, and how often the daemon was started.

A pulse is credited up to the last sign that water flowed: its last heartbeat, or, in the same boot,
the moment at which the stop step drove all lines off. An opening that was only intended gave
nothing. The new plan counts what was given and asks for the rest, once.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from controller.clock import Clock
from controller.daemon.flow.litres import FlowOf, OpenSpan, litres_of
from controller.daemon.journal import Journal
from controller.errors import LogbookError
from controller.garden.model import Garden
from controller.logbook.queries import Questions
from controller.logbook.records import Happening, PulseRow, PulseState
from controller.valves.alloff import read_shut_at

# A deadline is kept by threads, and by a supervisor a little later; our choice.
MARGIN_S = 5.0
_UNKNOWN_BOOT = "unknown"  # a kernel that does not say: two such boots may not be the same


@dataclass(frozen=True, slots=True, kw_only=True)
class ShutAt:
    """When the stop step drove every line off."""

    mono_s: float
    boot_id: str
    lines: frozenset[int]  # those it knows to be off
    result: str = ""  # how the daemon ended, as the service manager calls it


def shut_at(line_file: Path) -> ShutAt | None:
    """What the last stop step left beside the line file; None if it does not read."""
    found = read_shut_at(line_file)
    if found is None:
        return None
    return ShutAt(
        mono_s=found["mono_s"],
        boot_id=found["boot_id"],
        lines=frozenset(found["shut"]),
        result=found["result"],
    )


def open_in_last_day(logbook: Path, garden: Garden, now_utc: datetime) -> dict[int, float]:
    """Seconds each line was open in the last day, by the logbook; nothing where there is none.

    May raise LogbookError.
    """
    if not logbook.is_file():
        return {}
    with Questions(logbook) as ask:
        seconds = ask.open_seconds_since(now_utc - timedelta(days=1))
    return {
        zone.valve.relay_line: seconds.get(zone.name, 0.0)
        for zone in garden.zones
        if zone.valve.relay_line is not None
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovered:
    """The outcome of a pulse that a crash left unfinished; `refused` if it never opened."""

    row: PulseRow
    refused: bool
    open_s: float
    litres: float
    why: str


def write_down(found: Iterable[Recovered], journal: Journal) -> None:
    """Write down these outcomes; the pulses are then finished, and not found again."""
    for item in found:
        if item.refused:
            journal.refused(item.row.id, item.why)
            journal.happening("recovery", item.why, item.row.zone)
        else:
            journal.cut(item.row.id, open_s=item.open_s, litres=item.litres, why=item.why)
            words = f"{item.why}: {item.open_s:.0f} s, {item.litres:.1f} L; the rest stays owed"
            journal.happening("recovery", words, item.row.zone)


def recover(
    rows: Iterable[PulseRow],
    *,
    boot_id: str,
    stopped: ShutAt | None,
    flow_l_s: FlowOf,
    stays_open: Collection[str] = (),
) -> list[Recovered]:
    """Judge every unfinished pulse.

    The valves of the zones in `stays_open` stay where they are without current: after a power cut
    water may have run until we drove them shut. Nobody knows how much: it is reported, not
    credited.

    `flow_l_s` is asked only for what flowed between the last heartbeat and the stop step; a zone
    that the garden no longer has gives nothing there.
    """
    unfinished = list(rows)
    ends = {row.id: _open_s(row, boot_id, stopped) for row in unfinished}
    for row in unfinished:
        open_s, why = ends[row.id]
        if row.zone in stays_open and row.opened_mono_s is not None and row.boot_id != boot_id:
            why += "; its valve stays where it is without current, and water may have run till now"
            ends[row.id] = open_s, why
    spans = {
        row.id: _span(row, (row.beat_open_s or 0.0), ends[row.id][0])
        for row in unfinished
        if row.opened_mono_s is not None
    }
    return [_recovered(row, *ends[row.id], spans, flow_l_s) for row in unfinished]


def _recovered(
    row: PulseRow,
    open_s: float,
    why: str,
    spans: dict[int, OpenSpan],
    flow_l_s: FlowOf,
) -> Recovered:
    if row.state is PulseState.INTENDED or row.id not in spans:
        return Recovered(row=row, refused=True, open_s=0.0, litres=0.0, why=why)
    litres = row.beat_litres or 0.0
    span = spans[row.id]
    if span.to_mono_s > span.from_mono_s:
        others = [s for key, s in spans.items() if key != row.id]
        litres += litres_of(span, others, flow_l_s)
    return Recovered(
        row=row,
        refused=False,
        open_s=open_s,
        litres=litres,
        why=why,
    )


def _open_s(row: PulseRow, boot_id: str, stopped: ShutAt | None) -> tuple[float, str]:
    """How long it was open as far as we know, and how we know it."""
    if row.state is PulseState.INTENDED or row.opened_mono_s is None:
        return 0.0, "meant to open when the daemon died; no sign that it did"
    beat_s = row.beat_open_s or 0.0
    longest_s = (row.planned_open_s or beat_s) + MARGIN_S
    if (
        stopped is not None
        and row.boot_id == stopped.boot_id == boot_id
        and boot_id != _UNKNOWN_BOOT
        and row.relay_line in stopped.lines
        and stopped.mono_s - row.opened_mono_s > beat_s
    ):
        open_s = min(stopped.mono_s - row.opened_mono_s, longest_s)
        return max(open_s, beat_s), "the daemon died; shut by the stop step"
    return min(beat_s, longest_s), "the daemon died; counted to its last heartbeat"


def _span(row: PulseRow, from_s: float, to_s: float) -> OpenSpan:
    assert row.opened_mono_s is not None
    return OpenSpan(
        zone=row.zone,
        from_mono_s=row.opened_mono_s + from_s,
        to_mono_s=row.opened_mono_s + max(from_s, to_s),
    )


STARTED, ENDED = "started", "ended"
FIRST = "the first start"
# What the service manager calls the end of a unit, systemd.exec(5): $SERVICE_RESULT.
_BY_RESULT: Mapping[str, str] = {
    "watchdog": "it gave no sign of life, and the service manager ended it",
    "oom-kill": "the board had no memory left, and the kernel ended it",
    "timeout": "it took too long to start or to end, and the service manager ended it",
    "core-dump": "it crashed",
}
_LOOK_BACK = 300  # happenings; our choice
_SLACK = timedelta(seconds=5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Restarts:
    """Starts within the last day, with this one, and why the daemon before this one ended."""

    in_last_day: int
    last_ended: str


def how_it_ended(
    before: Sequence[Happening], *, now_utc: datetime, mono_s: float, stopped: ShutAt | None
) -> str:
    """Why the daemon before this one ended, from the newest of its own rows.

    `stopped` is the stop step that ran after it within this boot.
    """
    last = next((row for row in before if row.kind in (STARTED, ENDED)), None)
    if last is None:
        return FIRST
    if last.kind == ENDED:
        return last.words
    # The monotonic clock counts from the boot on; a row from before it is of another boot.
    if last.at_utc < now_utc - timedelta(seconds=mono_s) - _SLACK:
        return "the board was started anew, or had lost its power"
    if stopped is None:
        return "it was killed or crashed"
    why = _BY_RESULT.get(stopped.result, "it was killed or crashed")
    return f"{why}; the stop step shut the lines"


def starting(journal: Journal, clock: Clock, stopped: ShutAt | None) -> Restarts:
    """Write down the start; if the logbook does not answer, this start counts alone."""
    now = clock.now_utc()
    try:
        before = journal.happenings(_LOOK_BACK)
        why = how_it_ended(
            before,
            now_utc=now,
            mono_s=clock.mono_s(),
            stopped=None if stopped is None or stopped.boot_id != clock.boot_id() else stopped,
        )
        journal.happening(STARTED, f"before: {why}")
    except LogbookError:
        return Restarts(in_last_day=1, last_ended="not known")
    lately = [r for r in before if r.kind == STARTED and now - timedelta(days=1) < r.at_utc <= now]
    return Restarts(in_last_day=len(lately) + 1, last_ended=why)


def ending(journal: Journal, why: str) -> None:
    """Write down why the daemon ends, if the logbook takes it."""
    with contextlib.suppress(LogbookError):
        journal.happening(ENDED, why)
