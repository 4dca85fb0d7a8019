"""The walk on a plant wired otherwise than the garden file: every finding, every way out."""

from __future__ import annotations

import json
import signal
import threading
from argparse import Namespace
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from support.clock import HandClock
from support.gardens import a_garden, a_row, a_zone
from support.pins import BadPins, OffThrows, OnThrows, OnThrowsTooLate, SticksOff
from support.walk import Plant, Watcher, Wiring

import controller.cli.walk.bench as walkbench
import controller.cli.walk.command as walking
from controller.cli import main
from controller.cli.loading import Loaded
from controller.cli.walk.bench import Bench
from controller.daemon.host.process import OneDaemon
from controller.daemon.valve_set import ValveSet
from controller.garden.model import Garden, Meter
from controller.garden.plumbing import Device, Master, Valve, ValveKind
from controller.logbook.queries import Questions
from crops.catalogue import load

LINES = {"leeks": 17, "beans": 22, "kale": 23}


def three_zones(**more: Any) -> Garden:
    """Three relays and a hand valve."""
    zones = [a_zone(name, line, rows=(a_row(20.0),)) for name, line in LINES.items()]
    return a_garden(*zones, a_zone("hedge", None), **more)


def balls() -> Garden:
    """Two balls that stay where they are, and a plain one."""
    valve = {
        name: Valve(
            kind=ValveKind.RELAY,
            relay_line=line,
            device=Device.BALL_STAYS,
            close_line=line + 1,
            opens_in_s=5.0,
            closes_in_s=5.0,
        )
        for name, line in (("leeks", 17), ("beans", 22))
    }
    return a_garden(*(a_zone(n, valve=v) for n, v in valve.items()), a_zone("kale", 27))


METER = Meter(line=5, litres_per_pulse=0.1)


@dataclass
class Walked:
    """A walk that is over."""

    code: int
    out: str
    err: str
    plant: Plant
    person: Watcher
    folder: Path
    guards: list[str]

    @property
    def kinds(self) -> list[str]:
        """The kinds of findings in the logbook."""
        return [w.split(":")[0] for w in self.happenings[1:]]

    @property
    def happenings(self) -> list[str]:
        path = self.folder / "logbook.db"
        if not path.is_file():
            return []
        with Questions(path) as ask:
            found = list(reversed(ask.happenings(100)))
        assert all(h.kind == "walk" for h in found)
        return [h.words for h in found]

    def all_off(self) -> bool:
        return not any(self.plant.pins._on.values())

    def ons(self) -> list[int]:
        return [m.number for m in self.plant.pins.moves if m.on]


Go = Callable[..., Walked]


@pytest.fixture
def go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Iterator[Go]:
    clock = HandClock()
    benches: list[Bench] = []
    guards: list[str] = []

    class SeenBench(Bench):
        def __enter__(self) -> Bench:
            benches.append(self)
            return super().__enter__()

    class SeenGuard:
        def __init__(self, line_file: Path) -> None:
            guards.append("set")

        def beat(self) -> None:
            guards[1:] = []

        def dismiss(self) -> None:
            guards.append("dismissed")

    def call(
        garden: Garden | None = None,
        wiring: Wiring | None = None,
        *argv: str,
        pins: Callable[[HandClock], Any] | None = None,
        bad: tuple[int, ...] = (),
        **person: Any,
    ) -> Walked:
        garden = garden or three_zones()
        plant = Plant(garden, wiring or Wiring(), clock, None if pins is None else pins(clock))
        if bad:
            plant.pins.bad |= set(bad)
        people: list[Watcher] = []

        def a_person(_: object, look: Callable[[], None]) -> Watcher:
            people.append(Watcher(plant, look, lambda: benches[-1] if benches else None, **person))
            return people[0]

        loaded = Loaded(
            args=Namespace(),
            garden=garden,
            catalogue=load(),
            is_example=False,
            path=tmp_path / "garden.toml",
        )
        monkeypatch.setattr(walking, "load_garden", lambda args: loaded)
        monkeypatch.setattr(walking, "system_clock", lambda: clock)
        monkeypatch.setattr(walking, "a_person", a_person)
        monkeypatch.setattr(walking, "a_board", lambda *_: plant.board)
        monkeypatch.setattr(walking, "Bench", SeenBench)
        monkeypatch.setattr(walkbench, "Guard", SeenGuard)
        monkeypatch.setattr(walking, "THREADS", False)
        code = main(
            ["walk", "garden.toml", "--state", str(tmp_path), "--runtime", str(tmp_path), *argv]
        )
        found = capsys.readouterr()
        return Walked(code, found.out, found.err, plant, people[0], tmp_path, guards)

    monkeypatch.delenv("ROWGATE_STATE", raising=False)
    yield call
    assert not [t for t in threading.enumerate() if t.name == "closer"]


# ---- a good installation -------------------------------------------------------------------------


def test_a_good_installation_has_no_finding(go: Go) -> None:
    done = go()
    assert done.code == 0, done.out
    assert done.ons() == [17, 22, 23]
    assert done.plant.most_open_at_once == 1
    # Nobody may take this for water.
    assert any("PRETENDED PINS" in words for words in done.person.said)
    assert "Findings: none" in done.out
    assert "Not walked: hedge (hand valve)." in done.out
    (words,) = done.happenings
    assert words == "walk, water on: 3 of 3 lines, 0 findings; well: leeks 17, beans 22, kale 23"
    assert done.all_off() and done.guards == ["set", "dismissed"]


def test_safety_comes_first_and_before_any_pin(go: Go) -> None:
    done = go(instead=lambda number, *_: "no" if number == 0 else True)
    assert done.code == 1
    assert "can shut it when you call" in done.person.said[0]
    assert done.person.said[-1] == "Nothing was opened. Begin again when all of it is so."
    assert done.plant.pins._on == {} and done.guards == []
    assert not (done.folder / "lines.json").exists()


def test_the_stop_steps_file_is_written_before_a_pin_is_taken(
    go: Go, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    claimed: list[bool] = []
    plain = ValveSet._fit

    def fit(self: Any, *args: Any) -> None:
        driver = self._pins._pins
        claim = driver.claim

        def look(number: int, active_low: bool) -> None:
            claimed.append((tmp_path / "lines.json").is_file())
            claim(number, active_low)

        driver.claim = look
        plain(self, *args)

    monkeypatch.setattr(ValveSet, "_fit", fit)
    go()
    assert claimed == [True] * 3
    told = json.loads((tmp_path / "lines.json").read_text())
    assert {line["number"] for line in told["lines"]} == set(LINES.values())


@pytest.mark.parametrize("named", [True, False])
def test_the_stop_steps_file_lies_where_the_daemon_keeps_it(
    go: Go, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, named: bool
) -> None:
    own = tmp_path / "own"
    if named:
        done = go(None, None, "--own", str(own))
    else:  # where nobody names it, the system's own beside the system's state folder
        own.mkdir()
        monkeypatch.setattr(walking, "SYSTEM_STATE", tmp_path)
        monkeypatch.setattr(walking, "SYSTEM_OWN", own)
        done = go()
    assert done.code == 0
    assert (own / "lines.json").is_file() and not (tmp_path / "lines.json").exists()
    assert (tmp_path / "logbook.db").is_file() and not (own / "logbook.db").exists()
    with OneDaemon(own), pytest.raises(IndexError):
        go(None, None, "--own", str(own))  # a daemon that is not ready yet holds it


def test_each_valve_is_open_as_long_as_asked_and_no_longer(go: Go) -> None:
    def slow(_: int, question: str, person: Watcher) -> bool:
        if "did water come" in question:
            person.wait(60.0)
        return True

    done = go(None, None, "--seconds", "7", instead=slow)
    moves = done.plant.pins.moves
    assert len(moves) == 6
    for on, off in zip(moves[::2], moves[1::2], strict=True):
        assert on.number == off.number and on.on and not off.on
        assert 7.0 <= off.mono_s - on.mono_s <= 7.5


def test_an_answer_shuts_the_valve_at_once(go: Go) -> None:
    done = go(None, None, "--seconds", "60")
    moves = done.plant.pins.moves
    assert all(
        off.mono_s - on.mono_s < 3.0 for on, off in zip(moves[::2], moves[1::2], strict=True)
    )


def test_the_gardens_longest_opening_holds(go: Go) -> None:
    garden = three_zones()
    short = replace(garden.zones[0], valve=replace(garden.zones[0].valve, longest_open_s=5.0))
    garden = replace(garden, zones=(short, *garden.zones[1:]))
    done = go(garden, None, "--seconds", "60")
    assert done.code == 0
    assert any("leeks, relay line 17, for 5 s" in q for q in done.person.questions)


def test_one_zone_may_be_walked_alone(go: Go) -> None:
    done = go(None, None, "--zone", "beans")
    assert done.ons() == [22]
    assert "Not walked: leeks; kale; hedge (hand valve)." in done.out


# ---- findings ------------------------------------------------------------------------------------


def _moves(**zones: int) -> dict[int, frozenset[str]]:
    return {line: frozenset((name,)) for name, line in zones.items()}


def test_two_exchanged_lines_are_found_and_put_right(go: Go) -> None:
    done = go(wiring=Wiring(moves=_moves(beans=17, leeks=22)))
    assert done.code == 1 and done.kinds == ["lines exchanged"]
    assert 'zone "beans": relay = 17' in done.out and 'zone "leeks": relay = 22' in done.out
    assert 'zone "kale"' not in done.out


def test_lines_exchanged_in_a_ring_are_put_right_together(go: Go) -> None:
    done = go(wiring=Wiring(moves=_moves(beans=17, kale=22, leeks=23)))
    assert done.kinds == ["lines exchanged"]
    for line in ('"beans": relay = 17', '"kale": relay = 22', '"leeks": relay = 23'):
        assert line in done.out


def test_a_zone_whose_line_is_lost_is_named(go: Go) -> None:
    # Line 17 moves the beans; line 22 is dead; nothing moves the leeks.
    done = go(wiring=Wiring(moves=_moves(beans=17), dead=frozenset((22,))))
    assert done.kinds == ["lines exchanged", "dead relay"]
    assert 'zone "leeks": the line that moves it is not found yet' in done.out


def test_the_file_put_right_as_said_has_no_finding(go: Go) -> None:
    wiring = Wiring(moves=_moves(beans=17, kale=22, leeks=23))
    right = {"beans": 17, "kale": 22, "leeks": 23}
    garden = three_zones()
    garden = replace(
        garden,
        zones=tuple(
            replace(z, valve=replace(z.valve, relay_line=right[z.name])) if z.name in right else z
            for z in garden.zones
        ),
    )
    assert go(garden, wiring).code == 0


def test_two_lines_on_one_valve(go: Go) -> None:
    done = go(wiring=Wiring(moves=_moves(beans=17) | {22: frozenset(("beans",))}))
    assert done.kinds == ["two lines, one valve"]
    assert "lines 17 and 22" in done.out


def test_two_valves_on_one_line(go: Go) -> None:
    done = go(wiring=Wiring(moves={17: frozenset(("leeks", "kale"))}))
    assert done.kinds == ["several at once"]
    assert "line 17 (leeks) moved kale, leeks together" in done.out.replace("\n    ", " ")


def test_a_dead_relay(go: Go) -> None:
    done = go(wiring=Wiring(dead=frozenset((22,))))
    assert done.kinds == ["dead relay"]
    assert "line 22 does nothing" in done.out


def test_a_relay_that_clicks_and_a_valve_that_gives_nothing(go: Go) -> None:
    done = go(wiring=Wiring(dry=frozenset(("kale",))))
    assert done.kinds == ["no water"]
    assert "relay of line 23 clicks" in done.out


@pytest.mark.parametrize(
    ("wiring", "words"),
    [
        (Wiring(dead=frozenset(LINES.values())), "no line did anything"),
        (Wiring(dry=frozenset(LINES)), "the master valve on line 27"),
    ],
)
def test_nothing_anywhere_is_one_finding(go: Go, wiring: Wiring, words: str) -> None:
    master = Master(valve=Valve(kind=ValveKind.RELAY, relay_line=27))
    done = go(three_zones(master=master), wiring)
    assert done.kinds == ["nothing anywhere"]
    assert words in " ".join(done.out.split())


def test_a_valve_that_does_not_close(go: Go) -> None:
    done = go(wiring=Wiring(sticks=frozenset(("beans",))))
    assert done.kinds[0] == "does not close"
    assert any("SHUT THE TAP" in q for q in done.person.questions)
    assert "beans, RAN ON" in done.out or "its water, RAN ON" in done.out
    assert done.all_off()


def test_whoever_stops_at_a_valve_that_does_not_close_may(go: Go) -> None:
    done = go(
        wiring=Wiring(sticks=frozenset(("leeks",))),
        instead=lambda _, question, __: "no" if "Go on with" in question else True,
    )
    assert done.ons() == [17]
    assert done.kinds == ["does not close"] and "ended early" in done.happenings[0]


def test_water_elsewhere_is_told_in_the_persons_words(go: Go) -> None:
    def instead(_: int, question: str, person: Watcher) -> str | bool:
        if "did water come" in question and "beans" in person.questions[-2]:
            return "else"
        return "By the shed door" if question.startswith("Where,") else True

    done = go(instead=instead)
    assert done.kinds == ["elsewhere"]
    assert "by the shed door" in done.out


def test_a_board_that_switches_on_at_the_other_level_opens_nothing(go: Go) -> None:
    done = go(wiring=Wiring(other_level=True))
    assert done.kinds == ["wrong level"]
    assert '[board]: relays = "active high"' in done.out
    assert done.ons() == []
    # The guard is left to drive the other level when this process ends.
    assert done.guards == ["set"]
    told = json.loads((done.folder / "lines.json").read_text())
    assert {line["off_level"] for line in told["lines"]} == {0}
    assert any("SHUT THE TAP" in words for words in done.person.said)


def test_a_valve_that_is_on_at_rest_is_found_and_not_opened(go: Go) -> None:
    done = go(wiring=Wiring(resting=frozenset(("beans",))))
    assert done.kinds == ["on at rest"]
    assert "resting contact" in " ".join(done.out.split())
    assert done.ons() == [17, 23]


def test_a_ball_whose_two_lines_are_exchanged(go: Go) -> None:
    done = go(balls(), Wiring(swapped=frozenset(("beans",))))
    assert done.kinds == ["open and close exchanged"]
    assert 'zone "beans": relay = 23, close_relay = 22' in done.out
    assert "was shut by its open line" in done.out
    assert done.plant.pins._on == {17: False, 18: False, 22: False, 23: False, 27: False}


def test_good_balls_travel_and_have_no_finding(go: Go) -> None:
    done = go(balls())
    assert done.code == 0, done.out
    # Driven shut once at the start and once after: nobody knew where they stood.
    closes = [m.number for m in done.plant.pins.moves if m.on and m.number in (18, 23)]
    assert closes == [18, 23, 18, 23]


def test_open_and_close_line_are_never_on_together(go: Go) -> None:
    done = go(balls(), Wiring(swapped=frozenset(("leeks",))))
    on: set[int] = set()
    for move in done.plant.pins.moves:
        (on.add if move.on else on.discard)(move.number)
        assert not {17, 18} <= on and not {22, 23} <= on


# ---- the water off -------------------------------------------------------------------------------


def test_with_the_water_off_clicks_are_asked_for_and_no_water(go: Go) -> None:
    done = go(wiring=Wiring(moves=_moves(beans=17, leeks=22)), tap_open=False)
    assert done.kinds == ["lines exchanged"]
    assert not any("water" in q for q in done.person.questions[2:])
    assert "is not counted" not in done.out


def test_with_the_water_off_the_meter_is_not_judged(go: Go) -> None:
    done = go(three_zones(meter=METER), Wiring(), tap_open=False)
    assert done.code == 0


# ---- the meter -----------------------------------------------------------------------------------


def test_a_meter_that_counts_has_no_finding_and_its_litres_stand_beside(go: Go) -> None:
    done = go(three_zones(meter=METER), Wiring(meter_per_s=2.0))
    assert done.code == 0, done.out
    assert "counts," in done.out and "(computed " in done.out


def test_a_meter_that_does_not_count(go: Go) -> None:
    # 20 ft of row give some litres a minute; at 0.01 L a count a second is many counts.
    done = go(three_zones(meter=replace(METER, litres_per_pulse=0.005)))
    assert done.kinds == ["meter does not count"]
    assert "its pin (5)" in done.out


def test_a_meter_too_coarse_for_so_little_water_is_not_judged(go: Go) -> None:
    done = go(three_zones(meter=replace(METER, litres_per_pulse=10.0)))
    assert done.kinds == ["meter not judged"]


def test_a_leak_shows_at_rest(go: Go) -> None:
    done = go(three_zones(meter=METER), Wiring(leak_per_s=1.0, meter_per_s=2.0))
    assert "meter counts at rest" in done.kinds
    assert "runs on by the meter" in done.kinds


def test_counts_without_water_mean_that_it_runs_where_nobody_looks(go: Go) -> None:
    done = go(three_zones(meter=METER), Wiring(hidden=frozenset(("kale",)), meter_per_s=2.0))
    assert done.kinds == ["no water", "counts without water"]


# ---- every way out -------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(12))
def test_whoever_does_not_answer_ends_the_walk_with_all_shut(go: Go, number: int) -> None:
    done = go(instead=lambda n, *_: None if n == number else True)
    if number >= len(done.person.questions):
        assert done.code == 0
        return
    assert done.code == 1
    assert "nobody answered within 5 minutes" in done.out
    assert len(done.person.questions) == number + 1
    assert done.all_off()


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
@pytest.mark.parametrize("number", [1, 2, 4, 6])
def test_a_signal_shuts_everything_at_once(go: Go, name: str, number: int) -> None:
    def instead(n: int, *_: object) -> bool:
        if n == number:
            signal.raise_signal(getattr(signal, name))
        return True

    done = go(instead=instead)
    assert done.code == 1
    assert f"ended by {name}" in done.out
    assert done.all_off()
    assert len(done.person.questions) == number + 1


def test_the_person_may_end_skip_and_look_again(go: Go) -> None:
    answers = iter(["skip", "", "again", "", "beans", "yes", "end"])
    done = go(instead=lambda n, *_: True if n < 3 else next(answers))
    assert done.ons() == [22, 22]
    assert "skipped" in done.out and "ended by the person" in done.out
    assert "1 of 3 lines" in done.happenings[0]


def test_an_answer_that_does_not_read_is_asked_again(go: Go) -> None:
    answers = iter(["hm", "", "the green one", "9", "1,", "perhaps", "wait", "yes", "end"])
    done = go(instead=lambda n, *_: True if n < 3 else next(answers))
    assert done.ons() == [17]
    assert sum("zones are numbered 1 to 4" in words for words in done.person.said) == 2
    assert "leeks 17" in done.happenings[0]


@pytest.mark.parametrize("pins", [OnThrows, OnThrowsTooLate, SticksOff])
def test_a_line_that_cannot_be_driven_on_is_told_and_the_others_go_on(
    go: Go, pins: type[BadPins]
) -> None:
    done = go(pins=pins, bad=(22,))
    assert done.code == 1
    assert done.kinds == ["not opened"]
    assert "line 22 did not open" in done.out
    assert "well: leeks 17, kale 23" in done.happenings[0]
    assert done.all_off()


def test_what_the_garden_allows_a_day_holds_for_the_walk_too(go: Go) -> None:
    garden = three_zones()
    dry = replace(garden.zones[0], daily_cap_m3=1e-6)
    done = go(replace(garden, zones=(dry, *garden.zones[1:])))
    assert done.code == 1 and done.kinds == ["not opened"]
    assert done.ons() == [22, 23]


def test_a_skipped_line_is_no_finding_and_not_well_either(go: Go) -> None:
    done = go(instead=lambda n, question, _: "skip" if "beans, relay" in question else True)
    assert done.code == 1 and done.kinds == []
    assert done.ons() == [17, 23]


def test_a_closer_that_does_not_move_ends_the_walk_with_all_shut(go: Go) -> None:
    def instead(_: int, question: str, person: Watcher) -> bool:
        if "did water come" in question:
            bench = person._bench()
            assert bench is not None
            bench._valve_set.closer.round = lambda: ()  # type: ignore[method-assign]
            person.wait(30.0)
        return True

    done = go(None, None, "--seconds", "60", instead=instead)
    assert done.code == 1
    assert "a fault: the closer has not moved" in " ".join(done.out.split())
    assert done.all_off() and done.ons() == [17]
    on, off = done.plant.pins.moves
    assert off.mono_s - on.mono_s < 10.0


def test_a_logbook_that_takes_nothing_is_told_and_the_sheet_is_printed(
    go: Go, tmp_path: Path
) -> None:
    (tmp_path / "logbook.db").mkdir()
    done = go()
    assert done.code == 1
    assert "Findings: none" in done.out and "not written down" in done.err


def test_a_line_that_cannot_be_driven_off_ends_the_walk_and_the_guard_stays(go: Go) -> None:
    def instead(_: int, question: str, person: Watcher) -> bool:
        if "did water come" in question:
            person.plant.pins.bad.add(17)
        return True

    done = go(pins=OffThrows, instead=instead)
    assert done.code == 1
    assert "SHUT THE TAP" in done.err
    assert done.guards == ["set"]  # it tries again from another process
    assert done.ons() == [17]


def test_beside_a_daemon_nobody_walks(go: Go, tmp_path: Path) -> None:
    with OneDaemon(tmp_path), pytest.raises(IndexError):
        go()  # it ends before it has a person


def test_a_garden_of_hand_valves_is_walked_by_hand(go: Go) -> None:
    with pytest.raises(IndexError):
        go(a_garden(a_zone("hedge", None)))
