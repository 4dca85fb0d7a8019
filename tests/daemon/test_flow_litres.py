"""Litres by time over the really open set."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st
from pytest import approx

from controller.daemon.flow.litres import OpenSpan, OpenSpans, litres_of, metered_of


def shared_l_s(zone: str, together: frozenset[str]) -> float:
    """A supply of 6 L/s that open zones share alike."""
    assert zone in together
    return 6.0 / len(together)


def span(zone: str, begins: float, ends: float) -> OpenSpan:
    return OpenSpan(zone=zone, from_mono_s=begins, to_mono_s=ends)


def test_alone_it_is_flow_times_time() -> None:
    # WORKED: 6 L/s for 10 s
    assert litres_of(span("a", 0, 10), [], shared_l_s) == approx(60.0, abs=1e-9)


def test_a_zone_joined_halfway_gets_less_from_then_on() -> None:
    # WORKED: 6 L/s for 4 s, 3 L/s for 3 s, 2 L/s for 1 s, 3 L/s for 2 s = 24 + 9 + 2 + 6
    others = [span("b", 4, 8), span("c", 7, 30)]
    assert litres_of(span("a", 0, 10), others, shared_l_s) == approx(41.0, abs=1e-9)


def test_openings_that_only_touch_change_nothing() -> None:
    others = [span("b", -5, 0), span("c", 10, 20)]
    # WORKED: 6 L/s for 10 s.
    assert litres_of(span("a", 0, 10), others, shared_l_s) == approx(60.0, abs=1e-9)


@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(0.1, 50)), min_size=1, max_size=5).map(
        lambda pairs: [span(f"z{i}", b, b + n) for i, (b, n) in enumerate(pairs)]
    )
)
def test_all_litres_together_are_what_the_supply_gave(spans: list[OpenSpan]) -> None:
    given_l = sum(litres_of(s, [o for o in spans if o is not s], shared_l_s) for s in spans)
    edges = sorted({e for s in spans for e in (s.from_mono_s, s.to_mono_s)})
    busy_s = sum(
        b - a
        for a, b in itertools.pairwise(edges)
        if any(s.from_mono_s <= a and s.to_mono_s >= b for s in spans)
    )
    assert given_l == approx(6.0 * busy_s, rel=1e-9)


def test_spans_kept_as_they_happen_give_the_same_as_known_afterwards() -> None:
    spans = OpenSpans()
    spans.opened("a", 0.0)
    spans.opened("b", 4.0)
    first = spans.closed("b", 8.0, shared_l_s)
    # WORKED: 6 L/s for 4 s, 3 L/s for 4 s beside the other, which gets as much, 6 L/s for 2 s.
    assert spans.so_far("a", 10.0, shared_l_s) == approx(24 + 12 + 12, abs=1e-9)
    second = spans.closed("a", 10.0, shared_l_s)
    assert (first, second) == (approx(12.0, abs=1e-9), approx(48.0, abs=1e-9))
    assert spans.since("a") is None


def test_the_meters_litres_are_shared_by_the_computed_flows() -> None:
    # WORKED: 60 L over 10 s; alone for 4 s (24 L), then a third of 36 L beside twice its flow.
    flows = {"a": 1.0, "b": 2.0}
    found = metered_of(
        span("a", 0, 10),
        [span("b", 4, 20)],
        lambda zone, together: flows[zone],
        lambda begins, ends: 6.0 * (ends - begins),
    )
    assert found == approx(24.0 + 12.0, abs=1e-9)


def test_where_nothing_should_flow_the_meters_litres_are_shared_evenly() -> None:
    # WORKED: 60 L over 10 s, the first 4 s alone: 24 L, and half of the other 36 L.
    found = metered_of(
        span("a", 0, 10),
        [span("b", 4, 20)],
        lambda zone, together: 0.0,
        lambda begins, ends: 6.0 * (ends - begins),
    )
    assert found == approx(24.0 + 18.0, abs=1e-9)


def test_what_counts_of_an_opening_may_end_before_it_is_over() -> None:
    # WORKED: 6 L/s from 10 s to 14 s, told at 20 s; then it does not end after all.
    spans = OpenSpans()
    spans.opened("a", 10.0)
    spans.closing("a", 14.0)
    assert spans.so_far("a", 12.0, shared_l_s) == approx(12.0)
    assert spans.so_far("a", 20.0, shared_l_s) == approx(24.0)
    spans.closing("a", None)
    assert spans.so_far("a", 20.0, shared_l_s) == approx(60.0)
    assert spans.closed("a", 20.0, shared_l_s) == approx(60.0)


def test_the_end_of_one_opening_says_nothing_of_the_next() -> None:
    spans = OpenSpans()
    spans.opened("a", 10.0)
    spans.closing("a", 14.0)
    spans.closed("a", 14.0, shared_l_s)
    spans.opened("a", 20.0)
    # WORKED: 6 L/s for 5 s.
    assert spans.so_far("a", 25.0, shared_l_s) == approx(30.0)


def test_an_opening_that_lies_ahead_has_given_nothing() -> None:
    spans = OpenSpans()
    spans.opened("a", 10.0)
    assert spans.so_far("a", 8.0, shared_l_s) == 0.0


def test_what_is_shut_is_looked_back_on_while_anything_is_open() -> None:
    spans = OpenSpans()
    assert spans.earliest_mono_s is None
    spans.opened("a", 0.0)
    spans.opened("b", 5.0)
    assert (spans.earliest_mono_s, spans.since("a"), spans.since("b")) == (0.0, 0.0, 5.0)
    spans.closed("a", 10.0, shared_l_s)
    assert (spans.earliest_mono_s, spans.since("a")) == (0.0, None)
    # WORKED: b beside a from 5 to 10 s at 3 L/s, then alone at 6 L/s.
    assert spans.closed("b", 12.0, shared_l_s) == approx(15.0 + 12.0)
    assert spans.earliest_mono_s is None
    spans.opened("b", 6.0)  # nothing is left of what ran before all was shut
    assert spans.so_far("b", 8.0, shared_l_s) == approx(12.0)


def test_the_zones_that_ran_with_an_opening_are_those_open_at_any_moment_of_it() -> None:
    spans = OpenSpans()
    spans.opened("a", 0.0)
    spans.opened("b", 2.0)
    spans.closed("b", 4.0, shared_l_s)
    spans.opened("c", 9.0)
    assert spans.together("a", 3.0) == {"a", "b"}
    assert spans.together("a", 8.0) == {"a", "b"}
    assert spans.together("a", 10.0) == {"a", "b", "c"}
    assert spans.together("c", 10.0) == {"a", "c"}


def test_the_meters_litres_of_an_opening_under_way_are_its_share_up_to_now() -> None:
    spans = OpenSpans()
    spans.opened("a", 0.0)
    spans.opened("b", 5.0)
    found = spans.metered("a", 10.0, shared_l_s, lambda begins, ends: 2.0 * (ends - begins))
    assert found == approx(10.0 + 5.0)
