"""What a walk finds: from what a person saw to faults of wires, relays, valves and meter."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Device, Valve
from controller.paper.amounts import Units
from controller.paper.text import paragraph

SKIPPED = "skipped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One line of the board that was opened, and what was seen meanwhile and after.

    `seen` are the zones where water came, or whose valves moved while the water was off. `clicked`
    and `stopped` are None where nobody was asked, or did not know; the counts are the meter's, None
    without one.
    """

    zone: str
    line: int
    open_s: float = 0.0
    seen: frozenset[str] = frozenset()
    elsewhere: str = ""
    clicked: bool | None = None
    stopped: bool | None = None
    counts: int | None = None
    run_on: int | None = None
    not_tried: str = ""  # why it was not opened, or not to the end

    @property
    def nothing(self) -> bool:
        """Whether it was opened and nothing was seen of it."""
        return not self.not_tried and not self.seen and not self.elsewhere

    @property
    def well(self) -> bool:
        """Whether it moved its own valve alone, and that shut again."""
        own = self.seen == {self.zone} and not self.elsewhere
        return own and not self.not_tried and self.stopped is not False


@dataclass(frozen=True, slots=True, kw_only=True)
class AtRest:
    """What was seen before anything was opened: nothing, all relays in, or water at some zones.

    `changed` are balls among those whose water stopped while their open line was driven.
    """

    all_on: bool = False
    on: frozenset[str] = frozenset()
    changed: frozenset[str] = frozenset()
    counts: int | None = None


@dataclass(slots=True, kw_only=True)
class WalkRecord:
    """What was asked and seen so far. `dry`: the water is off, only clicks and movements count."""

    garden: Garden
    flow_l_s: Callable[[str], float]  # of a zone open alone, computed
    dry: bool = False
    at_rest: AtRest = AtRest()
    tries: list[Tried] = field(default_factory=list)
    ended: str = ""  # why it ended early


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A difference from the garden file; `change` are lines for the file."""

    kind: str
    words: str
    zone: str | None = None
    line: int | None = None
    change: tuple[str, ...] = ()


def relay_zones(garden: Garden) -> list[Zone]:
    """The zones whose valves a relay moves, in the file's order."""
    return [zone for zone in garden.zones if zone.valve.relay_line is not None]


LEAST_COUNTS = 3.0  # of a meter, computed, before its silence says anything; our choice
RUN_ON_COUNTS = 2  # after all is shut; one may be the wheel coming to rest; our choice


def _meter_findings(walk: WalkRecord) -> list[Finding]:
    """What the meter did while water ran, and while none should."""
    meter, tries, at_rest = walk.garden.meter, walk.tries, walk.at_rest
    if meter is None or walk.dry:
        return []
    found = []
    if (at_rest.counts or 0) >= RUN_ON_COUNTS and not at_rest.on:
        found.append(
            Finding(
                kind="meter counts at rest",
                words=f"the meter counted {at_rest.counts} while all was shut: water is drawn "
                "elsewhere, a pipe leaks, or the pin catches noise",
            )
        )
    silent: list[str] = []
    too_little: list[str] = []
    for t in tries:
        if t.counts is None or t.not_tried:
            continue
        if t.counts == 0 and t.seen:
            due = walk.flow_l_s(t.zone) * t.open_s / meter.litres_per_pulse
            (silent if due >= LEAST_COUNTS else too_little).append(t.zone)
        if t.counts >= RUN_ON_COUNTS and t.nothing:
            found.append(
                Finding(
                    kind="counts without water",
                    words=f"{t.zone}: the meter counted {t.counts} and nobody saw water: it runs "
                    "where nobody looked",
                    zone=t.zone,
                    line=t.line,
                )
            )
        if (t.run_on or 0) >= RUN_ON_COUNTS and t.stopped is not False:
            found.append(
                Finding(
                    kind="runs on by the meter",
                    words=f"{t.zone}: the meter counted {t.run_on} more after it had shut",
                    zone=t.zone,
                    line=t.line,
                )
            )
    if silent:
        counted = any(t.counts for t in tries)
        why = (
            "it counted for others: does their water pass it, and fast enough for it to turn?"
            if counted
            else f"see its wires, its pin ({meter.line}), and the arrow on it"
        )
        found.append(
            Finding(
                kind="meter does not count",
                words=f"water came at {', '.join(silent)} and the meter gave no count; {why}",
                line=meter.line,
            )
        )
    elif too_little and not any(t.counts for t in tries):
        found.append(
            Finding(
                kind="meter not judged",
                words="too little water passed for the meter to count once; walk again with more "
                "--seconds",
                line=meter.line,
            )
        )
    return found


def findings(walk: WalkRecord) -> list[Finding]:
    """All findings of a walk, the most dangerous first."""
    garden, at_rest, tries = walk.garden, walk.at_rest, walk.tries
    if at_rest.all_on:
        return [_polarity(garden)]
    valves = {zone.name: zone.valve for zone in garden.zones}
    return [
        *_on_at_rest(at_rest, valves),
        *_not_closing(tries, at_rest),
        *_not_opened(tries),
        *_exchanged(tries, valves, dry=walk.dry),
        *_several(tries),
        *_nothing_seen(tries, garden),
        *_meter_findings(walk),
    ]


def _polarity(garden: Garden) -> Finding:
    now, other = ("low", "high") if garden.board.active_low else ("high", "low")
    return Finding(
        kind="wrong level",
        words=f"every relay is on while all lines are off: this board switches on at {other}, and "
        f"the garden file has {now}",
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
                    words=f"{zone}: it was open when it was to be shut, {sure}",
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
    """Lines that move another zone's valve: to be mended in the file, or in the wires."""
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
        exchanges = "; ".join(
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
                words=f"{exchanges}. Exchange the wires at the relays, or the numbers in the file",
                zone=group[0][0],
                line=valves[group[0][1]].relay_line,
                change=tuple(change),
            )
        )
    return found


def _groups(right: Mapping[str, str]) -> list[list[tuple[str, str]]]:
    """The groups of exchanged zones: each is a ring, or a chain with an unknown end."""
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


def _nothing_seen(tries: Sequence[Tried], garden: Garden) -> list[Finding]:
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


# ---- on paper, and in the logbook ----------------------------------------------------------------


def sheet_text(walk: WalkRecord, found: Sequence[Finding], *, when: str) -> str:
    """What was asked and seen, line by line, then the faults, and how to mend them."""
    garden, tries, dry = walk.garden, walk.tries, walk.dry
    water = "water off" if dry else "water on"
    lines = ["", f"Walk of {garden.site.name}, {when}, {water}", ""]
    if tries:
        longest = max(4, *(len(t.zone) for t in tries))
        lines.append(f"  line  {'zone':<{longest}}  what was seen")
        lines += [f"  {t.line:>4}  {t.zone:<{longest}}  {_row(t, walk)}" for t in tries]
        lines.append("")
    lines += [f"Ended early: {walk.ended}.", ""] if walk.ended else []
    lines += ["Findings" if found else "Findings: none"]
    for number, finding in enumerate(found, 1):
        lines += paragraph(f"{finding.words}.", f"{number:>2}. ", "    ")
        lines += ["    In the garden file:"] if finding.change else []
        lines += [f"      {line}" for line in finding.change]
    left = _not_walked(garden, tries)
    if left:
        lines += ["", *paragraph(f"Not walked: {'; '.join(left)}.", then="")]
    if not dry and any(t.open_s for t in tries):
        lines += ["", "The water of this walk is not counted as watering."]
    return "\n".join(lines) + "\n"


def logbook_lines(
    walk: WalkRecord, found: Sequence[Finding], *, who: str
) -> list[tuple[str, str | None, int | None]]:
    """Text, zone and line of each entry: the walk as a whole, then each finding."""
    tries = walk.tries
    well = ", ".join(f"{t.zone} {t.line}" for t in tries if t.well) or "none"
    moved, opened = len(relay_zones(walk.garden)), sum(not t.not_tried for t in tries)
    summary = (
        f"walk{f' by {who}' if who else ''}, water {'off' if walk.dry else 'on'}: "
        f"{opened} of {moved} lines, {len(found)} findings; well: {well}"
    )
    if walk.ended:
        summary += f"; ended early: {walk.ended}"
    return [(summary, None, None), *((_with_change(f), f.zone, f.line) for f in found)]


def _with_change(finding: Finding) -> str:
    change = "; ".join(finding.change)
    return f"{finding.kind}: {finding.words}{f'; in the garden file: {change}' if change else ''}"


def _row(tried: Tried, walk: WalkRecord) -> str:
    if tried.not_tried:
        return SKIPPED if tried.not_tried == SKIPPED else "NOT OPENED"
    words = ", ".join(sorted(tried.seen)) or tried.elsewhere or "nothing"
    if tried.well:
        words = "its valve moved" if walk.dry else "its water"
    if tried.clicked is not None:
        words += ", relay clicked" if tried.clicked else ", no click"
    if tried.stopped is not None:
        words += ", stopped" if tried.stopped else ", RAN ON"
    meter, units = walk.garden.meter, Units(walk.garden.us_units)
    if tried.counts is not None and meter is not None:
        metered = units.volume(tried.counts * meter.litres_per_pulse)
        computed = units.volume(walk.flow_l_s(tried.zone) * tried.open_s)
        words += f"; {tried.counts} counts, {metered} (computed {computed})"
    return words


def _not_walked(garden: Garden, tries: Sequence[Tried]) -> list[str]:
    walked = {t.zone for t in tries}
    return [
        f"{zone.name} (hand valve)" if zone.valve.relay_line is None else zone.name
        for zone in garden.zones
        if zone.name not in walked
    ]
