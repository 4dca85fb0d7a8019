"""Openings by hand: rounds to walk, whole minutes, how far to open."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from controller.garden import show
from controller.garden.model import Garden, Zone
from controller.timetable.records import Pulse
from controller.units import gal_min_from_m3_s, l_min_from_m3_s

# Visits of two keepers with a longer pause between them are two rounds, and within a visit the
# sheet says of a longer pause until when to wait; our choice.
ROUND_PAUSE = timedelta(minutes=15)
# A time by hand is printed in whole minutes where that changes it by no more than this share; our
# choice.
ROUNDED_BY = 0.1


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


def hand_minutes(open_s: float) -> int | None:
    """The whole minutes of an opening by hand; None where they would change it too much.

    >>> hand_minutes(404.0), hand_minutes(89.0), hand_minutes(36.0)
    (7, None, None)
    """
    minutes = int(open_s / 60.0 + 0.5)
    return minutes if minutes and abs(60.0 * minutes - open_s) <= ROUNDED_BY * open_s else None


def opening_words(zone: Zone, *, us: bool) -> str:
    """How far the valve is to be open, as the garden file has it, in the gardener's units.

    At most twelve characters, but for a loss coefficient.
    """
    opening = zone.opening
    if opening.alone_flow_m3_s is not None:
        return _flow(opening.alone_flow_m3_s, us)
    if opening.angle_deg is not None:
        return f"{opening.angle_deg:g} deg" if opening.angle_deg else "full"
    if opening.stream_m is not None:
        return f"jet {show.show_length(opening.stream_m, us)}"
    if opening.reach_m is not None:
        return f"jet {show.show_length(opening.reach_m, us)}"
    return "as it is" if opening.unknown else f"loss {opening.loss_k:g}"


def _flow(flow_m3_s: float, us: bool) -> str:
    """A flow to two figures, as one sees it on a meter."""
    amount = gal_min_from_m3_s(flow_m3_s) if us else l_min_from_m3_s(flow_m3_s)
    return f"{show.show_figures(amount, 2)} {'gal' if us else 'L'}/min"
