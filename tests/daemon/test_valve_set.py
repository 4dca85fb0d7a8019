"""The lines that the stop step is given."""

from __future__ import annotations

import json
from pathlib import Path

from support.clock import HandClock
from support.daemon import World
from support.pins import RecordingPins

from controller.daemon.valve_set import LINE_FILE


class OnChipFour(RecordingPins):
    """Pins of a board whose header is not on the first chip."""

    chip = 4


def test_the_stop_step_is_told_the_chip_that_was_opened(tmp_path: Path) -> None:
    clock = HandClock()
    World(tmp_path, clock=clock, pins=OnChipFour(clock))
    told = json.loads((tmp_path / LINE_FILE).read_text(encoding="utf-8"))
    assert told["chip"] == 4


def test_where_the_pins_do_not_tell_the_garden_file_does(tmp_path: Path) -> None:
    World(tmp_path)
    told = json.loads((tmp_path / LINE_FILE).read_text(encoding="utf-8"))
    assert told["chip"] is None
