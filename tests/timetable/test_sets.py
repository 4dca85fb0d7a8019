"""Sets that would leave a diaphragm valve without the pressure to shut are not planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import combinations
from math import pi

import pytest
from support.gardens import a_garden, a_row, a_zone, even_days
from support.given import NOTHING_GIVEN

from controller.garden.model import Garden, Watering, Zone
from controller.garden.plumbing import Opening
from controller.hydraulics.network.garden_lines import Lines
from controller.timetable.plan import Grounds, Installation, NetworkFlows, Span, plan_garden
from controller.timetable.records import Pulse, Timetable
from controller.units import GRAVITY_M_S2, head_m_from_psi, m3_s_from_l_min
from controller.wording.say import say
from crops.catalogue import load

FIRST = date(2031, 7, 1)
SLOW = Opening(alone_flow_m3_s=m3_s_from_l_min(4.0))


def wants(zone: Zone, psi: float) -> Zone:
    """The zone with a valve that asks for so much before it to shut."""
    return replace(zone, valve=replace(zone.valve, least_closing_head_m=head_m_from_psi(psi)))


def beds(*, psi: float) -> Garden:
    """Two throttled rows whose valves need pressure, and one with all its flow."""
    return a_garden(
        wants(a_zone("ash", relay=4, opening=SLOW), psi),
        wants(a_zone("birch", relay=5, opening=SLOW, main_run_m=12.0), psi),
        a_zone("corn", relay=6, rows=(a_row(14), a_row(14)), main_run_m=20.0),
        watering=Watering(windows=a_garden().watering.windows, least_share=0.05),
    )


def planned(garden: Garden, lines: Lines) -> Timetable:
    days = even_days(FIRST - timedelta(days=9), FIRST + timedelta(days=3), eto_mm=7.0)
    grounds = Grounds(garden, load())
    return plan_garden(
        Installation(garden, grounds, lines), days, Span(first=FIRST, count=3), given=NOTHING_GIVEN
    )


def together(pulses: tuple[Pulse, ...]) -> set[frozenset[str]]:
    """Every pair that is open at once."""
    return {
        frozenset((a.zone, b.zone))
        for a, b in combinations(pulses, 2)
        if a.opens_utc < b.closes_utc and b.opens_utc < a.closes_utc
    }


def head_before_m(lines: Lines, garden: Garden, opened: frozenset[str]) -> Mapping[str, float]:
    """From the whole tree: the head behind each valve and what the valve loses, over the outlet."""
    found = {}
    for name, flow in lines.open_set(opened).zones.items():
        zone = garden.zone(name)
        bore_m, k = zone.rows[0].pipe.bore_m, lines.valve_loss_k(name)
        lost_m = 8.0 * k * flow.flow_m3_s**2 / (pi**2 * GRAVITY_M_S2 * bore_m**4)
        found[name] = flow.valve_head_m + lost_m - zone.rise_m
    return found


def test_a_zone_does_not_join_where_a_valve_could_then_not_shut() -> None:
    # What stands before "ash" alone, beside its like, and beside the thirsty one, by the tree.
    garden = beds(psi=1.0)
    lines = Lines(garden)
    pair, thirsty = frozenset(("ash", "birch")), frozenset(("ash", "corn"))
    has_pair = head_before_m(lines, garden, pair)["ash"]
    has_thirsty = head_before_m(lines, garden, thirsty)["ash"]
    assert has_thirsty < head_m_from_psi(20.0) < has_pair
    free = together(planned(garden, lines).pulses)
    assert {pair, thirsty} <= free
    asked = beds(psi=20.0)
    kept = planned(asked, Lines(asked))
    assert together(kept.pulses) == {pair}
    assert {p.zone for p in kept.pulses} == {"ash", "birch", "corn"}


def test_the_refused_sets_are_those_the_whole_tree_finds() -> None:
    for psi in (5.0, 20.0, 40.0, 45.0):
        garden = beds(psi=psi)
        lines = Lines(garden)
        flows = NetworkFlows(lines)
        for count in (1, 2, 3):
            for names in combinations(("ash", "birch", "corn"), count):
                opened = frozenset(names)
                heads = head_before_m(lines, garden, opened)
                short = {n for n in opened - {"corn"} if heads[n] < head_m_from_psi(psi)}
                found = flows.stays_open(opened)
                assert (found is not None) == bool(short), (psi, names)
                if found is not None:
                    words = say(found, us=False)
                    assert any(f'"{name}"' in words for name in short)


def test_a_zone_that_could_not_be_shut_even_alone_is_not_opened_and_says_why() -> None:
    open_wide = wants(a_zone("elm", rows=(a_row(20), a_row(20), a_row(20))), 25.0)
    garden = a_garden(open_wide, a_zone("fir", relay=18, opening=SLOW))
    found = planned(garden, Lines(garden))
    assert {p.zone for p in found.pulses} == {"fir"}
    reasons = {say(n.reason, us=False) for n in found.not_fitted if n.zone == "elm"}
    (reason,) = reasons
    assert reason.startswith('even alone, the valve of "elm" needs 172.4 kPa before it to shut')


def test_hand_valves_shut_at_any_pressure() -> None:
    by_hand = a_zone("elm", relay=None, rows=(a_row(20), a_row(20), a_row(20)))
    garden = a_garden(wants(by_hand, 45.0))
    assert NetworkFlows(Lines(garden)).stays_open(frozenset(("elm",))) is None


def test_a_set_is_asked_once_and_not_at_all_where_no_valve_wants_pressure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[frozenset[str]] = []

    class Counting(Lines):
        def zone_flows(self, zones: frozenset[str]) -> Mapping[str, float]:
            asked.append(zones)
            return super().zone_flows(zones)

    pair = frozenset(("ash", "corn"))
    flows = NetworkFlows(Counting(beds(psi=20.0)))
    first = flows.stays_open(pair)
    before = len(asked)
    assert before > 0
    assert flows.stays_open(pair) == first
    assert len(asked) == before
    free = NetworkFlows(Counting(beds(psi=0.0)))
    assert free.stays_open(pair) is None
    assert len(asked) == before
