"""One fit of some tests: how well it knows each zone's flow, and which test would help most."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil, log, sqrt

from controller.errors import InputError, NoSolution
from controller.garden.model import Garden
from controller.garden.plumbing import Face, ValveKind
from controller.hydraulics.calibration.least_squares import (
    Matrix,
    Vector,
    covariance_of,
    fitted_unknowns,
    information_of,
    quadratic,
    with_priors,
)
from controller.hydraulics.calibration.measurements import (
    Bucket,
    Count,
    Cups,
    Gauge,
    Measurement,
    MeterRun,
    Stream,
)
from controller.hydraulics.calibration.parameters import (
    Unknown,
    corrections_of,
    open_holes,
    start_of,
)
from controller.hydraulics.calibration.predicted import Tried, predicted, said
from controller.hydraulics.calibration.result import Fitted, NextTest, standing
from controller.hydraulics.network.garden_lines import Lines
from controller.hydraulics.physics.jets import TRUSTED_BELOW_M
from controller.messages import Message

# How far each unknown is moved for a slope: in its logarithm, or in metres.
_STEP = 1e-4
# Sizes of a proposed test: a bucket of 5 gal, three times; cups for half a minute; a meter whose
# litres are read for two minutes at least, and until it has counted twenty, which is 5 %, for half
# an hour at most. Our choice.
_BUCKET_M3, _CUPS_S, _METER_S, _METER_M3, _METER_MOST_S = 0.019, 30.0, 120.0, 0.020, 1800.0
_CUPS = 4
# Error of a zone that is computed dry but may as well run. [-]
DRY_ERROR = 1.0
_DRY_SIGMAS = 2.0
# Flows known within this standard error are good enough to water by: the day's ETo is no better.
# And a test that removes less than this share of the error is not worth doing. Our choice.
ENOUGH, _HARDLY = 0.05, 0.05
# Most sets of zones that a next test is chosen for; more would make `note` slow.
_MOST_SETS = 16


class Neighbours:
    """The network at given values of the unknowns, and with each of them moved a little."""

    def __init__(
        self, garden: Garden, unknowns: Sequence[Unknown], log_factors: Sequence[float]
    ) -> None:
        self.garden, self.unknowns = garden, tuple(unknowns)
        self._at = list(log_factors)
        self.corrections = corrections_of(garden, self.unknowns, self._at)
        self.lines, self.tried = self._network(self._at)
        self._moved: dict[int, tuple[Lines, Tried]] = {}

    def slopes(self, figure: Callable[[Lines, Tried], float], zones: Iterable[str]) -> Vector:
        """Slope of a figure in each unknown; 0 for unknowns of zones that are shut."""
        here, among = figure(self.lines, self.tried), frozenset(zones)
        slopes = []
        for i, unknown in enumerate(self.unknowns):
            if unknown.zone is not None and unknown.zone not in among:
                slopes.append(0.0)
                continue
            if i not in self._moved:
                beside = [x + (_STEP if k == i else 0.0) for k, x in enumerate(self._at)]
                self._moved[i] = self._network(beside, self.lines)
            slopes.append((figure(*self._moved[i]) - here) / _STEP)
        return slopes

    def flow_slopes(self, zone: str, zones: frozenset[str]) -> Vector:
        """Slope of the logarithm of a zone's flow in each unknown, with these zones open."""
        return self.slopes(
            lambda lines, _: log(max(lines.open_set(zones).zones[zone].flow_m3_s, 1e-15)), zones
        )

    def test_slopes(self, test: Measurement) -> Vector:
        """Slope of a test's predicted reading in each unknown."""
        return self.slopes(lambda lines, tried: predicted(test, lines, tried), test.zones)

    def _network(self, at: Sequence[float], beside: Lines | None = None) -> tuple[Lines, Tried]:
        made = corrections_of(self.garden, self.unknowns, at)
        values = {(u.kind, u.zone): u.value(x) for u, x in zip(self.unknowns, at, strict=True)}
        tried = Tried(
            bore=values["bore", None],
            open_holes={
                zone: value
                for (kind, zone), value in values.items()
                if kind == "open holes" and zone is not None
            },
        )
        return Lines(self.garden, corrections=made, beside=beside), tried


class FlowErrors:
    """Standard errors of the flows of any set of zones; the networks are built once for all sets.

    Errors of the garden file, of the tests and of hand drilling (its scatter over the root of the
    number of holes) are propagated through the network by its slopes.
    """

    def __init__(self, garden: Garden, fitted: Fitted) -> None:
        self._here, self._covariance = _standing_here(garden, fitted)

    def of_zones(self, zones: Iterable[str]) -> dict[str, float]:
        """Relative standard error of each zone's flow with exactly these zones open.

        Twice the figure is about the 95 % band while the figure is small; above a third or so it
        only says "unknown". A zone that is computed dry has 0 where that is certain, else 1.
        """
        opened = frozenset(zones)
        found = {}
        for zone in sorted(opened):
            if self._here.lines.open_set(opened).zones[zone].flow_m3_s <= 0.0:
                found[zone] = self._dry_error(zone, opened)
            else:
                slopes = self._here.flow_slopes(zone, opened)
                found[zone] = sqrt(max(0.0, quadratic(self._covariance, slopes, slopes)))
        return found

    def total(self, zones: Iterable[str]) -> float:
        """Relative standard error of what a meter at the tap sees with exactly these zones open.

        It is less than that of each zone: water that one zone takes too much is missing in the
        others.
        """
        opened = frozenset(zones)
        slopes = self._here.slopes(
            lambda lines, _: log(max(lines.open_set(opened).supply_flow_m3_s, 1e-15)), opened
        )
        return sqrt(max(0.0, quadratic(self._covariance, slopes, slopes)))

    def _dry_error(self, zone: str, opened: frozenset[str]) -> float:
        """Error of a zone computed dry: 0 where even its best hole is certain to stay dry."""

        def over_m(lines: Lines, _: Tried) -> float:
            rows = lines.open_set(opened).zones[zone].rows
            return max(
                (h.head_m - h.z_m for row in rows for h in row.holes if not h.plugged),
                default=float("-1e9"),
            )

        slopes = self._here.slopes(over_m, opened)
        error_m = sqrt(max(0.0, quadratic(self._covariance, slopes, slopes)))
        highest_m = over_m(self._here.lines, self._here.tried) + _DRY_SIGMAS * error_m
        return 0.0 if highest_m < 0.0 else DRY_ERROR


def _standing_here(garden: Garden, fitted: Fitted) -> tuple[Neighbours, Matrix]:
    """The network as known now, and the covariance of its unknowns."""
    unknowns, log_factors, places = standing(garden, fitted)
    covariance = with_priors(fitted.covariance, places, [one.prior_error for one in unknowns])
    return Neighbours(garden, unknowns, log_factors), covariance


def sets_in_use(garden: Garden, lines: Lines) -> list[frozenset[str]]:
    """The sets of zones that a plan opens by its rules, and each remaining zone alone.

    As in the timetable: hand valves one at a time; a zone joins the open ones where each keeps its
    share of the flow it has alone and none falls dry, up to `most_open`.
    """
    rules = garden.watering
    alone = {
        zone.name: lines.zone_flows(frozenset({zone.name}))[zone.name] for zone in garden.zones
    }
    relays = [zone.name for zone in garden.zones if zone.valve.kind is not ValveKind.HAND]
    sets: list[frozenset[str]] = []
    for i, first in enumerate(relays):
        opened = frozenset({first})
        for other in (*relays[i + 1 :], *relays[:i]):
            if len(opened) >= rules.most_open:
                break
            joined = opened | {other}
            flows = lines.zone_flows(joined)
            if all(flows[z] >= rules.least_share * alone[z] > 0.0 for z in joined):
                opened = joined
        if opened not in sets:
            sets.append(opened)
        if len(sets) >= _MOST_SETS:
            break
    among = frozenset().union(*sets)
    return [*sets, *(frozenset({zone.name}) for zone in garden.zones if zone.name not in among)]


def most_telling_test(here: Neighbours, covariance: Matrix) -> NextTest | None:
    """The possible test that narrows the flows most, in the sets that a plan opens."""
    garden = here.garden
    flows = [
        here.flow_slopes(zone, opened)
        for opened in sets_in_use(garden, here.lines)
        for zone in sorted(opened)
    ]
    before = sum(quadratic(covariance, g, g) for g in flows)
    best: tuple[float, Measurement, Message] | None = None
    for test, message in possible_tests(garden, here.lines):
        slopes = here.test_slopes(test)
        _, error = said(test, garden)
        total = error**2 + quadratic(covariance, slopes, slopes)
        gained = sum(quadratic(covariance, g, slopes) ** 2 for g in flows) / total
        if best is None or gained > best[0]:
            best = gained, test, message
    if best is None or before <= 0.0:
        return None
    gained, test, message = best
    worst = max(quadratic(covariance, g, g) for g in flows)
    return NextTest(
        kind=test.kind,
        zones=test.zones,
        message=message,
        before=sqrt(before / len(flows)),
        after=sqrt(max(0.0, before - gained) / len(flows)),
        enough=worst <= ENOUGH**2 or gained < _HARDLY * before,
    )


def possible_tests(garden: Garden, lines: Lines) -> list[tuple[Measurement, Message]]:
    """Tests that could be done in this garden, with predicted readings and usual errors."""
    tap_m3_s = lines.supply.flow_m3_s(0.0)
    tests: list[tuple[Measurement, Message]] = [
        (
            Gauge(zones=frozenset(), head_m=lines.supply.static_head_m),
            Message("next.gauge_still"),
        ),
        (
            Bucket(zones=frozenset(), volume_m3=3 * _BUCKET_M3, time_s=3 * _BUCKET_M3 / tap_m3_s),
            Message("next.open_tap"),
        ),
    ]
    if garden.supply.pump is not None:
        tests = []  # its gauge stands anywhere between the switches, a bucket empties the tank
    for zone in garden.zones:
        name, alone = zone.name, frozenset({zone.name})
        flow = lines.open_set(alone)
        flow_m3_s = flow.supply_flow_m3_s
        if flow_m3_s <= 0.0:
            continue
        count_s = min(max(_METER_S, _METER_M3 / flow_m3_s), _METER_MOST_S)
        minutes = ceil(count_s / 60.0)
        tests += [
            (
                MeterRun(zones=alone, before_m3=0.0, after_m3=flow_m3_s * count_s, time_s=count_s),
                Message(
                    "next.meter_two" if minutes <= 2 else "next.meter",
                    {"minutes": minutes, "zone": name},
                ),
            ),
            (
                Count(zones=alone, zone=name, running=open_holes(zone)),
                Message("next.count", {"zone": name}),
            ),
            (
                Gauge(zones=alone, head_m=max(0.0, flow.tap_head_m)),
                Message("next.gauge_open", {"zone": name}),
            ),
        ]
        for number, row in enumerate(flow.zones[name].rows, start=1):
            where = Message(
                "next.row" if len(zone.rows) > 1 else "next.zone", {"row": number, "zone": name}
            )
            holes = [h for h in row.holes if h.kind == "hole" and h.flow_m3_s > 0.0]
            if not holes:
                continue
            tests.append(
                (
                    Bucket(
                        zones=alone,
                        zone=name,
                        row=number,
                        volume_m3=min(_BUCKET_M3, 60.0 * row.flow_m3_s),
                        time_s=min(_BUCKET_M3 / row.flow_m3_s, 60.0),
                    ),
                    Message("next.bucket", {"where": where}),
                )
            )
            spread = sorted({round(i * (len(holes) - 1) / (_CUPS - 1)) for i in range(_CUPS)})
            among = [holes[i] for i in spread]
            numbers = tuple(hole.number for hole in among)
            named = tuple(map(str, numbers))
            tests.append(
                (
                    Cups(
                        zones=alone,
                        zone=name,
                        row=number,
                        holes=numbers,
                        volumes_m3=tuple(hole.flow_m3_s * _CUPS_S for hole in among),
                        time_s=_CUPS_S,
                    ),
                    Message("next.cups", {"holes": named, "where": where}),
                )
            )
            heads_m = [hole.head_m - hole.z_m for hole in among]
            if max(heads_m) < TRUSTED_BELOW_M and zone.rows[number - 1].drilling.face is Face.UP:
                tests.append(
                    (
                        Stream(
                            zones=alone,
                            zone=name,
                            row=number,
                            holes=numbers,
                            heights_m=tuple(0.64 * head_m for head_m in heads_m),
                        ),
                        Message("next.streams", {"holes": named, "where": where}),
                    )
                )
    return tests


# A test that is off by more standard errors than this contradicts the others.
TOO_FAR = 3.0


@dataclass(frozen=True, slots=True)
class Solved:
    """Tests as fitted: the unknowns that they touch, and how far each test remains off."""

    garden: Garden
    tests: Sequence[Measurement]
    unknowns: Sequence[Unknown]
    x: Vector
    covariance: Matrix
    here: Neighbours
    off: Vector  # residuals, in standard errors of the test
    free: Vector  # share of each residual that the unknowns do not absorb

    @property
    def cost(self) -> float:
        """Sum of squares, of tests and priors."""
        return sum(r * r for r in self.off) + sum(
            (x / u.prior_error) ** 2 for x, u in zip(self.x, self.unknowns, strict=True)
        )

    @property
    def sigmas(self) -> Vector:
        """Each test against the prediction of all the others, in standard errors of both."""
        return [r / sqrt(share) for r, share in zip(self.off, self.free, strict=True)]

    @property
    def odd(self) -> list[int]:
        """The tests that contradict the rest."""
        return [i for i, sigmas in enumerate(self.sigmas) if abs(sigmas) > TOO_FAR]


def solve(garden: Garden, tests: Sequence[Measurement], unknowns: Sequence[Unknown]) -> Solved:
    """Fit the unknowns that these tests touch; the others stay at their priors."""
    touched = frozenset().union(*(test.zones for test in tests))
    among = [u for u in unknowns if u.zone is None or u.zone in touched]
    priors = [unknown.prior_error for unknown in among]
    figures = [said(test, garden) for test in tests]
    last: list[tuple[Vector, Neighbours]] = []

    def network(x: Vector) -> Neighbours:
        if not last or last[0][0] != x:
            last[:] = [(list(x), Neighbours(garden, among, x))]
        return last[0][1]

    def residuals(x: Vector) -> Vector:
        here = network(x)
        return [
            (predicted(test, here.lines, here.tried) - value) / error
            for test, (value, error) in zip(tests, figures, strict=True)
        ]

    def slopes(x: Vector) -> Matrix:
        here = network(x)
        return [
            [slope / error for slope in here.test_slopes(test)]
            for test, (_, error) in zip(tests, figures, strict=True)
        ]

    try:
        x = fitted_unknowns(residuals, slopes, priors, [start_of(garden, one) for one in among])
    except NoSolution as error:
        off = [abs(r) for r in residuals(last[0][0])]
        worst = tests[off.index(max(off))].shown if off else "none"
        raise InputError(
            "the field tests do not fit together, whatever the holes, valves and tap are taken to "
            f"be; furthest off is: {worst}. Do it again, and take the wrong one back"
        ) from error
    told, off = slopes(x), residuals(x)
    covariance = covariance_of(information_of(told, priors))
    return Solved(
        garden=garden,
        tests=tests,
        unknowns=among,
        x=x,
        covariance=covariance,
        here=network(x),
        off=off,
        free=[max(1e-6, 1.0 - quadratic(covariance, g, g)) for g in told],
    )
