"""What the board reports, from files laid out as the kernel lays them out (from memory)."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from support.clock import HandClock

from controller.daemon.host.status import (
    KEEPS_WORDS,
    BoardFiles,
    BoardNow,
    BoardWatch,
    look_at_board,
)


def _board(folder: Path, **told: str) -> BoardFiles:
    """A board's files; what is not told is not there."""
    files = BoardFiles(
        heat=folder / "temp",
        hwmon=folder / "hwmon",
        keeps_pins=folder / "persist_gpio_outputs",
        memory=folder / "statm",
        slept_s=lambda: float(told.get("slept", "0")),
    )
    places = {"heat": files.heat, "keeps_pins": files.keeps_pins, "memory": files.memory}
    for name, place in places.items():
        if name in told:
            place.write_text(told[name], encoding="ascii")
    for number, chip in enumerate(told.get("chips", "").split()):
        place = files.hwmon / f"hwmon{number}"
        place.mkdir(parents=True)
        (place / "name").write_text(f"{chip}\n", encoding="ascii")
        (place / "in0_lcrit_alarm").write_text(told.get("alarm", "0"), encoding="ascii")
    return files


def test_a_board_that_tells_nothing_is_no_fault(tmp_path: Path) -> None:
    now = look_at_board(tmp_path / "gone", _board(tmp_path))
    assert now == BoardNow()


def test_every_figure_is_read(tmp_path: Path) -> None:
    files = _board(
        tmp_path, heat="48312\n", keeps_pins="N\n", memory="9000 2500 1 1 0 1 0\n", slept="61"
    )
    now = look_at_board(tmp_path, files)
    assert now.heat_c == 48.312
    assert now.keeps_pins is False
    assert now.slept_s == 61.0 and now.as_dict()["slept_s"] == 61.0
    assert now.memory_mb is not None and now.memory_mb >= 2500 * 4096 / 1e6
    assert now.disk_free_mb is not None and now.disk_free_mb > 0.0


@pytest.mark.parametrize(
    ("told", "doubt"),
    [
        ({"heat": "80000"}, "80 C"),
        ({"chips": "cpu_thermal rpi_volt", "alarm": "1"}, "supply is too weak"),
        ({"keeps_pins": "Y"}, "strict_gpiod"),
        ({"slept": "121"}, "has slept for 3 min since its boot"),
        ({"slept": "1"}, "mask sleep.target"),
    ],
)
def test_what_is_amiss_is_said(tmp_path: Path, told: dict[str, str], doubt: str) -> None:
    now = look_at_board(tmp_path, _board(tmp_path, **told))
    assert any(doubt in words for words in now.warnings)


@pytest.mark.parametrize(
    "told",
    [
        {"heat": "79999"},
        {"chips": "cpu_thermal rpi_volt", "alarm": "0"},
        {"chips": "cpu_thermal other", "alarm": "1"},
        {"keeps_pins": "N"},
        {"slept": "0.99"},
        {"heat": "hot", "memory": "", "keeps_pins": "?"},
    ],
)
def test_what_is_well_or_unknown_gives_no_doubt(tmp_path: Path, told: dict[str, str]) -> None:
    warnings = look_at_board(tmp_path, _board(tmp_path, **told)).warnings
    assert not [words for words in warnings if "MB" not in words]


def test_a_full_disk_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Usage:
        free = 12_000_000

    monkeypatch.setattr("shutil.disk_usage", lambda _: Usage)
    assert any("12 MB" in words for words in look_at_board(tmp_path, _board(tmp_path)).warnings)


def test_each_kind_of_doubt_is_told_once_a_day_and_the_kernels_setting_once_for_good() -> None:
    clock, told, day = HandClock(), list[str](), date(2031, 6, 1)
    heat = [80]
    watch = BoardWatch(
        lambda: BoardNow(warnings=(f"the board is at {heat[0]} C", KEEPS_WORDS)),
        clock,
        lambda kind, words: told.append(words),
    )
    for _ in range(3):
        for _ in range(60):
            heat[0] += 1
            watch.look(day)
            clock.advance(60.0)
        day += timedelta(days=1)
    assert told.count(KEEPS_WORDS) == 1
    assert len(told) == 4
    again = BoardWatch(
        lambda: BoardNow(warnings=(KEEPS_WORDS,)),
        clock,
        lambda kind, words: told.append(words),
        told,
    )
    again.look(day)
    assert told.count(KEEPS_WORDS) == 1
