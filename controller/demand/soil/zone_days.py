"""A number for each zone and day: a season of 60 zones has ten thousand of them.

In a dict, with its key, such a number takes 150 to 200 bytes; here 12.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, MutableMapping
from datetime import date
from typing import Any, Generic, TypeVar

_N = TypeVar("_N", int, float)
_NOTHING: tuple[array[Any], array[Any]] = (array("i"), array("d"))


class ZoneDays(MutableMapping[tuple[str, date], _N], Generic[_N]):
    """A mapping of (zone, day) to a number, in the order of zones and days.

    It is quick if the days of each zone are added in their order.
    """

    def __init__(
        self, items: Iterable[tuple[tuple[str, date], _N]] = (), *, kind: Callable[[], _N]
    ) -> None:
        """`kind` is `float`, or `int` for whole numbers from 0 to 2^64 - 1."""
        self._code = "d" if kind is float else "Q"
        self._of: dict[str, tuple[array[int], array[_N]]] = {}  # its days, and their numbers
        for (zone, day), number in items:
            self[zone, day] = number

    def __getitem__(self, key: tuple[str, date]) -> _N:
        found = self._found(key)
        if found is None:
            raise KeyError(key)
        return found

    def get(self, key: tuple[str, date], default: Any = None) -> Any:
        """The number, or the default; quicker than by KeyError, as it is called often."""
        found = self._found(key)
        return default if found is None else found

    def __contains__(self, key: object) -> bool:
        return self._found(key) is not None  # type: ignore[arg-type]

    def __setitem__(self, key: tuple[str, date], number: _N) -> None:
        zone, day = key[0], key[1].toordinal()
        if zone not in self._of:
            self._of[zone] = (array("i"), array(self._code))
        days, numbers = self._of[zone]
        at = len(days) if not days or day > days[-1] else bisect_left(days, day)
        if at < len(days) and days[at] == day:
            numbers[at] = number
        else:
            days.insert(at, day)
            numbers.insert(at, number)

    def __delitem__(self, key: tuple[str, date]) -> None:
        if key not in self:
            raise KeyError(key)
        days, numbers = self._of[key[0]]
        at = bisect_left(days, key[1].toordinal())
        del days[at], numbers[at]

    def __iter__(self) -> Iterator[tuple[str, date]]:
        for zone, (days, _) in self._of.items():
            for day in days:
                yield zone, date.fromordinal(day)

    def __len__(self) -> int:
        return sum(len(days) for days, _ in self._of.values())

    def zones(self) -> list[str]:
        """The zones that have, or had, numbers."""
        return list(self._of)

    def days_of(self, zone: str) -> Iterator[tuple[date, _N]]:
        """A zone's days in their order, each with its number."""
        days, numbers = self._of.get(zone, _NOTHING)
        for day, number in zip(days, numbers, strict=True):
            yield date.fromordinal(day), number

    def forget_before(self, first: date) -> None:
        """Drop all days before that one."""
        for days, numbers in self._of.values():
            at = bisect_left(days, first.toordinal())
            del days[:at], numbers[:at]

    def _found(self, key: tuple[str, date]) -> _N | None:
        days, numbers = self._of.get(key[0], _NOTHING)
        day = key[1].toordinal()
        at = bisect_left(days, day)
        return numbers[at] if at < len(days) and days[at] == day else None
