"""Judges what happened, from the recorder's record and from the logbook, by neither's leave."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from controller.daemon.openings import BEAT_S
from controller.daemon.recovery import MARGIN_S
from controller.hydraulics.network.garden_lines import Lines
from controller.logbook.queries import Questions
from controller.logbook.records import PulseRow, PulseState
from controller.units import l_from_m3
from process.deaths import Death
from process.manager import ON_LEVEL, Manager
from process.recorder import OnSpan

LATE_S = 1.0  # real seconds: how late a line may go off after its deadline or its rescue
# Real seconds between the moments two processes stamp for the same thing: a busy machine's.
STAMPS_S = 0.4
START_S = 15.0  # real seconds in which a daemon started anew has driven all lines off
_GAVE = (PulseState.CLOSED, PulseState.CUT)


@dataclass(frozen=True, slots=True)
class Pulse:
    """A row of the logbook and the stretch in which its line was on."""

    row: PulseRow
    span: OnSpan
    death: Death | None  # that came while the line was on

    @property
    def on_s(self) -> float:
        """Real seconds."""
        assert self.span.end_s is not None
        return self.span.end_s - self.span.begin_s


@dataclass(frozen=True, slots=True)
class Audit:
    """Every pulse, and how late its line went off. [real s]"""

    pulses: tuple[Pulse, ...]
    late_s: tuple[float, ...]  # of pulses nobody disturbed, against their own length
    credited_l: Mapping[int, float]  # by line, by the logbook
    recorded_l: Mapping[int, float]  # by line, by the recorder and the hydraulics


def rows_of(logbook: Path) -> list[PulseRow]:
    """All pulses."""
    with Questions(logbook) as ask:
        return ask.pulses(date.min, date.max)


def audit(manager: Manager, deaths: Sequence[Death], rate: float, lines: Lines) -> Audit:
    """Hold the record against the logbook; raises where a promise is broken."""
    rows = rows_of(manager.logbook)
    spans = manager.recorder.spans(ON_LEVEL)
    assert not [s for s in spans if s.end_s is None], "a line is on at the end"
    by_id = {row.id: row for row in rows}
    pulses = []
    for span in spans:
        # Before water flowed, exactly one pulse of this line was on disk as meant to open, and it
        # is there to the end: what was acknowledged is not lost.
        assert span.meant is not None and len(span.meant) == 1, span
        row = by_id.get(span.meant[0])
        assert row is not None, f"pulse {span.meant[0]} is gone from the logbook"
        assert row.relay_line == span.line
        pulses.append(Pulse(row, span, _death_during(span, deaths)))
    _nothing_twice(rows, pulses)
    late = [_off_in_time(pulse, rate) for pulse in pulses]
    for pulse in pulses:
        _counted_rightly(pulse, rate)
    return Audit(
        pulses=tuple(pulses),
        late_s=tuple(x for x in late if x is not None),
        credited_l=_credited(rows),
        recorded_l=recorded_litres(spans, rate, lines),
    )


def _death_during(span: OnSpan, deaths: Sequence[Death]) -> Death | None:
    """The first death after the line went on, if it came before the line was off."""
    i = bisect_right([d.real_s for d in deaths], span.begin_s)
    if i < len(deaths) and span.end_s is not None and deaths[i].real_s < span.end_s + STAMPS_S:
        return deaths[i]
    return None


def _nothing_twice(rows: Sequence[PulseRow], pulses: Sequence[Pulse]) -> None:
    assert len({row.key for row in rows}) == len(rows)
    often = Counter(p.row.id for p in pulses)
    assert max(often.values(), default=0) <= 1, often.most_common(3)
    for row in rows:
        assert row.state not in (PulseState.OPEN, PulseState.INTENDED), row
        if row.id not in often:
            assert row.state not in _GAVE, f"{row.key} is credited, and its line was never on"


def _off_in_time(pulse: Pulse, rate: float) -> float | None:
    """No line is on past its deadline, or past its rescue after a death; how late it was."""
    planned_s = (pulse.row.planned_open_s or 0.0) / rate
    assert pulse.row.planned_open_s, pulse.row
    late_s = pulse.on_s - planned_s
    if pulse.death is None:
        assert late_s <= LATE_S, f"{pulse.row.key}: {late_s:.2f} s late"
        return late_s
    assert pulse.span.end_s is not None
    seen_to_s = pulse.death.seen_to_s
    if math.isinf(seen_to_s):
        seen_to_s = pulse.death.real_s + START_S
    allowed_s = max(pulse.span.begin_s + planned_s, seen_to_s)
    assert pulse.span.end_s <= allowed_s + LATE_S, f"{pulse.row.key}: on past {pulse.death}"
    return None


def _counted_rightly(pulse: Pulse, rate: float) -> None:
    """The seconds credited are those the recorder saw, but for what a death leaves uncertain."""
    row, really_s, slack_s = pulse.row, pulse.on_s * rate, STAMPS_S * rate
    if row.state is PulseState.CLOSED:
        assert row.open_s is not None
        assert abs(row.open_s - really_s) <= slack_s, (row, really_s)
        return
    if row.state is PulseState.REFUSED:
        # It died between the pin and the row: nothing is credited, and less than a beat was lost
        # before the death came.
        assert pulse.death is not None, row
        assert (pulse.death.real_s - pulse.span.begin_s) * rate <= BEAT_S, row
        return
    assert row.state is PulseState.CUT and row.open_s is not None, row
    assert pulse.death is not None, row
    # The stop step cannot tell whether the kernel let the line go, or the daemon shut it and died
    # before it wrote that down: up to its own moment all is credited.
    rescue_s = (pulse.death.seen_to_s - pulse.death.real_s) * rate
    if math.isinf(rescue_s):  # there was none; the next one's counts, if it comes before a start
        rescue_s = (row.planned_open_s or 0.0) + MARGIN_S
    assert row.open_s <= really_s + rescue_s + slack_s, (row, really_s, pulse.death)
    # What ran after the death is not all credited; what ran before it is, but for one heartbeat.
    lived_s = min(really_s, (pulse.death.real_s - pulse.span.begin_s) * rate)
    sure_s = min(lived_s, (row.planned_open_s or 0.0) + MARGIN_S)
    assert row.open_s >= sure_s - BEAT_S - slack_s, (row, lived_s, pulse.death)


def _credited(rows: Iterable[PulseRow]) -> dict[int, float]:
    found: dict[int, float] = {}
    for row in rows:
        if row.state in _GAVE and row.relay_line is not None:
            found[row.relay_line] = found.get(row.relay_line, 0.0) + (row.litres or 0.0)
    return found


def recorded_litres(spans: Sequence[OnSpan], rate: float, lines: Lines) -> dict[int, float]:
    """What really flowed: the recorder's stretches, at the flow of the lines then on. [L]"""
    garden = lines.garden
    names = {z.valve.relay_line: z.name for z in garden.zones if z.valve.relay_line is not None}
    edges: list[tuple[float, int, int]] = []
    for span in spans:
        assert span.end_s is not None
        edges += [(span.begin_s, 1, span.line), (span.end_s, 0, span.line)]
    litres = dict.fromkeys(sorted({s.line for s in spans}), 0.0)
    on: set[int] = set()
    before_s = 0.0
    for at_s, goes_on, line in sorted(edges):
        if on:
            flows = lines.open_set(frozenset(names[n] for n in on)).zones
            for n in on:
                flow_l_s = l_from_m3(flows[names[n]].flow_m3_s)
                litres[n] += flow_l_s * (at_s - before_s) * rate
        (on.add if goes_on else on.discard)(line)
        before_s = at_s
    return litres
