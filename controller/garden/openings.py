"""The opening of a valve, in all forms in which gardeners give it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.plumbing import Opening

_ALLOWED = (
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
    word = found.strip().lower() if isinstance(found, str) else ""
    if word == "full":
        return Opening(angle_deg=0.0)
    if word == "unknown":
        return Opening(unknown=True)
    if isinstance(found, str) and not word.endswith("%"):
        angle = q.parse(
            found, q.ANGLE, what="an opening", example='"full", "40 deg", 0.6 or "unknown"'
        )
        if 0 <= angle < 90:
            return Opening(angle_deg=angle)
    else:
        part = q.read_share(found, what="an opening, as a share of the handle's travel,")
        if part > 0:
            return Opening(angle_deg=90.0 * (1.0 - part))
    raise QuantityError(f"found {q.spell(found)}; {_ALLOWED}")


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
    raise QuantityError(f"found a table of {written}; {_ALLOWED}")


def _turned(found: Mapping[str, Any]) -> bool:
    turned = found.get("turned", False)
    if not isinstance(turned, bool):
        raise QuantityError(
            f"found turned = {q.spell(turned)}; it is true where the pipe was turned to look"
        )
    return turned
