"""Checks of the supply: pumps, regulators, forked mains, zones open together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import Pump, Supply, SupplyKind
from controller.garden.show import (
    quoted,
    show_duration,
    show_flow,
    show_length,
    show_pressure,
    show_volume,
)
from controller.hydraulics.design.open_together import (
    StaysOpen,
    before_valve_m,
    closing_heads_m,
    that_stay_open,
    uncounted_at_forks_m,
)
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.supplies import (
    Cycle,
    RunsOn,
    drawdown_m3,
    pump_round,
    supply_states,
)
from controller.hydraulics.network.supply_curve import SupplyCurve
from controller.timetable.check.finding import Finding, caution
from controller.units import head_m_from_psi

_MANY_NAMES = 5
# The share of the head before a valve that an uncounted fork loss may take. Our choice.
FORK_TAKES = 0.05


def of_sets(garden: Garden, lines: Lines) -> list[Finding]:
    """Pairs of zones that are never open together, because a valve would not shut."""
    need_pressure = set(closing_heads_m(garden))
    watering = [z for z in garden.zones if any(not row.plugged for row in z.rows)]
    alone = {zone.name for zone in watering if not that_stay_open(lines, frozenset((zone.name,)))}
    beside: dict[str, list[tuple[str, StaysOpen]]] = {}
    for one, other in combinations([z.name for z in watering if z.name in alone], 2):
        if garden.watering.most_open < 2 or not need_pressure & {one, other}:
            continue
        for stays in that_stay_open(lines, frozenset((one, other))):
            partner = other if stays.zone == one else one
            beside.setdefault(stays.zone, []).append((partner, stays))
    found: list[Finding] = []
    for name, others in beside.items():
        least = min((stays for _, stays in others), key=lambda stays: stays.has_m)
        found.append(
            caution(
                f'zone "{name}"',
                f"it is never open together with {_named([other for other, _ in others])}: its "
                f"valve wants {show_pressure(least.wants_m, garden.us_units)} before it to shut, "
                f"and as little as {show_pressure(max(0.0, least.has_m), garden.us_units)} would "
                "be left",
            )
        )
    return found


def of_forks(garden: Garden, lines: Lines) -> list[Finding]:
    """Zones whose small flow leaves a fast run of the main, with the largest flow beside it."""
    if not garden.runs or garden.watering.most_open < 2:
        return []
    watering = [z.name for z in garden.zones if any(not row.plugged for row in z.rows)]
    alone = {name: lines.zone_flows(frozenset((name,)))[name] for name in watering}
    thirstiest = sorted(watering, key=lambda name: -alone[name])
    found: list[Finding] = []
    for name in watering:
        others = [other for other in thirstiest if other != name][: garden.watering.most_open - 1]
        opened = frozenset((name, *others))
        has_m = before_valve_m(lines, opened, name)
        missed_m = uncounted_at_forks_m(lines, opened, name)
        if others and missed_m > FORK_TAKES * max(0.0, has_m):
            us = garden.us_units
            found.append(
                caution(
                    f'zone "{name}"',
                    f"with {_named(sorted(others), 'and')} open too, its stream leaves a run of "
                    f"the main much faster than itself: that may take up to "
                    f"{show_length(missed_m, us)} of head more than is computed, of the "
                    f"{show_length(max(0.0, has_m), us)} before its valve; a bigger pipe before "
                    "the fork helps, or fewer zones at once",
                )
            )
    return found


def _named(names: list[str], last_word: str = "or") -> str:
    """A few names, or the first of many."""
    quoted = [f'"{name}"' for name in names]
    if len(quoted) > _MANY_NAMES:
        return f"{', '.join(quoted[:_MANY_NAMES])} and {len(quoted) - _MANY_NAMES} more"
    *most, last = quoted
    return f"{', '.join(most)} {last_word} {last}" if most else last


# A pump's motor overheats with more frequent starts (from memory; see the maker's data sheet).
SHORTEST_ROUND_S = 60.0
# Over whole cycles the mean flow is that of the middle pressure within this share (simulated).
OVER_ROUNDS = 0.02
# A regulator holds its setting if the pressure before it is so much higher (from memory).
OVER_SETTING_M = head_m_from_psi(10.0)
_OVER_SETTING_WORDS = "10 to 15 psi (70 to 100 kPa)"
# A smaller change of flow gives no message. Our choice.
_WORTH_SAYING = 0.10
_WHERE = "supply"


def supply_lines(garden: Garden, lines: Lines) -> list[str]:
    """Lines on the pump or regulator, and on the pump's cycles with each zone alone."""
    supply, us = garden.supply, garden.us_units
    if supply.pump is not None:
        return _pump_lines(garden, supply.pump, lines)
    if supply.kind is SupplyKind.REGULATOR:
        return _regulator_lines(supply, lines.supply, us)
    return []


def of_supply(garden: Garden, lines: Lines, *, hot_day_m3: float) -> list[Finding]:
    """Cautions on this pump or regulator; `hot_day_m3` is a hot day's water of all zones."""
    supply = garden.supply
    if supply.pump is not None:
        return list(_of_pump(garden, supply.pump, lines, hot_day_m3))
    if supply.kind is SupplyKind.REGULATOR:
        return list(_of_regulator(garden, lines))
    return []


def _pump_lines(garden: Garden, pump: Pump, lines: Lines) -> list[str]:
    us = garden.us_units
    on, off, middle = (
        show_pressure(head_m, us)
        for head_m in (pump.on_head_m, pump.off_head_m, lines.supply.static_head_m)
    )
    gives_m3 = drawdown_m3(pump, elevation_m=garden.site.elevation_m)
    messages = [
        f"a pump that starts at {on} and stops at {off}: taken as {middle} while it rests and runs "
        f"by turns, and as its own curve once it runs on, from "
        f"{show_flow(_runs(garden, lines).flow_m3_s(lines.supply.static_head_m), us)} on. Its tank "
        f"gives {show_volume(gives_m3, us)} from stop to start"
    ]
    for zone in _watering(garden):
        planned, found = _round(garden, pump, lines, zone)
        if planned <= 0.0:
            continue
        low, high = lines.flow_range(frozenset((zone.name,)))
        who = f'zone "{zone.name}", alone: '
        if isinstance(found, RunsOn):
            messages.append(
                f"{who}the pump runs on, and {show_flow(found.flow_m3_s, us)} at "
                f"{show_pressure(found.head_m, us)} is where it settles, after up to "
                f"{show_flow(high, us)} from a full tank; timed at {show_flow(planned, us)}"
            )
            continue
        swing = 0.5 * (high - low) / planned
        messages.append(
            f"{who}the pump starts every {_seconds(found.every_s)} and runs "
            f"{_seconds(found.runs_s)} of them; {show_flow(low, us)} to {show_flow(high, us)}, "
            f"timed at {show_flow(planned, us)}: a pulse shorter than a round is known to "
            f"{100 * swing:.0f} %, one of many rounds to {100 * OVER_ROUNDS:.0f} %"
        )
    return messages


def _of_pump(garden: Garden, pump: Pump, lines: Lines, hot_day_m3: float) -> Iterator[Finding]:
    us = garden.us_units
    for zone in _watering(garden):
        where = f'zone "{zone.name}"'
        planned, found = _round(garden, pump, lines, zone)
        if planned <= 0.0:
            continue
        if isinstance(found, Cycle):
            if found.every_s < SHORTEST_ROUND_S:
                runs_on = _runs(garden, lines).flow_m3_s(pump.off_head_m)
                yield caution(
                    where,
                    f"while it is open alone the pump starts every {found.every_s:.0f} s; more "
                    "than about one start a minute heats a motor (from memory): raise the flow, by "
                    "opening its valve or adding rows, until the pump runs on, at about "
                    f"{show_flow(runs_on, us)}, or take a larger tank",
                )
        elif found.head_m < pump.on_head_m:
            yield caution(
                where,
                f"alone it draws more than the pump lifts: the pressure falls below the "
                f"{show_pressure(pump.on_head_m, us)} at which the pump starts, to "
                f"{show_pressure(found.head_m, us)} at {show_flow(found.flow_m3_s, us)}, and the "
                f"pump never rests. A full tank gives up to "
                f"{show_flow(lines.flow_range(frozenset((zone.name,)))[1], us)} before that, so "
                "that a pulse of about its "
                f"{show_volume(drawdown_m3(pump, elevation_m=garden.site.elevation_m), us)} passes "
                "far more than is computed; throttle it, or water fewer rows at a time",
            )
        elif found.flow_m3_s > (1.0 + OVER_ROUNDS) * planned:
            over = found.flow_m3_s / planned - 1.0
            yield caution(
                where,
                "it draws nearly all that the pump gives, so that the pump runs on at "
                f"{show_pressure(found.head_m, us)}, over the middle: it gets up to "
                f"{100 * over:.0f} % more than is computed; a measured flow or meter over a real "
                "run settles it",
            )
    yields = pump.well_yield_m3_s
    if yields is None:
        return
    needs_s = hot_day_m3 / yields
    has_s = _longest_day_s(garden)
    if has_s and needs_s > has_s:
        yield caution(
            _WHERE,
            f"a hot day asks for {show_volume(hot_day_m3, us)}, which the well gives in "
            f"{show_duration(round(needs_s))}, and the windows of a day are open for "
            f"{show_duration(round(has_s))}: what stands in the well must make up for it, or the "
            "later zones get less; open longer windows, on more days",
        )
    thirsty = [
        zone.name
        for zone in _watering(garden)
        if lines.zone_flows(frozenset((zone.name,)))[zone.name] > yields
    ]
    if thirsty:
        yield caution(
            _WHERE,
            f"the well gives {show_flow(yields, us)} for long, and {_names(thirsty)} more than "
            "that while open: a long pulse lives on what stands in the well; throttle to its "
            "yield, or see that the pump is switched off before the well is empty",
        )


def _regulator_lines(supply: Supply, curve: SupplyCurve, us: bool) -> list[str]:
    message = (
        f"a regulator that holds {show_pressure(curve.static_head_m, us)} with nothing flowing, "
        f"{show_pressure(curve.head_m(supply.test_flow_m3_s), us)} at "
        f"{show_flow(supply.test_flow_m3_s, us)}"
    )
    drops = curve.limited_from_m3_s()
    if curve.limit is None:
        return [f"{message}; the mains before it are not known"]
    if drops < curve.flow_m3_s(0.0):
        message += (
            f"; from {show_flow(drops, us)} on, at "
            f"{show_pressure(max(0.0, curve.head_m(drops)), us)}, it is wide open and the mains "
            "before it rule"
        )
    return [message]


def _of_regulator(garden: Garden, lines: Lines) -> Iterator[Finding]:
    supply, curve, us = garden.supply, lines.supply, garden.us_units
    flows = {
        zone.name: lines.zone_flows(frozenset((zone.name,)))[zone.name]
        for zone in _watering(garden)
    }
    if supply.test_assumed and curve == supply_states(supply).middle:
        ranges = {name: lines.flow_range(frozenset((name,))) for name in flows}
        name = max(flows, key=lambda one: ranges[one][1] - ranges[one][0], default=None)
        if name is not None and flows[name] > 0.0:
            low, high = ranges[name]
            if high - low > _WORTH_SAYING * flows[name]:
                yield caution(
                    _WHERE,
                    f'nobody tested how far the regulator falls: zone "{name}" alone may give '
                    f"{show_flow(low, us)} to {show_flow(high, us)}; read a gauge behind it while "
                    "rows run, and write it as flow_test",
                )
    before = supply.before
    if before is None or before.test_flow_m3_s is None:
        beyond = [name for name, flow in flows.items() if flow > supply.test_flow_m3_s]
        if beyond:
            yield caution(
                _WHERE,
                f"{_names(beyond)} more than the {show_flow(supply.test_flow_m3_s, us)} of the "
                "regulator's test, and nobody tested the mains before it: beyond the test its "
                "pressure may drop faster; write static_pressure and flow_test_before",
            )
    else:
        drops = curve.limited_from_m3_s()
        past = [name for name, flow in flows.items() if flow > drops]
        if past:
            yield caution(
                _WHERE,
                f"{_names(past)} more than the {show_flow(drops, us)} at which the regulator is "
                "wide open: there the mains rule, and their ups and downs come through; throttle "
                "behind the valve, or take a regulator for more flow",
            )
        flows = {name: flow for name, flow in flows.items() if name not in past}
    if before is not None:
        yield from _of_head_before(supply, flows, us)


def _of_head_before(supply: Supply, flows: dict[str, float], us: bool) -> Iterator[Finding]:
    """Cautions on mains pressure that is too low for the regulator's setting."""
    before = supply.before
    assert before is not None
    wants_m = supply.static_head_m + OVER_SETTING_M
    still = show_pressure(before.static_head_m, us)
    setting = show_pressure(supply.static_head_m, us)
    if before.static_head_m < wants_m:
        yield caution(
            _WHERE,
            f"{still} stand before a regulator that is set to {setting}; it wants "
            f"{_OVER_SETTING_WORDS} more than its setting (from memory): set it lower, or leave "
            "it out",
        )
        return
    if before.test_flow_m3_s is None:
        return
    lost_k = (before.static_head_m - before.test_head_m) / before.test_flow_m3_s**2
    left_m = {name: before.static_head_m - lost_k * flow**2 for name, flow in flows.items()}
    short = [name for name, head_m in left_m.items() if head_m < wants_m]
    if short:
        least = show_pressure(max(0.0, min(left_m.values())), us)
        yield caution(
            _WHERE,
            f"with {quoted(short)} open alone as little as {least} are left before "
            f"a regulator set to {setting}; it wants {_OVER_SETTING_WORDS} more than its "
            "setting to hold it (from memory): throttle, or set it lower",
        )


def _round(garden: Garden, pump: Pump, lines: Lines, zone: Zone) -> tuple[float, Cycle | RunsOn]:
    """A zone's planned flow alone, and the pump's cycle with it."""
    alone = frozenset((zone.name,))
    found = pump_round(
        pump,
        _runs(garden, lines),
        lambda head_m: lines.flow_at_head(alone, head_m),
        elevation_m=garden.site.elevation_m,
    )
    return lines.zone_flows(alone)[zone.name], found


def _runs(garden: Garden, lines: Lines) -> SupplyCurve:
    """The pump's curve while it runs, from field tests if there are any."""
    curve = supply_states(garden.supply, lines.supply).middle.limit
    assert curve is not None
    return curve


def _watering(garden: Garden) -> list[Zone]:
    return [zone for zone in garden.zones if not all(row.plugged for row in zone.rows)]


def _longest_day_s(garden: Garden) -> float:
    """Total time of all windows, on the weekday with the most. [s]"""
    days = [0.0] * 7
    for window in garden.watering.windows:
        opens, closes = (60 * t.hour + t.minute for t in (window.opens, window.closes))
        for day in window.weekdays:
            days[day] += 60.0 * ((closes - opens) % 1440 or 1440)
    return max(days)


def _names(names: Sequence[str]) -> str:
    return f"{quoted(names)} {'draws' if len(names) == 1 else 'draw'}"


def _seconds(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 600.0 else show_duration(round(seconds))
