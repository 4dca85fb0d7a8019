"""What the meter finds: the rules by tables, then water that runs in real hydraulics."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from datetime import date, timedelta
from math import exp, hypot
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest import approx
from support.clock import HandClock
from support.gardens import a_row, a_zone
from support.metered import (
    LITRES_PER_PULSE,
    METER_LINE,
    Rig,
    a_metered_garden,
    burst,
    drawn,
    plugged,
    true_flow,
)
from support.pins import HandInputs

from controller.daemon.flow.input_pins import computed_of
from controller.daemon.flow.monitor import (
    LEAK_AFTER_S,
    LEAK_STRETCH_S,
    SETTLES_S,
    STILL_AFTER_S,
    FlowMonitor,
    Found,
    Pipes,
    action_of,
    fill_seconds,
)
from controller.daemon.flow.rules import (
    FIND_AT,
    LEAST_COUNTS,
    LEAST_SHARE,
    METER_ERROR,
    TAP_VARIES,
    ComputedFlow,
    MeteredStretch,
    Metering,
    find_while_open,
    find_while_shut,
    flow_while_open,
    found_words,
    passing_l,
)
from controller.daemon.flow.trend import BASE_LEAST
from controller.errors import OutOfRange
from controller.garden.model import Action, Filled, FlowFinding, Garden
from controller.garden.plumbing import Opening, Supply, SupplyKind
from controller.hydraulics.calibration.calibrated import Bands
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.plan import NetworkFlows
from controller.units import m3_s_from_gal_min, m3_s_from_l_min
from controller.valves.pins import PulseCounter

DAY = date(2031, 6, 1)
COARSE = 1 / 20  # a coarser meter, whose pulses are quicker to act out
SURE = ComputedFlow(flow_l_s=0.2, error=0.0)


def _with_flow(garden: Garden, zone: str, gal_min: float) -> Garden:
    """The same garden with the zone's valve where it gives that much, open alone."""
    opening = Opening(alone_flow_m3_s=m3_s_from_gal_min(gal_min))
    zones = tuple(replace(z, opening=opening) if z.name == zone else z for z in garden.zones)
    return replace(garden, zones=zones)


def _seen(litres: float, seconds: float = 100.0, litres_per_pulse: float = 0.01) -> MeteredStretch:
    return MeteredStretch(litres=litres, seconds=seconds, litres_per_pulse=litres_per_pulse)


# --- the judge -------------------------------------------------------------------------------

# 0.2 L/s over 100 s are 20 L, 2000 counts of 10 mL; a sure flow passes from 20 % less to 20 % more,
# and two counts (20 mL) beyond. WORKED by hand.
OPEN = [
    (20.0, None),
    (16.0, None),
    (15.99, None),
    (15.97, FlowFinding.CLOGGED),
    (2.01, FlowFinding.CLOGGED),
    (2.0, FlowFinding.NOT_OPENED),
    (0.0, FlowFinding.NOT_OPENED),
    (24.02, None),
    (24.03, FlowFinding.BURST),
    (200.0, FlowFinding.BURST),
]


@pytest.mark.parametrize(("litres", "finding"), OPEN)
def test_a_sure_flow_is_judged_a_fifth_away(litres: float, finding: FlowFinding | None) -> None:
    assert find_while_open(_seen(litres), SURE) is finding


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        (_seen(0.0, seconds=9.9), "too short"),
        (_seen(60.0, seconds=9.9), "too short"),
        (_seen(0.0, litres_per_pulse=1.01), "under 20 counts due"),
        (_seen(38.0, litres_per_pulse=2.0), "under 20 counts seen"),
    ],
)
def test_too_little_seen_is_not_judged(seen: MeteredStretch, why: str) -> None:
    assert find_while_open(seen, SURE) is None, why


def test_many_counts_where_few_were_due_are_a_burst() -> None:
    few = ComputedFlow(flow_l_s=0.001, error=0.0)  # 0.1 L: 10 counts due
    assert find_while_open(_seen(LEAST_COUNTS * 0.01), few) is FlowFinding.BURST


def test_the_band_widens_with_the_error_of_the_flow_and_of_the_meter() -> None:
    unsure = ComputedFlow(flow_l_s=0.2, error=0.10)
    least, most = passing_l(unsure, 100.0, 0.01)
    far = FIND_AT * hypot(0.10, METER_ERROR) + TAP_VARIES
    assert least == approx(20.0 * exp(-far) - 0.02)
    assert most == approx(20.0 * exp(far) + 0.02)
    assert least < 20.0 * (1 - LEAST_SHARE) < 20.0 * (1 + LEAST_SHARE) < most


@given(
    st.floats(0.01, 2.0),
    st.floats(0.0, 0.5),
    st.floats(10.0, 3600.0),
    st.floats(1e-4, 1.0),
    st.floats(0.0, 5.0),
)
def test_a_flow_is_found_wrong_only_outside_what_passes(
    flow_l_s: float, error: float, seconds: float, litres_per_pulse: float, share: float
) -> None:
    computed = ComputedFlow(flow_l_s=flow_l_s, error=error)
    litres = share * flow_l_s * seconds
    least, most = passing_l(computed, seconds, litres_per_pulse)
    seen = MeteredStretch(litres=litres, seconds=seconds, litres_per_pulse=litres_per_pulse)
    finding = find_while_open(seen, computed)
    assert least < flow_l_s * seconds < most
    if finding is FlowFinding.BURST:
        assert litres > most
    elif finding is FlowFinding.CLOGGED:
        assert litres < least
    elif finding is FlowFinding.NOT_OPENED:
        assert litres <= 0.1 * flow_l_s * seconds


def test_a_stretch_of_no_length_has_no_band() -> None:
    with pytest.raises(OutOfRange):
        passing_l(SURE, 0.0, 0.01)
    with pytest.raises(OutOfRange):
        passing_l(SURE, float("nan"), 0.01)


# --- a flow that is hardly known --------------------------------------------------------------


def _of_an_unknown_valve() -> Garden:
    """Two rows of 25 ft behind a valve that nobody can tell the opening of."""
    rows = (a_row(25.0), a_row(25.0))
    unknown = a_zone("a", 17, opening=Opening(unknown=True), rows=rows)
    return replace(a_metered_garden(unknown, a_zone("b", 22)), us_units=True)


def test_a_flow_known_to_no_factor_of_ten_is_said_and_holds_nothing() -> None:
    """The valve stands far more shut than computed: 0.6 gal/min come where 6.7 are computed, and
    500 would pass. RECORDED."""
    garden = _of_an_unknown_valve()
    bench = Bench(garden, Lines(_with_flow(garden, "a", 0.6)))
    computed = bench.compute(frozenset("a"))
    assert computed.error > 1.0
    assert not computed.is_known
    for _ in range(3):
        bench.run(["a"], 180.0)
        bench.run([], 60.0)
    assert bench.findings == []
    (words,) = bench.said
    assert words.startswith("the flow of a is not known well enough to compare (6.72 gal/min")
    assert "rowgate note run" in words
    assert list(bench.monitor.unknown.values()) == [words]


def test_a_valve_that_stays_open_is_found_though_nobody_knew_its_flow() -> None:
    """What the meter saw while it was open is what goes on."""
    garden = _of_an_unknown_valve()
    bench = Bench(garden, Lines(_with_flow(garden, "a", 0.6)))
    flow = bench.rig.flow_l_s
    bench.run(["a"], 120.0)
    bench.rig.flow_l_s = lambda opened: flow(frozenset("a"))
    bench.run([], STILL_AFTER_S + 60.0)
    assert bench.findings == [(FlowFinding.NOT_CLOSED, ("a",))]
    assert "0.60 gal/min while it was open" in bench.found[0].words


def test_a_week_of_its_own_past_finds_a_burst_where_nothing_was_known() -> None:
    garden = _of_an_unknown_valve()
    bench = Bench(garden, Lines(_with_flow(garden, "a", 0.6)))
    steady = bench.rig.flow_l_s
    for _ in range(BASE_LEAST):
        bench.run(["a"], 120.0)
        bench.run([], 60.0)
        bench.day += timedelta(days=1)
    assert bench.findings == []
    bench.run(["a"], 120.0)
    assert bench.findings == []
    bench.run([], 60.0)
    bench.rig.flow_l_s = lambda opened: 2.0 * steady(opened)
    bench.run(["a"], 120.0)
    assert bench.findings == [(FlowFinding.BURST, ("a",))]


def test_next_to_nothing_is_judged_by_the_band_too() -> None:
    """WORKED: an error of 0.6 lets exp(-(3 x 0.6 + 0.08 and a hair)) = 15 % pass, of 0.7 11 %; at
    0.75 a tenth would pass, and nothing is judged."""
    for error, litres, finding in [
        (0.6, 1.9, FlowFinding.NOT_OPENED),
        (0.6, 2.5, FlowFinding.CLOGGED),
        (0.6, 3.1, None),
        (0.75, 0.0, None),
        (0.75, 400.0, None),
    ]:
        assert find_while_open(_seen(litres), ComputedFlow(flow_l_s=0.2, error=error)) is finding, (
            error
        )


def test_what_goes_on_is_held_against_the_lesser_of_seen_and_computed() -> None:
    # WORKED: litres of 100 s, or the 0.2 L/s of the computed flow.
    assert flow_while_open(_seen(18.0), SURE) == approx(0.18)
    assert flow_while_open(_seen(22.0), SURE) == approx(0.20)
    assert flow_while_open(_seen(1.0), SURE) == approx(0.20)  # it had not opened
    assert flow_while_open(_seen(0.0, seconds=0.0), SURE) == approx(0.20)
    unknown = ComputedFlow(flow_l_s=0.2, error=2.0)
    assert flow_while_open(_seen(1.0), unknown) == approx(0.01)
    assert flow_while_open(_seen(0.1), unknown) is None
    assert find_while_shut(_seen(10.0), None, soon=True) is None
    assert find_while_shut(_seen(10.0), None, soon=False) is FlowFinding.LEAK


# --- supplies that vary, and a meter that stands still -----------------------------------------


def test_a_full_barrel_is_no_burst_and_one_near_empty_not_clogged() -> None:
    """A barrel of 1.2 m that falls to 0.2 m: RECORDED, its zone gives 31 % more when full than at
    the middle of the fall, and its flow is known to 2 % here."""
    supply = Supply(
        kind=SupplyKind.BARREL,
        static_head_m=1.2,
        falls_to_m=0.2,
        test_head_m=0.0,
        test_flow_m3_s=m3_s_from_l_min(25.0),
    )
    garden = replace(a_metered_garden(), supply=supply)
    alone = frozenset("a")
    bench = Bench(garden)
    known = replace(bench.compute(alone), error=0.02)
    assert known.highest_l_s / known.flow_l_s == approx(1.31, abs=0.02)
    assert known.lowest_l_s / known.flow_l_s == approx(0.53, abs=0.03)
    full = _seen(known.highest_l_s * 100.0, litres_per_pulse=LITRES_PER_PULSE)
    low = replace(full, litres=known.lowest_l_s * 100.0)
    assert find_while_open(full, known) is None
    assert find_while_open(low, known) is None
    assert find_while_open(full, replace(known, high_l_s=None)) is FlowFinding.BURST
    assert find_while_open(replace(full, litres=1.3 * full.litres), known) is FlowFinding.BURST
    assert find_while_open(replace(low, litres=0.7 * low.litres), known) is FlowFinding.CLOGGED


def test_a_flow_that_the_meter_may_not_count_is_not_taken_for_a_shut_valve() -> None:
    still = _seen(0.0)
    assert find_while_open(still, SURE) is FlowFinding.NOT_OPENED
    assert find_while_open(replace(still, starts_at_l_s=0.159), SURE) is FlowFinding.NOT_OPENED
    assert find_while_open(replace(still, starts_at_l_s=0.16), SURE) is None  # 0.16 L/s would pass
    much = _seen(40.0)
    assert find_while_open(replace(much, starts_at_l_s=0.16), SURE) is FlowFinding.BURST


SHUT = [
    (0.09, 60.0, True, None),  # nine counts
    (0.10, 60.0, True, None),  # ten counts, but a trickle beside 0.2 L/s
    (1.21, 60.0, True, FlowFinding.NOT_CLOSED),  # a tenth of 0.2 L/s
    (1.19, 60.0, True, None),
    (0.09, 60.0, False, None),
    (0.10, 3600.0, False, FlowFinding.LEAK),
]


@pytest.mark.parametrize(("litres", "seconds", "soon", "finding"), SHUT)
def test_what_flows_while_all_is_shut(
    litres: float, seconds: float, soon: bool, finding: FlowFinding | None
) -> None:
    assert find_while_shut(_seen(litres, seconds), 0.2 if soon else None, soon=soon) is finding


def test_a_finding_speaks_in_the_gardeners_units() -> None:
    words = found_words(FlowFinding.CLOGGED, _seen(10.0), SURE, us=False)
    assert "6.00 L/min by the meter over 1:40 min, 12.00 L/min computed" in words
    assert "(9.59 L/min to 14.41 L/min would pass)" in words
    assert "1.59 gal/min by the meter" in found_words(
        FlowFinding.CLOGGED, _seen(10.0), SURE, us=True
    )


def test_the_garden_file_says_what_a_finding_does() -> None:
    garden = a_metered_garden(actions={FlowFinding.CLOGGED: Action.HOLD_GARDEN})
    assert garden.meter is not None
    assert action_of(FlowFinding.CLOGGED, garden, garden.meter) is Action.HOLD_GARDEN
    assert action_of(FlowFinding.BURST, garden, garden.meter) is Action.HOLD_ZONE
    assert action_of(FlowFinding.NOT_CLOSED, garden, garden.meter) is Action.SHUT_MASTER
    by_hand = a_metered_garden(a_zone("a", 17), a_zone("h", None))
    assert by_hand.meter is not None
    written = replace(by_hand.meter, actions={FlowFinding.LEAK: Action.HOLD_GARDEN})
    assert action_of(FlowFinding.LEAK, by_hand, written) is Action.HOLD_GARDEN
    filled = Filled(where="[meter.when]", key="leak", shown="hold garden")
    assert action_of(FlowFinding.LEAK, replace(by_hand, filled=(filled,)), written) is Action.NOTE
    assert action_of(FlowFinding.NOT_CLOSED, by_hand, by_hand.meter) is Action.NOTE
    assert action_of(FlowFinding.LEAK, by_hand, by_hand.meter) is Action.NOTE


# --- the meter's counts ----------------------------------------------------------------------


def test_litres_between_two_moments_lie_on_lines_between_samples() -> None:
    clock, counts = HandClock(), iter([0, 100, 300])
    metering = Metering(clock, 0.01, lambda: next(counts))
    for _ in range(2):
        clock.advance(10.0)
        metering.sample()
    start = 1000.0
    # WORKED: 1 L in the first ten seconds, 2 L in the next.
    assert metering.litres_between(start, start + 10.0) == approx(1.0)
    assert metering.litres_between(start + 5.0, start + 15.0) == approx(0.5 + 1.0)
    assert metering.litres_between(start - 50.0, start + 50.0) == approx(3.0)
    assert metering.litres_between(start + 15.0, start + 5.0) == 0.0


@pytest.mark.parametrize("keep_from_mono_s", [float("inf"), 1000.0])
def test_samples_stay_bounded_and_those_of_an_open_valve_are_kept(keep_from_mono_s: float) -> None:
    clock = HandClock()
    metering = Metering(clock, 1.0, lambda: int(clock.mono_s()))
    metering.keep_from_mono_s = keep_from_mono_s
    for _ in range(50_000):
        clock.advance(1.0)
        metering.sample()
    assert len(metering._at) <= 20_000
    assert metering.litres_between(41_000.0, 51_000.0) == 10_000.0
    kept = metering.litres_between(1000.0, 51_000.0) == 50_000.0
    assert kept is (keep_from_mono_s == 1000.0)


DEAD = [
    ([("a", 0.0), ("a", 0.0), ("b", 0.0)], 2, True),
    ([("a", 0.0), ("a", 0.0), ("a", 0.0)], 2, False),  # one valve that does not open
    ([("a", 0.0), ("a", 0.0), ("a", 0.0)], 1, True),  # there is no other zone to tell by
    ([("a", 0.0), ("b", 0.0), ("b", 1.0), ("a", 0.0)], 2, False),
    ([("a", 0.0), ("b", 0.0), ("a", 0.0), ("a", 5.0)], 2, False),  # alive again
]


@pytest.mark.parametrize(("pulses", "zones", "dead"), DEAD)
def test_a_meter_without_counts_for_several_waterings_is_dead(
    pulses: list[tuple[str, float]], zones: int, dead: bool
) -> None:
    metering = Metering(HandClock(), 0.01, lambda: 0)
    for zone, litres in pulses:
        metering.watered(zone, metered_l=litres, timed_l=20.0, zones=zones)
    assert metering.dead is dead


def test_pulses_too_small_for_the_meter_say_nothing_of_it() -> None:
    metering = Metering(HandClock(), 1.0, lambda: 0)
    for zone in ("a", "b", "a", "b"):
        assert not metering.watered(zone, metered_l=0.0, timed_l=LEAST_COUNTS - 1, zones=2)
    assert not metering.dead


# --- the desk, with water in real pipes ------------------------------------------------------


class Bench:
    """A desk at work over a garden whose water runs as `truth` says."""

    def __init__(self, garden: Garden, truth: Lines | None = None, *, step_s: float = 1.0) -> None:
        assert garden.meter is not None
        self.clock, self.step_s = HandClock(), step_s
        inputs, counter = HandInputs(), PulseCounter()
        inputs.watch(METER_LINE, active_low=True, debounce_s=0.0, on_edge=counter.edge)
        lines = Lines(garden)
        flows, bands = NetworkFlows(lines), Bands(garden, None)
        litres_per_pulse = garden.meter.litres_per_pulse
        self.rig = Rig(inputs, true_flow(truth or lines), litres_per_pulse)
        self.metering = Metering(self.clock, litres_per_pulse, counter.count)

        known: dict[frozenset[str], ComputedFlow] = {}

        def compute(opened: frozenset[str]) -> ComputedFlow:
            if opened not in known:
                known[opened] = computed_of(opened, lines, bands)
            return known[opened]

        self.compute = compute
        self.said: list[str] = []
        self.monitor = FlowMonitor(
            garden,
            self.metering,
            self.clock,
            pipes=Pipes(
                compute=compute,
                fill_s=lambda z, s: fill_seconds(lines.line(z).volume_m3, flows.flow_l_s(z, s)),
            ),
            report=self.said.append,
        )
        self.day = DAY
        self.found: list[Found] = []

    def run(self, opened: Collection[str], seconds: float) -> None:
        """So long with these zones open."""
        self.found += self.monitor.look(opened, self.day)
        ends = self.clock.mono_s() + seconds
        while self.clock.mono_s() < ends:
            before = self.clock.mono_s()
            self.clock.advance(min(self.step_s, ends - before))
            self.rig.run(frozenset(opened), before, self.clock.mono_s())
            self.found += self.monitor.look(opened, self.day)

    @property
    def findings(self) -> list[tuple[FlowFinding, tuple[str, ...]]]:
        return [(f.finding, f.zones) for f in self.found]


def test_the_garden_as_described_gives_no_finding() -> None:
    bench = Bench(a_metered_garden())
    for opened in (["a"], ["a", "b"], ["b"], [], ["b"], []):
        bench.run(opened, 180.0)
    assert bench.findings == []


def test_a_clogged_row_is_found_at_the_stated_size() -> None:
    """RECORDED: zone a is known to 9.0 % here; 31 % less is found, and no sooner."""
    garden = a_metered_garden()
    alone = frozenset("a")
    right = true_flow(Lines(garden))(alone)
    found = {}
    for count in range(1, 12):
        bench = Bench(garden, truth := Lines(plugged(garden, "a", range(1, count + 1))))
        bench.run(["a"], 180.0)
        bench.run([], 10.0)
        found[true_flow(truth)(alone) / right] = bench.findings
    least, _ = passing_l(Bench(garden).compute(alone), 160.0, LITRES_PER_PULSE)
    stated = least / 160.0 / right
    assert stated == approx(0.694, abs=0.002)
    for share, findings in found.items():
        assert findings == ([(FlowFinding.CLOGGED, ("a",))] if share < stated else []), share
    assert min(found) < stated < max(found)


def test_a_burst_is_found_at_the_stated_size_while_it_flows() -> None:
    garden = a_metered_garden()
    alone = frozenset("a")
    right = true_flow(Lines(garden))(alone)
    _, most = passing_l(Bench(garden).compute(alone), 160.0, LITRES_PER_PULSE)
    stated = most / 160.0 / right
    # RECORDED: what our band lets pass; the bursts below find it from both sides.
    assert stated == approx(1.440, abs=0.002)
    shares = []
    for bore_mm in (2, 4, 5, 6, 8, 12):
        truth = Lines(burst(garden, "a", bore_mm / 1000.0))
        share = true_flow(truth)(alone) / right
        shares.append(share)
        bench = Bench(garden, truth)
        bench.run(["a"], 180.0)
        wanted = [(FlowFinding.BURST, ("a",))] if share > stated else []
        assert bench.findings == wanted, share
    assert min(shares) < stated < max(shares)


def test_a_popped_end_is_told_within_half_a_minute_of_a_warm_line() -> None:
    garden = a_metered_garden()
    bench = Bench(garden, Lines(burst(garden, "a", 0.012)))
    bench.run(["a"], 30.0)
    assert bench.findings == [(FlowFinding.BURST, ("a",))]
    assert bench.found[0].action is Action.HOLD_ZONE


def test_filling_lines_are_not_taken_for_a_burst() -> None:
    garden = a_metered_garden()
    bench = Bench(garden)
    steady = bench.rig.flow_l_s
    bench.rig.flow_l_s = lambda opened: 3.0 * steady(opened)
    volume_l = 1000.0 * Lines(garden).line("a").volume_m3
    bench.run(["a"], volume_l / steady(frozenset("a")))
    bench.rig.flow_l_s = steady
    bench.run(["a"], 120.0)
    bench.run([], 5.0)
    assert bench.findings == []


def test_zones_open_together_are_judged_by_their_sum_and_named_together() -> None:
    garden = a_metered_garden()
    bench = Bench(garden, Lines(plugged(garden, "a", range(1, 15))))
    bench.run(["a", "b"], 180.0)
    bench.run([], 5.0)
    assert bench.findings == [(FlowFinding.CLOGGED, ("a", "b"))]
    assert "one of them or all" in bench.found[0].words


def test_a_zone_seen_right_on_the_same_day_is_not_suspected() -> None:
    garden = a_metered_garden()
    bench = Bench(garden, Lines(plugged(garden, "a", range(1, 15))))
    bench.run(["b"], 60.0)
    bench.run(["a", "b"], 180.0)
    bench.run([], 5.0)
    assert bench.findings == [(FlowFinding.CLOGGED, ("a",))]


def test_a_valve_that_does_not_open_is_told_while_it_should_be_open() -> None:
    garden = a_metered_garden()
    bench = Bench(garden)
    flow = bench.rig.flow_l_s
    bench.rig.flow_l_s = lambda opened: flow(opened - {"a"})
    bench.run(["a"], 40.0)
    assert bench.findings == [(FlowFinding.NOT_OPENED, ("a",))]


def test_a_still_meter_holds_no_zone_until_it_has_counted_for_another() -> None:
    """A dead meter must not hold the whole garden, zone by zone."""
    bench = Bench(a_metered_garden())
    flow = bench.rig.flow_l_s
    bench.rig.flow_l_s = lambda opened: flow(opened - {"a"})
    bench.run(["a"], 60.0)
    assert [(f.finding, f.action) for f in bench.found] == [(FlowFinding.NOT_OPENED, Action.NOTE)]
    bench.run(["b"], 60.0)
    assert [(f.finding, f.zones, f.action) for f in bench.found[1:]] == [
        (FlowFinding.NOT_OPENED, ("a",), Action.HOLD_ZONE)
    ]


def test_a_meter_that_never_counts_again_holds_nothing() -> None:
    bench = Bench(a_metered_garden())
    bench.rig.dead = True
    for zone in ("a", "b", "a", "b"):
        bench.run([zone], 60.0)
        bench.run([], 30.0)
    assert {f.finding for f in bench.found} == {FlowFinding.NOT_OPENED}
    assert {f.action for f in bench.found} == {Action.NOTE}


def test_a_dead_meter_finds_nothing() -> None:
    bench = Bench(a_metered_garden())
    bench.rig.dead = bench.metering.dead = True
    bench.run(["a"], 120.0)
    bench.run([], 60.0)
    assert bench.findings == []


def test_a_valve_that_stays_open_is_told_once_it_should_be_shut() -> None:
    bench = Bench(a_metered_garden())
    flow = bench.rig.flow_l_s
    bench.run(["a"], 120.0)
    bench.rig.flow_l_s = lambda opened: flow(frozenset("a"))
    bench.run([], STILL_AFTER_S + 20.0)
    assert bench.findings == [(FlowFinding.NOT_CLOSED, ("a",))]
    assert bench.found[0].action is Action.SHUT_MASTER


def test_what_runs_out_just_after_shutting_is_not_a_finding() -> None:
    bench = Bench(a_metered_garden())
    flow = bench.rig.flow_l_s
    bench.run(["a"], 120.0)
    bench.rig.flow_l_s = lambda opened: flow(frozenset("a"))
    bench.run([], STILL_AFTER_S - 1.0)
    bench.rig.flow_l_s = lambda opened: 0.0
    bench.run([], 3 * LEAK_AFTER_S)
    assert bench.findings == []


@pytest.mark.parametrize(
    ("leak_ml_min", "found"), [(0.3, False), (0.6, True), (10.0, True), (2000.0, True)]
)
def test_a_leak_is_found_from_ten_counts_an_hour_on(leak_ml_min: float, found: bool) -> None:
    """Ten counts of 2.5 mL in an hour are 0.42 mL/min. WORKED."""
    bench = Bench(a_metered_garden(), step_s=10.0)
    bench.rig.leak_l_s = leak_ml_min / 60_000.0
    bench.run([], LEAK_STRETCH_S * 2)
    assert bench.findings == ([(FlowFinding.LEAK, ())] if found else [])


def test_a_finding_is_told_once_a_day() -> None:
    garden = a_metered_garden()
    bench = Bench(garden, Lines(plugged(garden, "a", range(1, 10))))
    for _ in range(3):
        bench.run(["a"], 120.0)
        bench.run([], 30.0)
    assert bench.findings == [(FlowFinding.CLOGGED, ("a",))]
    bench.day += timedelta(days=1)
    bench.run(["a"], 120.0)
    bench.run([], 30.0)
    assert bench.findings == [(FlowFinding.CLOGGED, ("a",))] * 2


def test_a_barrel_that_falls_is_not_taken_for_a_clogged_row() -> None:
    garden = a_metered_garden()
    supply: Supply = replace(garden.supply, kind=SupplyKind.BARREL)
    bench = Bench(replace(garden, supply=supply), Lines(plugged(garden, "a", range(1, 10))))
    bench.run(["a"], 120.0)
    bench.run([], 30.0)
    assert bench.findings == []


def test_a_stretch_shorter_than_filling_and_settling_is_not_judged() -> None:
    garden = a_metered_garden()
    bench = Bench(garden, Lines(burst(garden, "a", 0.012)))
    for _ in range(5):
        bench.run(["a"], SETTLES_S + 5.0)
        bench.run([], 5.0)
    assert bench.findings == []


def _season(garden: Garden, dice: Random, *, days: int, step_s: float) -> tuple[Bench, float]:
    """A season of a garden whose pipes are off by their own errors and its meter by its own, both
    for good, and whose tap is unsteady from one opening to the next."""
    truth, far = drawn(garden, dice)
    bench = Bench(garden, truth, step_s=step_s)
    flow, meter_off = true_flow(truth), 1.0 + dice.gauss(0.0, METER_ERROR)
    known = {s: flow(frozenset(s)) for s in ("", "a", "b", "ab")}
    unsteady = [1.0]
    bench.rig.flow_l_s = lambda opened: (
        known["".join(sorted(opened))] * meter_off * unsteady[0] if opened else 0.0
    )
    for _ in range(days):
        for opened in ("a", "b", "ab"):
            unsteady[0] = 1.0 + dice.gauss(0.0, 0.03)
            bench.run(list(opened), 90.0)
            bench.run([], 30.0)
        bench.run([], 60.0)
        bench.day += timedelta(days=1)
    return bench, far


def test_a_season_of_the_bands_own_noise_gives_no_alarm() -> None:
    dice = Random(20310601)
    garden = a_metered_garden(litres_per_pulse=COARSE)
    alarms = [_season(garden, dice, days=5, step_s=5.0)[0].findings for _ in range(20)]
    assert alarms == [[]] * 20


@pytest.mark.slow
def test_long_seasons_of_many_gardens_hardly_ever_give_an_alarm() -> None:
    """Three standard errors leave 3 of 1000 draws outside (the normal distribution), and a garden
    draws its pipes once and its tap at every opening. The figure seen is in docs/watching.md."""
    dice = Random(7)
    garden = a_metered_garden(litres_per_pulse=COARSE)
    alarmed = 0
    for _ in range(200):
        bench, _ = _season(garden, dice, days=100, step_s=10.0)
        alarmed += bool(bench.findings)
    print(f"{alarmed} of 200 gardens had an alarm in a season of 300 waterings")
    assert alarmed <= 4


def test_on_a_hot_evening_the_zone_watered_first_is_not_taken_for_clogged() -> None:
    """35 % less in both zones of a day: told of neither, though zone a is watered before it is
    known how b does; where only a lacks it, it is told once b has run, or the day is over."""
    bench = Bench(a_metered_garden(a_zone("a", 17), a_zone("b", 22)))
    steady, weak = bench.rig.flow_l_s, dict.fromkeys("ab", 1.0)
    bench.rig.flow_l_s = lambda opened: (
        steady(opened) * min((weak[zone] for zone in opened), default=1.0)
    )

    def water(*zones: str) -> list[tuple[FlowFinding, tuple[str, ...]]]:
        bench.found.clear()
        for zone in zones:
            bench.run([zone], 90.0)
            bench.run([], 60.0)
        return bench.findings

    def next_day() -> None:
        bench.day += timedelta(days=1)

    for _ in range(BASE_LEAST):
        assert water("a", "b") == []
        next_day()
    weak.update(a=0.65, b=0.65)
    assert water("a", "b") == [(FlowFinding.MISCOUNTED, ())]  # the tap, or the meter; no zone
    next_day()
    weak.update(a=0.65, b=1.0)
    assert water("a") == []
    assert water("b") == [(FlowFinding.CLOGGED, ("a",))]
    next_day()
    assert water("a") == []
    next_day()
    assert water("b") == [(FlowFinding.CLOGGED, ("a",))]
