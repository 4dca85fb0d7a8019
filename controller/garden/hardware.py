"""The file's tables of the devices on the board's pins: valves, master, meter, sensors."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterable
from typing import Annotated, Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.model import Action, FlowFinding, SensorKind
from controller.garden.plumbing import Device
from controller.garden.pydantic_form import Field, Table, by

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


def gpio(what: str, key: str) -> v.Reader:
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


RELAY = gpio("a relay", "relay")


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


def board_address(found: Any) -> str:
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


def action(finding: FlowFinding) -> v.Reader:
    """The action on a finding of the meter; a leak or a miscount has no zone."""
    of_a_zone = finding not in (FlowFinding.LEAK, FlowFinding.MISCOUNTED)
    allowed = [one for one in Action if of_a_zone or one is not Action.HOLD_ZONE]
    return v.choice(f'what is done when it finds "{finding}"', {str(one): one for one in allowed})


def _word(what: str, words: Iterable[Any]) -> Any:
    return by(v.choice(what, {str(word): word for word in words}))


Travel = Annotated[float, by(_TRAVEL)]
YesNo = Annotated[bool, by(v.yes_no)]
ActiveLow = Annotated[bool, by(v.choice("when it speaks", {"low": True, "high": False}))]
Debounce = Annotated[float, by(_DEBOUNCE)]


class WrittenDevice(Table):
    """The device that a relay moves."""

    relay: Annotated[int, by(RELAY)] | None = None
    kind: Annotated[Device, _word("a kind of valve", Device)] | None = None
    close_relay: Annotated[int, by(gpio("a relay", "close_relay"))] | None = None
    opens_in_s: Travel | None = Field(None, alias="opens_in")
    closes_in_s: Travel | None = Field(None, alias="closes_in")
    least_closing_head_m: Annotated[float, by(v.PRESSURE)] | None = Field(
        None, alias="least_closing_pressure"
    )


class WrittenValve(WrittenDevice):
    """A zone's valve."""

    hand: YesNo | None = None
    longest_open_s: Annotated[float, by(v.OPEN_TIME)] | None = Field(None, alias="longest_open")
    shortest_pulse_s: Annotated[float, by(v.OPEN_TIME)] | None = Field(None, alias="shortest_pulse")


class WrittenMaster(WrittenDevice):
    """The valve ahead of all zones."""

    relay: Annotated[int, by(RELAY)]
    leads_s: Annotated[float, by(_AHEAD)] | None = Field(None, alias="leads")
    lags_s: Annotated[float, by(_AHEAD)] | None = Field(None, alias="lags")


class WrittenWhen(Table):
    """The action on each finding of the meter."""

    clogged: Annotated[Action, by(action(FlowFinding.CLOGGED))] | None = None
    burst: Annotated[Action, by(action(FlowFinding.BURST))] | None = None
    not_opened: Annotated[Action, by(action(FlowFinding.NOT_OPENED))] | None = None
    not_closed: Annotated[Action, by(action(FlowFinding.NOT_CLOSED))] | None = None
    leak: Annotated[Action, by(action(FlowFinding.LEAK))] | None = None
    changed: Annotated[Action, by(action(FlowFinding.CHANGED))] | None = None
    miscounted: Annotated[Action, by(action(FlowFinding.MISCOUNTED))] | None = None


class WrittenMeter(Table):
    """A flow meter on an input pin."""

    pin: Annotated[int, by(gpio("a pin", "pin"))]
    per_pulse_m3: Annotated[float, by(_PER_PULSE)] | None = Field(None, alias="per_pulse")
    pulses_per_m3: Annotated[float, by(pulses_per)] | None = Field(None, alias="pulses_per")
    least_flow_m3_s: Annotated[float, by(_LEAST_FLOW)] | None = Field(None, alias="least_flow")
    ends_pulses: YesNo | None = None
    active_low: ActiveLow | None = Field(None, alias="active")
    debounce_s: Debounce | None = Field(None, alias="debounce")
    when: WrittenWhen = WrittenWhen.model_validate({})


class WrittenSensor(Table):
    """A switch or a tipping gauge on an input pin."""

    kind: Annotated[SensorKind, _word("a kind of sensor", SensorKind)]
    pin: Annotated[int, by(gpio("a pin", "pin"))]
    active_low: ActiveLow | None = Field(None, alias="active")
    debounce_s: Debounce | None = Field(None, alias="debounce")
    per_tip_m: Annotated[float, by(_PER_TIP)] | None = Field(None, alias="per_tip")


class WrittenHealth(Table):
    """The address of the running daemon's health page."""

    port: Annotated[int, by(v.whole("a port", 1, 65535))] | None = None
    address: Annotated[str, by(board_address)] | None = None
