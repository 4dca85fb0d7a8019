"""Valves, meter, sensors and health address of the model.

Keys that a kind of valve needs, or cannot have, give a fault here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from controller.garden import quantities as q
from controller.garden import show
from controller.garden.device_schema import (
    WrittenDevice,
    WrittenMeter,
    WrittenSensor,
    WrittenValve,
    WrittenWhen,
)
from controller.garden.faults import Path
from controller.garden.from_file.defaults import Filling
from controller.garden.model import (
    Action,
    FlowFinding,
    HealthAddress,
    Meter,
    Sensor,
    SensorKind,
    Zone,
)
from controller.garden.plumbing import Device, Master, Supply, Valve, ValveKind
from controller.units import head_m_from_psi

_METER_DEBOUNCE_S = 0.002  # bounce of a reed contact (from memory)


def meter_of(filling: Filling, supply: Supply) -> Meter | None:
    """The flow meter, if there is one; `supply` gives the highest rate of its pulses."""
    if filling.written.meter is None:
        return None
    written = filling.used(("meter",), filling.written.meter)
    per_pulse_m3 = _per_pulse_m3(filling, written)
    return Meter(
        line=written.pin,
        litres_per_pulse=1000.0 * per_pulse_m3,
        least_flow_l_s=1000.0 * written.least_flow_m3_s,
        by_litres=written.ends_pulses,
        active_low=written.active_low,
        debounce_s=_debounce_s(filling, written, per_pulse_m3 / supply.test_flow_m3_s),
        actions=_actions(filling, written.when),
    )


def sensors_of(filling: Filling) -> tuple[Sensor, ...]:
    """The switches and gauges."""
    return tuple(
        _sensor(filling, sensor, ("sensor", number))
        for number, sensor in enumerate(filling.written.sensor)
    )


def health_of(filling: Filling) -> HealthAddress:
    """The address of the health page; without a port there is none."""
    written = filling.used(("health",), filling.written.health)
    if written.port is None:
        if filling.faults.is_written(("health", "address")):
            filling.faults.add(
                ("health", "address"),
                "found it without a port; name that too, as in port = 8765",
                needs=[("health", "port")],
            )
        return HealthAddress()
    return HealthAddress(port=written.port, address=written.address)


def _per_pulse_m3(filling: Filling, written: WrittenMeter) -> float:
    """Volume of one pulse, written in one of two forms. [m3]"""
    at: Path = ("meter",)
    given = [one for one in (written.per_pulse_m3, written.pulses_per_m3) if one is not None]
    if len(given) != 1:
        which = "both per_pulse and pulses_per" if given else "neither per_pulse nor pulses_per"
        filling.faults.add(
            at,
            f'found {which}; a meter has one of them, as in per_pulse = "0.45 L" or '
            'pulses_per = "450 per L"',
            needs=[(*at, "per_pulse"), (*at, "pulses_per")],
        )
        filling.faults.spoil((*at, "per_pulse"))
    return given[0] if given else 0.001


def _debounce_s(filling: Filling, written: WrittenMeter, apart_s: float) -> float:
    """Debounce time of a contact; no pulse at the tap's full flow may be lost. [s]"""
    at: Path = ("meter",)
    default_s = min(_METER_DEBOUNCE_S, apart_s / 4.0)
    found_s = filling.default(
        at, "debounce", written.debounce_s, default_s, show.show_short(default_s), "our choice"
    )
    if found_s > apart_s / 2.0:
        filling.faults.add(
            (*at, "debounce"),
            f"found {show.show_short(found_s)}; at the flow of the test a pulse comes every "
            f"{show.show_short(apart_s)}, and a debounce is at most half of that",
            needs=[(*at, "per_pulse"), (*at, "pulses_per"), ("supply",)],
        )
    return found_s


def _actions(filling: Filling, written: WrittenWhen) -> dict[FlowFinding, Action]:
    at: Path = ("meter", "when")
    used = filling.used(at, written)
    master = filling.written.master is not None
    if master:
        default, why = Action.SHUT_MASTER, "our choice: water runs that no zone's valve stops"
    else:
        default, why = Action.HOLD_GARDEN, "our choice: no more water onto a valve that stays open"
    actions: dict[FlowFinding, Action] = {}
    for finding in FlowFinding:
        key = finding.value.replace(" ", "_")
        action = getattr(used, key)
        if finding is FlowFinding.NOT_CLOSED:
            action = filling.default(at, key, action, default, default.value, why)
        if action is Action.SHUT_MASTER and not master:
            filling.faults.add(
                (*at, key),
                f'found "{action}" without a [master]; name the master valve, as in [master] '
                f'relay = 5, or write "{Action.HOLD_GARDEN}"',
                needs=[("master",)],
            )
        actions[finding] = action
    return actions


def _sensor(filling: Filling, written: WrittenSensor, at: Path) -> Sensor:
    used = filling.used(at, written)
    gauge = written.kind is SensorKind.RAIN_GAUGE
    if gauge and written.per_tip_m is None:
        filling.faults.add(
            at,
            "found a rain gauge without per_tip; what one tip stands for is needed, as in "
            'per_tip = "0.2 mm"',
            needs=[(*at, "per_tip"), (*at, "kind")],
        )
    if not gauge and written.per_tip_m is not None:
        filling.faults.add(
            (*at, "per_tip"),
            f'found it on a {written.kind}; per_tip belongs to kind = "{SensorKind.RAIN_GAUGE}"',
            needs=[(*at, "kind")],
        )
    return Sensor(
        kind=written.kind,
        line=written.pin,
        active_low=used.active_low,
        debounce_s=used.debounce_s,
        mm_per_tip=1000.0 * written.per_tip_m if gauge and written.per_tip_m else None,
    )


# Makers of small diaphragm valves require 5 to 10 psi (from memory); the higher is our choice.
DIAPHRAGM_HEAD_M = head_m_from_psi(10.0)
# A relay valve without a kind. Our choice: a diaphragm is the common kind, and the one that does
# not shut where pressure is lacking. Taken for another it could flood a bed; another taken for it
# waits for a set that leaves more pressure, or for the gardener to write its kind. No travel is
# assumed: a diaphragm follows its coil within a second or a few.
_ASSUMED = "assumed: it needs pressure to shut; write the kind of yours"
# Small motorised balls take some 5 to 15 s (from memory). Our choice, for one that returns by
# itself: a wrong second costs a little water. One that stays is driven by this time alone, so
# there it is asked for.
_BALL_TRAVEL_S = 8.0
# For the pressure to build up, and for a diaphragm to shut against. Our choice.
_AHEAD_S = 2.0
_LONGEST_MASTER_S = 86_400.0  # the limits of its zones shut it
_BALLS = (Device.BALL_RETURNS, Device.BALL_STAYS)
# Keys of a valve that only a relay moves.
_MOVED = ("kind", "close_relay", "opens_in", "closes_in")


def valve_of(filling: Filling, written: WrittenValve, place: Path) -> Valve:
    """The valve at `place`."""
    if (written.relay is None) == (not written.hand):
        which = "neither relay nor hand" if written.relay is None else "both relay and hand"
        filling.faults.add(
            place,
            f"found {which}; a valve is {{ relay = 17 }} or {{ hand = true }}",
            needs=[(*place, "relay"), (*place, "hand")],
        )
    valve = _valve(filling, written, place)
    shortest_s = written.shortest_pulse_s
    travel_s = (valve.opens_in_s + valve.closes_in_s) / 2.0
    if shortest_s is not None and shortest_s < travel_s:
        filling.faults.add(
            (*place, "shortest_pulse"),
            f"found {show.show_duration(shortest_s)}; only opening and shutting it passes as much "
            f"as {show.show_duration(travel_s)} of its flow, so no pulse is shorter",
            needs=[(*place, "opens_in"), (*place, "closes_in")],
        )
    longest_s = filling.used(place, written).longest_open_s
    return replace(valve, longest_open_s=longest_s, shortest_pulse_s=shortest_s)


def master_of(filling: Filling, zones: Iterable[Zone]) -> Master | None:
    """The master valve, if there is one."""
    written = filling.written.master
    if written is None:
        return None
    valve = _valve(filling, written, ("master",))
    slowest_s = max((zone.valve.closes_in_s for zone in zones), default=0.0)
    return Master(
        valve=replace(valve, longest_open_s=_LONGEST_MASTER_S),
        leads_s=_ahead_s(
            filling, "leads", written.leads_s, valve.opens_in_s, "it opens itself in", "opens_in"
        ),
        lags_s=_ahead_s(
            filling, "lags", written.lags_s, slowest_s, "the slowest zone's valve shuts in", None
        ),
    )


def _valve(filling: Filling, written: WrittenDevice, at: Path) -> Valve:
    """A valve without its limits; keys that do not fit its kind give a fault."""
    if written.relay is None:
        for key in _MOVED:
            if filling.faults.is_written((*at, key)):
                filling.faults.add(
                    (*at, key),
                    f"found it without a relay; {key} belongs to a valve that a relay moves",
                    needs=[(*at, "relay"), (*at, "hand")],
                )
        return Valve(kind=ValveKind.HAND)
    _check_close_relay(filling, written, at)
    if written.kind is None:
        filling.report(at, "kind", Device.DIAPHRAGM.value, _ASSUMED)
    opens_in_s, closes_in_s = _travel_s(filling, written, at)
    return Valve(
        kind=ValveKind.RELAY,
        relay_line=written.relay,
        least_closing_head_m=_least_closing_head_m(filling, written, at),
        device=written.kind or Device.DIAPHRAGM,
        assumed=written.kind is None and written.least_closing_head_m is None,
        close_line=written.close_relay,
        opens_in_s=opens_in_s,
        closes_in_s=closes_in_s,
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
    """Time to open and to shut; a missing one is equal to the other. [s]"""
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
            shown = show.show_duration(_BALL_TRAVEL_S)
            filling.report(at, "opens_in", shown, "our choice: time yours")
        opens_s = _BALL_TRAVEL_S
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
    """Head that a diaphragm, also an assumed one, needs before it to shut; 0 for others. [m]"""
    key, least_m = "least_closing_pressure", written.least_closing_head_m
    if written.kind in (None, Device.DIAPHRAGM):
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
    """Time between the master and its zones, at least `least_s`, the travel it waits for. [s]"""
    at: Path = ("master",)
    default_s = max(_AHEAD_S, least_s)
    shown = show.show_duration(default_s)
    reason = f"{why} that" if default_s > _AHEAD_S else "our choice"
    found_s = filling.default(at, key, asked_s, default_s, shown, reason)
    if found_s < least_s:
        filling.faults.add(
            (*at, key),
            f"found {q.spell(show.show_duration(found_s))}; {why} {show.show_duration(least_s)}, "
            "and the master waits for that",
            needs=[("zone",)] if leans_on is None else [(*at, leans_on)],
        )
    return found_s
