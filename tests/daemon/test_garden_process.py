"""The garden file read in a process of its own: the same garden, the same faults, or read here."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from controller.daemon.garden_process import read_apart
from controller.errors import GardenFileError
from controller.inputs.garden_loader import garden_from_text
from crops.catalogue import load

EXAMPLE = (Path(__file__).parents[2] / "config" / "example-garden.toml").read_text("utf-8")
CATALOGUE = load()


def test_the_garden_is_the_same_as_read_here() -> None:
    assert read_apart(EXAMPLE, "g.toml") == garden_from_text(EXAMPLE, "g.toml", CATALOGUE)


def test_the_faults_are_the_same_as_read_here() -> None:
    text = EXAMPLE.replace('crop = "leek"', 'crop = "lek"').replace("latitude", "latitide")
    with pytest.raises(GardenFileError) as here:
        garden_from_text(text, "g.toml", CATALOGUE)
    with pytest.raises(GardenFileError) as apart:
        read_apart(text, "g.toml")
    assert apart.value.faults == here.value.faults and len(here.value.faults) >= 2


@pytest.mark.parametrize(
    "happens",
    [
        OSError(12, "Cannot allocate memory"),
        subprocess.TimeoutExpired("reader", 60.0),
        subprocess.CalledProcessError(-9, "reader"),
    ],
    ids=["none can be begun", "it takes for ever", "it is killed"],
)
def test_without_the_process_it_is_read_here(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, happens: Exception
) -> None:
    def run(*_: object, **__: object) -> None:
        raise happens

    monkeypatch.setattr(subprocess, "run", run)
    assert read_apart(EXAMPLE, "g.toml") == garden_from_text(EXAMPLE, "g.toml", CATALOGUE)
    assert "read in the daemon itself" in caplog.text


@pytest.mark.parametrize("said", [b"", b"no pickle", b"\x80\x05"], ids=["nothing", "other", "cut"])
def test_an_answer_that_is_none_is_not_taken(monkeypatch: pytest.MonkeyPatch, said: bytes) -> None:
    done = subprocess.CompletedProcess([], 0, said, None)
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: done)
    with pytest.raises(GardenFileError):
        read_apart("nothing = 1\n", "g.toml")


def test_what_reads_it_never_comes_into_the_daemon() -> None:
    """pydantic and the forms it fills take 10 MB and more, for a file that is read once."""
    code = (
        "import sys, controller.daemon.service\n"
        "from controller.daemon.garden_process import read_apart\n"
        "read_apart(sys.stdin.read(), 'g.toml')\n"
        "form = 'controller.garden.pydantic_form'\n"
        "print({'pydantic', 'controller.garden.read', form} & {*sys.modules})"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code], input=EXAMPLE, capture_output=True, text=True, check=True
    )
    assert ran.stdout == "set()\n"
