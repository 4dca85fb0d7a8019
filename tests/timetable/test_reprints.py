"""The pulses of a span do not depend on how it is cut into prints, whatever the garden holds.

Nothing new becomes known between the prints: `today`, the weather and the logbook stay as they are.
Gardens, weather and cuts are drawn by seeded chance; what is drawn is invented.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import date, time, timedelta
from random import Random

import pytest
from pytest import approx
from support.gardens import EVERY_DAY, a_garden, a_row, a_zone

from controller.demand.records import LedgerDay
from controller.garden.covers import KINDS
from controller.garden.model import (
    Bed,
    Coefficients,
    Cover,
    Garden,
    HandWater,
    Planting,
    Satisfy,
    Watering,
    Window,
    Zone,
)
from controller.garden.plumbing import Drilling, Face, Row, Valve, ValveKind, Walls
from controller.hydraulics.network.garden_lines import Lines
from controller.inputs.climatology import normals_from
from controller.timetable.need.jobs import Given, Grounds
from controller.timetable.plan import NOTHING_GIVEN, Installation, Span, Weather, ledger_on, plan_on
from controller.timetable.records import Pulse, Timetable
from controller.timetable.unwritten import Record
from controller.weather.day import WeatherDay
from crops.catalogue import load

DAY = timedelta(days=1)
DAYS = 15  # of a span
ANNUALS = ("leek", "lettuce", "carrot", "tomato", "pole_bean", "sweet_corn", "spinach", "potato")
PERENNIALS = ("asparagus", "strawberry", "raspberry", "rhubarb", "apple", "thyme")
SOILS = ("sand", "sandy_loam", "loam", "clay_loam", "raised_bed_mix")
MON_THU_SAT = Window(opens=time(5), closes=time(7), weekdays=frozenset({0, 3, 5}))
SATURDAY = Window(opens=time(5), closes=time(8), weekdays=frozenset({5}))
OVER_THE_CHANGE = Window(opens=time(1, 30), closes=time(3, 30))
EVENING = Window(opens=time(18), closes=time(20))
CATALOGUE = load()


@dataclass
class Case:
    """A garden, what is known of it, and the prints it is asked for."""

    garden: Garden
    weather: Weather
    given: Given
    today: date
    first: date
    cut: tuple[int, ...]
    lines: Lines = field(init=False)

    def __post_init__(self) -> None:
        self.lines = Lines(self.garden)

    def plan(self, first: date, days: int) -> Timetable:
        return plan_on(
            Installation(self.garden, Grounds(self.garden, CATALOGUE), self.lines),
            self.weather,
            self.given,
            Span.between(first=first, last=first + (days - 1) * DAY, today=self.today),
        )

    def ledger(self, first: date, last: date) -> list[LedgerDay]:
        found = ledger_on(
            Installation(self.garden, Grounds(self.garden, CATALOGUE), self.lines),
            self.weather,
            self.given,
            Span.between(first=first, last=last, today=self.today),
            planned_from=last + DAY,
        )
        return [row for row in found.ledger if first <= row.day <= last]

    def in_prints(self) -> list[Timetable]:
        prints, first = [], self.first
        for days in self.cut:
            prints.append(self.plan(first, days))
            first += days * DAY
        return prints


def drawn(seed: int, source: str, logbook: str) -> Case:
    """A garden of chance in its season, with one kind of weather and one kind of logbook."""
    chance = Random(f"{seed} {source} {logbook}")
    south = chance.random() < 0.25
    opening = date(2031, 10 if south else 4, 5)  # of the season
    zones = tuple(zone_of(chance, number, opening) for number in range(chance.randint(2, 4)))
    watering = Watering(
        windows=chance.choice(
            [(EVERY_DAY,), (MON_THU_SAT,), (SATURDAY,), (EVERY_DAY, EVENING), (OVER_THE_CHANGE,)]
        ),
        hand_water=chance.choice(list(HandWater)),
        satisfy=chance.choice(list(Satisfy)),
        coefficients=chance.choice([Coefficients.DUAL, Coefficients.DUAL, Coefficients.SINGLE]),
        forecast_trust=chance.choice([0.0, 0.5, 1.0]),
    )
    garden = a_garden(*zones, watering=watering)
    if south:
        site = replace(garden.site, latitude_deg=-34.0, longitude_deg=151.0)
        garden = replace(garden, site=replace(site, timezone="Australia/Sydney"))
    turning = date(2032, 12 if south else 6, 20)  # the accounts begin anew in the midst of the span
    clocks = chance.choice(
        [date(2031, 9, 30), date(2032, 4, 1)] if south else [date(2031, 10, 20), date(2032, 3, 22)]
    )
    season = opening + chance.choice([-5, 12, 40, 60, 75, 90, 110]) * DAY
    first = chance.choice([*5 * (season,), turning, clocks])
    today = first - chance.choice([0, 0, 1, 5]) * DAY
    return Case(
        garden=garden,
        weather=weather_of(chance, source, garden, today, south=south),
        given=logbook_of(chance, logbook, garden, today),
        today=today,
        first=first,
        cut=cut_of(chance),
    )


def zone_of(chance: Random, number: int, opening: date) -> Zone:
    hand = chance.random() < 0.5
    start = opening + chance.randint(0, 40) * DAY
    until = start + chance.randint(60, 150) * DAY
    kind = chance.choice(["annual", "sown", "young", "established", "unlike", "following"])
    crop, other = chance.sample(ANNUALS, 2)
    whole = Planting(crop=crop, start=start, until=until, transplanted=kind != "sown")
    plantings: tuple[Planting, ...] = (whole,)
    if kind in ("young", "established"):
        years = 0 if kind == "young" else None
        perennial = chance.choice(PERENNIALS)
        plantings = (replace(whole, crop=perennial, until=start + 500 * DAY, years_before=years),)
    elif kind == "unlike":
        later = start + chance.randint(0, 30) * DAY
        beside = Planting(crop=other, start=later, until=later + 70 * DAY, rows=(2,))
        plantings = (replace(whole, rows=(1,)), beside)
    elif kind == "following":
        middle = start + chance.randint(30, 50) * DAY
        after = Planting(crop=other, start=middle + 6 * DAY, until=until, transplanted=False)
        plantings = (replace(whole, until=middle), after)
    covers: tuple[Cover, ...] = ()
    if chance.random() < 0.3:
        name = chance.choice(["glasshouse", "high tunnel", "row cover"])
        found = KINDS[name]
        covers = (
            Cover(
                kind=name,
                eto_factor=found.eto_factor or 1.0,
                rain_factor=found.rain_factor,
                begins=opening + chance.randint(0, 60) * DAY,
                is_film=found.is_film,
                warmer_c=found.warmer_c,
            ),
        )
    return a_zone(
        f"zone {number}",
        bed=Bed(
            name=f"bed {number}",
            soil=chance.choice(SOILS),
            mulch=chance.choice(["none", "none", "straw"]),
            covers=covers,
        ),
        valve=Valve(kind=ValveKind.HAND)
        if hand
        else Valve(kind=ValveKind.RELAY, relay_line=10 + number),
        main_run_m=chance.uniform(2.0, 15.0),
        rows=tuple(row_of(chance) for _ in range(2)),
        plantings=plantings,
        refill_at=chance.choice([None, None, None, 0.0, 0.4, 1.0]),
    )


def row_of(chance: Random) -> Row:
    plain = a_row(chance.uniform(6.0, 18.0))
    drilling: Drilling = replace(
        plain.drilling,
        walls=chance.choice([Walls.ONE, Walls.ONE, Walls.BOTH]),
        face=chance.choice([Face.DOWN, Face.SIDE]),
    )
    return replace(plain, drilling=drilling, ground_width_m=chance.choice([0.3, 0.6, 1.2]))


def weather_of(chance: Random, source: str, garden: Garden, today: date, *, south: bool) -> Weather:
    """None at all; normals of four years; or rows, measured before `today` and forecast from it."""
    if source == "none":
        return Weather(rows=())
    if source == "normals":
        began = date(today.year - 5, 1, 1)
        years = [day_of(chance, began + n * DAY, south=south) for n in range(4 * 365)]
        return Weather(rows=(), normals=normals_from(years, garden.site))
    rows = []
    for ahead in range(-120, 12):
        row = day_of(chance, today + ahead * DAY, south=south)
        if ahead >= 0:
            odds = chance.choice([None, 30.0, 90.0])
            row = replace(row, measured=False, rain_chance_pct=odds, source="a forecast")
        if chance.random() < 0.95:  # else the station slept
            rows.append(row)
    return Weather(rows=tuple(rows))


def day_of(chance: Random, day: date, *, south: bool) -> WeatherDay:
    turn = 2.0 * math.pi * (day.timetuple().tm_yday - (203 if south else 20)) / 365.0
    middle_c = 13.0 - 9.0 * math.cos(turn) + chance.gauss(0.0, 2.5)
    rain_mm = chance.choice([0.0, 0.0, 0.0, 0.0, 0.8, 4.0, 11.0, None])
    return WeatherDay(
        day=day,
        tmin_c=middle_c - 5.0,
        tmax_c=middle_c + chance.uniform(3.0, 9.0),
        rain_mm=rain_mm,
        source="a station",
    )


def logbook_of(chance: Random, logbook: str, garden: Garden, today: date) -> Given:
    """None; one begun by a note of rain and of hand water; or one of a daemon's."""
    if logbook == "none":
        return NOTHING_GIVEN
    begun = today - chance.randint(8, 40) * DAY
    rained = {today - chance.randint(1, 60) * DAY: 2.0}
    if logbook == "notes":
        noted = {(garden.zones[0].name, today - chance.randint(1, 20) * DAY): 12.0}
        return replace(NOTHING_GIVEN, litres=noted, fallen_mm=rained, record=Record(begun=begun))
    days = [begun + n * DAY for n in range((today - begun).days)]
    watched = [day for day in days if chance.random() < 0.9]  # else no daemon ran
    litres: dict[tuple[str, date], float] = {}
    stored: dict[tuple[str, date], float] = {}
    printed: dict[tuple[str, date], float] = {}
    for zone in garden.zones:
        for day in watched:
            if chance.random() < 0.5:
                continue
            if zone.valve.kind is ValveKind.HAND:
                printed[zone.name, day] = chance.uniform(3.0, 20.0)
                continue
            litres[zone.name, day] = chance.uniform(3.0, 20.0)
            if chance.random() < 0.8:  # else written before that was logged
                stored[zone.name, day] = 0.7 * litres[zone.name, day]
    return replace(
        NOTHING_GIVEN,
        litres=litres,
        stored_litres=stored,
        fallen_mm=rained,
        record=Record(
            begun=begun, daemon_from=begun, watched=frozenset(watched), printed_litres=printed
        ),
    )


def cut_of(chance: Random) -> tuple[int, ...]:
    cut: list[int] = []
    while sum(cut) < DAYS:
        cut.append(min(chance.choice([1, 1, 2, 3, 7]), DAYS - sum(cut)))
    return tuple(cut)


def told(pulses: tuple[Pulse, ...]) -> list[tuple[object, ...]]:
    return [(p.zone, p.slot, p.opens_utc, p.closes_utc, round(p.litres, 6)) for p in pulses]


def litres_by_day(pulses: tuple[Pulse, ...]) -> dict[tuple[str, date], float]:
    litres: dict[tuple[str, date], float] = {}
    for pulse in pulses:
        litres[pulse.zone, pulse.day] = litres.get((pulse.zone, pulse.day), 0.0) + pulse.litres
    return litres


SOURCES = ("rows", "normals", "none")
LOGBOOKS = ("none", "notes", "daemon")


def check(case: Case) -> None:
    whole, prints = case.plan(case.first, DAYS), case.in_prints()
    assert told(whole.pulses) == [one for part in prints for one in told(part.pulses)], case.cut
    # Looked at afterwards, the ledger has that water on those days.
    given = litres_by_day(whole.pulses)
    last = case.first + (DAYS - 1) * DAY
    rows = case.ledger(case.first, last)
    unlike = {row.zone for row in rows if row.part}  # a part has no account before it is planted
    for row in rows:
        if row.zone in unlike:
            continue
        passed = given.pop((row.zone, row.day), 0.0)
        noted = case.given.litres.get((row.zone, row.day), 0.0)
        assert row.watered_mm * row.ground_m2 == approx(passed + noted, abs=1e-6), row
    assert {zone for zone, _ in given} <= unlike


@pytest.mark.parametrize("logbook", LOGBOOKS)
@pytest.mark.parametrize("source", SOURCES)
def test_pulses_do_not_depend_on_how_a_span_is_cut(source: str, logbook: str) -> None:
    check(drawn(1, source, logbook))


@pytest.mark.slow
@pytest.mark.parametrize("logbook", LOGBOOKS)
@pytest.mark.parametrize("source", SOURCES)
def test_nor_do_they_in_many_more_gardens(source: str, logbook: str) -> None:
    for seed in (0, *range(2, 32)):
        check(drawn(seed, source, logbook))


def test_a_last_day_looks_as_far_ahead_as_any_other() -> None:
    """A heat that comes before the next window makes a bed due, also on a print of one day."""
    first = date(2031, 6, 19)  # a Thursday; the next window is on Saturday
    zone = a_zone(bed=Bed(name="bed", soil="clay_loam"), refill_at=1.0)
    garden = a_garden(zone, watering=Watering(windows=(MON_THU_SAT,)))
    until_then = [
        WeatherDay(day=first - ago * DAY, tmin_c=8.0, tmax_c=16.0, rain_mm=0.0) for ago in range(40)
    ]

    def case(tmin_c: float, tmax_c: float) -> Case:
        coming = [
            WeatherDay(day=first + ahead * DAY, tmin_c=tmin_c, tmax_c=tmax_c, measured=False)
            for ahead in (1, 2)
        ]
        weather = Weather(rows=(*until_then, *coming))
        return Case(garden, weather, NOTHING_GIVEN, today=first, first=first, cut=(1,))

    while case(8.0, 16.0).plan(first, 1).pulses:  # a Thursday that can wait for Saturday
        first += 7 * DAY
    heat = case(22.0, 42.0)
    of_three = tuple(pulse for pulse in heat.plan(first, 3).pulses if pulse.day == first)
    assert of_three
    assert told(heat.plan(first, 1).pulses) == told(of_three)


def test_a_span_may_run_over_two_winters() -> None:
    """From a summer to the one after the next: the accounts begin anew twice on the way."""
    case = Case(
        a_garden(), Weather(rows=()), NOTHING_GIVEN, date(2031, 9, 20), date(2031, 9, 20), ()
    )
    last = date(2033, 3, 20)
    found = case.plan(case.first, (last - case.first).days)
    assert found.last == last - DAY
    assert found.pulses


def test_days_to_come_before_a_plan_go_as_planned_also_where_only_notes_count() -> None:
    """Next week's sheet is printed today: nobody can have confirmed this week's water yet."""
    today = date(2031, 7, 7)
    garden = a_garden(
        a_zone(relay=None),
        watering=Watering(windows=(EVERY_DAY,), hand_water=HandWater.AS_CONFIRMED),
    )
    given = replace(NOTHING_GIVEN, record=Record(begun=today - 5 * DAY))
    case = Case(garden, Weather(rows=()), given, today=today, first=today, cut=(7, 7))
    both = case.plan(today, 14).pulses
    later = case.plan(today + 7 * DAY, 7).pulses
    assert later
    assert told(later) == told(tuple(p for p in both if p.day >= today + 7 * DAY))


def test_water_that_a_frost_held_back_is_not_taken_as_done() -> None:
    """Printed each morning: the account has what the sheets had, also across two frosty nights."""
    first, frosts = date(2031, 5, 5), (date(2031, 5, 11), date(2031, 5, 12))
    rows = tuple(
        WeatherDay(day=day, tmin_c=-3.0 if day in frosts else 8.0, tmax_c=24.0, rain_mm=0.0)
        for day in (first + ahead * DAY for ahead in range(-60, 30))
    )
    garden = a_garden(a_zone(relay=None))
    case = Case(garden, Weather(rows=rows), NOTHING_GIVEN, today=first, first=first, cut=(1,))
    sheets: list[Pulse] = []
    for ahead in range(14):
        case.today = first + ahead * DAY
        sheets += case.plan(case.today, 1).pulses
    held = {frosts[0] - DAY, *frosts}
    assert not held & {pulse.day for pulse in sheets}
    given = litres_by_day(tuple(sheets))
    case.today = first + 14 * DAY
    for row in case.ledger(first, case.today - DAY):
        litres = given.get((row.zone, row.day), 0.0)
        assert row.watered_mm * row.ground_m2 == approx(litres, abs=1e-6), row
    assert max(day for _, day in given) > frosts[1]
