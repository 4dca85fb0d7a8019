"""The few operations a day's soil water needs beyond + - * /, for plain numbers or for arrays.

The daily step is written once. The ledger runs it on floats; whoever looks many seasons ahead hands
it arrays and their own three functions, and gets the same figures.
"""

from __future__ import annotations

from typing import Any, Protocol

Number = Any  # a float, or an array of them: whatever the `Maths` handed in can work on


class Maths(Protocol):
    """Element by element: the lesser, the greater, and one or the other."""

    def least(self, one: Number, other: Number) -> Number:
        """The lesser of the two."""

    def most(self, one: Number, other: Number) -> Number:
        """The greater of the two."""

    def choose(self, condition: Any, yes: Number, no: Number) -> Number:
        """`yes` where the condition holds, else `no`."""


class Floats:
    """Plain numbers."""

    least = staticmethod(min)
    most = staticmethod(max)

    @staticmethod
    def choose(condition: Any, yes: Number, no: Number) -> Number:
        """`yes` where the condition holds, else `no`."""
        return yes if condition else no


FLOATS: Maths = Floats()
