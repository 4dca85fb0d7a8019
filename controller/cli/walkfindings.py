"""What was seen on a walk, and what it says of wires, relays and valves."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from controller.cli.walkmeter import meter_findings
from controller.cli.walkseen import SKIPPED, AtRest, Finding, Tried
from controller.garden.model import Device, Garden, Valve


def findings(
    garden: Garden,
    at_rest: AtRest,
    tries: Sequence[Tried],
    *,
    dry: bool,
    flow_l_s: Callable[[str], float],
) -> list[Finding]:
    """All that a walk found, what endangers most first.

    `dry`: the water was off, and only clicks and movements were seen.
    """
    if at_rest.all_on:
        return [_polarity(garden)]
    valves = {zone.name: zone.valve for zone in garden.zones}
    return [
        *_on_at_rest(at_rest, valves),
        *_not_closing(tries, at_rest),
        *_not_opened(tries),
        *_exchanged(tries, valves, dry=dry),
        *_several(tries),
        *_nothing_seen(tries, garden, dry=dry),
        *([] if dry else meter_findings(tries, garden, at_rest, flow_l_s=flow_l_s)),
    ]


def _polarity(garden: Garden) -> Finding:
    now, other = ("low", "high") if garden.board.active_low else ("high", "low")
    return Finding(
        kind="wrong level",
        words=f"every relay is on while all lines are off: this board switches on at {other}, and "
        f"the file says {now}",
        change=(f'[board]: relays = "active {other}"',),
    )


def _on_at_rest(at_rest: AtRest, valves: Mapping[str, Valve]) -> list[Finding]:
    found = []
    for zone, valve in valves.items():
        if zone not in at_rest.on:
            continue
        line = valve.relay_line
        if valve.device is Device.BALL_STAYS:
            sure = (
                "and was shut by its open line"
                if zone in at_rest.changed
                else "and may be driven open by its close line"
            )
            found.append(
                Finding(
                    kind="open and close exchanged",
                    words=f"{zone}: it stood open when told to shut, {sure}",
                    zone=zone,
                    line=line,
                    change=(f'zone "{zone}": relay = {valve.close_line}, close_relay = {line}',),
                )
            )
        else:
            found.append(
                Finding(
                    kind="on at rest",
                    words=f"{zone}: on while its line is off. Either the valve hangs on the "
                    "relay's resting contact (move its wire to the other one), or dirt, or its "
                    "hand screw, keeps it open",
                    zone=zone,
                    line=line,
                )
            )
    return found


def _not_closing(tries: Sequence[Tried], at_rest: AtRest) -> list[Finding]:
    return [
        Finding(
            kind="does not close",
            words=f"{t.zone}: water ran on after line {t.line} was off. Shut the tap; look for "
            "grit in the valve, an open hand screw, too little pressure to shut it, or a welded "
            "relay contact (its lamp out, the coil still warm)",
            zone=t.zone,
            line=t.line,
        )
        for t in tries
        if t.stopped is False and t.zone not in at_rest.on
    ]


def _not_opened(tries: Sequence[Tried]) -> list[Finding]:
    return [
        Finding(
            kind="not opened",
            words=f"{t.zone}: {t.not_tried}",
            zone=t.zone,
            line=t.line,
        )
        for t in tries
        if t.not_tried and t.not_tried != SKIPPED
    ]


def _exchanged(tries: Sequence[Tried], valves: Mapping[str, Valve], *, dry: bool) -> list[Finding]:
    """Lines that move another zone's valve: the file is put right, or the wires."""
    came = {t.zone: next(iter(t.seen)) for t in tries if len(t.seen) == 1 and not t.elsewhere}
    movers: dict[str, list[str]] = {}
    for asked, seen in came.items():
        movers.setdefault(seen, []).append(asked)
    what = "its valve moved" if dry else "water came there"
    found, right = [], {}
    for seen, askers in movers.items():
        if len(askers) > 1:
            lines = " and ".join(str(valves[asked].relay_line) for asked in askers)
            found.append(
                Finding(
                    kind="two lines, one valve",
                    words=f"{seen}: {what} by lines {lines} (of {', '.join(askers)}). Two relays "
                    "are wired to one valve, or two numbers name one relay",
                    zone=seen,
                )
            )
        elif askers != [seen]:
            right[seen] = askers[0]
    for group in _groups(right):
        told = "; ".join(
            f'line {valves[asked].relay_line}, in the file that of "{asked}", moved the valve of '
            f'"{seen}"'
            for seen, asked in group
        )
        change = [f'zone "{seen}": {_as_written(valves[asked])}' for seen, asked in group]
        known = {seen for seen, _ in group}
        lost = [asked for _, asked in group if asked not in known]
        change += [f'zone "{zone}": the line that moves it is not found yet' for zone in lost]
        found.append(
            Finding(
                kind="lines exchanged",
                words=f"{told}. Exchange the wires at the relays, or the numbers in the file",
                zone=group[0][0],
                line=valves[group[0][1]].relay_line,
                change=tuple(change),
            )
        )
    return found


def _groups(right: Mapping[str, str]) -> list[list[tuple[str, str]]]:
    """Who goes with whom: each group is a ring, or a chain with an end that nobody knows."""
    left, groups = dict(right), []
    starts = [seen for seen in right if seen not in right.values()]
    for start in (*starts, *right):
        group, at = [], start
        while at in left:
            asked = left.pop(at)
            group.append((at, asked))
            at = asked
        if group:
            groups.append(group)
    return groups


def _as_written(valve: Valve) -> str:
    if valve.close_line is None:
        return f"relay = {valve.relay_line}"
    return f"relay = {valve.relay_line}, close_relay = {valve.close_line}"


def _several(tries: Sequence[Tried]) -> list[Finding]:
    found = []
    for t in tries:
        if len(t.seen) > 1:
            found.append(
                Finding(
                    kind="several at once",
                    words=f"line {t.line} ({t.zone}) moved {', '.join(sorted(t.seen))} together: "
                    "two valves on one relay, or one of them does not shut",
                    zone=t.zone,
                    line=t.line,
                )
            )
        elif t.elsewhere:
            found.append(
                Finding(
                    kind="elsewhere",
                    words=f"line {t.line} ({t.zone}): seen elsewhere: {t.elsewhere}",
                    zone=t.zone,
                    line=t.line,
                )
            )
    return found


def _nothing_seen(tries: Sequence[Tried], garden: Garden, *, dry: bool) -> list[Finding]:
    nothing = [t for t in tries if t.nothing]
    opened = [t for t in tries if not t.not_tried]
    found = []
    if len(opened) > 1 and len(nothing) == len(opened):
        if any(t.clicked for t in nothing):
            words = "relays click and no water comes anywhere: see that the tap is open"
            if garden.master is not None:
                words += f", and the master valve on line {garden.master.valve.relay_line}"
            words += "; then that the valves have current"
        else:
            words = (
                "no line did anything: see that the relay board has current, that its ground is "
                "the board's, and that pins are not mock"
            )
        return [Finding(kind="nothing anywhere", words=words)]
    for t in nothing:
        if t.clicked:
            kind = "no water"
            words = (
                f"{t.zone}: the relay of line {t.line} clicks and no water comes: the valve's "
                "wires, its coil, its fuse, or a shut hand valve"
            )
        else:
            kind = "dead relay"
            words = (
                f"{t.zone}: line {t.line} does nothing that is seen or heard: the relay, its "
                "wire to the board, or the number in the file"
            )
        found.append(Finding(kind=kind, words=words, zone=t.zone, line=t.line))
    return found
