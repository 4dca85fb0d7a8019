"""The daemon's answer as a person reads it."""

from __future__ import annotations

from typing import Any

from controller.paper.status import status_text
from controller.paper.text import WIDTH

ANSWER: dict[str, Any] = {
    "ok": True,
    "words": "1 open",
    "site": "Invented plot",
    "timezone": "Europe/Zurich",
    "started_utc": "2031-06-01T02:00:00+00:00",
    "planned_utc": "2031-06-01T03:00:00+00:00",
    "pins": "mock",
    "clock_believed": False,
    "clock_doubt": "the clock was moved; plans wait until it has run on for 10 minutes",
    "open": [{"zone": "leeks", "remaining_s": 61.0, "litres": 3.25, "manual": True}],
    "next": [
        {"zone": "leeks", "opens_utc": "2031-06-01T03:10:00+00:00", "open_s": 75, "valve": "relay"}
    ],
    "holds": [
        {"ends_local": "2031-06-02T18:00:09.123456", "zones": [], "reason": "guests on the lawn"}
    ],
    "garden_faults": ["garden.toml, line 31, board, y: found an unknown key"],
    "barred": [{"zone": "peas", "state": "barred"}],
    "silent": ["a pulse of beans"],
    "not_moving": ["closer"],
    "weather": {"last_day": "2031-05-31", "last_source": "station.csv", "credit": "By somebody"},
    "remarks": ["a remark long enough to be wrapped because it says more than eighty columns hold"],
    "happenings": [
        {"at_utc": "2031-06-01T02:30:00+00:00", "kind": "refused", "zone": "peas", "words": "cap"}
    ],
}


def test_all_that_may_be_wrong_is_on_the_page_and_it_fits_a_terminal() -> None:
    text = status_text(ANSWER)
    assert max(map(len, text.splitlines())) <= WIDTH
    for words in (
        "leeks is open, 1:01 to go, 3.2 L so far, opened by a person",
        "mock: no valve moves",
        "not trusted, nothing opens by plan",
        "2031-06-01 05:10:00  leeks, 1:15 open",
        "hold: all zones until 2031-06-02 18:00 (guests on the lawn)",
        "line 31",
        "peas: its line did not obey (barred)",
        "does not respond: closer",
        "By somebody",
    ):
        assert words in text, words


def test_a_quiet_daemon_has_little_to_say() -> None:
    quiet = {"words": "all shut", "site": "Invented plot", "clock_believed": True, "pins": "lgpio"}
    assert status_text(quiet).splitlines()[0] == "Invented plot: all shut"
    assert len(status_text(quiet).splitlines()) == 7
