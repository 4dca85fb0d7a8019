"""Random bytes of a season's logbook changed, its log included: every start plans, or says why."""

from __future__ import annotations

import random
import shutil
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock
from support.daemon import World, dry_day
from support.daemon_faults import a_slow_garden
from support.logbook import a_ledger_day, a_pulse, close

from controller.logbook.logbook import Logbook
from controller.logbook.queries import Questions

pytestmark = pytest.mark.usefixtures("seldom_looks")

FIRST, TODAY = date(2031, 4, 1), date(2031, 6, 1)
EVENING = datetime(2031, 6, 1, 18, 0, tzinfo=UTC)
SAID = {"rows set aside", "logbook damaged", "log damaged"}
NAMES = ("logbook.db", "logbook.db-wal")


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season of waterings, ledger and weather, then a day of a daemon, killed in the evening:
    what it wrote last lies in the log."""
    folder = tmp_path_factory.mktemp("season")
    clock = HandClock(datetime(2031, 4, 1, 3, 0, tzinfo=UTC))
    day = FIRST
    with Logbook(folder / "logbook.db", clock) as book:
        while day < TODAY:
            number = book.intend(a_pulse(day=day))
            book.opened(number, clock.mono_s())
            close(book, number, 60.0, 5.0 + day.day / 10.0, "timed")
            book.keep_ledger([a_ledger_day(day=day)])
            book.keep_weather([dry_day(day)])
            book.watched(day)
            if day.day % 5 == 0:
                book.rain_gauge(day, 1.5)
                book.note(f"a note of {day}")
            clock.advance(86_400.0)
            day += timedelta(days=1)
        book.hold(datetime(2031, 4, 2, tzinfo=UTC), datetime(2031, 4, 3, tzinfo=UTC), ["a"])
    world = World(
        folder, a_slow_garden(), clock=HandClock(EVENING - timedelta(hours=16)), begun_days=None
    )
    world.run_until(EVENING)
    kept = tmp_path_factory.mktemp("kept")
    for name in NAMES:
        shutil.copyfile(folder / name, kept / name)
    world.kill()
    assert (kept / NAMES[1]).stat().st_size > 50_000
    return kept


def _start(season: Path, folder: Path, name: str, place: int, flip: int) -> str:
    """Start over the season with one byte changed; how it went, in a word."""
    for one in NAMES:
        shutil.copyfile(season / one, folder / one)
    with (folder / name).open("r+b") as file:
        file.seek(place)
        byte = file.read(1)[0]
        file.seek(place)
        file.write(bytes([byte ^ flip]))
    clock = HandClock(EVENING + timedelta(minutes=1))
    clock.boot += "+"
    world = World(folder, a_slow_garden(), clock=clock, begun_days=None)
    try:
        status = world.ask(ask="status")
        assert status["ok"]
        planned = world.engine.timetable is not None
        assert planned or status["plan_fault"] or status["clock_doubt"], status["words"]
        with Questions(folder / NAMES[0]) as ask:
            given = ask.litres_by_zone_day()
            said = [(h.kind, h.words) for h in ask.happenings(1000) if h.kind in SAID]
        forgotten = {
            key: (litres, given.get(key, 0.0))
            for key, litres in _given(season).items()
            if given.get(key, 0.0) < litres - 0.01
        }
        assert said or not forgotten, forgotten
        world.run_for(60.0)
        return "+".join(sorted({kind for kind, _ in said})) or "nothing to say"
    finally:
        world.kill()


_KNOWN: dict[Path, Mapping[tuple[str, date], float]] = {}


def _given(season: Path) -> Mapping[tuple[str, date], float]:
    """What the season's sound logbook says was given, read from copies: reading cuts no log."""
    if season not in _KNOWN:
        copy = season / "copy"
        copy.mkdir()
        for name in NAMES:
            shutil.copyfile(season / name, copy / name)
        with Questions(copy / NAMES[0]) as ask:
            _KNOWN[season] = ask.litres_by_zone_day()
    return _KNOWN[season]


def _many(season: Path, tmp_path: Path, seed: int, count: int) -> Counter[str]:
    chance, went = random.Random(seed), Counter[str]()
    for number in range(count):
        name = NAMES[number % 4 == 3]  # each frame of the log has a sum: there all are found
        place = chance.randrange((season / name).stat().st_size)
        flip = 1 << chance.randrange(8) if chance.random() < 0.5 else chance.randrange(1, 256)
        folder = tmp_path / str(number)
        folder.mkdir()
        try:
            went[_start(season, folder, name, place, flip)] += 1
        except BaseException as fault:
            fault.add_note(f"change {number}: byte {place} of {name}, flipped by {flip}")
            raise
        shutil.rmtree(folder)
    return went


def test_the_season_itself_has_nothing_to_say(season: Path, tmp_path: Path) -> None:
    assert sum(_given(season).values()) > 300.0
    assert _start(season, tmp_path, NAMES[0], 60, 0) == "nothing to say"


def test_a_few_dozen_changed_bytes(season: Path, tmp_path: Path) -> None:
    went = _many(season, tmp_path, seed=1, count=36)
    assert went["nothing to say"] < 36  # some of them meant something


@pytest.mark.slow
def test_a_thousand_changed_bytes(season: Path, tmp_path: Path) -> None:
    went = _many(season, tmp_path, seed=2, count=1000)
    assert went["log damaged"] == 250, went
    assert went["rows set aside"] > 30 and went["logbook damaged"] > 10, went


@pytest.mark.parametrize(
    ("place", "flip"), [(19345, 125)], ids=["the length of a key in the weather's index"]
)
def test_what_the_thousands_found(season: Path, tmp_path: Path, place: int, flip: int) -> None:
    """The quick check passes an index by: every start ended when the weather was read by it."""
    _start(season, tmp_path, NAMES[0], place, flip)


def test_every_byte_of_a_watering_can_change(season: Path, tmp_path: Path) -> None:
    """Every fourth byte in and around one closed pulse's row in the file."""
    place = (season / NAMES[0]).read_bytes().index(b"a|2031-05-11|1a2031-05-11")
    for number in range(0, 60, 4):
        folder = tmp_path / f"b{number}"
        folder.mkdir()
        _start(season, folder, NAMES[0], place - 30 + number, 0x10)
        shutil.rmtree(folder)
