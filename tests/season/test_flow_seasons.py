"""The flow watch over seasons: nothing held wrongly, and how soon faults are found.

The water is that of tests/support/waterworld.py, a forward model of its own; the flow watch is the
daemon's, with flows and bands from the garden file alone, no field tests. Each zone is watered
every day, one after the other, in three of ten gardens two of them together; the tap swings from
day to day, is 15 % weaker in hot spells, and the meter is off by a share.
Seeds are fixed; the figures of the long run are in docs/watching.md and docs/numbers.md.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from random import Random

import pytest
from support.clock import HandClock
from support.waterworld import Barrel, Tap, drawn_world, fifth, zone_names

from controller.daemon.flow.input_pins import computed_of, tap_loss
from controller.daemon.flow.monitor import SETTLES_S, FlowMonitor, Found, Pipes, fill_seconds
from controller.daemon.flow.rules import METER_ERROR, ComputedFlow, Metering
from controller.garden.model import Action, FlowFinding, Garden
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.plan import NetworkFlows
from controller.units import l_from_m3

pytestmark = pytest.mark.usefixtures("seldom_looks")

START = date(2031, 5, 1)
TELLING = {FlowFinding.BURST, FlowFinding.CLOGGED, FlowFinding.CHANGED}
FAULT_DAY = 25  # the watch has had its base by then


class Season:
    """A garden under watch, its water and its tap, day after day."""

    def __init__(self, dice: Random, *, days: int, hot: bool, kind: str = "") -> None:
        self.dice = dice
        self.garden, self.world = drawn_world(dice, barrel=kind == "barrel")
        self.world.by_loss = kind == "by loss"
        assert self.garden.meter is not None
        self.tap = Barrel(dice, days) if kind == "barrel" else Tap(dice, days, hot=hot)
        self.meter_off = 1.0 + dice.gauss(0.0, METER_ERROR)
        self.pairs = dice.random() < 0.3
        self.sure = kind == "barrel"
        self._clock, self._litres = HandClock(), 0.0
        self.monitor = self._monitor(self.garden)
        self.found: list[tuple[int, Found]] = []

    def _monitor(self, garden: Garden) -> FlowMonitor:
        meter, lines, bands = garden.meter, Lines(garden), Bands(garden, None)
        assert meter is not None
        self.lines = lines
        flows, known = NetworkFlows(lines), dict[frozenset[str], ComputedFlow]()

        def compute(opened: frozenset[str]) -> ComputedFlow:
            if opened not in known:
                known[opened] = computed_of(opened, lines, bands)
                if self.sure:
                    known[opened] = replace(known[opened], error=0.04)
            return known[opened]

        def fill_s(zone: str, opened: frozenset[str]) -> float:
            return fill_seconds(lines.line(zone).volume_m3, flows.flow_l_s(zone, opened))

        self.fill_s = fill_s
        self.metering = Metering(
            self._clock,
            meter.litres_per_pulse,
            lambda: int(self._litres / meter.litres_per_pulse),
        )
        return FlowMonitor(
            garden,
            self.metering,
            self._clock,
            pipes=Pipes(
                compute=compute,
                fill_s=self.fill_s,
                tap_loss_of=lambda opened: tap_loss(lines, opened),
            ),
        )

    def sets(self) -> list[frozenset[str]]:
        """What is open together, set after set of a day."""
        names = zone_names(self.world)
        alone = [frozenset((name,)) for name in names]
        return [frozenset(names[:2]), *alone[2:]] if self.pairs and len(names) > 2 else alone

    def day(self, number: int) -> list[Found]:
        """Water every zone once; what was found."""
        today, minute = START + timedelta(days=number), 0.0
        found: list[Found] = []
        for opened in self.sets():
            flow_l_s = l_from_m3(self.world.flow_m3_s(opened, self.tap.share(number, minute)))
            open_s = self.dice.uniform(60.0, 400.0)
            # Filling, and three looks after it; a burst that is held shuts at once.
            spans = [max(self.fill_s(z, opened) for z in opened) + SETTLES_S + 1.0]
            spans += [open_s / 3.0] * 3
            found += self.monitor.look(opened, today)
            for seconds in spans:
                self._pass(seconds, flow_l_s)
                found += self.monitor.look(opened, today)
            found += self.monitor.look((), today)
            self._pass(600.0, 0.0)
            found += self.monitor.look((), today)
            minute += (sum(spans) + 600.0) / 60.0
        self._clock.advance(3600.0)
        self.monitor.look((), today)
        self.found += [(number, one) for one in found]
        return found

    def _pass(self, seconds: float, flow_l_s: float) -> None:
        self._clock.advance(seconds)
        self._litres += seconds * flow_l_s * self.meter_off


@dataclass(frozen=True)
class Fault:
    """A fault, what it changes, and when it was found as what."""

    kind: str
    change: float  # of the flow of the set its zone is in
    compared: bool  # another set is watered beside it
    days: int | None = None
    finding: FlowFinding | None = None


def _of(season: Season, kind: str, days: int) -> Fault:
    """One fault from `FAULT_DAY` on, in a zone that the dice choose."""
    world, dice, names = season.world, season.dice, zone_names(season.world)
    zone = dice.choice(names)
    for number in range(FAULT_DAY):
        season.day(number)
    (opened,) = (opened for opened in season.sets() if zone in opened)
    before = world.flow_m3_s(opened)
    plugged = () if kind == "lost cap" else fifth(dice, world.zones[zone])
    world.faults[zone] = plugged, kind == "lost cap"
    fault = Fault(
        kind=kind,
        change=world.flow_m3_s(opened) / before - 1.0,
        compared=len(season.sets()) > 1,
    )
    for number in range(1, days + 1):
        for one in season.day(FAULT_DAY + number - 1):
            if one.finding in TELLING and zone in one.zones:
                return replace(fault, days=number, finding=one.finding)
    return fault


def _healthy(seed: int, gardens: int, days: int, kind: str = "") -> Iterator[Season]:
    for number in range(gardens):
        season = Season(Random(1000 * seed + number), days=days, hot=True, kind=kind)
        for day in range(days):
            season.day(day)
        yield season


def _held(season: Season) -> list[Found]:
    return [one for _, one in season.found if one.action is not Action.NOTE]


def test_gardens_as_described_are_never_held_and_their_zones_hardly_ever_suspected() -> None:
    seasons = list(_healthy(1, 6, 40))
    assert [_held(season) for season in seasons] == [[]] * len(seasons)
    assert sum(any(one.zones for _, one in season.found) for season in seasons) <= 1


def test_a_fault_that_changes_the_flow_by_a_tenth_is_found_within_a_week() -> None:
    found = [
        _of(Season(Random(seed), days=40, hot=False), kind, 7)
        for seed in range(12)
        for kind in ("lost cap", "a fifth clogged")
    ]
    large = [f for f in found if abs(f.change) >= 0.10 and f.compared]
    assert len(large) >= 3
    assert [f for f in large if f.days is None] == []


def test_barrels_full_and_near_empty_are_never_held() -> None:
    """With flows known to 4 %, as field tests may have them: a full barrel gives 1.3 times what it
    gives in the middle of its fall, and half of that when it is low."""
    held, clogged, furthest = [], 0, 0.0
    for season in _healthy(4, 6, 30, "barrel"):
        held += _held(season)
        clogged += sum(one.finding is FlowFinding.CLOGGED for _, one in season.found)
        (some, *_) = season.sets()
        full, low = (season.world.flow_m3_s(some, share) for share in (1.0, 0.2))
        furthest = max(furthest, full / low)
    assert held == []
    assert clogged == 0
    assert furthest > 2.0


@pytest.mark.slow
def test_two_hundred_seasons_hold_nothing_wrongly() -> None:
    """The target: no false hold. What is noted of a zone that is well is counted as well."""
    notes: Counter[str] = Counter()
    held, suspected, single, weak = 0, 0, 0, 0
    for season in _healthy(2, 200, 60):
        held += len(_held(season))
        of_zones = [one for _, one in season.found if one.zones]
        alone = len(season.sets()) == 1
        single += bool(of_zones) and alone
        suspected += bool(of_zones) and not alone
        weak += any(not one.zones for _, one in season.found)
        notes.update(str(one.finding) for one in of_zones)
    print(
        f"200 seasons of 60 days, three hot spells each: {held} holds; a zone noted in "
        f"{suspected} seasons of several sets and in {single} of one; the tap said to be weaker or "
        f"stronger in {weak}; {dict(notes)}"
    )
    assert held == 0
    assert suspected <= 10


@pytest.mark.slow
def test_a_tap_that_loses_more_on_the_way_holds_nothing_and_is_named() -> None:
    """A harder tap: on hot days it stands as high as ever and loses 1.4 times as much, which takes
    15 % of a large flow and next to nothing of a small one. Without field tests or a gauge it looks
    like clogging of the large zone; what is noted then has to say so."""
    held, seasons, silent = 0, 0, 0
    for season in _healthy(3, 60, 60, "by loss"):
        held += len(_held(season))
        noted = [one for _, one in season.found if one.zones and len(season.sets()) > 1]
        seasons += bool(noted)
        silent += any("tap" not in one.words for one in noted)
    print(
        f"60 seasons of a tap that loses more: {held} holds; a zone noted in {seasons}, in "
        f"{silent} of them without a word of the tap"
    )
    assert held == 0
    assert silent <= 12


@pytest.mark.slow
def test_days_until_faults_are_found_by_their_size() -> None:
    """The targets: a lost cap of 5 % within a week, a fifth clogged of 5 % within a fortnight."""
    sizes = ((0.0, 0.02), (0.02, 0.05), (0.05, 0.10), (0.10, 0.20), (0.20, 9.0))
    for kind, within in (("lost cap", 7), ("a fifth clogged", 14)):
        faults = [
            _of(Season(Random(77_000 + seed), days=FAULT_DAY + 14, hot=seed % 2 == 0), kind, 14)
            for seed in range(150)
        ]
        for compared in (True, False):
            for low, high in sizes:
                those = [
                    f for f in faults if low <= abs(f.change) < high and f.compared is compared
                ]
                in_time = [f.days for f in those if f.days is not None and f.days <= within]
                late = sum(f.days is not None for f in those) - len(in_time)
                middle = sorted(in_time)[len(in_time) // 2] if in_time else None
                print(
                    f"{kind}, {'beside other sets' if compared else 'the only set'}, "
                    f"{100 * low:.0f} to {100 * high:.0f} %: {len(in_time)} of {len(those)} within "
                    f"{within} days (middle {middle}), {late} later"
                )
                if compared and low >= 0.05:
                    assert len(in_time) >= 0.9 * len(those)
