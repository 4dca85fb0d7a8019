"""What an unfinished pulse gave, by its row and the stop step's file alone."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from pytest import approx

from controller.daemon.recovery import MARGIN_S, Recovered, ShutAt, recover, shut_at
from controller.garden.plumbing import ValveKind
from controller.logbook.records import PulseRow, PulseState
from controller.valves.alloff import SHUT_AT

FLOW_L_S = {"a": 0.05, "b": 0.1}
BEAT, STEP = (
    "the daemon died; counted to its last heartbeat",
    "the daemon died; shut by the stop step",
)


def a_row(row_id: int = 1, **more: Any) -> PulseRow:
    """Opened at 100 s of boot "now" for 60 s; its last heartbeat after 20 s, 1 L by then."""
    plain: dict[str, Any] = dict.fromkeys(PulseRow.__slots__) | {
        "id": row_id,
        "key": f"a|2031-06-01|{row_id}",
        "zone": "a",
        "day": date(2031, 6, 1),
        "slot": row_id,
        "valve": ValveKind.RELAY,
        "relay_line": 17,
        "together": (),
        "state": PulseState.OPEN,
        "planned_open_s": 60.0,
        "opened_utc": datetime(2031, 6, 1, 4, 0, tzinfo=UTC),
        "opened_mono_s": 100.0,
        "boot_id": "now",
        "beat_open_s": 20.0,
        "beat_litres": 1.0,
        "why": "",
        "who": "",
    }
    return PulseRow(**(plain | more))


def stopped(mono_s: float, **more: Any) -> ShutAt:
    plain: dict[str, Any] = {"mono_s": mono_s, "boot_id": "now", "lines": frozenset({17, 22})}
    return ShutAt(**(plain | more))


def judged(
    *rows: PulseRow, stop: ShutAt | None = None, boot_id: str = "now", **more: Any
) -> list[Recovered]:
    return recover(
        rows,
        boot_id=boot_id,
        stopped=stop,
        flow_l_s=lambda zone, together: FLOW_L_S[zone] / len(together),
        **more,
    )


@pytest.mark.parametrize(
    ("row", "stop", "open_s", "litres", "why"),
    [
        # WORKED: to the heartbeat; to the stop step at 35 s, 15 s more at 0.05 L/s; at most the
        # 60 s planned and the margin of 5 s, 45 s more.
        (a_row(), None, 20.0, 1.0, BEAT),
        (a_row(), stopped(135.0), 35.0, 1.75, STEP),
        (a_row(), stopped(500.0), 65.0, 3.25, STEP),
        # As late as the heartbeat, or before it: the heartbeat says as much.
        (a_row(), stopped(120.0), 20.0, 1.0, BEAT),
        (a_row(), stopped(110.0), 20.0, 1.0, BEAT),
        (a_row(), stopped(135.0, lines=frozenset({22})), 20.0, 1.0, BEAT),
        (a_row(), stopped(135.0, boot_id="before"), 20.0, 1.0, BEAT),
        (a_row(boot_id="before"), stopped(135.0), 20.0, 1.0, BEAT),
        (a_row(boot_id="before"), stopped(135.0, boot_id="before"), 20.0, 1.0, BEAT),
        # No heartbeat yet.
        (a_row(beat_open_s=None, beat_litres=None), None, 0.0, 0.0, BEAT),
        (a_row(beat_open_s=None, beat_litres=None), stopped(112.0), 12.0, 0.6, STEP),
        # A heartbeat past its plan is counted to the plan and the margin; one without a plan as
        # far as it goes.
        (a_row(beat_open_s=80.0, beat_litres=4.0), None, 65.0, 4.0, BEAT),
        (a_row(planned_open_s=None), None, 20.0, 1.0, BEAT),
        (a_row(planned_open_s=None), stopped(135.0), 25.0, 1.25, STEP),
    ],
)
def test_what_one_pulse_gave(
    row: PulseRow, stop: ShutAt | None, open_s: float, litres: float, why: str
) -> None:
    assert MARGIN_S == 5.0
    (found,) = judged(row, stop=stop)
    assert (found.refused, found.why) == (False, why)
    assert (found.open_s, found.litres) == (approx(open_s), approx(litres))


def test_two_boots_that_nobody_can_tell_apart_are_not_taken_for_one() -> None:
    row = a_row(boot_id="unknown")
    (found,) = judged(row, stop=stopped(135.0, boot_id="unknown"), boot_id="unknown")
    assert (found.open_s, found.why) == (20.0, BEAT)


@pytest.mark.parametrize(
    "row", [a_row(state=PulseState.INTENDED), a_row(opened_mono_s=None)], ids=["meant", "no moment"]
)
def test_what_shows_no_sign_of_having_opened_gave_nothing(row: PulseRow) -> None:
    (found,) = judged(row, stop=stopped(135.0))
    assert (found.refused, found.open_s, found.litres) == (True, 0.0, 0.0)
    assert found.why == "meant to open when the daemon died; no sign that it did"


def test_what_ran_together_after_the_heartbeats_shared_the_flow() -> None:
    # WORKED: both from 120 s to 135 s, each at half of its flow: 15 x 0.025 and 15 x 0.05 L.
    other = a_row(2, zone="b", relay_line=22)
    a, b = judged(a_row(), other, stop=stopped(135.0))
    assert (a.litres, b.litres) == (approx(1.0 + 0.375), approx(1.0 + 0.75))
    # One that was only meant shares nothing.
    a, _ = judged(a_row(), a_row(2, zone="b", opened_mono_s=None), stop=stopped(135.0))
    assert a.litres == approx(1.75)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (a_row(boot_id="before"), True),
        (a_row(), False),  # the daemon alone died: the stop step drove it shut
        (a_row(boot_id="before", zone="b"), False),
        (a_row(boot_id="before", opened_mono_s=None), False),
    ],
    ids=["power cut", "no power cut", "a valve that shuts by itself", "never opened"],
)
def test_after_a_power_cut_a_valve_that_stays_may_have_run_on(row: PulseRow, said: bool) -> None:
    (found,) = judged(row, stays_open={"a"})
    assert ("water may have run till now" in found.why) is said
    assert found.open_s == (0.0 if row.opened_mono_s is None else 20.0)


def test_the_stop_steps_word_is_read_whole_or_not_at_all(tmp_path: Path) -> None:
    assert shut_at(tmp_path / "lines.json") is None
    told = {"wall_utc": "", "mono_s": 7.5, "boot_id": "x", "shut": [17, 22], "failed": {"5": "?"}}
    (tmp_path / SHUT_AT).write_text(json.dumps(told | {"result": "watchdog"}))
    assert shut_at(tmp_path / "lines.json") == ShutAt(
        mono_s=7.5, boot_id="x", lines=frozenset({17, 22}), result="watchdog"
    )
