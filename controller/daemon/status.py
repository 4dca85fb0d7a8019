"""How the daemon stands, as one JSON-ready answer: SI and UTC, units in the key names."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from controller.daemon.steward import Steward
from controller.errors import LogbookError
from controller.valves.states import State

RECENT = 10
NEXT = 20


def status_of(steward: Steward) -> dict[str, Any]:
    """All that `rowgate status` shows."""
    garden, sense = steward.garden, steward.sense
    return {
        "ok": True,
        "words": _words(steward),
        "site": garden.site.name,
        "timezone": garden.site.timezone,
        "started_utc": _text(steward.started_utc),
        "now_utc": _text(steward.clock.now_utc()),
        "pins": steward.pins,
        "clock_believed": sense.believed,
        "clock_doubt": sense.why,
        "open": _open(steward),
        "next": [
            {
                "zone": p.zone,
                "opens_utc": _text(p.opens_utc),
                "open_s": p.open_s,
                "litres": p.litres,
                "valve": str(p.valve),
                "slot": p.slot,
            }
            for p in _coming(steward)
        ],
        "holds": [
            {
                "begins_local": hold.begins.isoformat(),
                "ends_local": hold.ends.isoformat(),
                "zones": sorted(hold.zones),
                "reason": hold.reason,
            }
            for hold in garden.watering.holds
            if hold.ends > _local(steward)
        ],
        "planned_utc": _text(steward.planned_utc),
        "plan_fault": steward.plan_fault,
        "remarks": list(steward.timetable.remarks) if steward.timetable else [],
        "not_fitted": [
            {"zone": n.zone, "day": n.day.isoformat(), "litres": n.litres, "reason": n.reason}
            for n in (steward.timetable.not_fitted if steward.timetable else ())
        ],
        "weather": _weather(steward),
        "garden_file": garden.path,
        "garden_faults": list(steward.garden_file.faults),
        "garden_from_copy": steward.accepted.from_copy,
        "barred": _barred(steward),
        "silent": steward.unrecorded_words(),
        "not_moving": list(steward.silent()),
        "happenings": _happenings(steward),
        "rows_set_aside": _rows_set_aside(steward),
        "litres_by": steward.watching.litres_by,
        "shut_by": steward.watching.why_shut,
        "flows_unknown": list(steward.watching.unknown_flows),
        "inputs_unread": list(steward.watching.faults),
        "days_by_step": _steps(steward),
        "board": steward.board().as_dict(),
        "starts_in_last_day": None if steward.restarts is None else steward.restarts.in_last_day,
        "last_ended": None if steward.restarts is None else steward.restarts.last_ended,
    }


def _words(steward: Steward) -> str:
    if steward.garden_file.faults:
        return "the garden file has faults; the last good one waters on"
    if not steward.sense.believed:
        return f"no openings by plan: {steward.sense.why}"
    if steward.plan_fault:
        return f"no plan: {steward.plan_fault}"
    count = len(steward.openings.running)
    return f"{count} open" if count else "all shut"


def _open(steward: Steward) -> list[dict[str, Any]]:
    mono = steward.clock.mono_s()
    return [
        {
            "zone": r.zone,
            "line": r.line,
            "manual": r.manual,
            "opened_utc": _text(r.opened_utc),
            "remaining_s": max(0.0, r.deadline_mono_s - mono),
            "litres": steward.openings.litres_so_far(r.zone, steward.flow_l_s),
        }
        for r in steward.openings.running.values()
    ]


def _barred(steward: Steward) -> list[dict[str, str]]:
    """Zones whose lines have disobeyed, and open no more until reset."""
    states = steward.waterworks.bank.states()
    return [
        {"zone": zone.name, "state": str(states[line])}
        for zone in steward.accepted.garden.zones
        if (line := zone.valve.relay_line) is not None
        and states.get(line) in (State.BARRED, State.STUCK)
    ]


def _coming(steward: Steward) -> list[Any]:
    if steward.timetable is None:
        return []
    now, armed = steward.clock.now_utc(), {p.key for p in steward.pending}
    today = _local(steward).date()
    return [
        p
        for p in steward.timetable.pulses
        if p.key in armed or (p.opens_utc > now and (p.relay_line is None or p.day > today))
    ][:NEXT]


def _weather(steward: Steward) -> dict[str, Any]:
    today = _local(steward).date()
    known = [w for w in steward.weather.rows.values() if w.day < today and not w.foretold]
    last = max(known, key=lambda w: w.day, default=None)
    answer = steward.weather.answer
    return {
        "last_day": last.day.isoformat() if last else None,
        "last_source": last.source if last else None,
        "asked_utc": _text(answer.asked_utc) if answer else None,
        "failed": answer.failed if answer else False,
        "credit": answer.credit if answer else "",
        "remarks": list(answer.remarks) if answer else [],
        "silent": [
            {
                "source": source.name,
                "silent_since_utc": _text(source.since_utc),
                "heard_before": source.heard,
                "why": source.why,
            }
            for source in (answer.silent if answer else ())
        ],
    }


def _steps(steward: Steward) -> list[dict[str, str]]:
    """The step of the weather's ladder that yesterday and the days from today on stand on."""
    if steward.timetable is None:
        return []
    first = _local(steward).date() - timedelta(days=1)
    steps = {row.day: row.rung for row in steward.timetable.ledger if row.day >= first}
    return [{"day": day.isoformat(), "step": steps[day]} for day in sorted(steps)]


def _happenings(steward: Steward) -> list[dict[str, Any]]:
    try:
        return [
            {"at_utc": _text(h.at_utc), "kind": h.kind, "words": h.words, "zone": h.zone}
            for h in steward.books.happenings(RECENT)
        ]
    except LogbookError as fault:
        return [{"kind": "logbook", "words": str(fault)}]


def _rows_set_aside(steward: Steward) -> int | None:
    """How many rows of the logbook were not what they can be; None where it does not say."""
    try:
        return steward.books.rows_set_aside()
    except LogbookError:
        return None


def _local(steward: Steward) -> datetime:
    zone_info = steward.garden.site.zone_info
    return steward.clock.now_utc().astimezone(zone_info).replace(tzinfo=None)


def _text(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="seconds")
