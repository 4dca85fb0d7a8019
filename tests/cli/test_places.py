"""The garden file and the daemon are found from any folder, and never the wrong one in silence."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from support.garden_files import BY_HAND, LEEKS, hand_zone

import controller.cli.daemon_commands as daemon_commands
import controller.cli.places as places
from controller.cli import main
from controller.cli.places import daemon_folders, find_garden, running_daemons
from controller.daemon.control import protocol
from controller.daemon.control.protocol import SOCKET_NAME

Run = Callable[..., tuple[int, str, str]]
GARDEN = BY_HAND.replace("Small", "Back yard") + hand_zone("leeks", LEEKS)


@pytest.fixture(autouse=True)
def no_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No board's service beside these tests."""
    monkeypatch.setattr(places, "SYSTEM_GARDEN", tmp_path / "etc" / "garden.toml")
    monkeypatch.setattr(places, "SYSTEM_STATE", tmp_path / "var")
    for module in (places, daemon_commands):
        monkeypatch.setattr(module, "SYSTEM_RUNTIME", tmp_path / "run")


@pytest.fixture
def deep(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder three below that of a garden file; commands are typed in it."""
    (tmp_path / "garden.toml").write_text(GARDEN, encoding="utf-8")
    folder = tmp_path / "a" / "b" / "c"
    folder.mkdir(parents=True)
    monkeypatch.chdir(folder)
    return folder


def _site(answer: tuple[int, str, str]) -> str:
    assert answer[0] == 0, answer
    return str(json.loads(answer[1])["garden"])


def test_the_garden_file_is_found_in_this_folder_and_in_those_above(run: Run, deep: Path) -> None:
    code, out, err = run("flow", "--json")
    assert _site((code, out, err)) == "Back yard"
    assert err == f"Garden file: {deep.parents[2] / 'garden.toml'}\n"
    (deep / "garden.toml").write_text(GARDEN.replace("Back yard", "Nearer"), encoding="utf-8")
    code, out, err = run("flow", "--json")
    assert (_site((code, out, err)), err) == ("Nearer", "")


def test_the_variable_goes_before_the_folder_and_the_option_before_both(
    run: Run, deep: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("Option", "Variable"):
        (deep / name).write_text(GARDEN.replace("Back yard", name), encoding="utf-8")
    monkeypatch.setenv("ROWGATE_GARDEN", "Variable")
    assert _site(run("flow", "--json")) == "Variable"
    assert _site(run("flow", "--json", "--garden", "Option")) == "Option"
    assert _site(run("flow", "Option", "--json")) == "Option", "as scripts have it"
    assert _site(run("--garden", "Option", "--json", "flow")) == "Option", "before the command"
    monkeypatch.setenv("ROWGATE_GARDEN", "nowhere.toml")
    code, out, err = run("flow")
    assert (code, out) == (2, "") and "ROWGATE_GARDEN names nowhere.toml" in err


def test_two_garden_files_are_one_too_many(deep: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as refused:
        main(["flow", "a.toml", "--garden", "b.toml"])
    assert refused.value.code == 2
    assert "a.toml and, by --garden, b.toml" in capsys.readouterr().err


def test_a_folder_above_that_everybody_may_write_in_is_passed_over(deep: Path) -> None:
    import argparse

    named = argparse.Namespace(garden=None)
    assert find_garden(named) == deep.parents[2] / "garden.toml"
    deep.parents[2].chmod(0o777)
    try:
        assert find_garden(named) is None
        (deep / "garden.toml").write_text(GARDEN, encoding="utf-8")
        assert find_garden(named) == Path("garden.toml"), "the folder one stands in counts"
    finally:
        deep.parents[2].chmod(0o700)


def test_only_without_any_the_example_speaks_and_it_says_how_to_name_one_s_own(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run("flow", "--json")
    assert _site((code, out, err)) == "Tansybeck allotments"
    assert err.startswith("EXAMPLE, invented") and "--garden FILE" in err
    assert err.count("\n") == 1 and len(err) <= 81


@pytest.mark.parametrize(
    "words", [("report",), ("note", "words", "hello"), ("run",), ("walk",)], ids=" ".join
)
def test_what_the_example_cannot_do_asks_for_one_s_own_garden(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*words)
    assert (code, out) == (2, "")
    assert "name your garden file with --garden FILE or in ROWGATE_GARDEN" in " ".join(err.split())
    assert list(tmp_path.iterdir()) == []


def test_notes_and_reports_go_by_the_garden_that_was_found(run: Run, deep: Path) -> None:
    code, out, _ = run("note", "watered", "leeks", "--amount", "40 L", "--json")
    assert (code, json.loads(out)["ok"]) == (0, True)
    assert "leeks watered by hand, 10.57 gal" in json.loads(out)["words"]  # WORKED: 40 L of 3.785 L
    assert (deep.parents[2] / "logbook.db").is_file()
    rows = json.loads(run("report", "--json")[1])["report"]
    assert [(r["zone"], r["given_litres"]) for r in rows] == [("leeks", 40.0)]
    code, out, _ = run("backup", "copy.db")
    assert code == 0 and (deep / "copy.db").is_file()


def test_the_system_s_garden_has_the_system_s_logbook(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "etc").mkdir()
    (tmp_path / "var").mkdir()
    (tmp_path / "home").mkdir()
    monkeypatch.chdir(tmp_path / "home")
    places.SYSTEM_GARDEN.write_text(GARDEN, encoding="utf-8")
    assert run("note", "words", "hello")[0] == 0
    assert (tmp_path / "var" / "logbook.db").is_file()
    assert not (tmp_path / "etc" / "logbook.db").exists()


@pytest.fixture
def listen() -> Iterator[Callable[[Path], Path]]:
    """Opens a socket as a daemon does, in a folder; it answers nobody."""
    with ExitStack() as open_now:

        def at(folder: Path) -> Path:
            folder.mkdir(parents=True, exist_ok=True)
            one = open_now.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
            one.bind(str(folder / SOCKET_NAME))
            one.listen()
            return folder

        yield at


def _only(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Of the machine's sockets let only those below this test's folder be seen."""
    real = places.SOCKETS

    class _Mine:
        def read_text(self, **how: str) -> str:
            head, *lines = real.read_text(encoding="utf-8", errors="replace").splitlines()
            return "\n".join([head, *(line for line in lines if str(tmp_path) in line)])

    monkeypatch.setattr(places, "SOCKETS", _Mine())


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> list[Path]:
    """The folders of the daemons that were asked; only this test's own can be found."""
    _only(monkeypatch, tmp_path)
    folders: list[Path] = []

    def ask(folder: Path, request: object, **_: object) -> dict[str, object]:
        folders.append(folder)
        return {"ok": True, "words": "done"}

    monkeypatch.setattr(daemon_commands, "ask", ask)
    return folders


def test_the_only_daemon_is_found_from_any_folder_and_is_named(
    run: Run, deep: Path, tmp_path: Path, listen: Callable[[Path], Path], asked: list[Path]
) -> None:
    home = listen(tmp_path / "elsewhere")
    code, out, err = run("close", "leeks", "--json")
    assert (code, json.loads(out)) == (0, {"ok": True, "words": "done"})
    assert asked == [home] and f"Daemon in {home}" in " ".join(err.split())


def test_a_socket_that_nobody_listens_on_is_no_daemon(
    tmp_path: Path, listen: Callable[[Path], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    _only(monkeypatch, tmp_path)
    home = listen(tmp_path / "alive")
    (tmp_path / "dead").mkdir()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(tmp_path / "dead" / SOCKET_NAME))
        assert running_daemons() == [home], "bound, and not listening"
    assert running_daemons() == [home]


def test_another_user_s_socket_is_not_taken_for_a_daemon(
    tmp_path: Path, listen: Callable[[Path], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    _only(monkeypatch, tmp_path)
    home = listen(tmp_path / "theirs")
    assert running_daemons() == [home]
    monkeypatch.setattr("os.getuid", lambda: home.stat().st_uid + 1)
    if home.stat().st_uid:
        assert running_daemons() == []
    else:
        assert running_daemons() == [home], "root's may be trusted"


def test_of_several_daemons_the_command_asks_which(
    run: Run, deep: Path, tmp_path: Path, listen: Callable[[Path], Path], asked: list[Path]
) -> None:
    one, other = listen(tmp_path / "one"), listen(tmp_path / "other")
    code, out, err = run("close")
    assert (code, out, asked) == (2, "", [])
    assert f"say which by --runtime FOLDER: {one}, {other}" in " ".join(err.split())
    assert run("close", "--runtime", str(other))[0] == 0
    assert run("close", "--garden", str(one / "garden.toml"))[0] == 0
    assert asked == [other, one]


def test_of_several_daemons_that_of_the_garden_found_here_is_meant(
    run: Run,
    deep: Path,
    tmp_path: Path,
    listen: Callable[[Path], Path],
    asked: list[Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    listen(tmp_path / "other")
    listen(tmp_path)
    code, _, err = run("close")
    assert code == 0 and f"Daemon in {tmp_path} " in " ".join(err.split())
    monkeypatch.chdir(tmp_path)
    assert run("close") == (0, "", "done\n"), "of the one in this folder nothing needs saying"
    assert asked == [tmp_path, tmp_path]


def test_a_garden_that_is_named_is_never_another_one_s_daemon(
    run: Run, deep: Path, tmp_path: Path, listen: Callable[[Path], Path], asked: list[Path]
) -> None:
    listen(tmp_path / "other")
    run("open", "leeks", "--minutes", "1", "--garden", str(deep / "garden.toml"))
    assert asked == [deep], "nobody listens there, and it says so"


def test_a_daemon_s_folders_are_absolute_where_the_kernel_allows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir("/")
    assert daemon_folders(Path("x"), Path("/y/../z")) == [Path("/x"), Path("/z")]
    # unix(7): a socket's path has 107 bytes and a zero.
    long = tmp_path / ("x" * 120)
    long.mkdir()
    monkeypatch.chdir(long)
    assert daemon_folders(Path()) == [Path()]


@pytest.mark.parametrize("words", ["open leeks --minutes 1", "close", "hold", "reset leeks"])
def test_each_request_answers_as_json(run: Run, asked: list[Path], words: str) -> None:
    code, out, _ = run(*words.split(), "--json", "--runtime", "/nonexistent")
    assert (code, json.loads(out)) == (0, {"ok": True, "words": "done"})


def test_who_may_not_talk_to_the_daemon_is_told_so(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError

    monkeypatch.setattr(protocol, "_connect", refused)
    code, out, err = run("status", "--runtime", "/nonexistent")
    assert (code, out) == (1, "") and "you have no right to ask the daemon" in err
