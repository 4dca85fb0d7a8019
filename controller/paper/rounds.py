"""Openings by hand as rounds to walk."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from controller.garden.model import Garden
from controller.timetable.records import Pulse

# Visits of two keepers with a longer pause between them are two rounds, and within a visit the
# sheet says of a longer pause until when to wait; our choice.
ROUND_PAUSE = timedelta(minutes=15)


def rounds_of(pulses: Iterable[Pulse], garden: Garden) -> list[list[Pulse]]:
    """Openings by hand of one day as rounds to walk, each in order.

    What was planned as one visit of a keeper lies in one round, with its pauses. Visits of several
    keepers that follow each other are one round, too; two visits of one keeper never are.
    """
    rounds: list[list[Pulse]] = []
    for visit in _visits(pulses, garden):
        opens, keeper = visit[0].opens_utc, keeper_of(visit[0], garden)
        if not (
            rounds
            and opens - max(p.closes_utc for p in rounds[-1]) <= ROUND_PAUSE
            and all(keeper_of(p, garden) != keeper for p in rounds[-1])
        ):
            rounds.append([])
        rounds[-1] += visit
    return [sorted(walk, key=_in_time) for walk in rounds]


def _visits(pulses: Iterable[Pulse], garden: Garden) -> list[list[Pulse]]:
    """The visits of each keeper, as planned; where no plan is known, by their pauses."""
    found: dict[str, list[list[Pulse]]] = defaultdict(list)
    for pulse in sorted(pulses, key=_in_time):
        mine = found[keeper_of(pulse, garden)]
        if not mine or (
            pulse.visit != mine[-1][0].visit
            if pulse.visit
            else pulse.opens_utc - max(p.closes_utc for p in mine[-1]) > ROUND_PAUSE
        ):
            mine.append([])
        mine[-1].append(pulse)
    visits = [visit for mine in found.values() for visit in mine]
    return sorted(visits, key=lambda visit: _in_time(visit[0]))


def keeper_of(pulse: Pulse, garden: Garden) -> str:
    """Who turns its valve; empty where the garden file names nobody."""
    return garden.zone(pulse.zone).bed.keeper


def _in_time(pulse: Pulse) -> tuple[datetime, str]:
    return pulse.opens_utc, pulse.zone
