"""What takes long says so on a terminal, and only there; nothing of it is left at the end."""

from __future__ import annotations

import contextlib
import io
import sys
from collections.abc import Iterator

import pytest
from support.until import until

import controller.cli.progress as progress
from controller.cli.output import plain_streams, to_stderr
from controller.cli.progress import progress_words


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True

    def shown(self) -> str:
        """What a terminal shows of it: a carriage return goes to the line's begin."""
        lines = []
        for line in self.getvalue().split("\n"):
            seen = ""
            for part in line.split("\r"):
                seen = part + seen[len(part) :]
            lines.append(seen.rstrip())
        return "\n".join(lines)


@contextlib.contextmanager
def _terminals(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[_Terminal, _Terminal]]:
    """Terminals in place of stdout and stderr."""
    out, err = _Terminal(), _Terminal()
    with monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", out)
        patch.setattr(sys, "stderr", err)
        patch.setattr(progress, "_AGAIN_S", 0.005)
        with plain_streams():
            yield out, err


def _written(err: _Terminal) -> str:
    until(lambda: "timetable" in err.getvalue())
    return err.getvalue()


def test_a_long_command_shows_what_it_does_and_cleans_up(monkeypatch: pytest.MonkeyPatch) -> None:
    with _terminals(monkeypatch) as (out, err):
        with progress_words("plan", quiet_s=0.01):
            assert "\rComputing the timetable: 0 s" in _written(err)
        assert err.shown() == "" and out.getvalue() == ""
        before = err.getvalue()
        print("after", file=sys.stderr)
        assert err.getvalue() == before + "after\n"


def test_the_line_goes_before_anything_else_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    with _terminals(monkeypatch) as (out, err):
        with progress_words("plan", quiet_s=0.01):
            _written(err)
            to_stderr("weather: asked")
            before = len(err.getvalue())
            until(lambda: len(err.getvalue()) > before)  # and it comes again
            print("the answer")
            assert err.shown() == "weather: asked\n"
            ended = err.getvalue()
        assert (out.getvalue(), err.getvalue()) == ("the answer\n", ended)


def test_a_question_ends_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """`input` flushes both streams, and writes its prompt past them."""
    with _terminals(monkeypatch) as (_, err), progress_words("plan", quiet_s=0.01):
        _written(err)
        sys.stderr.flush()
        sys.stdout.flush()
        assert err.shown() == ""


def test_a_fault_leaves_no_line(monkeypatch: pytest.MonkeyPatch) -> None:
    with _terminals(monkeypatch) as (_, err):
        with pytest.raises(ZeroDivisionError), progress_words("plan", quiet_s=0.01):
            _written(err)
            raise ZeroDivisionError
        assert err.shown() == ""


@pytest.mark.parametrize("command", ["walk", "new", "run", "status", "et"])
def test_what_talks_or_is_short_shows_none(command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(progress, "_Progress")
    with _terminals(monkeypatch) as (_, err):
        with progress_words(command, quiet_s=0.0):
            pass
        assert err.getvalue() == ""


def test_a_pipe_gets_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    monkeypatch.delattr(progress, "_Progress")
    with plain_streams(), progress_words("plan", quiet_s=0.0):
        pass


def test_nothing_is_shown_of_what_takes_less_than_two_seconds(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert progress.QUIET_S == 2.0
    with _terminals(monkeypatch) as (_, err):
        with progress_words("plan"):
            to_stderr("weather: asked")
        assert err.getvalue() == "weather: asked\n"
