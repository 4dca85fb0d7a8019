"""Meter, sensors and the health address of the model from the file as written."""

from __future__ import annotations

from controller.garden import show
from controller.garden.filling import Filling
from controller.garden.hardware import WrittenMeter, WrittenSensor, WrittenWhen
from controller.garden.lines import Path
from controller.garden.model import (
    Action,
    FlowFinding,
    HealthAddress,
    Meter,
    Sensor,
    SensorKind,
    Supply,
)

METER_DEBOUNCE_S = 0.002  # a reed contact's bouncing (from memory)
SENSOR_DEBOUNCE_S = 0.1  # our choice
# Small turbine meters begin to turn at 1 to 2 L/min (from memory); a house meter of 2.5 m3/h and
# ratio 80 is right from 2500 / 80 L/h = 0.52 L/min on (Q1 = Q3 / R, ISO 4064-1).
LEAST_FLOW_M3_S = 1e-3 / 60.0
HERE = "127.0.0.1"


def meter_of(filling: Filling, supply: Supply) -> Meter | None:
    """The flow meter, if there is one; `supply` tells how fast its pulses may come."""
    written = filling.written.meter
    if written is None:
        return None
    at: Path = ("meter",)
    per_pulse_m3 = _per_pulse_m3(filling, written)
    return Meter(
        line=written.pin,
        litres_per_pulse=1000.0 * per_pulse_m3,
        least_flow_l_s=1000.0
        * filling.default(
            at,
            "least_flow",
            written.least_flow_m3_s,
            LEAST_FLOW_M3_S,
            show.show_flow(LEAST_FLOW_M3_S, filling.us),
            "small turbine meters, from memory; your meter's label has it",
        ),
        by_litres=filling.default(
            at, "ends_pulses", written.ends_pulses, False, "false", "time ends them; it only looks"
        ),
        active_low=filling.default(
            at, "active", written.active_low, True, "low", "a contact to ground"
        ),
        debounce_s=_debounce_s(filling, written, per_pulse_m3 / supply.test_flow_m3_s),
        actions=_actions(filling, written.when),
    )


def sensors_of(filling: Filling) -> tuple[Sensor, ...]:
    """The switches and gauges, as they are written."""
    return tuple(
        _sensor(filling, sensor, ("sensor", number))
        for number, sensor in enumerate(filling.written.sensor)
    )


def health_of(filling: Filling) -> HealthAddress:
    """Where the daemon may be looked at; nowhere unless a port is named."""
    written = filling.written.health
    if written.port is None:
        if written.address is not None:
            filling.faults.add(
                ("health", "address"),
                "found it without a port; name that too, as in port = 8765",
                needs=[("health", "port")],
            )
        return HealthAddress()
    address = filling.default(
        ("health",), "address", written.address, HERE, HERE, "seen from this board alone"
    )
    return HealthAddress(port=written.port, address=address)


def _per_pulse_m3(filling: Filling, written: WrittenMeter) -> float:
    """What passes at each pulse, told in one of two ways."""
    at: Path = ("meter",)
    told = [one for one in (written.per_pulse_m3, written.pulses_per_m3) if one is not None]
    if len(told) != 1:
        said = "both per_pulse and pulses_per" if told else "neither per_pulse nor pulses_per"
        filling.faults.add(
            at,
            f'found {said}; a meter tells one of them, as in per_pulse = "0.45 L" or '
            'pulses_per = "450 per L"',
            needs=[(*at, "per_pulse"), (*at, "pulses_per")],
        )
        filling.faults.spoil((*at, "per_pulse"))
    return told[0] if told else 0.001


def _debounce_s(filling: Filling, written: WrittenMeter, apart_s: float) -> float:
    """How long a contact must hold still; pulses at the tap's full flow must not be lost by it."""
    at: Path = ("meter",)
    default_s = min(METER_DEBOUNCE_S, apart_s / 4.0)
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
    """What each finding does. Defaults: our choice, the mildest that keeps water from running."""
    at: Path = ("meter", "when")
    master = filling.written.master is not None
    shut = (
        (Action.SHUT_MASTER, "our choice: water runs that no zone's valve stops")
        if master
        else (Action.HOLD_GARDEN, "our choice: no more water onto a valve that stays open")
    )
    defaults = {
        FlowFinding.CLOGGED: (Action.NOTE, "our choice: what comes still waters"),
        FlowFinding.BURST: (Action.HOLD_ZONE, "our choice: its water runs where nobody wants it"),
        FlowFinding.NOT_OPENED: (Action.HOLD_ZONE, "our choice: somebody must look at its valve"),
        FlowFinding.NOT_CLOSED: shut,
        # All is shut already, and whoever fills a can must not stop the garden for August.
        FlowFinding.LEAK: (Action.NOTE, "our choice: all is shut already"),
        FlowFinding.CHANGED: (Action.NOTE, "our choice: it is small, and somebody has to look"),
        FlowFinding.MISCOUNTED: (Action.NOTE, "our choice: time stands in for the meter"),
    }
    actions: dict[FlowFinding, Action] = {}
    for finding, (default, why) in defaults.items():
        key = finding.value.replace(" ", "_")
        action = filling.default(at, key, getattr(written, key), default, default.value, why)
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
        active_low=filling.default(
            at, "active", written.active_low, True, "low", "a contact to ground"
        ),
        debounce_s=filling.default(
            at,
            "debounce",
            written.debounce_s,
            SENSOR_DEBOUNCE_S,
            show.show_short(SENSOR_DEBOUNCE_S),
            "our choice",
        ),
        mm_per_tip=1000.0 * written.per_tip_m if gauge and written.per_tip_m else None,
    )
