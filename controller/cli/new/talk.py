"""Questions one after another: each with a stand-in, a way back, and an end at any moment.

A dialogue is a function that asks a `Talk`, and depends on nothing but the answers. To go back,
the last answer is dropped and the function is run again on the others, silently. Where the
answers end, it is run once more, with the stand-ins for all that was not answered.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.paper.text import paragraph

T = TypeVar("T")
BACK = ("back", "b")
HELP = ("?", "help", "list")
DO_NOT_KNOW = ("", "don't know", "don\u2019t know", "dont know", "do not know", "dk")


@dataclass(frozen=True, slots=True, kw_only=True)
class StandIn:
    """What is taken where nobody knows the answer, and why; no `why`: it needs no remark."""

    text: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question. The first of the stand-ins that `read` takes is offered.

    `unasked` is the stand-in where the answers ended before this question, if it differs.
    """

    words: str
    read: v.Reader
    stand_ins: Sequence[StandIn]
    more: str = ""  # for a person who asks with "?"
    menu: Sequence[str] = ()  # lines above the question
    shown: Callable[[Any], str] | None = None  # what was understood, where the answer is not it
    unasked: StandIn | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """An answer as written and as read; `why` is of a stand-in, "" for one that was given."""

    text: str
    value: Any
    why: str = ""


class _Back(Exception):
    """The dialogue begins again, with fewer answers."""


class Talk:
    """Asks, and keeps what was answered.

    Parameters
    ----------
    line : callable
        Shows a prompt and returns the next line; EOFError where there is none.
    say : callable
        Shows a line.
    """

    def __init__(self, line: Callable[[str], str], say: Callable[[str], None]) -> None:
        self._line, self._say = line, say
        self._given: list[str] = []
        self._next = 0
        self._over = False

    @property
    def ended(self) -> bool:
        """Whether the answers ended before the last question."""
        return self._over

    @property
    def answered(self) -> int:
        """How many questions were answered."""
        return len(self._given)

    def run(self, dialogue: Callable[[Talk], T]) -> T:
        """What the dialogue makes of the answers."""
        while True:
            self._next = 0
            try:
                return dialogue(self)
            except _Back:
                continue
            except (EOFError, KeyboardInterrupt):
                self._over = True

    def say(self, words: str) -> None:
        """Words before the next question; nothing while earlier answers are gone through again."""
        if self._next == len(self._given) and not self._over:
            for each in words.splitlines():
                for line in paragraph(each, then="") or [""]:
                    self._say(line)

    def ask(self, question: Question) -> Answer:
        """The answer: the one given earlier, a new one, or a stand-in."""
        if self._next < len(self._given):
            self._next += 1
            return _read(question, self._given[self._next - 1])
        if self._over:
            return _read(question, "", unasked=True)
        offered = _stand_in(question)
        for each in question.menu:
            self._say(each)
        *above, last = paragraph(f"{question.words} [{offered.text}]:", then="  ")
        while True:
            for each in above:
                self._say(each)
            text = self._line(f"{last} ").strip()
            small = " ".join(text.casefold().split())
            if small in BACK:
                self.back()
                continue
            if small in HELP:
                self.say(question.more or "Write it as in the brackets, or press Enter.")
                continue
            if small in DO_NOT_KNOW:
                text = ""
            try:
                answer = _read(question, text)
            except QuantityError as error:
                words = str(error)
                self.say(f"{words[:1].upper()}{words[1:].rstrip('.')}.")
                continue
            if not text and answer.why:
                self.say(f"  Taken: {answer.text}; {answer.why}.")
            elif question.shown is not None:
                understood = question.shown(answer.value)
                if understood.casefold() != (text or answer.text).casefold():
                    self.say(f"  {understood}")
            self._given.append(text)
            self._next += 1
            return answer

    def back(self, questions: int = 1) -> None:
        """Go back so many questions; at the first one, stay."""
        if not self._given:
            self._say("This is the first question.")
            return
        del self._given[-questions:]
        raise _Back


def _read(question: Question, text: str, *, unasked: bool = False) -> Answer:
    if not text:
        stand_in = _stand_in(question)
        if unasked and question.unasked is not None:
            stand_in = question.unasked
        return Answer(text=stand_in.text, value=question.read(stand_in.text), why=stand_in.why)
    # Longer than any good answer, or with a character that no line may have.
    v.text("an answer", question.stand_ins[-1].text or "leeks")(text)
    return Answer(text=text, value=question.read(text))


def _stand_in(question: Question) -> StandIn:
    """The first stand-in that may be the answer; the last one always may."""
    for stand_in in question.stand_ins[:-1]:
        try:
            question.read(stand_in.text)
        except QuantityError:
            continue
        return stand_in
    return question.stand_ins[-1]


def one_of(what: str, choices: Mapping[str, str]) -> v.Reader:
    """One of some words, by its number, or by as many of its first letters as tell it apart."""
    words = list(choices)

    def read(found: str) -> str:
        small = " ".join(found.casefold().split())
        if small.isascii() and small.isdigit() and 1 <= int(small) <= len(words):
            return words[int(small) - 1]
        begun = [word for word in words if word.startswith(small)]
        if small in words or len(begun) == 1:
            return small if small in words else begun[0]
        raise QuantityError(f"found {q.spell(found)}; {v.instead_of(small, what, words)}")

    return read


def menu(choices: Mapping[str, str]) -> list[str]:
    """The lines of a menu."""
    wide = max(map(len, choices))
    return [
        line
        for number, (word, means) in enumerate(choices.items(), 1)
        for line in paragraph(
            f"{number:>2} {word:<{wide}}  {means}".rstrip(), "  ", then=" " * (wide + 7)
        )
    ]
