"""The days of a ledger, the older ones packed: a season of 60 zones is 16,000 days.

A day as it is worked with takes some 1.1 kB, a packed one a third of that. It comes out as it went
in; only its figures are then all floats, as they are written.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
from datetime import date
from operator import attrgetter
from struct import Struct
from typing import Any, overload
from zlib import adler32, crc32

from controller.demand.ledger import DRAW_DAYS
from controller.demand.records import LedgerDay

TAIL_DAYS = 14  # the last days, looked at again and again, stay as they are; our choice

_TYPES = {each.name: str(each.type) for each in fields(LedgerDay)}
_FIGURES = tuple(name for name, kind in _TYPES.items() if kind in ("float", "int"))
_WHOLE = tuple(_FIGURES.index(name) for name in _FIGURES if _TYPES[name] == "int")
_WORDS = tuple(n for n in _TYPES if n not in (*_FIGURES, "day", "draws_mm"))
_figures_of, _words_of = attrgetter(*_FIGURES), attrgetter(*_WORDS)
_ZONE = _WORDS.index("zone")
# The place of its words, its day, its figures, how many draws there are, its draws.
_PACKED = Struct(f"<ii{len(_FIGURES)}db{DRAW_DAYS}d")
_HEAD = Struct("<ii")
_COMPARED = slice(4, Struct(f"<ii{len(_FIGURES)}d").size)  # the day and the figures of a record
_NO_DRAWS = (0.0,) * DRAW_DAYS


class LedgerRows(Sequence[LedgerDay]):
    """One ledger, day by day; to be lengthened, and its last day to be changed."""

    def __init__(self, rows: Iterable[LedgerDay] = ()) -> None:
        self._packed = bytearray()
        self._words: dict[tuple[Any, ...], int] = {}
        self._words_at: list[tuple[Any, ...]] = []
        self._tail: deque[LedgerDay] = deque()
        self += rows

    def append(self, row: LedgerDay) -> None:
        """One day more."""
        self._tail.append(row)
        if len(self._tail) > TAIL_DAYS:
            self._pack(self._tail.popleft())

    def __iadd__(self, rows: Iterable[LedgerDay]) -> LedgerRows:
        for row in rows:
            self.append(row)
        return self

    def clear(self) -> None:
        """Forget all days."""
        self._packed.clear()
        self._words.clear()
        self._words_at.clear()
        self._tail.clear()

    def put_last(self, row: LedgerDay) -> None:
        """Put this day in place of the last."""
        self._tail[-1] = row

    def __len__(self) -> int:
        return len(self._packed) // _PACKED.size + len(self._tail)

    def __bool__(self) -> bool:
        return bool(self._tail)

    @overload
    def __getitem__(self, at: int) -> LedgerDay: ...

    @overload
    def __getitem__(self, at: slice) -> list[LedgerDay]: ...

    def __getitem__(self, at: int | slice) -> LedgerDay | list[LedgerDay]:
        if isinstance(at, slice):
            return [self[n] for n in range(*at.indices(len(self)))]
        if at == -1 and self._tail:  # asked for most of all
            return self._tail[-1]
        count = len(self)
        number = at + count if at < 0 else at
        if not 0 <= number < count:
            raise IndexError(f"day {at} of {count}")
        packed = count - len(self._tail)
        return self._tail[number - packed] if number >= packed else self._unpack(number)

    def __iter__(self) -> Iterator[LedgerDay]:
        for number in range(len(self) - len(self._tail)):
            yield self._unpack(number)
        yield from self._tail

    def __reversed__(self) -> Iterator[LedgerDay]:
        yield from reversed(self._tail)
        for number in reversed(range(len(self) - len(self._tail))):
            yield self._unpack(number)

    def since(self, day: date) -> list[LedgerDay]:
        """The rows from that day on, of rows in the order of their days."""
        found = []
        for row in reversed(self):
            if row.day < day:
                break
            found.append(row)
        return found[::-1]

    def columns(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """These fields of each row, which is quicker than all of them."""
        at = _places_of(names)
        for place, _, *figures in _PACKED.iter_unpack(self._packed):
            words = self._words_at[place]
            yield tuple([words[n] if is_word else figures[n] for is_word, n in at])
        yield from map(attrgetter(*names), self._tail)

    def columns_back(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """The same, from the last row back to the first."""
        yield from map(attrgetter(*names), reversed(self._tail))
        at, size = _places_of(names), _PACKED.size
        for begins in range(len(self._packed) - size, -1, -size):
            place, _, *figures = _PACKED.unpack_from(self._packed, begins)
            words = self._words_at[place]
            yield tuple([words[n] if is_word else figures[n] for is_word, n in at])

    def marks(self) -> Iterator[tuple[str, date, int]]:
        """The zone, the day and a number of 8 bytes that differs where anything compared does."""
        words = [repr(each).encode() for each in self._words_at]
        packed = memoryview(self._packed)
        for at in range(0, len(packed), _PACKED.size):
            record = packed[at : at + _PACKED.size]
            place, day = _HEAD.unpack_from(record)
            zone = self._words_at[place][_ZONE]
            yield zone, date.fromordinal(day), _mark(words[place], record)
        for row in self._tail:
            yield row.zone, row.day, _mark(repr(_words_of(row)).encode(), _record(0, row))

    def _pack(self, row: LedgerDay) -> None:
        words = _words_of(row)
        place = self._words.setdefault(words, len(self._words_at))
        if place == len(self._words_at):
            self._words_at.append(words)
        self._packed += _record(place, row)

    def _unpack(self, number: int) -> LedgerDay:
        place, day, *figures = _PACKED.unpack_from(self._packed, number * _PACKED.size)
        for at in _WHOLE:
            figures[at] = int(figures[at])
        count, *draws = figures[len(_FIGURES) :]
        return LedgerDay(
            day=date.fromordinal(day),
            draws_mm=tuple(draws[:count]),
            **dict(zip(_FIGURES, figures, strict=False)),
            **dict(zip(_WORDS, self._words_at[place], strict=True)),
        )


def _places_of(names: Sequence[str]) -> list[tuple[bool, int]]:
    """Of each field, whether it is of words, and its place among the words or the figures."""
    return [(n in _WORDS, (_WORDS if n in _WORDS else _FIGURES).index(n)) for n in names]


def columns(rows: Sequence[LedgerDay], *names: str) -> Iterator[tuple[Any, ...]]:
    """These fields, two at least, of each row of a ledger."""
    return rows.columns(*names) if isinstance(rows, LedgerRows) else map(attrgetter(*names), rows)


def rows_since(rows: Sequence[LedgerDay], day: date, zone: str | None = None) -> list[LedgerDay]:
    """The rows from that day on, of one zone or of all."""
    if isinstance(rows, JoinedRows):
        return rows.since(day, zone)
    return [row for row in rows if row.day >= day and zone in (None, row.zone)]


class JoinedRows(Sequence[LedgerDay]):
    """Several ledgers as one, one after the other; what it was made of must change no more."""

    def __init__(self, ledgers: Iterable[LedgerRows]) -> None:
        self._ledgers = tuple(ledgers)

    def __len__(self) -> int:
        return sum(len(each) for each in self._ledgers)

    @overload
    def __getitem__(self, at: int) -> LedgerDay: ...

    @overload
    def __getitem__(self, at: slice) -> list[LedgerDay]: ...

    def __getitem__(self, at: int | slice) -> LedgerDay | list[LedgerDay]:
        if isinstance(at, slice):
            return list(self)[at]
        number = at + len(self) if at < 0 else at
        for each in self._ledgers:
            if 0 <= number < len(each):
                return each[number]
            number -= len(each)
        raise IndexError(f"day {at} of {len(self)}")

    def __iter__(self) -> Iterator[LedgerDay]:
        for each in self._ledgers:
            yield from each

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence) or len(self) != len(other):
            return False
        return all(mine == theirs for mine, theirs in zip(self, other, strict=True))

    def since(self, day: date, zone: str | None = None) -> list[LedgerDay]:
        """The rows from that day on, ledger by ledger; each ledger is of one zone."""
        asked = (each for each in self._ledgers if each and zone in (None, each[-1].zone))
        return [row for each in asked for row in each.since(day)]

    def marks(self) -> Iterator[tuple[str, date, int]]:
        """As those of each ledger."""
        for each in self._ledgers:
            yield from each.marks()


def _record(place: int, row: LedgerDay) -> bytes:
    draws = row.draws_mm
    return _PACKED.pack(
        place,
        row.day.toordinal(),
        *_figures_of(row),
        len(draws),
        *draws,
        *_NO_DRAWS[len(draws) :],
    )


def _mark(words: bytes, record: bytes | memoryview) -> int:
    # Two sums of different make; hashlib would bring the whole of OpenSSL into a small board.
    compared = record[_COMPARED]
    return crc32(compared, crc32(words)) << 32 | adler32(compared, adler32(words))
