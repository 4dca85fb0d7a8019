"""Checks of the supply: pumps, regulators, forked mains, zones open together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from controller.check.finding import Finding, caution, in_zone
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import BeforeRegulator, Pump, Supply, SupplyKind
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
from controller.messages import Message, Quantity, Value
from controller.units import head_m_from_psi

_MANY_NAMES = 5
# The share of the head before a valve that an uncounted fork loss may take. Our choice.
FORK_TAKES = 0.05


def of_sets(garden: Garden, lines: Lines) -> list[Finding]:
    """Pairs of zones that are never open together, because a valve would not shut."""
    need_pressure = set(closing_heads_m(garden))
    alone = [z.name for z in _watering(garden) if not that_stay_open(lines, frozenset((z.name,)))]
    beside: dict[str, list[tuple[str, StaysOpen]]] = {}
    for one, other in combinations(alone, 2):
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
                in_zone(name),
                Message(
                    "check.assumed_never_together" if least.assumed else "check.never_together",
                    {
                        "others": named([other for other, _ in others], every=False),
                        "wants": Quantity(least.wants_m, "pressure"),
                        "has": Quantity(max(0.0, least.has_m), "pressure"),
                    },
                ),
            )
        )
    return found


def of_forks(garden: Garden, lines: Lines) -> list[Finding]:
    """Zones whose small flow leaves a fast run of the main, with the largest flow beside it."""
    if not garden.runs or garden.watering.most_open < 2:
        return []
    alone = _flows_alone(garden, lines)
    thirstiest = sorted(alone, key=lambda name: -alone[name])
    found: list[Finding] = []
    for name in alone:
        others = [other for other in thirstiest if other != name][: garden.watering.most_open - 1]
        opened = frozenset((name, *others))
        has_m = before_valve_m(lines, opened, name)
        missed_m = uncounted_at_forks_m(lines, opened, name)
        if others and missed_m > FORK_TAKES * max(0.0, has_m):
            message = Message(
                "check.fast_fork",
                {
                    "others": named(sorted(others), every=True),
                    "missed": Quantity(missed_m, "length"),
                    "has": Quantity(max(0.0, has_m), "length"),
                },
            )
            found.append(caution(in_zone(name), message))
    return found


def named(names: list[str], *, every: bool) -> Message:
    """Every one, or any, of a few names; or the first of many."""
    if len(names) > _MANY_NAMES:
        first, more = tuple(names[:_MANY_NAMES]), len(names) - _MANY_NAMES
        return Message("check.first_names", {"names": first, "more": more})
    return Message(
        "check.every_name" if every or len(names) == 1 else "check.any_name",
        {"names": tuple(names), "most": tuple(names[:-1]), "last": names[-1]},
    )


# A pump's motor overheats with more frequent starts (from memory; see the maker's data sheet).
SHORTEST_ROUND_S = 60.0
# Over whole cycles the mean flow is that of the middle pressure within this share (simulated).
OVER_ROUNDS = 0.02
# A regulator holds its setting if the pressure before it is so much higher (from memory).
OVER_SETTING_M = head_m_from_psi(10.0)
# A smaller change of flow gives no message. Our choice.
_WORTH_SAYING = 0.10
_WHERE = Message("place.supply")


def supply_lines(garden: Garden, lines: Lines) -> list[Message]:
    """Messages on the pump or regulator, and on the pump's cycles with each zone alone."""
    supply = garden.supply
    if supply.pump is not None:
        return _pump_lines(garden, supply.pump, lines)
    if supply.kind is SupplyKind.REGULATOR:
        return [_regulator_line(supply, lines.supply)]
    return []


def of_supply(garden: Garden, lines: Lines, *, hot_day_m3: float) -> list[Finding]:
    """Cautions on this pump or regulator; `hot_day_m3` is a hot day's water of all zones."""
    supply = garden.supply
    if supply.pump is not None:
        return list(_of_pump(garden, supply.pump, lines, hot_day_m3))
    if supply.kind is SupplyKind.REGULATOR:
        return list(_of_regulator(garden, lines))
    return []


def _pump_lines(garden: Garden, pump: Pump, lines: Lines) -> list[Message]:
    middle_m = lines.supply.static_head_m
    gives_m3 = drawdown_m3(pump, elevation_m=garden.site.elevation_m)
    messages = [
        Message(
            "supply.pump",
            {
                "on": Quantity(pump.on_head_m, "pressure"),
                "off": Quantity(pump.off_head_m, "pressure"),
                "middle": Quantity(middle_m, "pressure"),
                "runs_on": Quantity(_runs(garden, lines).flow_m3_s(middle_m), "flow"),
                "gives": Quantity(gives_m3, "volume"),
            },
        )
    ]
    for zone in _watering(garden):
        planned, found = _round(garden, pump, lines, zone)
        if planned <= 0.0:
            continue
        low, high = lines.flow_range(frozenset((zone.name,)))
        timed = Quantity(planned, "flow")
        if isinstance(found, RunsOn):
            messages.append(
                Message(
                    "supply.pump_runs_on",
                    {
                        "zone": zone.name,
                        "flow": Quantity(found.flow_m3_s, "flow"),
                        "pressure": Quantity(found.head_m, "pressure"),
                        "high": Quantity(high, "flow"),
                        "timed": timed,
                    },
                )
            )
            continue
        messages.append(
            Message(
                "supply.pump_cycles",
                {
                    "zone": zone.name,
                    "every": Quantity(found.every_s, "seconds"),
                    "runs": Quantity(found.runs_s, "seconds"),
                    "low": Quantity(low, "flow"),
                    "high": Quantity(high, "flow"),
                    "timed": timed,
                    "swing": Quantity(0.5 * (high - low) / planned, "percent"),
                    "over_cycles": Quantity(OVER_ROUNDS, "percent"),
                },
            )
        )
    return messages


def _of_pump(garden: Garden, pump: Pump, lines: Lines, hot_day_m3: float) -> Iterator[Finding]:
    for zone in _watering(garden):
        message = _pump_message(garden, pump, lines, zone)
        if message is not None:
            yield caution(in_zone(zone.name), message)
    yields = pump.well_yield_m3_s
    if yields is None:
        return
    needs_s = hot_day_m3 / yields
    has_s = _longest_day_s(garden)
    if has_s and needs_s > has_s:
        yield caution(
            _WHERE,
            Message(
                "check.slow_well",
                {
                    "wanted": Quantity(hot_day_m3, "volume"),
                    "needs": Quantity(round(needs_s), "duration"),
                    "has": Quantity(round(has_s), "duration"),
                },
            ),
        )
    thirsty = [name for name, flow in _flows_alone(garden, lines).items() if flow > yields]
    if thirsty:
        yield caution(_WHERE, Message("check.over_well", _drawing(thirsty, yields)))


def _pump_message(garden: Garden, pump: Pump, lines: Lines, zone: Zone) -> Message | None:
    """Message on a zone whose flow alone does not suit the pump."""
    planned, found = _round(garden, pump, lines, zone)
    if planned <= 0.0:
        return None
    if isinstance(found, Cycle):
        if found.every_s >= SHORTEST_ROUND_S:
            return None
        runs_on = _runs(garden, lines).flow_m3_s(pump.off_head_m)
        return Message(
            "check.pump_starts_often",
            {"every_s": found.every_s, "runs_on": Quantity(runs_on, "flow")},
        )
    if found.head_m < pump.on_head_m:
        tank_m3 = drawdown_m3(pump, elevation_m=garden.site.elevation_m)
        return Message(
            "check.pump_never_rests",
            {
                "on": Quantity(pump.on_head_m, "pressure"),
                "pressure": Quantity(found.head_m, "pressure"),
                "flow": Quantity(found.flow_m3_s, "flow"),
                "high": Quantity(lines.flow_range(frozenset((zone.name,)))[1], "flow"),
                "tank": Quantity(tank_m3, "volume"),
            },
        )
    if found.flow_m3_s <= (1.0 + OVER_ROUNDS) * planned:
        return None
    return Message(
        "check.pump_runs_on",
        {
            "pressure": Quantity(found.head_m, "pressure"),
            "over": Quantity(found.flow_m3_s / planned - 1.0, "percent"),
        },
    )


def _regulator_line(supply: Supply, curve: SupplyCurve) -> Message:
    values = {
        "still": Quantity(curve.static_head_m, "pressure"),
        "tested": Quantity(curve.head_m(supply.test_flow_m3_s), "pressure"),
        "test": Quantity(supply.test_flow_m3_s, "flow"),
    }
    drops = curve.limited_from_m3_s()
    if curve.limit is None:
        return Message("supply.regulator_alone", values)
    if drops >= curve.flow_m3_s(0.0):
        return Message("supply.regulator", values)
    return Message(
        "supply.regulator_and_mains",
        {
            **values,
            "from": Quantity(drops, "flow"),
            "pressure": Quantity(max(0.0, curve.head_m(drops)), "pressure"),
        },
    )


def _of_regulator(garden: Garden, lines: Lines) -> Iterator[Finding]:
    supply, curve = garden.supply, lines.supply
    flows = _flows_alone(garden, lines)
    if supply.test_assumed and curve == supply_states(supply).middle:
        ranges = {name: lines.flow_range(frozenset((name,))) for name in flows}
        name = max(flows, key=lambda one: ranges[one][1] - ranges[one][0], default=None)
        if name is not None and flows[name] > 0.0:
            low, high = ranges[name]
            if high - low > _WORTH_SAYING * flows[name]:
                yield caution(
                    _WHERE,
                    Message(
                        "check.regulator_untested",
                        {
                            "zone": name,
                            "low": Quantity(low, "flow"),
                            "high": Quantity(high, "flow"),
                        },
                    ),
                )
    before = supply.before
    if before is None or before.test_flow_m3_s is None:
        most_m3_s = supply.test_flow_m3_s
        beyond = [name for name, flow in flows.items() if flow > most_m3_s]
        if beyond:
            yield caution(_WHERE, Message("check.beyond_test", _drawing(beyond, most_m3_s)))
    else:
        most_m3_s = curve.limited_from_m3_s()
        past = [name for name, flow in flows.items() if flow > most_m3_s]
        if past:
            yield caution(_WHERE, Message("check.regulator_wide_open", _drawing(past, most_m3_s)))
        flows = {name: flow for name, flow in flows.items() if name not in past}
    if before is not None:
        yield from _of_head_before(supply, before, flows)


def _of_head_before(
    supply: Supply, before: BeforeRegulator, flows: dict[str, float]
) -> Iterator[Finding]:
    """Cautions on mains pressure that is too low for the regulator's setting."""
    wants_m = supply.static_head_m + OVER_SETTING_M
    setting = Quantity(supply.static_head_m, "pressure")
    if before.static_head_m < wants_m:
        values = {"still": Quantity(before.static_head_m, "pressure"), "setting": setting}
        yield caution(_WHERE, Message("check.low_before_regulator", values))
        return
    if before.test_flow_m3_s is None:
        return
    lost_k = (before.static_head_m - before.test_head_m) / before.test_flow_m3_s**2
    left_m = {name: before.static_head_m - lost_k * flow**2 for name, flow in flows.items()}
    short = [name for name, head_m in left_m.items() if head_m < wants_m]
    if short:
        yield caution(
            _WHERE,
            Message(
                "check.low_behind_flow",
                {
                    "zones": tuple(short),
                    "least": Quantity(max(0.0, min(left_m.values())), "pressure"),
                    "setting": setting,
                },
            ),
        )


def _drawing(names: Sequence[str], most_m3_s: float) -> dict[str, Value]:
    """Zones that draw more than a flow, and the flow."""
    return {"zones": tuple(names), "count": len(names), "most": Quantity(most_m3_s, "flow")}


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


def _flows_alone(garden: Garden, lines: Lines) -> dict[str, float]:
    """The flow of each zone with nothing else open. [m3/s]"""
    names = [zone.name for zone in _watering(garden)]
    return {name: lines.zone_flows(frozenset((name,)))[name] for name in names}


def _longest_day_s(garden: Garden) -> float:
    """Total time of all windows, on the weekday with the most. [s]"""
    days = [0.0] * 7
    for window in garden.watering.windows:
        opens, closes = (60 * t.hour + t.minute for t in (window.opens, window.closes))
        for day in window.weekdays:
            days[day] += 60.0 * ((closes - opens) % 1440 or 1440)
    return max(days)
