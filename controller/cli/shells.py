"""completion and manual: what a shell and `man` want to know, made from the parser itself."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from controller.cli.arguments import DATES, EXAMPLES, EXIT_CODES, Parser, below
from controller.errors import InputError

_FILES = ("FILE", "GARDEN", "WEATHER")


def completion(args: argparse.Namespace) -> int:
    """Print the script that lets a shell complete commands and options."""
    try:
        import shtab
    except ImportError:
        raise InputError(
            "the package shtab, which makes it, is missing here; install Rowgate again, or shtab"
        ) from None
    from controller.cli.command_tree import whole_tree

    parser = whole_tree()
    for one in _all(parser):
        for action in one._actions:
            if action.metavar in _FILES:
                action.complete = shtab.FILE  # type: ignore[attr-defined]
            elif action.metavar == "DIR":
                action.complete = shtab.DIRECTORY  # type: ignore[attr-defined]
    print(shtab.complete(parser, shell=args.shell))
    return 0


def manual(args: argparse.Namespace) -> int:
    """Print the manual page in the language of `man`."""
    from controller.cli.command_tree import whole_tree

    print(manual_page(whole_tree()), end="")
    return 0


def manual_page(parser: Parser) -> str:
    """The page: man(7), the macros that every `man` knows."""
    lines = [
        '.TH ROWGATE 1 "" "" "Rowgate"',
        ".SH NAME",
        "rowgate \\- water beds through drilled rows",
        ".SH SYNOPSIS",
        ".B rowgate",
        "COMMAND [OPTIONS]",
        ".SH DESCRIPTION",
        *(_roff(part) for part in _paragraphs(parser)),
        ".SH COMMANDS",
    ]
    for one in _all(parser):
        if one is not parser:
            lines += _command(parser, one)
    lines += [
        ".SH DATES",
        _roff(DATES),
        ".SH ENVIRONMENT",
        ".TP",
        ".B ROWGATE_GARDEN",
        "The garden file.",
        ".TP",
        ".B ROWGATE_STATE",
        "The folder of the logbook.",
        ".SH EXIT STATUS",
        _roff(EXIT_CODES.partition(": ")[2]),
        ".SH FILES",
        ".TP",
        ".I garden.toml",
        "The garden file, in the current folder or one above.",
        ".TP",
        ".I /etc/rowgate/garden.toml, /var/lib/rowgate, /run/rowgate",
        "Garden file, logbook and socket of a board's service.",
        ".SH EXAMPLES",
        *_examples(EXAMPLES[""]),
    ]
    return "\n".join(lines) + "\n"


def _paragraphs(parser: Parser) -> Iterator[str]:
    """Description and epilog, without what has sections of its own."""
    for number, part in enumerate(f"{parser.description}\n\n{parser.epilog}".split("\n\n")):
        if part != EXIT_CODES and "\n  " not in part:
            yield part if number == 0 else f"\n{part}"


def _command(parser: Parser, one: Parser) -> Iterator[str]:
    usage = " ".join(one.format_usage().removeprefix("usage: ").split())
    yield f'.SS "{_roff(one.prog)}"'
    yield f".nh\n{_roff(usage)}\n.hy\n.PP"
    yield _roff(one.description or _help_of(parser, one))
    for action in one._actions:
        if action.help != argparse.SUPPRESS and not isinstance(action, argparse._SubParsersAction):
            name = ", ".join(action.option_strings) or str(action.metavar or action.dest)
            value = f" {action.metavar or action.dest.upper()}" if action.nargs != 0 else ""
            yield ".TP"
            yield f".B {_roff(name + (value if action.option_strings else ''))}"
            yield _roff((action.help or "").replace("%%", "%")) or "\\&"
    yield from _examples(EXAMPLES.get(" ".join(one.prog.split()[1:]), ()))


def _examples(lines: object) -> Iterator[str]:
    if isinstance(lines, tuple) and lines:
        yield ".PP\n.nf"
        yield from (_roff(f"  {line}") for line in lines)
        yield ".fi"


def _help_of(parser: Parser, one: Parser) -> str:
    """The line that the list of commands has for it."""
    for parent in _all(parser):
        for action in parent._actions:
            if isinstance(action, argparse._SubParsersAction):
                for choice in action._choices_actions:
                    if action.choices.get(choice.dest) is one:
                        return str(choice.help).replace("%%", "%")
    return ""


def _all(parser: Parser) -> Iterator[Parser]:
    yield parser
    for under in below(parser).values():
        yield from _all(under)


def _roff(text: str) -> str:
    """The text with what roff would take for its own escaped: groff_man_style(7)."""
    lines = text.replace("\\", "\\e").replace("-", "\\-").split("\n")
    return "\n".join(f"\\&{line}" if line.startswith((".", "'")) else line for line in lines)
