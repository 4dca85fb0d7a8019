"""The command line: what was typed, and the function that it calls."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence

from controller.cli.arguments import Parser, below, command_first, deepest, make_whole, show_page
from controller.cli.command_tree import tree
from controller.cli.output import plain_streams, print_json, to_stderr, words_on_stderr
from controller.cli.progress import progress_words
from controller.errors import InputError, NoWeather, OutOfRange, RowgateError

Command = Callable[[argparse.Namespace], int]


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    with plain_streams():
        return _run(argv)


def _run(argv: Sequence[str] | None) -> int:
    args = _read(sys.argv[1:] if argv is None else list(argv))
    try:
        with words_on_stderr() as words, progress_words(args.command):
            code = _command(args.command)(args)
            if getattr(args, "json", False) and not words.has_answered:
                print_json({"ok": code == 0, "words": "\n".join(words.lines)})
        return code
    except (InputError, OutOfRange, NoWeather) as fault:
        to_stderr(f"rowgate: {fault}")
        return 2
    except RowgateError as fault:
        to_stderr(f"rowgate: {fault}")
        return 1
    except BrokenPipeError:
        # The reader of the pipe went away; point the descriptor elsewhere so that exit is quiet.
        sys.stdout = open("/dev/null", "w", encoding="utf-8")  # noqa: SIM115, PTH123
        return 0
    except KeyboardInterrupt:
        return 130


def _read(words: list[str]) -> argparse.Namespace:
    """What the words say; options stand before the command or behind it."""
    parser = tree()
    words = command_first(words, parser)
    if words[:1] == ["help"]:
        words = [*words[1:], "--help"]
    Parser.words = words
    if not words:
        print(_SHORT, file=sys.stderr, end="")
        parser.exit(2)
    make_whole(parser, words)
    leaf = deepest(parser, words)
    if below(leaf) and words[-1] in leaf.prog.split():
        show_page(leaf)
    args = parser.parse_args(words)
    if named := getattr(args, "named_garden", None):
        if args.garden and args.garden != named:
            parser.error(f"two garden files: {args.garden} and, by --garden, {named}; name one")
        args.garden = named
    return args


def _command(name: str) -> Command:
    """The function of a command; its room is imported only when it runs."""
    if name in ("plan", "balance", "flow", "et"):
        from controller.cli import plan_commands

        return {
            "plan": plan_commands.plan,
            "balance": plan_commands.balance,
            "flow": plan_commands.flow,
            "et": plan_commands.et,
        }[name]
    if name in ("check", "new"):
        from controller.cli import garden_commands

        return {"check": garden_commands.check, "new": garden_commands.new}[name]
    if name in ("note", "report", "backup"):
        from controller.cli import logbook_commands

        return {
            "note": logbook_commands.note,
            "report": logbook_commands.report,
            "backup": logbook_commands.backup,
        }[name]
    if name in ("completion", "manual"):
        from controller.cli import shells

        return {"completion": shells.completion, "manual": shells.manual}[name]
    if name == "walk":
        from controller.cli.walk import command

        return command.walk
    from controller.cli import daemon_commands

    return {
        "run": daemon_commands.run,
        "status": daemon_commands.status,
        "open": daemon_commands.open_zone,
        "close": daemon_commands.close_zone,
        "resume": daemon_commands.resume,
        "hold": daemon_commands.hold,
        "reset": daemon_commands.reset,
    }[name]


_SHORT = """\
Rowgate waters beds through drilled rows. To begin:

  rowgate plan               timetable of your garden, or of an example
  rowgate new garden.toml    answer some questions, get a garden file
  rowgate check              what is wrong in that file, and what works badly
  rowgate status             what the running daemon does

rowgate --help lists every command; rowgate COMMAND --help shows its options,
with examples.
"""
