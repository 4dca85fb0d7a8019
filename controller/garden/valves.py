"""Valves of the model from the file as written: what moves them, how long that takes, the master.

What a kind of valve needs and what makes no sense for it is told here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.filling import Filling
from controller.garden.hardware import WrittenDevice, WrittenValve
from controller.garden.lines import Path
from controller.garden.model import Device, Master, Valve, ValveKind, Zone
from controller.units import head_m_from_psi

# Makers of small diaphragm valves ask for 5 to 10 psi (from memory); the higher is our choice.
DIAPHRAGM_HEAD_M = head_m_from_psi(10.0)
# Small motorised balls take some 5 to 15 s (from memory). Our choice, for one that returns by
# itself: a wrong second costs a little water. One that stays is driven by this time alone, so
# there it is asked for.
BALL_TRAVEL_S = 8.0
# For the pressure to build up, and for a diaphragm to shut against. Our choice.
AHEAD_S = 2.0
LONGEST_MASTER_S = 86_400.0  # its zones' own limits shut it
_BALLS = (Device.BALL_RETURNS, Device.BALL_STAYS)
# Keys of a valve that only a relay moves.
_MOVED = ("kind", "close_relay", "opens_in", "closes_in")


def valve_of(filling: Filling, written: WrittenValve | None, at: Path) -> Valve:
    """The valve of the zone that stands at `at`."""
    place: Path = (*at, "valve")
    if written is None:
        filling.tell(at, "valve", "hand = true", "no relay is named")
        written = WrittenValve.model_validate({"hand": True})
    elif (written.relay is None) == (not written.hand):
        said = "neither relay nor hand" if written.relay is None else "both relay and hand"
        filling.faults.add(
            place,
            f"found {said}; a valve is {{ relay = 17 }} or {{ hand = true }}",
            needs=[(*place, "relay"), (*place, "hand")],
        )
    moved = _moved(filling, written, place)
    shortest_s = written.shortest_pulse_s
    travel_s = (moved.opens_in_s + moved.closes_in_s) / 2.0
    if shortest_s is not None and shortest_s < travel_s:
        filling.faults.add(
            (*place, "shortest_pulse"),
            f"found {show.show_duration(shortest_s)}; only opening and shutting it passes as much "
            f"as {show.show_duration(travel_s)} of its flow, so no pulse is shorter",
            needs=[(*place, "opens_in"), (*place, "closes_in")],
        )
    return Valve(
        kind=ValveKind.HAND if written.relay is None else ValveKind.RELAY,
        relay_line=written.relay,
        longest_open_s=filling.default(
            place,
            "longest_open",
            written.longest_open_s,
            3600.0,
            "1 h",
            "our choice: at one opening",
        ),
        least_closing_head_m=moved.least_closing_head_m,
        device=written.kind,
        close_line=written.close_relay,
        opens_in_s=moved.opens_in_s,
        closes_in_s=moved.closes_in_s,
        shortest_pulse_s=shortest_s,
    )


def master_of(filling: Filling, zones: Iterable[Zone]) -> Master | None:
    """The valve ahead of all zones, if there is one."""
    written = filling.written.master
    if written is None:
        return None
    at: Path = ("master",)
    moved = _moved(filling, written, at)
    slowest_s = max((zone.valve.closes_in_s for zone in zones), default=0.0)
    return Master(
        valve=Valve(
            kind=ValveKind.RELAY,
            relay_line=written.relay,
            longest_open_s=LONGEST_MASTER_S,
            least_closing_head_m=moved.least_closing_head_m,
            device=written.kind,
            close_line=written.close_relay,
            opens_in_s=moved.opens_in_s,
            closes_in_s=moved.closes_in_s,
        ),
        leads_s=_ahead_s(
            filling, "leads", written.leads_s, moved.opens_in_s, "it opens itself in", "opens_in"
        ),
        lags_s=_ahead_s(
            filling, "lags", written.lags_s, slowest_s, "the slowest zone's valve shuts in", None
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Moved:
    opens_in_s: float
    closes_in_s: float
    least_closing_head_m: float


def _moved(filling: Filling, written: WrittenDevice, at: Path) -> _Moved:
    """How long the valve takes, and the head it wants; what does not go with its kind is noted."""
    if written.relay is None:
        for key in _MOVED:
            if filling.faults.is_written((*at, key)):
                filling.faults.add(
                    (*at, key),
                    f"found it without a relay; {key} belongs to a valve that a relay moves",
                    needs=[(*at, "relay"), (*at, "hand")],
                )
        return _Moved(opens_in_s=0.0, closes_in_s=0.0, least_closing_head_m=0.0)
    _check_close_relay(filling, written, at)
    opens_in_s, closes_in_s = _travel_s(filling, written, at)
    return _Moved(
        opens_in_s=opens_in_s,
        closes_in_s=closes_in_s,
        least_closing_head_m=_least_closing_head_m(filling, written, at),
    )


def _check_close_relay(filling: Filling, written: WrittenDevice, at: Path) -> None:
    stays = written.kind is Device.BALL_STAYS
    if stays and written.close_relay is None:
        filling.faults.add(
            at,
            'found kind = "ball stays" without a close_relay; such a ball is driven shut by a '
            "relay of its own, as in close_relay = 18",
            needs=[(*at, "kind"), (*at, "close_relay")],
        )
    if written.close_relay is not None and not stays:
        kind = "no kind" if written.kind is None else f'kind = "{written.kind}"'
        filling.faults.add(
            (*at, "close_relay"),
            f'found it with {kind}; a close_relay belongs to kind = "{Device.BALL_STAYS}"',
            needs=[(*at, "kind")],
        )


def _travel_s(filling: Filling, written: WrittenDevice, at: Path) -> tuple[float, float]:
    """Seconds to open and to shut; the one that is not told is as long as the other."""
    opens_s, closes_s = written.opens_in_s, written.closes_in_s
    if written.kind not in _BALLS:
        return opens_s or 0.0, closes_s or 0.0
    if opens_s is None and closes_s is None:
        if written.kind is Device.BALL_STAYS:
            filling.faults.add(
                at,
                f'found kind = "{Device.BALL_STAYS}" without opens_in; how long it takes from '
                'shut to open must be known, as in opens_in = "8 s": time it',
                needs=[(*at, "kind"), (*at, "opens_in"), (*at, "closes_in")],
            )
        else:
            shown = show.show_duration(BALL_TRAVEL_S)
            filling.tell(at, "opens_in", shown, "our choice: time yours")
        opens_s = BALL_TRAVEL_S
    if opens_s is None:
        shown = show.show_duration(closes_s or 0.0)
        opens_s = filling.default(at, "opens_in", opens_s, closes_s or 0.0, shown, "as it shuts")
    closes_s = filling.default(
        at, "closes_in", closes_s, opens_s, show.show_duration(opens_s), "as it opens"
    )
    if written.kind is Device.BALL_STAYS:
        for key, travel_s in (("opens_in", opens_s), ("closes_in", closes_s)):
            if travel_s <= 0.0:
                filling.faults.add(
                    (*at, key), "found no time at all; a ball that stays is driven for its travel"
                )
    return opens_s, closes_s


def _least_closing_head_m(filling: Filling, written: WrittenDevice, at: Path) -> float:
    """The pressure it wants before it to shut, which only a diaphragm does."""
    key, least_m = "least_closing_pressure", written.least_closing_head_m
    if written.kind is None:
        shown = show.show_pressure(0.0, filling.us)
        why = "closes at any pressure; see the maker's sheet"
        return filling.default(at, key, least_m, 0.0, shown, why)
    if written.kind is Device.DIAPHRAGM:
        shown = show.show_pressure(DIAPHRAGM_HEAD_M, filling.us)
        why = "our choice: the most that makers ask for; see the sheet"
        return filling.default(at, key, least_m, DIAPHRAGM_HEAD_M, shown, why)
    if least_m:
        filling.faults.add(
            (*at, key),
            f'found {show.show_pressure(least_m, filling.us)} with kind = "{written.kind}"; only a '
            "diaphragm is shut by the water",
            needs=[(*at, "kind")],
        )
    return 0.0


def _ahead_s(
    filling: Filling,
    key: str,
    asked_s: float | None,
    least_s: float,
    why: str,
    leans_on: str | None,
) -> float:
    """How long the master is open alone: no shorter than what it waits for."""
    at: Path = ("master",)
    default_s = max(AHEAD_S, least_s)
    shown = show.show_duration(default_s)
    reason = f"{why} that" if default_s > AHEAD_S else "our choice"
    found_s = filling.default(at, key, asked_s, default_s, shown, reason)
    if found_s < least_s:
        filling.faults.add(
            (*at, key),
            f"found {q.spell(show.show_duration(found_s))}; {why} {show.show_duration(least_s)}, "
            "and the master waits for that",
            needs=[("zone",)] if leans_on is None else [(*at, leans_on)],
        )
    return found_s
