"""What people see of plants, in their own words."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from support.plots import SPRING, planted
from support.said import said

from controller.demand.plants.observations import EVENTS, allotted, events_of
from controller.demand.records import Observation
from controller.errors import InputError
from crops.catalogue import load


def noted(event: Any, number: int, *, crop: str = "") -> Observation:
    return Observation(
        zone="invented plot", day=SPRING + timedelta(days=number), event=event, crop=crop
    )


@pytest.mark.parametrize(
    ("words", "event"),
    [
        ("emerged", "up"),
        ("Emerged ", "up"),
        ("ten percent cover", "spreading"),
        ("10 % cover", "spreading"),
        ("full cover", "full"),
        ("First flower", "full"),
        ("first-flower", "full"),
        ("tops falling", "tops fallen"),
        ("first yellow leaves", "ripening"),
        ("yellow lower leaves", "ripening"),
        ("first ripe", "first ripe"),
        ("ripe", "first ripe"),
        ("First picked", "first ripe"),
        ("last picked", "last picking"),
        ("lifted", "gone"),
        ("pulled", "gone"),
    ],
)
def test_a_gardeners_words_are_understood(words: str, event: str) -> None:
    assert events_of(words) == (event,)


@pytest.mark.parametrize("words", ["harvested", "Harvest", "picked"])
def test_what_was_harvested_may_stand_for_weeks_so_a_person_says_what_was_meant(words: str) -> None:
    assert events_of(words) == ("first ripe", "last picking", "gone")
    assert events_of(words, load().crop("strawberry")) == ("first ripe", "last picking")


def test_only_words_that_mean_gone_can_end_a_perennial() -> None:
    strawberry = load().crop("strawberry")
    for words in ("finished", "cut down", "harvested", "picked", "ripe", "over"):
        assert "gone" not in events_of(words, strawberry)
    assert events_of("dug up", strawberry) == ("gone",)


def test_ripe_onions_show_one_of_two_signs() -> None:
    for crop in ("onion dry", "garlic", "potato"):
        assert events_of("ripe", load().crop(crop)) == ("ripening", "tops fallen")
    assert events_of("ripe", load().crop("tomato")) == ("first ripe",)


def test_each_event_is_known_by_its_own_name_and_meaning() -> None:
    assert list(EVENTS) == [
        *("up", "spreading", "full", "first ripe", "ripening", "last picking", "tops fallen"),
        "gone",
    ]
    for event, meaning in EVENTS.items():
        assert events_of(event) == events_of(meaning) == (event,)


@pytest.mark.parametrize("words", ["", "slugs", "up up"])
def test_other_words_are_refused_with_what_is_allowed(words: str) -> None:
    with pytest.raises(InputError) as refused:
        events_of(words)
    assert all(f'"{event}"' in str(refused.value) for event in EVENTS)


def test_an_observation_goes_to_the_planting_that_stands_there() -> None:
    early, late = planted("lettuce", 0, 60), planted("lettuce", 80, 60)
    seen = [noted("full", 40), noted("full", 120)]
    assert allotted([early, late], seen) == (((seen[0],), (seen[1],)), ())


def test_a_named_crop_keeps_an_observation_from_its_neighbour() -> None:
    rows = [planted("Winter squash", 0, 90), planted("pea", 0, 90)]
    seen = [noted("full", 40, crop="winter-squash"), noted("spreading", 20)]
    of_each, remarks = allotted(rows, seen)
    assert of_each == (tuple(seen), (seen[1],))
    assert not remarks


def test_what_stands_nowhere_is_told() -> None:
    _, remarks = allotted([planted("pea", 0, 30)], [noted("up", 5, crop="leek"), noted("up", 40)])
    assert said(remarks) == (
        '"up" noted for 2031-04-06 does not count: no leek grows there on that day',
        '"up" noted for 2031-05-11 does not count: nothing grows there on that day',
    )
