"""Each pin of the board has one thing on it."""

from __future__ import annotations

from collections.abc import Iterator

from controller.garden import quantities as q
from controller.garden.faults import Faults
from controller.garden.hardware import WrittenDevice
from controller.garden.lines import Path
from controller.garden.written import WrittenGarden


def check_pins(written: WrittenGarden, faults: Faults) -> None:
    """Note each pin that is named twice, and by whom."""
    first_on: dict[int, tuple[Path, str]] = {}
    for place, line, owner in _pins(written):
        first, first_owner = first_on.setdefault(line, (place, owner))
        if first != place:
            faults.add(
                place,
                f"found {line}, which is {first_owner}; each has a pin of its own",
                needs=[first],
            )


def _pins(written: WrittenGarden) -> Iterator[tuple[Path, int, str]]:
    """Every pin with the place that names it, and what hangs there."""
    for number, zone in enumerate(written.zone):
        if zone.valve is not None:
            owner = f"zone {q.spell(zone.name)}"
            yield from _of_device(zone.valve, ("zone", number, "valve"), owner)
    if written.master is not None:
        yield from _of_device(written.master, ("master",), "the master")
    if written.meter is not None:
        yield ("meter", "pin"), written.meter.pin, "the pin of the meter"
    for number, sensor in enumerate(written.sensor):
        yield ("sensor", number, "pin"), sensor.pin, f"the pin of sensor {number + 1}"


def _of_device(device: WrittenDevice, at: Path, owner: str) -> Iterator[tuple[Path, int, str]]:
    if device.relay is not None:
        yield (*at, "relay"), device.relay, f"the relay of {owner}"
    if device.close_relay is not None:
        yield (*at, "close_relay"), device.close_relay, f"the close_relay of {owner}"
