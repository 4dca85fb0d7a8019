"""Loss coefficients of the main's tees, reducers and elbows, with their sources."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from controller.errors import QuantityError
from controller.garden import quantities as q
from controller.garden import values as v
from controller.garden.plumbing import Pipe


class Begins(StrEnum):
    """How water enters a run."""

    STRAIGHT = "straight on"
    SIDE = "side branch"
    BULL_HEAD = "bull head"  # into the branch of a tee, out at both ends


# Loss coefficients on the velocity in the pipe that begins there.
# A side branch: a dividing tee by Crane TP-410 (its formulas as the library `fluids` has them)
# gives 4.6, 2.2 and 1.7 for pipes of one size with 0.5, 0.8 and all of the water going into the
# branch, and 1.7 to 0.65 for a branch one size smaller; handbooks print 1.0 to 1.5 for threaded
# tees. Straight on: -0.05 to 0.1 while most of the water goes on; into a smaller pipe a sharp
# reducer adds 0.2 to 0.3 for one size, 0.33 to 0.45 for two. Round figures among these are our
# choice; half as much more or less is how well a real tee is known.
STRAIGHT_K, STRAIGHT_SMALLER_K = 0.1, 0.4
SIDE_K, SIDE_SMALLER_K, BULL_HEAD_K = 1.5, 1.3, 1.5
# A sharp entrance from a hose, tap or tank (handbooks).
ENTRANCE_K = 0.5
# A threaded or glued elbow, a coupling (handbooks, from memory); what nobody knows: 1 +- 1.
FITTINGS_K = {"elbow": 0.9, "coupling": 0.1, "other": 1.0}


def fittings(found: Any) -> tuple[str, ...]:
    """A list of fittings by their kinds, or one."""
    listed = [found] if isinstance(found, str) else found
    if not isinstance(listed, list) or len(listed) > 100:
        raise QuantityError(f'found {q.spell(found)}; allowed is a list, as in ["elbow", "elbow"]')
    read = v.choice("a fitting", {kind: kind for kind in FITTINGS_K})
    return tuple(str(read(one)) for one in listed)


def begin_k(begins: Begins, before: Pipe, pipe: Pipe) -> float:
    """Loss coefficient from one pipe into another, on the velocity in the second."""
    smaller = pipe.bore_m < 0.95 * before.bore_m
    if begins is Begins.BULL_HEAD:
        return BULL_HEAD_K
    if begins is Begins.SIDE:
        return SIDE_SMALLER_K if smaller else SIDE_K
    if smaller:
        return STRAIGHT_SMALLER_K
    if pipe.bore_m > 1.05 * before.bore_m:
        # Borda and Carnot, a sudden widening.
        return STRAIGHT_K + ((pipe.bore_m / before.bore_m) ** 2 - 1.0) ** 2
    return STRAIGHT_K
