"""Covers over a bed: their kinds, their factors, and their form in the garden file.

A cover is the name of its kind, a table of `KEYS`, or a list of either. It lets in a share of the
reference ET and of the rain outside; `demand/climate/under_cover.py` uses these factors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from types import MappingProxyType
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.values import instead_of

NONE = "none"
KEYS = ("kind", "from", "until", "eto_factor", "rain_factor", "shade", "whitened")
SHADE_CLOTH = "shade cloth"


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverKind:
    """A kind of cover: its factors for reference ET (None: by its shade) and for rain."""

    eto_factor: float | None
    rain_factor: float
    eto_why: str
    rain_why: str
    is_film: bool = False
    warmer_c: float = 0.0


# If a source gives a range or one case, the figure within it is our choice.
KINDS: Mapping[str, CoverKind] = MappingProxyType(
    {
        # Amiri and others (2018): 17.6 mm a week in a glasshouse, 27.6 mm outside, 64 %.
        "glasshouse": CoverKind(
            eto_factor=0.65,
            rain_factor=0.0,
            eto_why="Amiri and others 2018, 0.64",
            rain_why="glass",
            is_film=True,
        ),
        # Our choice: with some vents open, a film house counts as a glasshouse.
        "film house": CoverKind(
            eto_factor=0.65,
            rain_factor=0.0,
            eto_why="as a glasshouse; our choice",
            rain_why="film",
            is_film=True,
        ),
        # 0.6 to 0.85, from memory; film passes 60 to 80 % of the sun.
        "high tunnel": CoverKind(
            eto_factor=0.75,
            rain_factor=0.0,
            eto_why="0.6 to 0.85, from memory",
            rain_why="film; its edges get some",
            is_film=True,
        ),
        # Both from memory. Its runoff soaks in beside the bed and partly comes back; not counted.
        "low tunnel": CoverKind(
            eto_factor=0.65,
            rain_factor=0.0,
            eto_why="from memory",
            rain_why="film; it runs off beside",
            is_film=True,
        ),
        # Kitta and others (2014): ETo falls linearly with the light that passes and the wind.
        # The slope, `SHADE_SLOPE`, is our choice.
        SHADE_CLOTH: CoverKind(
            eto_factor=None,
            rain_factor=1.0,
            eto_why="1 - 0.8 x shade, after Kitta and others 2014",
            rain_why="all passes",
        ),
        # As the same study, of a net that shades little and slows the wind; our choice within it.
        "insect net": CoverKind(
            eto_factor=0.85,
            rain_factor=1.0,
            eto_why="after Kitta and others 2014",
            rain_why="all passes",
        ),
        # From memory: 0.7 to 0.9 of the rain passes; under it 2 to 4 C warmer.
        "row cover": CoverKind(
            eto_factor=0.85,
            rain_factor=0.8,
            eto_why="from memory",
            rain_why="0.7 to 0.9, from memory",
            warmer_c=3.0,
        ),
    }
)
SHADE_SLOPE = 0.8  # our choice: some light is scattered in, and a warmer leaf loses a little more
# Fernandez and others, houses at Almeria (abstract): whitening cut the ETo inside by 21.4 %.
WHITENED = 0.79

# Other names that gardeners use; common practice, no source.
_ALSO = {
    **dict.fromkeys(("greenhouse", "glass house", "glass"), "glasshouse"),
    **dict.fromkeys(("film greenhouse", "plastic house", "poly house", "polyhouse"), "film house"),
    **dict.fromkeys(("tunnel", "polytunnel", "hoop house", "hoophouse"), "high tunnel"),
    **dict.fromkeys(("cloche", "cloches", "caterpillar tunnel", "mini tunnel"), "low tunnel"),
    **dict.fromkeys(("shade", "shade net", "shadecloth"), SHADE_CLOTH),
    **dict.fromkeys(("net", "insect mesh", "insect netting"), "insect net"),
    **dict.fromkeys(("fleece", "floating row cover"), "row cover"),
}

# A heated house can lose more than the open in winter, hence above 1; both bounds our choice.
_ETO_FACTOR = v.number("an eto_factor", "0.7", 0.1, 1.5)
_MOST_SHADE = 0.95  # nothing grows with more shade; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenCover:
    """One cover as written in the file; None for a missing key."""

    kind: str
    begins: date | None = None
    until: date | None = None
    eto_factor: float | None = None
    rain_factor: float | None = None
    shade: float | None = None
    whitened: bool = False


def covers(found: Any) -> tuple[WrittenCover, ...]:
    """The covers of a bed: a word, a table, a list of them, or "none"."""
    if isinstance(found, str) and _word(found) == NONE:
        return ()
    listed = found if isinstance(found, list) else [found]
    read = []
    for number, one in enumerate(listed, 1):
        try:
            read.append(_cover(one))
        except QuantityError as fault:
            raise QuantityError(
                f"cover {number}: {fault}" if len(listed) > 1 else str(fault)
            ) from None
    for one, other in combinations(read, 2):
        if one.kind == other.kind and _together(one, other):
            raise QuantityError(
                f"found two of kind {q.spell(one.kind)} on the same days; a kind stands over a bed "
                "once at a time"
            )
    return tuple(read)


def _cover(found: Any) -> WrittenCover:
    table: Mapping[str, Any] = {"kind": found} if isinstance(found, str) else found
    if not isinstance(table, dict):
        raise QuantityError(
            f'found {q.spell(found)}; a cover is its kind, as in "high tunnel", or a table, as in '
            '{ kind = "high tunnel", from = 2031-03-01, until = 2031-10-31 }'
        )
    for key in table:
        if key not in KEYS:
            raise QuantityError(f"found the key {key}; {instead_of(key, 'a key of it', KEYS)}")
    if "kind" not in table:
        raise QuantityError('found no kind; a cover names it, as in kind = "high tunnel"')
    read = WrittenCover(
        kind=_kind(table["kind"]),
        begins=_of(table, "from", v.calendar_day),
        until=_of(table, "until", v.calendar_day),
        eto_factor=_of(table, "eto_factor", _ETO_FACTOR),
        rain_factor=_of(table, "rain_factor", _rain_factor),
        shade=_of(table, "shade", _shade),
        whitened=_of(table, "whitened", v.yes_no) or False,
    )
    _check(read)
    return read


def _check(read: WrittenCover) -> None:
    """Raise QuantityError if the keys of one cover contradict each other."""
    if read.begins is not None and read.until is not None and read.until < read.begins:
        raise QuantityError(
            f"found until = {read.until}; its last day is not before its first, {read.begins}"
        )
    if read.kind == SHADE_CLOTH and read.shade is None and read.eto_factor is None:
        raise QuantityError(
            "found a shade cloth without its shade; say how much light it keeps out, as in "
            '{ kind = "shade cloth", shade = "50 %" }'
        )
    if read.shade is not None and read.kind != SHADE_CLOTH:
        raise QuantityError(f'found shade with kind "{read.kind}"; it belongs to a "{SHADE_CLOTH}"')
    if read.whitened and not KINDS[read.kind].is_film:
        raise QuantityError(f'found whitened with kind "{read.kind}"; glass and film are whitened')
    both = "shade" if read.shade is not None else "whitened" if read.whitened else ""
    if both and read.eto_factor is not None:
        raise QuantityError(
            f"found eto_factor and {both}; an eto_factor of your own is of the cover as it is: "
            "write one of the two"
        )


def _of(table: Mapping[str, Any], key: str, read: v.Reader) -> Any:
    """The value of a key, None if it is missing; a fault names the key."""
    if key not in table:
        return None
    try:
        return read(table[key])
    except QuantityError as fault:
        raise QuantityError(f"{key}: {fault}") from None


def _word(found: Any) -> str:
    return " ".join(found.lower().replace("-", " ").split()) if isinstance(found, str) else ""


def _kind(found: Any) -> str:
    word = _ALSO.get(_word(found), _word(found))
    if word not in KINDS:
        raise QuantityError(f"found {q.spell(found)}; {instead_of(word, 'a cover', KINDS)}")
    return word


def _rain_factor(found: Any) -> float:
    return q.read_share(found, what="a rain_factor")


def _shade(found: Any) -> float:
    share = q.read_share(found, what="a shade")
    if not 0.0 < share <= _MOST_SHADE:
        raise QuantityError(
            f'found {q.spell(found)}; a shade is above 0, at most {_MOST_SHADE:g}, as in "50 %"'
        )
    return share


def _together(one: WrittenCover, other: WrittenCover) -> bool:
    """Whether both covers stand on a common day."""
    begins = max(one.begins or date.min, other.begins or date.min)
    return begins <= min(one.until or date.max, other.until or date.max)
