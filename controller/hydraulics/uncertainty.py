"""How well a zone's flow is known, and which field test would help most."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import exp, log, sqrt

from controller.garden.model import Face, Garden
from controller.hydraulics.fitted import Fitted, NextTest, standing
from controller.hydraulics.foretold import foretold, said
from controller.hydraulics.jets import TRUSTED_BELOW_M
from controller.hydraulics.leastsquares import Matrix, Vector, quadratic
from controller.hydraulics.lines import Lines
from controller.hydraulics.measured import Bucket, Cups, Gauge, Measurement, MeterRun, Stream
from controller.hydraulics.unknowns import Unknown, corrections_of

# How far each unknown is moved to see what follows, of its logarithm.
_STEP = 1e-4
# Sizes of a proposed test: a bucket of 5 gal, three times; cups for half a minute. Our choice.
_BUCKET_M3, _CUPS_S, _METER_S = 0.019, 30.0, 120.0
_CUPS = 4


class Neighbours:
    """The network at some values of the unknowns, and with each of them moved a little."""

    def __init__(
        self, garden: Garden, unknowns: Sequence[Unknown], log_factors: Sequence[float]
    ) -> None:
        self.garden, self.unknowns = garden, tuple(unknowns)
        self._at = list(log_factors)
        self._bore_at = next(i for i, u in enumerate(self.unknowns) if u.kind == "bore")
        self.corrections = corrections_of(garden, self.unknowns, self._at)
        self.lines, self.bore_factor = self._network(self._at)
        self._moved: dict[int, tuple[Lines, float]] = {}

    def slopes(self, figure: Callable[[Lines, float], float], zones: Iterable[str]) -> Vector:
        """How a figure changes with each unknown; unknowns of zones that are shut do not count."""
        here, among = figure(self.lines, self.bore_factor), frozenset(zones)
        slopes = []
        for i, unknown in enumerate(self.unknowns):
            if unknown.zone is not None and unknown.zone not in among:
                slopes.append(0.0)
                continue
            if i not in self._moved:
                beside = [x + (_STEP if k == i else 0.0) for k, x in enumerate(self._at)]
                self._moved[i] = self._network(beside)
            slopes.append((figure(*self._moved[i]) - here) / _STEP)
        return slopes

    def flow_slopes(self, zone: str, zones: frozenset[str]) -> Vector:
        """How the logarithm of a zone's flow changes with each unknown, these zones open."""
        return self.slopes(
            lambda lines, _: log(max(lines.open_set(zones).zones[zone].flow_m3_s, 1e-15)), zones
        )

    def test_slopes(self, test: Measurement) -> Vector:
        """How what a test would show changes with each unknown."""
        return self.slopes(lambda lines, bore: foretold(test, lines, bore), test.zones)

    def _network(self, at: Sequence[float]) -> tuple[Lines, float]:
        made = corrections_of(self.garden, self.unknowns, at)
        return Lines(self.garden, corrections=made), exp(at[self._bore_at])


def flow_uncertainty(garden: Garden, fitted: Fitted, zones: Iterable[str]) -> dict[str, float]:
    """Relative standard error of each zone's flow with exactly these zones open.

    Errors of what the garden file says, of the tests and of hand drilling (its scatter over the
    root of the number of holes) are carried through the network by its slopes. Twice the figure
    is about the 95 % band while the figure is small; above a third or so it only says "unknown".
    """
    opened = frozenset(zones)
    here, covariance = _standing_here(garden, fitted)
    found = {}
    for zone in sorted(opened):
        slopes = here.flow_slopes(zone, opened)
        found[zone] = sqrt(max(0.0, quadratic(covariance, slopes, slopes)))
    return found


def total_uncertainty(garden: Garden, fitted: Fitted, zones: Iterable[str]) -> float:
    """Relative standard error of what a meter at the tap sees with exactly these zones open.

    Less than that of each zone: what one zone takes too much, the others lack.

    Parameters
    ----------
    garden : Garden
        The garden as its file describes it.
    fitted : Fitted
        What field tests taught; of no tests, what the file alone says.
    zones : iterable of str
        All open zones.

    Returns
    -------
    float
        Standard error over the flow at the tap [-].

    Source
    ------
    First-order propagation of errors through the network's slopes; common practice, no source.
    """
    opened = frozenset(zones)
    here, covariance = _standing_here(garden, fitted)
    slopes = here.slopes(
        lambda lines, _: log(max(lines.open_set(opened).supply_flow_m3_s, 1e-15)), opened
    )
    return sqrt(max(0.0, quadratic(covariance, slopes, slopes)))


def _standing_here(garden: Garden, fitted: Fitted) -> tuple[Neighbours, Matrix]:
    """The network as it is held to be now, and how sure its unknowns are."""
    unknowns, log_factors, places = standing(garden, fitted)
    covariance = [
        [
            (unknowns[i].prior_error ** 2 if i == k else 0.0)
            if place is None or other is None
            else fitted.covariance[place][other]
            for k, other in enumerate(places)
        ]
        for i, place in enumerate(places)
    ]
    return Neighbours(garden, unknowns, log_factors), covariance


def most_telling_test(here: Neighbours, covariance: Matrix) -> NextTest | None:
    """The possible test that would narrow the flows of the zones, each open alone, the most."""
    garden = here.garden
    flows = [here.flow_slopes(zone.name, frozenset({zone.name})) for zone in garden.zones]
    before = sum(quadratic(covariance, g, g) for g in flows)
    best: tuple[float, Measurement, str] | None = None
    for test, words in possible_tests(garden, here.lines):
        slopes = here.test_slopes(test)
        _, error = said(test, garden)
        total = error**2 + quadratic(covariance, slopes, slopes)
        gained = sum(quadratic(covariance, g, slopes) ** 2 for g in flows) / total
        if best is None or gained > best[0]:
            best = gained, test, words
    if best is None or before <= 0.0:
        return None
    gained, test, words = best
    return NextTest(
        kind=test.kind,
        zones=test.zones,
        words=words,
        before=sqrt(before / len(flows)),
        after=sqrt(max(0.0, before - gained) / len(flows)),
    )


def possible_tests(garden: Garden, lines: Lines) -> list[tuple[Measurement, str]]:
    """Tests that could be done in this garden, with the readings foretold and usual errors."""
    tap_m3_s = lines.supply.flow_m3_s(0.0)
    tests: list[tuple[Measurement, str]] = [
        (
            Gauge(zones=frozenset(), head_m=lines.supply.static_head_m),
            "a gauge at the tap with nothing open",
        ),
        (
            Bucket(zones=frozenset(), volume_m3=3 * _BUCKET_M3, time_s=3 * _BUCKET_M3 / tap_m3_s),
            "the open tap into a bucket, three times",
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
        tests += [
            (
                MeterRun(
                    zones=alone, before_m3=0.0, after_m3=flow_m3_s * _METER_S, time_s=_METER_S
                ),
                f'the house meter over two minutes with only "{name}" open',
            ),
            (
                Gauge(zones=alone, head_m=max(0.0, flow.tap_head_m)),
                f'a gauge at the tap with only "{name}" open',
            ),
        ]
        for number, row in enumerate(flow.zones[name].rows, start=1):
            where = f'row {number} of "{name}"' if len(zone.rows) > 1 else f'"{name}"'
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
                    f"all of {where}, open alone, into a bucket",
                )
            )
            spread = sorted({round(i * (len(holes) - 1) / (_CUPS - 1)) for i in range(_CUPS)})
            among = [holes[i] for i in spread]
            numbers = tuple(hole.number for hole in among)
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
                    f"cups under holes {', '.join(map(str, numbers))} of {where}, open alone",
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
                        f"the height of the streams of holes {', '.join(map(str, numbers))} of "
                        f"{where}, open alone",
                    )
                )
    return tests
