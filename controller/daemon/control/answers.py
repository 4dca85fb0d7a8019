"""Answers to requests: status, open, close, resume, hold, lift, replan, reset.

Each answer has `ok` and `words`. Everything here runs in the engine's thread.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from controller.daemon.control.protocol import SHORTEST_HOLD_S, SHORTEST_OPEN_S, refusal
from controller.daemon.engine import Engine
from controller.daemon.openings import shut
from controller.daemon.planning import held_now, local_day
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import Zone
from controller.garden.plumbing import ValveKind
from controller.garden.show import quoted, show_duration
from controller.timetable.records import Pulse
from controller.units import l_from_m3
from controller.valves.line import State
from controller.wording.say import say

RECENT = 10
NEXT = 20


def status_of(engine: Engine) -> dict[str, Any]:
    """All that `rowgate status` shows."""
    garden, clock_trust = engine.garden, engine.clock_trust
    return {
        "ok": True,
        "words": _words(engine),
        "site": garden.site.name,
        "timezone": garden.site.timezone,
        "started_utc": _text(engine.started_utc),
        "now_utc": _text(engine.clock.now_utc()),
        "pins": engine.pins,
        "clock_believed": clock_trust.trusted,
        "clock_doubt": clock_trust.why,
        "open": _open_now(engine),
        "next": [
            {
                "zone": p.zone,
                "opens_utc": _text(p.opens_utc),
                "open_s": p.open_s,
                "litres": p.litres,
                "valve": str(p.valve),
                "slot": p.slot,
            }
            for p in _coming(engine)
        ],
        "closed_for_today": [
            {"zone": zone, "day": day.isoformat()}
            for zone, day in sorted(engine.closed_for_today().items())
        ],
        "all_closed_for_today": _all_closed(engine),
        "holds": [
            {
                "begins_local": hold.begins.isoformat(),
                "ends_local": hold.ends.isoformat(),
                "zones": sorted(hold.zones),
                "reason": hold.reason,
            }
            for hold in garden.watering.holds
            if hold.ends > _local(engine)
        ],
        "planned_utc": _text(engine.planned_utc),
        "plan_fault": engine.plan_fault,
        "remarks": [
            say(remark, us=garden.us_units)
            for remark in (engine.timetable.remarks if engine.timetable else ())
        ],
        "not_fitted": [
            {
                "zone": n.zone,
                "day": n.day.isoformat(),
                "litres": n.litres,
                "reason": say(n.reason, us=garden.us_units),
            }
            for n in (engine.timetable.not_fitted if engine.timetable else ())
        ],
        "weather": _weather(engine),
        "garden_file": garden.path,
        "garden_faults": list(engine.garden_file.faults),
        "garden_from_copy": engine.accepted.from_copy,
        "barred": _barred(engine),
        "silent": engine.unrecorded_words(),
        "not_moving": list(engine.silent()),
        "happenings": _happenings(engine),
        "rows_set_aside": _rows_set_aside(engine),
        "litres_by": engine.watching.litres_by,
        "shut_by": engine.watching.why_shut,
        "flows_unknown": list(engine.watching.unknown_flows),
        "inputs_unread": list(engine.watching.faults),
        "days_by_step": _steps(engine),
        "board": engine.board().as_dict(),
        "starts_in_last_day": None if engine.restarts is None else engine.restarts.in_last_day,
        "last_ended": None if engine.restarts is None else engine.restarts.last_ended,
    }


def _words(engine: Engine) -> str:
    if engine.garden_file.faults:
        return "the garden file has faults; the last good one is in use"
    if not engine.clock_trust.trusted:
        return f"no openings by plan: {engine.clock_trust.why}"
    if engine.plan_fault:
        return f"no plan: {engine.plan_fault}"
    count = len(engine.openings.running)
    return f"{count} open" if count else "all shut"


def _all_closed(engine: Engine) -> bool:
    """Whether the day of every zone with a relay was ended by a person."""
    relays = {z.name for z in engine.accepted.garden.zones if z.valve.kind is ValveKind.RELAY}
    return bool(relays) and relays <= set(engine.closed_for_today())


def _open_now(engine: Engine) -> list[dict[str, Any]]:
    mono = engine.clock.mono_s()
    return [
        {
            "zone": r.zone,
            "line": r.line,
            "manual": r.manual,
            "opened_utc": _text(r.opened_utc),
            "remaining_s": max(0.0, r.deadline_mono_s - mono),
            "litres": engine.openings.litres_so_far(r.zone, engine.flow_l_s),
        }
        for r in engine.openings.running.values()
    ]


def _barred(engine: Engine) -> list[dict[str, str]]:
    """Zones whose lines have disobeyed, and open no more until they are reset."""
    states = engine.valve_set.bank.states()
    return [
        {"zone": zone.name, "state": str(states[line])}
        for zone in engine.accepted.garden.zones
        if (line := zone.valve.relay_line) is not None
        and states.get(line) in (State.BARRED, State.STUCK)
    ]


def _coming(engine: Engine) -> list[Any]:
    if engine.timetable is None:
        return []
    now, armed = engine.clock.now_utc(), {p.key for p in engine.pending}
    today = _local(engine).date()
    return [
        p
        for p in engine.timetable.pulses
        if p.key in armed or (p.opens_utc > now and (p.relay_line is None or p.day > today))
    ][:NEXT]


def _weather(engine: Engine) -> dict[str, Any]:
    today = _local(engine).date()
    known = [w for w in engine.weather.rows.values() if w.day < today and not w.is_forecast]
    last = max(known, key=lambda w: w.day, default=None)
    answer = engine.weather.answer
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
                "why": say(source.why, us=engine.garden.us_units),
            }
            for source in (answer.silent if answer else ())
        ],
    }


def _steps(engine: Engine) -> list[dict[str, str]]:
    """The kind of weather source that yesterday, today and the days to come stand on."""
    if engine.timetable is None:
        return []
    first = _local(engine).date() - timedelta(days=1)
    steps = {row.day: row.rung for row in engine.timetable.ledger if row.day >= first}
    return [{"day": day.isoformat(), "step": steps[day]} for day in sorted(steps)]


def _happenings(engine: Engine) -> list[dict[str, Any]]:
    try:
        return [
            {"at_utc": _text(h.at_utc), "kind": h.kind, "words": h.words, "zone": h.zone}
            for h in engine.journal.happenings(RECENT)
        ]
    except LogbookError as fault:
        return [{"kind": "logbook", "words": str(fault)}]


def _rows_set_aside(engine: Engine) -> int | None:
    """How many logbook rows were set aside as impossible; None without an answer."""
    try:
        return engine.journal.rows_set_aside()
    except LogbookError:
        return None


def _local(engine: Engine) -> datetime:
    zone_info = engine.garden.site.zone_info
    return engine.clock.now_utc().astimezone(zone_info).replace(tzinfo=None)


def _text(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="seconds")


Asked = Mapping[str, Any]
MASTER = "master"  # as `reset` calls the valve ahead of all zones
LONGEST_HOLD = timedelta(days=366)
_TEXT_MOST = 500


def answer(engine: Engine, request: Asked) -> dict[str, Any]:
    """Do what the request asks, or say why not."""
    known: dict[str, Callable[[Engine, Asked], dict[str, Any]]] = {
        "status": lambda engine, _: status_of(engine),
        "open": _open,
        "close": _close,
        "resume": _resume,
        "hold": _hold,
        "lift": _lift,
        "replan": _replan,
        "reset": _reset,
    }
    asked = request.get("ask")
    if not isinstance(asked, str) or asked not in known:
        return refusal(f"found ask {asked!r:.60}; known are {', '.join(known)}")
    try:
        return known[asked](engine, request)
    except _NotClear as fault:
        return refusal(str(fault))
    except LogbookError as fault:
        return refusal(f"not done, it cannot be written down: {fault}")


class _NotClear(Exception):
    """A request that cannot be understood; it becomes an answer in this module."""


def _open(engine: Engine, request: Asked) -> dict[str, Any]:
    zone = _zone(engine, request.get("zone"))
    seconds = _seconds(request.get("seconds"), "seconds", least_s=SHORTEST_OPEN_S)
    if zone.valve.kind is ValveKind.HAND:
        return refusal(f"{zone.name} has a hand valve; open it by hand, then note it")
    longest = zone.valve.longest_open_s
    if seconds > longest:
        return refusal(
            f"{zone.name} may be open for at most {longest / 60:g} minutes at a time "
            f"(asked: {seconds / 60:g})"
        )
    if zone.name in engine.openings.running:
        return refusal(f"{zone.name} is open already")
    now = engine.clock.now_utc()
    day = local_day(engine.garden, now)
    litres = engine.flow_l_s(zone.name, frozenset((zone.name,))) * seconds
    left = l_from_m3(zone.daily_cap_m3) - engine.journal.litres_on(zone.name, day)
    if litres > left:
        return refusal(
            f"{zone.name} may have {max(left, 0.0):.0f} L more today; {_shown(seconds)} would "
            f"give {litres:.0f} L"
        )
    slots = [p.slot for p in engine.pending if (p.zone, p.day) == (zone.name, day)]
    pulse = Pulse(
        zone=zone.name,
        day=day,
        slot=max([*slots, engine.journal.next_slot(zone.name, day) - 1]) + 1,
        opens_utc=now,
        closes_utc=now + timedelta(seconds=seconds),
        open_s=seconds,
        litres=litres,
        valve=zone.valve.kind,
        relay_line=zone.valve.relay_line,
        together=tuple(sorted(engine.openings.running)),
    )
    try:
        engine.openings.open(engine.valve_set.bank, pulse, open_s=seconds, manual=True)
    except (ValveRefused, ValveFault) as fault:
        if isinstance(fault, ValveRefused):
            engine.report("refused", str(fault), zone.name)
        engine.tick()
        return refusal(str(fault))
    held = held_now(engine.garden, zone, now)
    caution = "" if held is None else " although it is held"
    return _done(f"{zone.name} is open for {_shown(seconds)}{caution}")


def _close(engine: Engine, request: Asked) -> dict[str, Any]:
    """Take the closing into the plan; the valve was shut before this ran, if that was possible."""
    name = request.get("zone")
    zones = engine.accepted.garden.zones if name is None else (_zone(engine, name),)
    if name is not None and zones[0].valve.kind is ValveKind.HAND:
        return refusal(f"{zones[0].name} has a hand valve; close it by hand")
    was_open = []
    for zone in zones:
        running = engine.openings.running.get(zone.name)
        if running is not None:
            was_open.append(zone.name)
            shut(engine.valve_set.bank, running.line, "a person closed it")
        engine.person_closed(zone.name)
    engine.tick()
    still = engine.openings.running
    # A slow valve that is on its way is seen to.
    left = [z for z in was_open if z in still and still[z].shut_mono_s is None]
    if left:
        return refusal(f"{', '.join(left)}: did not obey the command to close; shut the tap")
    did = f"closed: {', '.join(was_open)}" if was_open else "nothing was open"
    where, again = ("in any zone", "") if name is None else (f"in {name}", f" {name}")
    return _done(
        f"{did}. It also ends the rest of today: nothing more opens today by plan {where}. To have "
        f"it planned anew: rowgate resume{again}"
    )


def _resume(engine: Engine, request: Asked) -> dict[str, Any]:
    """Undo what a close ended of today; what opens then, the plan opens, at its time."""
    name = request.get("zone")
    zones = engine.accepted.garden.zones if name is None else (_zone(engine, name),)
    resumed = engine.person_resumed([zone.name for zone in zones])
    if not resumed:
        return _done("no zone was closed for today" if name is None else f"{name} was not closed")
    engine.tick()
    what = f"resumed: {', '.join(resumed)}"
    if not engine.clock_trust.trusted:
        return _done(f"{what}; no plan now: {engine.clock_trust.why}")
    if engine.plan_is_due:
        why = engine.plan_fault or "as soon as nothing is open"
        return _done(f"{what}; not planned yet: {why}")
    if engine.plan_fault:
        return refusal(f"{what}; no plan could be made: {engine.plan_fault}")
    coming = [p for p in engine.pending if p.zone in resumed]
    if not coming:
        return _done(f"{what}; the plan has no opening more for them today")
    first = min(coming, key=lambda p: p.opens_utc)
    at = first.opens_utc.astimezone(engine.garden.site.zone_info)
    return _done(f"{what}; planned anew: {first.zone} opens at {at:%H:%M}")


def _hold(engine: Engine, request: Asked) -> dict[str, Any]:
    now = engine.clock.now_utc()
    if "until" in request and request["until"] is not None:
        ends = _moment(request["until"], engine)
    else:
        asked_s = _seconds(request.get("hours"), "hours", least_s=SHORTEST_HOLD_S, unit_s=3600.0)
        ends = now + timedelta(seconds=asked_s)
    if not now < ends <= now + LONGEST_HOLD:
        return refusal("a hold must end after now, and within a year")
    asked = request.get("zones") or []
    if not isinstance(asked, list):
        return refusal("zones must be a list of names; an empty one means all")
    zones = tuple(_zone(engine, name).name for name in asked)
    reason = request.get("reason") or ""
    if not isinstance(reason, str) or len(reason) > _TEXT_MOST:
        return refusal(f"the reason must be a text of at most {_TEXT_MOST} letters")
    reason = " ".join(reason.split())
    if not reason.isprintable():
        return refusal("the reason must be plain text, without control characters")
    engine.journal.hold(now, ends, zones, reason)
    engine.holds_changed()
    engine.tick()
    local = ends.astimezone(engine.garden.site.zone_info)
    what = ", ".join(zones) or "all zones"
    return _done(f"{what} held until {local:%Y-%m-%d %H:%M}")


def _lift(engine: Engine, request: Asked) -> dict[str, Any]:
    count = engine.journal.lift()
    engine.holds_changed()
    engine.tick()
    if not count:
        in_file = " (holds of the garden file are ended in the file)"
        return _done("no hold was in force" + (in_file if engine.garden.watering.holds else ""))
    return _done(f"lifted: {count} hold{'s' if count > 1 else ''}")


def _replan(engine: Engine, request: Asked) -> dict[str, Any]:
    engine.request_plan("asked")
    engine.tick()
    if not engine.clock_trust.trusted:
        return refusal(f"no plan now: {engine.clock_trust.why}")
    if engine.openings.running:
        return _done("planned anew as soon as nothing is open")
    if engine.plan_fault:
        return refusal(f"no plan could be made: {engine.plan_fault}")
    return _done("planned anew")


def _reset(engine: Engine, request: Asked) -> dict[str, Any]:
    """Let a line that disobeyed open again, now that somebody has looked at it."""
    master = engine.accepted.garden.master
    if request.get("zone") == MASTER and master is not None:
        assert master.valve.relay_line is not None, "a master is a relay's"
        try:
            engine.valve_set.bank.reset(master.valve.relay_line)
        except (ValveRefused, ValveFault) as fault:
            return refusal(str(fault))
        engine.report("reset", "the master may open again")
        return _done("the master may open again")
    zone = _zone(engine, request.get("zone"))
    if zone.valve.relay_line is None:
        return refusal(f"{zone.name} has a hand valve; there is nothing to reset")
    try:
        engine.valve_set.bank.reset(zone.valve.relay_line)
    except (ValveRefused, ValveFault) as fault:
        return refusal(str(fault))
    engine.report("reset", "may open again", zone.name)
    return _done(f"{zone.name} may open again")


def _done(words: str) -> dict[str, Any]:
    return {"ok": True, "words": words}


def _zone(engine: Engine, name: object) -> Zone:
    for zone in engine.accepted.garden.zones:
        if zone.name == name:
            return zone
    names = quoted(z.name for z in engine.accepted.garden.zones)
    raise _NotClear(f"found zone {name!r:.60}; this garden has: {names}")


def _seconds(value: object, key: str, *, least_s: float, unit_s: float = 1.0) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _NotClear(f"found {key} {value!r:.60}; allowed is a number")
    try:
        seconds = float(value) * unit_s
    except OverflowError:  # a whole number of hundreds of digits
        seconds = math.inf
    if not least_s <= seconds <= LONGEST_HOLD.total_seconds():
        raise _NotClear(
            f"found {key} {value!r:.60}; allowed is a number above 0, {least_s:g} s or more, "
            "within a year"
        )
    return seconds


def _moment(value: object, engine: Engine) -> datetime:
    try:
        moment = datetime.fromisoformat(str(value))
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=engine.garden.site.zone_info)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError):  # the year 9999 may lie outside, seen from Greenwich
        raise _NotClear(
            f"found until {value!r:.60}; allowed is a time as in 2031-06-01T18:00"
        ) from None


def _shown(seconds: float) -> str:
    return show_duration(round(seconds))
