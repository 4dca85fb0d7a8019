"""How sure the whole flow at the tap is: the slopes' figure against gardens drawn at random."""

from __future__ import annotations

from math import log
from random import Random
from statistics import stdev

import pytest
from pytest import approx
from support.metered import a_metered_garden, drawn, true_flow

from controller.hydraulics.calibration.fit import fit
from controller.hydraulics.calibration.uncertainty import FlowErrors
from controller.hydraulics.network.garden_lines import Lines

GARDEN = a_metered_garden()
FITTED = fit(GARDEN, [])


@pytest.mark.slow
@pytest.mark.parametrize("zones", ["a", "b", "ab"])
def test_the_spread_of_drawn_gardens_is_the_error_said(zones: str) -> None:
    """Monte Carlo over the same errors; 300 draws know their spread to about 4 %."""
    dice, opened = Random(1), frozenset(zones)
    right = true_flow(Lines(GARDEN))(opened)
    spread = stdev(log(true_flow(drawn(GARDEN, dice)[0])(opened) / right) for _ in range(300))
    assert FlowErrors(GARDEN, FITTED).total(opened) == approx(spread, rel=0.12)


def test_one_zone_alone_is_as_sure_as_the_whole() -> None:
    alone = frozenset("a")
    whole = FlowErrors(GARDEN, FITTED).total(alone)
    assert whole == approx(FlowErrors(GARDEN, FITTED).of_zones(alone)["a"], rel=1e-6)


def test_the_whole_is_surer_than_its_parts() -> None:
    both = frozenset("ab")
    parts = FlowErrors(GARDEN, FITTED).of_zones(both)
    assert FlowErrors(GARDEN, FITTED).total(both) < min(parts.values())
