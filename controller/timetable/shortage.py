"""Which crops will find too little water in the days planned: from when, how much, and why."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from controller.demand.records import LedgerDay
from controller.timetable.records import NotFitted, Short

# A day counts as short from here on: Ks under it is more than the rounding of a dose; our choice.
STRESS_SAID = 0.98


def shortages(
    ledger: Iterable[LedgerDay], not_fitted: Iterable[NotFitted], *, first: date
) -> tuple[Short, ...]:
    """The parts of zones that are short on days from `first` on, in order of the ledger."""
    short: dict[tuple[str, str], list[LedgerDay]] = {}
    for row in ledger:
        if row.day >= first and is_short(row):
            short.setdefault((row.zone, row.part), []).append(row)
    reasons: dict[str, NotFitted] = {}
    for left in not_fitted:
        reasons.setdefault(left.zone, left)
    return tuple(
        _short(zone, part, rows, reasons.get(zone)) for (zone, part), rows in short.items()
    )


def is_short(row: LedgerDay) -> bool:
    """Whether a crop finds too little water that day.

    On its first day it is watered in by hand, and one that dries down before harvest is to.
    """
    standing = row.crop is not None and row.day_of_planting > 1 and row.phase != "dry-down"
    return standing and row.stress < STRESS_SAID


def _short(zone: str, part: str, rows: list[LedgerDay], left: NotFitted | None) -> Short:
    worst = min(rows, key=lambda row: row.stress)
    # What the crop asks for and what it draws differ by Ks alone.
    lost = sum(
        (row.etc_mm - row.used_mm)
        if row.coefficients == "single"
        else row.kcb * row.eto_mm * row.exposure - row.transpired_mm
        for row in rows
    )
    reason = ""
    if left is not None and left.day <= worst.day:
        reason = left.reason
    return Short(
        zone=zone,
        part=part,
        first=rows[0].day,
        days=len(rows),
        least_stress=worst.stress,
        worst_day=worst.day,
        lost_mm=max(0.0, lost),
        reason=reason,
    )
