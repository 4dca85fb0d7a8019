"""The bounds of the flow watch and its texts, each just at the figure it names."""

from __future__ import annotations

import pytest
from support.clock import HandClock

from controller.daemon.flow.rules import (
    ComputedFlow,
    MeteredStretch,
    Metering,
    find_while_open,
    find_while_shut,
    flow_while_open,
    found_words,
    is_enough,
    passing_l,
    passing_words,
    unknown_words,
)
from controller.garden.model import FlowFinding

PULSE_L = 0.0625  # a binary fraction, so that counts times it are exact
SURE = ComputedFlow(flow_l_s=0.5, error=0.0)


def seen(litres: float, seconds: float = 100.0, **more: float) -> MeteredStretch:
    return MeteredStretch(litres=litres, seconds=seconds, litres_per_pulse=PULSE_L, **more)  # type: ignore[arg-type]


def test_a_stretch_is_judged_from_ten_seconds_on() -> None:
    assert find_while_open(seen(50.0, 10.0), SURE) is FlowFinding.BURST
    assert find_while_open(seen(50.0, 9.99), SURE) is None
    assert is_enough(seen(5.0, 10.0), SURE) and not is_enough(seen(5.0, 9.99), SURE)


def test_what_just_passes_is_no_finding() -> None:
    least, most = passing_l(SURE, 100.0, PULSE_L)
    assert find_while_open(seen(most), SURE) is None
    assert find_while_open(seen(most + 1e-9), SURE) is FlowFinding.BURST
    assert find_while_open(seen(least), SURE) is None
    assert find_while_open(seen(least - 1e-9), SURE) is FlowFinding.CLOGGED


def test_a_tenth_of_what_is_due_is_next_to_nothing() -> None:
    assert find_while_open(seen(5.0), SURE) is FlowFinding.NOT_OPENED
    assert find_while_open(seen(5.001), SURE) is FlowFinding.CLOGGED


def test_twenty_pulses_can_be_judged_and_fewer_not() -> None:
    # WORKED: 20 pulses of 1/16 L are 1.25 L; of 0.0125 L/s due in 100 s, of a burst counted.
    assert (
        find_while_open(seen(0.0), ComputedFlow(flow_l_s=0.0125, error=0.0))
        is FlowFinding.NOT_OPENED
    )
    assert find_while_open(seen(0.0), ComputedFlow(flow_l_s=0.01249, error=0.0)) is None
    little = ComputedFlow(flow_l_s=0.001, error=0.0)
    assert find_while_open(seen(1.25), little) is FlowFinding.BURST
    assert find_while_open(seen(1.1875), little) is None
    assert is_enough(seen(9.0), ComputedFlow(flow_l_s=0.0125, error=0.0))
    assert not is_enough(seen(9.0), ComputedFlow(flow_l_s=0.01249, error=0.0))


def test_where_the_meter_may_stand_still_too_little_is_not_looked_for() -> None:
    least, _ = passing_l(SURE, 100.0, PULSE_L)
    assert find_while_open(seen(1.0, starts_at_l_s=least / 100.0), SURE) is None
    assert (
        find_while_open(seen(1.0, starts_at_l_s=least / 100.0 - 1e-6), SURE)
        is FlowFinding.NOT_OPENED
    )


def test_ten_pulses_while_all_is_shut_are_said_and_nine_not() -> None:
    assert find_while_shut(seen(10 * PULSE_L), None, soon=False) is FlowFinding.LEAK
    assert find_while_shut(seen(9 * PULSE_L), None, soon=False) is None
    assert find_while_shut(seen(10 * PULSE_L, 0.0), None, soon=False) is None


def test_soon_after_shutting_a_tenth_of_what_ran_is_a_valve_that_stays_open() -> None:
    # WORKED: 10 L in 100 s are 0.1 L/s, a tenth of 1 L/s.
    assert find_while_shut(seen(10.0), 1.0, soon=True) is FlowFinding.NOT_CLOSED
    assert find_while_shut(seen(10.0), 1.001, soon=True) is None
    assert find_while_shut(seen(10.0), None, soon=True) is None


def test_what_goes_on_is_held_against_what_was_seen_where_that_counts() -> None:
    least, _ = passing_l(SURE, 100.0, PULSE_L)
    assert flow_while_open(seen(least), SURE) == least / 100.0
    assert flow_while_open(seen(least - 0.01), SURE) == 0.5
    assert flow_while_open(seen(60.0), SURE) == 0.5
    assert flow_while_open(seen(45.0, 9.9), SURE) == 0.5
    unknown = ComputedFlow(flow_l_s=0.5, error=0.8)
    assert flow_while_open(seen(1.25), unknown) == 0.0125
    assert flow_while_open(seen(1.1875), unknown) is None


@pytest.mark.parametrize(
    ("finding", "before_l_s", "words"),
    [
        (FlowFinding.LEAK, None, "all is shut, and yet 6.00 L/min by the meter over 2:00 min"),
        (FlowFinding.NOT_CLOSED, None, "shut, and yet 6.00 L/min by the meter over 2:00 min"),
        (
            FlowFinding.NOT_CLOSED,
            0.5,
            "shut, and yet 6.00 L/min by the meter over 2:00 min (30.00 L/min while it was open)",
        ),
        (
            FlowFinding.NOT_OPENED,
            None,
            "next to nothing: 6.00 L/min by the meter over 2:00 min, 30.00 L/min computed "
            "(23.94 L/min to 36.06 L/min would pass)",
        ),
    ],
)
def test_a_finding_says_its_figures(
    finding: FlowFinding, before_l_s: float | None, words: str
) -> None:
    # WORKED: 12 L in 120 s; 0.8 and 1.2 times 30 L/min, less and more 0.125 L in 120 s.
    computed = SURE if finding is FlowFinding.NOT_OPENED else None
    assert found_words(finding, seen(12.0, 120.0), computed, before_l_s, us=False) == words


def test_what_is_no_water_and_what_is_not_known_say_so() -> None:
    said = found_words(FlowFinding.MISCOUNTED, seen(10.0), None, us=False)
    assert said.endswith("no tap gives so much: it is not water that is counted")
    unknown = unknown_words(["b", "a"], SURE, us=True)
    # WORKED: 0.5 L/s are 30 / 3.785 US gallons a minute.
    assert unknown.startswith("the flow of a, b is not known well enough to compare (7.93 gal/min")
    assert passing_words(SURE, 100.0, PULSE_L, us=True) == "6.32 gal/min to 9.53 gal/min"


# ---- the meter's counts ----------------------------------------------------------------------


class Counts:
    """A meter whose count the test sets."""

    def __init__(self) -> None:
        self.clock, self.count = HandClock(), 0
        self.metering = Metering(self.clock, 0.5, lambda: self.count)

    def later(self, seconds: float, count: int) -> None:
        self.clock.advance(seconds)
        self.count = count
        self.metering.sample()


def test_two_looks_in_one_instant_are_one_with_the_later_count() -> None:
    counts = Counts()  # at 1000 s
    counts.later(10.0, 100)
    counts.later(0.0, 120)
    counts.later(10.0, 140)
    assert counts.metering.litres_between(1000.0, 1010.0) == 60.0
    assert counts.metering.litres_between(1010.0, 1020.0) == 10.0


def test_one_count_brings_a_dead_meter_back_and_it_is_said_once() -> None:
    metering = Counts().metering

    def watered(zone: str, metered_l: float = 0.0, timed_l: float = 10.0) -> bool:
        return metering.watered(zone, metered_l=metered_l, timed_l=timed_l, zones=2)

    assert not watered("a") and not watered("b") and not metering.dead
    assert watered("a") and metering.dead  # three in a row, of two zones
    assert not watered("b") and metering.dead
    assert watered("a", metered_l=0.5) and not metering.dead
    # It takes three anew.
    assert not watered("a") and not watered("b") and watered("a")


def test_just_twenty_counts_that_should_have_come_say_something_of_the_meter() -> None:
    # WORKED: 20 counts of 0.5 L are 10 L.
    for timed_l, dead in ((10.0, True), (9.99, False)):
        metering = Counts().metering
        for zone in ("a", "b", "a"):
            metering.watered(zone, metered_l=0.0, timed_l=timed_l, zones=2)
        assert metering.dead is dead


def test_a_meter_found_dead_stays_so_until_it_counts() -> None:
    metering = Counts().metering
    for zone in ("a", "b", "a"):
        metering.watered(zone, metered_l=0.0, timed_l=10.0, zones=2)
    for _ in range(60):  # of one zone alone, longer than is remembered
        assert not metering.watered("a", metered_l=0.0, timed_l=10.0, zones=2)
    assert metering.dead


def test_a_count_that_went_back_is_no_water() -> None:
    counts = Counts()
    counts.later(10.0, 100)
    counts.later(10.0, 40)
    assert counts.metering.litres_between(1010.0, 1020.0) == 0.0
