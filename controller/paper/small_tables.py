"""Short tables: reference ET, field tests, what a copy of the logbook holds."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from controller.demand.climate.reference_et import ReferenceEt
from controller.hydraulics.calibration.result import Fitted
from controller.logbook.backup import Contents
from controller.messages import Message
from controller.paper.amounts import short_day
from controller.wording.say import say


def eto_rows(days: Iterable[tuple[date, ReferenceEt | None]]) -> list[dict[str, object]]:
    """One row for each day; a day without temperatures has no figure, and says so."""
    rows: list[dict[str, object]] = []
    for day, found in days:
        row: dict[str, object] = {
            "date": day.isoformat(),
            "eto_mm": None if found is None else round(found.eto_mm_day, 4),
            "method": "none: a temperature is missing" if found is None else found.method,
            "humidity": "" if found is None else found.humidity_rung,
            "radiation": "" if found is None else found.radiation_rung,
            "wind": "" if found is None else found.wind_rung,
        }
        rows.append(row)
    return rows


def eto_text(rows: Sequence[dict[str, object]]) -> str:
    """One line for each day."""
    lines = [f"{'day':<10}  {'ETo mm':>6}  how"]
    for row in rows:
        eto = row["eto_mm"]
        shown = f"{eto:6.2f}" if isinstance(eto, float) else "     -"
        lines.append(f"{row['date']}  {shown}  {row['method']}")
    known = [r["eto_mm"] for r in rows if isinstance(r["eto_mm"], float)]
    total = sum(v for v in known if isinstance(v, float))
    lines.append(f"{'sum':<10}  {total:6.1f}  of {len(known)} of {len(rows)} days")
    return "\n".join(lines) + "\n"


_WIDTH = 80
# What a test is done for; that it says nothing of a take-off or a level is no news.
_ASKED_OF = ("static head", "test flow", "bore", "discharge", "valve")


def fitted_words(fitted: Fitted, *, us: bool) -> list[str]:
    """The value of each unknown, and which tests contradict; lines of 80 columns."""
    count = f"{fitted.tests} field test{'' if fitted.tests == 1 else 's'}"
    lines = [f"Fitted to {count}:"]
    for parameter in fitted.parameters:
        if parameter.learnt:
            lines += _wrapped(parameter.message, us)
    silent = tuple(
        p.name for p in fitted.parameters if not p.learnt and p.unknown.kind in _ASKED_OF
    )
    if silent:
        lines += _wrapped(Message("fit.nothing_of", {"names": silent}), us)
    for remark in fitted.remarks:
        lines += _wrapped(remark, us)
    for odd in fitted.contradictions:
        lines += _wrapped(Message("fit.contradiction", {"contradiction": odd.message}), us)
    return lines


def _wrapped(message: Message, us: bool) -> list[str]:
    words = say(message, us=us)
    return textwrap.wrap(words, _WIDTH, initial_indent="  - ", subsequent_indent="    ")


_KIB = 1024.0


def held_text(held: Contents, *, source: str, copy: str) -> str:
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


def held_row(held: Contents) -> dict[str, Any]:
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
