"""Days of the water balance, the older ones packed: a season of 60 zones has 16,000 days.

A `LedgerDay` takes some 1.1 kB and a packed one 0.4 kB. Sixteen compressed together take half of
that or less, because much stays the same from day to day. A day is unpacked as it was packed, but
all its figures are then floats.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import fields
from datetime import date
from operator import attrgetter
from struct import Struct
from typing import Any, TypeVar, overload
from zlib import Z_BEST_SPEED, adler32, compress, crc32, decompress

from controller.demand.records import LedgerDay
from controller.demand.soil.water_balance import DRAW_DAYS

TAIL_DAYS = 8  # the last days, looked at again and again, stay as they are; our choice
_BLOCK_DAYS = 16  # so many are compressed together; our choice

_TYPES = {each.name: str(each.type) for each in fields(LedgerDay)}
_FIGURES = tuple(name for name, kind in _TYPES.items() if kind in ("float", "int"))
_WHOLE = tuple(_FIGURES.index(name) for name in _FIGURES if _TYPES[name] == "int")
_WORDS = tuple(n for n in _TYPES if n not in (*_FIGURES, "day", "draws_mm"))
_figures_of, _words_of = attrgetter(*_FIGURES), attrgetter(*_WORDS)
_ZONE = _WORDS.index("zone")
# The place of its words, its day, its figures, the number of its draws, its draws.
_PACKED = Struct(f"<ii{len(_FIGURES)}db{DRAW_DAYS}d")
_HEAD = Struct("<ii")
_BLOCK_BYTES = _BLOCK_DAYS * _PACKED.size
_COMPARED = slice(4, Struct(f"<ii{len(_FIGURES)}d").size)  # the day and the figures of a record
_NO_DRAWS = (0.0,) * DRAW_DAYS
_T = TypeVar("_T")


class LedgerRows(Sequence[LedgerDay]):
    """One water balance, day by day; it can be extended, and its last day replaced."""

    def __init__(self, rows: Iterable[LedgerDay] = ()) -> None:
        self._blocks: list[bytes] = []  # the oldest days, each compressed
        self._packed = bytearray()  # the days after those, fewer than fill a block
        self._words: dict[tuple[Any, ...], int] = {}
        self._words_at: list[tuple[Any, ...]] = []
        self._tail: deque[LedgerDay] = deque()
        self._carried: tuple[object, int, Any] | None = None
        self += rows

    def append(self, row: LedgerDay) -> None:
        """Add one day."""
        self._tail.append(row)
        if len(self._tail) > TAIL_DAYS:
            self._pack(self._tail.popleft())

    def __iadd__(self, rows: Iterable[LedgerDay]) -> LedgerRows:
        for row in rows:
            self.append(row)
        return self

    def clear(self) -> None:
        """Forget all days."""
        self._blocks.clear()
        self._packed.clear()
        self._carried = None
        self._words.clear()
        self._words_at.clear()
        self._tail.clear()

    def put_last(self, row: LedgerDay) -> None:
        """Replace the last day."""
        self._tail[-1] = row

    def __len__(self) -> int:
        return self._packed_days + len(self._tail)

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
        packed = self._packed_days
        if number >= packed:
            return self._tail[number - packed]
        block, place = divmod(number, _BLOCK_DAYS)
        return self._unpack(_PACKED.unpack_from(self._block(block), place * _PACKED.size))

    def __iter__(self) -> Iterator[LedgerDay]:
        yield from map(self._unpack, self._records())
        yield from self._tail

    def __reversed__(self) -> Iterator[LedgerDay]:
        yield from reversed(self._tail)
        for block in reversed(range(len(self._blocks) + 1)):
            yield from map(self._unpack, reversed([*_PACKED.iter_unpack(self._block(block))]))

    def since(self, day: date) -> list[LedgerDay]:
        """The rows from that day on; rows are in the order of their days."""
        found = []
        for row in reversed(self):
            if row.day < day:
                break
            found.append(row)
        return found[::-1]

    def carried(self, of: object, names: Sequence[str], step: Callable[..., _T], start: _T) -> _T:
        """As the function of that name; the result for the packed days is remembered."""
        if self._carried is None or self._carried[0] != of:
            self._carried = (of, 0, start)
        _, done, value = self._carried
        words = _places_of(names)
        for place, _, *figures in self._records(done):
            mine = self._words_at[place]
            value = step(value, *[mine[n] if is_word else figures[n] for is_word, n in words])
        self._carried = (of, self._packed_days, value)
        wanted = attrgetter(*names)
        for row in self._tail:
            value = step(value, *wanted(row))
        return value

    def columns_back(self, *names: str) -> Iterator[tuple[Any, ...]]:
        """These fields of each row, from the last to the first: quicker than whole rows."""
        yield from map(attrgetter(*names), reversed(self._tail))
        words = _places_of(names)
        for block in reversed(range(len(self._blocks) + 1)):
            for place, _, *figures in reversed([*_PACKED.iter_unpack(self._block(block))]):
                mine = self._words_at[place]
                yield tuple([mine[n] if is_word else figures[n] for is_word, n in words])

    def marks(self) -> Iterator[tuple[str, date, int]]:
        """Zone, day and a checksum of 8 bytes over everything that is compared."""
        words = [repr(each).encode() for each in self._words_at]
        for block in range(len(self._blocks) + 1):
            packed = memoryview(self._block(block))
            for at in range(0, len(packed), _PACKED.size):
                record = packed[at : at + _PACKED.size]
                place, day = _HEAD.unpack_from(record)
                zone = self._words_at[place][_ZONE]
                yield zone, date.fromordinal(day), _mark(words[place], record)
        for row in self._tail:
            yield row.zone, row.day, _mark(repr(_words_of(row)).encode(), _record(0, row))

    @property
    def _packed_days(self) -> int:
        return len(self._blocks) * _BLOCK_DAYS + len(self._packed) // _PACKED.size

    def _block(self, number: int) -> bytes:
        """The records of a block; the last block is the one that is not full yet."""
        full = number < len(self._blocks)
        return decompress(self._blocks[number]) if full else bytes(self._packed)

    def _records(self, first: int = 0) -> Iterator[tuple[Any, ...]]:
        """The packed days from that one on, as the numbers of their records."""
        block, place = divmod(first, _BLOCK_DAYS)
        for number in range(block, len(self._blocks) + 1):
            yield from _PACKED.iter_unpack(self._block(number)[place * _PACKED.size :])
            place = 0

    def _pack(self, row: LedgerDay) -> None:
        words = _words_of(row)
        place = self._words.setdefault(words, len(self._words_at))
        if place == len(self._words_at):
            self._words_at.append(words)
        self._packed += _record(place, row)
        if len(self._packed) == _BLOCK_BYTES:
            self._blocks.append(compress(self._packed, Z_BEST_SPEED))
            self._packed.clear()

    def _unpack(self, record: tuple[Any, ...]) -> LedgerDay:
        place, day, *figures = record
        for at in _WHOLE:
            figures[at] = int(figures[at])
        count, *draws = figures[len(_FIGURES) :]
        return LedgerDay(
            day=date.fromordinal(day),
            draws_mm=tuple(draws[:count]),
            **dict(zip(_FIGURES, figures, strict=False)),
            **dict(zip(_WORDS, self._words_at[place], strict=True)),
        )


def carried(
    rows: Sequence[LedgerDay],
    of: object,
    names: Sequence[str],
    step: Callable[..., _T],
    start: _T,
) -> _T:
    """Fold `step` over these fields (at least two) of each row, from `start`.

    `of` is the key of the running result: the same key means the same fields, step and start.
    """
    if isinstance(rows, LedgerRows):
        return rows.carried(of, names, step, start)
    for figures in map(attrgetter(*names), rows):
        start = step(start, *figures)
    return start


def _places_of(names: Sequence[str]) -> list[tuple[bool, int]]:
    """For each field whether it is among the words, and its place in words or figures."""
    return [(n in _WORDS, (_WORDS if n in _WORDS else _FIGURES).index(n)) for n in names]


def rows_since(rows: Sequence[LedgerDay], day: date, zone: str | None = None) -> list[LedgerDay]:
    """The rows from that day on, of one zone or of all."""
    if isinstance(rows, JoinedRows):
        return rows.since(day, zone)
    return [row for row in rows if row.day >= day and zone in (None, row.zone)]


class JoinedRows(Sequence[LedgerDay]):
    """Several water balances one after the other; they must not change any more."""

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
        """The rows from that day on, one zone after the other."""
        asked = (each for each in self._ledgers if each and zone in (None, each[-1].zone))
        return [row for each in asked for row in each.since(day)]

    def continued(self, rows: Iterable[LedgerDay]) -> JoinedRows:
        """The same with the days that follow, added to the balance of their zone and part."""
        found = {(each[-1].zone, each[-1].part): each for each in self._ledgers if each}
        for row in rows:
            found.setdefault((row.zone, row.part), LedgerRows()).append(row)
        return JoinedRows(found[key] for key in sorted(found))

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
    # Two different checksums; hashlib would load the whole of OpenSSL on a small board.
    compared = record[_COMPARED]
    return crc32(compared, crc32(words)) << 32 | adler32(compared, adler32(words))
