"""The schema of valves, meter and sensors in the garden file, with the readers of their values."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Mapping
from typing import Annotated, Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import show
from controller.garden import values as v
from controller.garden.model import Action, FlowFinding, SensorKind
from controller.garden.plumbing import Device, Opening
from controller.garden.pydantic_form import Field, Needed, Table, Unwritten, YesNo, by, word
from controller.units import m3_s_from_l_min

# The limits are our choice: wide enough for any garden, narrow enough to detect a wrong unit.
_TRAVEL = v.quantity(q.DURATION, "a valve's travel", '"8 s"', 0.0, 300.0, "0 to 5 min")
_AHEAD = v.quantity(
    q.DURATION, "how long a master is open alone", '"2 s"', 0.0, 600.0, "0 to 10 min"
)
_DEBOUNCE = v.quantity(q.SHORT, "a debounce", '"2 ms" or "0.1 s"', 0.0, 5.0, "0 to 5 s")
_PER_PULSE = v.quantity(
    q.VOLUME, "what passes at each pulse", '"0.45 L"', 1e-7, 1.0, "0.1 mL to 1000 L"
)
_LEAST_FLOW = v.quantity(q.FLOW, "a meter's least flow", '"1 L/min"', 0.0, 0.01, "0 to 600 L/min")
_PER_TIP = v.length(
    "what a gauge's tip stands for", '"0.2 mm" or "0.01 in"', 1e-5, 0.01, "0.01 mm to 10 mm"
)


def _gpio(what: str, key: str) -> v.Reader:
    """A GPIO line of the 40-pin header."""

    def read(found: Any) -> int:
        written = f"GPIO{found}" if isinstance(found, int) else str(found).strip().upper()
        line = re.fullmatch(r"GPIO ?(\d{1,2})", written)
        # GPIO 2 to 27 are free to use; 0 and 1 belong to the add-on board's memory (the board
        # maker's pin documentation, from memory).
        if isinstance(found, bool) or line is None or not 2 <= int(line[1]) <= 27:
            raise QuantityError(
                f"found {q.spell(found)}; {what} is a GPIO number from 2 to 27, "
                f'as in {key} = 17 or {key} = "GPIO17"'
            )
        return int(line[1])

    return read


RELAY = _gpio("a relay", "relay")


def pulses_per(found: Any) -> float:
    """Volume of one pulse, from "450 per L". [m3]"""
    text = found
    if isinstance(found, str):
        text = re.sub(r"^([^a-z]*?)\s*(?=per\b|/)", r"\1 pulses ", found.strip(), flags=re.I)
    count = q.parse(text, q.PULSES, what="how many pulses a meter gives", example='"450 per L"')
    if not 1.0 <= count <= 1e7:
        raise QuantityError(
            f"found {q.spell(found)}; a meter gives from one pulse in 1000 L to 10000 in 1 L, as "
            'in "450 per L"'
        )
    return 1.0 / count


def _board_address(found: Any) -> str:
    """An IP address of this board, version 4 or 6."""
    try:
        if isinstance(found, str):
            return str(ipaddress.ip_address(found.strip()))
    except ValueError:
        pass  # the error follows below
    raise QuantityError(
        f'found {q.spell(found)}; an address is one of this board in numbers, as in "127.0.0.1" '
        'for itself alone or "0.0.0.0" for all its networks'
    )


def _action(finding: FlowFinding) -> Any:
    """The action on a finding of the meter; a leak or a miscount has no zone."""
    of_a_zone = finding not in (FlowFinding.LEAK, FlowFinding.MISCOUNTED)
    allowed = [one for one in Action if of_a_zone or one is not Action.HOLD_ZONE]
    return word(f'what is done when it finds "{finding}"', allowed)


_OPENINGS = (
    'an opening is "full", the handle\'s turn from full open, below 90, as in "40 deg", a share of '
    "its travel above 0, as in 0.6, "
    'what was seen with this zone alone open, as in { flow = "1.5 L/min" }, { stream = "3 in" } or '
    '{ reach = "2 ft", drop = "6 in" }, { loss_k = 30000 }, or "unknown"'
)
# Limits beyond any stream that can be read by eye: a larger figure is a wrong unit.
_STREAM = v.length(
    "a stream's height over its hole", '"3 in" or "8 cm"', 0.001, 30.0, "1 mm to 30 m"
)
_REACH = v.length("a stream's reach", '"2 ft" or "60 cm"', 0.001, 60.0, "1 mm to 60 m")
_DROP = v.length(
    "the drop from the hole to where the stream lands",
    '"6 in" or "15 cm"',
    0.001,
    10.0,
    "1 mm to 10 m",
)
_LOSS = v.number("a loss coefficient", "30000", 0, 1e9)


def opening(found: Any) -> Opening:
    """An opening: full, an angle, a share of travel, a flow, a stream, a loss, or unknown."""
    if isinstance(found, dict):
        return _seen(found)
    text = found.strip().lower() if isinstance(found, str) else ""
    if text == "full":
        return Opening(angle_deg=0.0)
    if text == "unknown":
        return Opening(unknown=True)
    if isinstance(found, str) and not text.endswith("%"):
        angle = q.parse(
            found, q.ANGLE, what="an opening", example='"full", "40 deg", 0.6 or "unknown"'
        )
        if 0 <= angle < 90:
            return Opening(angle_deg=angle)
    else:
        part = q.read_share(found, what="an opening, as a share of the handle's travel,")
        if part > 0:
            return Opening(angle_deg=90.0 * (1.0 - part))
    raise QuantityError(f"found {q.spell(found)}; {_OPENINGS}")


def _seen(found: Mapping[str, Any]) -> Opening:
    """An opening given by what was measured."""
    keys = set(found)
    if keys == {"flow"}:
        flow = q.parse(found["flow"], q.FLOW, what="a flow measured with this zone alone open")
        if 0 < flow <= 0.1:
            return Opening(alone_flow_m3_s=flow)
        raise QuantityError(
            f"found flow = {q.spell(found['flow'])}; a flow measured with this zone alone open is "
            "above 0, at most 100 L/s"
        )
    if keys == {"loss_k"}:
        return Opening(loss_k=_LOSS(found["loss_k"]))
    if {"stream"} <= keys <= {"stream", "turned"}:
        return Opening(stream_m=_STREAM(found["stream"]), turned=_turned(found))
    if {"reach", "drop"} <= keys <= {"reach", "drop", "turned"}:
        return Opening(
            reach_m=_REACH(found["reach"]), reach_drop_m=_DROP(found["drop"]), turned=_turned(found)
        )
    if "reach" in keys and "drop" not in keys:
        raise QuantityError(
            "found a reach without a drop; how far a stream goes says nothing without how far it "
            'falls meanwhile, as in { reach = "2 ft", drop = "6 in" }'
        )
    written = ", ".join(sorted(keys)) or "nothing"
    raise QuantityError(f"found a table of {written}; {_OPENINGS}")


def _turned(found: Mapping[str, Any]) -> bool:
    turned = found.get("turned", False)
    if not isinstance(turned, bool):
        raise QuantityError(
            f"found turned = {q.spell(turned)}; it is true where the pipe was turned to look"
        )
    return turned


Travel = Annotated[float, by(_TRAVEL)]
ActiveLow = Annotated[
    bool,
    by(v.choice("when it speaks", {"low": True, "high": False})),
    Unwritten("a contact to ground", "low"),
]
Debounce = Annotated[float, by(_DEBOUNCE)]


class WrittenDevice(Table):
    """The device that a relay moves."""

    relay: Annotated[int, by(RELAY)] | None = None
    kind: Annotated[Device, word("a kind of valve", Device)] | None = None
    close_relay: Annotated[int, by(_gpio("a relay", "close_relay"))] | None = None
    opens_in_s: Travel | None = Field(None, alias="opens_in")
    closes_in_s: Travel | None = Field(None, alias="closes_in")
    least_closing_head_m: Annotated[float, by(v.PRESSURE)] | None = Field(
        None, alias="least_closing_pressure"
    )


class WrittenValve(WrittenDevice):
    hand: YesNo | None = None
    longest_open_s: Annotated[
        float, by(v.OPEN_TIME), Unwritten("our choice: at one opening", "1 h")
    ] = Field(3600.0, alias="longest_open")
    shortest_pulse_s: Annotated[float, by(v.OPEN_TIME)] | None = Field(None, alias="shortest_pulse")


class WrittenMaster(WrittenDevice):
    relay: Annotated[int, by(RELAY), Needed("a master needs its relay, as in relay = 5", 5)]
    leads_s: Annotated[float, by(_AHEAD)] | None = Field(None, alias="leads")
    lags_s: Annotated[float, by(_AHEAD)] | None = Field(None, alias="lags")


class WrittenWhen(Table):
    """The action on each finding of the meter.

    Defaults are our choice: the mildest that stops the water.
    """

    clogged: Annotated[
        Action, _action(FlowFinding.CLOGGED), Unwritten("our choice: what comes still waters")
    ] = Action.NOTE
    burst: Annotated[
        Action,
        _action(FlowFinding.BURST),
        Unwritten("our choice: its water runs where nobody wants it"),
    ] = Action.HOLD_ZONE
    not_opened: Annotated[
        Action,
        _action(FlowFinding.NOT_OPENED),
        Unwritten("our choice: somebody must look at its valve"),
    ] = Action.HOLD_ZONE
    not_closed: Annotated[Action, _action(FlowFinding.NOT_CLOSED)] | None = None
    # All is shut already, and a person who fills a can must not stop the garden for August.
    leak: Annotated[
        Action, _action(FlowFinding.LEAK), Unwritten("our choice: all is shut already")
    ] = Action.NOTE
    changed: Annotated[
        Action,
        _action(FlowFinding.CHANGED),
        Unwritten("our choice: it is small, and somebody has to look"),
    ] = Action.NOTE
    miscounted: Annotated[
        Action,
        _action(FlowFinding.MISCOUNTED),
        Unwritten("our choice: time stands in for the meter"),
    ] = Action.NOTE


class WrittenMeter(Table):
    pin: Annotated[
        int,
        by(_gpio("a pin", "pin")),
        Needed("a meter needs the pin its pulses come in on, as in pin = 22", 22),
    ]
    per_pulse_m3: Annotated[float, by(_PER_PULSE)] | None = Field(None, alias="per_pulse")
    pulses_per_m3: Annotated[float, by(pulses_per)] | None = Field(None, alias="pulses_per")
    # Small turbine meters begin to turn at 1 to 2 L/min (from memory); a house meter of 2.5 m3/h
    # and ratio 80 is right from 2500 / 80 L/h = 0.52 L/min on (Q1 = Q3 / R, ISO 4064-1).
    least_flow_m3_s: Annotated[
        float,
        by(_LEAST_FLOW),
        Unwritten("small turbine meters, from memory; your meter's label has it", show.show_flow),
    ] = Field(m3_s_from_l_min(1.0), alias="least_flow")
    ends_pulses: Annotated[YesNo, Unwritten("time ends them; it only looks")] = False
    active_low: ActiveLow = Field(True, alias="active")
    debounce_s: Debounce | None = Field(None, alias="debounce")
    when: WrittenWhen = WrittenWhen.model_validate({})


class WrittenSensor(Table):
    """A switch or a tipping gauge on an input pin."""

    kind: Annotated[
        SensorKind,
        word("a kind of sensor", SensorKind),
        Needed(
            'a sensor needs its kind: "rain switch", "rain gauge" or "freeze switch"',
            "rain switch",
        ),
    ]
    pin: Annotated[
        int, by(_gpio("a pin", "pin")), Needed("a sensor needs its pin, as in pin = 23", 23)
    ]
    active_low: ActiveLow = Field(True, alias="active")
    debounce_s: Annotated[Debounce, Unwritten("our choice", "100 ms")] = Field(
        0.1, alias="debounce"
    )
    per_tip_m: Annotated[float, by(_PER_TIP)] | None = Field(None, alias="per_tip")


class WrittenHealth(Table):
    """The address of the running daemon's health page."""

    port: Annotated[int, by(v.whole("a port", 1, 65535))] | None = None
    address: Annotated[str, by(_board_address), Unwritten("seen from this board alone")] = (
        "127.0.0.1"
    )
