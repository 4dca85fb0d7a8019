"""Values of plantings and of the ground they stand in; as in `values`, one reader each."""

from __future__ import annotations

from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.values import instead_of

MULCHES = ("none", "straw", "leaves", "compost", "bark", "grass", "plastic")
# What gardeners call them too.
_ALSO = {
    **dict.fromkeys(("wood chips", "woodchips", "chips"), "bark"),
    **dict.fromkeys(("grass clippings", "clippings"), "grass"),
    **dict.fromkeys(("film", "plastic film", "black plastic"), "plastic"),
    "hay": "straw",
}
# Of the rain that falls on a film: what the plants' holes gather, three times their 2 % of it, and
# a quarter that seeps in from the sides of a flat bed. Our choice. One figure stands behind it:
# 61 % less soaks in below a film than into bare ground (a field of soya in Japan, measured and
# simulated; its abstract), and 0.1 + 0.9 x 0.31 = 0.38. High ridges, wide film and light rain let
# in less (0.16 to 0.3), hollows at the holes and woven or punched cloth more (0.45 to 0.9).
FILM_RAIN = 3.0 * 0.02 + 0.25
_WARMTH_EXAMPLE = '["250 C days", "500 C days", "700 C days", "300 C days"]'

APART = v.length(
    "how far plants stand apart", '"18 in" or "45 cm"', 0.005, 10.0, "5 mm to 10 m (33 ft)"
)
# FAO-56 (1998) lets even the coefficient itself of small stands pass its usual ceiling only up to
# 2.5 (chapter 10, from memory), so a factor beyond that is a slip; the lower end is our choice.
EXPOSURE = v.number("an exposure", "1.2", 0.5, 2.5)


def mulch(found: Any) -> str:
    """What covers the ground, by the word of the model."""
    word = " ".join(found.lower().split()) if isinstance(found, str) else ""
    if word in MULCHES:
        return word
    if word in _ALSO:
        return _ALSO[word]
    raise QuantityError(f"found {q.spell(found)}; {instead_of(word, 'a mulch', MULCHES)}")


def rain_through(mulch: str, cover: float) -> float:
    """The share of the rain that gets into ground so covered, 0 to 1; all but where film lies."""
    return 1.0 if mulch != "plastic" else 1.0 - cover * (1.0 - FILM_RAIN)


def row_numbers(found: Any) -> tuple[int, ...]:
    """Rows of a zone by number, the first is 1; a single one may stand without brackets."""
    listed = found if isinstance(found, list) else [found]
    if listed and all(isinstance(one, int) and not isinstance(one, bool) for one in listed):
        return tuple(sorted({v.whole("a row's number", 1, 1000)(one) for one in listed}))
    raise QuantityError(
        f"found {q.spell(found)}; rows are a list of the zone's rows by number, as in [1, 2]"
    )


def stage_days(found: Any) -> tuple[int, int, int, int]:
    """The lengths of the four stages in days."""
    one_stage = v.whole("each stage", 1, 400)
    if isinstance(found, list) and len(found) == 4:
        first, second, third, fourth = (one_stage(days) for days in found)
        return first, second, third, fourth
    raise QuantityError(
        f"found {q.spell(found)}; stages are four numbers of days, as in [30, 40, 45, 30]"
    )


def stage_warmth(found: Any) -> tuple[float, float, float, float]:
    """The lengths of the four stages in degree days, each with its unit."""
    one_stage = v.quantity(
        q.WARMTH, "the warmth of a stage", '"250 C days"', 1.0, 5000.0, "1 to 5000 C days"
    )
    if isinstance(found, list) and len(found) == 4:
        first, second, third, fourth = (one_stage(warmth) for warmth in found)
        return first, second, third, fourth
    raise QuantityError(
        f"found {q.spell(found)}; stages by warmth are four sums of degree days, as in "
        f"{_WARMTH_EXAMPLE}"
    )


def days_of(what: str, low: int, high: int, example: int) -> v.Reader:
    """A whole number of days: bare, because the key asks for days, or "12 days", "2 weeks"."""
    bounds = f'{what} is {low} to {high} whole days, as in {example} or "{example} days"'

    def read(found: Any) -> int:
        days: float = -1.0
        if isinstance(found, str):
            days = q.parse(found, q.DAYS, what=what, example=f'"{example} days"')
        elif isinstance(found, int) and not isinstance(found, bool):
            days = float(min(found, high + 1))
        if not low <= days <= high or days != int(days):
            raise QuantityError(f"found {q.spell(found)}; {bounds}")
        return int(days)

    return read
