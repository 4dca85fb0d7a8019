"""A garden of eight hand valves, and what its timetable asks of the person who turns them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

from controller.garden.model import Garden
from controller.garden.plumbing import ValveKind
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.garden_loader import garden_from_file, garden_from_text
from controller.inputs.gather import Gatherer
from controller.timetable.need.jobs import NOTHING_GIVEN, Grounds
from controller.timetable.plan import Installation, Span, Weather, plan_on
from controller.timetable.records import Pulse, Timetable
from crops.catalogue import load
from support.clock import HandClock

CONFIG = Path(__file__).resolve().parents[2] / "config"
FIRST, LAST = date(2031, 6, 23), date(2031, 7, 6)  # two weeks of the example's own weather

# A school's terraces: nobody's; eight beds, one tap, no wire. Invented.
EIGHT_BY_HAND = """\
[site]
name = "Wrenfield school beds"
latitude = 42.37
longitude = -76.91
elevation = "870 ft"
timezone = "America/New_York"
[supply]
static_pressure = "48 psi"
flow_test = { flow = "7.5 gal/min", pressure = "31 psi" }
[[bed]]
name = "upper"
length = "12 ft"
width = "4 ft"
soil = "loam"
[[bed]]
name = "lower"
length = "12 ft"
width = "4 ft"
soil = "clay_loam"
[[bed]]
name = "sandy"
length = "16 ft"
width = "4 ft"
soil = "sandy_loam"
[watering]
window = [{ from = "17:30", to = "20:30" }]
[weather]
file = "example-weather.csv"
"""
_ZONES = (
    # name, bed, opening, length of each of its two rows, planting
    ("beans", "upper", '{ flow = "0.5 gal/min" }', 10, "pole_bean", "sown = 2031-05-10"),
    ("beets", "upper", '{ flow = "0.6 gal/min" }', 10, "beet", "sown = 2031-04-20"),
    ("cabbages", "lower", '{ flow = "0.8 gal/min" }', 11, "cabbage", "transplanted = 2031-05-05"),
    ("chard", "lower", '{ flow = "0.7 gal/min" }', 11, "chard", "sown = 2031-04-25"),
    ("onions", "upper", '{ flow = "0.5 gal/min" }', 10, "onion", "transplanted = 2031-04-12"),
    ("peppers", "sandy", '{ flow = "1 gal/min" }', 15, "pepper", "transplanted = 2031-05-28"),
    ("potatoes", "sandy", '{ flow = "1.2 gal/min" }', 15, "potato", "sown = 2031-04-20"),
    ("squash", "lower", '"full"', 11, "summer_squash_zucchini", "transplanted = 2031-05-26"),
)


def eight_by_hand(watering: str = "", zones: int = len(_ZONES)) -> Garden:
    """The garden of eight hand valves, with more keys of its [watering]."""
    text = EIGHT_BY_HAND.replace("[watering]\n", f"[watering]\n{watering}\n")
    for number, (name, bed, opening, length, crop, begins) in enumerate(_ZONES[:zones]):
        row = f'{{ length = "{length} ft", every = "6 in", bore = "1/16 in" }}'
        text += (
            f'[[zone]]\nname = "{name}"\nbed = "{bed}"\nmain_run = "{12 + 6 * number} ft"\n'
            f"valve = {{ hand = true }}\nopening = {opening}\nrow = [{row}, {row}]\n"
            f'planting = [{{ crop = "{crop}", {begins}, until = 2031-09-30 }}]\n'
        )
    return garden_from_text(text, str(CONFIG / "garden.toml"), load())


def example_garden() -> Garden:
    """The example garden: three of its ten valves are turned by hand."""
    return garden_from_file(CONFIG / "example-garden.toml", load())


def planned(garden: Garden, first: date = FIRST, last: date = LAST) -> Timetable:
    """Its timetable for those days on the example weather, with nothing on record."""
    found = Gatherer(CONFIG, CONFIG, HandClock()).gather(garden, forecast_days=14)
    return plan_on(
        Installation(garden, Grounds(garden, load()), Lines(garden)),
        Weather(rows=found.rows, order=found.order),
        NOTHING_GIVEN,
        Span.between(first=first, last=last, today=first),
    )


# A longer pause than this between two openings ends a visit.
PAUSE = timedelta(minutes=120)


@dataclass(frozen=True, slots=True)
class Visit:
    """The openings of one keeper without a long pause between them."""

    keeper: str
    pulses: tuple[Pulse, ...]

    @property
    def minutes(self) -> float:
        return (self.pulses[-1].closes_utc - self.pulses[0].opens_utc).total_seconds() / 60.0


def by_hand(pulses: Iterable[Pulse]) -> list[Pulse]:
    """The pulses of hand valves, in order."""
    return sorted((p for p in pulses if p.valve is ValveKind.HAND), key=lambda p: p.opens_utc)


def visits(garden: Garden, pulses: Iterable[Pulse]) -> list[Visit]:
    """The visits that these pulses ask for, in order for each keeper."""
    rounds: dict[str, list[list[Pulse]]] = {}
    for pulse in by_hand(pulses):
        mine = rounds.setdefault(garden.zone(pulse.zone).bed.keeper, [])
        if not mine or pulse.opens_utc - mine[-1][-1].closes_utc > PAUSE:
            mine.append([])
        mine[-1].append(pulse)
    return [Visit(keeper, tuple(each)) for keeper, of in rounds.items() for each in of]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a timetable asks of people, and what it costs, over all its days."""

    days_with_visit: int
    visits: int
    most_visits: int  # of one keeper on one day
    turns: int
    most_turns: int  # of one visit
    pauses: int  # of more than a quarter of an hour, within a visit
    minutes: float  # in the garden, pauses among them
    longest_min: float  # of one visit
    shortest_s: float
    litres: float
    drained_mm: float  # mean over the zones
    least_stress: float  # lowest Ks of any crop


def asked(garden: Garden, timetable: Timetable) -> Asked:
    """The figures of a timetable's hand valves."""
    found = visits(garden, timetable.pulses)
    pulses = by_hand(timetable.pulses)
    hands = {zone.name for zone in garden.zones if zone.valve.kind is ValveKind.HAND}
    rows = [r for r in timetable.ledger if r.day >= timetable.first and r.zone in hands]
    on_day: dict[tuple[str, date], int] = {}
    for visit in found:
        key = visit.keeper, visit.pulses[0].day
        on_day[key] = on_day.get(key, 0) + 1
    return Asked(
        days_with_visit=len(on_day),
        visits=len(found),
        most_visits=max(on_day.values(), default=0),
        turns=len(pulses),
        most_turns=max((len(v.pulses) for v in found), default=0),
        pauses=sum(
            after.opens_utc - before.closes_utc > timedelta(minutes=15)
            for visit in found
            for before, after in pairwise(visit.pulses)
        ),
        minutes=sum(v.minutes for v in found),
        longest_min=max((v.minutes for v in found), default=0.0),
        shortest_s=min((p.open_s for p in pulses), default=0.0),
        litres=sum(p.litres for p in pulses),
        drained_mm=sum(r.drained_mm for r in rows) / max(1, len(hands)),
        least_stress=min((r.stress for r in rows), default=1.0),
    )
