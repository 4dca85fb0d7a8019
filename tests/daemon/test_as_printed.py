"""A hand valve beside the daemon: its waterings count as printed, until somebody notes another."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from pytest import approx
from support.daemon import MORNING, World
from support.gardens import a_garden, a_row, a_zone

from controller.garden.model import HandWater
from controller.logbook.queries import Questions
from controller.logbook.records import PulseState
from controller.paper.report import report_text

pytestmark = pytest.mark.usefixtures("seldom_looks")

FIRST = date(2031, 6, 1)
ZONE_INFO = ZoneInfo("Europe/Zurich")
END = datetime(2031, 6, 5, 10, 0, tzinfo=UTC)


def a_world(folder: Path, hand_water: HandWater = HandWater.AS_PRINTED) -> World:
    hand = a_zone("hedge", None, rows=(a_row(6.0),))
    rules = replace(MORNING, hand_water=hand_water)
    return World(folder, a_garden(a_zone("leeks", 17), hand, watering=rules))


@pytest.fixture(scope="module")
def printed(tmp_path_factory: pytest.TempPathFactory) -> World:
    """Four days and a morning in which nobody notes what the hand valve gave."""
    world = a_world(tmp_path_factory.mktemp("printed"))
    world.run_until(END)
    return world


def test_what_nobody_noted_is_taken_as_done_and_is_in_no_sum(printed: World) -> None:
    rows = [r for r in printed.pulses() if r.zone == "hedge" and r.day < date(2031, 6, 5)]
    assert rows and {r.state for r in rows} == {PulseState.ASSUMED}
    assert {r.litres for r in rows} == {None}
    assert not any(zone == "hedge" for zone, _ in printed.litres())
    garden = printed.engine.garden
    with Questions(printed.logbook.path) as ask:
        sums = ask.sums("zone", FIRST, date(2031, 6, 4), garden)
    planned = math.fsum(r.planned_litres or 0.0 for r in rows)
    assert sums.total.assumed_litres == approx(planned)
    assert sums.total.assumed_waterings == len({(r.zone, r.day) for r in rows})
    assert next(row for row in sums.rows if row.name == "hedge").litres == 0.0
    text = " ".join(
        report_text(sums, garden, by="zone", first=FIRST, last=date(2031, 6, 4)).split()
    )
    assert "assumed as printed, " in text and "in no sum" in text


def test_the_ledger_credits_it_and_says_so(printed: World) -> None:
    ground_m2 = printed.engine.garden.zone("hedge").ground_m2
    rows = {r.day: r for r in printed.pulses() if r.zone == "hedge" and r.slot == 1}
    kept = {r.day: r for r in printed.ledger() if r.zone == "hedge"}
    for day, row in rows.items():
        if row.state is PulseState.ASSUMED:
            litres = math.fsum(
                r.planned_litres or 0.0
                for r in printed.pulses()
                if (r.zone, r.day) == ("hedge", day)
            )
            assert kept[day].water_from == "assumed"
            assert kept[day].watered_mm == approx(litres / ground_m2)
    assert {r.water_from for r in printed.ledger() if r.zone == "leeks"} <= {"recorded", ""}


def test_the_logbook_knows_on_which_days_a_daemon_ran(printed: World) -> None:
    with Questions(printed.logbook.path) as ask:
        record = ask.record(ZONE_INFO)
    assert {FIRST + timedelta(days=n) for n in range(5)} <= set(record.watched)
    assert record.gaps(date(2031, 6, 5)) == []


def test_what_a_pulse_credits_is_logged_with_it(printed: World) -> None:
    rows = [r for r in printed.pulses() if r.zone == "leeks" and r.state is PulseState.CLOSED]
    assert rows
    for row in rows:
        assert row.uniformity is not None and 0.6 <= row.uniformity <= 1.0
        assert row.line_litres is not None and row.line_litres > 0.0
    with Questions(printed.logbook.path) as ask:
        stored = ask.stored_by_zone_day()
    for day in {r.day for r in rows}:
        # WORKED: (litres - line) x uniformity, pulse by pulse.
        mine = [max(r.litres - r.line_litres, 0.0) * r.uniformity for r in rows if r.day == day]
        assert stored["leeks", day] == approx(math.fsum(mine))


def test_a_note_made_days_later_takes_its_place(tmp_path: Path) -> None:
    world = a_world(tmp_path)
    world.run_until(END)
    (day, *_) = sorted({r.day for r in world.pulses() if r.state is PulseState.ASSUMED})
    before = [r for r in world.pulses() if (r.zone, r.day) == ("hedge", day)]
    was = next(r for r in world.ledger() if (r.zone, r.day) == ("hedge", day))
    number = world.logbook.hand_watering(
        "hedge", day, litres=1.0, minutes=None, who="Odile", at=world.clock.now_utc()
    )
    with Questions(world.logbook.path) as ask:
        assert ask.noted_on(ZONE_INFO) == {("hedge", day): END.date()}
    after = [r for r in world.pulses() if (r.zone, r.day) == ("hedge", day)]
    # The note has a row of its own; what was printed stays on record.
    assert len(after) == len(before) + 1
    assert sum(r.state is PulseState.CLOSED for r in after) == 1
    world.run_until(END + timedelta(days=1))
    row = next(r for r in world.ledger() if (r.zone, r.day) == ("hedge", day))
    assert row.water_from == "recorded"
    assert row.watered_mm == approx(1.0 / world.engine.garden.zone("hedge").ground_m2)
    # Withdrawn, it counts no more, and what was printed counts again.
    world.logbook.withdraw(number)
    world.run_until(END + timedelta(days=2))
    row = next(r for r in world.ledger() if (r.zone, r.day) == ("hedge", day))
    assert (row.water_from, row.watered_mm) == (was.water_from, approx(was.watered_mm))
    assert row.water_from == "assumed"


def test_where_keepers_confirm_only_what_was_noted_counts(tmp_path: Path) -> None:
    world = a_world(tmp_path, HandWater.AS_CONFIRMED)
    world.run_until(END)
    rows = [r for r in world.pulses() if r.zone == "hedge" and r.day < date(2031, 6, 5)]
    assert rows and {r.state for r in rows} == {PulseState.MISSED}
    assert not any(r.watered_mm for r in world.ledger() if r.zone == "hedge")
