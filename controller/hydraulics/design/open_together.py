"""Which zones can be open together, and the head that is then left before each valve."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import pi

from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ValveKind
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.network.main_tree import TAP
from controller.messages import Message, Quantity
from controller.units import GRAVITY_M_S2


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """Zones that can be open at once, and the least share of its flow alone that one keeps."""

    zones: tuple[str, ...]
    least_share: float
    tap_head_m: float


def most_together(lines: Lines, zones: tuple[str, ...]) -> Together:
    """The most zones that can be open at once by the garden's rules, smallest flows first.

    Each keeps `least_share` of the flow it has alone, none has more dry holes than alone, and each
    relay valve keeps the pressure it needs to close.
    """
    garden = lines.garden
    alone = {name: lines.zone_flows(frozenset((name,)))[name] for name in zones}
    dry = {name: lines.zone_dry_holes(frozenset((name,)))[name] for name in zones}
    order = sorted(zones, key=lambda name: alone[name])
    best = share_together(lines, tuple(order[:1]))
    for count in range(2, len(order) + 1):
        names = frozenset(order[:count])
        found = share_together(lines, tuple(order[:count]))
        if found.least_share < garden.watering.least_share:
            break
        now_dry = lines.zone_dry_holes(names)
        if any(now_dry[name] > dry[name] for name in names):
            break
        if first_that_stays_open(lines, names) is not None:
            break
        best = found
    return best


@dataclass(frozen=True, slots=True, kw_only=True)
class StaysOpen:
    """A zone whose valve does not close while a set is open: the head it needs and has.

    `assumed`: as in `Valve`.
    """

    zone: str
    wants_m: float
    has_m: float
    assumed: bool = False

    @property
    def message(self) -> Message:
        """For a reader who knows which set is meant."""
        return Message(
            "zone.assumed_valve_stays_open" if self.assumed else "zone.valve_stays_open",
            {
                "zone": self.zone,
                "wants": Quantity(self.wants_m, "pressure"),
                "has": Quantity(max(0.0, self.has_m), "pressure"),
            },
        )


def closing_heads_m(garden: Garden) -> dict[str, float]:
    """The zones whose valve needs a head before it to shut, and that head. [m]"""
    return {zone.name: wants_m for zone, wants_m in _closing_heads(garden.zones)}


def _closing_heads(zones: Iterable[Zone]) -> Iterator[tuple[Zone, float]]:
    for zone in zones:
        if zone.valve.kind is ValveKind.RELAY and zone.valve.least_closing_head_m > 0.0:
            yield zone, zone.valve.least_closing_head_m


def that_stay_open(lines: Lines, opened: frozenset[str]) -> list[StaysOpen]:
    """The zones of an open set whose valves lack the head they need to shut.

    The largest lack comes first. Hand valves shut at any head. Raises what `Lines.zone_flows` does.
    """
    asking = list(_closing_heads(lines.zones_of(opened)))
    if not asking:
        return []
    heads_m = _heads_in_main_m(lines, opened, [zone for zone, _ in asking])
    lacking = [
        StaysOpen(zone=zone.name, wants_m=wants_m, has_m=has_m, assumed=zone.valve.assumed)
        for zone, wants_m in asking
        if (has_m := heads_m[zone.name] - zone.rise_m) < wants_m
    ]
    return sorted(lacking, key=lambda one: one.has_m - one.wants_m)


def first_that_stays_open(lines: Lines, opened: frozenset[str]) -> StaysOpen | None:
    """The zone whose valve lacks most head to close; None if all close."""
    return next(iter(that_stay_open(lines, opened)), None)


def share_together(lines: Lines, zones: tuple[str, ...]) -> Together:
    """Least share of its flow alone that any of these zones keeps when all are open."""
    flows = lines.zone_flows(frozenset(zones))
    shares = [flows[name] / lines.zone_flows(frozenset((name,)))[name] for name in zones]
    return Together(
        zones=zones,
        least_share=min(shares),
        tap_head_m=lines.supply.head_m(sum(flows.values())),
    )


def before_valve_m(lines: Lines, opened: frozenset[str], zone: str) -> float:
    """Pressure head in the main before a zone's valve, at the height of its outlet.

    Parameters
    ----------
    lines : Lines
        The garden's lines.
    opened : frozenset of str
        The open zones.
    zone : str
        The zone whose valve is asked about.

    Returns
    -------
    float
        Head over the outlet. [m]

    Raises
    ------
    InputError
        If there is no such zone.

    Source
    ------
    The supply's head at the set's flow, less the loss in each stretch of the main at its flow.
    """
    place = lines.garden.zone(zone)
    return _heads_in_main_m(lines, opened, [place])[zone] - place.rise_m


def uncounted_at_forks_m(lines: Lines, opened: frozenset[str], zone: str) -> float:
    """Head that a small branch flow may lose beyond the computed loss, where it leaves a fast run.

    Parameters
    ----------
    lines : Lines
        The garden's lines.
    opened : frozenset of str
        The open zones, this one among them.
    zone : str
        The zone at the end of the way from the tap.

    Returns
    -------
    float
        Head, 0 where no run forks. [m]

    Raises
    ------
    InputError, NoSolution
        As `Lines.zone_flows`.

    Source
    ------
    Losses of tees are computed on the velocity in the branch. The smaller the branch's share of the
    flow, the nearer its loss is to one velocity head of the run before the tee (Crane TP-410).
    """
    flows, main = lines.zone_flows(opened), lines.main
    through = [0.0] * len(main.stretches)
    for name in opened:
        for i in main.path_to(main.place(lines.garden.zone(name))):
            through[i] += flows[name]

    def velocity_head_m(i: int) -> float:
        bore_m = main.stretches[i].pipe.bore_m
        return 8.0 * through[i] ** 2 / (pi**2 * GRAVITY_M_S2 * bore_m**4)

    missed_m = 0.0
    for i in main.path_to(main.place(lines.garden.zone(zone))):
        one, before = main.stretches[i], main.stretches[i].above
        if before != TAP and one.run != main.stretches[before].run:
            counted_m = one.loss_k * velocity_head_m(i)
            if through[i] < 0.5 * through[before]:
                missed_m += max(0.0, velocity_head_m(before) - counted_m)
    return missed_m


def _heads_in_main_m(
    lines: Lines, opened: frozenset[str], wanted: Iterable[Zone]
) -> dict[str, float]:
    """Head in the main at the take-off of each zone wanted, against the tap's height. [m]"""
    flows, main = lines.zone_flows(opened), lines.main
    places = {zone.name: main.place(zone) for zone in wanted}
    drawn: dict[int, float] = {}
    for zone in lines.zones_of(opened):
        place = main.place(zone)
        drawn[place] = drawn.get(place, 0.0) + flows[zone.name]
    heads_m = main.heads_m(
        tap_head_m=lines.supply.head_m(sum(flows.values())),
        drawn_m3_s=drawn,
        wanted=places.values(),
        viscosity_m2_s=lines.viscosity_m2_s,
    )
    return {name: heads_m[place] for name, place in places.items()}
