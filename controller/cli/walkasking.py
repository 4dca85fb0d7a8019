"""Questions to the person who walks: asked again until the answer reads, never without end."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

ANSWER_WITHIN_S = 300.0  # our choice: long enough to walk to the far bed and back
YES, NO, UNSURE = ("yes", "y"), ("no", "n"), ("unsure", "?")
NONE, ALL = ("none", "nothing", "0"), ("all", "every")
ELSEWHERE, AGAIN = ("else", "elsewhere", "other"), ("again",)
END = ("end", "stop", "quit")


class WalkEnded(Exception):
    """The walk is over before its last line; the words say why."""


class Person(Protocol):
    """Who walks. Both waits look after the lines meanwhile, and raise if those are not safe."""

    def say(self, words: str) -> None:
        """Tell the person something."""

    def ask(self, question: str, within_s: float) -> str | None:
        """The answer, or None when none came in time."""

    def wait(self, seconds: float) -> None:
        """Let time pass."""


class Asking:
    """What is asked, and how an answer is read."""

    def __init__(self, person: Person, zones: Sequence[str]) -> None:
        self._person, self._names = person, list(zones)

    def answer(self, question: str) -> str:
        """The answer in small letters; `WalkEnded` if none comes in time, or the person ends it."""
        said = self._person.ask(question, ANSWER_WITHIN_S)
        if said is None:
            raise WalkEnded(f"nobody answered within {ANSWER_WITHIN_S / 60.0:.0f} minutes")
        plain = said.strip().casefold()
        if plain in END:
            raise WalkEnded("ended by the person")
        return plain

    def yes(self, question: str) -> bool:
        """Yes or no."""
        while True:
            said = self.answer(f"{question}\n  yes; no")
            if said in YES or said in NO:
                return said in YES

    def yes_no_unsure(self, question: str) -> bool | None:
        """Yes, no, or None for unsure."""
        while True:
            said = self.answer(f"{question}\n  yes; no; unsure")
            if said in UNSURE:
                return None
            if said in YES or said in NO:
                return said in YES

    def enter_or_skip(self, words: str) -> bool:
        """Whether to go on; False to skip."""
        while True:
            said = self.answer(f"{words}.\n  Enter opens it; skip; end")
            if said in ("", "skip"):
                return said == ""

    def zones_of(self, said: str) -> frozenset[str]:
        """The zones of an answer; none, and a word to the person, where it does not read."""
        by_word = {str(number): name for number, name in enumerate(self._names, 1)}
        by_word |= {name.casefold(): name for name in self._names}
        if said in by_word:  # a name may have a comma in it
            return frozenset((by_word[said],))
        words = [word.strip() for word in said.split(",") if word.strip()]
        unknown = [word for word in words if word not in by_word]
        if not words or unknown:
            shown = ", ".join(unknown) or "nothing"
            self._person.say(f"Found {shown}; zones are numbered 1 to {len(self._names)}.")
            return frozenset()
        return frozenset(by_word[word] for word in words)
