"""The main as a tree of stretches: the take-off of each zone, and the head lost on the way there.

A main of one pipe is a chain of stretches. A main that forks consists of runs; a zone or another
run may leave anywhere along a run.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import accumulate

from controller.errors import InputError
from controller.garden.model import Garden, Zone
from controller.garden.plumbing import ENTRANCE_K, Pipe, Run
from controller.hydraulics.physics.pipe import head_loss_m

# Fittings of the main, on its velocity: the run of the tee at each zone (handbooks 0.2 to 0.9), and
# a sharp entrance before the first.
TEE_RUN_K = 0.4
# Loss straight past a tee from which another run leaves: coefficients of a dividing tee (Crane
# TP-410, as in the library `fluids`) give -0.05 to 0.12; rounded up, our choice.
PAST_FORK_K = 0.1

TAP = -1

# A part of a chain of stretches: the chain, the place where the part begins, and the place where
# the next part would begin.
Part = tuple[int, int, int]
# The piece before (TAP for none), the last stretch of this piece, and the parts it consists of.
Piece = tuple[int, int, list[Part]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of one run between two places of the main; `above` is the stretch before it."""

    above: int  # TAP where it begins at the tap
    run: str
    length_m: float
    pipe: Pipe
    loss_k: float


class MainTree:
    """All stretches that lead to a zone, each after the stretch above it.

    A place is named by the number of the stretch that ends there; the tap is `TAP`.
    """

    def __init__(self, runs: Sequence[Run], zones: Sequence[tuple[str, float]]) -> None:
        self._runs = {run.name: run for run in runs}
        self._begins: dict[str, float] = {}  # pipe from the tap to the beginning of each run
        self._place: dict[tuple[str, float], int] = {}
        self._stretches: list[Stretch] = []
        tees: dict[str, set[float]] = {run.name: set() for run in runs}
        for name, at_m in zones:
            if name not in tees:
                near = get_close_matches(name, tees, n=1)
                hint = f'; did you mean "{near[0]}"?' if near else ""
                raise InputError(f'the main has no run "{name}"{hint}')
            tees[name].add(at_m)
        forks: dict[str, set[float]] = {run.name: set() for run in runs}
        for run in runs:
            if run.parent:
                forks[run.parent].add(run.from_m)
        for run in runs:
            self._add_run(run, tees[run.name], forks[run.name])
        self.stretches: Sequence[Stretch] = tuple(self._stretches)
        self.above: Sequence[int] = tuple(one.above for one in self._stretches)
        pipes = [one.pipe for one in self._stretches]
        self._of_one_pipe = Joints(self.above, lambda a, b: pipes[a] == pipes[b])
        self._lengths_m = self._of_one_pipe.totals([one.length_m for one in self._stretches])
        self._losses_k = self._of_one_pipe.totals([one.loss_k for one in self._stretches])

    @classmethod
    def of(cls, garden: Garden) -> MainTree:
        """The main of a garden."""
        return cls(
            garden.runs or (_one_run(garden),),
            [(zone.run, zone.main_run_m) for zone in garden.zones],
        )

    def place(self, zone: Zone) -> int:
        """Place of a zone's take-off."""
        return self._place[zone.run, zone.main_run_m]

    def length_to_m(self, zone: Zone) -> float:
        """Pipe from the tap to a zone's take-off. [m]"""
        return self._begins[zone.run] + zone.main_run_m

    def path_to(self, place: int) -> list[int]:
        """The places on the way from the tap to a place, which is the last; empty for the tap."""
        path: list[int] = []
        while place != TAP:
            path.append(place)
            place = self.above[place]
        return path[::-1]

    def way_to(self, place: int) -> list[Stretch]:
        """The stretches from the tap to a place."""
        return [self.stretches[i] for i in self.path_to(place)]

    def loss_m(
        self, *, to: int, flow_m3_s: float, viscosity_m2_s: float, run: str | None = None
    ) -> float:
        """Head lost in the main by one flow from the tap to a place.

        Parameters
        ----------
        to : int
            The place where the flow leaves.
        flow_m3_s : float
            Flow. [m3/s]
        viscosity_m2_s : float
            Kinematic viscosity. [m2/s]
        run : str or None
            Count only the stretches of this run; None: all.

        Returns
        -------
        float
            Head lost. [m]

        Raises
        ------
        OutOfRange
            If the flow is not a number.

        Source
        ------
        pipe.py, stretch by stretch.
        """
        return sum(
            head_loss_m(
                flow_m3_s=flow_m3_s,
                length_m=one.length_m,
                bore_m=one.pipe.bore_m,
                roughness_m=one.pipe.roughness_m,
                loss_k=one.loss_k,
                viscosity_m2_s=viscosity_m2_s,
            )
            for one in self.way_to(to)
            if run is None or one.run == run
        )

    def heads_m(
        self,
        *,
        tap_head_m: float,
        drawn_m3_s: Mapping[int, float],
        wanted: Collection[int],
        viscosity_m2_s: float,
    ) -> dict[int, float]:
        """Head at places of the main.

        Parameters
        ----------
        tap_head_m : float
            Head at the tap. [m]
        drawn_m3_s : mapping of int to float
            Flow that leaves at each place. [m3/s]
        wanted : collection of int
            The places asked about.
        viscosity_m2_s : float
            Kinematic viscosity. [m2/s]

        Returns
        -------
        dict of int to float
            Head against the tap's height at each place wanted, and at others on the way. [m]

        Raises
        ------
        OutOfRange
            If a flow is not a number.

        Source
        ------
        pipe.py; each stretch carries the flow that leaves at its end and beyond.
        """
        pieces, now = self.leading_to({*wanted, *drawn_m3_s})
        through = [0.0] * (len(pieces) + 1)
        for place, flow in drawn_m3_s.items():
            through[now[place]] += flow
        for i in range(len(pieces) - 1, -1, -1):
            through[pieces[i].above] += through[i]
        heads = [0.0] * len(pieces) + [tap_head_m]
        for i, one in enumerate(pieces):
            heads[i] = heads[one.above] - head_loss_m(
                flow_m3_s=through[i],
                length_m=one.length_m,
                bore_m=one.pipe.bore_m,
                roughness_m=one.pipe.roughness_m,
                loss_k=one.loss_k,
                viscosity_m2_s=viscosity_m2_s,
            )
        return {place: heads[piece] for place, piece in now.items()}

    def leading_to(self, places: Collection[int]) -> tuple[list[Stretch], dict[int, int]]:
        """The part of the main that leads to some places, with stretches of one pipe joined.

        Parameters
        ----------
        places : collection of int
            The places asked about.

        Returns
        -------
        list of Stretch
            Each after the one above it, whose number is now that in this list.
        dict of int to int
            The number of the stretch that ends at each of the places, and `TAP`.

        Source
        ------
        `Joints`; lengths and loss coefficients of one pipe add up.
        """
        pieces, now = self._of_one_pipe.pieces(places)
        found: list[Stretch] = []
        for above, last, parts in pieces:
            one = self.stretches[last]
            found.append(
                Stretch(
                    above=above,
                    run=one.run,
                    length_m=self._lengths_m.over(parts),
                    pipe=one.pipe,
                    loss_k=self._losses_k.over(parts),
                )
            )
        return found, now

    def _add_run(self, run: Run, tees: set[float], forks: set[float]) -> None:
        """The stretches of one run, as far as something hangs on it."""
        node, at_m = (self._place[run.parent, run.from_m] if run.parent else TAP), 0.0
        before_m = self._begins[run.parent] + run.from_m if run.parent else 0.0
        self._begins[run.name] = before_m
        loss_k = run.loss_k
        for station_m in sorted(tees | forks):
            if station_m > at_m:
                if station_m in tees and not run.tees_counted:
                    loss_k += TEE_RUN_K
                self._stretches.append(
                    Stretch(
                        above=node,
                        run=run.name,
                        length_m=station_m - at_m,
                        pipe=run.pipe,
                        loss_k=loss_k,
                    )
                )
                node, at_m = len(self._stretches) - 1, station_m
                loss_k = PAST_FORK_K if station_m in forks and not run.tees_counted else 0.0
            self._place[run.name, station_m] = node


class Joints:
    """Joins stretches of one pipe with the same flow, for the places asked about.

    The cost grows with the number of places and the ways to them, not with the whole main.
    """

    def __init__(self, above: Sequence[int], alike: Callable[[int, int], bool]) -> None:
        """`above` is the stretch before each (-1 for the tap), earlier in the list.

        `alike` says whether two stretches, one after the other, are of one pipe.
        """
        self._above, self._alike = above, alike
        onward = [0] * len(above)
        for before in above:
            if before >= 0:
                onward[before] += 1
        # Chains of one pipe without a branch, and each stretch's chain and place in it.
        self._chains: list[list[int]] = []
        self._at: list[tuple[int, int]] = []
        for i, before in enumerate(above):
            if before >= 0 and onward[before] == 1 and alike(before, i):
                number = self._at[before][0]
                self._at.append((number, len(self._chains[number])))
                self._chains[number].append(i)
            else:
                self._at.append((len(self._chains), 0))
                self._chains.append([i])

    def pieces(self, ends: Collection[int]) -> tuple[list[Piece], dict[int, int]]:
        """The pieces that lead to some places.

        Parameters
        ----------
        ends : collection of int
            The places asked about; nothing flows to any place beyond them.

        Returns
        -------
        list of Piece
            Pieces on the way from the tap to the places; all others are left out.
        dict of int to int
            The piece that ends at each of the places, and -1 for the tap.

        Source
        ------
        Our own; losses of one flow in one pipe add up.
        """
        places: dict[int, list[int]] = {}  # by chain
        for end in ends:
            if end >= 0:
                number, place = self._at[end]
                places.setdefault(number, []).append(place)
        onward: dict[int, list[int]] = {}  # chains that begin at the end of a stretch
        leads = set(places)
        for number in places:
            while (before := self._above[self._chains[number][0]]) >= 0:
                onward.setdefault(before, []).append(number)
                number = self._at[before][0]
                if number in leads:
                    break
                leads.add(number)
        begun: dict[int, list[Part]] = {}  # by the next chain of a piece: its parts so far
        found: list[tuple[int, list[Part]]] = []  # by its last stretch
        for number in sorted(leads):
            chain, parts, begins = self._chains[number], begun.pop(number, []), 0
            for place in sorted(places.get(number, ())):
                found.append((chain[place], [*parts, (number, begins, place + 1)]))
                parts, begins = [], place + 1
            beyond = onward.get(chain[-1], ())
            if beyond and begins < len(chain):
                parts = [*parts, (number, begins, len(chain))]
                if len(beyond) == 1 and self._alike(chain[-1], self._chains[beyond[0]][0]):
                    begun[beyond[0]] = parts
                else:
                    found.append((chain[-1], parts))
        found.sort()
        piece = {last: number for number, (last, _) in enumerate(found)}
        piece[TAP] = TAP
        now = {end: piece[end] for end in sorted({TAP, *ends})}
        above = self._above
        return [
            (piece[above[self._chains[parts[0][0]][parts[0][1]]]], last, parts)
            for last, parts in found
        ], now

    def seen_from(self, ends: Collection[int]) -> Callable[[int], tuple[int, bool, int]]:
        """Position of any place on the pieces that lead to some places.

        Gives the piece; True if the place is on the way to its end, False if at the end or beyond;
        and the last stretch of the way from the tap. -1 is the tap.
        """
        of_chain: dict[int, tuple[list[int], list[int], list[int]]] = {}
        for piece, (_, last, parts) in enumerate(self.pieces(ends)[0]):
            for number, _, ends_at in parts:
                up_to, piece_of, last_of = of_chain.setdefault(number, ([], [], []))
                up_to.append(ends_at)
                piece_of.append(piece)
                last_of.append(last)

        def hangs_on(place: int) -> tuple[int, bool, int]:
            while place >= 0:
                number, at = self._at[place]
                if number in of_chain:
                    up_to, piece_of, last_of = of_chain[number]
                    k = bisect_right(up_to, at)
                    if k == len(up_to):
                        return piece_of[-1], False, last_of[-1]
                    return piece_of[k], place != last_of[k], place
                place = self._above[self._chains[number][0]]
            return TAP, False, TAP

        return hangs_on

    def totals(self, figures: Sequence[float]) -> Totals:
        """Sums of a figure of the stretches over pieces."""
        return Totals([[figures[i] for i in chain] for chain in self._chains])

    def stretches(self, parts: Sequence[Part]) -> list[int]:
        """The stretches of a piece, from the tap on."""
        return [i for number, begins, ends in parts for i in self._chains[number][begins:ends]]


class Totals:
    """Sums of a figure over pieces, each by one subtraction whatever the piece's length."""

    def __init__(self, of_chains: Iterable[Sequence[float]]) -> None:
        self._up_to = [[0.0, *accumulate(of_chain)] for of_chain in of_chains]

    def over(self, parts: Sequence[Part]) -> float:
        """The figure's sum over the parts of a piece."""
        total = 0.0
        for number, begins, ends in parts:
            up_to = self._up_to[number]
            total += up_to[ends] - up_to[begins]
        return total


def _one_run(garden: Garden) -> Run:
    """A main of one pipe, as far as its farthest zone."""
    return Run(
        name="",
        length_m=max((zone.main_run_m for zone in garden.zones), default=0.0),
        pipe=garden.main,
        loss_k=ENTRANCE_K,
    )
