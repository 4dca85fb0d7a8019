"""What is kept on disk is there whole, or not at all."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from controller.weather.online.cache import AnswerCache, CachedAnswer

CACHED = CachedAnswer(
    key="service http://a/?b",
    body='{"°": 1}',
    fetched_utc=datetime(2031, 6, 1, 4, tzinfo=UTC),
    date_utc=datetime(2031, 6, 1, 4, 0, 1, tzinfo=UTC),
    good_for_s=1800.0,
    etag='W/"7"',
    last_modified="Sun, 01 Jun 2031 03:00:00 GMT",
)


def test_what_is_kept_comes_back_as_it_was(tmp_path: Path) -> None:
    cache = AnswerCache(tmp_path / "not" / "yet")
    assert cache.load(CACHED.key) == (None, ())
    assert cache.store(CACHED) == ()
    assert cache.load(CACHED.key) == (CACHED, ())
    assert cache.load("service http://a/?c") == (None, ())


def test_a_power_cut_while_writing_leaves_the_earlier_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cache = AnswerCache(tmp_path)
    cache.store(CACHED)

    def fail(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    newer = CachedAnswer(key=CACHED.key, body="{}", fetched_utc=CACHED.fetched_utc)
    assert cache.store(newer) == (
        "the weather could not be kept on disk (No space left on device)",
    )
    assert cache.load(CACHED.key) == (CACHED, ())
    assert len(list(tmp_path.iterdir())) == 1


def test_a_file_about_another_question_is_not_believed(tmp_path: Path) -> None:
    cache = AnswerCache(tmp_path)
    cache.store(CACHED)
    (path,) = tmp_path.iterdir()
    path.write_text(path.read_text(encoding="utf-8").replace("?b", "?x"), encoding="utf-8")
    found, remarks = cache.load(CACHED.key)
    assert found is None
    assert "set aside" in remarks[0]


def test_a_time_without_its_zone_is_not_believed(tmp_path: Path) -> None:
    cache = AnswerCache(tmp_path)
    cache.store(CACHED)
    (path,) = tmp_path.iterdir()
    path.write_text(path.read_text(encoding="utf-8").replace("+00:00", ""), encoding="utf-8")
    assert cache.load(CACHED.key)[0] is None


def test_a_wait_that_was_noted_is_found_again_and_one_that_does_not_read_is_none(
    tmp_path: Path,
) -> None:
    cache = AnswerCache(tmp_path / "not" / "yet")
    assert cache.held_until_utc("nws") is None
    cache.hold("nws", CACHED.fetched_utc)
    assert cache.held_until_utc("nws") == CACHED.fetched_utc
    assert cache.held_until_utc("open-meteo") is None
    (path,) = (tmp_path / "not" / "yet").iterdir()
    for text in ("", "soon", "2031-06-01T04:00:00", "\0"):
        path.write_text(text, encoding="ascii")
        assert cache.held_until_utc("nws") is None


def test_a_wait_that_cannot_be_noted_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("in the way", encoding="utf-8")
    cache = AnswerCache(tmp_path / "cache")
    cache.hold("nws", CACHED.fetched_utc)
    assert cache.held_until_utc("nws") is None


def test_age_counts_from_this_clock_unless_it_was_plainly_wrong() -> None:
    assert CACHED.when_utc == CACHED.fetched_utc
    ahead = replace(CACHED, fetched_utc=datetime(2041, 6, 1, 4, tzinfo=UTC))
    assert ahead.when_utc == CACHED.date_utc
    assert replace(ahead, date_utc=None).when_utc == ahead.fetched_utc
