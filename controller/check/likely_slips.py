"""Likely slips in a garden file that reads well, and relays that come on at power-on.

Each caution says what was probably meant, and what to do.
"""

from __future__ import annotations

import re

from controller.check.finding import Finding, caution
from controller.check.supply_checks import named
from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import SupplyKind, ValveKind
from controller.messages import Message, Quantity, Value
from controller.units import head_m_from_psi

# A tap's pressure with nothing running. Plumbing codes ask for a regulator over 80 psi (IPC 604.8,
# UPC 608.2; from memory), and wells and high ground have 20 psi; our choice: with room on both
# sides, so that an unusual tap gives no caution.
LEAST_TAP_M, MOST_TAP_M = head_m_from_psi(10.0), head_m_from_psi(120.0)
# What the same number in another unit must be to be offered. Our choice.
_USUAL_TAP_M = (head_m_from_psi(20.0), head_m_from_psi(100.0))
_UNITS = ("psi", "bar", "kPa")
# Lines of a Raspberry Pi that start high: GPIO 0 to 8; 9 to 27 start low. Source: BCM2835 ARM
# Peripherals (Broadcom, 2012), table 6-31, column "Pull".
LAST_HIGH_LINE = 8
# A row may be so much longer than its bed, for the pipe's end beyond it. Our choice.
OVER_BED = 1.05


def of_pressure(garden: Garden) -> list[Finding]:
    """A caution on a static pressure that no tap has, with the unit that was probably meant."""
    supply = garden.supply
    if supply.kind is SupplyKind.MAINS:
        still_m = supply.static_head_m
    elif supply.before is not None:
        still_m = supply.before.static_head_m
    else:
        return []  # a barrel and a pump are no taps
    if LEAST_TAP_M <= still_m <= MOST_TAP_M:
        return []
    written = supply.still_as_written
    values: dict[str, Value] = {
        "written": f'"{written}"' if written else Quantity(still_m, "pressure"),
        "meant": _meant(written),
    }
    where = Message("place.supply")
    if values["meant"]:
        return [caution(where, Message("check.pressure_unit", values))]
    low = still_m < LEAST_TAP_M
    return [caution(where, Message("check.low_tap" if low else "check.high_tap", values))]


def _meant(written: str) -> tuple[Message, ...]:
    """The same number in the units in which it would be a usual tap's pressure."""
    number = re.match(r"\s*([0-9][0-9.,\s]*)", written)
    if number is None:
        return ()
    found: list[Message] = []
    for unit in _UNITS:
        text = f"{number[1].strip()} {unit}"
        try:
            head_m = q.read_pressure(text, what="a pressure")
        except QuantityError:
            return ()
        if _USUAL_TAP_M[0] <= head_m <= _USUAL_TAP_M[1]:
            would_be = Quantity(head_m, "pressure")
            found.append(Message("check.pressure_meant", {"text": text, "would_be": would_be}))
    return tuple(found)


def of_start(garden: Garden) -> list[Finding]:
    """A caution on valves whose relays come on between power-on and the daemon's start.

    None where the master's relay stays off meanwhile, for then no water comes.
    """
    board, master = garden.board, garden.master
    if board.pins != "lgpio" or board.resistors:
        return []

    def comes_on(line: int | None) -> bool:
        starts_low = line is not None and line > LAST_HIGH_LINE
        return line is not None and starts_low == board.active_low

    if master is not None and not comes_on(master.valve.relay_line):
        return []
    early = [
        zone
        for zone in garden.zones
        if zone.valve.kind is ValveKind.RELAY and comes_on(zone.valve.relay_line)
    ]
    if not early:
        return []
    relays = sorted(zone.valve.relay_line or 0 for zone in early)
    message = Message(
        "check.starts_low" if board.active_low else "check.starts_high",
        {
            "zones": named([zone.name for zone in early], every=True),
            "count": len(early),
            "lines": tuple(map(str, relays)),
            "raw": ",".join(map(str, relays)),
        },
    )
    return [caution(Message("place.board"), message)]


def of_beds(garden: Garden) -> list[Finding]:
    """Cautions on beds that no zone waters."""
    watered = {zone.bed.name for zone in garden.zones}
    return [
        caution(
            Message("place.bed", {"bed": bed.name}),
            Message("check.no_zone_here", {"bed": bed.name}),
        )
        for bed in garden.beds
        if bed.name not in watered
    ]


def of_zone_rows(zone: Zone) -> list[Finding]:
    """Cautions on rows that are longer than the bed they lie in."""
    bed = zone.bed
    if bed.length_m is None:
        return []
    longest_m = max(bed.length_m, bed.width_m or 0.0)
    over: dict[float, list[int]] = {}
    for number, row in enumerate(zone.rows, 1):
        if row.length_m > OVER_BED * longest_m:
            over.setdefault(row.length_m, []).append(number)
    found: list[Finding] = []
    for length_m, numbers in over.items():
        where = Message("place.row", {"zone": zone.name, "row": numbers[0]})
        if len(numbers) > 1:
            where = Message("place.rows", {"zone": zone.name, "rows": tuple(map(str, numbers))})
        values: dict[str, Value] = {
            "count": len(numbers),
            "row": Quantity(length_m, "length"),
            "bed": bed.name,
            "length": Quantity(longest_m, "length"),
        }
        found.append(caution(where, Message("check.row_over_bed", values)))
    return found
