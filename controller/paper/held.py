"""What a copy of the logbook holds, as a person and a program read it."""

from __future__ import annotations

from typing import Any

from controller.logbook.copying import Held
from controller.paper.amounts import short_day

_KIB = 1024.0


def held_text(held: Held, *, source: str, copy: str) -> str:
    """Name the copy and say what is in it."""
    lines = [
        f"{source}",
        f"is copied to {copy}: {held.size_bytes / _KIB:,.0f} KiB, read through and sound.",
        "It holds",
    ]
    if held.first_day is None or held.last_day is None:
        lines.append("  no water given yet")
    else:
        lines.append(
            f"  {held.pulses} pulses, {held.litres:,.0f} L, {short_day(held.first_day)} to "
            f"{short_day(held.last_day)}"
        )
    lines += [
        f"  {held.ledger_days} days of ledger, zone by zone",
        f"  {held.weather_days} days of weather",
        f"  {held.field_tests} field tests, {held.observations} things seen, "
        f"{held.readings} readings, {held.notes} notes",
        "The garden file is not in it; keep a copy of that, too.",
    ]
    return "\n".join(lines) + "\n"


def held_row(held: Held) -> dict[str, Any]:
    """The same for a program."""
    return {
        "size_bytes": held.size_bytes,
        "first_day": held.first_day and held.first_day.isoformat(),
        "last_day": held.last_day and held.last_day.isoformat(),
        "pulses": held.pulses,
        "litres": held.litres,
        "ledger_zone_days": held.ledger_days,
        "weather_days": held.weather_days,
        "readings": held.readings,
        "notes": held.notes,
        "field_tests": held.field_tests,
        "observations": held.observations,
    }
