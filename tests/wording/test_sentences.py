"""Every message has its sentence, and every sentence the values that it names."""

from __future__ import annotations

import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest

from controller.messages import Message, Quantity
from controller.wording import say as say_module
from controller.wording.say import ALL, SENTENCES, say

ROOT = Path(__file__).resolve().parents[2]


def _messages() -> Iterator[tuple[str, str, frozenset[str] | None]]:
    """Place, code and names of the values of each message that the code makes.

    The names are None where they are not written beside the code.
    """
    for path in sorted((ROOT / "controller").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                continue
            if node.func.id != "Message" or not node.args:
                continue
            code, *values = node.args
            names: frozenset[str] | None = frozenset()
            if values:
                names = None
                if isinstance(values[0], ast.Dict) and None not in values[0].keys:
                    names = frozenset(ast.literal_eval(k) for k in values[0].keys if k is not None)
            place = f"{path.relative_to(ROOT)}:{node.lineno}"
            for one in ast.walk(code):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    yield place, one.value, names


def _names(sentence: str) -> frozenset[str]:
    return frozenset(name for _, name, _, _ in Formatter().parse(sentence) if name is not None)


def test_every_message_has_a_sentence_with_its_values() -> None:
    made = list(_messages())
    assert not [(place, code) for place, code, _ in made if code not in SENTENCES]
    wrong = {
        f"{place} {code}": sorted(_names(SENTENCES[code]) - names)
        for place, code, names in made
        if names is not None and not _names(SENTENCES[code]) <= names
    }
    assert not wrong


def test_every_sentence_is_said_and_none_stands_twice() -> None:
    assert not set(SENTENCES) - {code for _, code, _ in _messages()}
    count = Counter(code for sentences in ALL for code in sentences)
    assert not [code for code, times in count.items() if times > 1]


def test_values_are_shown_in_the_gardeners_units(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        say_module,
        "SENTENCES",
        {
            "a": "{n} {n:hole|holes} at {at}, {share:.1f} of {names:listed}: {ways:, or }",
            "b": "lower it by {by}",
        },
    )
    message = Message(
        "a",
        {
            "n": 3,
            "at": Quantity(1.524, "length"),
            "share": 0.25,
            "names": ("kale", "leeks", "chard"),
            "ways": (Message("b", {"by": Quantity(0.0254, "length")}), Message("b", {"by": "x"})),
        },
    )
    # WORKED: 5 ft are 1.524 m, an inch is 25.4 mm (the international foot of 1959).
    assert say(message, us=True) == (
        "3 holes at 5 ft, 0.2 of kale, leeks and chard: lower it by 1 in, or lower it by x"
    )
    assert say(message, us=False) == (
        "3 holes at 1.52 m, 0.2 of kale, leeks and chard: lower it by 2.5 cm, or lower it by x"
    )


def test_a_code_without_a_sentence_is_an_error_of_ours() -> None:
    with pytest.raises(KeyError):
        say(Message("no such code"), us=False)


def test_messages_with_the_same_figures_are_one() -> None:
    one = Message("days.run", {"first": "2031-06-01", "last": "2031-06-03", "count": 3})
    other = Message("days.run", {"count": 3, "last": "2031-06-03", "first": "2031-06-01"})
    assert {one: 1}[other] == 1
    assert one not in {Message("days.run", {**one.values, "count": 4}), Message("days.many")}


# Words that a reader of English as a third language takes for others; our choice. What stands in
# their place: computed, wrong, reported, did not obey, trusted, needs, must.
_NOT_PLAIN = re.compile(r"\b(reckon\w*|amiss|told|disobey\w*|believ\w*|wants?|shall|of late)\b")
_MOST_WORDS = 27  # of a clause, those that stand for a value among them; our choice


def test_sentences_are_plain_and_no_clause_is_long() -> None:
    shown = {code: re.sub(r"\{[^{}]*\}", "x", text) for code, text in SENTENCES.items()}
    assert not [code for code, text in shown.items() if _NOT_PLAIN.search(text)]
    long = {
        code: part
        for code, text in shown.items()
        for part in re.split(r"[.,;:?!](?:\s|$)", text)
        if len(part.split()) > _MOST_WORDS
    }
    assert not long


def test_what_a_person_reads_beside_them_is_plain_too() -> None:
    not_plain = re.compile(r"\b(reckon\w*|amiss|disobey\w*|told to|is told)\b")
    found = []
    for room in ("cli", "paper", "daemon"):
        for path in sorted((ROOT / "controller" / room).rglob("*.py")):
            text = path.read_text(encoding="utf-8")
            lines = text.splitlines()
            for node in ast.walk(ast.parse(text)):
                if not (isinstance(node, ast.Constant) and isinstance(node.value, str)):
                    continue
                is_docstring = lines[node.lineno - 1].lstrip().startswith(('"""', 'r"""'))
                if not is_docstring and not_plain.search(node.value):
                    found.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.value}")
    assert not found
