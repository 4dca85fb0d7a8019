"""An invented plot and its weather, watered in haste: time passes where nothing is open."""

from __future__ import annotations

import random
import sqlite3
import time
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from support.clock import HandClock

from controller.daemon.planning import plan_moments
from controller.garden.model import Garden, Zone
from controller.inputs.garden_loader import garden_from_text
from controller.logbook.logbook import Logbook
from controller.logbook.records import utc_text
from crops.catalogue import load
from process.manager import CHIP, Manager

LINES = {"leeks": 4, "kale": 5, "beets": 6, "beans": 7, "corn": 8, "onions": 9}
BEGINS = datetime(2031, 6, 1, 2, 50, tzinfo=UTC)
PLAN_S = 3.0  # real seconds a plan may take
AHEAD_S = 2.0  # so long before the next opening does time run at its pace again

_HEAD = f"""
# Invented, like its weather.
[site]
name = "Invented corner"
latitude = 47.6
longitude = 8.1
elevation = "410 m"
timezone = "Europe/Zurich"

[supply]
static_pressure = "48 psi"
flow_test = {{ flow = "7.5 gal/min", pressure = "31 psi" }}

[watering]
window = [{{ from = "05:00", to = "08:00" }}, {{ from = "19:00", to = "21:00" }}]
refill_at = 0.1
most_open = 3
shortest_pulse = "5 s"
basin = "3 mm"

[weather]
file = "weather.csv"

[board]
pins = "lgpio"
chip = {CHIP}
relays = "active low"
"""
_ZONE = """
[[bed]]
name = "bed of {name}"
length = "12 ft"
width = "4 ft"
soil = "{soil}"

[[zone]]
name = "{name}"
bed = "bed of {name}"
main_run = "{run} ft"
valve = {{ relay = {line}, kind = "direct" }}
row = [ {{ length = "{length} ft", every = "6 in", bore = "1/16 in" }} ]
planting = [ {{ crop = "leek", transplanted = 2031-04-22, until = 2031-11-10 }} ]
"""


def a_plot(*names: str) -> str:
    """The garden file of these zones, or of all."""
    zones = [
        _ZONE.format(name=name, line=LINES[name], soil="loam", run=12 + 6 * i, length=6 + i % 3)
        for i, name in enumerate(names or LINES)
    ]
    return _HEAD + "".join(zones)


def a_big_plot(zones: int = 60) -> str:
    """So many zones: relays on all lines a board has, hand valves for the rest."""
    text = _HEAD
    for n in range(zones):
        zone = _ZONE.format(name=f"plot {n}", line=2 + n, soil="loam", run=12 + n, length=6 + n % 3)
        text += zone if n < 26 else zone.replace(f'relay = {2 + n}, kind = "direct"', "hand = true")
    return text


_MIXED = (
    '{ crop = "leek", transplanted = 2031-04-22, until = 2031-11-10 }',
    '{ crop = "spinach", sown = 2031-03-15, until = 2031-06-10 }, '
    '{ crop = "kale", transplanted = 2031-07-01, until = 2031-11-30 }',
    '{ crop = "strawberry", transplanted = 2030-04-10, until = 2031-11-30 }',
    '{ crop = "lettuce", transplanted = 2031-04-10, until = 2031-06-20 }, '
    '{ crop = "beet", sown = 2031-07-03, until = 2031-10-20 }',
)


def a_mixed_plot(zones: int = 60) -> str:
    """The same with what stands in a garden from March to November, on two soils."""
    head, *each = a_big_plot(zones).split("[[bed]]")
    planted = '{ crop = "leek", transplanted = 2031-04-22, until = 2031-11-10 }'
    assert all(planted in zone for zone in each)
    mixed = [zone.replace(planted, _MIXED[n % len(_MIXED)]) for n, zone in enumerate(each)]
    mixed = [z if n % 3 else z.replace('"loam"', '"sandy loam"') for n, z in enumerate(mixed)]
    return "[[bed]]".join((head, *mixed))


def write_a_season(logbook: Path, garden: Garden, first: date, last: date) -> int:
    """A logbook as it is after a season; how many pulses: two a day of each zone."""
    begun = datetime(first.year, first.month, first.day, 1, tzinfo=UTC)
    with Logbook(logbook, HandClock(begun)):
        pass
    return write_days(logbook, garden, first, last)


def write_days(logbook: Path, garden: Garden, first: date, last: date) -> int:
    """The same days in a logbook that is there; what was planned for them ran."""
    days = [first + timedelta(n) for n in range((last - first).days + 1)]
    rows = [_pulse(z, day, slot) for day in days for z in garden.zones for slot in (1, 2)]
    with closing(sqlite3.connect(logbook, timeout=20.0)) as db:
        names, marks = ", ".join(rows[0]), ", ".join("?" * len(rows[0]))
        db.executemany(
            f"INSERT OR REPLACE INTO pulses ({names}) VALUES ({marks})",
            [tuple(row.values()) for row in rows],
        )
        db.executemany(
            "INSERT OR IGNORE INTO watched_days (day) VALUES (?)",
            [(day.isoformat(),) for day in days],
        )
        db.commit()
    return len(rows)


def _pulse(zone: Zone, day: date, slot: int) -> dict[str, object]:
    opens = datetime(day.year, day.month, day.day, 3, slot, tzinfo=UTC)
    row: dict[str, object] = {
        "key": f"{zone.name}|{day.isoformat()}|{slot}",
        "zone": zone.name,
        "day": day.isoformat(),
        "slot": slot,
        "valve": zone.valve.kind.value,
        "relay_line": zone.valve.relay_line,
        "together": "[]",
        "state": "closed",
        "planned_utc": utc_text(opens),
        "planned_opens_utc": utc_text(opens),
        "planned_open_s": 20.0,
        "planned_litres": 4.0,
        "intended_utc": utc_text(opens),
        "opened_utc": utc_text(opens),
        "opened_mono_s": 1600.0,
        "boot_id": "boot-0",
        "closed_utc": utc_text(opens + timedelta(seconds=20)),
        "open_s": 20.0,
        "litres": 4.0,
        "how_known": "timed",
        "why": "time is up",
        "line_litres": 0.6,
        "uniformity": 0.94,
    }
    return row


def its_weather(first: date = date(2031, 5, 1), days: int = 300, *, rain_every: int = 0) -> str:
    """A dry summer, by a formula; or one with rain, so many days from one to the next."""
    rows = ["date,tmin_c,tmax_c,rh_mean_pct,wind_m_s,solar_mj_m2,rain_mm"]
    for i in range(days):
        turn = i % 7
        rows.append(
            f"{first + timedelta(days=i)},{13 + turn / 3:.1f},{28 + turn / 2:.1f},55,"
            f"{1.8 + turn / 8:.2f},{23 + turn / 2:.1f},"
            f"{i % 13 + 0.5 if rain_every and i % rain_every == 0 else 0.0}"
        )
    return "\n".join(rows) + "\n"


def garden_of(text: str) -> Garden:
    """The garden of this text, with the tables that come with the product."""
    return garden_from_text(text, "garden.toml", load())


class Haste:
    """Lets time pass at once while nothing is open and nothing is due.

    It stops where the daemon plans anew, and goes on once it has: what is due is known only then.
    """

    def __init__(self, manager: Manager) -> None:
        self._manager, self._garden = manager, garden_of(manager.garden.read_text("utf-8"))
        self._look_s = self._waits_until_s = 0.0
        self._planned_after: datetime | None = None
        self.let_pass_s = 0.0

    def go_on(self) -> None:
        """Look, not too often, and let time pass if it may."""
        manager = self._manager
        manager.hear()
        if time.monotonic() < self._look_s or not manager.ready or manager.on():
            return
        self._look_s = time.monotonic() + 0.05
        status = manager.ask_or_none(ask="status")
        if status is None or not status.get("ok") or status["open"] or status["plan_fault"]:
            return
        planned = status["planned_utc"]
        if planned is None or not status["clock_believed"]:
            return
        if (
            self._planned_after
            and datetime.fromisoformat(planned) < self._planned_after
            and time.monotonic() < self._waits_until_s
        ):
            return
        self._let_pass([datetime.fromisoformat(n["opens_utc"]) for n in status["next"]])

    def _let_pass(self, due: list[datetime]) -> None:
        now = datetime.fromtimestamp(self._manager.page.now().wall_s, UTC)
        plans = [at for _, at in plan_moments(self._garden, now)]
        by_s = (min(due, default=plans[0]) - now).total_seconds() - AHEAD_S
        to_plan_s = (plans[0] - now).total_seconds() + 1.0
        if to_plan_s < by_s:
            by_s, self._planned_after = to_plan_s, plans[0].replace(microsecond=0)
            self._waits_until_s = time.monotonic() + PLAN_S
        if by_s > 5.0 and not self._manager.on():
            self._manager.page.turn(by_s=by_s)
            self.let_pass_s += by_s


def seeded(seed: int) -> random.Random:
    """Chance that can be had again."""
    return random.Random(seed)
