"""Pulses, ledger days and a cast of row states for the logbook's tests; all invented."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from controller.demand.records import LedgerDay
from controller.garden.plumbing import ValveKind
from controller.logbook.logbook import Logbook
from controller.logbook.records import HowKnown, PulseState
from controller.timetable.records import Pulse

DAY = date(2031, 6, 1)


def a_pulse(slot: int = 1, zone: str = "a", *, day: date = DAY, **more: Any) -> Pulse:
    """A relay pulse of a minute and five litres, at five past five and on."""
    opens = datetime(day.year, day.month, day.day, 5, slot % 60, tzinfo=UTC)
    values: dict[str, Any] = {
        "opens_utc": opens,
        "closes_utc": opens + timedelta(seconds=60),
        "open_s": 60.0,
        "litres": 5.0,
        "valve": ValveKind.RELAY,
        "relay_line": 17,
        "together": ("b",),
    }
    return Pulse(zone=zone, day=day, slot=slot, **(values | more))


def a_hand_pulse(slot: int = 1, zone: str = "a", *, day: date = DAY) -> Pulse:
    """The same for a hand valve."""
    return a_pulse(slot, zone, day=day, valve=ValveKind.HAND, relay_line=None, together=())


def close(
    book: Logbook,
    pulse_id: int,
    open_s: float,
    litres: float,
    how: HowKnown | str = HowKnown.TIMED,
    why: str = "",
) -> None:
    """Write the true end of a pulse by its number; the daemon's `ended` finds it by its key."""
    book._end(pulse_id, PulseState.CLOSED, open_s, litres, how, why)


def a_ledger_day(zone: str = "a", *, day: date = DAY, **more: Any) -> LedgerDay:
    """A day of leeks in June."""
    values: dict[str, Any] = {
        "account": "leek from 2031-04-20",
        "crop": "leek",
        "stage": "development",
        "day_of_planting": 43,
        "eto_mm": 4.75,
        "method": "penman-monteith",
        "kc": 0.83,
        "etc_mm": 3.9425,
        "stress": 1.0,
        "used_mm": 3.9425,
        "rain_mm": 1.25,
        "rain_known": True,
        "rain_unused_mm": 0.25,
        "runoff_mm": 0.0,
        "watered_mm": 2.5,
        "drained_mm": 0.0,
        "handed_over_mm": 0.125,
        "start_depletion_mm": 7.0,
        "depletion_mm": 7.5675,
        "root_depth_m": 0.3,
        "taw_mm": 45.0,
        "raw_mm": 13.5,
        "depletion_fraction": 0.3,
        "measured": True,
    }
    return LedgerDay(zone=zone, day=day, **(values | more))
