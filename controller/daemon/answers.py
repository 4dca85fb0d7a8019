"""What the daemon answers when asked: status, open, close, hold, lift, replan.

Each answer carries `ok` and `words`. These run in the steward's thread.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from controller.daemon.control import SHORTEST_HOLD_S, SHORTEST_OPEN_S, refusal
from controller.daemon.openings import shut
from controller.daemon.planning import held_now, local_day
from controller.daemon.status import status_of
from controller.daemon.steward import Steward
from controller.errors import LogbookError, ValveFault, ValveRefused
from controller.garden.model import ValveKind, Zone
from controller.timetable.records import Pulse
from controller.units import l_from_m3

Asked = Mapping[str, Any]
MASTER = "master"  # as `reset` calls the valve ahead of all zones
LONGEST_HOLD = timedelta(days=366)
_TEXT_MOST = 500


def answer(steward: Steward, request: Asked) -> dict[str, Any]:
    """Do what is asked, or say why not."""
    known: dict[str, Callable[[Steward, Asked], dict[str, Any]]] = {
        "status": lambda steward, _: status_of(steward),
        "open": _open,
        "close": _close,
        "hold": _hold,
        "lift": _lift,
        "replan": _replan,
        "reset": _reset,
    }
    asked = request.get("ask")
    if not isinstance(asked, str) or asked not in known:
        return refusal(f"found ask {asked!r:.60}; known are {', '.join(known)}")
    try:
        return known[asked](steward, request)
    except _NotClear as fault:
        return refusal(str(fault))
    except LogbookError as fault:
        return refusal(f"not done, it cannot be written down: {fault}")


class _NotClear(Exception):
    """A request that cannot be understood; turned into an answer here, never seen elsewhere."""


def _open(steward: Steward, request: Asked) -> dict[str, Any]:
    zone = _zone(steward, request.get("zone"))
    seconds = _seconds(request.get("seconds"), "seconds", least_s=SHORTEST_OPEN_S)
    if zone.valve.kind is ValveKind.HAND:
        return refusal(f"{zone.name} has a hand valve; open it by hand, then note it")
    longest = zone.valve.longest_open_s
    if seconds > longest:
        return refusal(
            f"{zone.name} may be open for at most {longest / 60:g} minutes at a time "
            f"(asked: {seconds / 60:g})"
        )
    if zone.name in steward.openings.running:
        return refusal(f"{zone.name} is open already")
    now = steward.clock.now_utc()
    day = local_day(steward.garden, now)
    litres = steward.flow_l_s(zone.name, frozenset((zone.name,))) * seconds
    left = l_from_m3(zone.daily_cap_m3) - steward.books.litres_on(zone.name, day)
    if litres > left:
        return refusal(
            f"{zone.name} may have {max(left, 0.0):.0f} L more today; {_shown(seconds)} would "
            f"give {litres:.0f} L"
        )
    slots = [p.slot for p in steward.pending if (p.zone, p.day) == (zone.name, day)]
    pulse = Pulse(
        zone=zone.name,
        day=day,
        slot=max([*slots, steward.books.next_slot(zone.name, day) - 1]) + 1,
        opens_utc=now,
        closes_utc=now + timedelta(seconds=seconds),
        open_s=seconds,
        litres=litres,
        valve=zone.valve.kind,
        relay_line=zone.valve.relay_line,
        together=tuple(sorted(steward.openings.running)),
    )
    try:
        steward.openings.open(steward.waterworks.bank, pulse, open_s=seconds, manual=True)
    except (ValveRefused, ValveFault) as fault:
        if isinstance(fault, ValveRefused):
            steward.tell("refused", str(fault), zone.name)
        steward.tick()
        return refusal(str(fault))
    held = held_now(steward.garden, zone, now)
    caution = "" if held is None else " although it is held"
    return _done(f"{zone.name} is open for {_shown(seconds)}{caution}")


def _close(steward: Steward, request: Asked) -> dict[str, Any]:
    """The valve was shut before this ran, if the bank could; here the plan learns of it."""
    name = request.get("zone")
    zones = steward.accepted.garden.zones if name is None else (_zone(steward, name),)
    if name is not None and zones[0].valve.kind is ValveKind.HAND:
        return refusal(f"{zones[0].name} has a hand valve; close it by hand")
    was_open = []
    for zone in zones:
        running = steward.openings.running.get(zone.name)
        if running is not None:
            was_open.append(zone.name)
            shut(steward.waterworks.bank, running.line, "a person closed it")
        steward.person_closed(zone.name)
    steward.tick()
    still = steward.openings.running
    # A slow valve that is on its way is seen to.
    left = [z for z in was_open if z in still and still[z].shut_mono_s is None]
    if left:
        return refusal(f"{', '.join(left)}: told to close, but not seen to; shut the tap")
    if not was_open:
        return _done("nothing was open; nothing more opens today by plan" + _of(name))
    return _done(f"closed: {', '.join(was_open)}; nothing more opens today by plan" + _of(name))


def _of(name: object) -> str:
    return "" if name is None else f" in {name}"


def _hold(steward: Steward, request: Asked) -> dict[str, Any]:
    now = steward.clock.now_utc()
    if "until" in request and request["until"] is not None:
        ends = _moment(request["until"], steward)
    else:
        asked_s = _seconds(request.get("hours"), "hours", least_s=SHORTEST_HOLD_S, unit_s=3600.0)
        ends = now + timedelta(seconds=asked_s)
    if not now < ends <= now + LONGEST_HOLD:
        return refusal("a hold must end after now, and within a year")
    asked = request.get("zones") or []
    if not isinstance(asked, list):
        return refusal("zones must be a list of names; an empty one means all")
    zones = tuple(_zone(steward, name).name for name in asked)
    reason = request.get("reason") or ""
    if not isinstance(reason, str) or len(reason) > _TEXT_MOST:
        return refusal(f"the reason must be a text of at most {_TEXT_MOST} letters")
    reason = " ".join(reason.split())
    if not reason.isprintable():
        return refusal("the reason must be plain text, without control characters")
    steward.books.hold(now, ends, zones, reason)
    steward.holds_changed()
    steward.tick()
    local = ends.astimezone(steward.garden.site.zone_info)
    what = ", ".join(zones) or "all zones"
    return _done(f"{what} held until {local:%Y-%m-%d %H:%M}")


def _lift(steward: Steward, request: Asked) -> dict[str, Any]:
    count = steward.books.lift()
    steward.holds_changed()
    steward.tick()
    if not count:
        in_file = " (holds of the garden file are ended in the file)"
        return _done("no hold was in force" + (in_file if steward.garden.watering.holds else ""))
    return _done(f"lifted: {count} hold{'s' if count > 1 else ''}")


def _replan(steward: Steward, request: Asked) -> dict[str, Any]:
    steward.want_plan("asked")
    steward.tick()
    if not steward.sense.believed:
        return refusal(f"no plan now: {steward.sense.why}")
    if steward.openings.running:
        return _done("planned anew as soon as nothing is open")
    if steward.plan_fault:
        return refusal(f"no plan could be made: {steward.plan_fault}")
    return _done("planned anew")


def _reset(steward: Steward, request: Asked) -> dict[str, Any]:
    """A line that disobeyed may open again: somebody has looked at it."""
    master = steward.accepted.garden.master
    if request.get("zone") == MASTER and master is not None:
        assert master.valve.relay_line is not None, "a master is a relay's"
        try:
            steward.waterworks.bank.reset(master.valve.relay_line)
        except (ValveRefused, ValveFault) as fault:
            return refusal(str(fault))
        steward.tell("reset", "the master may open again")
        return _done("the master may open again")
    zone = _zone(steward, request.get("zone"))
    if zone.valve.relay_line is None:
        return refusal(f"{zone.name} has a hand valve; there is nothing to reset")
    try:
        steward.waterworks.bank.reset(zone.valve.relay_line)
    except (ValveRefused, ValveFault) as fault:
        return refusal(str(fault))
    steward.tell("reset", "may open again", zone.name)
    return _done(f"{zone.name} may open again")


def _done(words: str) -> dict[str, Any]:
    return {"ok": True, "words": words}


def _zone(steward: Steward, name: object) -> Zone:
    for zone in steward.accepted.garden.zones:
        if zone.name == name:
            return zone
    names = ", ".join(z.name for z in steward.accepted.garden.zones)
    raise _NotClear(f"found zone {name!r:.60}; this garden has: {names}")


def _seconds(value: object, key: str, *, least_s: float, unit_s: float = 1.0) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _NotClear(f"found {key} {value!r:.60}; a number is wanted")
    try:
        seconds = float(value) * unit_s
    except OverflowError:  # a whole number of hundreds of digits
        seconds = math.inf
    if not least_s <= seconds <= LONGEST_HOLD.total_seconds():
        raise _NotClear(
            f"found {key} {value!r:.60}; a number above 0 is wanted, {least_s:g} s or more, "
            "within a year"
        )
    return seconds


def _moment(value: object, steward: Steward) -> datetime:
    try:
        moment = datetime.fromisoformat(str(value))
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=steward.garden.site.zone_info)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError):  # the year 9999 may lie outside, seen from Greenwich
        raise _NotClear(f"found until {value!r:.60}; wanted is as 2031-06-01T18:00") from None


def _shown(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d} min"
