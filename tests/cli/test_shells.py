"""Completion that a real shell takes, and a manual page that the formatter takes."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.cli.arguments import Parser, below
from controller.cli.command_tree import whole_tree

Run = Callable[..., tuple[int, str, str]]
# Completes the words given, as bash itself does on a tab: bash(1), "Programmable Completion".
TAB = """
source "$1"; shift
function=$(complete -p rowgate | sed 's/.* -F \\([^ ]*\\).*/\\1/')
COMP_WORDS=("$@"); COMP_CWORD=$(( $# - 1 )); COMP_LINE="$*"; COMP_POINT=${#COMP_LINE}
"$function" rowgate "${@: -1}" "${@: -2:1}"
printf '%s\\n' "${COMPREPLY[@]}"
"""


@pytest.fixture(scope="module")
def bash_script(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The script for bash, in a file."""
    if shutil.which("bash") is None:
        pytest.skip("there is no bash here")
    import contextlib
    import io

    from controller.cli import main

    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main(["completion", "bash"]) == 0
    path = tmp_path_factory.mktemp("completion") / "rowgate.bash"
    path.write_text(out.getvalue(), encoding="utf-8")
    return path


def _tab(script: Path, *words: str, folder: Path | None = None) -> list[str]:
    ran = subprocess.run(
        ["bash", "-c", TAB, "tab", str(script), "rowgate", *words],
        capture_output=True,
        text=True,
        check=True,
        cwd=folder,
    )
    assert ran.stderr == ""
    return ran.stdout.split()


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("pl", ["plan"]),
        ("sta", ["status"]),
        ("note wat", ["watered"]),
        ("plan --fr", ["--from"]),
        ("note rain --rep", ["--replace"]),
        ("report --by mo", ["month"]),
        ("completion z", ["zsh"]),
        ("xyzzy", []),
    ],
)
def test_bash_completes_commands_kinds_options_and_choices(
    bash_script: Path, line: str, found: list[str]
) -> None:
    assert _tab(bash_script, *line.split()) == found


def test_bash_offers_each_command(bash_script: Path) -> None:
    assert set(_tab(bash_script, "")) >= set(below(whole_tree()))


def test_bash_completes_the_name_of_a_garden_file(bash_script: Path, tmp_path: Path) -> None:
    (tmp_path / "garden.toml").touch()
    assert _tab(bash_script, "check", "--garden", "gar", folder=tmp_path) == ["garden.toml"]


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_find_no_fault_in_their_script(run: Run, shell: str, tmp_path: Path) -> None:
    code, out, _ = run("completion", shell)
    assert code == 0
    for word in ("plan", "balance", "watered", "replace"):
        assert word in out
    if shutil.which(shell) is not None:
        script = tmp_path / "script"
        script.write_text(out, encoding="utf-8")
        subprocess.run([shell, "-n", str(script)], check=True)


def test_an_unknown_shell_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    from controller.cli import main

    with pytest.raises(SystemExit) as refused:
        main(["completion", "bsh"])
    assert refused.value.code == 2
    assert "did you mean bash?" in capsys.readouterr().err


def _progs(parser: Parser) -> list[str]:
    return [p for under in below(parser).values() for p in (under.prog, *_progs(under))]


def test_the_manual_has_each_command_with_its_options(run: Run) -> None:
    code, page, _ = run("manual")
    assert code == 0
    sections = [line.removeprefix(".SH ") for line in page.splitlines() if line.startswith(".SH ")]
    # In the order that man-pages(7) gives.
    assert sections == [
        *("NAME", "SYNOPSIS", "DESCRIPTION", "COMMANDS", "DATES"),
        *("ENVIRONMENT", "EXIT STATUS", "FILES", "EXAMPLES"),
    ]
    for prog in _progs(whole_tree()):
        assert f'.SS "{prog}"' in page
    assert ".B \\-\\-minutes N" in page and "130 ended by Ctrl\\-C" in page


@pytest.mark.skipif(shutil.which("groff") is None, reason="there is no groff here")
def test_the_formatter_finds_no_fault_in_the_manual(run: Run) -> None:
    page = run("manual")[1]
    ran = subprocess.run(
        ["groff", "-man", "-ww", "-Tutf8", "-P-cbou"],
        input=page,
        capture_output=True,
        text=True,
        check=True,
    )
    assert ran.stderr == ""
    text = " ".join(ran.stdout.replace("‐", "-").split())
    assert "rowgate - water beds through drilled rows" in text
    assert "rowgate note rain" in text and "--replace" in text
